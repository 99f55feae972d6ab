"""What stands out round a body, and what it leaves open: legs and antennae are thin spokes, a bubble is a ring.

Spokes are counted where a line round the body, at a distance that most of its own outline's roughness does not reach, meets them.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import depth_within, median
from vision.types import FloatArray, MaskArray

_OPENED = 0.34
"""What is thinner than this share of the body's half-width is no trunk."""
_NEAR, _FAR = 0.5, 1.0
"""Distances from the trunk, in its half-widths, at which spokes are counted."""
_LEAST_PX = 2.0
"""The same in window pixels, at the least: nearer is the blur of the edge."""
_FAINTEST = 0.05
"""Share of the body's contrast that a spoke has at the least: legs are a pixel thin and paler than bodies."""
_ABOVE_SPREAD = 3.0
"""How far a spoke stands above the middle of the line, in the line's own spread."""
_WIDEST = 0.6
"""Widest spoke, in half-widths of the trunk, with room for its blur; what is wider is another body."""
_BLUR_PX = 3.0
_LEAST_HOLE_PX = 3
"""Window pixels that a hole has at the least."""


def count_spokes(mask: MaskArray, contrast: FloatArray) -> tuple[int, int]:
    """How many thin spokes a body has near its trunk, and farther out.

    `mask` (bool, (n, m)) is the body in its window, `contrast` (float32, (n, m)) about 1 on it and 0 round it. A line is only as long
    as the window holds.
    """
    half = float(depth_within(mask).max())
    outside = cv2.distanceTransform((~_trunk(mask, half)).view(np.uint8), cv2.DIST_L2, 5)
    return (
        _met(contrast, outside, max(_NEAR * half, _LEAST_PX), half),
        _met(contrast, outside, max(_FAR * half, 2 * _LEAST_PX), half),
    )


def hollow(mask: MaskArray) -> tuple[float, int]:
    """Share of what an outline goes round that is not of the body, 0..1, and into how many holes that falls."""
    padded = _padded(mask, 1)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(1 - padded, connectivity=4)
    outside = int(labels[0, 0])
    holes = [int(stats[n, cv2.CC_STAT_AREA]) for n in range(1, count) if n != outside]
    holes = [area for area in holes if area >= _LEAST_HOLE_PX]
    return sum(holes) / (sum(holes) + max(int(padded.sum()), 1)), len(holes)


def _padded(mask: MaskArray, by: int) -> NDArray[Any]:
    return cv2.copyMakeBorder(mask.view(np.uint8), by, by, by, by, cv2.BORDER_CONSTANT, value=(0,))


def _trunk(mask: MaskArray, half: float) -> MaskArray:
    """The body without what is thin."""
    radius = round(_OPENED * half)
    if radius < 1:
        return mask
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    opened = cv2.morphologyEx(_padded(mask, radius), cv2.MORPH_OPEN, kernel)
    return np.asarray(opened[radius:-radius, radius:-radius] > 0)


def _met(contrast: FloatArray, outside: NDArray[Any], reach_px: float, half: float) -> int:
    """Spokes that a line at `reach_px` from the trunk meets."""
    line = np.abs(outside - reach_px) < 0.8
    values = contrast[line]
    if not len(values):
        return 0
    middle = median(values)
    spread = 1.4826 * median(np.abs(values - middle))
    high = line & (contrast > middle + max(_FAINTEST, _ABOVE_SPREAD * spread))
    count, _, stats, _ = cv2.connectedComponentsWithStats(high.view(np.uint8), connectivity=8)
    across = np.maximum(stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT])
    return int((across <= _WIDEST * half + _BLUR_PX).sum()) if count > 1 else 0
