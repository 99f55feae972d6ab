"""Soft random fields used for grain, wrinkles and torn edges."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray


def cloud(shape: tuple[int, int], cell_px: float, rng: np.random.Generator, octaves: int = 2) -> FloatArray:
    """Field (h, w) of about zero mean and unit spread whose lumps are about `cell_px` pixels wide."""
    total = np.zeros(shape, np.float32)
    weight = 1.0
    for step in range(octaves):
        cell = max(cell_px / 2.0**step, 1.0)
        rows, cols = int(shape[0] / cell) + 3, int(shape[1] / cell) + 3
        seeds = rng.standard_normal((rows, cols)).astype(np.float32)
        size = (max(int(cols * cell), shape[1]), max(int(rows * cell), shape[0]))
        total += weight * cv2.resize(seeds, size, interpolation=cv2.INTER_CUBIC)[: shape[0], : shape[1]]
        weight *= 0.55
    return total / np.float32(0.85)


def ridges(shape: tuple[int, int], cell_px: float, rng: np.random.Generator) -> FloatArray:
    """Field (h, w) in 0..1 with thin bright lines, like creases in a skin or the walls of a net."""
    folded = 1.0 - np.abs(cloud(shape, cell_px, rng, 2)) * 1.6
    return np.clip(folded, 0.0, 1.0).astype(np.float32) ** 2


def wave(count: int, rng: np.random.Generator, rough: float = 0.5) -> NDArray[np.float64]:
    """Closed wave (count,) of about unit spread, for outlines that come back to where they began."""
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    out = np.zeros(count)
    for order in range(2, 9):
        out += order ** (rough - 1.5) * rng.normal() * np.cos(order * angle + rng.uniform(0.0, 6.3))
    return out
