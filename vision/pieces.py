"""The pieces on a tray: their order, and which of them a speck lies on.

What the pieces are is told in conditions/touching.py, so that the number in "Pieces 2 and 3 touch" is the one on the picture. Two
pieces that touch are told apart only where the produce narrows between them; without such a neck, or where one hides the other, they
are one piece with one number. Crumbs are none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.guides.views import VIEWS, Of
from vision.types import Candidate, Inspection, Measures, Piece

REACH_MM = 2.0
"""A speck so near a piece is counted to it: legs and leaves' edges stick out over the outline that is found."""
_REACH_SHARE = 0.007
"""The same without a scale, as a share of the picture's longest side: 2 mm of 300."""
_SAME_ROW = 0.5
"""Share of the lower one's height by which two neighbours of a row overlap at least."""


@dataclass(frozen=True)
class PieceMap:
    """Where the pieces are: `numbers` (h, w) int32 holds the number of the piece at each cell, 0 where there is none.

    `cell_px` is the size of a cell in shot pixels, along x and y.
    """

    pieces: tuple[Piece, ...]
    numbers: NDArray[np.int32]
    cell_px: tuple[float, float]


def tray_order(places: Sequence[tuple[float, float, float]]) -> list[int]:
    """Which of the places (middle x, middle y, height) comes first, second, ...: row by row from the top, each from left to right.

    A place belongs to the row whose member next to it, from left to right, it overlaps most in height, and by half of the lower
    one's height at least. So a row may slant as a whole, and the order in which places are given does not matter.
    """
    rows: list[list[tuple[float, float, float, int]]] = []
    for y, x, high, k in sorted((y, x, high, k) for k, (x, y, high) in enumerate(places)):
        overlaps = [_overlap((x, y, high), min(row, key=lambda other: (abs(other[0] - x), other))) for row in rows]
        best = max(range(len(rows)), key=lambda r: overlaps[r], default=None)
        if best is not None and overlaps[best] >= _SAME_ROW:
            rows[best].append((x, y, high, k))
        else:
            rows.append([(x, y, high, k)])
    rows.sort(key=lambda row: float(np.mean([y for _, y, _, _ in row])))
    return [k for row in rows for *_, k in sorted(row)]


def _overlap(one: tuple[float, float, float], other: tuple[float, float, float, int]) -> float:
    (_, y, high), (_, other_y, other_high, _) = one, other
    shared = min(y + high / 2, other_y + other_high / 2) - max(y - high / 2, other_y - other_high / 2)
    return shared / max(min(high, other_high), 1e-9)


def on_pieces(candidates: Sequence[Candidate], where: PieceMap, px_per_mm: float | None) -> tuple[Candidate, ...]:
    """The same with the number of the piece each lies on, or is nearest to within REACH_MM; `px_per_mm` is the shot's."""
    if not where.pieces:
        return tuple(candidates)
    h, w = where.numbers.shape
    longest_px = max(w * where.cell_px[0], h * where.cell_px[1])
    reach_px = _REACH_SHARE * longest_px if px_per_mm is None else REACH_MM * px_per_mm
    return tuple(replace(each, piece=piece_at(each.measures, where, reach_px)) for each in candidates)


def piece_at(measures: Measures, where: PieceMap, reach_px: float) -> int:
    """The number of the piece under a speck's middle, or else of the nearest one within `reach_px` of its outline; 0 for none."""
    h, w = where.numbers.shape
    gx, gy = where.cell_px
    column, row = int((measures.x_px + 0.5) / gx), int((measures.y_px + 0.5) / gy)
    if 0 <= row < h and 0 <= column < w and where.numbers[row, column]:
        return int(where.numbers[row, column])
    outline = np.asarray(measures.outline_px, np.float64).reshape(-1, 2)
    points = np.vstack([outline, [[measures.x_px, measures.y_px]]])
    low, high = points.min(axis=0) - reach_px, points.max(axis=0) + reach_px
    top, left = max(0, int(low[1] / gy) - 1), max(0, int(low[0] / gx) - 1)
    window = where.numbers[top : int(high[1] / gy) + 2, left : int(high[0] / gx) + 2]
    rows, columns = np.nonzero(window)
    if not len(rows):
        return 0
    cells = np.stack([(columns + left + 0.5) * gx - 0.5, (rows + top + 0.5) * gy - 0.5], axis=1)
    apart = np.sqrt(((cells[:, None] - points[None]) ** 2).sum(axis=2)).min(axis=1)
    numbers = window[rows, columns]
    # From a cell's middle: its edge is half a cell nearer. Of two that are as near, the lower number.
    nearest = min(zip(np.round(apart - max(gx, gy) / 2, 6), numbers, strict=True))
    return int(nearest[1]) if nearest[0] <= reach_px else 0


def tells_pieces(inspection: Inspection, view: str, names_piece: bool) -> bool:
    """Whether the candidates of a shot are told apart by piece: on a view of pieces, or where no view is known, that shows two or more.

    `view` is a key of VIEWS or ''. Not where the shot itself names a piece.
    """
    of_pieces = view not in VIEWS or VIEWS[view].of is Of.PIECE
    return of_pieces and not names_piece and len(inspection.pieces) > 1
