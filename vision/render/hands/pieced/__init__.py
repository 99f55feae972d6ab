"""A hand whose grounds are pieced together from grains of real textures, with bodies and look-alikes laid into them."""

from __future__ import annotations

from types import ModuleType

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.pieced import cloth, florets, scallion, water
from vision.render.hands.pieced.camera import encoded, exposed, taken
from vision.render.hands.pieced.laying import body_of, lay_animals
from vision.render.hands.pieced.scene import Laid, Lamp, Scene
from vision.render.hands.seen import HandDrawn, true_body
from vision.types import FloatArray

_GROUNDS: dict[str, tuple[ModuleType, float]] = {
    "water": (water, 0.65), "cloth": (cloth, 0.5), "broccoli": (florets, 0.3), "cauliflower": (florets, 0.3),
    "scallion": (scallion, 0.7),
}  # fmt: skip
"""What draws each kind of shot, and how often it is lit from below."""
_MARGIN_PX = 16
"""How much of the picture round a body its contrast is measured in."""


def draw(kind: str, seed: int, insects: int, width_px: int = 1600, height_px: int = 1200) -> HandDrawn:
    """A shot of water, cloth, broccoli, cauliflower or scallion with so many insects. The scene does not depend on them."""
    if kind not in _GROUNDS:
        raise ValueError(f"There is no kind of shot called {kind!r}; there are {', '.join(_GROUNDS)}.")
    ground, from_below = _GROUNDS[kind]
    first = 3 * list(_GROUNDS).index(kind)
    of_scene, of_animals, of_camera = (np.random.default_rng([seed, first + n]) for n in range(3))
    light = np.ones((height_px, width_px, 3), np.float32)
    scene = Scene(kind, _lamp(from_below, of_scene), light, [])
    lay_animals(scene, ground.under(scene, of_scene), insects, of_animals)
    ground.over(scene, of_scene)
    caught = exposed(scene.light, of_camera)
    truth = tuple(true_body(body_of(one), *_shown(one, caught), PX_PER_MM, one.surface) for one in scene.laid)
    return HandDrawn(taken(caught, of_camera), truth, PX_PER_MM)


def _lamp(from_below: float, rng: np.random.Generator) -> Lamp:
    below, way = bool(rng.random() < from_below), rng.uniform(0, 2 * np.pi)
    lit = rng.uniform(0.42, 0.62) if below else rng.uniform(0.85, 1.0)
    return Lamp(below, float(np.cos(way)), float(np.sin(way)), lit)


def _shown(one: Laid, caught: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What is seen of it (h, w) and the part of the picture round it (h, w, 3) sRGB 0..1: its contrast is measured there."""
    high, wide = one.seen.shape
    rows = slice(max(one.top_px - _MARGIN_PX, 0), one.top_px + high + _MARGIN_PX)
    columns = slice(max(one.left_px - _MARGIN_PX, 0), one.left_px + wide + _MARGIN_PX)
    part = encoded(caught[rows, columns]) / np.float32(255)
    mask = np.zeros(part.shape[:2], np.float32)
    top, left = one.top_px - rows.start, one.left_px - columns.start
    mask[top : top + high, left : left + wide] = one.seen
    return mask, np.asarray(part, np.float32)
