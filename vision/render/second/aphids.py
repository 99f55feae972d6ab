"""Aphids of the second family: nymphs, wingless and winged ones, and mummies.

Wingless adults 1.6-2.8 mm (Brevicoryne brassicae, INRAE Encyclop'Aphid) and 1.5-2.0 mm (Myzus persicae, Univ. Florida Entomology),
winged ones to 2.1 mm; the youngest nymphs 0.5-0.6 mm, length over width 1.5-2 (from memory). The rest by eye, from memory.
"""

from __future__ import annotations

import numpy as np

from vision.render.patch import BodyWish, Patch
from vision.render.second import aphid_limbs
from vision.render.second.draws import Range, direction, form_and_length, log_even
from vision.render.second.filling import Filling, Marks, Organ, band, fill, ripple, skin, spot
from vision.render.second.limbs import paint_rods, paint_wing
from vision.render.second.matter import Matter, matter, passing
from vision.render.second.solids import Inside, Swelling, inside, swollen
from vision.render.second.spine import joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk
from vision.types import FloatArray

LENGTHS_MM: dict[str, Range] = {
    "nymph": (0.6, 1.5),
    "adult": (1.4, 2.5),
    "winged": (1.4, 2.1),
    "mummy": (1.2, 2.2),
}
_SLIM: dict[str, Range] = {"nymph": (1.6, 2.1), "adult": (1.5, 2.0), "winged": (1.75, 2.2), "mummy": (1.15, 1.45)}
_FORMS = {"adult": 0.44, "nymph": 0.36, "winged": 0.1, "mummy": 0.1}
_FRESH = {"lime": 0.34, "lemon": 0.14, "moss": 0.16, "salmon": 0.1, "umber": 0.08, "soot": 0.1, "wax": 0.08}
_COOKED = {"chestnut": 0.26, "umber": 0.2, "tan": 0.2, "straw": 0.16, "amber": 0.08, "moss": 0.05, "soot": 0.05}
_PASSES: dict[str, Range] = {
    "lime": (0.12, 0.5),
    "lemon": (0.2, 0.6),
    "moss": (0.05, 0.3),
    "salmon": (0.12, 0.45),
    "umber": (0.02, 0.15),
    "soot": (0.006, 0.06),
    "wax": (0.03, 0.18),
    "chestnut": (0.05, 0.3),
    "tan": (0.15, 0.5),
    "straw": (0.25, 0.62),
    "amber": (0.12, 0.45),
}


def draw_aphid(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One aphid; see Patch."""
    form, length = form_and_length(wish, rng, _FORMS, LENGTHS_MM)
    width = length / rng.uniform(*_SLIM[form])
    radius = swollen(length, width, _swellings(rng, form), smooth=rng.uniform(0.015, 0.035))
    turns = joints(rng, "straight", rng.uniform(0, 0.5 if form != "mummy" else 0.1))
    body = trunk(length, radius, turns, direction(wish, rng))
    flat = float(rng.uniform(0.6, 0.85)) if form != "mummy" else float(rng.uniform(0.85, 1.0))
    main, dark = _matters(rng, form, wish, flat * width, length)
    limbs = aphid_limbs.grow(rng, body, form, few=wish.heated, wanted=wish.limbs is not False)
    horns = aphid_limbs.horns(rng, body, form)
    stage = stage_over(
        wish, [body.extent, *extents([*limbs.pale, *limbs.dark, *horns])] + [w.row.extent for w in limbs.wings]
    )
    solid = inside(stage, body.row)
    shows = seen_through(stage, solid, rng.uniform(0.6, 0.95))
    leg = aphid_limbs.leg_matter(rng, main, length)
    paint_rods(stage, limbs.pale, leg, shows)
    paint_rods(stage, limbs.dark, dark, shows)
    _body(stage, rng, wish, body, solid, form, flat, main, dark)
    paint_rods(stage, horns, dark if rng.random() < 0.7 else leg)
    _eyes(stage, rng, body, form)
    for one in limbs.wings:
        paint_wing(stage, rng, one, log_even(rng, 0.02, 0.16), aphid_limbs.veins(rng, one), dark)
    waxy = form != "mummy" and rng.random() < 0.2
    gloss = rng.uniform(0.0, 0.08) if waxy else rng.uniform(0.08, 0.5)
    return stage.patch(length_mm=length, width_mm=body.width_mm, curved=body.curved, form=form, gloss=float(gloss))


def _swellings(rng: np.random.Generator, form: str) -> list[Swelling]:
    """Head, thorax, abdomen and tail as ellipsoids."""
    if form == "mummy":
        return [(0.12, 0.12, rng.uniform(0.4, 0.6)), (0.54, 0.44, 1.0), (0.7, 0.3, rng.uniform(0.5, 0.8))]
    tail = rng.uniform(0.03, 0.06)
    ends: list[Swelling] = [(1 - tail, tail, rng.uniform(0.1, 0.18))]
    if form == "winged":
        return [(0.1, 0.1, 0.5), (0.29, 0.15, rng.uniform(0.78, 0.95)), (0.66, 0.3, 1.0), *ends]
    if rng.random() < 0.3:
        # Oval: broadest in the middle, hardly a head.
        return [(0.15, 0.15, rng.uniform(0.5, 0.62)), (0.51, 0.44, 1.0), *ends]
    return [
        (0.12, 0.12, rng.uniform(0.42, 0.52)),
        (0.34, 0.24, rng.uniform(0.66, 0.8)),
        (rng.uniform(0.58, 0.66), rng.uniform(0.3, 0.34), 1.0),
        (0.8, 0.17, rng.uniform(0.5, 0.68)),
        *ends,
    ]


def _matters(
    rng: np.random.Generator, form: str, wish: BodyWish, thick_mm: float, length_mm: float
) -> tuple[Matter, Matter]:
    """The body's substance and that of its dark parts. Heat turns most of them brown or pale (common practice, no source)."""
    odds = dict(_FRESH)
    if form == "mummy":
        odds = {"tan": 0.5, "straw": 0.2, "chestnut": 0.3}
    elif wish.heated and rng.random() < 0.85:
        odds = dict(_COOKED)
    elif form == "winged":
        odds = {"lime": 0.4, "moss": 0.25, "umber": 0.15, "soot": 0.2}
    name = list(odds)[int(rng.choice(len(odds), p=np.array(list(odds.values())) / sum(odds.values())))]
    low, high = _PASSES[name]
    # What is half as thick lets far more through: the small ones are pale.
    ease = (length_mm / 1.8) ** 0.55
    passes = passing(rng, low**ease, high**ease, wild=wish.wild)
    mixed = {name: 0.8, "lime" if name == "lemon" else name: 0.2}
    main = matter(rng, mixed, passes, thick_mm, wild=wish.wild)
    dark = matter(rng, {"umber": 0.5, "soot": 0.5}, log_even(rng, 0.1, 0.5), 0.06, hazy=(0.1, 0.3))
    return main, dark


def _body(
    stage: Stage,
    rng: np.random.Generator,
    wish: BodyWish,
    body: Trunk,
    solid: Inside,
    form: str,
    flat: float,
    main: Matter,
    dark: Matter,
) -> None:
    tissues: list[tuple[FloatArray | float, Matter]] = [(1.0, main)]
    front = np.zeros_like(solid.t)
    if form == "winged":
        front = band(solid.t, -1, rng.uniform(0.4, 0.46)) * np.float32(rng.uniform(0.5, 1.0))
    elif rng.random() < 0.35:
        front = band(solid.t, -1, rng.uniform(0.08, 0.2), 0.06) * np.float32(rng.uniform(0.1, 0.6))
    hard = dark.times(rng.uniform(0.08, 0.25))
    tissues = [(1 - front, main), (front, hard)]
    roll = float(rng.normal(0, 0.25) if rng.random() < 0.7 else rng.uniform(-1.6, 1.6))
    fold = (np.cos(2 * np.pi * solid.t * rng.uniform(9, 11)) ** 8 * band(solid.t, 0.3, 0.95, 0.1)).astype(np.float32)
    what = Filling(solid, flat, skin(rng, wild=wish.wild), tissues)
    what.relief = fold * np.float32(rng.uniform(0, 0.06)) * np.float32(form != "mummy")
    if form != "mummy":
        what.organs = _organs(stage, rng, body, main, wild=wish.wild)
    what.marks = _marks(rng, solid, roll, form)
    fill(stage, rng, what)


def _organs(stage: Stage, rng: np.random.Generator, body: Trunk, main: Matter, *, wild: bool) -> list[Organ]:
    """Gut and, in grown ones, embryos in two rows in the abdomen."""
    found: list[Organ] = []
    wide = body.width_mm
    gut = main.times(rng.uniform(0.4, 2.2) if not wild else rng.uniform(0.1, 5))
    for _ in range(int(rng.integers(0, 3))):
        at = body.at(rng.uniform(0.38, 0.7), rng.uniform(-0.35, 0.35))
        heading = body.heading(0.5) + rng.uniform(-0.7, 0.7)
        row = body.pip(at, wide * rng.uniform(0.4, 0.9), wide * rng.uniform(0.2, 0.4), heading)
        found.append(Organ(inside(stage, row), gut, rng.uniform(0.6, 1), rng.uniform(-0.5, 0.5), 2.2))
    if body.length_mm > 1.1 and rng.random() < 0.6:
        young = main.times(rng.uniform(0.3, 1.9))
        for side in (-1, 1):
            for t in np.arange(rng.uniform(0.45, 0.5), 0.82, rng.uniform(0.1, 0.16)):
                at = body.at(float(t), side * rng.uniform(0.25, 0.55))
                row = body.pip(
                    at, wide * rng.uniform(0.2, 0.32), wide * 0.14, body.heading(float(t)) + rng.normal(0, 0.4)
                )
                found.append(Organ(inside(stage, row), young, 0.9, rng.uniform(-0.4, 0.4), 2.0))
    return found


def _marks(rng: np.random.Generator, solid: Inside, roll: float, form: str) -> list[Marks]:
    upper, lower = solid.round_angle(roll)
    hue = np.array([0.85, 1.0, 1.1], np.float32)
    dapple = np.float32(rng.uniform(0, 0.12))
    marks = [Marks(dapple * np.abs(ripple(rng, solid, upper, 12, 8)), dapple * 0.5 * np.ones_like(upper), hue)]
    if form == "mummy":
        if rng.random() < 0.35:
            # The hole the wasp has left by.
            hole = spot(solid.t, upper, rng.uniform(0.65, 0.8), rng.uniform(-0.5, 0.5), 0.12, 0.35)
            marks.append(Marks(1.4 * hole, 0 * hole, hue))
        return marks
    bars = rng.random() < (0.22 if form != "winged" else 0.7)
    if bars:
        deep, wide = np.float32(log_even(rng, 0.1, 1.2)), np.float32(rng.uniform(0.3, 1.0))
        rows = band((solid.t - 0.36) * 11 % 1.0, 0.25, 0.25 + rng.uniform(0.3, 0.5), 0.15) * band(solid.t, 0.36, 0.9)
        gap = np.clip((np.abs(upper) - 0.12) / 0.1, 0, 1) if rng.random() < 0.5 else 1
        back = np.clip((wide - np.abs(upper)) / 0.2, 0, 1) * gap
        belly = np.clip((wide - np.abs(lower)) / 0.2, 0, 1)
        marks.append(Marks(deep * rows * back, deep * rows * belly, hue))
    if form == "winged" or rng.random() < 0.08:
        deep = np.float32(rng.uniform(0.3, 1.6))
        patch = spot(solid.t, upper, rng.uniform(0.58, 0.66), 0.0, 0.15, 0.6)
        marks.append(Marks(deep * patch, deep * spot(solid.t, lower, 0.62, 0.0, 0.15, 0.6), hue))
    return marks


def _eyes(stage: Stage, rng: np.random.Generator, body: Trunk, form: str) -> None:
    size = 0.022 * body.length_mm**0.6 * rng.uniform(0.85, 1.25)
    stuff = matter(rng, {"wine": 0.5, "soot": 0.5}, 0.08, 2 * size)
    if form == "mummy":
        stuff = stuff.times(0.4)
    for side in (-1, 1):
        one = inside(stage, body.ball(0.085, side * 0.88, size))
        stage.paint(one.at, one.cover, stuff.through(2 * one.half_mm + size * 0.3), stuff.colour, body=True)
