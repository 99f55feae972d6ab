"""One body, one candidate: of outlines that cover the same place, one stays.

A body may be cut out more than once, with its legs and without, or from two of its parts. Two outlines are taken for the same
when they share clearly more than half of what they cover together; a part of a body, or one of two that touch, is kept.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, Measures

_SAME = 0.6
"""Share of both together: the outline of two equal bodies that touch shares half with either."""
_DILUTED = 0.75
"""Share of another outline's density below which a larger one holds as much surroundings as body."""
_ADDED = 0.25
"""Density of what an outline adds to another, over that other's, at the least: where half of the light of a body of density 1 is lost,
density is a quarter of its own, and what lies farther out is less dense."""
_SOFTER, _SHARPEST_PX = 2.0, 0.7
"""Blur of one outline's edge over another's from which it is that of a shade, and the blur below which all edges are sharp."""
_RASTER_PX = 96
"""Longest side, in cells, of the raster two outlines are compared on: fine enough for that."""


def without_repeats(order: Sequence[int], measures: Sequence[Measures]) -> list[tuple[int, int]]:
    """One pair of indices a body, in the order of `order` (best first): whose score it has, and whose outline.

    The score is the best one; the outline is the largest, which is the one that has the body whole, save where it is so much paler
    than another, or adds so little, that it is the body and its surroundings, seen too coarsely.
    """
    kept: list[tuple[int, int]] = []
    boxes = np.array([(m.left_px, m.top_px, m.left_px + m.wide_px, m.top_px + m.high_px) for m in measures]).reshape(
        -1, 4
    )
    held = np.zeros((len(order), 4), boxes.dtype)  # of what is kept: thousands may be, and most lie far apart
    for k in order:
        n = len(kept)
        touching = np.flatnonzero((held[:n, :2] < boxes[k, 2:]).all(axis=1) & (boxes[k, :2] < held[:n, 2:]).all(axis=1))
        same = [int(t) for t in touching if _is_same(measures[k], measures[kept[t][1]])]
        if not same:
            held[len(kept)] = boxes[k]
            kept.append((k, k))
        elif len(same) == 1 and _replaces(measures, k, *kept[same[0]]):
            kept[same[0]] = (kept[same[0]][0], k)
            held[same[0]] = boxes[k]
    return kept


def _replaces(measures: Sequence[Measures], k: int, first: int, kept: int) -> bool:
    """Whether outline `k` has the body more wholly than the one that is kept; it must still be the same as the first, and as sharp, or
    ever larger ones would creep over what lies beside it."""
    one, other, founder = measures[k], measures[kept], measures[first]
    return _is_better(one, other) and (kept == first or (_is_same(one, founder) and not _is_shade(one, founder)))


def _is_better(one: Measures, other: Measures) -> bool:
    """Whether `one` has the body more wholly than `other`."""
    paler, darker = sorted((abs(one.density), abs(other.density)))
    if paler < _DILUTED * darker:
        return abs(one.density) == darker
    return _is_shade(other, one) or (_adds_body(one, other) and not _is_shade(one, other))


def _adds_body(one: Measures, other: Measures) -> bool:
    """Whether the first outline is larger, and not by surroundings alone."""
    more_px2 = one.area_px - other.area_px
    added = abs(one.density) * one.area_px - abs(other.density) * other.area_px
    return more_px2 > 0 and added > _ADDED * abs(other.density) * more_px2


def _is_shade(one: Measures, other: Measures) -> bool:
    """Whether the first outline's edge is so much softer than the second's that it is that of a shade."""
    return one.blur_px > _SOFTER * max(other.blur_px, _SHARPEST_PX)


def _is_same(a: Measures, b: Measures) -> bool:
    """Whether intersection over union of the two outlines says that they are one."""
    one, two = _rasters(a, b)
    shared = cv2.countNonZero(one & two)
    return shared > _SAME * (cv2.countNonZero(one) + cv2.countNonZero(two) - shared)


def share_within(a: Measures, b: Measures) -> float:
    """Share of the first outline's area that lies within the second."""
    one, two = _rasters(a, b)
    return cv2.countNonZero(one & two) / max(cv2.countNonZero(one), 1)


def _rasters(a: Measures, b: Measures) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Both outlines on one raster of their own, 1 within them."""
    low = np.minimum(a.outline_px.min(axis=0), b.outline_px.min(axis=0))
    high = np.maximum(a.outline_px.max(axis=0), b.outline_px.max(axis=0))
    grain = float(np.max(high - low)) / _RASTER_PX + 1e-6
    return _raster(a.outline_px, low, grain), _raster(b.outline_px, low, grain)


def _raster(outline: FloatArray, low: FloatArray, grain: float) -> NDArray[np.uint8]:
    cells = np.zeros((_RASTER_PX + 2, _RASTER_PX + 2), np.uint8)
    cv2.fillPoly(cells, [np.rint((outline - low) / grain).astype(np.int32)], (1,))
    return cells
