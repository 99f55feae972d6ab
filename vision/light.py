"""Camera values -> linear light -> optical density against the ground's own light.

The encoding is undone by IEC 61966-2-1. Where light comes through (panel, water, cloth), density is that of Beer and Lambert;
where it comes from above the same ratio is reflectance against the ground or against the produce round a speck.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

# IEC 61966-2-1: slope and end of the straight part, offset and exponent of the curved one.
_SLOPE = 12.92
_LINEAR_END = 0.0031308
_OFFSET = 0.055
_EXPONENT = 2.4


def decode_srgb(encoded: NDArray[Any]) -> NDArray[np.float64]:
    """Encoded values 0..1 (any shape) to linear light 0..1, float64 (IEC 61966-2-1)."""
    e = np.asarray(encoded, dtype=np.float64)
    curved = ((np.maximum(e, 0.0) + _OFFSET) / (1 + _OFFSET)) ** _EXPONENT
    return np.asarray(np.where(e <= _SLOPE * _LINEAR_END, e / _SLOPE, curved))


def encode_srgb(linear: NDArray[Any]) -> NDArray[np.float64]:
    """Linear light 0..1 (any shape) to encoded values 0..1, float64 (IEC 61966-2-1)."""
    v = np.asarray(linear, dtype=np.float64)
    curved = (1 + _OFFSET) * np.maximum(v, 0.0) ** (1 / _EXPONENT) - _OFFSET
    return np.asarray(np.where(v <= _LINEAR_END, v * _SLOPE, curved))


@lru_cache(maxsize=4)
def _table(full_scale: int, log: bool) -> FloatArray:
    linear = decode_srgb(np.arange(full_scale + 1) / full_scale)
    if not log:
        return np.asarray(linear, dtype=np.float32)
    # Half of the lowest step stands for "black", so that the logarithm stays finite and the order is kept.
    return np.asarray(np.log10(np.maximum(linear, 0.5 * linear[1])), dtype=np.float32)


def _look_up(pixels: NDArray[Any], log: bool) -> FloatArray:
    if pixels.dtype == np.uint8:
        return np.asarray(cv2.LUT(np.ascontiguousarray(pixels), _table(255, log)), dtype=np.float32)
    if pixels.dtype == np.uint16:
        return np.asarray(_table(65535, log)[pixels], dtype=np.float32)
    raise ValueError("pixels are uint8 or uint16")


@lru_cache(maxsize=2)
def _table_16(full_scale: int) -> NDArray[np.uint16]:
    linear = decode_srgb(np.arange(full_scale + 1) / full_scale)
    return np.asarray(np.rint(np.maximum(linear, 0.5 * linear[1]) * 65535), dtype=np.uint16)


def linear_16(pixels: NDArray[Any]) -> NDArray[np.uint16]:
    """sRGB-encoded uint8 or uint16 pixels (h, w, 3) to linear light, 65535 at full scale, of the same shape.

    Black counts as half the lowest step. Sixteen bits keep what averaging 8-bit pixels gains.
    """
    if pixels.dtype == np.uint8:
        return np.asarray(cv2.LUT(np.ascontiguousarray(pixels), _table_16(255)), dtype=np.uint16)
    if pixels.dtype == np.uint16:
        return np.asarray(_table_16(65535)[pixels], dtype=np.uint16)
    raise ValueError("pixels are uint8 or uint16")


_DECIMAL, _NATURAL = np.float32(1 / np.log(10)), np.float32(-np.log(10))


def decimal_log(linear: NDArray[Any]) -> FloatArray:
    """Decimal logarithm of light given as uint16 with 65535 at full scale, any shape, float32; nought counts as half a step."""
    light = np.maximum(linear.astype(np.float32), np.float32(0.5))
    return np.asarray((cv2.log(light).reshape(light.shape) - np.float32(np.log(65535))) * _DECIMAL, dtype=np.float32)


def log_light_averaged(pixels: NDArray[Any], step: int) -> FloatArray:
    """Log light of (h, w, 3) pixels averaged, as light, over `step` x `step` of them: planes (3, h // step, w // step) float32."""
    h, w = pixels.shape[0] // step, pixels.shape[1] // step
    out = np.empty((3, h, w), np.float32)
    # In bands, so that the full resolution never stands in memory twice.
    bands = max(1, h // 256)
    edges = [k * h // bands for k in range(bands + 1)]

    def band(k: int) -> None:
        first, end = edges[k], edges[k + 1]
        part = linear_16(pixels[first * step : end * step, : w * step])
        mean = cv2.resize(part, (w, end - first), interpolation=cv2.INTER_AREA).reshape(end - first, w, 3)
        log = decimal_log(mean)
        for c in range(3):
            out[c, first:end] = log[..., c]

    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as threads:
        list(threads.map(band, range(bands)))
    return out


def linear_light(pixels: NDArray[Any]) -> FloatArray:
    """sRGB-encoded uint8 or uint16 pixels, any shape, to linear light 0..1, float32 of the same shape."""
    return _look_up(pixels, log=False)


def log_light(pixels: NDArray[Any]) -> FloatArray:
    """Decimal logarithm of the linear light of (h, w, 3) pixels, as planes: (3, h, w) float32.

    Black counts as half the lowest step, so that the logarithm stays finite.
    """
    planes = cv2.split(pixels)
    out = np.empty((3, *pixels.shape[:2]), np.float32)

    def channel(k: int) -> None:
        out[k] = _look_up(np.asarray(planes[k]), log=True)

    over_channels(channel)
    return out


def optical_density(transmittance: NDArray[Any]) -> NDArray[np.float64]:
    """Absorbance (optical density) A = -log10 T of a transmittance T > 0, any shape (Beer-Lambert)."""
    return np.asarray(-np.log10(np.asarray(transmittance, dtype=np.float64)))


def light_lost(density: FloatArray) -> FloatArray:
    """Share of the light lost at a density against the surroundings, any shape, float32; negative where there is more of it.

    What is a decade brighter than its surroundings and more is no measure of anything, and counts as a decade.
    """
    return np.asarray(1 - np.exp(np.maximum(density, np.float32(-1)) * _NATURAL), dtype=np.float32)


def over_channels(work: Callable[[int], None]) -> None:
    """Does `work` for channel 0, 1 and 2, as many at once as OpenCV is given threads; the channels must share nothing."""
    with ThreadPoolExecutor(max(1, min(3, cv2.getNumThreads()))) as threads:
        list(threads.map(work, range(3)))


def coarse_to_fine(grid: FloatArray, height: int, width: int) -> FloatArray:
    """A coarse (gh, gw) grid stretched over (height, width) pixels, bilinear, cell centres kept in place."""
    fine = cv2.resize(np.ascontiguousarray(grid), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine, dtype=np.float32).reshape(height, width)


def sample_grid(grid: FloatArray, rows: NDArray[np.intp], cols: NDArray[np.intp], shape: tuple[int, ...]) -> FloatArray:
    """A coarse grid's values at given pixels of a picture of `shape`, bilinear: (n, 3) float32."""
    n = len(rows)
    if not n:
        return np.zeros((0, 3), np.float32)
    # OpenCV maps pictures of at most 32767 pixels a side, so the places are laid out in rows.
    wide = min(n, 1024)
    padded = -(-n // wide) * wide
    y, x = np.zeros(padded, np.float32), np.zeros(padded, np.float32)
    y[:n] = (rows + 0.5) * (grid.shape[0] / shape[0]) - 0.5
    x[:n] = (cols + 0.5) * (grid.shape[1] / shape[1]) - 0.5
    at = cv2.remap(grid, x.reshape(-1, wide), y.reshape(-1, wide), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(at, dtype=np.float32).reshape(-1, 3)[:n]
