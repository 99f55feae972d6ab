"""Every word of ours on the results pages, in one place, so that a test can read them all."""

from __future__ import annotations

from vision.words import NONE_FLAGGED, WHO_DECIDES

__all__ = ["NONE_FLAGGED", "WHO_DECIDES"]

TITLE = "Speckwise: shots to look at"
HEADING = "Shots to look at"
FLAGGED = "{n} flagged"
ONE_SHOT, SHOTS = "1 shot", "{n} shots"
FLAGGED_IN_ALL, NONE_IN_ALL = "{n} flagged in all", "0 flagged in all. That is not a finding of none."
ON_BLANKS_IN_ALL = "{n} more on blank shots, before any produce"
AGAIN_IN_ALL = "{n} to take again"
NOT_READ_IN_ALL = "{n} could not be read"
CAUTIONS = (
    "This is an assist, not a clearance. It misses some insects and it flags things that are none.",
    "Look at every flag, and go on looking beyond the flags.",
    "Insect and mite protein can matter to people with shellfish or dust-mite allergy. This is no allergen statement.",
)
MADE_BY = "Made by speckwise {version}, run {run}. Every number here is of that version and run."
TABLES = "The same numbers, with all columns:"
AND = "and"
TO_ANSWER = "To answer for every flag:"
TO_ANSWER_COMMAND = "speckwise review"
TO_ANSWER_FOLDER = "and the name of this folder."

NOBODY_TITLE, WAITING_TITLE = "Nobody is watching", "Waiting for a photograph"
NOBODY = "Nobody is watching the folder"
ENDED = "Watching ended at {clock}."
LAST_HEARD = "It was last heard of at {clock}."
GOES_ON = "What has been scored stands; the same call goes on."
NEXT_LOOKED_AT = "Looking at the next one. Below is the one before."
NEXT_AWAITED = "Waiting for the next photograph."
LOOKING, WAITING = "Looking", "Waiting"
HAS_COME = "A photograph has come."
TAKE_FIRST, TAKE_NEXT = "Take the first photograph.", "Take the next photograph."
ONE_STANDS, STAND = "{n} stands here from before.", "{n} stand here from before."
ONE_SINCE, SINCE = "{n} shot since the start, {flags} flagged", "{n} shots since the start, {flags} flagged"
SAME_PAGE = "The same page, read anew"

AT_A_GLANCE = "All shots of this run"
COLUMN_SHOT = "Shot"
COLUMN_FLAGGED = "Flagged"
COLUMN_NOTE = "What to do first"
PAGES_LISTED = "Each line leads to a page of up to {n} shots, in the order of their names."
COLUMN_SHOTS = "Shots"
FROM_TO = "{first} to {last}"
UNTIL = "until"
ON_BLANKS = "{n} more on blanks"

TAKE_AGAIN = "Take this shot again:"
LIMITS = "What to know of this shot:"
BLANK = "A blank, before any produce: what is flagged here is counted apart."
NOT_READ = "This shot could not be read or scored:"
NOT_READ_SHORT = "Could not be read"
SAME_AS = "The same photograph, byte for byte, as"
DRIFT = "The panel against its profile:"
PICTURE = "Annotated picture"
UNMARKED = "Unmarked copy"
PICTURE_ALT = "The photograph with its marks, small"
NO_PICTURE = "The picture of this shot is not in the folder."

SEARCHED = "Searched"
SEARCHED_IN = {
    "panel": "the light panel and what lies on it",
    "water": "the water and what lies in it",
    "cloth": "the cloth and what lies on it",
}
LIGHT = {"below": "light from below", "above": "light from above", "both": "light from below and above"}
PRODUCE = "produce:"
NOT_SEARCHED = "Not searched"
OF_PICTURE = "{n}% of the picture"
HATCHED = "(hatched on the picture)"
SMALLEST = "Smallest speck it could show"
ROUND_LIMIT = "round {n} mm across"
THIN_LIMIT = "thin {n} mm wide"
LIMIT_UNKNOWN = "unknown"
LIMIT_NO_SCALE = "unknown without a scale"
SCALE = "Scale"
SCALE_IS = "{n} px/mm {source}"
SCALE_FROM = {
    "option": "as given by hand",
    "ruler": "from the ruler shown by hand",
    "profile": "from the panel profile",
    "slip": "from the slip",
}
NO_SCALE = "not known; sizes in mm are not given"

CROPS = "The flags of this shot, as they lie in the picture: row by row from the top, from left to right."
CROPS_MM = "Each small window is {mm} mm wide, on this whole page; the flagged speck is in its middle."
CROPS_PX = (
    "Without a scale each small window is {px} px of the photograph wide; sizes of two shots can't be compared by eye. "
    "The flagged speck is in the middle."
)
SCALE_BAR = "{mm} mm"
CROPS_LEFT_OUT = "{n} more flags of this shot have no crop here; candidates.csv holds them."
CROP_ALT = "Flag {n}, cut out of the photograph"
RESEMBLES = "resembles:"
SIZE = "{length} mm × {width} mm"
UNCERTAINTY = "± {n}%"
UNCERTAINTY_UNKNOWN = "uncertainty not known"
SIZE_PX = "box of {wide} px × {high} px; size in mm not known"
NOT_WHOLE = "Only its middle is shown: it is larger than the window."
ORDER_SCORE = "order score {n}, not a chance"
AT_MM = "{x} mm from the left, {y} mm from the top"
AT_PX = "{x} px from the left, {y} px from the top"

PAGE_OF = "Shots {first} to {last} of {n}"
BACK = "All shots"
EARLIER = "Earlier shots"
LATER = "Later shots"
TO_TOP = "To the top"
