"""Pictures that were enlarged after they were taken: named, because the pixels in between are made up.

Interpolation leaves a beat: how much neighbouring pixels differ, on average over many rows, goes up and down with the period of the old
pixels (Gallagher 2005, from memory). JPEG's blocks beat with 8 pixels, halved colour with 16, the camera's colour filters with 2: what
repeats with 16 pixels is divided out before, by which enlarging exactly twice or four times can't be told.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

_LINES, _LONG = 400, 4096
_LEAST_PX = 256
_BLOCK = 16
_CALM = 65
"""Columns over which the picture's own content is evened out."""
_LOWEST = 0.12
"""Cycles per pixel below which the content itself beats."""
_BESIDE = 0.002
_SURE = 12.0
"""How many times the usual strength a beat must have, at one frequency along rows and along columns."""
_LEAST_TIMES = 1.3

Values = NDArray[np.float64]


def enlarged(pixels: NDArray[Any]) -> float:
    """1.3, the least that leaves a trace, where a shot (h, w, 3), uint8 or uint16, bears that of having been enlarged; else 1.

    By how much can't be told from the trace: JPEG mixes each beat with those of its blocks.
    """
    if min(pixels.shape[:2]) < _LEAST_PX:
        return 1.0
    # Luma is what JPEG stores as it is; green is made up again with colour of half the resolution.
    eight = np.ascontiguousarray(pixels if pixels.dtype == np.uint8 else pixels >> 8, np.uint8)
    luma = np.asarray(cv2.cvtColor(eight, cv2.COLOR_RGB2YCrCb)[..., 0], np.uint8)
    along, down = _beats(luma), _beats(np.ascontiguousarray(luma.T))
    strongest = max(float(np.minimum(a, b).max()) for a, b in zip(along, down, strict=True))
    return _LEAST_TIMES if strongest > _SURE else 1.0


def _beats(luma: NDArray[np.uint8]) -> tuple[Values, Values]:
    """Strength of the beat at each frequency, of first and of second differences along the rows; 1 is usual."""
    part = luma[:: max(1, luma.shape[0] // _LINES), :_LONG].astype(np.float32)
    return _beat(np.abs(np.diff(part, axis=1))), _beat(np.abs(np.diff(part, 2, axis=1)))


def _beat(size: NDArray[np.float32]) -> Values:
    # A strong edge would drown the rest.
    mean = np.minimum(size, np.percentile(size, 97) + 1e-3).mean(axis=0).astype(np.float64) + 1e-3
    mean /= uniform_filter1d(mean, _CALM, mode="nearest")
    whole = len(mean) // _BLOCK
    usual = np.median(mean[: whole * _BLOCK].reshape(whole, _BLOCK), axis=0)
    wave = mean / np.tile(usual, whole + 1)[: len(mean)]
    wave = wave / uniform_filter1d(wave, _BLOCK + 1, mode="nearest") - 1
    wave = np.clip(wave, -4 * wave.std(), 4 * wave.std()) * np.hanning(len(wave))
    strength = np.abs(np.fft.rfft(wave, _LONG))
    frequency = np.fft.rfftfreq(_LONG)
    strength /= max(float(np.sqrt(np.median(strength**2) / np.log(2))), 1e-12)
    # Rows and columns may put the peak one bin apart.
    wide = np.maximum(strength, np.maximum(np.roll(strength, 1), np.roll(strength, -1)))
    apart = np.abs(frequency * _BLOCK - np.rint(frequency * _BLOCK)) / _BLOCK
    return np.where((frequency > _LOWEST) & (apart > _BESIDE), wide, 0.0)
