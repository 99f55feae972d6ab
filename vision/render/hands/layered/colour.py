"""Colours as linear light, (3,) float32, and drawing among them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Rng = np.random.Generator
WHITE = np.ones(3, np.float32)
_Thing = TypeVar("_Thing")


def srgb(red: int, green: int, blue: int) -> FloatArray:
    """Linear light (3,) of an sRGB colour given as 0..255 (IEC 61966-2-1)."""
    v = np.array([red, green, blue], np.float32) / 255.0
    return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4), np.float32)


def encoded(light: NDArray[Any]) -> FloatArray:
    """sRGB 0..1 of linear light, any shape."""
    v = np.clip(light, 0, 1)
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.power(v, 1 / 2.4) - 0.055), np.float32)


def varied(rng: Rng, colour: NDArray[Any], lightness: float = 0.08, hue: float = 0.05) -> FloatArray:
    """A colour near another: spreads are natural logarithms, of all channels together and of each."""
    each = np.exp(rng.normal(0, hue, 3))
    return np.asarray(np.clip(colour * math.exp(rng.normal(0, lightness)) * each, 0, 1.2), np.float32)


def between(one: NDArray[Any], other: NDArray[Any], share: float) -> FloatArray:
    """`share` 0 is the one, 1 the other."""
    return np.asarray(one * (1 - share) + other * share, np.float32)


def one_of(rng: Rng, things: Sequence[_Thing], weights: Sequence[float] | None = None) -> _Thing:
    """One thing at random, as likely as its weight says."""
    shares = None if weights is None else np.asarray(weights, float) / sum(weights)
    return things[int(rng.choice(len(things), p=shares))]


def any_size(rng: Rng, low: float, high: float, median: float, spread: float = 0.6) -> float:
    """Log-normal, held between two ends: many small things, few large ones."""
    return float(np.clip(rng.lognormal(math.log(median), spread), low, high))
