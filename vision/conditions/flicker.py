"""Bands that a flickering panel leaves: a rolling shutter reads row after row while the lamps brighten and dim.

They are told from rows of lamps by what does not change: the panel's own light has to be taken out first, with the profile's map or
by comparing blanks with each other. What is left along one direction and alike all across the other is sought as one sinusoid by
least squares (Lomb 1976, Scargle 1982; from memory), because produce leaves gaps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.light import coarse_to_fine
from vision.types import EvenLight, FloatArray, Light, MaskArray, Surfaces

Axis = Literal["rows", "columns"]

LEAST_AMPLITUDE = 0.003
"""Share of the light; fainter bands hide nothing and are not told from noise (common practice, no source)."""
_MOST_SAMPLES = 600
_LEAST_PERIOD = 4.0
"""Samples: shorter ones are not told from noise."""
_STRIPS = 4
_LEAST_KNOWN = 0.15
"""Share of a row that has to show ground before its mean counts."""
_CUT = 0.08
"""Density beyond which a pixel is something that lies there, not a band."""
_LEAST_EXPLAINED = 0.5
_LEAST_COHERENT = 0.92


@dataclass(frozen=True)
class Bands:
    """Sinusoidal bands over a picture: light there is 1 + `amplitude` cos(2 pi (i - `peak_px`) / `period_px`) times what it should be.

    `axis` 'rows': they run along rows and i counts rows; 'columns': likewise. Pixels are those of the picture they were found in.
    """

    amplitude: float
    period_px: float
    axis: Axis
    peak_px: float

    def scaled(self, step: float) -> Bands:
        """The same in a picture whose pixels are `step` times finer."""
        return Bands(self.amplitude, self.period_px * step, self.axis, (self.peak_px + 0.5) * step - 0.5)


def find_bands(log_light: FloatArray, known: MaskArray | None = None, least_periods: float = 2.0) -> Bands | None:
    """The strongest bands in decimal log light (h, w), from which the panel's own shape has been taken; None where there are none.

    `known` (h, w) bool says where bare ground shows. At least `least_periods` of them have to fit into the picture.
    """
    here = np.ones(log_light.shape, bool) if known is None else known
    best = None
    for axis in ("rows", "columns"):
        rows = _Rows(log_light, here) if axis == "rows" else _Rows(log_light.T, here.T)
        found = rows.search(least_periods)
        if found is not None and (best is None or found[0] > best.amplitude):
            best = Bands(found[0], found[1], "rows" if axis == "rows" else "columns", found[2])
    return best


def band_log(bands: Bands, height: int, width: int) -> FloatArray:
    """What the bands add to decimal log light, (height, 1) or (1, width)."""
    i = np.arange(height if bands.axis == "rows" else width, dtype=np.float64)
    wave = np.log10(1 + bands.amplitude * np.cos(2 * np.pi * (i - bands.peak_px) / bands.period_px))
    return np.asarray(wave[:, None] if bands.axis == "rows" else wave[None, :], dtype=np.float32)


def without_bands(log_light: FloatArray, bands: Bands) -> FloatArray:
    """Log light (..., h, w) with the bands taken out."""
    return log_light - band_log(bands, log_light.shape[-2], log_light.shape[-1])


def find_flicker(light: Light, surfaces: Surfaces, even_light: EvenLight | None) -> Bands | None:
    """Bands on the bare ground of a shot, in working pixels.

    Without a profile's map None: rows of lamps look the same in one shot.
    """
    if even_light is None:
        return None
    h, w = light.clipped.shape
    step = max(1, math.ceil(max(h, w) / _MOST_SAMPLES))
    size = (w // step, h // step)
    # What was found as level follows the bands half-way, so the shot's own light is put together again.
    density = light.density[:, : size[1] * step : step, : size[0] * step : step].mean(axis=0)
    level = coarse_to_fine(light.log_level.mean(axis=2), size[1], size[0])
    shape = np.log10(np.maximum(even_light.level, 1e-4)).mean(axis=2)
    rest = level - density - coarse_to_fine(shape.astype(np.float32), size[1], size[0])
    known = surfaces.ground[: size[1] * step : step, : size[0] * step : step]
    if known.mean() < 0.1:
        return None
    rest = np.asarray(rest - np.median(rest[known]), dtype=np.float32)
    found = find_bands(rest, known)
    return None if found is None else found.scaled(step)


class _Rows:
    """Means along the rows of a picture and of four strips of it, with weights, ready to be searched for a sinusoid."""

    def __init__(self, picture: FloatArray, known: MaskArray) -> None:
        self.step = max(1, math.ceil(picture.shape[0] / _MOST_SAMPLES))
        count = picture.shape[0] // self.step
        edges = np.linspace(0, picture.shape[1], _STRIPS + 1).astype(int)
        cut = np.asarray(known & (np.abs(picture) < _CUT), np.float32)
        weight, total = (
            np.stack([v[:, a:b].sum(axis=1) for a, b in pairwise(edges)]) for v in (cut, np.clip(picture, -1, 1) * cut)
        )
        shape = (_STRIPS, count, self.step)
        self.weight = weight[:, : count * self.step].reshape(shape).sum(axis=2).astype(np.float64)
        total = total[:, : count * self.step].reshape(shape).sum(axis=2)
        self.mean = total / np.maximum(self.weight, 1e-9)
        self.weight /= max(1.0, self.step * (edges[1] - edges[0]))
        self.weight[self.weight < _LEAST_KNOWN] = 0

    def search(self, least_periods: float) -> tuple[float, float, float] | None:
        """Amplitude as a share, period and peak in rows of the picture."""
        weight = self.weight.sum(axis=0)
        count = len(weight)
        if (weight > 0).sum() < max(24, 0.3 * count):
            return None
        mean = (self.mean * self.weight).sum(axis=0) / np.maximum(weight, 1e-9)
        share = np.arange(least_periods, count / _LEAST_PERIOD, 0.2) / count
        if not len(share):
            return None
        power, total = self._explained(mean, weight, share)
        at = int(np.argmax(power))
        fine = share[at] + np.linspace(-0.2, 0.2, 41) / count
        fine = fine[fine * count >= 0.9 * least_periods]
        own, _ = self._explained(mean, weight, fine)
        frequency = float(fine[int(np.argmax(own))])
        if own.max() < _LEAST_EXPLAINED * total:
            return None
        c, s = self._wave(mean, weight, frequency)
        amplitude = math.hypot(c, s)
        told = [k for k in range(_STRIPS) if self.weight[k].sum() > 0.3 * count * _LEAST_KNOWN]
        if len(told) < 2 or not self._alike(told, frequency):
            return None
        light = math.log(10) * amplitude
        if light < LEAST_AMPLITUDE:
            return None
        period = self.step / frequency
        peak = math.atan2(s, c) / (2 * math.pi) / frequency
        return light, period, (peak % (1 / frequency) + 0.5) * self.step - 0.5

    def _alike(self, strips: list[int], frequency: float) -> bool:
        """Whether the wave is most of what each strip shows, and the same in all of them: clouds wander from strip to strip."""
        waves = [self._wave(self.mean[k], self.weight[k], frequency) for k in strips]
        size = sum(math.hypot(c, s) for c, s in waves)
        together = math.hypot(sum(c for c, _ in waves), sum(s for _, s in waves))
        shares = [self._explained(self.mean[k], self.weight[k], np.array([frequency])) for k in strips]
        explained = sum(float(power[0]) for power, _ in shares) / max(sum(total for _, total in shares), 1e-12)
        return together > _LEAST_COHERENT * size and explained > _LEAST_EXPLAINED

    @staticmethod
    def _explained(
        mean: NDArray[np.float64], weight: NDArray[np.float64], frequencies: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], float]:
        """Weighted sum of squares that a wave of each frequency explains beside a parabola, and all there is to explain."""
        i = np.arange(len(mean))
        u = 2 * i / len(mean) - 1
        root = np.sqrt(weight)
        trend, _ = np.linalg.qr(np.stack([np.ones_like(u), u, u * u], axis=1) * root[:, None])
        angle = 2 * np.pi * frequencies[:, None] * i
        target = mean * root
        target = target - trend @ (trend.T @ target)
        c, s = (v * root - ((v * root) @ trend) @ trend.T for v in (np.cos(angle), np.sin(angle)))
        cc, ss, cs = (c * c).sum(axis=1), (s * s).sum(axis=1), (c * s).sum(axis=1)
        ct, st = c @ target, s @ target
        away = np.maximum(cc * ss - cs**2, 1e-9)
        return (ct**2 * ss - 2 * ct * st * cs + st**2 * cc) / away, float(target @ target)

    @staticmethod
    def _wave(mean: NDArray[np.float64], weight: NDArray[np.float64], frequency: float) -> tuple[float, float]:
        """Cosine and sine part of the wave of this frequency, beside a parabola."""
        i = np.arange(len(mean))
        u, angle = 2 * i / len(mean) - 1, 2 * np.pi * frequency * i
        terms = np.stack([np.ones_like(u), u, u * u, np.cos(angle), np.sin(angle)], axis=1)
        lhs = (terms * weight[:, None]).T @ terms + 1e-9 * np.eye(5)
        answer = np.linalg.solve(lhs, (terms * weight[:, None]).T @ mean)
        return float(answer[3]), float(answer[4])


def wave_of(log_light: FloatArray, bands: Bands) -> complex:
    """The wave of these bands' period and axis in a picture (h, w) without gaps: cosine part plus i times sine part, in log light."""
    picture = log_light if bands.axis == "rows" else log_light.T
    mean = np.clip(picture, -_CUT, _CUT).mean(axis=1).astype(np.float64)
    return complex(*_Rows._wave(mean, np.ones_like(mean), 1 / bands.period_px))


def of_wave(wave: complex, period_px: float, axis: Axis) -> Bands:
    """The bands whose `wave_of` this is."""
    peak = math.atan2(wave.imag, wave.real) / (2 * math.pi) * period_px
    return Bands(math.log(10) * abs(wave), period_px, axis, peak % period_px)
