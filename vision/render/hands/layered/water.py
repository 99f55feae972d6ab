"""The lit panel, and shallow rinse water over it: ripples, a vessel's wall, reflections. Looks: common practice, no source."""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.render.hands.layered.clutter import how_many, scatter, unsteady
from vision.render.hands.layered.colour import WHITE, Rng, one_of
from vision.render.hands.layered.crumbs import grit
from vision.render.hands.layered.curves import blob
from vision.render.hands.layered.drops import bubble
from vision.render.hands.layered.laying import half_diagonal_px, lay
from vision.render.hands.layered.noise import clouds
from vision.render.hands.layered.sheet import Light, any_way
from vision.types import FloatArray

_CLUTTER = {
    "grit": 3, "soil": 2, "plant": 4, "bud": 1.8, "fibre": 2.2, "hair": 1, "bubble": 2.5, "drop": 0.6, "root": 1.6,
    "stalk": 1, "film": 1, "seed": 0.7,
}  # fmt: skip


def panel(rng: Rng, width_px: int, height_px: int) -> FloatArray:
    """The bare panel's linear light (h, w, 3): slightly warm or cool, slightly uneven."""
    warm = rng.normal(0, 0.045)
    colour = np.array([1 + warm, 1.0, 1 - warm * 1.2], np.float32) * np.float32(rng.uniform(0.72, 0.9))
    uneven = 1 + clouds(rng, (height_px, width_px), 700, 3, 0.45) * np.float32(rng.uniform(0.008, 0.025))
    return np.asarray(uneven[..., None] * colour, np.float32)


def lay_water(rng: Rng, scene: FloatArray, light: Light) -> None:
    """Turns the panel into water with what floats in it."""
    _ripples(rng, scene)
    if rng.random() < 0.4:
        _vessel_wall(rng, scene)
    height, width = scene.shape[:2]
    for _ in range(rng.integers(0, 4)):
        _reflection(rng, scene, light)
    shadow = 0.0 if light.below else 0.15
    scatter(rng, scene, light, how_many(rng, scene, 60, 151), unsteady(rng, _CLUTTER, 0.5), shadow)
    for _ in range(rng.integers(0, 3)):
        x, y, drawer = rng.uniform(0, width), rng.uniform(0, height), one_of(rng, (bubble, grit))
        for _ in range(rng.integers(4, 12)):
            lay(scene, drawer(rng, light).reduced(), int(x + rng.normal(0, 50)), int(y + rng.normal(0, 50)))


def _ripples(rng: Rng, scene: FloatArray) -> None:
    """Faint bright lines of bent light."""
    waves = clouds(rng, scene.shape, rng.uniform(220, 500), 3, 0.55)
    lines = np.exp(-np.abs(waves) / np.float32(0.16)) * np.float32(rng.uniform(0, 0.055))
    lines *= np.clip(0.6 + 0.6 * clouds(rng, scene.shape, 600, 2), 0, 1.5)
    lines = np.asarray(cv2.GaussianBlur(lines, (0, 0), 4), np.float32)
    scene *= (1 + lines - 0.4 * lines.mean())[..., None]


def _vessel_wall(rng: Rng, scene: FloatArray) -> None:
    """A round or straight wall: dark and bright lines, and less light beyond it."""
    height, width = scene.shape[:2]
    y, x = np.mgrid[0:height:4, 0:width:4].astype(np.float32)
    corner = half_diagonal_px(scene)
    if rng.random() < 0.6:
        middle_x, middle_y = width * (0.5 + rng.normal(0, 0.075)), height * (0.5 + rng.normal(0, 0.08))
        beyond = np.hypot(x - middle_x, (y - middle_y) * rng.uniform(0.95, 1.15)) - corner * rng.uniform(0.66, 0.92)
    else:
        way = rng.uniform(0, 2 * np.pi)
        beyond = (x - width / 2) * math.cos(way) + (y - height / 2) * math.sin(way) - corner * rng.uniform(0.38, 0.61)
    beyond = cv2.resize(beyond.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    wide = rng.uniform(10, 34)
    light = 1 - 0.3 * np.exp(-((beyond / wide) ** 2))
    light += 0.2 * np.exp(-(((beyond - 1.6 * wide) / (0.4 * wide)) ** 2))
    light -= 0.22 * np.exp(-(((beyond + 1.3 * wide) / (0.25 * wide)) ** 2))
    light -= 0.16 / (1 + np.exp(-np.clip((beyond - 2.5 * wide) / 6, -30, 30)))
    scene *= light.astype(np.float32)[..., None]


def _reflection(rng: Rng, scene: FloatArray, light: Light) -> None:
    """A lamp or a window in the water."""
    size = rng.uniform(2, 8)
    sheet = any_way(rng, light).sheet(size * 1.7, fold=1)
    if rng.random() < 0.6:
        outline = blob(rng, size, 0.15, 4, rng.uniform(1, 2.5))
    else:
        outline = size * np.array([[-1, -0.4], [1, -0.5], [0.9, 0.4], [-0.95, 0.5]])
    sheet.fill(outline, WHITE, rng.uniform(0.15, 0.5), rng.uniform(0.1, 0.7))
    lay(scene, sheet.reduced(), int(rng.integers(scene.shape[1])), int(rng.integers(scene.shape[0])))
