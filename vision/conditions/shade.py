"""Where it is too dark to judge: shade inside a floret or under a piece, and silhouettes of what is lit from below.

No grey level says so by itself. A speck must stand out of the camera's noise, and must not melt with its surroundings into one step
of the file's eight bits; how both grow as light falls off is known (shot noise as the square root of the light, a step as the slope
of the sRGB curve, IEC 61966-2-1), so the light below which a speck of nominal contrast is lost follows from the shot's own noise.
And whatever its noise, a camera sees its own stray light where little else comes from.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.conditions.coarse import Coarse
from vision.light import decode_srgb
from vision.types import Light, LitFrom, MaskArray, Surfaces

_SPECK_DENSITY = 0.15
"""Density of the speck that must show: a pale aphid, not the faintest larva."""
_SPECK_MM, _SPECK_PX = 0.3, 4.0
"""Its width; the second in working pixels, where no scale is known."""
_ROSE = 5.0
"""Signal to noise for reliable seeing (Rose)."""
_STEPS = 2.0
"""Steps of eight bits between a speck and what is round it, at least."""
_MOST_OF_GROUND = 0.1
_SILHOUETTE = 1.4
"""Density beyond which produce lit from below shows nothing of its surface."""
_STRAY = 0.02
"""Stray light as a share of the picture's mean light, lens and sensor together (ISO 9358 measures it; 1-2% from memory)."""
_SMALLEST_MM, _SMALLEST_SHARE = 1.0, 0.008
"""Width of the smallest place on produce that counts: what is smaller is itself a speck, or the shade of one bud."""
_WIDEST_SPECK_MM, _WIDEST_SPECK_SHARE = 4.0, 0.05
"""The same beside produce, where a dark body may lie that is no shade (the fattest caterpillars are 3 mm wide, from memory)."""


@dataclass(frozen=True)
class Shade:
    """`mask` (h, w) bool, coarse pixels (Coarse.enlarged brings it over the working picture); `share` of what is judged and
    `of_produce`, the share of the produce, 0..1; `darkest`: linear light below which nothing can be told in this shot."""

    mask: MaskArray
    share: float
    of_produce: float
    darkest: float


def find_shade(view: Coarse, light: Light, surfaces: Surfaces, lit_from: LitFrom) -> Shade:
    """Places too dark to judge; `light` and `surfaces` are those of the working picture that `view` was made from."""
    darkest = max(
        least_light(light, surfaces, None if view.px_per_mm is None else view.px_per_mm * view.shrink),
        _STRAY * float(view.light.mean()),
    )
    dark = view.judged & (view.light.max(axis=0) < darkest)
    if lit_from is LitFrom.BELOW:
        brightest = (view.light / np.maximum(view.level, 1e-5)).max(axis=0)
        dark |= view.produce & (brightest < 10.0**-_SILHOUETTE)
        beside = np.zeros_like(dark)  # light that comes through has no shade
    else:
        beside = _wider_than(dark, view.px(_WIDEST_SPECK_MM, _WIDEST_SPECK_SHARE))
    mask = _wider_than(dark & view.produce, view.px(_SMALLEST_MM, _SMALLEST_SHARE)) | beside
    share = float(mask.sum()) / max(int(view.judged.sum()), 1)
    of_produce = float((mask & view.produce).sum()) / max(int(view.produce.sum()), 1)
    return Shade(mask, share, of_produce, darkest)


def _wider_than(dark: MaskArray, width_px: float) -> MaskArray:
    """The parts of `dark` (h, w) that a disc of that width fits into; what the picture's edge cuts goes on beyond it."""
    wide = max(1, round(width_px / 2)) * 2 + 1  # odd: an even element would shift what it opens
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    padded = cv2.copyMakeBorder(dark.view(np.uint8), wide, wide, wide, wide, cv2.BORDER_REPLICATE)
    return np.asarray(cv2.morphologyEx(padded, cv2.MORPH_OPEN, disc)[wide:-wide, wide:-wide].astype(bool))


def least_light(light: Light, surfaces: Surfaces, px_per_mm: float | None) -> float:
    """Linear light, 0..1, below which a nominal speck is lost in noise or rounding; `px_per_mm` of the working picture or None."""
    bright, noise = _noise_of_ground(light, surfaces)
    width = _SPECK_PX if px_per_mm is None else max(_SPECK_MM * px_per_mm, 1.0)
    # Averaged over the speck, noise falls with the root of its area.
    most_noise = _SPECK_DENSITY * np.sqrt(np.pi / 4) * width / _ROSE
    by_noise = bright * (noise / most_noise) ** 2
    levels = np.arange(1, 255)
    step = np.log10(decode_srgb((levels + 0.5) / 255) / decode_srgb((levels - 0.5) / 255))
    coarsest = int(levels[np.argmax(step * _STEPS <= _SPECK_DENSITY)])
    by_rounding = float(decode_srgb(np.array(coarsest / 255)))
    # What spreads as much on the ground itself is the ground's texture rather than noise.
    return float(min(max(by_noise, by_rounding), _MOST_OF_GROUND * bright))


def _noise_of_ground(light: Light, surfaces: Surfaces) -> tuple[float, float]:
    """The ground's median linear light, and the spread of its density from pixel to pixel."""
    bright = float(np.median(10.0 ** light.log_level.mean(axis=2)))
    skip = max(1, min(light.clipped.shape) // 400)
    rows = slice(None, None, skip)
    pair = surfaces.ground[rows, :-1:skip] & surfaces.ground[rows, 1::skip]
    if pair.sum() < 16:
        return bright, 0.0
    left: NDArray[np.float32] = light.density[:, rows, :-1:skip]
    difference = np.abs((left - light.density[:, rows, 1::skip]).mean(axis=0)[pair])
    # The 80th percentile of a normal deviate's size is 1.2816 sigma; two neighbours differ by sqrt 2 of it.
    return bright, float(np.percentile(difference, 80)) / 1.2816 / float(np.sqrt(2))
