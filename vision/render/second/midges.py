"""Gnats of the second family: dark head and humped thorax, slender abdomen, long legs, two smoky wings.

Bradysia difformis about 2 mm (wiki.pestinfo.org); Sciaridae 3-4 mm, dark grey to black (AFBI). Proportions and the rest of the look
from memory.
"""

from __future__ import annotations

import numpy as np

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, log_even
from vision.render.second.filling import Filling, Marks, band, fill, skin
from vision.render.second.limbs import Rod, Wing, jointed, paint_rods, paint_wing, wing
from vision.render.second.matter import Matter, matter, passing
from vision.render.second.solids import Inside, inside, swollen
from vision.render.second.spine import joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk

LENGTHS_MM: Range = (1.5, 3.0)
_SLIM: Range = (3.6, 5.2)


def draw_gnat(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One gnat; see Patch."""
    length = float(rng.uniform(*LENGTHS_MM)) if wish.length_mm is None else float(wish.length_mm)
    width = length / rng.uniform(*_SLIM)
    shape = [
        (0.075, 0.075, rng.uniform(0.6, 0.74)),
        (0.27, 0.13, 1.0),
        (0.55, 0.2, rng.uniform(0.6, 0.82)),
        (0.74, 0.17, rng.uniform(0.5, 0.74)),
        (0.92, 0.08, rng.uniform(0.24, 0.42)),
    ]
    style = choice(rng, {"straight": 0.6, "C": 0.4})
    turns = joints(rng, style, rng.uniform(0, 0.5) if style == "straight" else rng.uniform(0.5, 1.5))
    body = trunk(length, swollen(length, width, shape, smooth=0.01), turns, direction(wish, rng))
    flat = float(rng.uniform(0.75, 1.0))
    odds = {"soot": 0.6, "umber": 0.4} if not wish.heated else {"soot": 0.45, "umber": 0.35, "chestnut": 0.2}
    front = matter(rng, odds, passing(rng, 0.008, 0.07, wild=wish.wild), flat * width, wild=wish.wild)
    belly = {"umber": 0.4, "chestnut": 0.15, "tan": 0.1, "soot": 0.35}
    rear = matter(rng, belly, passing(rng, 0.03, 0.3, wild=wish.wild), flat * width * 0.7, wild=wish.wild)
    legs, feelers, wings = _limbs(rng, body, few=wish.heated) if wish.limbs is not False else ([], [], [])
    stage = stage_over(wish, [body.extent, *extents([*legs, *feelers])] + [one.row.extent for one in wings])
    solid = inside(stage, body.row)
    shows = seen_through(stage, solid, 0.95)
    hard = matter(rng, {"umber": 0.5, "soot": 0.3, "chestnut": 0.2}, log_even(rng, 0.15, 0.5), 0.035)
    under = rng.random() < 0.5
    for one in wings if under else []:
        paint_wing(stage, rng, one, log_even(rng, 0.06, 0.35), _veins(one), hard)
    paint_rods(stage, legs, hard, shows)
    _body(stage, rng, solid, flat, front, rear, wild=wish.wild)
    paint_rods(stage, feelers, hard)
    for one in wings if not under else []:
        paint_wing(stage, rng, one, log_even(rng, 0.06, 0.35), _veins(one), hard)
    return stage.patch(
        length_mm=length, width_mm=body.width_mm, curved=body.curved, form="adult", gloss=float(rng.uniform(0.1, 0.5))
    )


def _body(
    stage: Stage, rng: np.random.Generator, solid: Inside, flat: float, front: Matter, rear: Matter, *, wild: bool
) -> None:
    ahead = band(solid.t, -1, 0.4)
    rings = (solid.t - np.float32(0.4)) / np.float32(0.085)
    abdomen = (1 - ahead) * band(solid.t, 0.3, 0.97)
    gap = abdomen * np.abs(np.cos(np.pi * rings)) ** rng.uniform(3, 14)
    upper, lower = solid.round_angle(float(rng.normal(0, 0.6)))
    deep = np.float32(rng.uniform(0.2, 1.6))
    plates = deep * (abdomen - gap) * np.clip(1.3 - np.abs(upper), 0, 1)
    beneath = deep * np.float32(0.6) * (abdomen - gap) * np.clip(1.0 - np.abs(lower), 0, 1)
    what = Filling(solid, flat, skin(rng, wild=wild), [(ahead, front), (1 - ahead, rear)])
    what.relief = np.float32(0.08) * gap
    what.marks = [Marks(plates, beneath, np.array([0.9, 1.0, 1.08], np.float32))]
    eye = band(solid.t, 0.0, 0.13) * np.clip((np.abs(solid.q) - 0.35) / 0.1, 0, 1)
    what.marks.append(Marks(np.float32(1.2) * eye, np.float32(0.6) * eye, np.ones(3, np.float32)))
    fill(stage, rng, what)


def _limbs(rng: np.random.Generator, body: Trunk, *, few: bool) -> tuple[list[Rod], list[Rod], list[Wing]]:
    """Long legs, beaded antennae, and wings folded over each other, half open or spread."""
    length = body.length_mm
    kept = rng.uniform(0.2, 1.0) if few else rng.uniform(0.75, 1.0)
    legs, feelers, wings = [], [], []
    thin = 0.013 * length**0.5
    folded = rng.random() < (0.4 if few else 0.2)
    for t, swing, long in ((0.22, 2.3, 0.3), (0.29, 1.6, 0.34), (0.35, 0.8, 0.42)):
        for side in (-1, 1):
            if rng.random() > kept:
                continue
            aim = swing + rng.normal(0, 0.3)
            shin = aim + (rng.uniform(-0.9, 0.1) if swing < 2 else rng.uniform(-0.2, 0.9)) + (2.0 if folded else 0)
            heading, toe = body.heading(t), shin + rng.normal(0, 0.4)
            hip = body.at(t, side * 0.5)
            thigh = (length * long * 0.85, heading + side * aim, rng.uniform(0.2, 0.8))
            links = [thigh, (length * long, heading + side * shin, 0.2)]
            links += [(length * long * 0.4, heading + side * (toe + 0.2 * k), 0.1) for k in range(2)]
            points = jointed(hip, links)
            legs.append(Rod(points, np.array([1.7, 1.2, 0.8, 0.6, 0.5]) * thin))
    for side in (-1, 1):
        aim, turn = body.heading(0.02) + np.pi - side * rng.uniform(0.2, 0.9), -side * rng.uniform(-0.05, 0.3)
        reach = length * rng.uniform(0.35, 0.6)
        points = jointed(body.at(0.03, side * 0.4), [(reach / 14, aim + turn * k / 3, 0.0) for k in range(14)])
        feelers.append(Rod(points, np.array([1.1, 0.75] * 7 + [0.5]) * thin * 0.9))
    spread = float(rng.choice([0.08, 0.35, 0.9])) + rng.uniform(-0.06, 0.15)
    for side in (-1, 1):
        if rng.random() < 0.4 + 0.6 * kept:
            long = length * rng.uniform(0.78, 0.98) * (rng.uniform(0.6, 1) if few else 1)
            aim = body.heading(0.35) + side * spread
            wings.append(wing(body.at(0.27, side * 0.55), aim, long, long * rng.uniform(0.34, 0.42), side * 0.01))
    return legs, feelers, wings


def _veins(one: Wing) -> list[Rod]:
    """Dark veins along the front edge, and the fork in the middle that fungus gnats have."""
    found = [
        one.vein([(0.03, 0), (0.3, -0.75), (0.62, -0.9)], 0.014),
        one.vein([(0.05, 0), (0.4, -0.5), (0.72, -0.78)], 0.01),
    ]
    found.append(one.vein([(0.1, 0), (0.45, -0.02), (0.6, 0.0)], 0.006))
    found += [one.vein([(0.6, 0), (0.8, q * 0.4), (0.96, q)], 0.006) for q in (-0.3, 0.5)]
    found.append(one.vein([(0.12, 0.1), (0.4, 0.45), (0.58, 0.95)], 0.006))
    return found
