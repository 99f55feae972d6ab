"""A hand that draws solids and height fields and lights them by physical rules.

Bodies are spheres, ellipsoids and rods whose thickness dims the light that passes; cloth, florets and backs of insects are height
fields under a lamp. This hand is for judging, never for learning: nothing may be fitted to its drawings.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.seen import HandDrawn, true_body
from vision.render.hands.solid.camera import encoded, photographed, through_lens
from vision.render.hands.solid.cloth import cloth
from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.florets import broccoli, cauliflower
from vision.render.hands.solid.placing import place
from vision.render.hands.solid.scallion import scallion
from vision.render.hands.solid.scene import Scene
from vision.render.hands.solid.water import water

_SCENES: dict[str, Callable[[Rng, int, int], Scene]] = {
    "water": water,
    "cloth": cloth,
    "broccoli": broccoli,
    "cauliflower": cauliflower,
    "scallion": scallion,
}


def draw(kind: str, seed: int, insects: int, width_px: int = 1600, height_px: int = 1200) -> HandDrawn:
    """A shot of `kind` ('water', 'cloth', 'broccoli', 'cauliflower', 'scallion') with so many insects in it.

    The scene, the insects and the camera each have their own stream: what insects there are changes nothing else.
    """
    if kind not in _SCENES:
        raise ValueError(f"This hand draws {', '.join(_SCENES)}; it does not draw {kind!r}.")
    scene_rng, insect_rng, camera_rng = (np.random.default_rng([seed, part]) for part in range(3))
    scene = _SCENES[kind](scene_rng, height_px, width_px)
    placed = place(insect_rng, scene, insects)
    light = through_lens(camera_rng, scene)
    seen = encoded(light)
    truth = tuple(true_body(*placed.seen(number), seen, PX_PER_MM, it.surface) for number, it in enumerate(placed.laid))
    return HandDrawn(photographed(camera_rng, light), truth, PX_PER_MM)
