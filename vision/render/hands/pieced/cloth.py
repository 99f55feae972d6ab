"""A wet white cloth, lit through or from above, with lint, bits and drops on it. Amounts are common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.pieced.litter import bit, dust, fibre, scatter
from vision.render.hands.pieced.scene import Cover, Ground, Scene
from vision.render.hands.pieced.textures import linear, pick, rise, wide_cloud
from vision.render.hands.pieced.weave import woven
from vision.render.hands.pieced.wetness import drops


def under(scene: Scene, rng: np.random.Generator) -> Ground:
    """Draw the cloth and what lies on it."""
    tint = np.array([1 + rng.normal(0, 0.015), 1, 1 + rng.normal(0, 0.03)], np.float32)
    scene.light[:] = np.clip(woven(scene.shape, scene.lamp, rng), 0.02, 1.1)[..., None] * tint
    if rng.random() < 0.5:  # a stain of green or brown
        stain = rise(0.9, 2.2, wide_cloud(scene.shape, rng, 300, 3)) * rng.uniform(0.08, 0.25)
        light = scene.light
        light *= 1 - stain[..., None] * (1 - linear(pick(rng, ((170, 185, 110), (190, 160, 110)))))
    scatter(scene, rng, scene.count(rng, 10, 40), lambda: fibre(scene.lamp, rng))
    scatter(scene, rng, scene.count(rng, 20, 70), lambda: bit(scene.lamp, rng))
    dust(scene, rng, scene.count(rng, 20, 60))
    return Ground("cloth", cover=Cover("strip", 0.6, 1.3, 0.1))


def over(scene: Scene, rng: np.random.Generator) -> None:
    """Lint and drops above the animals."""
    scatter(scene, rng, 3, lambda: fibre(scene.lamp, rng))
    drops(scene, rng, scene.count(rng, 2, 12), 24, 0.5, 0.35)
