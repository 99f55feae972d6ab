"""What stands on the one page of a house rule that is signed by hand, as blocks of text, for one side of A4 in letters of 11 points.

Without a rule it is an empty form to write on. Words that find no room go on on a continuation sheet, and the page says so where they
break off; the authority's words are cut between two words and never changed.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from cli.lots import rule_words as words
from cli.lots.per import Per
from cli.lots.rule import Colonies, HouseRule, Seen
from cli.lots.rule_steps import MOST_STEPS, numbers_of
from cli.lots.rule_text import listed, quoted
from cli.review.answers import BASES, BODIES

LINE_CHARACTERS = 78
"""What a line holds: 180 mm of letters that are 2.3 mm wide, as DejaVu Sans of 11 points is on average or a little less."""
PAGE_LINES = 52
"""What a page holds: 267 mm of lines of 5.1 mm, 11 points and 3.5 between them."""
TITLE = "House rule of the supervising authority"
OWN_WORDS = "In the authority's own words"
GOES_ON = "(This goes on on the continuation sheet, which is signed with this page.)"
NOT_OURS = (
    "Speckwise counts by this rule, reads it word for word and decides nothing: the authority decides. "
    "Changed, it is printed and signed anew."
)
TO_SIGN = ("Name", "Signature", "Day")
_TITLE_LINES, _SHORT, _STEP, _SHORTEST = 2, 2, 3, 2
"""Lines of the title, in larger letters; and at most of a part of the rule, of a step, and of the text where all else is long."""


@dataclass(frozen=True)
class Block:
    """One paragraph of the page: its head in our words, '' where it has none, and what stands after it."""

    head: str
    text: str
    to_write: int = 0
    """Empty lines after it, to write on by hand."""

    @property
    def lines(self) -> int:
        """How many lines of the page it takes."""
        if self.text == TITLE:
            return _TITLE_LINES
        return len(_line_starts(_joined(self.head, self.text))) + self.to_write


@dataclass(frozen=True)
class FormPage:
    """The page, and what goes on on a continuation sheet: nothing where all of it found room."""

    page: tuple[Block, ...]
    continuation: tuple[Block, ...] = ()


def form_page(rule: HouseRule | None) -> FormPage:
    """The page of a rule to be signed by hand; of none, an empty form."""
    if rule is None:
        return FormPage(tuple(_empty_form()))
    page, beyond = [Block("", TITLE)], list[Block]()
    for head, text, most in _parts(rule):
        _add(page, beyond, Block(head, text), most)
    foot = [Block("", NOT_OURS)]
    if signature := rule.signature:
        on_file = f"{signature.by}, {signature.on}, version {signature.digest[: len(rule.version)]}, scan {signature.scan.name}"
        _add(foot, beyond, Block("Signature on file", on_file), _SHORT)
    foot += [Block(each, "", to_write=1) for each in TO_SIGN]
    page.append(Block(OWN_WORDS, ""))
    room = PAGE_LINES - sum(block.lines for block in page + foot)
    _add(page, beyond, Block("", rule.text), max(_SHORTEST, room))
    return FormPage((*page, *foot), tuple(beyond))


def _add(page: list[Block], beyond: list[Block], block: Block, most: int) -> None:
    """Puts a block on the page, of so many lines at most; what finds no room goes beyond, and the last line says so."""
    if block.lines <= most:
        page.append(block)
        return
    before = len(_joined(block.head, block.text)) - len(block.text)
    cut = _line_starts(_joined(block.head, block.text))[most - 1] - before
    page += [Block(block.head, block.text[:cut]), Block("", GOES_ON)]
    beyond.append(Block(block.head or OWN_WORDS, block.text[cut:]))


def _parts(rule: HouseRule) -> Iterator[tuple[str, str, int]]:
    """Heads and texts of all but the rule's own words, and how many lines each may take."""
    counting, per = rule.counting, rule.per
    length = counting.from_length_mm
    yield "Version", f"{rule.version} (SHA-256 {rule.digest})", _SHORT
    yield "Authority", rule.authority, _SHORT
    yield "Produce", listed(rule.produce) if rule.produce else "all", _SHORT
    yield "In force", f"from {rule.from_date} until {rule.until_date}, both days included", 1
    yield "What counts", listed([words.BODIES[each] for each in BODIES if each in counting.bodies]), _SHORT
    yield "Kinds", listed(counting.kinds) if counting.kinds else "all", _SHORT
    yield "Size", "any" if length is None else f"from {length:g} mm of length on", 1
    yield "Seen", _SEEN[counting.seen], 1
    yield "Looked at", " or ".join(words.BASES[each] for each in BASES if each in counting.basis), 1
    yield "A colony counts with", _COLONIES[counting.colonies], 1
    yield "Numbers are of", _PER[per], 1
    for count, step in enumerate(rule.steps, start=1):
        yield f"Step {count}, at {numbers_of(step)}", f"{quoted(step.action)} ({words.THENS[step.then]})", _STEP
    if rule.most_rechecks:
        yield "Re-checks", f"{rule.most_rechecks} at most, and then: {quoted(rule.when_to_stop)}", _STEP


_SEEN = {Seen.UNAIDED: "without a loupe", Seen.ANY: "in any way"}
_COLONIES = {
    Colonies.LEAST: "the least number said of it",
    Colonies.MOST: "the most said of it",
    Colonies.BOTH: "both numbers said of it, as a range",
}
_PER = {
    Per.PIECE: "animals on one piece",
    Per.SAMPLE: "animals in one sample",
    Per.HUNDRED_GRAMS: "animals in 100 g",
    Per.LOT: "animals in all that one check of the lot looked at",
}


def _empty_form() -> Iterator[Block]:
    """The form where there is no rule yet. What is to be chosen is ringed."""
    yield Block("", TITLE)
    yield Block("Authority", "", to_write=1)
    yield Block("Produce", "all, or these:", to_write=1)
    yield Block("In force", "from and until these days, both included:", to_write=1)
    yield Block("What counts (ring each)", ", ".join(words.BODIES[each] for each in BODIES))
    yield Block("Kinds", "all, or these:", to_write=1)
    yield Block("Size", "any, or from this length on, in mm:", to_write=1)
    yield Block("Seen (ring one)", " | ".join(_SEEN.values()))
    yield Block("Looked at (ring each that is enough)", " | ".join(words.BASES.values()))
    yield Block("A colony counts with (ring one)", " | ".join(_COLONIES.values()))
    yield Block("Numbers are of (ring one)", " | ".join(_PER.values()))
    ways = ", ".join(words.THENS.values())
    yield Block(
        "Steps", f"from number to number, beginning with 0; what is done; and one of: {ways}", to_write=MOST_STEPS
    )
    yield Block("Re-checks", "how many at most, and what then:", to_write=2)
    yield Block(OWN_WORDS, "", to_write=8)
    yield Block("", NOT_OURS)
    yield from (Block(each, "", to_write=1) for each in TO_SIGN)


def _joined(head: str, text: str) -> str:
    return f"{head}: {text}" if head else text


def _line_starts(text: str) -> list[int]:
    """Where each line begins when a text is broken between words, or within one that is longer than a line."""
    starts, word, on_line, in_word = [0], 0, 0, 0
    for at, c in enumerate(text):
        if c == "\n":
            starts.append(at + 1)
            word, on_line, in_word = at + 1, 0, 0
            continue
        wide = _wide(c)
        if c.isspace():
            # Spaces may hang over the end of a line.
            word, on_line, in_word = at + 1, on_line + wide, 0
            continue
        if on_line + wide > LINE_CHARACTERS:
            if word == starts[-1]:
                word, in_word = at, 0
            starts.append(word)
            on_line = in_word
        on_line, in_word = on_line + wide, in_word + wide
    # What ends with its last line's end begins no other.
    return starts[:-1] if len(starts) > 1 and starts[-1] == len(text) else starts


def _wide(c: str) -> int:
    """A character's width in letters: two of East Asia's, none of a mark on the one before."""
    if unicodedata.category(c) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(c) in "WF" else 1
