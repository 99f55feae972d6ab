"""Water where it should not be: drops on a bare panel, rafts of bubbles, mist on a cover. Faults of a shot, never drawn by chance.

None of it is in the truth: it is no bycatch to be told from insects but a reason to take the shot again.
"""

from __future__ import annotations

import math

import numpy as np

from vision.render.arrange import Scene
from vision.render.bubbles import draw_bubble, draw_drop
from vision.render.laying import lay_below, out_of_focus, window
from vision.render.panel import lumps
from vision.render.patch import BodyWish, Patch
from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

_DROP_MM = (1.0, 8.0)
_BUBBLE_MM = (0.6, 3.0)
_MIST_PITCH_MM = 0.4
"""Distance between the droplets of mist (common practice, no source)."""

Circle = tuple[float, float, float]


def lay_water(scene: Scene) -> None:
    """Drops, rafts and mist as the recipe asks, over what the scene holds. Light from below only."""
    recipe = scene.recipe
    if scene.ground.above is not None:
        return
    size = recipe.width_px / recipe.px_per_mm, recipe.height_px / recipe.px_per_mm
    if recipe.wet_panel > 0:
        rng = stream(recipe.seed, "faults", 20)
        for n, circle in enumerate(_strewn(rng, size, recipe.wet_panel)):
            _lay(scene, "drop", circle, stream(recipe.seed, "faults", 21, n), 0.0)
    if recipe.foam > 0:
        rng = stream(recipe.seed, "faults", 22)
        for n, circle in enumerate(_rafts(rng, size, recipe.foam)):
            _lay(scene, "bubble", circle, stream(recipe.seed, "faults", 23, n), known(recipe.water_depth_mm))
    if recipe.condensation > 0:
        scene.light *= mist(recipe)[..., None]


def _lay(scene: Scene, kind: str, circle: Circle, rng: np.random.Generator, height_mm: float) -> None:
    recipe = scene.recipe
    x, y, diameter = circle
    wish = BodyWish(kind, recipe.px_per_mm, length_mm=diameter)
    patch: Patch = (draw_drop if kind == "drop" else draw_bubble)(wish, rng)
    patch = out_of_focus(patch, known(recipe.depth_blur_px_per_mm) * abs(height_mm - known(recipe.focus_height_mm)))
    w = window(patch, round(x * recipe.px_per_mm), round(y * recipe.px_per_mm), scene.light.shape)
    if w is not None:
        lay_below(scene.light, patch, w, known(recipe.room_light))


def _strewn(rng: np.random.Generator, size_mm: tuple[float, float], share: float) -> list[Circle]:
    """Drops apart from each other until they cover `share` of the picture."""
    laid: list[Circle] = []
    missing = share * size_mm[0] * size_mm[1]
    for _ in range(20_000):
        if missing <= 0:
            break
        d = float(np.exp(rng.uniform(*np.log(_DROP_MM))))
        x, y = (float(rng.uniform(0, side)) for side in size_mm)
        if all(math.hypot(x - ox, y - oy) > 0.65 * (d + other) for ox, oy, other in laid):
            laid.append((x, y, d))
            missing -= np.pi / 4 * d * d
    return laid


def _rafts(rng: np.random.Generator, size_mm: tuple[float, float], share: float) -> list[Circle]:
    """Bubbles in rafts: each new one is laid against one that is there, or starts a raft."""
    laid: list[Circle] = []
    missing = share * size_mm[0] * size_mm[1]
    usual = float(rng.uniform(1.0, 1.8))
    for _ in range(60_000):
        if missing <= 0:
            break
        d = float(np.clip(usual * np.exp(rng.normal(0, 0.25)), *_BUBBLE_MM))
        if not laid or rng.random() < 0.01:
            x, y = (float(rng.uniform(0, side)) for side in size_mm)
        else:
            ox, oy, other = laid[int(rng.integers(len(laid)))]
            a, far = rng.uniform(0, 2 * np.pi), (d + other) / 2 * rng.uniform(0.97, 1.02)
            x, y = ox + far * float(np.cos(a)), oy + far * float(np.sin(a))
        inside = 0 < x < size_mm[0] and 0 < y < size_mm[1]
        if inside and all(math.hypot(x - ox, y - oy) > 0.47 * (d + other) for ox, oy, other in laid):
            laid.append((x, y, d))
            missing -= np.pi / 4 * d * d
    return laid


def mist(recipe: Recipe) -> FloatArray:
    """Light factor (h, w) of droplets that have condensed from one side of the picture inwards."""
    rng = stream(recipe.seed, "faults", 24)
    h, w = recipe.height_px, recipe.width_px
    side = float(rng.choice([0.0, 90.0, 180.0, 270.0]))
    a = np.deg2rad(side + rng.normal(0, 8))
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    along = (x / w - 0.5) * np.float32(np.cos(a)) + (y / h - 0.5) * np.float32(np.sin(a)) + np.float32(0.5)
    ragged = 0.03 * lumps(rng, h, w, max(4.0 * recipe.px_per_mm, 2.0))
    covered = 1 / (1 + np.exp(-(along - (1 - recipe.condensation) + ragged) * 40))
    x, y = x / np.float32(recipe.px_per_mm), y / np.float32(recipe.px_per_mm)
    droplets = _droplets(rng, x, y)
    return np.asarray(1 + covered * (droplets - 1), np.float32)


def _droplets(rng: np.random.Generator, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """Light factor of droplets strewn over a jittered grid: a dark rim, a bright middle."""
    columns, rows = (int(v.max() / _MIST_PITCH_MM) + 4 for v in (x_mm, y_mm))
    jitter = rng.uniform(0.1, 0.9, (2, rows, columns)).astype(np.float32)
    radius = (_MIST_PITCH_MM * rng.uniform(0.15, 0.6, (rows, columns))).astype(np.float32)
    gx, gy = (np.floor(v / _MIST_PITCH_MM).astype(np.int32) + 1 for v in (x_mm, y_mm))
    nearest = np.full(x_mm.shape, 9.0, np.float32)
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            r, c = gy + dy, gx + dx
            far = np.hypot(
                x_mm - (c - 1 + jitter[0, r, c]) * np.float32(_MIST_PITCH_MM),
                y_mm - (r - 1 + jitter[1, r, c]) * np.float32(_MIST_PITCH_MM),
            )
            np.minimum(nearest, far / radius[r, c], out=nearest)
    depth, gain = rng.uniform(0.35, 0.7), rng.uniform(0.0, 0.15)
    rim = np.exp(-(((nearest - 0.85) / 0.22) ** 2))
    return np.asarray(1 - depth * rim + gain * (nearest < 0.5), np.float32)
