"""All shots of a run at a glance: sums for every page, and one line a shot as long as they are few enough to be read.

Made in one walk over the shots. What it keeps is a line a page; a line a shot up to 5,000 of them, and none above that.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import islice

from cli.batch.belonging import BLANK
from cli.pages.names import page_file
from vision.table import SHOTS, unescape

SHOTS_LISTED = 5_000
"""Above that the index lists pages instead of shots."""
SHOTS_A_PAGE = 50

_AT = {column.name: number for number, column in enumerate(SHOTS)}


@dataclass(frozen=True)
class ShotRows:
    """What the tables and the folder hold of one shot."""

    row: Sequence[str]
    """Its cells in the order of table.SHOTS, as `shot_row` makes them or `from_csv` reads them."""
    candidates: Sequence[Sequence[str]]
    """Its rows of candidates.csv, cells in the order of table.CANDIDATES."""
    files: Collection[str]
    """Its pictures that stand in the folder, by their paths relative to it."""


@dataclass(frozen=True)
class ShotLine:
    """One shot, as a line about it needs it."""

    place: int
    """1, 2, … in the order of the tables."""
    shot: str
    count: int
    blank: bool
    error: bool
    take_again: bool
    first_sentence: str
    """What to change first, of a shot that should be taken again."""

    @property
    def anchor(self) -> str:
        return f"shot-{self.place}"

    @property
    def page(self) -> str:
        return page_file((self.place - 1) // SHOTS_A_PAGE + 1)


@dataclass(frozen=True)
class PageLine:
    """One page of shots: which they are, and their sums."""

    number: int
    first: ShotLine
    last: ShotLine
    flagged: int
    """Blanks aside."""
    on_blanks: int
    again: int
    not_read: int

    @property
    def file(self) -> str:
        return page_file(self.number)

    @property
    def shots(self) -> int:
        return self.last.place - self.first.place + 1


@dataclass(frozen=True)
class Glance:
    """All shots of a run."""

    pages: tuple[PageLine, ...]
    lines: tuple[ShotLine, ...]
    """Empty where there are more than SHOTS_LISTED."""

    @property
    def shots(self) -> int:
        return self.pages[-1].last.place if self.pages else 0


def look_over(shots: Iterable[ShotRows]) -> Glance:
    """Walks over all shots of a run once; `shots` come in the order of the tables."""
    coming = (_line(place, rows.row) for place, rows in enumerate(shots, start=1))
    pages: list[PageLine] = []
    lines: list[ShotLine] = []
    while some := list(islice(coming, SHOTS_A_PAGE)):
        pages.append(_page(len(pages) + 1, some))
        if some[-1].place <= SHOTS_LISTED:
            lines.extend(some)
        else:
            lines.clear()
    return Glance(tuple(pages), tuple(lines))


def _line(place: int, row: Sequence[str]) -> ShotLine:
    take_again = row[_AT["usable"]] == "no"
    return ShotLine(
        place=place,
        shot=unescape(row[_AT["shot"]]),
        count=int(row[_AT["candidates"]] or 0),
        blank=unescape(row[_AT["view"]]) == BLANK,
        error=bool(row[_AT["error"]]),
        take_again=take_again,
        first_sentence=_first_sentence(unescape(row[_AT["reasons"]])) if take_again else "",
    )


def _first_sentence(reasons: str) -> str:
    return reasons.split(". ")[0].removesuffix(".") + "."


def _page(number: int, lines: Sequence[ShotLine]) -> PageLine:
    return PageLine(
        number=number,
        first=lines[0],
        last=lines[-1],
        flagged=sum(line.count for line in lines if not line.blank),
        on_blanks=sum(line.count for line in lines if line.blank),
        again=sum(line.take_again for line in lines),
        not_read=sum(line.error for line in lines),
    )
