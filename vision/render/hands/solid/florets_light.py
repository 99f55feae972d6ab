"""Light on a relief of florets: Lambert's law, a gloss (Blinn 1977), what neighbours hide of the sky, and cast shadows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import (
    BETWEEN,
    LAMP,
    Rng,
    blurred,
    coarse_noise,
    enlarged,
    shifted,
    slopes,
    smooth_noise,
)
from vision.render.hands.solid.relief import BUD, STALK, Relief
from vision.types import FloatArray

_STEEPEST = 2.4
_SHADOW_STEPS = (2, 4, 7, 11, 17)
"""How far away, in pixels at half resolution, something may stand and throw its shadow."""
_HIDING = ((2.2, 0.8), (5.5, 0.75), (15.0, 0.5))
"""Sigma at half resolution and weight of three sizes of hollows."""
_SOAKED = np.array([0.11, 0.085, 0.045], np.float32)
"""Warm light that comes through pale flesh into its shadows."""


@dataclass(frozen=True)
class Lamp:
    """Where the shot is lit from, its exposure, and the light's tint (3,)."""

    from_below: bool
    exposure: float
    tint: NDArray[Any]


def lit_relief(rng: Rng, relief: Relief, lamp: Lamp, pale: bool) -> FloatArray:
    """(h, w, 3) linear light of the relief; where nothing is, it means nothing."""
    open_, reached = _openness(relief.height_px, 0.62 if pale else 1.25)
    fuzz = smooth_noise(rng, relief.height_px.shape, 3.5, 2)
    tone, bumps = _markings(rng, relief, fuzz)
    height = relief.height_px + bumps
    if pale:
        height = height + 0.35 * smooth_noise(rng, height.shape, 5, 2)
    facing, gloss = _facing(blurred(height, 0.8))
    key, sky = (0.42, 0.5) if lamp.from_below else (0.75, 0.55)
    if pale:
        key, sky = key * 0.8, sky * 1.05
    shade = (sky * open_ + key * facing * reached * np.sqrt(open_)) * tone * lamp.exposure
    light = shade[..., None] * (lamp.tint * 0.95)
    if pale:
        light = light + (1 - open_)[..., None] * _SOAKED
    colours = np.array([it.colour for it in relief.elements], np.float32)[np.maximum(relief.top, 0)]
    if lamp.from_below:
        # Edges and thin parts glow.
        light = light + (np.exp(-relief.height_px / 26) * 0.55)[..., None]
    wet = np.clip(coarse_noise(rng, height.shape, 2, 18, 2) - 0.2, 0, 1.2)
    spark = np.where(wet > 0.5, 0.9, 0.08) * rng.uniform(0.3, 1)
    shine = ((0.035 + 0.1 * wet) * gloss**16 + spark * gloss**64) * reached * open_
    shine_gain = 0.5 if lamp.from_below else 0.9
    return np.asarray(light * colours + shine[..., None] * (lamp.tint * shine_gain), np.float32)


def _openness(height_px: FloatArray, dark: float) -> tuple[FloatArray, FloatArray]:
    """What is open to the sky, and what the lamp reaches: (h, w) each, worked out at half resolution."""
    rows, columns = height_px.shape
    half = np.ascontiguousarray(height_px[::2, ::2])
    hidden = np.zeros_like(half)
    for sigma, weight in _HIDING:
        hidden += np.float32(weight) * np.clip((blurred(half, sigma) - half) / np.float32(sigma * 1.1), -0.25, 1.3)
    open_ = np.exp(-np.clip(hidden, -0.15, 3) * np.float32(dark))
    reached = np.ones_like(half)
    for step in _SHADOW_STEPS:
        there = shifted(half, -LAMP[0] / 0.71 * step, -LAMP[1] / 0.71 * step)
        over = (there - half - step * 2 * 0.95) / (2 + step * 0.5)
        reached = np.minimum(reached, np.clip(1 - over, 0, 1)).astype(np.float32)
    return enlarged(open_, rows, columns), enlarged(blurred(reached, 1.0), rows, columns)


def _facing(height_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far the surface faces the lamp, and how near it comes to mirroring it into the camera; cosines."""
    along_x, along_y = (np.clip(slope, -_STEEPEST, _STEEPEST) for slope in slopes(height_px))
    level = 1 / np.sqrt(1 + along_x * along_x + along_y * along_y)
    to_lamp, to_middle = (
        np.maximum((along_x * -v[0] + along_y * -v[1] + v[2]) * level, 0)
        for v in (LAMP.astype(np.float32), BETWEEN.astype(np.float32))
    )
    return np.asarray(to_lamp, np.float32), np.asarray(to_middle, np.float32)


def _markings(rng: Rng, relief: Relief, fuzz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Factors on the colour and bumps in pixels: fuzz all over, the buds' crossed seams, the stalks' streaks."""
    rows, columns = relief.height_px.shape
    tone = 1 + 0.07 * fuzz + 0.06 * smooth_noise(rng, (rows, columns), 16, 3)
    bumps = 0.25 * fuzz
    along, across, sort = _own_places(relief)
    bud = sort == BUD
    u, v = along[bud], across[bud]
    seam = np.maximum(np.exp(-((u * 7) ** 2)) * (np.abs(v) < 0.75), np.exp(-((v * 7) ** 2)))
    out2 = np.minimum(u * u + v * v, 1)
    seam = seam * np.exp(-out2 * 1.2)
    tone[bud] *= (1.12 - 0.42 * seam) * (1 - 0.28 * out2)
    bumps[bud] -= 0.9 * seam
    stalk = sort == STALK
    streaks = smooth_noise(rng, (1, 4096), 6, 3)[0]
    u, v = along[stalk], across[stalk]
    wide = np.array([it.across_px for it in relief.elements], np.float32)[relief.top[stalk]]
    streak = streaks[np.clip((v * wide + 7 * u) * 6 + 2048, 0, 4095).astype(np.int32)]
    tone[stalk] *= (1 + 0.07 * streak) * (1 - 0.15 * np.minimum(v * v, 1))
    return np.asarray(tone, np.float32), np.asarray(bumps, np.float32)


def _own_places(relief: Relief) -> tuple[FloatArray, FloatArray, NDArray[Any]]:
    """Each pixel's place in the frame of the element on top, in its half axes, and what that is (-1 for nothing)."""
    rows, columns = relief.height_px.shape
    numbers = [(e.x_px, e.y_px, e.cos, e.sin, 1 / e.along_px, 1 / e.across_px, e.sort) for e in relief.elements]
    table = np.ascontiguousarray(np.array(numbers, np.float32).T)
    top = np.maximum(relief.top, 0)
    x = np.arange(columns, dtype=np.float32)[None] - table[0][top]
    y = np.arange(rows, dtype=np.float32)[:, None] - table[1][top]
    cos, sin = table[2][top], table[3][top]
    sort = np.where(relief.top >= 0, table[6].astype(np.int8)[top], -1)
    return (x * cos + y * sin) * table[4][top], (y * cos - x * sin) * table[5][top], sort
