"""The edge of a speck: how steep it is along the outline, which tells the blur, and whether it is as steep all round.

A body's edge is; an outline that runs half along a shade is steep on one side only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.types import Speck

_DIFFERENCE = 1 / 3
"""Variance, in window pixels, that a central difference adds: that of a box two pixels wide."""
_SHARPEST = 0.375
"""Blur in window pixels whose MTF50 is half a cycle per pixel: nothing finer can be told from pixels."""
_GRADIENT_OF_BLUR = 0.39894
"""Steepest slope of a unit edge blurred by a Gaussian of standard deviation 1: 1 / sqrt(2 pi)."""


def edge_slopes(speck: Speck, outline: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes of the contrast across the outline (n, 2: x, y in window pixels), per pixel and sorted, (n,) float64; 1 on the body."""
    strengths = np.sort(speck.strength[speck.mask])
    level = max(float(strengths[int(0.8 * (len(strengths) - 1))]), 1e-3)
    h, w = speck.strength.shape
    rows = np.clip(np.rint(outline[:, 1]).astype(int), 0, h - 1)
    cols = np.clip(np.rint(outline[:, 0]).astype(int), 0, w - 1)
    up, down = speck.strength[np.maximum(rows - 1, 0), cols], speck.strength[np.minimum(rows + 1, h - 1), cols]
    left, right = speck.strength[rows, np.maximum(cols - 1, 0)], speck.strength[rows, np.minimum(cols + 1, w - 1)]
    return np.asarray(np.sort(np.hypot(down - up, right - left)) / (2 * level), dtype=np.float64)


def blur_of(slopes: NDArray[np.float64], speck: Speck) -> float:
    """Standard deviation of the edge's blur in window pixels, from the steepest quarter of the outline."""
    slope = float(slopes[int(0.75 * (len(slopes) - 1))])
    seen = _GRADIENT_OF_BLUR / max(slope, 0.02)
    halvings = max(0, round(np.log2(speck.zoom)))
    added = speck.smoothed_px**2 + _DIFFERENCE + (1 - 4.0**-halvings) / 3
    return float(np.sqrt(max(seen**2 - added, _SHARPEST**2)))


def evenness(slopes: NDArray[np.float64]) -> float:
    """The slope that a quarter of the outline does not reach, over the one that a quarter goes beyond."""
    last = len(slopes) - 1
    return float(slopes[int(0.25 * last)] / max(float(slopes[int(0.75 * last)]), 1e-6))
