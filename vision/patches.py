"""What a place looks like: small pictures of it, cut from the shot's own pixels at a scale that goes with its size.

Of a place not yet looked at closer, two: the near one shows a body and what it touches, the far one what it lies among. Of a body that
has been outlined, one: turned along it, and fine enough to show legs. All are a few dozen samples across whatever the resolution, so
that an aphid is the same picture in every shot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

SIDE = 24
"""Samples across."""
_NEAR, _FAR = 0.45, 1.35
"""From sample to sample, in the smoothings (standard deviations) at which a place stands out: a body is about six samples wide in the
near picture and two in the far one."""
TURNED_SIDE = 40
"""Samples across the picture of a body."""
_LENGTHS, _WIDTHS, _LEAST_PX = 2.2, 1.3, 5.0
"""How many lengths it is across; what counts as a length at the least, in widths and in shot pixels: a leg reaches about a length
from the middle, and of what is a few pixels long nothing more is to be seen."""
_BETWEEN = 2**0.25
"""How far past a halving of the picture its samples are still taken from the finer one, in parts of it."""
_AT_ONCE, _TURNED_AT_ONCE = 1000, 800
"""OpenCV maps pictures of at most 32767 pixels a side."""

Pictures = list[NDArray[np.uint8]]


@dataclass(frozen=True)
class Bodies:
    """Outlined bodies: middle, length, width (n,) in shot pixels, and the direction of the length from the rows, in degrees towards
    higher row numbers."""

    row_px: NDArray[np.float64]
    column_px: NDArray[np.float64]
    length_px: NDArray[np.float64]
    width_px: NDArray[np.float64]
    angle_deg: NDArray[np.float64]


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
        level = _level(step, pictures)
        for k in np.unique(level):
            at = np.flatnonzero(level == k)
            for begin in range(0, len(at), _AT_ONCE):
                some = at[begin : begin + _AT_ONCE]
                row, column, apart = (values[some] / 2.0**k for values in (row_px, column_px, step))
                out[some, which] = _cut(pictures[k], row, column, apart, SIDE)
    return out


def turned_at(pictures: Pictures, bodies: Bodies) -> NDArray[np.uint8]:
    """Picture of each body with its length along the rows, (n, 1, TURNED_SIDE, TURNED_SIDE, 3) uint8. What lies outside the shot
    repeats its border."""
    out = np.empty((len(bodies.row_px), 1, TURNED_SIDE, TURNED_SIDE, 3), np.uint8)
    length = np.maximum(np.maximum(bodies.length_px, _WIDTHS * bodies.width_px), _LEAST_PX)
    step = _LENGTHS * length / TURNED_SIDE
    level = _level(step, pictures)
    for k in np.unique(level):
        at = np.flatnonzero(level == k)
        for begin in range(0, len(at), _TURNED_AT_ONCE):
            some = at[begin : begin + _TURNED_AT_ONCE]
            row, column, apart = (values[some] / 2.0**k for values in (bodies.row_px, bodies.column_px, step))
            out[some, 0] = _cut(pictures[k], row, column, apart, TURNED_SIDE, bodies.angle_deg[some])
    return out


def _level(step: NDArray[Any], pictures: Pictures) -> NDArray[np.int64]:
    """Which halving samples so far apart are taken from."""
    return np.clip(np.floor(np.log2(np.maximum(step * _BETWEEN, 1e-3))), 0, len(pictures) - 1).astype(np.int64)


def _cut(
    picture: NDArray[np.uint8], row: NDArray[Any], column: NDArray[Any], step: NDArray[Any], side: int,
    angle_deg: NDArray[Any] | None = None,
) -> NDArray[np.uint8]:  # fmt: skip
    turn = np.deg2rad(np.zeros(len(row)) if angle_deg is None else angle_deg)[:, None, None]
    offset = np.arange(side) - (side - 1) / 2
    along, across = offset[None, None, :] * step[:, None, None], offset[None, :, None] * step[:, None, None]
    y = row[:, None, None] + along * np.sin(turn) + across * np.cos(turn)
    x = column[:, None, None] + along * np.cos(turn) - across * np.sin(turn)
    flat = (-1, side)
    cut = cv2.remap(
        picture, x.reshape(flat).astype(np.float32), y.reshape(flat).astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(cut, dtype=np.uint8).reshape(len(row), side, side, 3)
