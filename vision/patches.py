"""What a place looks like: two small pictures of it, cut from the shot's own pixels at a scale that goes with its size.

The near one shows a body and what it touches, the far one what it lies among. Both are a few dozen samples across whatever the
resolution, so that an aphid is the same picture in every shot.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

SIDE = 24
"""Samples across."""
_NEAR, _FAR = 0.45, 1.35
"""From sample to sample, in the smoothings (standard deviations) at which a place stands out: a body is about six samples wide in the
near picture and two in the far one."""
_BETWEEN = 2**0.25
"""How far past a halving of the picture its samples are still taken from the finer one, in parts of it."""
_AT_ONCE = 1000
"""OpenCV maps pictures of at most 32767 pixels a side."""

Pictures = list[NDArray[np.uint8]]


def halvings(pixels: NDArray[Any]) -> Pictures:
    """A shot's pixels (h, w, 3), uint8 or uint16, and their halvings, as 8 bits; pixel (i, j) of level k lies on (i 2^k, j 2^k)."""
    out = [np.ascontiguousarray(pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8))]
    while min(out[-1].shape[:2]) >= SIDE:
        out.append(np.asarray(cv2.pyrDown(out[-1]), dtype=np.uint8))
    return out


def patches_at(
    pictures: Pictures, row_px: NDArray[Any], column_px: NDArray[Any], sigma_px: NDArray[Any]
) -> NDArray[np.uint8]:
    """Near and far picture of each place, (n, 2, SIDE, SIDE, 3) uint8.

    `row_px`, `column_px` (n,) are shot pixels, `sigma_px` (n,) the smoothing at which each stands out, in shot pixels. What lies outside
    the shot repeats its border.
    """
    out = np.empty((len(row_px), 2, SIDE, SIDE, 3), np.uint8)
    for which, spacing in enumerate((_NEAR, _FAR)):
        step = np.asarray(sigma_px, np.float64) * spacing
        level = np.clip(np.floor(np.log2(np.maximum(step * _BETWEEN, 1e-3))), 0, len(pictures) - 1).astype(np.int64)
        for k in np.unique(level):
            at = np.flatnonzero(level == k)
            for begin in range(0, len(at), _AT_ONCE):
                some = at[begin : begin + _AT_ONCE]
                out[some, which] = _cut(
                    pictures[k], row_px[some] / 2.0**k, column_px[some] / 2.0**k, step[some] / 2.0**k
                )
    return out


def _cut(picture: NDArray[np.uint8], row: NDArray[Any], column: NDArray[Any], step: NDArray[Any]) -> NDArray[np.uint8]:
    offset = np.arange(SIDE) - (SIDE - 1) / 2
    y = np.repeat((row[:, None] + offset * step[:, None])[:, :, None], SIDE, axis=2)
    x = np.repeat((column[:, None] + offset * step[:, None])[:, None, :], SIDE, axis=1)
    flat = (-1, SIDE)
    cut = cv2.remap(
        picture, x.reshape(flat).astype(np.float32), y.reshape(flat).astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(cut, dtype=np.uint8).reshape(len(row), SIDE, SIDE, 3)
