"""One drawn shot from its recipe: ground, marks, produce, insects, bycatch, then the camera."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.render.arrange import (
    Laid,
    Scene,
    lay_debris,
    lay_insects,
    lay_lent_bits,
    lay_marks,
    lay_produce,
    lay_trails,
)
from vision.render.camera import photograph
from vision.render.faults import film_glare, steamed
from vision.render.ground import bare_ground
from vision.render.panel import mirrored_lamp
from vision.render.prints import lay_print
from vision.render.recipe import Recipe, filled, known, stream
from vision.render.truth import Sighting, TrueBody, finished, moments
from vision.render.wet import lay_water
from vision.types import FloatArray


@dataclass(frozen=True)
class Drawn:
    """A drawn shot: `pixels` (h, w, 3) uint8 sRGB is the decoded `jpeg`; `recipe` has every field filled."""

    pixels: NDArray[np.uint8]
    jpeg: bytes
    truth: tuple[TrueBody, ...]
    px_per_mm: float
    lit_from: str
    """'below' or 'above'."""
    recipe: Recipe


def draw(recipe: Recipe) -> Drawn:
    """Draws the shot and says exactly what is in it. The same recipe gives the same bytes with the same libraries."""
    recipe = filled(recipe)
    ground = bare_ground(recipe)
    scene = Scene(recipe, ground, ground.light, np.ones((recipe.height_px, recipe.width_px), np.float32))
    lay_marks(scene)
    _lay_prints(scene)
    lay_produce(scene)
    lay_trails(scene)
    lay_insects(scene)
    lay_debris(scene)
    lay_lent_bits(scene)
    lay_water(scene)
    truth = _truth(scene)
    if recipe.kind == "water" and known(recipe.glare) > 0:
        scene.light += mirrored_lamp(recipe, known(recipe.glare))[..., None]
    _hide(scene)
    pixels, jpeg = photograph(scene.light, recipe, stream(recipe.seed, "noise"))
    return Drawn(pixels, jpeg, truth, recipe.px_per_mm, "above" if recipe.under_lamps else "below", recipe)


def _lay_prints(scene: Scene) -> None:
    above = scene.ground.above
    lamp = None if above is None else above.lamp * above.shade[..., None]
    for each in scene.recipe.prints:
        lay_print(scene.light, each, scene.recipe.px_per_mm, scene.ground.from_above, lamp)


def _hide(scene: Scene) -> None:
    """What comes between the scene and the lens."""
    glare = film_glare(scene.recipe)
    if glare is not None:
        scene.light += glare[..., None]
    above = scene.ground.above
    scene.light = steamed(scene.light, scene.recipe, None if above is None else above.layer.alpha)


def _truth(scene: Scene) -> tuple[TrueBody, ...]:
    """Insects first, then bycatch, then the panel's marks; places and visible shares once all that hides them is laid."""
    rows = []
    above = scene.ground.above
    for laid in (*scene.insects, *scene.trails):
        seen = laid.body * scene.veil[laid.window.scene]
        # An insect that bycatch hides wholly still lies where it lies.
        rows.append(_placed(scene.recipe, laid, seen if float(seen.sum()) > 1e-3 else laid.body, float(seen.sum())))
    rows += [_placed(scene.recipe, laid, laid.body, float(laid.body.sum())) for laid in scene.debris]
    for laid in scene.marks:
        seen = laid.body if above is None else laid.body * (1 - above.layer.alpha[laid.window.scene])
        if float(seen.sum()) > 1e-3:
            rows.append(_placed(scene.recipe, laid, seen, float(seen.sum())))
    return finished(rows)


def _placed(recipe: Recipe, laid: Laid, seen: FloatArray, total: float) -> Sighting:
    x, y, angle = moments(seen)
    x, y = x + laid.window.left_px, y + laid.window.top_px
    row = replace(
        laid.sighting.row,
        x_px=x,
        y_px=y,
        x_mm=x / recipe.px_per_mm,
        y_mm=y / recipe.px_per_mm,
        angle_deg=angle,
        visible=min(1.0, total / laid.whole),
    )
    return replace(laid.sighting, row=row)
