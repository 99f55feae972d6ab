"""Bands of a flickering panel in its blanks: told from the panel's own rows of lamps by wandering from blank to blank, and taken out.

The lamps flicker alike in all blanks, only at another moment: the waves of all blanks have one size and lie on a circle in the
complex plane, whose centre is what the panel itself has at that period. Fewer than three blanks do not show where the centre is.
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.conditions.flicker import LEAST_AMPLITUDE, Bands, band_log, find_bands, of_wave, wave_of
from vision.types import FloatArray

_SHRINK = 4
_LEAST_PERIODS = 1.0


@dataclass(frozen=True)
class Flicker:
    """What wanders in the blanks: `amplitude` as a share of the light, `bands` of each blank in its own pixels; () where nothing does."""

    amplitude: float = 0.0
    bands: tuple[Bands, ...] = ()


def find_wandering(lights: list[FloatArray]) -> Flicker:
    """Bands in blanks (h, w, 3) of one scene that lie elsewhere in each; exposure may differ."""
    if len(lights) < 2:
        return Flicker()
    logs = np.stack([_small_log(light) for light in lights])
    rest = logs - logs.mean(axis=0)
    rest -= np.median(rest, axis=(1, 2), keepdims=True)
    found = [one for plane in rest if (one := find_bands(plane, None, _LEAST_PERIODS)) is not None]
    if not found:
        return Flicker()
    first = max(found, key=lambda one: one.amplitude)
    waves = np.array([wave_of(plane, first) for plane in rest])
    own = waves - _centre(waves)
    bands = tuple(of_wave(complex(w), first.period_px, first.axis).scaled(_SHRINK) for w in own)
    # Of two waves only the difference is known, which is shorter than twice their size, the square root of 2 on average.
    size = float(np.sqrt(np.mean([b.amplitude**2 for b in bands])) * (np.sqrt(2) if len(lights) == 2 else 1.0))
    return Flicker(size, bands) if size >= LEAST_AMPLITUDE else Flicker()


def take_out(light: FloatArray, bands: Bands) -> None:
    """Divides light (h, w, 3) by its bands, in place."""
    light /= np.power(np.float32(10), band_log(bands, *light.shape[:2]))[..., None]


def _small_log(light: FloatArray) -> FloatArray:
    size = (max(1, light.shape[1] // _SHRINK), max(1, light.shape[0] // _SHRINK))
    crop = light[: size[1] * _SHRINK, : size[0] * _SHRINK]
    small = np.asarray(cv2.resize(crop, size, interpolation=cv2.INTER_AREA))
    return np.asarray(np.log10(np.maximum(small, 1e-4)).mean(axis=2), dtype=np.float32)


def _centre(waves: NDArray[np.complex128]) -> complex:
    """Centre of the circle through waves whose mean is nought (least squares after Kasa 1976; from memory); 0 where it can't be told."""
    if len(waves) < 3:
        return 0j
    terms = np.stack([2 * waves.real, 2 * waves.imag, np.ones(len(waves))], axis=1)
    spread = np.linalg.svd(terms[:, :2] - terms[:, :2].mean(axis=0), compute_uv=False)
    if spread[1] < 0.3 * spread[0]:
        return 0j
    answer = np.linalg.lstsq(terms, np.abs(waves) ** 2, rcond=None)[0]
    centre = complex(answer[0], answer[1])
    return centre if cmath.isfinite(centre) and abs(centre) < 1.2 * np.sqrt(np.mean(np.abs(waves) ** 2)) else 0j
