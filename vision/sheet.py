"""How the pictures on a page are laid out: the thumbnail's size, and where each candidate's crop lies on the crop sheet.

A crop sheet is one picture file that holds all crops of a shot at one real scale. The places on it follow from the table rows
alone (upright boxes and px_per_mm as written), so a page can be made again from the tables and the pictures that stand in the
folder, without the photographs and without a file of places beside each sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

WINDOW_MM = 6.0
"""Side of the smallest window: an aphid of 2 mm fills a third of it, a thrips of 1 mm still shows."""
WINDOW_PX = 120.0
"""Side of the smallest window where the scale is unknown: bodies are searched from 4 to 160 px."""

_MOST_PX_PER_MM = 40.0
_MOST_WINDOWS = 4
_COLUMNS = 8
_LEAST_CELL_PX = 48
# A sheet stays a picture that any viewer opens: the best candidates until they fill this many smallest windows.
_MOST_CELLS = 300
# Room left round a body, so that what lies beside it can be seen too, as a share of the smallest window.
_AROUND = 0.25
# Rows in which a person reads a tray: 12 mm high, two windows.
_ROW_WINDOWS = 2.0


_SMALL_WIDE_PX, _SMALL_HIGH_PX = 640, 960


def small_size(width_px: int, height_px: int) -> tuple[int, int]:
    """Width and height of a shot's thumbnail: the shot's own form within 640 x 960 px, never enlarged."""
    zoom = min(1.0, _SMALL_WIDE_PX / width_px, _SMALL_HIGH_PX / height_px)
    return max(1, round(width_px * zoom)), max(1, round(height_px * zoom))


@dataclass(frozen=True)
class Box:
    """A candidate's number and upright box in shot pixels, as in the table."""

    number: int
    left_px: int
    top_px: int
    wide_px: int
    high_px: int

    @property
    def x_px(self) -> float:
        """Middle of the box, to the right; pixel centres are whole numbers."""
        return self.left_px + (self.wide_px - 1) / 2

    @property
    def y_px(self) -> float:
        """Middle of the box, down."""
        return self.top_px + (self.high_px - 1) / 2


@dataclass(frozen=True)
class Place:
    """One crop on the sheet: `x`, `y` are its left top corner, `across` and `down` its size, all in smallest windows."""

    box: Box
    x: int
    y: int
    across: int
    down: int
    whole: bool
    """Whether the body fits into its window."""


@dataclass(frozen=True)
class Sheet:
    """All crops of a shot in reading order: rows of the tray from the top, from left to right within a row."""

    places: tuple[Place, ...]
    columns: int
    """Width of the sheet in smallest windows."""
    rows: int
    """Height of the sheet in smallest windows."""
    window_px: float
    """Side of the smallest window in shot pixels."""
    window_mm: float | None
    """Side of the smallest window in mm; None where the scale is unknown."""
    cell_px: int
    """Side of the smallest window in pixels of the sheet."""
    left_out: int
    """Candidates without a crop, the last ones of the list."""


def _windows(size_px: int, window_px: float) -> int:
    return min(_MOST_WINDOWS, max(1, math.ceil(size_px / window_px + _AROUND)))


def lay_out(boxes: Sequence[Box], px_per_mm: float | None) -> Sheet:
    """The sheet for the candidates of one shot; `px_per_mm` counts with the two decimals the table holds."""
    scale = 0.0 if px_per_mm is None else round(px_per_mm, 2)
    window_px = WINDOW_MM * scale if scale > 0 else WINDOW_PX
    cell_px = max(_LEAST_CELL_PX, round(min(window_px, WINDOW_MM * _MOST_PX_PER_MM)))
    chosen: list[tuple[Box, int, int]] = []
    cells = 0
    for box in sorted(boxes, key=lambda b: b.number):
        across, down = _windows(box.wide_px, window_px), _windows(box.high_px, window_px)
        cells += across * down
        if cells > _MOST_CELLS:
            break
        chosen.append((box, across, down))
    row_px = _ROW_WINDOWS * window_px
    chosen.sort(key=lambda c: (math.floor(c[0].y_px / row_px), c[0].x_px, c[0].number))
    places: list[Place] = []
    x = y = shelf = columns = 0
    for box, across, down in chosen:
        if x + across > _COLUMNS:
            x, y, shelf = 0, y + shelf, 0
        whole = box.wide_px <= across * window_px and box.high_px <= down * window_px
        places.append(Place(box, x, y, across, down, whole))
        x, shelf = x + across, max(shelf, down)
        columns = max(columns, x)
    return Sheet(
        places=tuple(places),
        columns=columns,
        rows=y + shelf,
        window_px=window_px,
        window_mm=WINDOW_MM if scale > 0 else None,
        cell_px=cell_px,
        left_out=len(boxes) - len(places),
    )
