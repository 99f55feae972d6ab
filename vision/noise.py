"""Noise in the shot as a function of brightness, from the shot itself.

Neighbouring pixels of bare ground see the same light, so half the variance of their difference is the noise's. Photons and
read-out make that variance a straight line in the light (EMVA 1288, photon transfer); rounding to eight bits adds its own. Slow
changes cancel, and what lies on the ground is too little of it to move a robust spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.arrays import mean_of_channels, median
from vision.light import decode_srgb, encode_srgb, linear_light
from vision.types import FloatArray, MaskArray

_EVERY = 3
"""Every so many working pixels one pair is read: plenty, at any picture size."""
_CLASSES = 12
_LEAST_PAIRS = 200
_SPREAD_OF_80 = 1.2816
"""The 80th percentile of a normal deviate's size, in standard deviations. The median would be nought on most JPEGs."""


@dataclass(frozen=True)
class Noise:
    """Variance of linear light (0..1 of full scale, mean of the channels) from pixel to pixel: `read` + `shot` x light."""

    read: float
    shot: float
    step: float = 1 / 255
    """One step of the file's encoded values, of full scale."""

    def of_light(self, light: NDArray[Any] | float) -> FloatArray:
        """Standard deviation of linear light at a linear light, any shape; never less than rounding leaves."""
        level = np.clip(np.asarray(light, np.float64), 1e-4, 1)
        around = encode_srgb(level)
        half = self.step / 2
        one_step = decode_srgb(np.minimum(around + half, 1)) - decode_srgb(np.maximum(around - half, 0))
        # The error of rounding is uniform over one step.
        variance = np.maximum(self.read + self.shot * level, one_step**2 / 12)
        return np.asarray(np.sqrt(variance), dtype=np.float32)

    def of_density(self, light: NDArray[Any] | float) -> FloatArray:
        """Standard deviation of optical density at a linear light, any shape."""
        level = np.clip(np.asarray(light, np.float64), 1e-4, 1)
        return np.asarray(self.of_light(level) / (level * np.log(10)), dtype=np.float32)


def measure_noise(pixels: NDArray[Any], ground: MaskArray, step: int) -> Noise | None:
    """The noise of (h, w, 3) sRGB pixels on the ground, (h // step, w // step) bool; None where too little ground is in view."""
    rows, columns = np.nonzero(ground[::_EVERY, ::_EVERY])
    rows, columns = rows * _EVERY * step, columns * _EVERY * step
    inside = columns + 1 < pixels.shape[1]
    rows, columns = rows[inside], columns[inside]
    if len(rows) < _LEAST_PAIRS:
        return None
    one, other = (mean_of_channels(linear_light(pixels[rows, columns + k][:, None]))[:, 0] for k in (0, 1))
    light, difference = (one + other) / 2, one - other
    edges = np.quantile(light, np.linspace(0, 1, _CLASSES + 1))
    level, variance, weight = [], [], []
    for low, high in pairwise(edges):
        of_class = np.flatnonzero((light >= low) & (light <= high))
        if len(of_class) < _LEAST_PAIRS / _CLASSES:
            continue
        level.append(float(light[of_class].mean()))
        # Less its median, so that a slope of the light does not count.
        apart = difference[of_class]
        apart = np.abs(apart - median(apart))
        variance.append((float(np.quantile(apart, 0.8)) / _SPREAD_OF_80) ** 2 / 2)
        weight.append(float(len(of_class)))
    read, shot = _line(np.array(level), np.array(variance), np.array(weight))
    return Noise(read, shot, 1 / float(np.iinfo(pixels.dtype).max))


def _line(
    level: NDArray[np.float64], variance: NDArray[np.float64], weight: NDArray[np.float64]
) -> tuple[float, float]:
    """The line through the classes, with neither part below nought; errors of a variance grow with it, so they count relatively."""
    scaled = np.sqrt(weight) / np.maximum(variance, 1e-9)
    terms = np.stack([np.ones_like(level), level], axis=1) * scaled[:, None]
    read, shot = np.linalg.lstsq(terms, variance * scaled, rcond=None)[0]
    squares = scaled**2
    if read < 0:
        return 0.0, float((squares * variance * level).sum() / (squares * level**2).sum())
    if shot < 0:
        return float((squares * variance).sum() / squares.sum()), 0.0
    return float(read), float(shot)
