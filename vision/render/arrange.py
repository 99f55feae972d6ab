"""Puts marks, insects and bycatch into a shot's light, one after the other, and notes what was put where."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.render.bodies import draw_body
from vision.render.debris import DRAWN_BY
from vision.render.faults import shaded
from vision.render.ground import GroundLight
from vision.render.laying import (
    Window,
    afloat,
    hidden_behind,
    lay_above,
    lay_below,
    mean_lights,
    out_of_focus,
    partly,
    window,
)
from vision.render.patch import BodyWish, Patch
from vision.render.placing import (
    KINDS_OF_DEBRIS,
    Spot,
    beside,
    debris_counts,
    free_of,
    insect_counts,
    mark_counts,
    on_produce,
    somewhere,
)
from vision.render.recipe import INSECTS, Recipe, known, stream
from vision.render.truth import Sighting, unplaced
from vision.types import FloatArray

_CLEAR = ("bubble", "drop", "scratch")
"""Kinds one can see through, which hide nothing."""


@dataclass(frozen=True)
class Laid:
    """One thing as it lies in the picture."""

    sighting: Sighting
    window: Window
    body: FloatArray
    """Its coverage inside the window, without limbs, less what produce hides."""
    whole: float
    """Sum of the coverage of the whole body, in pixels."""


@dataclass
class Scene:
    """The picture's light so far, and what was laid into it."""

    recipe: Recipe
    ground: GroundLight
    light: FloatArray
    """(h, w, 3) linear, before exposure."""
    veil: FloatArray
    """(h, w): share of what lies below that bycatch and produce let be seen."""
    spots: list[Spot] = field(default_factory=list)
    marks: list[Laid] = field(default_factory=list)
    insects: list[Laid] = field(default_factory=list)
    debris: list[Laid] = field(default_factory=list)


def _put(
    scene: Scene, into: list[Laid], patch: Patch, x: int, y: int, *, kind: str, surface: str, height_mm: float
) -> None:
    """Lays one patch with its anchor at a pixel, `height_mm` above the panel, and notes it if any of it is in the picture."""
    recipe = scene.recipe
    blur = known(recipe.depth_blur_px_per_mm) * abs(height_mm - known(recipe.focus_height_mm))
    whole = float(patch.body.sum())
    patch = _shown(scene, patch, x, y)
    patch = out_of_focus(patch, blur)
    w = window(patch, x, y, scene.light.shape)
    if w is None or float(patch.body[w.patch].sum()) <= 0:
        return
    before = scene.light[w.scene].copy()
    above = scene.ground.above
    if above is None:
        lay_below(scene.light, patch, w, known(recipe.room_light))
    else:
        lamp = above.lamp[w.scene] * above.shade[w.scene][..., None]
        lay_above(scene.light, patch, w, lamp, above.to_lamp, recipe.px_per_mm)
    own, around = mean_lights(before, scene.light[w.scene], patch.body[w.patch], patch.cover[w.patch])
    exposure = np.float32(known(recipe.exposure))
    row = unplaced(kind, patch, insect=kind in INSECTS, surface=surface, heated=known(recipe.heated), defocus_px=blur)
    into.append(Laid(Sighting(row, own * exposure, around * exposure), w, patch.body[w.patch].copy(), whole))
    if into is scene.debris and kind not in _CLEAR:
        passes = patch.transmission[w.patch].mean(axis=2)
        scene.veil[w.scene] *= np.clip((passes - 0.2) / 0.4, 0, 1)


def _shown(scene: Scene, patch: Patch, x: int, y: int) -> Patch:
    """The patch without what produce hides. Nothing hides marks: produce is laid over them later."""
    w = window(patch, x, y, scene.light.shape)
    if scene.ground.above is None or w is None:
        return patch
    hidden = hidden_behind(patch, w, scene.ground.above.layer.depth_mm)
    return partly(patch, 1 - hidden)


def _sub_pixel(rng: np.random.Generator) -> tuple[float, float]:
    x, y = rng.uniform(-0.5, 0.5, 2)
    return float(x), float(y)


def lay_marks(scene: Scene) -> None:
    """What belongs to the panel, by its own seed; florets, if any, come to lie on top."""
    recipe = scene.recipe
    for kind, many in mark_counts(recipe).items():
        for i in range(many):
            rng = stream(known(recipe.panel_seed), "marks", KINDS_OF_DEBRIS.index(kind), i)
            x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
            patch = DRAWN_BY[kind](BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng)), rng)
            above = scene.ground.above
            if above is not None and above.layer.depth_mm[y, x] > 1.0:
                continue
            _put(scene, scene.marks, patch, x, y, kind=kind, surface="panel", height_mm=0.0)


def lay_produce(scene: Scene) -> None:
    """Florets over ground and marks."""
    above = scene.ground.above
    if above is None:
        return
    alpha = above.layer.alpha[..., None]
    scene.light *= 1 - alpha
    scene.light += alpha * shaded(above.layer.reflectance, above.layer.shade, scene.recipe) * above.lamp


def lay_insects(scene: Scene) -> None:
    """Insects, each from its own stream."""
    recipe = scene.recipe
    for number, kind in enumerate(INSECTS):
        for i in range(insect_counts(recipe)[kind]):
            rng = stream(recipe.seed, "insects", number, i)
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng), known(recipe.heated), recipe.wild)
            patch = draw_body(wish, rng)
            x, y = _place_for_insect(scene, patch, rng)
            surface, height = _lies_on(scene, x, y)
            if recipe.kind == "water" and rng.random() < 0.5:
                height = known(recipe.water_depth_mm)
                slope, reach = float(rng.normal(0, 0.2)), float(rng.uniform(0.08, 0.3))
                patch = afloat(patch, slope, reach * recipe.px_per_mm)
            _put(scene, scene.insects, patch, x, y, kind=kind, surface=surface, height_mm=height)
            scene.spots.append(Spot(x, y, patch.length_mm * recipe.px_per_mm / 2))


def _place_for_insect(scene: Scene, patch: Patch, rng: np.random.Generator) -> tuple[int, int]:
    """The first of a dozen places where a third of the body can be seen, else the best of them."""
    recipe, above = scene.recipe, scene.ground.above
    radius = patch.length_mm * recipe.px_per_mm / 2
    if scene.spots and above is None and rng.random() < 0.1:
        # Some cling to one another.
        x, y = beside(rng, scene.spots, radius)
        if 0 <= x < recipe.width_px and 0 <= y < recipe.height_px:
            return x, y
    best, best_share = (recipe.width_px // 2, recipe.height_px // 2), -1.0
    for _ in range(12):
        if above is None:
            x, y = somewhere(recipe, rng, radius, scene.ground.inside_mm)
        else:
            x, y = on_produce(recipe, rng, above.layer, radius)
        w = window(patch, x, y, scene.light.shape)
        if w is None:
            continue
        share = float(_shown(scene, patch, x, y).body[w.patch].sum()) / float(patch.body.sum())
        if not free_of(x, y, radius, scene.spots, 1.0):
            share *= 0.3
        if share > best_share:
            best, best_share = (x, y), share
        if share > 0.35:
            break
    return best


def _lies_on(scene: Scene, x: int, y: int) -> tuple[str, float]:
    """Surface at a pixel and its height above the panel in millimetres."""
    recipe, above = scene.recipe, scene.ground.above
    if above is None:
        return ("water" if recipe.kind == "water" else "panel"), 0.0
    x, y = int(np.clip(x, 0, recipe.width_px - 1)), int(np.clip(y, 0, recipe.height_px - 1))
    return ("produce" if above.layer.alpha[y, x] > 0.5 else "panel"), float(above.layer.depth_mm[y, x])


def lay_debris(scene: Scene) -> None:
    """Bycatch: mostly apart from the insects; some of it touches or covers one."""
    recipe, above = scene.recipe, scene.ground.above
    to_lamp = None if above is None else above.to_lamp
    for kind, many in debris_counts(recipe).items():
        for i in range(many):
            rng = stream(recipe.seed, "debris", KINDS_OF_DEBRIS.index(kind), i)
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng), known(recipe.heated), recipe.wild, to_lamp=to_lamp)
            patch = DRAWN_BY[kind](wish, rng)
            x, y = _place_for_debris(scene, patch, rng)
            surface, height = _lies_on(scene, x, y)
            if recipe.kind == "water" and (kind == "bubble" or rng.random() < 0.5):
                height = known(recipe.water_depth_mm) * float(rng.uniform(0.7, 1))
            _put(scene, scene.debris, patch, x, y, kind=kind, surface=surface, height_mm=height)


def _place_for_debris(scene: Scene, patch: Patch, rng: np.random.Generator) -> tuple[int, int]:
    recipe, inside = scene.recipe, scene.ground.inside_mm
    radius = patch.length_mm * recipe.px_per_mm / 2
    if scene.spots and rng.random() < (0.12 if recipe.wild else 0.05):
        return beside(rng, scene.spots, radius)
    x, y = 0, 0
    for _ in range(20):
        x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
        if free_of(x, y, radius, scene.spots, 0.9) and (inside is None or inside[y, x] > 0):
            break
    return x, y
