"""What the figures of a lot's record say, in plain sentences. All figures come from the modules beside this one; nothing is computed here.

Figures have three digits, shares two, rounded to the nearest.
"""

from __future__ import annotations

import math

from cli.lots.clumping import FEWEST_INSECTS, FEWEST_PIECES, Clumping, Spread
from cli.lots.defect_levels import Beside, Compared, DefectLevel
from cli.lots.detection import ALWAYS, Assumed, Detection
from cli.lots.intervals import LEVEL, AtMost, Between
from cli.lots.per import Per
from cli.lots.pieces import Looked, PiecesWithInsects, pieces_at_most, pieces_to_notice
from cli.lots.rates import Effort, Rate
from cli.words import count
from vision.words import WHO_DECIDES

NOT_NONE = "That is not a finding of none."
WELL_MIXED = "This holds for pieces from a well-mixed lot, each as likely to be taken as any other."
SEEN_ALWAYS = "The limits take it that every insect that is there is seen."
CLUMPED = "Insects sit in clumps here: the Poisson limits are too narrow."
IF_CLUMPED = "If insects sit in clumps, the Poisson limits are too narrow."
NO_CLUMPS_SEEN = f"These counts show no clumps. That is not a finding that there are none. {IF_CLUMPED}"
TOO_LITTLE = (
    "Too little was counted to tell whether insects sit in clumps: "
    f"that takes {FEWEST_PIECES} pieces and {FEWEST_INSECTS} insects at least. {IF_CLUMPED}"
)
NO_LIMIT = "There is no upper limit to what may be there."
NO_FIT = "Limits that allow for clumps can't be had from these counts."
BESIDE = {
    Beside.BELOW: "Both limits of this count lie below that level.",
    Beside.AROUND: "The limits of this count lie on both sides of that level, so it can't tell.",
    Beside.REACHED: "Both limits of this count reach that level.",
}
NO_CLEARANCE = "Such a level binds no religious authority, and to lie below it is no clearance."
TABLE_HEAD = ("Pieces looked at", "None found still allows up to")

_HALF = Assumed(0.5)
_NOTICED = (0.01, 0.05, 0.10)


def figure(value: float) -> str:
    """A number from 0 up with three digits, or as many as it has before the point."""
    return _rounded(value, 3)


def percent(share: float) -> str:
    """A share 0..1 in percent, with two digits; only what is all of it is 100%."""
    text = _rounded(100 * share, 2)
    return f"{math.floor(1000 * share) / 10:.1f}%" if text == "100" and share < 1 else f"{text}%"


def rate_lines(rate: Rate) -> tuple[str, ...]:
    """What was counted, and the limits of what there is."""
    per, where = f"per {rate.effort.per}", _amount(rate.effort)
    seen = detection_line(rate.detection, rate.limits)
    if isinstance(rate.limits, AtMost):
        high = NO_LIMIT
        if math.isfinite(rate.limits.high):
            high = (
                f"There may be up to {figure(rate.limits.high)} {per}, the one-sided {_level(rate.limits)} upper limit."
            )
        return f"0 counted in {where}. {NOT_NONE}", high, seen
    counted = f"{rate.most} counted in {where}: {figure(rate.most_counted)} {per}"
    of = ""
    if rate.least < rate.most:
        counted = f"{rate.least} to {rate.most} counted in {where}: {figure(rate.least_counted)} to {figure(rate.most_counted)} {per}"
        of = " The lower limit is the least count's, the upper one the most count's."
    return f"{counted}.", f"Two-sided {_level(rate.limits)} limits {per}: {_from_to(rate.limits)}.{of}", seen


def pieces_lines(pieces: PiecesWithInsects) -> tuple[str, ...]:
    """How many pieces were found to hold insects, and how many of the lot may."""
    looked, limits = pieces.looked, pieces.limits
    found = f"{looked.found} of {count(looked.pieces, 'piece')} found to hold insects."
    high = f"{_part(limits.high, looked.in_lot)} {_of_lot(looked.in_lot)} may hold insects"
    if isinstance(limits, AtMost):
        lot = (f"{found} {NOT_NONE}", f"Up to {high}, the one-sided {_level(limits)} upper limit.")
    else:
        lot = (found, f"{_part(limits.low, looked.in_lot)} to {high}, the two-sided {_level(limits)} limits.")
    return *lot, detection_line(pieces.detection, limits), WELL_MIXED


def detection_line(detection: Detection, limits: Between | AtMost) -> str:
    """How often an insect is taken to be seen, and where that comes from."""
    if detection == ALWAYS:
        return SEEN_ALWAYS
    if isinstance(detection, Assumed):
        return f"The upper limit takes it that {percent(detection.share)} of insects are seen, as entered and not measured."
    tried = f"{detection.seen} of {count(detection.put_in, 'insect')} put in were seen"
    used = detection.counted_on(limits.level_of_high)
    if used <= 0:
        return f"{tried}: that says nothing of what is there."
    lower = f"the one-sided {100 * limits.level_of_high:g}% lower limit of that"
    return f"{tried}. The upper limit reckons with {percent(used)}, {lower}, and holds for insects like those."


def what_a_sample_tells(
    pieces: int, detection: Detection = ALWAYS, in_lot: int | None = None, level: float = LEVEL
) -> tuple[str, ...]:
    """What a sample of so many pieces can tell, before anyone has looked. Raises ValueError for what is no sample or no level."""

    def allowed(seen: Detection) -> AtMost:
        return pieces_at_most(Looked(pieces, 0, in_lot), seen, level)

    limit, of_lot = allowed(detection), _of_lot(in_lot)
    start = f"{count(pieces, 'piece')} from a well-mixed lot, none found, still {'allows' if pieces == 1 else 'allow'} up to"
    start += f" {_part(limit.high, in_lot)} {of_lot} with insects"
    first = [f"{start}.", detection_line(detection, limit)]
    if detection == ALWAYS:
        half = _part(allowed(_HALF).high, in_lot)
        first = [f"{start} if every insect is always seen, and {half} if half of them are."]
    return (
        *first,
        f"This is the one-sided {_level(limit)} upper limit. {NOT_NONE}",
        *(notice_line(share, detection, in_lot, level) for share in _NOTICED),
        WHO_DECIDES,
    )


def notice_line(share: float, detection: Detection = ALWAYS, in_lot: int | None = None, level: float = LEVEL) -> str:
    """How many pieces it takes to notice that a share 0..1 of the lot holds insects. Errors as in `pieces_to_notice`."""
    needed = pieces_to_notice(share, detection, level, in_lot)
    look = "no number of pieces will do" if needed is None else f"look at {count(needed, 'piece')}"
    return f"To notice that {100 * share:g}% of the pieces hold insects, in {100 * level:g} of 100 such lots: {look}."


def table_rows(table: tuple[PiecesWithInsects, ...]) -> tuple[tuple[str, str], ...]:
    """Cells of a table of samples, under TABLE_HEAD."""
    return tuple(
        (str(each.looked.pieces), f"{_part(each.limits.high, each.looked.in_lot)} {_of_lot(each.looked.in_lot)}")
        for each in table
    )


def clumping_lines(clumping: Clumping) -> tuple[str, ...]:
    """Whether insects sit in clumps, and the limits with and without."""
    if not clumping.clumped:
        return (NO_CLUMPS_SEEN if clumping.enough else TOO_LITTLE,)
    ranged = clumping.least != clumping.most
    spreads = (("With the least counted: ", clumping.least), ("With the most counted: ", clumping.most))
    lines = [f"{start if ranged else ''}{_spread(each)}" for start, each in (spreads if ranged else spreads[:1])]
    if clumping.negative_binomial is None or clumping.k is None:
        return CLUMPED, *lines, NO_FIT
    k = " to ".join(dict.fromkeys(figure(each) for each in clumping.k))
    fitted = f"by the negative binomial {_from_to(clumping.negative_binomial)} (k {k})"
    level = _level(clumping.poisson)
    return (
        CLUMPED,
        *lines,
        f"Two-sided {level} limits per piece: by Poisson {_from_to(clumping.poisson)}, {fitted}. {SEEN_ALWAYS}",
    )


def defect_level_lines(compared: Compared) -> tuple[str, ...]:
    """Where a count lies beside one of FDA's defect levels, and what that level is not."""
    book, level = compared.handbook, compared.level
    return (
        *rate_lines(compared.rate),
        defect_level_line(level),
        BESIDE[compared.beside],
        f"The level is from {book.source}, page of {book.dated}, read {book.seen}. It is for {book.for_what}. {NO_CLEARANCE}",
    )


def defect_level_line(level: DefectLevel) -> str:
    """One of FDA's defect levels as a sentence."""
    product = f"{level.product} ({level.state})" if level.state else level.product
    what = level.animals + (f" of {level.from_mm:g} mm or more" if level.from_mm else "")
    if level.added_up_mm is not None:
        several = f"{level.count} or more " if level.count else ""
        what = f"{several}{what}, {_reached(level, f'{level.added_up_mm:g} mm')} in all,"
    elif level.count is not None:
        what = f"{_reached(level, str(level.count))} {what}"
    return f"FDA may act on {product} where the average is {what} in {level.per_g:g} g ({level.method})."


def _reached(level: DefectLevel, number: str) -> str:
    return f"{number} or more" if level.over == "at or above" else f"more than {number}"


def _spread(each: Spread) -> str:
    start = f"{count(each.insects, 'insect')} on {count(each.pieces, 'piece')}"
    if each.mean is None or each.variance is None or each.ratio is None or each.chance is None:
        return f"{start}."
    rare = "fewer than 1 of 1000" if each.chance < 0.001 else f"about 1 of {round(1 / each.chance)}"
    figures = f"mean {figure(each.mean)}, variance {figure(each.variance)}, ratio {figure(each.ratio)}"
    return f"{start}: {figures}. By chance {rare} samples are so uneven."


def _rounded(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    value = float(f"{value:.{digits - 1}e}") if value < 10**digits else value
    return f"{value:,.{max(0, digits - 1 - math.floor(math.log10(value)))}f}"


def _level(limits: Between | AtMost) -> str:
    return f"{100 * limits.level:g}%"


def _from_to(limits: Between) -> str:
    low = figure(limits.low)
    return f"{low} and more, without an upper one" if math.isinf(limits.high) else f"{low} to {figure(limits.high)}"


def _part(share: float, in_lot: int | None) -> str:
    """A share of the lot's pieces, in whole pieces where it is known how many there are."""
    return percent(share) if in_lot is None else str(round(share * in_lot))


def _of_lot(in_lot: int | None) -> str:
    return "of the lot's pieces" if in_lot is None else f"of the lot's {count(in_lot, 'piece')}"


def _amount(effort: Effort) -> str:
    if effort.per is Per.HUNDRED_GRAMS:
        return f"{effort.amount * 100:g} g"
    return f"{effort.amount:g} {effort.per}{'' if effort.amount == 1 else 's'}"
