"""One drawn shot from its recipe: ground, marks, produce, insects, bycatch, then the camera."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.render.bodies import draw_body
from vision.render.broccoli import ProduceLayer, draw_florets
from vision.render.camera import blurred, photograph
from vision.render.debris import DRAWN_BY
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
from vision.render.panel import lumps, panel_light, vessel, water_light
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
from vision.render.recipe import INSECTS, Recipe, filled, stream
from vision.render.truth import Sighting, TrueBody, finished, moments
from vision.types import FloatArray

_CLEAR = ("bubble", "drop", "scratch")
"""Kinds one can see through, which hide nothing."""


@dataclass(frozen=True)
class Drawn:
    """A drawn shot: `pixels` (h, w, 3) uint8 sRGB is the decoded `jpeg`; `recipe` has every field filled."""

    pixels: NDArray[np.uint8]
    jpeg: bytes
    truth: tuple[TrueBody, ...]
    px_per_mm: float
    lit_from: str
    recipe: Recipe


@dataclass
class _Scene:
    """The picture's light so far, and what was laid into it."""

    recipe: Recipe
    light: FloatArray
    """(h, w, 3) linear, before exposure."""
    lamp: FloatArray | None
    """(h, w, 3) light falling from above; None where it comes from below."""
    shade: FloatArray | None
    layer: ProduceLayer | None
    inside_mm: FloatArray | None
    to_lamp: tuple[float, float]
    veil: FloatArray
    """(h, w): share of what lies below that bycatch lets be seen."""
    spots: list[Spot]
    laid: list[tuple[Sighting, Window, FloatArray, float]]


def draw(recipe: Recipe) -> Drawn:
    """Draws the shot and says exactly what is in it. The same recipe gives the same bytes with the same libraries."""
    recipe = filled(recipe)
    scene = _ground(recipe)
    _lay_marks(scene)
    if scene.layer is not None:
        _lay_produce(scene, scene.layer)
    _lay_insects(scene)
    _lay_debris(scene)
    truth = _truth(scene)
    pixels, jpeg = photograph(scene.light, recipe, stream(recipe.seed, "noise"))
    return Drawn(pixels, jpeg, truth, recipe.px_per_mm, "above" if recipe.kind == "broccoli" else "below", recipe)


def _ground(recipe: Recipe) -> _Scene:
    """The bare ground in its light."""
    h, w = recipe.height_px, recipe.width_px
    veil = np.ones((h, w), np.float32)
    if recipe.kind != "broccoli":
        light, inside = panel_light(recipe), None
        if recipe.kind == "water":
            light *= water_light(recipe)
            wall = vessel(recipe)
            if wall is not None:
                light *= wall[0][..., None]
                inside = wall[1]
        return _Scene(recipe, light, None, None, None, inside, (0.0, 0.0), veil, [], [])
    assert recipe.light_angle_deg is not None and recipe.white_ground is not None and recipe.view is not None
    rng = stream(recipe.seed, "lamp")
    a, tilt = np.deg2rad(recipe.light_angle_deg), rng.uniform(0.4, 1.0)
    to_lamp = (float(np.cos(a) * tilt), float(np.sin(a) * tilt))
    layer = draw_florets(
        stream(recipe.seed, "produce"),
        h,
        w,
        recipe.px_per_mm,
        view=recipe.view,
        heated=bool(recipe.heated),
        pieces=recipe.pieces,
        light_direction=to_lamp,
        specular=recipe.specular or 0.0,
    )
    u = np.linspace(-0.5, 0.5, w, dtype=np.float32)[None, :] * np.float32(np.cos(a))
    v = np.linspace(-0.5, 0.5, h, dtype=np.float32)[:, None] * np.float32(np.sin(a))
    lamp = 1 + np.float32(recipe.light_gradient or 0.0) * (u + v - 0.35)
    lamp = lamp[..., None] * np.array(recipe.panel_colour, np.float32)
    texture = 1 + np.float32(recipe.grain or 0.0) * lumps(rng, h, w, max(0.06 * recipe.px_per_mm, 1.0))
    ground = lamp * (layer.ground_shadow * texture * np.float32(recipe.white_ground))[..., None]
    if rng.random() < 0.4:
        # The panel is left on, low.
        ground += np.float32(rng.uniform(0.05, 0.3)) * panel_light(recipe)
    shade = blurred(np.where(layer.alpha > 0.5, layer.shade, layer.ground_shadow).astype(np.float32), 0.3 * recipe.px_per_mm)
    return _Scene(recipe, ground, lamp, shade, layer, None, to_lamp, veil, [], [])


def _lay_produce(scene: _Scene, layer: ProduceLayer) -> None:
    assert scene.lamp is not None
    alpha = layer.alpha[..., None]
    scene.light *= 1 - alpha
    scene.light += alpha * layer.reflectance * scene.lamp
    # Marks on the panel lie under the produce.
    scene.veil *= 1 - layer.alpha
    scene.laid[:] = [(s, w, _seen(scene, body, w), whole) for s, w, body, whole in scene.laid]
    scene.veil[:] = 1


def _seen(scene: _Scene, body: FloatArray, w: Window) -> FloatArray:
    return body * scene.veil[w.scene]


def _put(
    scene: _Scene, kind: str, patch: Patch, x: int, y: int, *, insect: bool, surface: str, defocus_px: float, whole: float
) -> bool:
    """Lays one patch at a pixel and notes it; False if none of it is in the picture."""
    w = window(patch, x, y, scene.light.shape)
    if w is None or float(patch.body[w.patch].sum()) <= 0:
        return False
    before = scene.light[w.scene].copy()
    if scene.lamp is None:
        lay_below(scene.light, patch, w, scene.recipe.room_light or 0.0)
    else:
        assert scene.shade is not None
        lamp = scene.lamp[w.scene] * scene.shade[w.scene][..., None]
        lay_above(scene.light, patch, w, lamp, scene.to_lamp, scene.recipe.px_per_mm)
    own, around = mean_lights(before, scene.light[w.scene], patch.body[w.patch], patch.cover[w.patch])
    exposure = np.float32(scene.recipe.exposure or 1.0)
    row = TrueBody(
        kind=kind,
        form=patch.form,
        insect=insect,
        x_px=0.0,
        y_px=0.0,
        x_mm=0.0,
        y_mm=0.0,
        length_mm=patch.length_mm,
        width_mm=patch.width_mm,
        angle_deg=0.0,
        curved=patch.curved,
        surface=surface,
        tone="",
        heated=bool(scene.recipe.heated),
        visible=0.0,
        delta_e=0.0,
        defocus_px=round(defocus_px, 3),
    )
    scene.laid.append((Sighting(row, own * exposure, around * exposure), w, patch.body[w.patch].copy(), whole))
    return True


def _depth_blur(recipe: Recipe, height_mm: float) -> float:
    return float(recipe.depth_blur_px_per_mm or 0.0) * abs(height_mm - float(recipe.focus_height_mm or 0.0))


def _lay_marks(scene: _Scene) -> None:
    """What belongs to the panel, by its own seed."""
    recipe = scene.recipe
    assert recipe.panel_seed is not None
    for kind, many in mark_counts(recipe).items():
        for i in range(many):
            rng = stream(recipe.panel_seed, "marks", KINDS_OF_DEBRIS.index(kind), i)
            x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng))
            patch = DRAWN_BY[kind](wish, rng)
            blur = _depth_blur(recipe, 0.0)
            whole = float(patch.body.sum())
            _put(scene, kind, out_of_focus(patch, blur), x, y, insect=False, surface="panel", defocus_px=blur, whole=whole)


def _sub_pixel(rng: np.random.Generator) -> tuple[float, float]:
    x, y = rng.uniform(-0.5, 0.5, 2)
    return float(x), float(y)


def _lay_insects(scene: _Scene) -> None:
    recipe = scene.recipe
    for number, kind in enumerate(INSECTS):
        for i in range(insect_counts(recipe)[kind]):
            rng = stream(recipe.seed, "insects", number, i)
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng), bool(recipe.heated), recipe.wild)
            patch = draw_body(wish, rng)
            _place_insect(scene, kind, patch, rng)


def _place_insect(scene: _Scene, kind: str, patch: Patch, rng: np.random.Generator) -> None:
    """Finds a place where enough of it can be seen, and lays it there."""
    recipe = scene.recipe
    whole = float(patch.body.sum())
    radius = patch.length_mm * recipe.px_per_mm / 2
    closeness = 0.5 if rng.random() < 0.1 else 1.0
    best: tuple[float, int, int, FloatArray | None] = (-1.0, 0, 0, None)
    for _ in range(12):
        shown = None
        if scene.layer is None:
            x, y = somewhere(recipe, rng, radius, scene.inside_mm)
        else:
            x, y = on_produce(recipe, rng, scene.layer, radius)
        w = window(patch, x, y, scene.light.shape)
        if w is None or not free_of(x, y, radius, scene.spots, closeness):
            continue
        if scene.layer is not None:
            shown = 1 - hidden_behind(patch, w, scene.layer.depth_mm)
        share = float((patch.body if shown is None else patch.body * shown)[w.patch].sum()) / whole
        if share > best[0]:
            best = (share, x, y, shown)
        if share > 0.35:
            break
    _, x, y, shown = best
    if best[0] < 0:
        x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
    surface = {"water": "water", "blank": "panel"}.get(recipe.kind) or "panel"
    height = 0.0
    if scene.layer is not None:
        height = float(scene.layer.depth_mm[y, x])
        if scene.layer.alpha[y, x] > 0.5:
            surface = "produce"
    elif recipe.kind == "water":
        floats = rng.random() < 0.5
        height = float(recipe.water_depth_mm or 0.0) if floats else float(rng.uniform(0, 0.6))
        if floats and rng.random() < 0.6:
            patch = afloat(patch, float(rng.normal(0, 0.25)), float(rng.uniform(0.08, 0.3)) * recipe.px_per_mm)
    if shown is not None:
        patch = partly(patch, shown.astype(np.float32))
    blur = _depth_blur(recipe, height)
    _put(scene, kind, out_of_focus(patch, blur), x, y, insect=True, surface=surface, defocus_px=blur, whole=whole)
    scene.spots.append(Spot(x, y, radius))


def _lay_debris(scene: _Scene) -> None:
    recipe = scene.recipe
    insects = list(scene.spots)
    for kind, many in debris_counts(recipe).items():
        for i in range(many):
            rng = stream(recipe.seed, "debris", KINDS_OF_DEBRIS.index(kind), i)
            wish = BodyWish(kind, recipe.px_per_mm, _sub_pixel(rng), bool(recipe.heated), recipe.wild)
            patch = DRAWN_BY[kind](wish, rng)
            _place_debris(scene, kind, patch, insects, rng)


def _place_debris(scene: _Scene, kind: str, patch: Patch, insects: list[Spot], rng: np.random.Generator) -> None:
    """Mostly apart from the insects; some touch or cover one."""
    recipe = scene.recipe
    radius = patch.length_mm * recipe.px_per_mm / 2
    touching = bool(insects) and rng.random() < (0.12 if recipe.wild else 0.05)
    for _ in range(20):
        x, y = int(rng.uniform(0, recipe.width_px)), int(rng.uniform(0, recipe.height_px))
        if touching:
            x, y = beside(rng, insects, radius)
            break
        apart = free_of(x, y, radius, insects, 0.9)
        if apart and (scene.inside_mm is None or scene.inside_mm[y, x] > 0):
            break
    surface, height = "panel" if recipe.kind == "blank" else "water", 0.0
    whole = float(patch.body.sum())
    cx, cy = int(np.clip(x, 0, recipe.width_px - 1)), int(np.clip(y, 0, recipe.height_px - 1))
    if scene.layer is not None:
        height = float(scene.layer.depth_mm[cy, cx])
        surface = "produce" if scene.layer.alpha[cy, cx] > 0.5 else "panel"
        w = window(patch, x, y, scene.light.shape)
        if w is not None:
            patch = partly(patch, (1 - hidden_behind(patch, w, scene.layer.depth_mm)).astype(np.float32))
    elif recipe.kind == "water":
        floats = kind == "bubble" or rng.random() < 0.5
        height = float(recipe.water_depth_mm or 0.0) * (float(rng.uniform(0.7, 1)) if floats else 0.0)
    blur = _depth_blur(recipe, height)
    patch = out_of_focus(patch, blur)
    if _put(scene, kind, patch, x, y, insect=False, surface=surface, defocus_px=blur, whole=whole) and kind not in _CLEAR:
        w = scene.laid[-1][1]
        passes = patch.transmission[w.patch].mean(axis=2)
        scene.veil[w.scene] *= np.clip((passes - 0.2) / 0.4, 0, 1)


def _truth(scene: _Scene) -> tuple[TrueBody, ...]:
    """Places and visible shares, once all that can hide something is laid."""
    done = []
    for sighting, w, body, whole in scene.laid:
        own = sighting.row.insect
        seen = _seen(scene, body, w) if own else body
        total = float(seen.sum())
        if total <= 1e-3:
            if not own:
                continue
            seen, total = body, 0.0
        x, y, angle = moments(seen)
        x, y = x + w.left_px, y + w.top_px
        row = replace(
            sighting.row,
            x_px=x,
            y_px=y,
            x_mm=x / scene.recipe.px_per_mm,
            y_mm=y / scene.recipe.px_per_mm,
            angle_deg=angle,
            visible=min(1.0, total / whole),
        )
        done.append(replace(sighting, row=row))
    return finished(done)
