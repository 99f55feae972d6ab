"""How rare a colour is in a shot: the share of the same surface that looks like it.

Texture alone does not tell an animal from a bud or a shadow; a colour that hardly anything else in the shot has does. The colours
of a surface are counted in a coarse histogram of luminance density and two differences of density, smoothed, once for all shades
together and once with their lightness.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, MaskArray

_BINS = 28
_MOST_SAMPLES = 300_000
_LEAST_SAMPLES = 200
_NARROWEST = 0.004
"""Width of a bin, in density, below which a difference is rounding."""
_SPREAD = 1.0
"""Smoothing of the histogram, in bins."""
_RARE = 1e-6
"""Share of a surface below which a colour is as rare as can be told."""


def colour_axes(density: FloatArray) -> NDArray[np.float64]:
    """Luminance-like density and two differences between channels of densities (n, 3): (n, 3) float64."""
    red, green, blue = np.asarray(density.T, np.float64, order="C")
    # Axes first in memory: what is done to each of them then runs over numbers side by side.
    return np.stack([(red + green + blue) / 3, red - green, blue - green]).T


@dataclass(frozen=True)
class Colours:
    """Colours of one surface. `low`, `wide` (3,): where each axis begins and how wide its bins are; `counts` (bins,)*3 sum to 1."""

    low: NDArray[np.float64]
    wide: NDArray[np.float64]
    counts: NDArray[np.float64]

    def rarity(self, density: FloatArray) -> NDArray[np.float32]:
        """Minus the decimal logarithm of the share of the surface that has these densities (n, 3), and their hue at any
        lightness: (n, 2) float32."""
        at = np.clip(np.floor((colour_axes(density) - self.low) / self.wide).astype(np.intp), 0, _BINS - 1)
        whole = self.counts[at[:, 0], at[:, 1], at[:, 2]]
        hue = self.counts.sum(axis=0)[at[:, 1], at[:, 2]]
        return -np.log10(np.stack([whole, hue], axis=1) + _RARE).astype(np.float32)


def count_colours(density: FloatArray, mask: MaskArray) -> Colours | None:
    """Colours of the masked pixels of (3, h, w) density; None where there are too few."""
    skip = max(1, int(np.sqrt(mask.size / _MOST_SAMPLES)))
    inside = mask[::skip, ::skip]
    values = np.stack([plane[::skip, ::skip][inside] for plane in density]).T
    if len(values) < _LEAST_SAMPLES:
        return None
    axes = colour_axes(values)
    low, high = np.percentile(axes[:: max(1, len(axes) // 20_000)], [0.5, 99.5], axis=0)
    wide = np.maximum((high - low) / (_BINS - 6), _NARROWEST)
    low = low - 3 * wide
    at = np.clip(np.floor((axes - low) / wide).astype(np.intp), 0, _BINS - 1)
    flat = np.bincount(np.ravel_multi_index((at[:, 0], at[:, 1], at[:, 2]), (_BINS,) * 3), minlength=_BINS**3)
    counts = flat.reshape(_BINS, _BINS, _BINS).astype(np.float64)
    for axis in range(3):
        turned = np.ascontiguousarray(np.moveaxis(counts, axis, 0)).reshape(_BINS, -1)
        soft = cv2.GaussianBlur(turned, (1, 7), 0, sigmaY=_SPREAD, borderType=cv2.BORDER_REPLICATE)
        counts = np.moveaxis(np.asarray(soft, np.float64).reshape(_BINS, _BINS, _BINS), 0, axis)
    return Colours(low, wide, counts / counts.sum())


def rarity_map(density: FloatArray, colours: Colours) -> FloatArray:
    """Rarity of every pixel's colour, (h, w) float32, in decades: the mean of that of its colour and of its hue."""
    whole = -np.log10(colours.counts + _RARE)
    hue = -np.log10(colours.counts.sum(axis=0) + _RARE)
    table = ((whole + hue) / 2).astype(np.float32).ravel()
    h, w = density.shape[1:]
    out = np.empty((h, w), np.float32)
    bands = max(1, h // 128)

    def band(k: int) -> None:
        part = slice(k * h // bands, (k + 1) * h // bands)
        red, green, blue = (density[c, part] for c in range(3))
        index = np.zeros(red.shape, np.int32)
        for axis, values in enumerate(((red + green + blue) / np.float32(3), red - green, blue - green)):
            bins = (values - np.float32(colours.low[axis])) * np.float32(1 / colours.wide[axis])
            index *= _BINS
            index += np.clip(bins, 0, _BINS - 1).astype(np.int32)
        out[part] = table.take(index)

    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as threads:
        list(threads.map(band, range(bands)))
    return out
