"""What the shot itself says of its light, sharpness and noise, what that lets it show, and what could not be searched."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measure import Measured, shot_blur_px
from vision.noise import measure_noise
from vision.types import Light, MaskArray, Sharpness, ShotQuality, Surfaces

MTF50_OF_BLUR = 0.18739
"""MTF50 of a Gaussian blur, in cycles per pixel, times its standard deviation in pixels: sqrt(ln 2 / 2) / pi."""
_NOMINAL_CONTRAST = 0.15
"""Density of the speck the stated limit is for: a pale aphid in water, not the faintest larva."""
_ROSE = 5.0
"""Signal to noise for reliable seeing (Rose)."""
_LEAST_PRODUCE = 0.02
"""Share of produce in the picture from which its limit is the produce's, which is not known yet."""
_GRID_PX = 32


def measure_quality(
    light: Light,
    surfaces: Surfaces,
    measured: Sequence[Measured],
    unsearched: MaskArray,
    pixels: NDArray[Any],
    sharpness: Sharpness | None = None,
) -> ShotQuality:
    """Numbers of shots.csv from the light, the surfaces, the specks and the `pixels` (h, w, 3) of a shot.

    Where `sharpness` was measured before, it counts; else the edges of the specks have to do.
    """
    level = 10.0 ** light.log_level.mean(axis=2)
    low, high = np.percentile(level, [5, 95])
    panel = float(np.median(level))
    noise = measure_noise(pixels, surfaces.ground, light.step)
    return ShotQuality(
        panel_level=panel,
        clipped=float(light.clipped.mean()),
        uneven=float((high - low) / max(high, 1e-6)),
        sharpness_cy_px=_mtf50(measured, sharpness),
        noise=0.0 if noise is None else float(noise.of_density(panel)),
        unsearched=float(unsearched.mean()),
    )


def _mtf50(measured: Sequence[Measured], sharpness: Sharpness | None) -> float | None:
    """MTF50 in cycles per pixel, never better than the blur under the camera's sharpening allows."""
    if sharpness is not None:
        return min(MTF50_OF_BLUR / sharpness.blur_px, sharpness.mtf50_cy_px)
    blur = shot_blur_px(measured)
    return None if blur is None else MTF50_OF_BLUR / blur


def find_unsearched(light: Light, surfaces: Surfaces, hidden: MaskArray) -> MaskArray:
    """Cells of about 32 pixels that could not be searched: outside, burnt out, or hidden by what is wrong with the shot."""
    h, w = surfaces.ground.shape
    size = (max(1, round(w / _GRID_PX)), max(1, round(h / _GRID_PX)))
    lost = surfaces.outside | light.clipped | hidden
    share = cv2.resize(lost.astype(np.float32), size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0])
    return np.asarray(share > 0.5)


def limits_mm(quality: ShotQuality, px_per_mm: float | None, surfaces: Surfaces) -> tuple[float | None, float | None]:
    """Diameter of the smallest round speck and width of the smallest thin one (six times as long) the bare ground could show.

    A speck of density 0.15 in the shot's own noise and blur reaches a matched-filter signal-to-noise ratio of five, and is two
    pixels wide. None without a scale, without a known blur, and with produce in view, whose texture sets another limit.
    """
    bare = surfaces.ground.mean() > 0.5 and surfaces.produce.mean() < _LEAST_PRODUCE
    if px_per_mm is None or quality.sharpness_cy_px is None or not bare:
        return None, None
    return smallest_specks_mm(quality.noise, MTF50_OF_BLUR / quality.sharpness_cy_px, px_per_mm)


def smallest_specks_mm(noise: float, blur_px: float, px_per_mm: float) -> tuple[float, float]:
    """Diameter of the smallest round speck and width of the smallest thin one; `noise` is the density's from pixel to pixel."""
    sizes = np.arange(0.5, 200, 0.1)

    def smallest(long_over_wide: float) -> float:
        area = np.pi / 4 * sizes**2 * long_over_wide
        across = (sizes / 4) ** 2 / ((sizes / 4) ** 2 + blur_px**2)
        along = (sizes * long_over_wide / 4) ** 2 / ((sizes * long_over_wide / 4) ** 2 + blur_px**2)
        ratio = _NOMINAL_CONTRAST * np.sqrt(area * np.sqrt(across * along)) / max(noise, 1e-4)
        enough = (ratio >= _ROSE) & (sizes >= 2.0) & (sizes >= 1.2 * blur_px)
        return float(sizes[int(enough.argmax())] / px_per_mm) if enough.any() else float(sizes[-1] / px_per_mm)

    return smallest(1.0), smallest(6.0)
