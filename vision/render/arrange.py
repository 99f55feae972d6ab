"""Puts marks, insects and bycatch into a shot's light, one after the other, and notes what was put where."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from vision.render.bodies import draw_body
from vision.render.broccoli import ProduceLayer
from vision.render.camera import blurred
from vision.render.debris import DRAWN_BY
from vision.render.faults import shaded
from vision.render.ground import GroundLight
from vision.render.hands.lenders import LENDERS, lent_bit
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
    lent_count,
    mark_counts,
    on_produce,
    somewhere,
)
from vision.render.recipe import FLORETS, INSECTS, TRAIL, Recipe, known, stream
from vision.render.thin import between_layers, shine_through
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
    trails: list[Laid] = field(default_factory=list)
    insects: list[Laid] = field(default_factory=list)
    debris: list[Laid] = field(default_factory=list)

    @property
    def florets(self) -> ProduceLayer | None:
        """The florets, where there are any."""
        above = self.ground.above
        return above.layer if above is not None and self.recipe.kind in FLORETS else None


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
        lay_below(scene.light, patch, w, scene.ground.from_above)
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
    if scene.florets is None or w is None:
        return patch
    hidden = hidden_behind(patch, w, scene.florets.depth_mm)
    return partly(patch, 1 - hidden)


def lay_trails(scene: Scene) -> None:
    """Notes the trails of miners that the tissue has brought with it."""
    recipe, thin = scene.recipe, scene.ground.thin
    margin, exposure = math.ceil(0.6 * recipe.px_per_mm), np.float32(known(recipe.exposure))
    for trail in () if thin is None else thin.trails:
        high, wide = trail.body.shape
        left, top = max(trail.left_px - margin, 0), max(trail.top_px - margin, 0)
        place = slice(top, trail.top_px + high + margin), slice(left, trail.left_px + wide + margin)
        light = scene.light[place]
        rows, columns = light.shape[:2]
        body = np.zeros((rows, columns), np.float32)
        body[trail.top_px - top :, trail.left_px - left :][:high, :wide] = trail.body
        near = blurred(body, 0.1 * recipe.px_per_mm) * 10
        own, around = mean_lights(light, light, body, near)
        row = unplaced(TRAIL, trail, insect=True, surface="produce", heated=known(recipe.heated), defocus_px=0.0)
        here = Window(place, (slice(0, rows), slice(0, columns)), left, top)
        scene.trails.append(Laid(Sighting(row, own * exposure, around * exposure), here, body, float(body.sum())))


def _sub_pixel(rng: np.random.Generator) -> tuple[float, float]:
    x, y = rng.uniform(-0.5, 0.5, 2)
    return float(x), float(y)


def lay_marks(scene: Scene) -> None:
    """What belongs to the panel, by its own seed; florets, if any, come to lie on top."""
    recipe, florets = scene.recipe, scene.florets
    if recipe.kind == "cloth":
        return
    for kind, many in mark_counts(recipe).items():
        for i in range(many):
            rng = stream(known(recipe.panel_seed), "marks", KINDS_OF_DEBRIS.index(kind), i)
            x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
            patch = DRAWN_BY[kind](BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng)), rng)
            if florets is not None and florets.depth_mm[y, x] > 1.0:
                continue
            if recipe.kind == "tray" and kind == "scratch":
                # On dark plastic a scratch is paler than what it was cut into.
                cut = np.float32(rng.uniform(0.1, 0.3)) * (patch.transmission < 1)
                patch = replace(patch, reflectance=cut.astype(np.float32))
            _put(scene, scene.marks, patch, x, y, kind=kind, surface="panel", height_mm=0.0)


def lay_produce(scene: Scene) -> None:
    """Florets or thin tissue over ground and marks."""
    above = scene.ground.above
    if scene.ground.thin is not None:
        shine_through(scene.light, scene.ground.thin)
    if above is None or scene.florets is None:
        return
    alpha = above.layer.alpha[..., None]
    scene.light *= 1 - alpha
    scene.light += alpha * shaded(above.layer.reflectance, above.layer.shade, scene.recipe) * above.lamp


def lay_insects(scene: Scene) -> None:
    """Insects, each from its own stream."""
    recipe, above = scene.recipe, scene.ground.above
    to_lamp = None if above is None else above.to_lamp
    for number, kind in enumerate(INSECTS):
        for i in range(insect_counts(recipe)[kind]):
            rng = stream(recipe.seed, "insects", number, i)
            wish = BodyWish(
                kind, recipe.px_per_mm, _sub_pixel(rng), known(recipe.heated), recipe.wild, to_lamp=to_lamp,
                stout=recipe.stout,
            )  # fmt: skip
            if recipe.kind == "cloth":
                wish = replace(wish, angle_deg=_along_thread(recipe, stream(recipe.seed, "insects", number, i, 1)))
            patch = draw_body(wish, rng)
            x, y = _place_for_insect(scene, patch, rng)
            radius = patch.length_mm * recipe.px_per_mm / 2
            if recipe.bodies != "first":
                # The other family's body comes to lie where the first's would, so that only the body differs.
                patch = draw_body(wish, stream(recipe.seed, "insects", number, i, 2), recipe.bodies)
            surface, height = _lies_on(scene, x, y)
            if recipe.kind == "water" and rng.random() < 0.5:
                height = known(recipe.water_depth_mm)
                slope, reach = float(rng.normal(0, 0.2)), float(rng.uniform(0.08, 0.3))
                patch = afloat(patch, slope, reach * recipe.px_per_mm)
            if recipe.kind == "cloth" and rng.random() < 0.5:
                # It lies in a little pool, through which the cloth is lighter or darker.
                patch = afloat(patch, float(rng.normal(-0.03, 0.08)), float(rng.uniform(0.08, 0.25)) * recipe.px_per_mm)
            if scene.ground.thin is not None and surface == "produce" and rng.random() < 0.5:
                patch = between_layers(patch, recipe.px_per_mm, rng)
            _put(scene, scene.insects, patch, x, y, kind=kind, surface=surface, height_mm=height)
            scene.spots.append(Spot(x, y, radius))


def _along_thread(recipe: Recipe, rng: np.random.Generator) -> float | None:
    """Two in five on a cloth lie along a thread, in the furrow between two."""
    if rng.random() >= 0.4:
        return None
    warp = known(recipe.weave_angle_deg) + float(rng.choice([0.0, 180.0]))
    return warp + float(rng.choice([0.0, 90.0])) + float(rng.normal(0, 4))


def _place_for_insect(scene: Scene, patch: Patch, rng: np.random.Generator) -> tuple[int, int]:
    """The first of a dozen places where a third of the body can be seen, else the best of them."""
    recipe, florets = scene.recipe, scene.florets
    radius = patch.length_mm * recipe.px_per_mm / 2
    if scene.spots and florets is None and rng.random() < 0.1:
        # Some cling to one another.
        x, y = beside(rng, scene.spots, radius)
        if 0 <= x < recipe.width_px and 0 <= y < recipe.height_px:
            return x, y
    best, best_share = (recipe.width_px // 2, recipe.height_px // 2), -1.0
    for _ in range(12):
        if florets is None:
            x, y = somewhere(recipe, rng, radius, scene.ground.inside_mm)
        else:
            x, y = on_produce(recipe, rng, florets, radius)
        w = window(patch, x, y, scene.light.shape)
        if w is None:
            continue
        share = float(_shown(scene, patch, x, y).body[w.patch].sum()) / float(patch.body.sum())
        if not free_of(x, y, radius, scene.spots, 1.0):
            share *= 0.3
        if scene.ground.thin is not None:
            # Most are on the tissue, few beside it.
            share *= 0.2 + 0.8 * float(scene.ground.thin.alpha[y, x])
        if share > best_share:
            best, best_share = (x, y), share
        if share > 0.35:
            break
    return best


def _lies_on(scene: Scene, x: int, y: int) -> tuple[str, float]:
    """Surface at a pixel and its height above the panel in millimetres."""
    recipe, ground, florets = scene.recipe, scene.ground, scene.florets
    x, y = int(np.clip(x, 0, recipe.width_px - 1)), int(np.clip(y, 0, recipe.height_px - 1))
    if florets is not None:
        return ("produce" if florets.alpha[y, x] > 0.5 else "panel"), float(florets.depth_mm[y, x])
    if ground.thin is not None and ground.thin.alpha[y, x] > 0.5:
        return "produce", 0.0
    if ground.film is not None and ground.film[y, x] > 0.5:
        return "water", 0.0
    return ground.surface, 0.0


def lay_debris(scene: Scene) -> None:
    """Bycatch: mostly apart from the insects; some of it touches or covers one."""
    recipe, above = scene.recipe, scene.ground.above
    to_lamp = None if above is None else above.to_lamp
    for kind, many in debris_counts(recipe).items():
        for i in range(many):
            rng = stream(recipe.seed, "debris", KINDS_OF_DEBRIS.index(kind), i)
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng), known(recipe.heated), recipe.wild, to_lamp=to_lamp)
            patch = DRAWN_BY[kind](wish, rng)
            if kind == "drop" and recipe.kind in ("cloth", "tray") and above is not None:
                patch = _clear_drop(patch)
            x, y = _place_for_debris(scene, patch, rng)
            surface, height = _lies_on(scene, x, y)
            if recipe.kind == "water" and (kind == "bubble" or rng.random() < 0.5):
                height = known(recipe.water_depth_mm) * float(rng.uniform(0.7, 1))
            _put(scene, scene.debris, patch, x, y, kind=kind, surface=surface, height_mm=height)


def lay_lent_bits(scene: Scene) -> None:
    """Bycatch of other hands, each from its own stream."""
    recipe, above = scene.recipe, scene.ground.above
    to_lamp = None if above is None else above.to_lamp
    for i in range(lent_count(recipe)):
        rng = stream(recipe.seed, "lent", i)
        wish = BodyWish("", recipe.px_per_mm, wild=recipe.wild, to_lamp=to_lamp)
        kind, patch = lent_bit(wish, rng, recipe.bodies if recipe.bodies in LENDERS else "lent")
        x, y = _place_for_debris(scene, patch, rng)
        surface, height = _lies_on(scene, x, y)
        _put(scene, scene.debris, patch, x, y, kind=kind, surface=surface, height_mm=height)


def _clear_drop(patch: Patch) -> Patch:
    """A drop where the ground may be dark: it throws back light only in its glint, and a little at its steep rim."""
    rim = patch.body * (1 - blurred(patch.body, 1.5)) * 0.7
    return replace(patch, reflectance=patch.reflectance * np.clip(patch.cover + rim, 0, 1)[..., None])


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
