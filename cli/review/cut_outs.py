"""Cut-outs of marks side by side at one real scale: which part of which photograph, how large on the page, where ring and bar lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cli.lots.marks import Mark
from cli.review.shelf import DeskShot, Shelf

SIDE_CSS_PX = 240
"""Of a cut-out on the page."""
_LEAST_MM = 4.0
_TIMES_LENGTH = 2.5
_WITHOUT_SCALE_PX = 160
_SHARPEST_PX = 2 * SIDE_CSS_PX
"""More pixels than a fine screen shows are not sent."""
_BARS_MM = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_BAR_SHARE = 0.35


@dataclass(frozen=True)
class CutOut:
    """One cut-out. Numbers of the drawing over it are pixels of the photograph."""

    source: str
    """Where the desk gives this part of the photograph."""
    wide: int
    """On the page, in its own pixels, as is `high`."""
    high: int
    box: str
    """The drawing's frame: left, top, width and height."""
    x: float
    y: float
    ring: float
    bar: str
    """The bar as the points of a line; '' without a scale."""


@dataclass(frozen=True)
class Row:
    """Cut-outs at one scale, and the length that their bars stand for; '' where none has a scale."""

    cut_outs: tuple[CutOut, ...]
    bar_mm: str


def cut_out_row(marks: Sequence[Mark], shelf: Shelf) -> Row:
    """The marks' cut-outs, all as many millimetres wide as the longest of them needs."""
    side_mm = max(_LEAST_MM, *(_TIMES_LENGTH * (mark.length_mm or 0) for mark in marks))
    bar_mm = max((bar for bar in _BARS_MM if bar <= _BAR_SHARE * side_mm), default=_BARS_MM[0])
    shots = [shelf.by_sha256[mark.speck.shot_sha256] for mark in marks]
    cut_outs = tuple(_cut_out(mark, shot, side_mm, bar_mm) for mark, shot in zip(marks, shots, strict=True))
    return Row(cut_outs, f"{bar_mm:g}" if any(shot.px_per_mm for shot in shots) else "")


def _cut_out(mark: Mark, shot: DeskShot, side_mm: float, bar_mm: float) -> CutOut:
    scale = shot.px_per_mm
    side = scale * side_mm if scale else float(_WITHOUT_SCALE_PX)
    (left, wide), (top, high) = (
        _span(place, side, size) for place, size in zip((mark.x_px, mark.y_px), shot.size_px, strict=True)
    )
    shrink = max(1, math.floor(side / _SHARPEST_PX))
    ring = max(0.7 * (mark.length_mm or 0) * scale if scale else 0.0, 0.08 * side)
    end, low = left + 0.05 * wide, top + 0.95 * high
    return CutOut(
        f"/part/{shot.sha256}/{left},{top},{wide},{high}/{shrink}.jpg",
        *(max(1, round(SIDE_CSS_PX * size / side)) for size in (wide, high)),
        f"{left} {top} {wide} {high}",
        # Pixels' centres are whole numbers, and a frame begins at a pixel's edge.
        mark.x_px + 0.5,
        mark.y_px + 0.5,
        round(ring, 2),
        f"{end:.2f},{low:.2f} {end + bar_mm * scale:.2f},{low:.2f}" if scale else "",
    )


def _span(centre: float, side: float, size: int) -> tuple[int, int]:
    """First pixel and number of pixels of a stretch round a place; at the picture's edge it is moved inside, so that the scale stays."""
    length = min(size, math.ceil(side))
    return min(max(0, round(centre + 0.5 - length / 2)), size - length), length
