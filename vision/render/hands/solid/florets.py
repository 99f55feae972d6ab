"""Florets of broccoli or cauliflower on the panel: the relief lit by physical rules, and loose things beside and on it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng, blurred, how_many, shifted
from vision.render.hands.solid.florets_growth import grow
from vision.render.hands.solid.florets_light import Lamp, lit_relief
from vision.render.hands.solid.relief import empty_relief
from vision.render.hands.solid.scene import Produce, Scene, drops, panel, scatter, silt
from vision.render.hands.solid.stamps import Light
from vision.types import FloatArray

_BESIDE = {"grit": 0.5, "soil": 0.5, "flake": 2.0, "bud": 2.2, "sliver": 1.0, "fibre": 1.0, "bubble": 0.5, "drop": 0.8}
_UPON = {"grit": 0.7, "soil": 0.6, "flake": 1.4, "sliver": 1.2, "fibre": 1.2}


def broccoli(rng: Rng, height_px: int, width_px: int) -> Scene:
    """Broccoli on the panel."""
    return _florets(rng, height_px, width_px, False)


def cauliflower(rng: Rng, height_px: int, width_px: int) -> Scene:
    """Cauliflower on the panel."""
    return _florets(rng, height_px, width_px, True)


def _florets(rng: Rng, height_px: int, width_px: int, pale: bool) -> Scene:
    picture, tint = panel(rng, height_px, width_px, rng.uniform(0.66, 0.85))
    from_below = bool(rng.random() < 0.4)
    relief = empty_relief(height_px, width_px)
    grow(relief, rng, pale)
    there = relief.top >= 0
    light = Light(1.0, tint * 0.2, 0.05, 1.5) if from_below else Light(0.3, tint * 0.85, 0.35, 1.5)
    silt(picture, rng, how_many(rng, 500, 501, picture), 0.7)
    scatter(picture, rng, how_many(rng, 30, 60, picture), _BESIDE, light, ~there, 0.8)
    covered = there.astype(np.float32)
    if not from_below:
        picture *= (1 - 0.45 * shifted(blurred(covered, 18), 14, 18))[..., None]
    exposure = rng.uniform(0.95, 1.2) * (1.0 if pale else 1.3)
    _over(picture, lit_relief(rng, relief, Lamp(from_below, exposure, tint), pale), covered)
    above = tint * ((0.6 if from_below else 0.95) * exposure * 0.85)
    on_top = Light(0.1, above, 0.38, 3.2)
    drops(picture, rng, how_many(rng, 5, 40, picture), 0.15, 1.2, Light(1.0, tint * 0.7, 0.0, 1.0))
    scatter(picture, rng, how_many(rng, 12, 28, picture), _UPON, on_top, there, 0.6)
    return Scene(picture, "panel", light, Produce(there, on_top, relief.height_px))


def _over(picture: FloatArray, surface: FloatArray, covered: NDArray[Any]) -> None:
    """Blends the lit surface into the picture, its border half a pixel soft."""
    share = blurred(covered, 0.6)[..., None]
    picture += (surface - picture) * share
