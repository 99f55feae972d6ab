"""Filled outlines as pixels whose value is the exact share of the pixel that is covered.

The area under each side is summed up signed, pixel by pixel, and then along the rows (Green's theorem), so nothing is sampled.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.slip.view import Points
from vision.types import FloatArray


def coverage(rings: Sequence[Points], height_px: int, width_px: int) -> FloatArray:
    """(h, w) float32, 0..1: how much of each pixel lies inside the rings.

    `rings` are closed polygons (n, 2) in pixels, (0, 0) at the outer corner of the top-left pixel; what lies outside the picture
    is left out. Outer rings run one way and holes the other; rings that lie in each other the same way do not add up beyond 1.
    """
    out = np.zeros((height_px, width_px), np.float32)
    if not rings:
        return out
    starts = np.concatenate(rings)
    left, top = np.clip(np.floor(starts.min(axis=0)), 0, [width_px, height_px]).astype(int)
    right, bottom = np.clip(np.ceil(starts.max(axis=0)), [left, top], [width_px, height_px]).astype(int)
    corner, high, wide = np.array([left, top]), int(bottom - top), int(right - left)
    starts = starts - corner
    ends = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings]) - corner
    for axis in (1, 0):
        starts, ends = _cut(starts, ends, axis)
    # To the left of the picture a side still covers all of its row; above, below and to the right it covers nothing.
    starts[:, 0], ends[:, 0] = np.clip(starts[:, 0], 0, wide), np.clip(ends[:, 0], 0, wide)
    out[top:bottom, left:right] = np.minimum(np.abs(_summed(starts, ends, high, wide)), np.float32(1))
    return out


def _cut(starts: Points, ends: Points, axis: int) -> tuple[Points, Points]:
    """The sides cut wherever they cross a whole number along `axis`."""
    a, b = starts[:, axis], ends[:, axis]
    low, high = np.minimum(a, b), np.maximum(a, b)
    first = np.floor(low).astype(np.int64) + 1
    many = np.maximum(np.ceil(high).astype(np.int64) - first, 0)
    side = np.repeat(np.arange(len(a)), many + 1)
    place = np.arange(len(side)) - np.repeat(np.cumsum(many + 1) - (many + 1), many + 1)
    # Along the side in its own direction: the cuts come in falling order where it runs backwards.
    forward = (b >= a)[side]
    nth = np.where(forward, place, many[side] - place)
    span = np.where(b == a, 1.0, b - a)[side]
    here = np.where(place == 0, 0.0, (first[side] + nth - np.where(forward, 1, 0) - a[side]) / span)
    after = np.where(place == many[side], 1.0, (first[side] + nth + np.where(forward, 0, -1) - a[side]) / span)
    step = (ends - starts)[side]
    return starts[side] + here[:, None] * step, starts[side] + after[:, None] * step


def _summed(starts: Points, ends: Points, height_px: int, width_px: int) -> FloatArray:
    middle = (starts + ends) / 2
    row = np.floor(middle[:, 1]).astype(np.int64)
    inside = (row >= 0) & (row < height_px)
    x = middle[inside, 0]
    column = np.asarray(np.minimum(np.floor(x).astype(np.int64), width_px))
    rise = (ends[:, 1] - starts[:, 1])[inside]
    wide = width_px + 2
    # Pixel `column` gets what lies to the right of the side within it, all pixels after it the whole rise.
    here = rise * (column + 1 - x)
    at, size = row[inside] * wide + column, height_px * wide
    total = np.bincount(np.concatenate([at, at + 1]), np.concatenate([here, rise - here]), size)
    return np.cumsum(total.reshape(height_px, wide), axis=1)[:, :width_px].astype(np.float32)
