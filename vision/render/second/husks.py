"""Cast skins of the second family: the empty shell of an aphid or a larva, split along the back, crumpled, nearly without substance.

0.6-2 mm, as the nymphs that leave them (from memory), as is the rest of the look.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, form_and_length, log_even
from vision.render.second.filling import band, ripple
from vision.render.second.limbs import Rod, jointed, paint_rods, rod
from vision.render.second.matter import Matter, matter
from vision.render.second.solids import Inside, inside, swollen
from vision.render.second.spine import joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, trunk
from vision.types import FloatArray

LENGTHS_MM: dict[str, Range] = {"aphid": (0.6, 2.0), "larva": (0.6, 2.0)}
_SLIM: dict[str, Range] = {"aphid": (1.7, 2.5), "larva": (3.0, 5.0)}


def draw_skin(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One cast skin; see Patch."""
    form, length = form_and_length(wish, rng, {"aphid": 0.75, "larva": 0.25}, LENGTHS_MM)
    width = length / rng.uniform(*_SLIM[form])
    if form == "aphid":
        shape = [
            (0.11, 0.11, 0.45),
            (0.33, 0.22, rng.uniform(0.6, 0.8)),
            (0.62, 0.32, 1.0),
            (0.88, 0.12, rng.uniform(0.3, 0.6)),
        ]
    else:
        shape = [(0.1, 0.1, 0.6), (0.4, 0.34, 1.0), (0.72, 0.28, rng.uniform(0.7, 0.95))]
    style = choice(rng, {"straight": 0.6, "C": 0.3, "S": 0.1})
    turns = joints(rng, style, rng.uniform(0, 0.5) if style == "straight" else rng.uniform(0.5, 1.8))
    radius = swollen(length, width, shape, smooth=rng.uniform(0.01, 0.02))
    body = trunk(length, radius, turns, direction(wish, rng))
    odds = {"milk": 0.5, "glass": 0.3, "straw": 0.2} if not wish.heated else {"milk": 0.35, "straw": 0.4, "tan": 0.25}
    sheet = rng.uniform(0.72, 0.95) if wish.wild else rng.uniform(0.86, 0.97)
    # The skin itself: how much of the light gets through one layer of it, seen straight.
    layer = matter(rng, odds, sheet, 1.0, wild=wish.wild, hazy=(0.4, 0.9))
    rods = _empty_legs(rng, body) if wish.limbs is not False else []
    stage = stage_over(wish, [body.extent, *extents(rods)])
    solid = inside(stage, body.row)
    paint_rods(stage, rods, layer.times(rng.uniform(60, 160)))
    _shell(stage, rng, body, solid, layer)
    return stage.patch(
        length_mm=length, width_mm=body.width_mm, curved=body.curved, form=form, gloss=float(rng.uniform(0.05, 0.5))
    )


def _shell(stage: Stage, rng: np.random.Generator, body: Trunk, solid: Inside, layer: Matter) -> None:
    """Two layers, upper and lower, each the thicker the more slanting light meets it; folds add layers, the split takes one away."""
    upper, lower = solid.round_angle(float(rng.normal(0, 0.5)))
    slant = np.minimum(1 / np.maximum(solid.dome, 0.08), 7)
    # The skin has fallen in: away from the rim it lies nearly flat.
    layers = 1 + (slant - 1) * np.float32(rng.uniform(0.5, 1.0))
    start, end = rng.uniform(0.02, 0.12), rng.uniform(0.35, 0.75)
    along = band(solid.t, start, end, 0.1)
    half_open = np.float32(rng.uniform(0.08, 0.45)) * along * (1 + np.float32(0.2) * ripple(rng, solid, upper, 8, 0.1))
    gap = np.clip((half_open - np.abs(upper)) / 0.08, 0, 1)
    lips = np.exp(-(((np.abs(upper) - half_open) / 0.07) ** 2)) * (along > 0.3) * np.float32(rng.uniform(0.8, 3.0))
    rings = np.abs(np.cos(np.pi * solid.t * rng.uniform(9, 12))) ** 16 * band(solid.t, 0.3, 0.95)
    depth = layers * (2 - gap) + lips + np.float32(rng.uniform(0.2, 1.5)) * rings + _folds(rng, body, solid)
    depth = depth * np.clip(1 + np.float32(0.15) * ripple(rng, solid, lower, 7, 6), 0.4, 2)
    through = layer.through(depth.astype(np.float32))
    colour = layer.colour * np.clip(0.8 + 0.05 * depth, 0.6, 1.15)[:, None]
    high = 2 * solid.half_mm * np.float32(rng.uniform(0.1, 0.4)) * (1 - np.float32(0.5) * gap)
    high = high * (1 + np.float32(0.12) * ripple(rng, solid, upper, 6, 5))
    stage.paint(solid.at, solid.cover, through, colour.astype(np.float32), body=True, high_mm=high.astype(np.float32))
    size = 0.02 * body.length_mm
    if rng.random() < 0.4:
        # The lenses of the eyes are cast too.
        for side in (-1, 1):
            one = inside(stage, body.ball(0.09, side * 0.8, size))
            eye = layer.times(8)
            stage.paint(one.at, one.cover, eye.through(np.ones_like(one.half_mm)), eye.colour * 0.4, body=True)


def _folds(rng: np.random.Generator, body: Trunk, solid: Inside) -> FloatArray:
    """Creases: lines across and along where the skin lies on itself."""
    total = np.zeros_like(solid.t)
    for _ in range(int(rng.integers(1, 7))):
        t0, q0, aim = rng.uniform(0.15, 0.9), rng.uniform(-0.6, 0.6), rng.uniform(0, np.pi)
        x = (solid.t - np.float32(t0)) * np.float32(body.length_mm)
        y = (solid.q - np.float32(q0)) * np.float32(body.width_mm / 2)
        u, v = x * np.cos(aim) + y * np.sin(aim), y * np.cos(aim) - x * np.sin(aim)
        v = v - np.float32(rng.normal(0, 0.8)) * u**2
        long, thick = body.width_mm * rng.uniform(0.15, 0.5), log_even(rng, 0.006, 0.02)
        total += np.float32(rng.uniform(0.8, 4.0)) * np.exp(-((u / long) ** 4) - (v / thick) ** 2)
    return total.astype(np.float32)


def _empty_legs(rng: np.random.Generator, body: Trunk) -> list[Rod]:
    """Threads that were legs and antennae, crossed and kinked."""
    found, kept = [], rng.uniform(0.1, 0.9)
    length = body.length_mm
    for t, swing in ((0.03, 2.8), (0.2, 2.2), (0.3, 1.6), (0.4, 0.8)):
        for side in (-1, 1):
            if rng.random() > kept:
                continue
            aim = body.heading(t) + side * (swing + rng.normal(0, 0.5))
            kinks: NDArray[np.float64] = rng.normal(0, 0.7, 3)
            links = [(length * rng.uniform(0.08, 0.22), aim + float(k), 0.2) for k in kinks]
            found.append(rod(jointed(body.at(t, side * 0.6), links), 0.011, 0.005))
    return found
