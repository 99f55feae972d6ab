"""Slit leaf sheaths laid flat on the panel, one over another, with bits and drops. Amounts are common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.leaves import lay_leaf
from vision.render.hands.pieced.litter import bit, dust, fibre, scatter
from vision.render.hands.pieced.panel import panel
from vision.render.hands.pieced.scene import Cover, Ground, Scene
from vision.render.hands.pieced.textures import pick
from vision.render.hands.pieced.wetness import drops

_BITS = ("plant", "strip", "sliver", "soil", "grit")


def under(scene: Scene, rng: np.random.Generator) -> Ground:
    """Draw the leaves and what lies on them."""
    panel(scene, rng, (0.7, 0.88))
    h, w = scene.shape
    produce: NDArray[np.bool_] = np.zeros((-(-h // 4), -(-w // 4)), np.bool_)
    angle = rng.uniform(0, np.pi)
    width = abs(w * np.sin(angle)) + abs(h * np.cos(angle))
    count = max(1, round(rng.uniform(3.5, 7.5) * width / 2100))
    slots = (np.arange(count) + 0.5 + rng.normal(0, 0.22, count)) / count - 0.5
    for slot in rng.permutation(slots):
        crossed = rng.uniform(-0.9, 0.9) if rng.random() < 0.15 else 0.0
        produce |= lay_leaf(scene, angle + rng.normal(0, 0.12) + crossed, slot * width, rng)
    scatter(scene, rng, scene.count(rng, 10, 45), lambda: bit(scene.lamp, rng, pick(rng, _BITS), _size(rng)))
    scatter(scene, rng, scene.count(rng, 2, 9), lambda: fibre(scene.lamp, rng))
    dust(scene, rng, scene.count(rng, 40, 80))
    inside = cv2.erode(produce.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return Ground("panel", np.asarray(inside), produce, cover=Cover("strip", 0.5, 0.9, 0.12))


def _size(rng: np.random.Generator) -> float:
    return float(np.clip(rng.lognormal(np.log(0.6), 0.5), 0.2, 3))


def over(scene: Scene, rng: np.random.Generator) -> None:
    """A fibre and drops above the animals."""
    scatter(scene, rng, 1, lambda: fibre(scene.lamp, rng))
    drops(scene, rng, scene.count(rng, 3, 25), 18, 0.6, 0.28)
