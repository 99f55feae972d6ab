"""What outlines already cover: a body stands out in many places, at several scales, and is to be looked at once.

A place under an outline belongs to it where it lies on the same surface, does not stand out far more than that did, nor at a far
coarser scale, nor at a far finer one (on produce, whose shades are wide, and where everything is asked for). So a faint outline that
has run along a rim hides no plain body, and a part of a body does not hide the whole of it, nor, where everything is asked for, an
outline that was noticed by its rim.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import depth_within
from vision.types import MaskArray, Speck, Surfaces

_FAR_STRONGER = 1.5
"""How much more than the outline it lies under a place must stand out, in signal and in contrast, to be another body."""

_FAR_COARSER = 2.5
"""How much coarser than that at which it stood out, and than its own, the scale must be."""

_FAR_FINER, _FAR_FINER_ON_PRODUCE = 14.0, 5.0
"""How much finer than its own, where everything is asked for, and on produce, whose shades are wide: a mite in one is no part of it."""

_SIGMA_OF_WIDTH = 0.4
"""The smoothing at which a body stands out most, in its widths."""


@dataclass
class Covered:
    """`owner` (2, h, w) int32: the outline, counted from 1, that covers a working pixel for places on the ground and for those on
    produce; 0 where none does."""

    produce: MaskArray
    owner: NDArray[np.int32]
    everything: bool
    specks: list[Speck] = field(default_factory=list)
    widths_px: list[float] = field(default_factory=list)
    spans_px: list[float] = field(default_factory=list)
    """Widths of hulls: a shine that reaches its rim makes no body narrow. Known where everything is asked for."""
    signals: list[float] = field(default_factory=lambda: [0.0])
    """Of each owner; what no outline covers counts as one without signal."""

    @classmethod
    def nothing(cls, surfaces: Surfaces, everything: bool = False) -> Covered:
        """Before anything is found; `everything`: whatever stands out is asked for, however unlikely."""
        return cls(surfaces.produce, np.zeros((2, *surfaces.produce.shape), np.int32), everything)

    def hides(self, row: int, column: int, signal: float, sigma_px: float) -> bool:
        """Whether a place of this signal, at this scale, belongs to an outline that is known."""
        owner = int(self.owner[int(self.produce[row, column]), row, column]) - 1
        if owner < 0:
            return False
        speck, own_px = self.specks[owner], _SIGMA_OF_WIDTH * self.widths_px[owner]
        if sigma_px > _FAR_COARSER * max(speck.scale_px, own_px):
            return False
        if speck.on_produce and _FAR_FINER_ON_PRODUCE * sigma_px < own_px:
            return False
        if self.everything and _FAR_FINER * sigma_px < own_px:
            return False
        # Noticed by its rim, an outline may have caught a part: where all is asked for, a place of its own scale is looked at too.
        if self.everything and _FAR_COARSER * speck.scale_px < self._span_px(owner) <= _FAR_COARSER * sigma_px:
            return False
        # Of one and the same body a coarser place has more signal, since it holds more of it: its contrast is what tells.
        return signal <= _FAR_STRONGER * speck.snr or _strength_at(speck, row, column) <= _FAR_STRONGER

    def _span_px(self, owner: int) -> float:
        return _SIGMA_OF_WIDTH * self.spans_px[owner]

    def cover(self, speck: Speck) -> None:
        """Lays an outline, and a little round it, over the pixels it covers, save where a stronger one lies already."""
        self.specks.append(speck)
        self.widths_px.append(_width(speck.mask) * speck.zoom)
        if self.everything:
            self.spans_px.append(_width(_hull(speck.mask)) * speck.zoom)
        grown = cv2.dilate(speck.mask.astype(np.uint8), np.ones((3, 3), np.uint8))
        taken = self.owner[int(speck.on_produce)]
        h, w = taken.shape
        if speck.zoom > 1:
            wide = int(speck.zoom)
            grown = grown.repeat(wide, axis=0).repeat(wide, axis=1)
        rows, columns = np.nonzero(grown)
        fine = min(speck.zoom, 1.0)
        first = 0.5 * max(speck.zoom - 1, 0)  # a coarse pixel's middle lies on that of its first part and half the rest
        # Halves all go up: rounded to even, every other row and column of an even zoom would stay bare.
        i = np.floor(speck.top + rows * fine - first + 0.5).astype(int)
        j = np.floor(speck.left + columns * fine - first + 0.5).astype(int)
        inside = (i >= 0) & (j >= 0) & (i < h) & (j < w)
        i, j = i[inside], j[inside]
        self.signals.append(speck.snr)
        free = np.array(self.signals)[taken[i, j]] <= speck.snr
        taken[i[free], j[free]] = len(self.specks)


def _width(mask: MaskArray) -> float:
    """Of the widest part of a mask, in its own pixels."""
    return 2 * float(depth_within(mask).max())


def _hull(mask: MaskArray) -> MaskArray:
    """A mask with its bays and holes filled."""
    rows, columns = np.nonzero(mask)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.fillConvexPoly(filled, cv2.convexHull(np.stack([columns, rows], axis=1).astype(np.int32)), (1,))
    return filled.view(np.bool_)


def _strength_at(speck: Speck, row: int, column: int) -> float:
    """Its contrast at a working pixel, over that where it stood out; without end beside it."""
    # The coarse pixel whose parts `cover` lays there: halves go down.
    i, j = (math.ceil(n / speck.zoom - 0.5) for n in (row - speck.top, column - speck.left))
    h, w = speck.mask.shape
    return float(speck.strength[i, j]) if 0 <= i < h and 0 <= j < w and speck.mask[i, j] else float("inf")
