"""Shots whose bodies, bits and drops are overlapping translucent layers, drawn large as smooth outlines and reduced by area."""

from __future__ import annotations

import math

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.layered import camera, crumbs, threads
from vision.render.hands.layered.cloth import lay_cloth
from vision.render.hands.layered.colour import Rng
from vision.render.hands.layered.florets import lay_florets
from vision.render.hands.layered.leaves import lay_leaves
from vision.render.hands.layered.placing import Lair, lay_insects, seen_in
from vision.render.hands.layered.sheet import Light
from vision.render.hands.layered.water import lay_water, panel
from vision.render.hands.seen import HandDrawn, true_body
from vision.types import FloatArray

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
_LIT_FROM_BELOW = {"water": 0.75, "cloth": 0.5, "broccoli": 0.4, "cauliflower": 0.4, "scallion": 0.7}
_FLORETS = ("broccoli", "cauliflower")
_SLANT_OVER_FLORETS_RAD = (-2.27, 0.25)
_OFTEN = {
    "water": {"aphid": 38, "thrips": 17, "caterpillar": 13, "larva": 10, "mite": 9, "gnat": 6, "egg": 3, "skin": 4},
    "cloth": {"aphid": 38, "thrips": 17, "caterpillar": 14, "larva": 9, "mite": 10, "gnat": 5, "egg": 4, "skin": 3},
    "broccoli": {"aphid": 45, "thrips": 14, "caterpillar": 20, "larva": 8, "mite": 5, "gnat": 3, "egg": 3, "skin": 2},
    "cauliflower": {
        "aphid": 42,
        "thrips": 18,
        "caterpillar": 20,
        "larva": 5,
        "mite": 7,
        "gnat": 4,
        "egg": 3,
        "skin": 1,
    },
    "scallion": {"larva": 38, "thrips": 42, "mite": 20},
}
_HIDING = {
    "water": (crumbs.plant, crumbs.plant, threads.fibre, crumbs.film, crumbs.bud),
    "cloth": (threads.fibre, threads.fibre, crumbs.plant, threads.stalk),
    "broccoli": (crumbs.plant,),
    "cauliflower": (crumbs.plant,),
    "scallion": (crumbs.film, crumbs.plant, crumbs.plant, threads.fibre),
}


def draw(kind: str, seed: int, insects: int, width_px: int = 1600, height_px: int = 1200) -> HandDrawn:
    """A shot of one of KINDS with so many insects. Scene, insects and camera come from streams of their own.

    Raises ValueError for another kind.
    """
    if kind not in KINDS:
        raise ValueError(f"No such scene: {kind!r}. There are {', '.join(KINDS)}.")
    of_scene, of_insects, of_camera = (np.random.default_rng([seed, stream]) for stream in range(3))
    light = _any_light(of_scene, kind)
    scene = panel(of_scene, width_px, height_px)
    lair = _laid_ground(of_scene, scene, light, kind)
    laid = lay_insects(of_insects, scene, light, lair, insects)
    sensor = camera.seen(of_camera, scene)
    clean = camera.tones()[camera.coded(sensor)]
    seen = (seen_in(one, lair, clean) for one in laid)
    rows = tuple(true_body(body, mask, near, PX_PER_MM, surface) for body, mask, near, surface in seen)
    return HandDrawn(pixels=camera.taken(of_camera, sensor), truth=rows, px_per_mm=PX_PER_MM)


def _any_light(rng: Rng, kind: str) -> Light:
    """From below or above; over florets from the upper left, else from anywhere."""
    below = bool(rng.random() < _LIT_FROM_BELOW[kind])
    way = rng.normal(*_SLANT_OVER_FLORETS_RAD) if kind in _FLORETS else rng.uniform(0, 2 * np.pi)
    slant = 0.45 if below and kind not in _FLORETS else 0.85
    return Light(below, slant * math.cos(way), slant * math.sin(way), wet=kind in ("water", "scallion"))


def _laid_ground(rng: Rng, scene: FloatArray, light: Light, kind: str) -> Lair:
    """Turns the bare panel into the scene, and says what insects find there."""
    often, hiding = _OFTEN[kind], _HIDING[kind]
    if kind == "water":
        lay_water(rng, scene, light)
        return Lair(often, hiding, "water")
    if kind == "cloth":
        lay_cloth(rng, scene, light)
        return Lair(often, hiding, "cloth")
    if kind == "scallion":
        return Lair(often, hiding, "panel", lay_leaves(rng, scene, light))
    if kind == "cauliflower":
        scene *= np.float32(rng.uniform(0.7, 1.0))
    cover, buds = lay_florets(rng, scene, light, white=kind == "cauliflower")
    return Lair(often, hiding, "panel", cover, buds)
