"""Mites of the second family: ovals with eight short legs, pale with two dark spots, or of one colour.

Tetranychus urticae 0.25-0.5 mm, pale yellow or green with two dark side spots (pnwpest.org/potato); 0.4-0.5 by 0.2-0.3 mm
(dimensions.com, low grade). To 0.6 mm among others (from memory), as is the rest of the look.
"""

from __future__ import annotations

import numpy as np

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, log_even
from vision.render.second.filling import Filling, Organ, fill, skin
from vision.render.second.limbs import Rod, jointed, paint_rods, rod
from vision.render.second.matter import matter, passing
from vision.render.second.solids import inside, swollen
from vision.render.second.spine import joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk

LENGTHS_MM: Range = (0.25, 0.6)
_SLIM: Range = (1.45, 2.0)
_PASSES: dict[str, Range] = {
    "lemon": (0.45, 0.8),
    "lime": (0.4, 0.75),
    "milk": (0.5, 0.85),
    "amber": (0.25, 0.6),
    "rust": (0.12, 0.45),
    "chestnut": (0.1, 0.4),
}


def draw_mite(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One mite; see Patch."""
    length = float(rng.uniform(*LENGTHS_MM)) if wish.length_mm is None else float(wish.length_mm)
    width = length / rng.uniform(*_SLIM)
    broad = rng.uniform(0.5, 0.64)
    shape = [(0.06, 0.06, rng.uniform(0.18, 0.28)), (0.3, 0.22, rng.uniform(0.6, 0.8)), (broad, 0.96 - broad, 1.0)]
    shape.append((0.9, 0.1, rng.uniform(0.3, 0.55)))
    body = trunk(length, swollen(length, width, shape, smooth=0.03), joints(rng, "straight", 0.1), direction(wish, rng))
    odds = {"lemon": 0.25, "lime": 0.25, "milk": 0.2, "rust": 0.15, "amber": 0.1, "chestnut": 0.05}
    if wish.heated and rng.random() < 0.6:
        odds = {"amber": 0.4, "chestnut": 0.3, "milk": 0.3}
    name = choice(rng, odds)
    flat = float(rng.uniform(0.6, 0.85))
    main = matter(rng, name, passing(rng, *_PASSES[name], wild=wish.wild), flat * width, wild=wish.wild)
    limbs = wish.limbs is not False
    legs = _legs(rng, body, few=wish.heated) if limbs else []
    hairs = _hairs(rng, body) if limbs else []
    stage = stage_over(wish, [body.extent, *extents([*legs, *hairs])])
    solid = inside(stage, body.row)
    wanted = -np.log(rng.uniform(0.45, 0.85)) / 0.025
    leg = main.times(wanted / main.strength())
    paint_rods(stage, legs, leg, seen_through(stage, solid, 0.7))
    what = Filling(solid, flat, skin(rng, glassy=name in ("milk", "lemon", "lime"), wild=wish.wild), [(1.0, main)])
    spotted = name in ("lemon", "lime", "milk") or rng.random() < 0.3
    if spotted:
        what.organs = _spots(stage, rng, body)
    fill(stage, rng, what)
    paint_rods(stage, hairs, matter(rng, "milk", 0.6, 0.005))
    _eyes(stage, rng, body)
    return stage.patch(
        length_mm=length,
        width_mm=body.width_mm,
        curved=False,
        form="spotted" if spotted else "",
        gloss=float(rng.uniform(0.1, 0.5)),
    )


def _spots(stage: Stage, rng: np.random.Generator, body: Trunk) -> list[Organ]:
    """Food in the blind ends of the gut, one to three lumps a side."""
    found, wide = [], body.width_mm
    stuff = matter(rng, {"frass": 0.4, "soot": 0.4, "umber": 0.2}, log_even(rng, 0.03, 0.6), 0.3 * wide)
    for side in (-1, 1):
        for t in rng.uniform(0.35, 0.75, int(rng.integers(1, 4))):
            at = body.at(float(t), side * rng.uniform(0.4, 0.55))
            row = body.pip(
                at,
                wide * rng.uniform(0.25, 0.5),
                wide * rng.uniform(0.15, 0.28),
                body.heading(0.5) + rng.normal(0, 0.5),
            )
            found.append(Organ(inside(stage, row), stuff, 0.8, rng.uniform(0, 0.6), 1.8))
    return found


def _eyes(stage: Stage, rng: np.random.Generator, body: Trunk) -> None:
    size = body.length_mm * 0.02
    stuff = matter(rng, "wine", 0.25, 2 * size)
    for side in (-1, 1):
        one = inside(stage, body.ball(0.22, side * 0.7, size))
        stage.paint(one.at, one.cover, stuff.through(2 * one.half_mm), stuff.colour, body=True)


def _legs(rng: np.random.Generator, body: Trunk, *, few: bool) -> list[Rod]:
    """Two pairs forward, two pairs back."""
    kept = rng.uniform(0.3, 1.0) if few else rng.uniform(0.8, 1.0)
    curled, found = rng.random() < (0.4 if few else 0.15), []
    reach = body.length_mm * rng.uniform(0.38, 0.62)
    for t, swing in ((0.16, 2.6), (0.26, 2.1), (0.48, 1.1), (0.56, 0.7)):
        for side in (-1, 1):
            if rng.random() > kept:
                continue
            aim = swing + rng.normal(0, 0.15)
            inward = (0.5 if swing > 1.6 else -0.5) * (2.2 if curled else 1) * rng.uniform(0.4, 1.2)
            links = [
                (reach * share, body.heading(0.4) + side * (aim + inward * k / 3), 0.2)
                for k, share in enumerate((0.4, 0.35, 0.25))
            ]
            found.append(rod(jointed(body.at(t, side * 0.7), links), 0.012, 0.006))
    return found


def _hairs(rng: np.random.Generator, body: Trunk) -> list[Rod]:
    found = []
    for _ in range(int(rng.integers(0, 16))):
        t, side = rng.uniform(0.3, 0.98), float(rng.choice([-1, 1]))
        aim = body.heading(0.5) + side * rng.uniform(0.2, 1.4)
        found.append(
            rod(jointed(body.at(t, side * rng.uniform(0.5, 1)), [(body.length_mm * 0.16, aim, 0.2)]), 0.002, 0.001)
        )
    return found
