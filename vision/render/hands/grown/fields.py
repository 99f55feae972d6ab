"""Chance fields and small sums that every part of the hand shares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Rng = np.random.Generator
Numbers = NDArray[np.floating[Any]]


def colour(red: float, green: float, blue: float) -> FloatArray:
    """(3,) float32 linear share of red, green and blue."""
    return np.array([red, green, blue], np.float32)


def near(rng: Rng, tint: Numbers, by: float) -> FloatArray:
    """(3,) a colour beside `tint`: its level and its hue each moved by about `by` of itself."""
    moved = tint * (1 + by * rng.normal()) * (1 + 0.5 * by * rng.normal(size=3))
    return np.clip(moved, 0.01, 0.98).astype(np.float32)


def one_of(rng: Rng, tints: Sequence[FloatArray], by: float = 0.12) -> FloatArray:
    """(3,) one of the colours, moved a little."""
    return near(rng, tints[int(rng.integers(len(tints)))], by)


def noise(rng: Rng, h: int, w: int, grain_px: float, grain_x_px: float | None = None) -> FloatArray:
    """(h, w) smooth chance of about unit spread, its bumps `grain_px` high and `grain_x_px` (else the same) wide."""
    wide = grain_px if grain_x_px is None else grain_x_px
    rows, columns = int(h / grain_px) + 4, int(w / wide) + 4
    coarse = rng.standard_normal((rows, columns), dtype=np.float32)
    size = max(round(columns * wide), w + 2), max(round(rows * grain_px), h + 2)
    full = np.asarray(cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC), np.float32)
    top, left = (full.shape[0] - h) // 2, (full.shape[1] - w) // 2
    return full[top : top + h, left : left + w] * np.float32(1.25)


def blurred(field: Numbers, sigma_px: float) -> FloatArray:
    """The field, softened; wide softening is done on a shrunken copy, since nothing fine is left in it."""
    if sigma_px < 0.2:
        return np.asarray(field, np.float32)
    h, w = field.shape[:2]
    shrink = int(min(sigma_px / 3, h / 8, w / 8))
    if shrink < 2:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma_px), np.float32)
    small = cv2.resize(field, (-(-w // shrink), -(-h // shrink)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / shrink)
    return np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def levels(field: Numbers) -> FloatArray:
    """(...) the mean of the three colours of a (..., 3) field."""
    return np.asarray(field @ np.full(3, 1 / 3, np.float32), np.float32)


def ramp(values: Numbers, low: float, high: float) -> FloatArray:
    """0 below `low`, 1 above `high`, smooth between."""
    t = np.clip((values - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def bent_line(rng: Rng, length_px: float, turn_rad: float, wobble_rad: float = 0.0, steps: int = 48) -> FloatArray:
    """(steps, 2) x, y of a line of exactly `length_px`, centred on 0 and lying along x, turning by `turn_rad` in all."""
    t = np.linspace(-0.5, 0.5, steps - 1)
    way = turn_rad * t + wobble_rad * np.sin(2 * np.pi * (t * rng.uniform(0.8, 1.6) + rng.uniform()))
    step = length_px / (steps - 1)
    points = np.zeros((steps, 2))
    points[1:, 0], points[1:, 1] = np.cumsum(np.cos(way)) * step, np.cumsum(np.sin(way)) * step
    points -= points.mean(axis=0)
    return points.astype(np.float32)


def turned(points: Numbers, angle_rad: float) -> FloatArray:
    """(n, 2) the points turned clockwise as seen (y points down) round 0."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(points @ np.array([[c, s], [-s, c]]), np.float32)
