"""An animal made visible: its body with light and translucence, and its limbs, as a sprite."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands.pieced.animals import Animal
from vision.render.hands.pieced.limbs import limbs_of
from vision.render.hands.pieced.markings import base_of, marks, seams, with_eyes
from vision.render.hands.pieced.scene import Lamp, Shadow, Sprite, sprite_of
from vision.render.hands.pieced.spine import Across, spine_of
from vision.render.hands.pieced.textures import Plane, linear, pick, rise, texture, tinge
from vision.types import FloatArray

_GRAINS = ("immunohistochemistry", "cell", "retina", "moon", "chelsea", "gravel")


@dataclass(frozen=True)
class _Skin:
    """A body's look: `light` (h, w, 3) it sends, `opacity` (h, w), and what comes `through` it (h, w, 3)."""

    light: FloatArray
    opacity: FloatArray
    through: FloatArray


def _zoom(length_mm: float) -> int:
    """How much finer a body is drawn: small ones need it, for large ones it only costs."""
    return next((zoom for above, zoom in ((2.2, 2), (0.9, 3)) if length_mm > above), 4)


def embodied(animal: Animal, lamp: Lamp, px_per_mm: float, rng: np.random.Generator) -> Sprite:
    """The animal as a sprite; its mean point lies within half a pixel of the middle."""
    zoom = _zoom(animal.length_mm)
    per_mm = px_per_mm * zoom
    spine = spine_of(animal, rng)
    body_mm = np.abs(spine.points_mm).max(axis=0) + animal.width_mm / 2 * max(animal.flanks)
    wide, high = (2 * int(np.ceil(half * px_per_mm + 7)) + 1 for half in body_mm + animal.reach_mm)
    shape = (high * zoom, wide * zoom)
    middle = np.array([wide, high]) * zoom / 2 - 0.5 + rng.uniform(-0.5, 0.5, 2) * zoom
    left, top = np.maximum(np.floor(middle - body_mm * per_mm) - 2, 0).astype(int).tolist()
    right, bottom = np.ceil(middle + body_mm * per_mm).astype(int).tolist()
    box = slice(top, bottom + 3), slice(left, right + 3)
    size = min(bottom + 3, shape[0]) - top, min(right + 3, shape[1]) - left
    on = spine.across(size, middle - [left, top], per_mm, animal.flanks)
    skin = _skin(animal, on, lamp, zoom, rng)
    body = np.zeros(shape, np.float32)
    body[box] = on.out < 1
    limbs = limbs_of(animal, spine, middle, per_mm, shape, rng) * (1 - body)
    light, opacity, through = _with_limbs(animal, skin, lamp, shape, box, body)
    depth = (rng.uniform(0.05, 0.16) if lamp.below else rng.uniform(0.22, 0.42)) * (0.5 if animal.kind == "skin" else 1)
    shadow = Shadow(depth, min(5, 1 + animal.width_mm * 3), 1.2 + animal.width_mm * 1.5)
    return sprite_of(lamp, light, body + limbs, opacity, through, body, zoom, shadow)


def _with_limbs(
    animal: Animal, skin: _Skin, lamp: Lamp, shape: tuple[int, int], box: tuple[slice, slice], body: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Light (h, w, 3), opacity (h, w) and what comes through (h, w, 3): the body's inside `box`, the limbs' all round it."""
    limb = linear(np.clip(animal.limb_colour, 8, 245))
    light = np.full((*shape, 3), limb * np.float32(lamp.lit * 0.9), np.float32)
    through = np.full((*shape, 3), (0.4 + 0.6 * limb) * 0.8, np.float32)
    opacity = np.full(shape, 0.85, np.float32)
    inside = body[box] > 0
    for whole, own in ((light, skin.light), (through, skin.through), (opacity, skin.opacity)):
        whole[box][inside] = own[inside]
    return light, opacity, through


def _skin(animal: Animal, on: Across, lamp: Lamp, zoom: int, rng: np.random.Generator) -> _Skin:
    shape = on.along.shape
    coarse = zoom * rng.uniform(0.5, 1.1) * max(1.0, animal.width_mm / 0.6)
    grain = texture(pick(rng, _GRAINS), shape, rng, coarse, animal.heading_rad)
    seam = seams(animal, on)
    value = np.clip((1 + 0.15 * grain) * marks(animal, on, seam, rng), 0.15, 1.8)[..., None]
    base = np.clip(base_of(animal, on, rng) * value * (1 + 0.5 * tinge(shape, rng)), 0.004, 1)
    base = with_eyes(animal, base, on, rng)
    raised = np.sqrt(np.clip(1 - on.out**2, 0, 1))
    opacity = np.clip(animal.opacity * (0.75 + 0.25 * raised) + 0.1 * grain * (1 - animal.opacity), 0.05, 1)
    if lamp.below and animal.opacity <= 0.85:
        opacity = opacity * 0.75
    dense = rng.uniform(1.6, 3.0) * (0.5 + animal.opacity) * 0.8
    rim = rise(0.62, 1.0, on.out) * (on.out < 1)
    through = np.exp(-dense * (0.35 + 0.65 * raised)[..., None] * (1 - base))
    through = through * (1 - rng.uniform(0.3, 0.55) * rim)[..., None]
    if animal.kind == "skin":
        opacity, through = _husk(rim, seam, zoom, rng)
    light = _lit(animal, base, on, raised, lamp, rng)
    return _Skin(light, np.asarray(opacity, np.float32), np.asarray(through, np.float32))


def _husk(rim: FloatArray, seam: FloatArray, zoom: int, rng: np.random.Generator) -> tuple[Plane, Plane]:
    """Opacity and what comes through of an empty skin: clear but for its rim, seams and folds."""
    fold = rise(0.8, 1.6, texture("cell", rim.shape, rng, zoom * 0.8))
    clear = (1 - 0.5 * rim - 0.18 * seam - 0.3 * fold)[..., None] * np.array([0.98, 0.95, 0.88], np.float32)
    return 0.18 + 0.35 * (rim * 0.5 + 0.3 * fold), np.clip(clear, 0, 1)


def _lit(
    animal: Animal, base: FloatArray, on: Across, raised: FloatArray, lamp: Lamp, rng: np.random.Generator
) -> FloatArray:
    """The body's light: shaded as something round, with a glint."""
    facing = np.clip(0.5 * (on.nx * lamp.x + on.ny * lamp.y) + 0.8 * raised, 0, 1.4)
    shade = 0.5 + 0.5 * facing if lamp.below else 0.45 + 0.6 * facing
    glint = np.exp(-((on.nx - 0.42 * lamp.x) ** 2 + (on.ny - 0.42 * lamp.y) ** 2) / 0.03) * rng.uniform(0.05, 0.3)
    glint = glint * (2 if animal.kind == "egg" else 1) * (0.4 if lamp.below else 1)
    lit = min(0.95, lamp.lit * (1.6 if animal.kind == "larva" else 1))
    return np.asarray(base * (shade * lit)[..., None] + 0.6 * glint[..., None], np.float32)
