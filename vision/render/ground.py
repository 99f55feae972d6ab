"""The bare ground of a shot in its light, and the produce that will lie on it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.render.broccoli import ProduceLayer, draw_florets
from vision.render.camera import blurred
from vision.render.cloth import draw_cloth
from vision.render.drawn_fields import EXPOSED
from vision.render.faults import panel_left_on
from vision.render.panel import lumps, panel_light, vessel, water_light
from vision.render.recipe import FLORETS, THIN, Recipe, known, stream
from vision.render.ruled import ruled_light
from vision.render.thin import draw_thin
from vision.render.tray import draw_tray
from vision.types import FloatArray

if TYPE_CHECKING:
    from vision.render.layers import Layers


_WHITE_METERED = 1 / EXPOSED["tray"]
"""A white tray is not metered up as a dark one is."""


@dataclass(frozen=True)
class LitFromAbove:
    """What is lit from above: produce and lamps."""

    layer: ProduceLayer
    """Flat and bare where no florets lie."""
    lamp: FloatArray
    """(h, w, 3) linear light falling on a level place in the open."""
    shade: FloatArray
    """(h, w): share of it that reaches a body lying there."""
    to_lamp: tuple[float, float]
    """Way to the lamp for a rise of 1."""


@dataclass(frozen=True)
class GroundLight:
    """The ground before anything lies on it."""

    light: FloatArray
    """(h, w, 3) linear, before exposure."""
    inside_mm: FloatArray | None
    """(h, w) distance inside the tray's wall; None where no wall is in the picture."""
    above: LitFromAbove | None
    """None where the light comes from below."""
    surface: str = "panel"
    """What the bare ground is: 'panel', 'water' or 'cloth'."""
    film: FloatArray | None = None
    """(h, w): 1 where water stands on the ground, 0 where it is dry; None where that is the same all over."""
    thin: Layers | None = None
    """Tissue that the panel shines through; None where there is none."""
    from_above: float = 0.0
    """Light that falls from above onto what is lit from below, relative to the panel."""


def bare_ground(recipe: Recipe) -> GroundLight:
    """Panel, with water, thin tissue or a cloth on it, white ground, cloth or tray under lamps; the recipe must be filled."""
    if recipe.kind in FLORETS:
        return _under_lamps(recipe)
    if recipe.kind == "cloth":
        return _cloth(recipe)
    if recipe.kind == "tray":
        return _tray(recipe)
    light, inside = panel_light(recipe), None
    lines = ruled_light(recipe)
    if lines is not None:
        light *= lines
    if recipe.kind == "water":
        light *= water_light(recipe)
        wall = vessel(recipe)
        if wall is not None:
            light *= wall[0][..., None]
            inside = wall[1]
    surface = "water" if recipe.kind == "water" else "panel"
    thin = draw_thin(recipe) if recipe.kind in THIN else None
    return GroundLight(light, inside, None, surface, thin=thin, from_above=known(recipe.room_light))


def _cloth(recipe: Recipe) -> GroundLight:
    """A cloth on the panel, under lamps, or both; the camera meters what it sees."""
    rng = stream(recipe.seed, "lamp")
    to_lamp = _way_to_lamp(recipe, rng)
    cloth = draw_cloth(recipe, to_lamp)
    lamp = _lamp(recipe)
    if known(recipe.cloth_lit) == "above":
        lamp *= np.float32(np.clip(0.15 / float(cloth.reflectance.mean()), 1.0, 2.5))
        above = LitFromAbove(_flat(recipe), lamp, np.ones(lamp.shape[:2], np.float32), to_lamp)
        return GroundLight(lamp * cloth.reflectance, None, above, "cloth")
    bright = float(np.percentile(cloth.transmission[::4, ::4], 99))
    gain = min(0.75 / float(cloth.transmission[::4, ::4].mean()), 1.1 / bright)
    room = float(rng.uniform(0.15, 0.6)) if recipe.cloth_lit == "both" else known(recipe.room_light)
    light = panel_light(recipe) * cloth.transmission * np.float32(gain)
    light += np.float32(room) * lamp * cloth.reflectance
    return GroundLight(light, None, None, "cloth", from_above=room)


def _tray(recipe: Recipe) -> GroundLight:
    to_lamp = _way_to_lamp(recipe, stream(recipe.seed, "lamp"))
    lamp = _lamp(recipe)
    tray = draw_tray(recipe, lamp, to_lamp)
    # The camera meters the dark plastic.
    least = _WHITE_METERED if recipe.tray_white else 1.0
    gain = np.float32(np.clip(0.045 / float(tray.light[::8, ::8].mean()), least, 2.0))
    lamp *= gain
    above = LitFromAbove(_flat(recipe), lamp, np.ones(lamp.shape[:2], np.float32), to_lamp)
    return GroundLight(tray.light * gain, None, above, film=tray.film)


def _flat(recipe: Recipe) -> ProduceLayer:
    """No produce at all."""
    h, w = recipe.height_px, recipe.width_px
    bare, open_ground = np.zeros((h, w), np.float32), np.ones((h, w), np.float32)
    return ProduceLayer(
        np.zeros((h, w, 3), np.float32), bare, open_ground, bare, open_ground, np.zeros((0, 3), np.float32)
    )


def _way_to_lamp(recipe: Recipe, rng: np.random.Generator) -> tuple[float, float]:
    a, tilt = np.deg2rad(known(recipe.light_angle_deg)), rng.uniform(0.4, 1.0)
    return float(np.cos(a) * tilt), float(np.sin(a) * tilt)


def _lamp(recipe: Recipe) -> FloatArray:
    """Light of the lamps on a level place, (h, w, 3): it falls off over the picture."""
    h, w, a = recipe.height_px, recipe.width_px, np.deg2rad(known(recipe.light_angle_deg))
    u = np.linspace(-0.5, 0.5, w, dtype=np.float32)[None, :] * np.float32(np.cos(a))
    v = np.linspace(-0.5, 0.5, h, dtype=np.float32)[:, None] * np.float32(np.sin(a))
    level = 1 + np.float32(known(recipe.light_gradient)) * (u + v - np.float32(0.35))
    return np.asarray(level[..., None] * np.array(known(recipe.panel_colour), np.float32), np.float32)


def _pieces_of(kind: str) -> Callable[..., ProduceLayer]:
    if kind == "broccoli":
        return draw_florets
    from vision.render.cauliflower import draw_cauliflower

    return draw_cauliflower


def _under_lamps(recipe: Recipe) -> GroundLight:
    h, w = recipe.height_px, recipe.width_px
    rng = stream(recipe.seed, "lamp")
    to_lamp = _way_to_lamp(recipe, rng)
    layer = _pieces_of(recipe.kind)(
        stream(recipe.seed, "produce"),
        h,
        w,
        recipe.px_per_mm,
        view=known(recipe.view),
        heated=known(recipe.heated),
        pieces=recipe.pieces,
        apart_mm=recipe.apart_mm,
        touching=recipe.touching,
        light_direction=to_lamp,
        specular=known(recipe.specular),
    )
    lamp = _lamp(recipe)
    texture = 1 + np.float32(known(recipe.grain)) * lumps(rng, h, w, max(0.06 * recipe.px_per_mm, 1.0))
    light = lamp * (layer.ground_shadow * texture * np.float32(known(recipe.white_ground)))[..., None]
    if rng.random() < 0.4:
        # The panel is left on, low.
        light += np.float32(rng.uniform(0.05, 0.3)) * panel_light(recipe)
    left_on = panel_left_on(recipe)
    if left_on is not None:
        light += left_on
    reached = np.where(layer.alpha > 0.5, layer.shade, layer.ground_shadow).astype(np.float32)
    shade = blurred(reached, 0.3 * recipe.px_per_mm)
    return GroundLight(light, None, LitFromAbove(layer, lamp, shade, to_lamp))
