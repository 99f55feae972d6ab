"""Where florets lie on the ground: spread over the picture, turned at random, next to each other rather than on each other."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.florets_solids import FOOTPRINT_MM, Floret, placed
from vision.render.florets_tree import grow_floret

_COVERED = (0.36, 0.52)
"""Share of the picture that produce is to cover, where there is room for it."""


def lay_out(
    rng: np.random.Generator, width_mm: float, height_mm: float, pieces: int | None, view: str, heated: bool
) -> list[Floret]:
    """Florets where they lie: for each, of many random places the one that fills the picture without lying on another.

    `width_mm`, `height_mm`: the picture; `pieces`: how many, None for as many as cover a good share of it. Places are in mm
    from the picture's top left corner.
    """
    # A frame round the picture, so that a footprint beyond the edge still falls on the grid.
    frame = FOOTPRINT_MM
    rows, columns = max(2, round(height_mm)), max(2, round(width_mm))
    taken = np.zeros((rows + 2 * frame, columns + 2 * frame), dtype=np.uint8)
    inside = np.zeros_like(taken)
    inside[frame:-frame, frame:-frame] = 1
    wanted = int(rng.uniform(*_COVERED) * rows * columns)
    missing, laid = wanted, list[Floret]()
    while pieces is None or len(laid) < pieces:
        floret = grow_floret(rng, view=view, heated=heated)
        best, best_score, best_gain = (0.0, 0.0, 0.0), -np.inf, 0
        for turn in rng.uniform(0, 2 * np.pi, 5):
            mask = floret.footprint(turn)
            for x_mm, y_mm in rng.uniform((-8, -8), (width_mm + 8, height_mm + 8), (6, 2)):
                window = _window(x_mm, y_mm)
                seen = mask & inside[window]
                gain, overlap = cv2.countNonZero(seen), cv2.countNonZero(seen & taken[window])
                score = min(gain, missing) - 5.0 * overlap
                if score > best_score:
                    best, best_score, best_gain = (turn, x_mm, y_mm), score, gain
        if pieces is None and laid and best_score < 0.02 * min(rows * columns, 5000):
            break
        laid.append(placed(floret, best[0], np.array([best[1], best[2], 0.0], dtype=np.float32)))
        taken[_window(best[1], best[2])] |= floret.footprint(best[0])
        missing -= best_gain
        if pieces is None and missing < 0.1 * wanted:
            break
    return laid


def _window(x_mm: float, y_mm: float) -> tuple[slice, slice]:
    """Where a footprint centred on `x_mm`, `y_mm` lies in the framed grid of `lay_out`."""
    left, top = (round(v) + FOOTPRINT_MM - FOOTPRINT_MM // 2 for v in (x_mm, y_mm))
    return slice(top, top + FOOTPRINT_MM), slice(left, left + FOOTPRINT_MM)
