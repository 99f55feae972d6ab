"""Pictures that were enlarged after they were taken: named, because the pixels in between are made up.

Interpolation leaves a trace: how much neighbouring pixels bend, on average over many rows, goes up and down with the period of the old
pixels (Gallagher 2005, from memory). Cameras leave traces of their own, of two pixels from their colour filters and of eight from
JPEG; so only the trace of three pixels is trusted, which enlarging one and a half times and three times leave.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_SIDE_PX = 1024
_LEAST_PX = 256
_CALM = 31
"""Columns over which the picture's own content is evened out."""
_TRACE = 1 / 3
"""Cycles per pixel."""
_NEAR = 0.003
_AROUND = (0.29, 0.36)
"""Frequencies whose strength is the usual one; JPEG's own lie outside."""
_SURE = 8.0
"""How many times the usual strength of other frequencies a trace must have, along rows and along columns."""


def enlarged(pixels: NDArray[Any]) -> float:
    """1.5 where a shot (h, w, 3), uint8 or uint16, bears the trace of having been enlarged by that or by 3; else 1."""
    h, w = pixels.shape[:2]
    if min(h, w) < _LEAST_PX:
        return 1.0
    top, left = max(0, (h - _SIDE_PX) // 2), max(0, (w - _SIDE_PX) // 2)
    green = pixels[top : top + _SIDE_PX, left : left + _SIDE_PX, 1].astype(np.float32)
    return 1.5 if min(_trace(green), _trace(green.T)) > _SURE else 1.0


def _trace(green: NDArray[np.float32]) -> float:
    """How many times the usual strength the trace of three pixels has along the rows."""
    bend = np.abs(green[:, 2:] + green[:, :-2] - 2 * green[:, 1:-1])
    # A strong edge would drown the rest.
    mean = np.minimum(bend, np.percentile(bend, 95)).mean(axis=0)
    smooth = np.convolve(np.pad(mean, _CALM // 2, mode="edge"), np.full(_CALM, 1 / _CALM), mode="valid")
    wave = mean / np.maximum(smooth, 1e-6) - 1
    strength = np.abs(np.fft.rfft(wave * np.hanning(len(wave))))
    frequency = np.fft.rfftfreq(len(wave))
    there = np.abs(frequency - _TRACE) < _NEAR
    usual = (frequency > _AROUND[0]) & (frequency < _AROUND[1]) & ~there
    return float(strength[there].max() / max(float(np.median(strength[usual])), 1e-9))
