"""Woven cloth thread by thread, wet in places, wrinkled, lit through or from above. Common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import LAMP, Rng, blurred, coarse_noise, enlarged, how_many, slopes, smooth_noise
from vision.render.hands.solid.scene import Scene, drops, panel, scatter
from vision.render.hands.solid.stamps import Light
from vision.types import FloatArray

_MIX = {"grit": 0.8, "soil": 0.8, "flake": 2.2, "bud": 0.6, "sliver": 1.2, "fibre": 2.6, "bubble": 0.25}
_STEPS = 4
"""Look-up steps a pixel across the threads."""


@dataclass(frozen=True)
class _Threads:
    """Per look-up step across a set of threads: `odd` -1 or 1 by turns, `high` of the yarn 0..1, `phase` in threads."""

    odd: FloatArray
    high: FloatArray
    phase: FloatArray


@dataclass(frozen=True)
class _Weave:
    """(h, w) each: how much yarn lies there, how high its top is, both in yarn radii."""

    yarn: FloatArray
    top: FloatArray


def cloth(rng: Rng, height_px: int, width_px: int) -> Scene:
    """A cloth with loose things on it."""
    picture, tint = panel(rng, height_px, width_px, rng.uniform(0.72, 0.95))
    from_below = rng.random() < 0.5
    pitch_px = rng.uniform(6.5, 13)
    weave = _weave(rng, height_px, width_px, pitch_px)
    fuzz = smooth_noise(rng, (height_px, width_px), 3.2, 2)
    damp = coarse_noise(rng, (height_px, width_px), 8, 45, 3) * 2.5 + np.float32(rng.uniform(-0.5, 2))
    wet = np.asarray(1 / (1 + np.exp(-damp)), np.float32)
    wrinkles = _wrinkles(rng, height_px // 4, width_px // 4)
    along_x, along_y = slopes(wrinkles)
    away = enlarged(along_x * np.float32(LAMP[0]) + along_y * np.float32(LAMP[1]), height_px, width_px, smooth=True)
    if from_below:
        dense = rng.uniform(0.3, 0.55) * weave.yarn * (1.25 - 0.55 * wet) * (1 + 0.1 * fuzz)
        dense = dense + np.abs(enlarged(wrinkles, height_px, width_px)) * np.float32(0.02)
        picture *= (np.exp(-dense) * (1.25 - 0.5 * away))[..., None].astype(np.float32)
        light = Light(1.0, tint * 0.22, 0.1, 1.3)
    else:
        _light_from_above(picture, weave.top + 0.12 * fuzz, pitch_px, away, wet)
        light = Light(0.15, tint * 0.85, 0.38, 3.0)
    drops(picture, rng, how_many(rng, 4, 18, picture), 0.4, 2.8, light, 0.8)
    scatter(picture, rng, how_many(rng, 45, 110, picture), _MIX, light, blur_px=0.7)
    return Scene(picture, "cloth", light)


def _threads(rng: Rng, across_px: int, pitch_px: float, fill: float) -> _Threads:
    """Threads of uneven width over `across_px`, some slubbed; `fill` is the share of the pitch that is yarn."""
    count = int(across_px / (pitch_px * 0.8)) + 8
    slub = rng.random(count) < 0.012
    wide = pitch_px * np.maximum(0.6, 1 + rng.normal(0, 0.11, count)) * np.where(slub, 1.75, 1)
    strong = np.maximum(0.55, (1 + rng.normal(0, 0.13, count)) * np.where(slub, 1.25, 1))
    edges = np.concatenate([[0.0], np.cumsum(wide)])
    at = np.arange(across_px * _STEPS) / _STEPS
    which = np.clip(np.searchsorted(edges, at, "right") - 1, 0, count - 1)
    inside = (at - edges[which]) / wide[which]
    high = np.sqrt(np.maximum(1 - ((inside * 2 - 1) / fill) ** 2, 0)) * strong[which]
    odd, phase = 1 - 2 * (which & 1), inside + which
    return _Threads(odd.astype(np.float32), high.astype(np.float32), phase.astype(np.float32))


def _weave(rng: Rng, height_px: int, width_px: int, pitch_px: float) -> _Weave:
    """Plain weave, turned and drawn out of true."""
    across_px = int(np.hypot(height_px, width_px)) + 200
    y, x = np.mgrid[0:height_px, 0:width_px].astype(np.float32)
    x, y = x - width_px / 2, y - height_px / 2
    turn, drawn = rng.uniform(0, np.pi), np.float32(rng.uniform(3, 9))
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))

    def steps(place: NDArray[Any]) -> NDArray[np.int32]:
        off = coarse_noise(rng, (height_px, width_px), 16, 22, 2) * drawn
        return np.asarray(
            np.clip((place + np.float32(across_px / 2) + off) * _STEPS, 0, across_px * _STEPS - 1), np.int32
        )

    u, v = steps(x * cos + y * sin), steps(y * cos - x * sin)
    fill = rng.uniform(0.72, 0.95)
    warp = _threads(rng, across_px, pitch_px, fill)
    weft = _threads(rng, across_px, pitch_px * rng.uniform(0.85, 1.2), fill)
    # A yarn rises and falls with the cosine of its place along the other set, neighbours by turns.
    over = np.cos(np.pi * (weft.phase - 0.5)).astype(np.float32)[v] * warp.odd[u]
    under = -np.cos(np.pi * (warp.phase - 0.5)).astype(np.float32)[u] * weft.odd[v]
    warp_high, weft_high = warp.high[u], weft.high[v]
    tops = [np.where(high > 0, high + 0.75 * rise, -1.2) for high, rise in ((warp_high, over), (weft_high, under))]
    return _Weave(warp_high + weft_high, np.maximum(*tops).astype(np.float32))


def _wrinkles(rng: Rng, height: int, width: int) -> FloatArray:
    """Height (h, w) of long ridges and slow waves, at a quarter of the picture's resolution."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    x, y = x - width / 2, y - height / 2
    out = smooth_noise(rng, (height, width), 60, 2) * np.float32(rng.uniform(0.3, 2))
    for _ in range(rng.integers(0, 4)):
        turn, off = rng.uniform(0, 3.14), rng.uniform(-0.3, 0.3) * height
        along = y * np.cos(turn) - x * np.sin(turn)
        across = x * np.cos(turn) + y * np.sin(turn) - off
        across = across + 14 * np.sin(along / rng.uniform(40, 120) + rng.uniform(0, 6))
        wide = rng.uniform(4, 14)
        begins = 1 / (1 + np.exp(-(along - rng.uniform(-200, 60)) / 30))
        out += (np.exp(-((across / wide) ** 2)) * wide * rng.uniform(0.25, 0.9) * begins).astype(np.float32)
    return out


def _light_from_above(picture: FloatArray, top: FloatArray, pitch_px: float, away: FloatArray, wet: FloatArray) -> None:
    """Lambert's law over the yarns, darker between them; wet cloth is darker and glossy."""
    along_x, along_y = slopes(top * np.float32(pitch_px * 0.22))
    level = np.sqrt(1 + along_x * along_x + along_y * along_y)
    facing = (along_x * -np.float32(LAMP[0]) + along_y * -np.float32(LAMP[1]) + np.float32(LAMP[2])) / level
    open_ = np.clip(1 - 0.32 * (blurred(top, pitch_px * 0.45) - top), 0.35, 1.12)
    shade = (0.45 + 0.62 * np.maximum(facing, 0)) * open_ * (1 - 1.1 * away) * (1 - 0.16 * wet)
    picture *= (shade * 0.95)[..., None].astype(np.float32)
    picture += (np.clip(facing - 0.93, 0, 1) * wet * 1.5)[..., None].astype(np.float32)
