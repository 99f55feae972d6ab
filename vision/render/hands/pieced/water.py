"""Shallow water over a lit panel: ripples, mirrored lamps, a vessel's wall, much that floats. Amounts are common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.pieced.litter import bit, dust, fibre, scatter
from vision.render.hands.pieced.panel import panel
from vision.render.hands.pieced.scene import Cover, Ground, Scene
from vision.render.hands.pieced.textures import rise, wide_cloud
from vision.render.hands.pieced.wetness import bubble
from vision.types import FloatArray


def under(scene: Scene, rng: np.random.Generator) -> Ground:
    """Draw what lies below and beside the animals."""
    panel(scene, rng, (0.62, 0.85))
    ripple = wide_cloud(scene.shape, rng, rng.uniform(60, 220), 3)
    light = scene.light
    light *= (1 + rng.uniform(0.005, 0.02) * ripple)[..., None]
    y, x = np.mgrid[0 : scene.shape[0], 0 : scene.shape[1]].astype(np.float32)
    if rng.random() < 0.4:
        _wall(scene, x, y, ripple, rng)
    for _ in range(int(rng.integers(0, 4))):
        _mirrored_lamp(scene, x, y, ripple, rng)
    for _ in range(int(rng.integers(0, 3))):
        _dried_rim(scene, x, y, ripple, rng)
    dust(scene, rng, scene.count(rng, 60, 260))
    of_bits, of_fibres, of_bubbles = rng.dirichlet([16, 4, 4]) * scene.count(rng, 75, 165)
    scatter(scene, rng, int(of_fibres), lambda: fibre(scene.lamp, rng))
    scatter(scene, rng, int(of_bits), lambda: bit(scene.lamp, rng))
    scatter(scene, rng, int(of_bubbles), lambda: bubble(scene.lamp, rng))
    for _ in range(scene.count(rng, 0, 5)):
        _raft(scene, rng)
    return Ground("water", cover=Cover("plant", 0.5, 1.2, 0.12))


def over(scene: Scene, rng: np.random.Generator) -> None:
    """Draw what floats above the animals."""
    scatter(scene, rng, 3, lambda: fibre(scene.lamp, rng))
    scatter(scene, rng, scene.count(rng, 1, 10), lambda: bubble(scene.lamp, rng))


def _line(distance: FloatArray, wide: float) -> FloatArray:
    return np.asarray(np.exp(-((distance / wide) ** 2)), np.float32)


def _wall(scene: Scene, x: FloatArray, y: FloatArray, ripple: FloatArray, rng: np.random.Generator) -> None:
    """The wall of a round vessel: darker outside, dark and bright lines along it."""
    h, w = scene.shape
    radius, way, off = rng.uniform(0.65, 1.6) * w, rng.uniform(0, 2 * np.pi), rng.uniform(0.28, 0.43) * w
    middle_x, middle_y = w / 2 - np.cos(way) * (radius - off), h / 2 - np.sin(way) * (radius - off)
    out = (np.hypot(x - middle_x, y - middle_y) - radius + 2 * ripple).astype(np.float32)
    light = scene.light
    light *= (1 - rng.uniform(0.12, 0.4) * rise(-3, 6, out))[..., None]
    dark = 0.3 * _line(out, 5) + 0.18 * _line(out - rng.uniform(25, 60), 9) + 0.12 * _line(out + 14, 10)
    light *= (1 - dark)[..., None]
    light += 0.22 * _line(out - 14, 5)[..., None]


def _mirrored_lamp(scene: Scene, x: FloatArray, y: FloatArray, ripple: FloatArray, rng: np.random.Generator) -> None:
    """A lamp or window in the water's surface, its edges bent by ripples."""
    (at_x, at_y), way = scene.point(rng), rng.uniform(0, np.pi)
    c, s = np.float32(np.cos(way)), np.float32(np.sin(way))
    along = (x - at_x) * c + (y - at_y) * s + 14 * ripple
    across = (y - at_y) * c - (x - at_x) * s + 14 * np.roll(ripple, 300, axis=1)
    out = np.maximum(np.abs(along) / rng.uniform(60, 260), np.abs(across) / rng.uniform(20, 60)).astype(np.float32)
    light = scene.light
    light += (np.float32(rng.uniform(0.05, 0.2)) * rise(1.15, 0.8, out))[..., None]


def _dried_rim(scene: Scene, x: FloatArray, y: FloatArray, ripple: FloatArray, rng: np.random.Generator) -> None:
    """The ring that a drop left on the vessel's floor."""
    at_x, at_y = scene.point(rng)
    out = (np.hypot(x - at_x, y - at_y) - rng.uniform(25, 130) * (1 + 0.12 * ripple)).astype(np.float32)
    light = scene.light
    light *= (1 - 0.22 * _line(out, 2.5) + 0.12 * _line(out + 5, 3))[..., None]


def _raft(scene: Scene, rng: np.random.Generator) -> None:
    """Small bubbles that cling together."""
    x, y = scene.point(rng)
    for _ in range(int(rng.integers(3, 14))):
        dx, dy = rng.normal(0, 22, 2)
        scene.lay(bubble(scene.lamp, rng, rng.uniform(4, 14)), int(x + dx), int(y + dy))
