"""Opened florets on the panel, green or pale, with bits beside and on them and drops. Amounts are common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands.pieced.florets_light import lit_florets, shadow_on_panel
from vision.render.hands.pieced.growth import grown
from vision.render.hands.pieced.litter import bit, fibre, scatter
from vision.render.hands.pieced.panel import panel
from vision.render.hands.pieced.scene import Ground, Relief, Scene
from vision.render.hands.pieced.textures import pick, quarter
from vision.render.hands.pieced.wetness import drops

_BESIDE = ("bud", "plant", "strip", "soil", "sliver")
_ON_THEM = ("soil", "plant", "strip", "sliver", "grit")


def under(scene: Scene, rng: np.random.Generator) -> Ground:
    """Draw the florets and what lies beside and on them."""
    panel(scene, rng, (0.6, 0.8))
    curd = scene.kind == "cauliflower"
    pile = grown(scene.shape, curd, rng)
    colour, shade = lit_florets(pile, scene.lamp, curd, rng)
    cover = cv2.GaussianBlur((pile.height > 0).astype(np.float32), (0, 0), 0.7)
    light = scene.light
    light *= shadow_on_panel(pile.height, scene.lamp)[..., None]
    produce = quarter(np.asarray(cover, np.float32)) >= 0.05
    scatter(scene, rng, scene.count(rng, 15, 45), lambda: bit(scene.lamp, rng, pick(rng, _BESIDE)), ~produce)
    scatter(scene, rng, scene.count(rng, 2, 6), lambda: fibre(scene.lamp, rng), ~produce)
    light += (colour - light) * cover[..., None]
    on_them = scene.count(rng, 4, 16)
    scatter(scene, rng, on_them, lambda: bit(scene.lamp, rng, pick(rng, _ON_THEM), rng.uniform(0.3, 1.6)), produce)
    inside = cv2.erode(produce.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    welcome = inside | ((rng.random(produce.shape) < 0.12) & ~produce)
    return Ground("panel", np.asarray(welcome), produce, Relief(pile.height, shade))


def over(scene: Scene, rng: np.random.Generator) -> None:
    """Drops above the animals."""
    drops(scene, rng, scene.count(rng, 3, 22), 13, 0.5, 0.25)
