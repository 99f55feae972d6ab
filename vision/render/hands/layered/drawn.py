"""What every drawer of an insect gives back."""

from __future__ import annotations

from dataclasses import dataclass

from vision.render.hands.layered.sheet import Sheet


@dataclass(frozen=True)
class Drawn:
    """An insect on its sheet, ahead along +x."""

    sheet: Sheet
    length_mm: float
    """Along the curve."""
    width_mm: float
    curved: bool = False
