"""Random numbers, random curves and random fields that every part of the grammar shares."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Points = NDArray[np.float64]
Span = tuple[float, float]
Colour = tuple[float, float, float]

_TILE = 32


def between(rng: np.random.Generator, span: Span) -> float:
    """A number drawn evenly from a span (low, high)."""
    return float(rng.uniform(span[0], span[1]))


def skewed(rng: np.random.Generator, span: Span) -> float:
    """A number of a positive span drawn evenly in its logarithm, so small values are as frequent as large ones."""
    return float(np.exp(rng.uniform(np.log(span[0]), np.log(span[1]))))


def chance(rng: np.random.Generator, share: float) -> bool:
    """True in the given share of calls."""
    return bool(rng.random() < share)


def choose_colour(rng: np.random.Generator, palette: Sequence[Colour], spread: float = 0.22) -> Points:
    """A linear colour (3,) between two of a palette, shaken in brightness and in each channel."""
    first, second = rng.integers(0, len(palette), 2)
    mix = rng.beta(0.5, 0.9) * 0.5
    colour = np.array(palette[int(first)]) * (1 - mix) + np.array(palette[int(second)]) * mix
    shaken = colour * np.exp(rng.normal(0, spread * 1.2)) * np.exp(rng.normal(0, spread, 3))
    return np.asarray(np.clip(shaken, 0.008, 0.92), dtype=np.float64)


def fourier(at: Points, rng: np.random.Generator, strength: float, orders: int, decay: float = 1.0) -> Points:
    """A random Fourier series with period 1 at the given places (any shape); about +-strength, mean zero."""
    total = np.zeros_like(at)
    for order in range(1, orders + 1):
        size = strength * rng.normal() / order**decay
        total = total + size * np.cos(2 * np.pi * (order * at + rng.random()))
    return total


def mottle(across: FloatArray, along: FloatArray, rng: np.random.Generator, cells: float) -> FloatArray:
    """Smooth random field at the given places (n,), about -1..1, with `cells` grains to one unit of either place."""
    tile = rng.uniform(-1, 1, (_TILE, _TILE)).astype(np.float32)
    x, y = across * np.float32(cells) + 640, along * np.float32(cells) + 640
    left, top = np.floor(x).astype(np.int32), np.floor(y).astype(np.int32)
    fx, fy = x - left, y - top
    fx, fy = fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)
    left, top = left % _TILE, top % _TILE
    right, low = (left + 1) % _TILE, (top + 1) % _TILE
    upper = tile[top, left] * (1 - fx) + tile[top, right] * fx
    lower = tile[low, left] * (1 - fx) + tile[low, right] * fx
    return np.asarray(upper * (1 - fy) + lower * fy, dtype=np.float32)


def rise(value: FloatArray, low: float, high: float) -> FloatArray:
    """Smooth step from 0 at `low` to 1 at `high` (which may be the smaller), element by element."""
    part = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(part * part * (3 - 2 * part), dtype=np.float32)
