"""The evenly lit panel that everything lies on. Its unevenness is common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.pieced.scene import Scene
from vision.render.hands.pieced.textures import texture, wide_cloud


def panel(scene: Scene, rng: np.random.Generator, level: tuple[float, float]) -> None:
    """Fill the picture with the panel's light, of a level within a range, slightly warm or cool and slightly grainy."""
    tint = np.array([1 + rng.normal(0, 0.02), 1, 1 + rng.normal(0, 0.035)], np.float32) * np.float32(
        rng.uniform(*level)
    )
    grain = (
        1 + 0.008 * texture("moon", scene.shape, rng, rng.uniform(1.5, 3)) + 0.01 * wide_cloud(scene.shape, rng, 180)
    )
    scene.light[:] = grain[..., None] * tint
