"""The working picture on a coarse grid: what the conditions of a whole shot are read from, in a few milliseconds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.light import coarse_to_fine
from vision.types import FloatArray, Light, MaskArray, Surfaces

_FINE_PX = 1400
_COARSE_PX = 700
"""Longest side of the coarse picture, at most: a condition of the light is never smaller than a few of its pixels."""


_TO_NATURAL = np.float32(-np.log(10.0))


@dataclass(frozen=True)
class Coarse:
    """The picture averaged to at most 700 pixels a side.

    `light` and `level` (3, h, w) float32: linear light, 0..1 of full scale, of the picture and of its ground. `ground`, `produce`,
    `judged` (h, w) bool; `judged` is what is neither outside nor printed for us. `burnt` (h, w) float32: share at full scale.
    """

    light: FloatArray
    level: FloatArray
    ground: MaskArray
    produce: MaskArray
    judged: MaskArray
    burnt: FloatArray
    px_per_mm: float | None
    shrink: int
    """Working pixels per coarse pixel."""
    width_px: int
    height_px: int
    """Of the working picture."""

    def px(self, length_mm: float, without_scale: float) -> float:
        """A length in coarse pixels; `without_scale` is its share of the longest side where no scale is known."""
        if self.px_per_mm is None:
            return float(without_scale * max(self.ground.shape))
        return float(length_mm * self.px_per_mm)

    def enlarged(self, mask: MaskArray) -> MaskArray:
        """A coarse mask (h, w) over the working picture."""
        if not mask.any():
            return np.zeros((self.height_px, self.width_px), bool)
        size = (mask.shape[1] * self.shrink, mask.shape[0] * self.shrink)
        big = cv2.resize(mask.view(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        down, right = max(0, self.height_px - size[1]), max(0, self.width_px - size[0])
        if down or right:
            big = cv2.copyMakeBorder(big, 0, down, 0, right, cv2.BORDER_REPLICATE)
        return np.asarray(big[: self.height_px, : self.width_px].astype(bool))


def coarse_view(
    light: Light,
    surfaces: Surfaces,
    px_per_mm: float | None,
    left_out_px: Sequence[NDArray[np.float64]] = (),
) -> Coarse:
    """The coarse picture; `px_per_mm` is that of the working picture or None, `left_out_px` polygons (n, 2) in shot pixels."""
    h, w = light.density.shape[1:]
    skip = max(1, -(-max(h, w) // _FINE_PX))
    fold = max(1, -(-max(h, w) // (_COARSE_PX * skip)))
    shrink = skip * fold
    gh, gw = max(1, h // shrink), max(1, w // shrink)
    rows, cols = min(gh * shrink, h), min(gw * shrink, w)

    def mean(plane: NDArray[np.float32]) -> FloatArray:
        small = cv2.resize(plane, (gw, gh), interpolation=cv2.INTER_AREA)
        return np.asarray(small, dtype=np.float32).reshape(gh, gw)

    level, seen = np.empty((3, gh, gw), np.float32), np.empty((3, gh, gw), np.float32)
    for k in range(3):
        level[k] = 10.0 ** coarse_to_fine(light.log_level[..., k], gh, gw)
        seen[k] = level[k] * mean(np.exp(light.density[k, :rows:skip, :cols:skip] * _TO_NATURAL))
    ground, produce, outside = (
        mean(mask[:rows:skip, :cols:skip].astype(np.float32)) > 0.5
        for mask in (surfaces.ground, surfaces.produce, surfaces.outside)
    )
    judged = (~outside).astype(np.uint8)
    for polygon in left_out_px:
        corners = (np.asarray(polygon, float) + 0.5) / (light.step * shrink) - 0.5
        cv2.fillPoly(judged, [np.rint(corners).astype(np.int32)], 0)
    kept = judged.astype(bool)
    scale = None if px_per_mm is None else px_per_mm / shrink
    return Coarse(
        seen, level, ground & kept, produce & kept, kept, mean(light.clipped[:rows:skip, :cols:skip].astype(np.float32)),
        scale, shrink, w, h,
    )  # fmt: skip
