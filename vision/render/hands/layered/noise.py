"""Random fields: fine grain for a small sheet and wide clouds for a whole picture. All float32, about zero mean and unit spread."""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.render.hands.layered.colour import Rng
from vision.types import FloatArray

_COARSE = 4
"""Clouds are worked out on every fourth pixel: nothing in them is finer."""


def grain(rng: Rng, height: int, width: int, largest_px: float, octaves: int = 4, gain: float = 0.5) -> FloatArray:
    """Fractal noise (height, width) whose largest features are `largest_px` across."""
    out = np.zeros((height, width), np.float32)
    strength, total = 1.0, 0.0
    for _ in range(octaves):
        rows, columns = (max(2, round(side / largest_px) + 3) for side in (height, width))
        if rows > height * 1.5 or columns > width * 1.5:
            break
        knots = rng.standard_normal((rows, columns), dtype=np.float32)
        tall, wide = (max(int(n * largest_px) + 1, side) for n, side in ((rows, height), (columns, width)))
        if tall * wide > 1.6 * height * width + 4096:
            tall, wide = height, width
        out += strength * cv2.resize(knots, (wide, tall), interpolation=cv2.INTER_CUBIC)[:height, :width]
        total += strength**2
        strength *= gain
        largest_px *= 0.5
    return np.asarray(out / (math.sqrt(max(total, 1e-9)) * 0.75), np.float32)


def clouds(rng: Rng, shape: tuple[int, ...], largest_px: float, octaves: int = 3, gain: float = 0.5) -> FloatArray:
    """Smooth noise over a picture of `shape` (h, w, ...): white noise blurred, so that no grid shows."""
    height, width = shape[:2]
    tall, wide = -(-height // _COARSE), -(-width // _COARSE)
    out = np.zeros((tall, wide), np.float32)
    for octave in range(octaves):
        cell = max(largest_px * 0.5**octave / 6.0, float(_COARSE))
        knots = rng.standard_normal((int(height / cell) + 12, int(width / cell) + 12), dtype=np.float32)
        knots = np.asarray(cv2.GaussianBlur(knots, (0, 0), 2.4), np.float32)
        knots /= knots.std() + 1e-6
        fine = cv2.resize(knots, None, fx=cell / _COARSE, fy=cell / _COARSE, interpolation=cv2.INTER_CUBIC)
        out += gain**octave * fine[4 : 4 + tall, 4 : 4 + wide]
    out /= math.sqrt(sum(gain ** (2 * octave) for octave in range(octaves)))
    return np.asarray(cv2.resize(out, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)
