"""A wet woven cloth: threads over and under each other, wrinkles, wet parts, stains. Looks: common practice, no source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.layered.clutter import how_many, scatter, unsteady
from vision.render.hands.layered.colour import Rng, one_of, srgb
from vision.render.hands.layered.curves import blob
from vision.render.hands.layered.laying import lay, px
from vision.render.hands.layered.noise import clouds, grain
from vision.render.hands.layered.sheet import Light, Pose
from vision.types import FloatArray

_CLUTTER = {
    "fibre": 5, "hair": 1.2, "plant": 3.5, "bud": 1.2, "grit": 2.2, "soil": 1.2, "drop": 2.2, "root": 1.5, "stalk": 0.7,
    "seed": 0.5, "film": 0.5,
}  # fmt: skip
_STAINS = (srgb(200, 205, 160), srgb(205, 190, 160))
_WHITE_CLOTH = np.array([0.97, 0.97, 0.96], np.float32)
_TWIST = 7.5


@dataclass(frozen=True)
class _Threads:
    """One set of threads at each pixel, all (h, w): which thread it is, how far along and across it (in threads), its height and light."""

    number: NDArray[np.int32]
    along: FloatArray
    across: FloatArray
    height: FloatArray
    light: FloatArray


def lay_cloth(rng: Rng, scene: FloatArray, light: Light) -> None:
    """Turns the panel into cloth with what lies on it."""
    shade = _woven(rng, scene.shape, light) * _wrinkles(rng, scene.shape)
    wet = clouds(rng, scene.shape, 500, 4, 0.55)
    shade *= 1 - 0.09 / (1 + np.exp(-wet * 9))
    scene *= np.clip(shade, 0.05, 1.25)[..., None]
    scene *= _WHITE_CLOTH
    height, width = scene.shape[:2]
    for _ in range(rng.integers(0, 5)):
        size = rng.uniform(2, 9)
        sheet = Pose(light).sheet(size * 2, fold=1)
        sheet.fill(blob(rng, size, 0.25, 6), one_of(rng, _STAINS), rng.uniform(0.1, 0.3), size * 0.12)
        lay(scene, sheet.reduced(), int(rng.integers(width)), int(rng.integers(height)))
    scatter(rng, scene, light, how_many(rng, scene, 45, 120), unsteady(rng, _CLUTTER, 0.45), 0.3)


def _woven(rng: Rng, shape: tuple[int, ...], light: Light) -> FloatArray:
    """The weave's light (h, w), about 1: thick places are dark from below, high ones bright from above."""
    warp, weft = _both_sets(rng, shape)
    every = 3 if rng.random() < 0.25 else 2
    warp_over = (warp.number + weft.number) % every == 0
    warp_crest, weft_crest = np.cos(np.float32(np.pi) * weft.across), np.cos(np.float32(np.pi) * warp.across)
    warp_high = warp.height * (0.55 + 0.45 * np.where(warp_over, warp_crest, -0.3 * warp_crest))
    weft_high = weft.height * (0.55 + 0.45 * np.where(warp_over, -0.3 * weft_crest, weft_crest))
    on_top = warp_high > weft_high
    across, along = np.where(on_top, warp.across, weft.across), np.where(on_top, warp.along, weft.along)
    twist = np.sin(np.float32(_TWIST) * across + np.float32(2 * np.pi * 1.3) * along)
    own = np.where(on_top, warp.light, weft.light)
    fuzz = grain(rng, shape[0], shape[1], 5, 2)
    if light.below:
        dense = warp.height + weft.height
        dark = rng.uniform(0.28, 0.55)
        passed = np.exp(np.float32(-dark) * dense * (0.55 + 0.1 * fuzz) + np.float32(dark * 0.75))
        return np.asarray(passed * (1 + 0.03 * twist + 0.5 * own), np.float32)
    top = np.maximum(warp_high, weft_high)
    return np.asarray((0.62 + 0.36 * top + 0.025 * twist + 0.03 * fuzz) * (1 + own), np.float32)


def _both_sets(rng: Rng, shape: tuple[int, ...]) -> tuple[_Threads, _Threads]:
    """Warp and weft at any angle, drawn out of straight by soft waves."""
    way, apart = rng.uniform(0, np.pi), px(rng.uniform(0.4, 0.85))
    cos, sin = np.float32(math.cos(way)), np.float32(math.sin(way))
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    pulled = [clouds(rng, shape, 420, 3) * np.float32(rng.uniform(0.4, 1.1) * apart) for _ in range(2)]
    u = (cos * x + sin * y + pulled[0]) / np.float32(apart)
    v = (cos * y - sin * x + pulled[1]) / np.float32(apart * rng.uniform(0.85, 1.2))
    u, v = u - u.min() + 2, v - v.min() + 2
    return _threads(rng, u, v), _threads(rng, v, u)


def _threads(rng: Rng, across: NDArray[Any], along: NDArray[Any]) -> _Threads:
    """A set of threads one apart: each with its own width, place and light, some doubled."""
    number = across.astype(np.int32)
    count = int(number.max()) + 1
    width = np.clip(rng.normal(0.43, 0.045, count), 0.28, 0.52).astype(np.float32)
    aside, light = (rng.normal(0, spread, count).astype(np.float32) for spread in (0.045, 0.06))
    doubled = rng.random(count) < one_of(rng, (0.03, 0.12, 0.5), (0.5, 0.35, 0.15))
    off = across - number - np.float32(0.5) + aside[number]
    far = np.abs(off)
    far = np.where(doubled[number], np.abs(far - 0.22) * 1.9, far)
    height = np.sqrt(np.clip(1 - (far / width[number]) ** 2, 0, 1))
    return _Threads(number, np.asarray(along, np.float32), off, np.asarray(height, np.float32), light[number])


def _wrinkles(rng: Rng, shape: tuple[int, ...]) -> FloatArray:
    """Dark ridges and soft changes of light, about 1."""
    folds = clouds(rng, shape, rng.uniform(350, 700), 3, 0.45)
    ridges = np.float32(rng.uniform(0, 0.14)) * (0.5 - np.exp(-((folds / np.float32(0.16)) ** 2)))
    turning = cv2.Sobel(cv2.GaussianBlur(folds, (0, 0), 6), cv2.CV_32F, 1, 1, ksize=5)
    return np.asarray(1 + ridges + np.clip(turning * 0.5, -0.05, 0.05), np.float32)
