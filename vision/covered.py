"""What outlines already cover: a body stands out in many places, at several scales, and is to be looked at once.

A place under an outline belongs to it where it lies on the same surface, does not stand out far more than that did, nor at a far
coarser scale (nor, where everything is asked for, at a far finer one). So a faint outline that has run along a rim hides no plain
body, and a part of a body does not hide the whole of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import MaskArray, Speck, Surfaces

_FAR_STRONGER = 1.5
"""How much more than the outline it lies under a place must stand out to be another body."""

_FAR_COARSER = 2.5
"""How much coarser the scale must be."""

_FAR_FINER = 14.0
"""How much finer, where everything is asked for: a mite on a leaf that stands out is no part of that."""

_SIGMA_OF_WIDTH = 0.4
"""The smoothing at which a body stands out most, in its widths."""


@dataclass
class Covered:
    """`owner` (2, h, w) int32: the outline, counted from 1, that covers a working pixel for places on the ground and for those on
    produce; 0 where none does."""

    produce: MaskArray
    owner: NDArray[np.int32]
    everything: bool
    signals: list[float] = field(default_factory=list)
    sigmas_px: list[float] = field(default_factory=list)
    widths_px: list[float] = field(default_factory=list)

    @classmethod
    def nothing(cls, surfaces: Surfaces, everything: bool = False) -> Covered:
        """Before anything is found; `everything`: whatever stands out is asked for, however unlikely."""
        return cls(surfaces.produce, np.zeros((2, *surfaces.produce.shape), np.int32), everything)

    def hides(self, row: int, column: int, signal: float, sigma_px: float) -> bool:
        """Whether a place of this signal, at this scale, belongs to an outline that is known."""
        owner = int(self.owner[int(self.produce[row, column]), row, column]) - 1
        if owner < 0:
            return False
        if self.everything and _FAR_FINER * sigma_px < _SIGMA_OF_WIDTH * self.widths_px[owner]:
            return False
        return signal <= _FAR_STRONGER * self.signals[owner] and sigma_px <= _FAR_COARSER * self.sigmas_px[owner]

    def cover(self, speck: Speck) -> None:
        """Lays an outline, and a little round it, over the pixels it covers, save where a stronger one lies already."""
        self.signals.append(speck.snr)
        self.sigmas_px.append(speck.scale_px)
        depth = cv2.distanceTransform(np.pad(speck.mask, 1).astype(np.uint8), cv2.DIST_L2, 5)
        self.widths_px.append(2 * float(depth.max()) * speck.zoom)
        grown = cv2.dilate(speck.mask.astype(np.uint8), np.ones((3, 3), np.uint8))
        taken = self.owner[int(speck.on_produce)]
        h, w = taken.shape
        if speck.zoom > 1:
            wide = int(speck.zoom)
            grown = grown.repeat(wide, axis=0).repeat(wide, axis=1)
        rows, columns = np.nonzero(grown)
        fine = min(speck.zoom, 1.0)
        first = 0.5 * max(speck.zoom - 1, 0)  # a coarse pixel's middle lies on that of its first part and half the rest
        i = np.rint(speck.top + rows * fine - first).astype(int)
        j = np.rint(speck.left + columns * fine - first).astype(int)
        inside = (i >= 0) & (j >= 0) & (i < h) & (j < w)
        i, j = i[inside], j[inside]
        # Nothing owns a pixel with signal 0: index 0 is for that.
        free = np.array([0.0, *self.signals])[taken[i, j]] <= speck.snr
        taken[i[free], j[free]] = len(self.signals)
