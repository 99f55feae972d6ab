"""Views of produce, and how fine a picture each asks for.

To add a view: add an entry to VIEWS. A guide may ask for more in its own `px_per_mm` table. The figures are common practice, no
source, save that an ordinary eye at 0.6 m resolves 0.17 mm, which takes two pixels, hence 12 px/mm at the very least.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vision.types import Ground, LitFrom

EYE_MM = 0.17
"""What an ordinary eye resolves at 0.6 m: one arc minute (common practice, no source)."""
OVERVIEW_PX_PER_MM = 12.0
"""Enough for caterpillars and grown aphids only: two pixels over what the eye resolves."""


@dataclass(frozen=True)
class View:
    """One way produce, or what came off it, is put before the camera."""

    px_per_mm: float
    """What it asks for at least."""
    ground: Ground | None = None
    lit_from: LitFrom | None = None


VIEWS: Mapping[str, View] = MappingProxyType(
    {
        # An underside is looked at as a whole; what is small hides in what was opened, in water, on a cloth or on peelings.
        "underside": View(16.0, Ground.PANEL, LitFrom.ABOVE),
        "opened": View(20.0, Ground.PANEL, LitFrom.ABOVE),
        "water": View(20.0, Ground.WATER, LitFrom.BELOW),
        "cloth": View(20.0, Ground.CLOTH, LitFrom.BELOW),
        "peelings": View(20.0, Ground.PANEL, LitFrom.BELOW),
        # A find on its card is told apart by its legs.
        "card": View(30.0),
        "blank": View(OVERVIEW_PX_PER_MM, None, LitFrom.BELOW),
    }
)


def view_from(ground: Ground, lit_from: LitFrom) -> str:
    """The view a shot most likely is where nobody said so; of two, the one that asks less."""
    if ground is Ground.WATER:
        return "water"
    if ground is Ground.CLOTH:
        return "cloth"
    return "peelings" if lit_from is LitFrom.BELOW else "underside"
