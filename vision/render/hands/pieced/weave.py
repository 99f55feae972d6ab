"""A plain weave: two sets of threads that cross over and under, each thread with its own width, brightness and wander; wrinkles."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.scene import Lamp
from vision.render.hands.pieced.textures import enlarged, quarter, rise, texture, wide_cloud
from vision.types import FloatArray

_THREADS = 1024
"""As many different threads a set; a wider cloth has them again."""
_BAND = 50
"""Rows worked on at a time: they stay in the processor's cache."""


@dataclass(frozen=True)
class _Yarn:
    """One set of threads: (n,) widths as shares of the pitch, brightness, and which are doubled."""

    width: FloatArray
    bright: FloatArray
    doubled: NDArray[np.bool_]


@dataclass(frozen=True)
class _Set:
    """Of each pixel: number of its thread, place across it -0.5 .. 0.5, height 0 .. 1 and brightness."""

    number: NDArray[np.int32]
    across: FloatArray
    height: FloatArray
    bright: FloatArray


def _yarn(rng: np.random.Generator) -> _Yarn:
    width = np.clip(rng.normal(0.88, 0.07, _THREADS), 0.66, 1.0).astype(np.float32)
    return _Yarn(width, rng.normal(1, 0.045, _THREADS).astype(np.float32), rng.random(_THREADS) < 0.03)


def _threads(across: FloatArray, along: FloatArray, yarn: _Yarn, hairy: FloatArray) -> _Set:
    """The threads that run along one axis of the weave, whose pitch is 1."""
    wander = across + np.float32(0.09) * np.sin(along * np.float32(0.55) + np.floor(across) * np.float32(2.1))
    whole = np.floor(wander)
    number = whole.astype(np.int32) % _THREADS
    off = np.asarray(wander - whole - np.float32(0.5), np.float32)
    height = np.sqrt(np.clip(1 - (off / (np.float32(0.5) * yarn.width[number])) ** 2, 0, 1))
    two = yarn.doubled[number]
    apart = off[two]
    height[two] = 1.2 * np.sqrt(np.clip(1 - (apart / 0.56) ** 4, 0, 1)) - 0.3 * np.exp(-((apart / 0.09) ** 2))
    bright = yarn.bright[number] * (1 + np.float32(0.05) * hairy)
    return _Set(number, off, np.asarray(height, np.float32), np.asarray(bright, np.float32))


def _wrinkles(shape: tuple[int, int], bent: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """(h, w) slopes of long folds along x and y."""
    h, w = shape
    y, x = np.mgrid[0:h:4, 0:w:4].astype(np.float32)
    raised = np.zeros_like(x)
    for _ in range(int(rng.integers(1, 5))):
        way, at_x, at_y = rng.uniform(0, np.pi), rng.uniform(0, w), rng.uniform(0, h)
        c, s = np.float32(np.cos(way)), np.float32(np.sin(way))
        across = (y - at_y) * c - (x - at_x) * s + 3.5 * bent
        along = (x - at_x) * c + (y - at_y) * s
        raised += rng.uniform(14, 34) * np.exp(
            -((across / rng.uniform(16, 50)) ** 2) - (along / rng.uniform(400, 1400)) ** 2
        )
    gx, gy = (enlarged(cv2.Sobel(raised, -1, *o, scale=0.125 / 4), shape) for o in ((1, 0), (0, 1)))
    return gx, gy


@dataclass(frozen=True)
class _Weave:
    """(h, w) planes: height of the uppermost thread, its brightness, how much yarn lies over the light."""

    height: FloatArray
    bright: FloatArray
    thick: FloatArray


def _crossed(u: FloatArray, v: FloatArray, angle_rad: float, rng: np.random.Generator) -> _Weave:
    """Both sets of threads, in turn one above the other; `u`, `v` (h, w) count pitches."""
    yarns = _yarn(rng), _yarn(rng)
    hairy = (
        texture("grass", u.shape, rng, 0.8, angle_rad + np.pi / 2, 4.0),
        texture("chelsea", u.shape, rng, 0.8, angle_rad, 3.5),
    )
    weave = _Weave(np.empty_like(u), np.empty_like(u), np.empty_like(u))
    for top in range(0, len(u), _BAND):
        band = slice(top, top + _BAND)
        warp, weft = (
            _threads(u[band], v[band], yarns[0], hairy[0][band]),
            _threads(v[band], u[band], yarns[1], hairy[1][band]),
        )
        turn = (1 - 2 * ((warp.number + weft.number) & 1)).astype(np.float32) * np.float32(0.45)
        upper = warp.height * (1 + turn * np.cos(np.float32(np.pi) * weft.across))
        lower = weft.height * (1 - turn * np.cos(np.float32(np.pi) * warp.across))
        weave.height[band] = np.maximum(upper, lower)
        weave.bright[band] = np.where(upper > lower, warp.bright, weft.bright)
        weave.thick[band] = (warp.height * warp.bright + weft.height * weft.bright) * np.float32(0.5)
    return weave


def woven(shape: tuple[int, int], lamp: Lamp, rng: np.random.Generator) -> FloatArray:
    """(h, w) float32 linear light of a wet white cloth at any angle; threads are 6.5 to 12 px apart."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    angle, pitch = rng.uniform(0, np.pi), rng.uniform(6.5, 12)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    bent_x, bent_y = (wide_cloud(shape, rng, 320) * np.float32(rng.uniform(4, 14)) for _ in range(2))
    gx, gy = _wrinkles(shape, quarter(bent_x), rng)
    x, y = x + bent_x - 4 * gx, y + bent_y - 4 * gy
    away = np.float32(_THREADS / 2)
    u = (x * c + y * s) / np.float32(pitch) + away
    v = (y * c - x * s) / np.float32(pitch * rng.uniform(0.85, 1.2)) + away
    weave = _crossed(u, v, angle, rng)
    wet = rise(-0.8, 1.0, wide_cloud(shape, rng, 260, 3))
    if lamp.below:
        dense = np.float32(rng.uniform(0.45, 0.75)) * weave.thick * (1.1 - 0.35 * wet)
        light = (
            0.95 * np.exp(-dense) * (1 - 0.12 * np.hypot(gx, gy) - 0.05 * gx * lamp.x) * (1 + 0.35 * (weave.bright - 1))
        )
    else:
        high = cv2.GaussianBlur(weave.height, (0, 0), 1.0) * np.float32(pitch * 0.28)
        ax = cv2.Sobel(high, -1, 1, 0, scale=0.125) + 0.6 * gx
        ay = cv2.Sobel(high, -1, 0, 1, scale=0.125) + 0.6 * gy
        facing = np.clip(0.86 - 0.3 * (ax * lamp.x + ay * lamp.y) / np.sqrt(1 + ax * ax + ay * ay), 0.3, 1.25)
        light = 0.74 * weave.bright * facing * (0.62 + 0.38 * np.clip(weave.height, 0, 1)) * (1 - 0.13 * wet)
    return np.asarray(light * (1 + 0.03 * wide_cloud(shape, rng, 60, 3)), np.float32)
