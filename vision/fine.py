"""Windows of a shot at its full resolution: the search works on a coarser picture, small bodies are cut out and measured on this.

A window's residual is the coarse one, stretched, plus what the full resolution adds to it: the difference between a pixel's own
log light and that of the working pixel it lies in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.light import decimal_log, light_lost, linear_16, over_channels
from vision.pyramid import build_pyramid
from vision.types import FloatArray


@dataclass(frozen=True)
class Window:
    """A part of a picture. `residual` (n, m, 3) float32 is density, `lost` the share of light that is lost with it; their pixel
    (0, 0) lies at (`top`, `left`) of the working picture, in working pixels, and their pixels, those of `level`, are `zoom` working
    pixels wide. `cut` says at which sides (top, left, bottom, right) the window ends although the picture goes on."""

    residual: FloatArray
    lost: FloatArray
    top: float
    left: float
    zoom: float
    level: int
    cut: tuple[bool, bool, bool, bool]


@dataclass(frozen=True)
class Box:
    """A part of the working picture, in working pixels: the first and last rows and columns in it, which may lie outside."""

    top: float
    left: float
    bottom: float
    right: float


@dataclass(frozen=True)
class Windows:
    """What windows are cut from: `pyramid`, halvings of the working residual (3, h, w) float32; `lost`, those of the light lost, from
    the first halving on; and the shot's `pixels` (h, w, 3), uint8 or uint16, of which `step` make one working pixel each way."""

    pyramid: list[FloatArray]
    lost: list[FloatArray]
    pixels: NDArray[Any] | None
    step: int

    @property
    def finest(self) -> int:
        """The finest level there is: -1 is the shot's own resolution, 0 the working picture's."""
        return -1 if self.pixels is not None and self.step > 1 else 0

    def around(self, level: int, row: float, column: float, half_px: float) -> Window:
        """The window of `half_px` working pixels to each side of a working pixel, at a level of the pyramid or -1."""
        return self.of(level, Box(row - half_px, column - half_px, row + half_px, column + half_px))

    def of(self, level: int, box: Box) -> Window:
        """The window that holds a box, at a level of the pyramid or -1."""
        if level < 0:
            return self._fine(box)
        zoom = 2**level
        planes = self.pyramid[level]
        top, bottom = _span(box.top / zoom, box.bottom / zoom, planes.shape[1])
        left, right = _span(box.left / zoom, box.right / zoom, planes.shape[2])
        residual = _laid(planes[:, top:bottom, left:right])
        lost = _laid(self.lost[level - 1][:, top:bottom, left:right]) if level else light_lost(residual)
        cut = (top > 0, left > 0, bottom < planes.shape[1], right < planes.shape[2])
        return Window(residual, lost, top * zoom, left * zoom, zoom, level, cut)

    def _fine(self, box: Box) -> Window:
        assert self.pixels is not None
        planes, step = self.pyramid[0], self.step
        # One working pixel more on each side than is asked for, so that the stretching never looks past what it has.
        top, bottom = _span(box.top - 1, box.bottom + 1, planes.shape[1])
        left, right = _span(box.left - 1, box.right + 1, planes.shape[2])
        own = linear_16(self.pixels[top * step : bottom * step, left * step : right * step])
        size = (own.shape[1], own.shape[0])
        coarse = decimal_log(cv2.resize(own, (right - left, bottom - top), interpolation=cv2.INTER_AREA))
        slow = coarse + _laid(planes[:, top:bottom, left:right])
        residual = cv2.resize(slow, size, interpolation=cv2.INTER_LINEAR) - decimal_log(own)
        cut = (top > 0, left > 0, bottom < planes.shape[1], right < planes.shape[2])
        offset = (1 / step - 1) / 2
        residual = np.asarray(residual, dtype=np.float32)
        return Window(residual, light_lost(residual), top + offset, left + offset, 1 / step, -1, cut)


def windows_over(pyramid: list[FloatArray], pixels: NDArray[Any] | None, step: int) -> Windows:
    """Windows over halvings of the working residual. A coarse pixel has lost the mean of what its parts have, which is less than the
    light lost at their mean density: halving the density instead would set the outlines of dark bodies outside of them."""
    lost: list[FloatArray] = []
    if len(pyramid) > 1:
        first = np.empty_like(pyramid[1])

        def channel(k: int) -> None:
            cv2.pyrDown(light_lost(pyramid[0][k]), dst=first[k])

        over_channels(channel)
        lost = build_pyramid(first, len(pyramid) - 1)
    return Windows(pyramid, lost, pixels, step)


def _laid(planes: FloatArray) -> FloatArray:
    """Planes (3, n, m) as one array (n, m, 3)."""
    return np.asarray(cv2.merge(list(planes)), dtype=np.float32)


def _span(first: float, last: float, length: int) -> tuple[int, int]:
    """Where a slice of a side begins and ends that holds both pixels; at least one pixel of the side."""
    begin = min(max(math.floor(first), 0), length - 1)
    return begin, max(min(math.ceil(last) + 1, length), begin + 1)
