"""All conditions of a shot, asked one after the other; to add one, ask it here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.conditions.bubbles import find_bubbles
from vision.conditions.coarse import coarse_view
from vision.conditions.depth import find_depth
from vision.conditions.drops import find_drops
from vision.conditions.exposure import find_exposure, panel_over_produce
from vision.conditions.flicker import find_flicker
from vision.conditions.glare import find_glare
from vision.conditions.haze import find_haze
from vision.conditions.numbers import Conditions
from vision.conditions.rings import find_rings
from vision.conditions.shade import find_shade
from vision.conditions.touching import find_touching
from vision.conditions.wall import find_wall
from vision.hidden import hidden_mask
from vision.measure import Measured
from vision.pieces import PieceMap
from vision.types import Ground, Light, LitFrom, MaskArray, Setup, Shot, Surfaces


@dataclass(frozen=True)
class Found:
    """The conditions, where they hide something: (h, w) bool, working pixels, and where the pieces lie."""

    conditions: Conditions
    hidden: MaskArray
    where: PieceMap


def find_conditions(
    shot: Shot,
    light: Light,
    surfaces: Surfaces,
    measured: Sequence[Measured],
    lit_from: LitFrom,
    ground: Ground | None,
    setup: Setup,
) -> Found:
    """Everything that is wrong with a shot as a whole, and what of it could therefore not be searched.

    `ground` is what was said of it, None where nobody said.
    """
    scale = None if setup.px_per_mm is None else setup.px_per_mm / light.step
    view = coarse_view(light, surfaces, scale, setup.slip_outlines_px)
    glare = find_glare(view)
    exposure = find_exposure(view, glare.mask)
    haze = find_haze(view, setup.black_over_white)
    shade = find_shade(view, light, surfaces, lit_from)
    touching = find_touching(surfaces, light.step, ground, scale)
    rings = find_rings(light.density, scale)
    bubbles = find_bubbles(rings, surfaces, ground, lit_from)
    drops = find_drops(rings, surfaces, ground, lit_from, scale)
    wall = find_wall(light, _without_print(light, surfaces, setup), ground, lit_from, scale, bubbles.mask)
    size = (shot.height_px, shot.width_px)
    depth = find_depth(measured, setup.sharpness, rings, ground, lit_from, size, scale, light.step)
    bands = find_flicker(light, surfaces, setup.even_light)
    conditions = Conditions(
        too_bright_stops=exposure.too_bright_stops,
        too_dark_stops=exposure.too_dark_stops,
        outshines=panel_over_produce(view, lit_from),
        glare=glare.share,
        glare_at=glare.where,
        smeared=haze.smeared,
        steam=haze.steam,
        shade=shade.of_produce,
        touching=tuple((contact.first, contact.second) for contact in touching.contacts),
        drops=drops.count if drops.severity > 0 else 0,
        bubbles=bubbles.share,
        deep=depth.deep,
        soft_side=depth.soft_side,
        wall=wall.share if wall.severity > 0 else 0.0,
        mist=wall.mist,
        flicker=bands.amplitude if bands else 0.0,
    )
    return Found(conditions, view.enlarged(shade.mask | glare.mask) | wall.mask, touching.where)


def _without_print(light: Light, surfaces: Surfaces, setup: Setup) -> Surfaces:
    """The surfaces with what is printed for us as ground: it is no tray's wall."""
    printed = hidden_mask(setup.slip_outlines_px, light.clipped.shape, light.step)
    return (
        surfaces
        if printed is None
        else Surfaces(surfaces.ground | printed, surfaces.produce, surfaces.outside & ~printed)
    )
