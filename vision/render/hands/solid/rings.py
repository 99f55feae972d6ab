"""Bubbles and drops: profiles of the light they pass, which may exceed what falls on them. Common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.stamps import Stamp
from vision.types import FloatArray


def bubble(rng: Rng, radius_mm: float) -> Stamp:
    """A bubble: dark rim, bright heart, and a highlight."""
    x, y, out, lit = _disc(rng, radius_mm)
    r = radius_mm * PX_PER_MM
    inside = np.clip((1 - out) * r + 0.5, 0, 1)
    heart = 0.15 + 0.85 * np.exp(-((out / rng.uniform(0.55, 0.8)) ** 4))
    heart = heart + 0.5 * np.exp(-(((out - 0.9) / 0.04) ** 2)) * np.clip(lit, 0, 1)
    through = 1 + inside * (heart - 1) * rng.uniform(0.6, 1)
    through = through + 0.25 * np.exp(-(((out - 1.08) / 0.05) ** 2)) * (out > 1)
    light_x, light_y = _LIGHT * r * 0.45
    shine = np.exp(-((x - light_x) ** 2 + (y - light_y) ** 2) / (r * 0.13 + 0.5) ** 2) * 0.5
    return _stamp(through, shine * inside)


def drop(rng: Rng, radius_mm: float) -> Stamp:
    """A drop, a lens: one crescent brighter, the other darker, and a highlight."""
    x, y, out, lit = _disc(rng, radius_mm)
    r = radius_mm * PX_PER_MM
    out = np.asarray(out * (1 + 0.06 * np.cos(3 * np.arctan2(y, x) + rng.uniform(0, 6))), np.float32)
    inside = np.clip((1 - out) * r + 0.5, 0, 1)
    lens = 1 - 0.30 * np.clip(lit, -1, 1) * out**2 - rng.uniform(0.1, 0.55) * np.clip(out, 0, 1) ** 10
    through = 1 + inside * (lens - 1)
    halo = np.exp(-(((out - 1.06) / 0.06) ** 2)) * (out > 1) * np.clip(0.3 - lit, 0, 1)
    through = through + rng.uniform(0.05, 0.25) * halo
    light_x, light_y = _LIGHT * r * 0.5
    shine = np.exp(-((x - light_x) ** 2 + ((y - light_y) * 1.3) ** 2) / (r * 0.12 + 0.6) ** 2) * 0.9
    return _stamp(through, shine * inside)


_LIGHT = np.array([-0.5, -0.6]) / np.hypot(0.5, 0.6)
"""Where the lamp lies, seen from above."""


def _disc(rng: Rng, radius_mm: float) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """x, y in pixels, the distance from the middle in radii of a slight oval, and how far towards the lamp, in radii."""
    r = radius_mm * PX_PER_MM
    half = int(r * 1.25) + 5
    line = np.arange(-half, half + 1, dtype=np.float32)
    x, y = np.meshgrid(line, line)
    turn, narrow = rng.uniform(0, 3.1), r * rng.uniform(0.9, 1)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    out = np.sqrt((along / narrow) ** 2 + (across / r) ** 2)
    return x, y, np.asarray(out, np.float32), np.asarray((x * _LIGHT[0] + y * _LIGHT[1]) / r, np.float32)


def _stamp(through: FloatArray, back: FloatArray) -> Stamp:
    nothing = np.zeros(through.shape, np.float32)
    gray = [np.repeat(plane[..., None], 3, 2).astype(np.float32) for plane in (through, back)]
    return Stamp(
        through=gray[0],
        back=gray[1],
        cover=nothing,
        body=nothing,
        height_mm=nothing,
        radius_px=through.shape[0] // 2,
    )
