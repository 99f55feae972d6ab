"""Thrips of the second family: adults with fringed wings folded along the back, and pale larvae.

Adults 0.8-1.2 mm (Thrips tabaci, Bayer Crop Science) to 1.4 mm (Frankliniella occidentalis, second-hand copy); larvae 0.35-0.38 and
0.7-0.9 mm (Univ. Florida MREC / NC State). Length over width 4-6 (from memory), as is the rest of the look.
"""

from __future__ import annotations

import numpy as np

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, form_and_length, log_even
from vision.render.second.filling import Filling, Marks, Organ, band, fill, ripple, skin
from vision.render.second.limbs import Rod, jointed, paint_rods, rod, way
from vision.render.second.matter import Matter, matter, passing
from vision.render.second.solids import Inside, Swelling, inside, swollen
from vision.render.second.spine import STEPS, joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk

LENGTHS_MM: dict[str, Range] = {"adult": (0.8, 1.5), "larva": (0.35, 0.9)}
_SLIM: Range = (4.0, 6.0)
_PASSES: dict[str, Range] = {
    "lemon": (0.25, 0.6),
    "amber": (0.18, 0.5),
    "chestnut": (0.06, 0.35),
    "umber": (0.02, 0.2),
    "soot": (0.01, 0.1),
    "ivory": (0.45, 0.8),
    "milk": (0.45, 0.85),
    "straw": (0.35, 0.7),
}


def draw_thrips(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One thrips; see Patch."""
    form, length = form_and_length(wish, rng, {"adult": 0.62, "larva": 0.38}, LENGTHS_MM)
    width = length / rng.uniform(*_SLIM)
    radius = swollen(length, width, _swellings(rng, form), smooth=0.008)
    style = choice(rng, {"straight": 0.75, "C": 0.15, "S": 0.1})
    turns = joints(rng, style, rng.uniform(0, 0.5) if style == "straight" else rng.uniform(0.5, 2.0))
    body = trunk(length, radius, turns, direction(wish, rng))
    name = _colour(rng, form, heated=wish.heated)
    flat = float(rng.uniform(0.6, 0.9))
    main = matter(rng, name, passing(rng, *_PASSES[name], wild=wish.wild), flat * width, wild=wish.wild)
    limbs = wish.limbs is not False
    legs = _legs(rng, body, few=wish.heated) if limbs else []
    feelers = _feelers(rng, body) if limbs else []
    vanes, fringe = _wings(rng, body) if limbs and form == "adult" else ([], [])
    stage = stage_over(wish, [body.extent, *extents([*legs, *feelers, *vanes, *fringe])])
    solid = inside(stage, body.row)
    hard = main.times(rng.uniform(1.2, 2.5))
    paint_rods(stage, [*legs, *feelers], hard, seen_through(stage, solid, 0.8))
    _body(stage, rng, body, solid, form, flat, main, wild=wish.wild)
    dark = matter(rng, {"umber": 0.6, "soot": 0.4}, log_even(rng, 0.25, 0.75), 0.03)
    paint_rods(stage, vanes, dark)
    paint_rods(stage, fringe, matter(rng, "soot", 0.4, 0.006))
    _eyes(stage, rng, body, form)
    return stage.patch(
        length_mm=length, width_mm=body.width_mm, curved=body.curved, form=form, gloss=float(rng.uniform(0.1, 0.5))
    )


def _swellings(rng: np.random.Generator, form: str) -> list[Swelling]:
    """Head, the two parts of the thorax, and the abdomen with its pointed end."""
    if form == "larva":
        return [
            (0.09, 0.09, rng.uniform(0.5, 0.62)),
            (0.26, 0.15, rng.uniform(0.78, 0.9)),
            (0.58, 0.34, 1.0),
            (0.86, 0.14, rng.uniform(0.3, 0.42)),
        ]
    return [
        (0.065, 0.065, rng.uniform(0.55, 0.66)),
        (0.18, 0.075, rng.uniform(0.7, 0.82)),
        (0.325, 0.11, rng.uniform(0.92, 1.0)),
        (0.6, 0.26, rng.uniform(0.88, 1.04)),
        (0.8, 0.16, rng.uniform(0.6, 0.72)),
        (0.91, 0.09, rng.uniform(0.26, 0.36)),
    ]


def _colour(rng: np.random.Generator, form: str, *, heated: bool) -> str:
    if form == "larva":
        pale = {"lemon": 0.3, "ivory": 0.4, "milk": 0.3}
        return choice(rng, {"straw": 0.6, "amber": 0.2, "ivory": 0.2} if heated and rng.random() < 0.6 else pale)
    if heated:
        return choice(rng, {"chestnut": 0.4, "umber": 0.3, "soot": 0.15, "amber": 0.15})
    return choice(rng, {"lemon": 0.25, "amber": 0.2, "chestnut": 0.2, "umber": 0.2, "soot": 0.15})


def _body(
    stage: Stage,
    rng: np.random.Generator,
    body: Trunk,
    solid: Inside,
    form: str,
    flat: float,
    main: Matter,
    *,
    wild: bool,
) -> None:
    upper, _ = solid.round_angle(float(rng.normal(0, 0.4)))
    hue = np.array([0.8, 1.0, 1.15], np.float32)
    rings = (solid.t - np.float32(0.42)) / np.float32(0.057)
    abdomen = band(solid.t, 0.42, 0.98)
    what = Filling(solid, flat, skin(rng, glassy=form == "larva", wild=wild), [(1.0, main)])
    crease = abdomen * np.cos(np.pi * rings) ** 12
    what.relief = np.float32(rng.uniform(0.02, 0.12)) * crease
    # Plates dark, the skin between them pale.
    plates = np.float32(rng.uniform(0.05, 0.6) * (1 if form == "adult" else 0.15)) * abdomen * (1 - crease)
    broad = np.clip(1.25 - np.abs(upper), 0, 1)
    what.marks = [Marks(plates * broad, plates * np.float32(0.6), hue)]
    if form == "adult":
        blotch = np.float32(rng.uniform(0, 0.5)) * np.clip(ripple(rng, solid, upper, 7, 5), 0, 2)
        what.marks.append(Marks(blotch, np.zeros_like(blotch), hue))
    else:
        share = np.interp(np.linspace(0, 1, STEPS), [0.1, 0.3, 0.5, 0.75, 0.9], [0.1, 0.3, 0.55, 0.45, 0.1])
        gut = matter(rng, {"amber": 0.5, "lime": 0.3, "frass": 0.2}, rng.uniform(0.45, 0.95), 0.4 * body.width_mm)
        row = body.vessel(0.12, 0.9, share * rng.uniform(0.6, 1.3))
        what.organs = [Organ(inside(stage, row), gut, 0.9, 0.0, 2.0)]
    fill(stage, rng, what)


def _eyes(stage: Stage, rng: np.random.Generator, body: Trunk, form: str) -> None:
    size = body.width_mm * (0.085 if form == "adult" else 0.06)
    stuff = matter(rng, "wine" if form == "larva" or rng.random() < 0.4 else "soot", 0.12, 2 * size)
    for side in (-1, 1):
        one = inside(stage, body.ball(0.055, side * 0.72, size))
        stage.paint(one.at, one.cover, stuff.through(2 * one.half_mm), stuff.colour, body=True)


def _legs(rng: np.random.Generator, body: Trunk, *, few: bool) -> list[Rod]:
    """Short stout legs, held close."""
    kept = rng.uniform(0, 0.8) if few else rng.uniform(0.5, 1.0)
    wide, found = body.width_mm, []
    for t, swing in ((0.19, 2.1), (0.29, 1.4), (0.38, 0.8)):
        for side in (-1, 1):
            if rng.random() > kept:
                continue
            aim = body.heading(t) + side * (swing + rng.normal(0, 0.25))
            shin = aim - side * rng.uniform(0.2, 1.1)
            points = jointed(body.at(t, side * 0.6), [(wide * 0.55, aim, 0.4), (wide * 0.6, shin, 0.2)])
            found.append(rod(points, 0.014 + 0.03 * wide, 0.008 + 0.02 * wide))
    return found


def _feelers(rng: np.random.Generator, body: Trunk) -> list[Rod]:
    """Antennae of seven beads."""
    found = []
    reach, front = body.length_mm * rng.uniform(0.13, 0.19), body.heading(0.02) + np.pi
    for side in (-1, 1):
        aim = front - side * rng.uniform(0.05, 0.6)
        points = jointed(body.at(0.02, side * 0.5), [(reach / 12, aim + side * 0.02 * k, 0.0) for k in range(12)])
        bead = np.array([1.0, 1.25] * 6 + [0.5])
        found.append(Rod(points, bead * (0.005 + 0.022 * body.width_mm)))
    return found


def _wings(rng: np.random.Generator, body: Trunk) -> tuple[list[Rod], list[Rod]]:
    """Two straps along the back, seldom stuck out, and the long hairs on their hind edges."""
    vanes, fringe = [], []
    out = rng.random() < 0.12
    length = body.length_mm * rng.uniform(0.52, 0.66)
    for side in (-1, 1):
        aim = body.heading(0.5) + side * (rng.uniform(0.3, 1.2) if out else rng.uniform(-0.06, 0.08))
        if out and rng.random() < 0.4:
            aim = body.heading(0.5) + side * 0.05
        root = body.at(0.31, side * 0.35)
        bow = -side * rng.uniform(0, 0.03)
        u = np.linspace(0, 1, 7)
        points = root + length * np.outer(u, way(aim)) + np.outer(4 * u * (1 - u) * bow * length, way(aim + np.pi / 2))
        vanes.append(Rod(points, body.width_mm * np.interp(u, [0, 0.2, 0.8, 1], [0.06, 0.1, 0.07, 0.02])))
        for k in np.linspace(0.3, 1, 11):
            start = root + length * k * way(aim)
            lean = aim + side * rng.uniform(0.25, 0.55)
            end = start + body.width_mm * rng.uniform(0.6, 1.1) * way(lean)
            fringe.append(rod([start, end], 0.0028, 0.0015))
    return vanes, fringe
