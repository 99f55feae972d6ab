"""Lines printed on what lies under produce or water: ruled and squared paper, cards with a grid. Only wild shots have them by chance."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

_INKS = ((1.0, 1.0, 1.0), (1.0, 0.6, 0.25), (0.25, 0.8, 1.0), (0.9, 0.4, 0.9))
"""Share of a line's density in red, green and blue: grey, blue, red and green ink (common practice, no source)."""
_HEAVY_EVERY = (0, 0, 5, 10)


def ruled_light(recipe: Recipe) -> FloatArray | None:
    """What the lines leave of the light, (h, w, 3); None where nothing is printed. The recipe must be filled."""
    density = known(recipe.ruled)
    if density <= 0:
        return None
    rng = stream(recipe.seed, "ruled", 1)
    h, w, ppm = recipe.height_px, recipe.width_px, recipe.px_per_mm
    pitch, angle = float(np.exp(rng.uniform(np.log(1.0), np.log(12.0)))), float(rng.uniform(0, np.pi))
    wide = float(np.clip(np.exp(rng.uniform(np.log(0.08), np.log(0.7))), 0.0, 0.3 * pitch))
    squared, every = bool(rng.random() < 0.7), int(rng.choice(_HEAVY_EVERY))
    cover = np.zeros((h, w), np.float32)
    for turn in (angle, angle + np.pi / 2)[: 1 + squared]:
        shift = float(rng.uniform(0, pitch))
        for spaced, thick in ((pitch, wide), *(((pitch * every, 2 * wide),) if every else ())):
            cover = np.maximum(cover, _lines(h, w, ppm, turn, spaced, thick, shift))
    if rng.random() < 0.4:  # seen through paper or diffuser
        cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), max(float(rng.uniform(0.05, 0.5)) * ppm, 0.3)), np.float32)
    ink = np.array(_INKS[int(rng.integers(len(_INKS)))], np.float32) * np.float32(density)
    return np.asarray(1 - cover[..., None] * (1 - np.float32(10) ** -ink), np.float32)


def _lines(
    height: int, width: int, px_per_mm: float, angle: float, pitch_mm: float, wide_mm: float, shift_mm: float
) -> FloatArray:
    """Share of each pixel that lines across `angle` cover, (height, width)."""
    y, x = np.ogrid[0:height, 0:width]
    at = (x * np.cos(angle) + y * np.sin(angle)).astype(np.float32) / np.float32(px_per_mm) - np.float32(shift_mm)
    away = np.abs(at - np.float32(pitch_mm) * np.round(at / np.float32(pitch_mm)))
    within = (np.float32(wide_mm / 2) - away) * np.float32(px_per_mm) + np.float32(0.5)
    return np.asarray(np.clip(within, 0, min(1.0, wide_mm * px_per_mm)), np.float32)
