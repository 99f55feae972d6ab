"""What was found of the slip in a shot: values that the geometry, the sharpness and the check are made from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True)
class PrintedEdge:
    """One straight slanted edge on the print, dark on one side and light on the other, in millimetres of its piece."""

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    room_mm: float
    """Even print on either side of the edge, at right angles to it."""


@dataclass(frozen=True)
class PieceView:
    """One printed piece as seen in a shot.

    Millimetres are the piece's own: origin at the top-left corner of its outline, x along its long side, y down. Pixels are
    those of the upright shot. `sigma_px` (n,) is the standard deviation of each point's place, of either coordinate.
    """

    name: str
    """'strip', or 'corner-1' to 'corner-4'."""
    points_mm: Points
    """(n, 2)."""
    points_px: Points
    """(n, 2), the same points as seen."""
    sigma_px: Points
    outline_mm: Points
    """(m, 2), round all of the piece."""
    edges: tuple[PrintedEdge, ...]
    markers_seen: int
    markers_printed: int


@dataclass(frozen=True)
class SlipText:
    """What the slip's code says the shot belongs to; '' where it does not say."""

    lot: str = ""
    sample: str = ""
    produce: str = ""
    piece: str = ""


@dataclass(frozen=True)
class SlipFound:
    """All that was found of slips in one shot; no pieces where there is none."""

    pieces: tuple[PieceView, ...] = ()
    text: SlipText | None = None
    complaints: tuple[str, ...] = ()
    """Sentences for the person: two strips, face down, another version, …"""
