"""Larvae of the second family that light goes through almost untouched: of thrips, and newly hatched maggots of flies.

Thrips larvae 0.35-0.38 and 0.7-0.9 mm (Univ. Florida MREC / NC State); maggots of that size just hatched, without head capsule and
with a pointed front (Phoridae: progressivegardening.com). Length over width 4-6 and the rest of the look from memory.
"""

from __future__ import annotations

import numpy as np

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, form_and_length, log_even
from vision.render.second.filling import Filling, Marks, Organ, band, fill, skin
from vision.render.second.limbs import Rod, jointed, paint_rods, rod
from vision.render.second.matter import matter, passing
from vision.render.second.solids import Swelling, inside, swollen
from vision.render.second.spine import STEPS, joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk

LENGTHS_MM: dict[str, Range] = {"larva": (0.4, 0.9), "maggot": (0.4, 0.9)}
_SLIM: Range = (4.0, 6.0)


def draw_larva(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One nearly colourless larva; see Patch."""
    form, length = form_and_length(wish, rng, {"larva": 0.55, "maggot": 0.45}, LENGTHS_MM)
    width = length / rng.uniform(*_SLIM)
    radius = swollen(length, width, _swellings(rng, form), smooth=0.012)
    style = choice(rng, {"straight": 0.55, "C": 0.3, "S": 0.15})
    turns = joints(rng, style, rng.uniform(0, 0.5) if style == "straight" else rng.uniform(0.6, 2.4))
    body = trunk(length, radius, turns, direction(wish, rng))
    flat = float(rng.uniform(0.6, 0.95))
    odds, low, high = {"glass": 0.6, "milk": 0.2, "ivory": 0.2}, 0.52, 0.9
    if wish.heated and rng.random() < 0.7:
        odds, low, high = {"milk": 0.4, "ivory": 0.3, "straw": 0.3}, 0.4, 0.8
    main = matter(rng, odds, passing(rng, low, high, wild=wish.wild), flat * width, wild=wish.wild, hazy=(0.3, 0.8))
    rods = _legs(rng, body) if form == "larva" and wish.limbs is not False else []
    stage = stage_over(wish, [body.extent, *extents(rods)])
    solid = inside(stage, body.row)
    paint_rods(stage, rods, main.times(2.5), seen_through(stage, solid, 0.4))
    rings = solid.t * np.float32(12)
    fold = np.abs(np.cos(np.pi * rings)) ** 10 * band(solid.t, 0.15, 0.97)
    what = Filling(solid, flat, skin(rng, glassy=True, wild=wish.wild), [(1.0, main)])
    what.relief = np.float32(rng.uniform(0.02, 0.15)) * fold
    deep = np.float32(rng.uniform(0, 0.04))
    what.marks = [Marks(deep * fold, deep * fold, np.ones(3, np.float32))]
    what.organs = [_gut(stage, rng, body)]
    fill(stage, rng, what)
    _dots(stage, rng, body, form)
    return stage.patch(
        length_mm=length, width_mm=body.width_mm, curved=body.curved, form=form, gloss=float(rng.uniform(0.15, 0.6))
    )


def _swellings(rng: np.random.Generator, form: str) -> list[Swelling]:
    if form == "maggot":
        # Pointed at the mouth, blunt behind.
        return [
            (0.08, 0.08, rng.uniform(0.24, 0.36)),
            (0.32, 0.28, rng.uniform(0.7, 0.82)),
            (0.6, 0.38, 1.0),
            (0.88, 0.12, rng.uniform(0.7, 0.86)),
        ]
    return [
        (0.085, 0.085, rng.uniform(0.5, 0.64)),
        (0.25, 0.14, rng.uniform(0.76, 0.9)),
        (0.57, 0.35, 1.0),
        (0.87, 0.13, rng.uniform(0.3, 0.45)),
    ]


def _gut(stage: Stage, rng: np.random.Generator, body: Trunk) -> Organ:
    t = np.linspace(0, 1, STEPS)
    lumps = np.interp(t, np.linspace(0, 1, 9), rng.uniform(0.5, 1.3, 9))
    share = np.clip(rng.uniform(0.25, 0.55) * lumps * np.clip(np.minimum(t - 0.1, 0.95 - t) / 0.15, 0, 1), 0.02, 0.8)
    food = {"straw": 0.35, "amber": 0.25, "lime": 0.25, "frass": 0.15}
    stuff = matter(rng, food, rng.uniform(0.6, 0.97), 0.4 * body.width_mm)
    solid = inside(stage, body.vessel(0.1, rng.uniform(0.7, 0.95), share, rng.uniform(-0.12, 0.12)))
    return Organ(solid, stuff, 0.9, 0.0, 2.0)


def _dots(stage: Stage, rng: np.random.Generator, body: Trunk, form: str) -> None:
    """Red or dark eyes of a thrips; mouth hooks of a maggot, and the two breathing holes at its rear."""
    wide = body.width_mm
    places = [(0.06, -0.6), (0.06, 0.6)]
    size = wide * rng.uniform(0.07, 0.12)
    if form == "maggot":
        hook = [body.at(0.03), body.at(0.11, rng.uniform(-0.15, 0.15))]
        jaws = matter(rng, "soot", log_even(rng, 0.1, 0.5), 0.1 * wide)
        paint_rods(stage, [rod(hook, wide * 0.07, wide * 0.04)], jaws)
        places, size = [(0.965, -0.3), (0.965, 0.3)], wide * rng.uniform(0.04, 0.075)
    stuff = matter(rng, {"wine": 0.5, "soot": 0.5}, log_even(rng, 0.1, 0.6), 2 * size)
    for t, q in places:
        one = inside(stage, body.ball(t, q, size))
        stage.paint(one.at, one.cover, stuff.through(2 * one.half_mm), stuff.colour, body=True)


def _legs(rng: np.random.Generator, body: Trunk) -> list[Rod]:
    """Short pale legs and antennae."""
    found, wide = [], body.width_mm
    kept = rng.uniform(0.2, 1.0)
    for t, swing in ((0.2, 2.0), (0.27, 1.5), (0.35, 1.0)):
        for side in (-1, 1):
            if rng.random() < kept:
                aim = body.heading(t) + side * (swing + rng.normal(0, 0.25))
                links = [(wide * 0.4, aim, 0.3), (wide * 0.4, aim - side * rng.uniform(0, 0.9), 0.2)]
                found.append(rod(jointed(body.at(t, side * 0.6), links), 0.009, 0.006))
    for side in (-1, 1):
        aim = body.heading(0.02) + np.pi - side * rng.uniform(0.1, 0.6)
        found.append(rod(jointed(body.at(0.02, side * 0.45), [(body.length_mm * 0.12, aim, 0.0)]), 0.007, 0.004))
    return found
