"""A record as blocks of words: what its page, its table and its check are all made from. Plain texts; nothing here knows of HTML."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Grid:
    """A table of words. Every row has as many cells as the head."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""

    def __post_init__(self) -> None:
        if any(len(row) != len(self.head) for row in self.rows):
            raise ValueError("every row of a grid has as many cells as its head")


@dataclass(frozen=True)
class Cut:
    """A part of a photograph, shown at the scale that all cuts of a record share."""

    shot_sha256: str
    left_px: int
    top_px: int
    wide_px: int
    high_px: int
    wide_mm: float | None
    """What it shows across; None without a scale."""
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Blank:
    """A line to write on by hand, with what it is for."""

    label: str


@dataclass(frozen=True)
class Section:
    """One part of a record, under its heading: sentences, then tables, cuts, and lines to write on."""

    name: str
    """For links and checks: a word without spaces."""
    heading: str
    lines: tuple[str, ...] = ()
    grids: tuple[Grid, ...] = ()
    cuts: tuple[Cut, ...] = ()
    blanks: tuple[Blank, ...] = ()


@dataclass(frozen=True)
class Document:
    """A whole record, in the order in which it is read."""

    title: str
    lines: tuple[str, ...]
    """What stands under the title."""
    sections: tuple[Section, ...]
    cautions: tuple[str, ...] = ()
    by_hand: bool = False
    """Whether its tables are to be written in: rows with room."""
    basis: dict[str, str | int] = field(default_factory=dict)
    """From what it was made: run, version, how far the record of answers and entries was read. Enough to make it again."""
