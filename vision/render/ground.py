"""The bare ground of a shot in its light, and the florets that will lie on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.broccoli import ProduceLayer, draw_florets
from vision.render.camera import blurred
from vision.render.faults import panel_left_on
from vision.render.panel import lumps, panel_light, vessel, water_light
from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray


@dataclass(frozen=True)
class LitFromAbove:
    """What is lit from above: produce and lamps."""

    layer: ProduceLayer
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


def bare_ground(recipe: Recipe) -> GroundLight:
    """Panel, water on the panel, or white ground under lamps; the recipe must be filled."""
    if recipe.kind == "broccoli":
        return _under_lamps(recipe)
    light, inside = panel_light(recipe), None
    if recipe.kind == "water":
        light *= water_light(recipe)
        wall = vessel(recipe)
        if wall is not None:
            light *= wall[0][..., None]
            inside = wall[1]
    return GroundLight(light, inside, None)


def _under_lamps(recipe: Recipe) -> GroundLight:
    h, w = recipe.height_px, recipe.width_px
    rng = stream(recipe.seed, "lamp")
    a, tilt = np.deg2rad(known(recipe.light_angle_deg)), rng.uniform(0.4, 1.0)
    to_lamp = (float(np.cos(a) * tilt), float(np.sin(a) * tilt))
    layer = draw_florets(
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
    u = np.linspace(-0.5, 0.5, w, dtype=np.float32)[None, :] * np.float32(np.cos(a))
    v = np.linspace(-0.5, 0.5, h, dtype=np.float32)[:, None] * np.float32(np.sin(a))
    level = 1 + np.float32(known(recipe.light_gradient)) * (u + v - np.float32(0.35))
    lamp = level[..., None] * np.array(known(recipe.panel_colour), np.float32)
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
