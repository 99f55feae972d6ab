"""Views of produce, and how fine a picture each asks for.

To add a view: add an entry to VIEWS, and a row to the table in docs/set_up_your_panel.md. Its name is looked for as a word in the names
of files and folders, so it must be no word that stands there for another reason. A guide may ask for more in its own `px_per_mm` table.
The figures are common practice, no source, save that an ordinary eye at 0.6 m resolves 0.17 mm, which takes two pixels, hence
12 px/mm at the very least.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from vision.types import Ground, LitFrom

EYE_MM = 0.17
"""What an ordinary eye resolves at 0.6 m: one arc minute (common practice, no source)."""
OVERVIEW_PX_PER_MM = 12.0
"""Enough for caterpillars and grown aphids only: two pixels over what the eye resolves."""


class Of(StrEnum):
    """What a view is a shot of, and so what it can count for."""

    PIECE = "a piece"
    SAMPLE = "the sample"
    FIND = "a find"


@dataclass(frozen=True)
class View:
    """One way produce, or what came off it, is put before the camera."""

    px_per_mm: float
    """What it asks for at least."""
    ground: Ground | None = None
    lit_from: LitFrom | None = None
    of: Of = Of.PIECE
    shows: str = ""
    """What lies before the camera, for a person."""


BLANK = "blank"
"""The view that comes before all others."""
VIEWS: Mapping[str, View] = MappingProxyType(
    {
        # Where a name holds two of these words the earlier one decides, so the one that says more stands before the other: a blank is
        # a blank whatever the tray holds, and 'water-swirl' is the second of two shots of water.
        BLANK: View(OVERVIEW_PX_PER_MM, None, LitFrom.BELOW, Of.SAMPLE, "the wiped tray in fresh water"),
        # A find on its card is told apart by its legs.
        "card": View(30.0, of=Of.FIND, shows="a find on its card"),
        # An underside is looked at as a whole; what is small hides in what was opened, in water, on a cloth or on peelings.
        "underside": View(16.0, Ground.PANEL, LitFrom.ABOVE, shows="pieces in rows, underside up"),
        "opened": View(20.0, Ground.PANEL, LitFrom.ABOVE, shows="opened halves side by side"),
        "onblack": View(20.0, Ground.PANEL, LitFrom.ABOVE, shows="single layers on black card"),
        "flipped": View(20.0, Ground.PANEL, LitFrom.BELOW, shows="the same layers or leaves, turned over"),
        "layers": View(20.0, Ground.PANEL, LitFrom.BELOW, shows="layers or leaves, one thick"),
        "peelings": View(20.0, Ground.PANEL, LitFrom.BELOW, shows="what was peeled, scraped or cut off, spread thin"),
        "swirl": View(20.0, Ground.WATER, LitFrom.BELOW, Of.SAMPLE, "the same once more: swirled, and still again"),
        "liquid": View(20.0, Ground.WATER, LitFrom.BELOW, Of.SAMPLE, "the liquid of cans"),
        "water": View(20.0, Ground.WATER, LitFrom.BELOW, Of.SAMPLE, "what was rinsed off, in still water"),
        "cloth": View(20.0, Ground.CLOTH, LitFrom.BELOW, Of.SAMPLE, "what was filtered out, on the white cloth"),
    }
)
FACES = tuple(name for name, view in VIEWS.items() if view.of is Of.PIECE)
"""What a piece can be asked for."""
OF_SAMPLES = tuple(name for name, view in VIEWS.items() if view.of is not Of.FIND)
"""What a sample as a whole can be asked for; peelings and the like may be those of many pieces together."""


def view_from(ground: Ground, lit_from: LitFrom) -> str:
    """The view a shot most likely is where nobody said so; of two, the one that asks less."""
    if ground is Ground.WATER:
        return "water"
    if ground is Ground.CLOTH:
        return "cloth"
    return "peelings" if lit_from is LitFrom.BELOW else "underside"
