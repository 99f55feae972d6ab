"""Thin plant tissue that the panel shines through: laid over the ground's light, with the trails of miners inside it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vision.render.laying import out_of_focus
from vision.render.patch import Patch
from vision.render.placing import trail_count
from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

if TYPE_CHECKING:
    from vision.render.layers import Layers

_SCATTER_MM = (0.02, 0.12)
"""How far tissue over a body spreads its outline (common practice, no source)."""


def draw_thin(recipe: Recipe) -> Layers:
    """The tissue of a filled recipe. Deterministic in the recipe."""
    from vision.render.layers import draw_layers

    return draw_layers(
        stream(recipe.seed, "produce"),
        recipe.height_px,
        recipe.width_px,
        recipe.px_per_mm,
        recipe.kind,
        heated=known(recipe.heated),
        wild=recipe.wild,
        trails=trail_count(recipe),
    )


def shine_through(light: FloatArray, layers: Layers) -> None:
    """The light (h, w, 3) from below through the tissue, in place."""
    light *= 1 + layers.alpha[..., None] * (layers.transmission - 1)


def between_layers(patch: Patch, px_per_mm: float, rng: np.random.Generator) -> Patch:
    """The body under or between layers: what it takes of the light is the same, but it is softened and shows no colour of its own."""
    soft = out_of_focus(patch, float(rng.uniform(*_SCATTER_MM)) * px_per_mm)
    return replace(soft, reflectance=np.zeros_like(soft.reflectance))
