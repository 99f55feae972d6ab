"""Caterpillars of the second family: thirteen rings, a hard head, prolegs and bristles; straight, curled or looped.

Plutella xylostella 1.7-11.2 mm over its stages (from memory), to 10 mm (Barmac page); small Trichoplusia ni whitish, nearly
transparent, with a dark head (leafplanttech.com). Length over width 5-8 (from memory), as is the rest of the look.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, log_even
from vision.render.second.filling import Filling, Marks, Organ, Skin, band, fill, ripple, skin, spot
from vision.render.second.limbs import Rod, jointed, paint_rods, rod
from vision.render.second.matter import Matter, matter, passing
from vision.render.second.solids import Inside, inside, within_ends
from vision.render.second.spine import STEPS, joints
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk, extents, seen_through, trunk
from vision.types import FloatArray

LENGTHS_MM: Range = (2.0, 10.0)
_SLIM: Range = (5.0, 8.0)
_RINGS = 13
_CAPSULE: dict[str, Range] = {
    "amber": (0.1, 0.5),
    "chestnut": (0.04, 0.25),
    "soot": (0.005, 0.08),
    "lime": (0.15, 0.5),
}
"""Share of light through the middle of the head."""
_STYLES = {"C": 0.36, "S": 0.18, "hook": 0.14, "loop": 0.06, "straight": 0.26}


def draw_caterpillar(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One caterpillar; see Patch."""
    length = log_even(rng, *LENGTHS_MM) if wish.length_mm is None else float(wish.length_mm)
    width = length / rng.uniform(*_SLIM)
    style = choice(rng, _STYLES)
    turn = {"C": (1.0, 4.6), "S": (1.6, 4.4), "hook": (1.0, 2.6), "loop": (3.5, 6.0), "straight": (0.0, 0.5)}[style]
    head = float(np.clip(rng.uniform(0.75, 1.0) * width / length, 0.05, 0.2)) * (1.25 if length < 3 else 1.0)
    body = trunk(length, _rings(rng, length, width, head), joints(rng, style, rng.uniform(*turn)), direction(wish, rng))
    flat, roll = float(rng.uniform(0.8, 1.0)), float(rng.normal(0, 0.3))
    if rng.random() < 0.45:
        # On its side: what runs along its flank lies uppermost.
        roll = float(rng.choice([-1, 1]) * rng.uniform(0.8, 1.6))
    main = _main(rng, wish, length, flat * width)
    limbs = wish.limbs is not False
    stubs, claws, hairs = _limbs(rng, body, roll, head) if limbs else ([], [], [])
    stage = stage_over(wish, [body.extent, *extents([*stubs, *claws, *hairs])])
    solid = inside(stage, body.row)
    shows = seen_through(stage, solid, 0.9)
    paint_rods(stage, stubs, main.times(1.3), shows)
    hard = matter(rng, {"amber": 0.3, "chestnut": 0.4, "soot": 0.3}, rng.uniform(0.3, 0.7), 0.08 * width)
    paint_rods(stage, claws, hard, shows)
    look = skin(rng, glassy=length < 3 and rng.random() < 0.5, wild=wish.wild)
    _body(stage, rng, wish, body, solid, flat, roll, head, main, look)
    paint_rods(stage, hairs, matter(rng, {"soot": 0.6, "tan": 0.4}, 0.35, 0.012))
    _eyes(stage, rng, body, head)
    return stage.patch(
        length_mm=length, width_mm=body.width_mm, curved=body.curved, form=style, gloss=float(rng.uniform(0.1, 0.6))
    )


def _rings(rng: np.random.Generator, length: float, width: float, head: float) -> NDArray[np.float64]:
    """Half widths: a round head, then rings, tapering to the tail or to both ends."""
    t = np.linspace(0, 1, STEPS)
    trail = (t - 0.8 * head) / (1 - 0.8 * head)
    blunt = rng.uniform(0.1, 0.35)
    rise = np.clip(trail + blunt, 0, None) / (rng.uniform(0.1, 0.35) + blunt)
    fall = (1 - trail) / rng.uniform(0.2, 0.4)
    taper = np.sqrt(1 - (1 - np.clip(rise, 0, 1)) ** 2) * np.sqrt(1 - (1 - np.clip(fall, 0, 1)) ** 2.4)
    pinch = rng.uniform(0.03, 0.1)
    bead = 1 - pinch * np.abs(np.cos(np.pi * _RINGS * trail)) ** 6
    trunk_part = np.where(trail > 0, taper * bead, 0)
    cap = rng.uniform(0.68, 0.95) * np.sqrt(np.clip(1 - ((t - head / 2) / (head / 2 + 0.004)) ** 2, 0, None))
    radius = np.maximum(trunk_part, cap)
    return within_ends(radius * (width / 2 / radius.max()), length)


def _main(rng: np.random.Generator, wish: BodyWish, length: float, thick_mm: float) -> Matter:
    """Fresh: greens, the small ones whitish. Heated: pale and opaque as a tendency (common practice, no source)."""
    odds, low, high = {"leaf": 0.5, "lime": 0.25, "moss": 0.1, "ivory": 0.15}, 0.12, 0.5
    hazy = (0.1, 0.4)
    if length < 3.5:
        odds, low, high = {"lime": 0.3, "milk": 0.3, "ivory": 0.25, "leaf": 0.15}, 0.3, 0.75
    if wish.heated and rng.random() < 0.85:
        odds, low, high, hazy = {"milk": 0.35, "ivory": 0.3, "straw": 0.25, "lime": 0.1}, 0.14, 0.48, (0.4, 0.8)
    return matter(rng, odds, passing(rng, low, high, wild=wish.wild), thick_mm, wild=wish.wild, hazy=hazy)


def _body(
    stage: Stage,
    rng: np.random.Generator,
    wish: BodyWish,
    body: Trunk,
    solid: Inside,
    flat: float,
    roll: float,
    head: float,
    main: Matter,
    look: Skin,
) -> None:
    edge = band(solid.t, -1, head, 0.25 / body.length_mm * body.width_mm)
    name = choice(rng, {"amber": 0.35, "chestnut": 0.3, "soot": 0.2, "lime": 0.15})
    capsule = matter(rng, name, log_even(rng, *_CAPSULE[name]), flat * 0.85 * body.width_mm)
    rings = (solid.t - 0.8 * head) / (1 - 0.8 * head) * _RINGS
    fold = (np.abs(np.cos(np.pi * rings)) ** 14 * (1 - edge)).astype(np.float32)
    small = (np.abs(np.cos(3 * np.pi * rings)) ** 6 * (1 - edge)).astype(np.float32)
    what = Filling(solid, flat, look, [(1 - edge, main), (edge, capsule)])
    what.relief = np.float32(rng.uniform(0.05, 0.25)) * fold + np.float32(rng.uniform(0, 0.06)) * small
    what.organs = [_gut(stage, rng, body, opaque=wish.heated)]
    what.marks = _marks(rng, solid, roll, edge, fold)
    fill(stage, rng, what)


def _gut(stage: Stage, rng: np.random.Generator, body: Trunk, *, opaque: bool) -> Organ:
    """A tube with what it has eaten, in lumps."""
    t = np.linspace(0, 1, STEPS)
    lumps = 1 + rng.uniform(0, 0.35) * np.interp(t, np.linspace(0, 1, 14), rng.normal(0, 1, 14))
    ends = np.clip((t - 0.12) / 0.1, 0, 1) * np.clip((0.93 - t) / 0.1, 0, 1)
    share = np.clip(rng.uniform(0.35, 0.62) * lumps * ends, 0.02, 0.85)
    food = {"frass": 0.7, "moss": 0.3} if not opaque else {"straw": 0.4, "moss": 0.3, "chestnut": 0.3}
    stuff = matter(rng, food, log_even(rng, 0.12, 0.9), 0.5 * body.width_mm)
    solid = inside(stage, body.vessel(0.1, rng.uniform(0.8, 0.95), share, rng.uniform(-0.1, 0.1)))
    return Organ(solid, stuff, 0.9, rng.uniform(-0.3, 0.3), rng.uniform(1.3, 2.4))


def _marks(rng: np.random.Generator, solid: Inside, roll: float, edge: FloatArray, fold: FloatArray) -> list[Marks]:
    """Folds, lines along the back and flanks, and wart rows."""
    upper, lower = solid.round_angle(roll)
    skin_here = 1 - edge
    hue = np.array([1.1, 0.75, 1.2], np.float32)
    grey = np.ones(3, np.float32)
    deep = np.float32(rng.uniform(-0.08, 0.18))
    marks = [Marks(deep * fold, deep * fold, grey)]
    dapple = np.float32(rng.uniform(0, 0.08)) * ripple(rng, solid, upper, 40, 8) * skin_here
    marks.append(Marks(dapple, np.zeros_like(dapple), hue))
    if rng.random() < 0.6:
        dark = np.float32(log_even(rng, 0.08, 0.5) * (1 if rng.random() < 0.5 else -0.7))
        at, wide = float(rng.choice([0.0, 0.55, 1.1])), rng.uniform(0.07, 0.2)
        lines = [np.exp(-(((np.abs(side) - at) / wide) ** 2)) * skin_here for side in (upper, lower)]
        marks.append(Marks(dark * lines[0], dark * lines[1], hue))
    if rng.random() < 0.4:
        deep = np.float32(rng.uniform(0.3, 1.6))
        warts = np.zeros_like(upper)
        for t in np.arange(0.18, 0.95, 1 / _RINGS):
            warts += sum(spot(solid.t, upper, float(t), at, 0.008, 0.07) for at in (-0.9, -0.35, 0.35, 0.9))
        marks.append(Marks(deep * warts * skin_here, np.zeros_like(warts), grey))
    return marks


def _eyes(stage: Stage, rng: np.random.Generator, body: Trunk, head: float) -> None:
    size = max(body.width_mm * 0.045, 0.012)
    stuff = matter(rng, "soot", 0.15, 2 * size)
    for side in (-1, 1):
        one = inside(stage, body.ball(head * 0.45, side * 0.72, size))
        stage.paint(one.at, one.cover, stuff.through(2 * one.half_mm), stuff.colour, body=True)


def _limbs(rng: np.random.Generator, body: Trunk, roll: float, head: float) -> tuple[list[Rod], list[Rod], list[Rod]]:
    """Prolegs and true legs, which show on the flank that is turned up, and bristles."""
    stubs, claws, hairs = [], [], []
    wide = body.width_mm
    for side in (-1, 1):
        # The belly's side of a rolled body: legs sit some 50 degrees off the middle of the belly.
        q = np.sin(np.pi - side * 0.85 + roll)
        if abs(q) < 0.75 or (abs(roll) < 0.7 and rng.random() < 0.6):
            continue
        out = float(np.sign(q))
        for t in (0.47, 0.54, 0.61, 0.68, 0.94):
            aim = body.heading(t) + out * (np.pi / 2 + rng.normal(0, 0.15))
            points = jointed(body.at(t, out * 0.75), [(wide * rng.uniform(0.2, 0.36), aim, 0.2)])
            stubs.append(rod(points, 0.11 * wide, 0.085 * wide))
        for t in (head + 0.05, head + 0.1, head + 0.16):
            aim = body.heading(t) + out * (np.pi / 2 + rng.normal(0.3, 0.2))
            links = [(wide * 0.18, aim, 0.2), (wide * 0.18, aim + out * rng.uniform(0.2, 0.7), 0.2)]
            claws.append(rod(jointed(body.at(t, out * 0.85), links), 0.05 * wide, 0.015 * wide))
    for _ in range(int(rng.integers(0, 45))):
        t, q = rng.uniform(0.03, 0.99), float(rng.choice([-1, 1])) * rng.uniform(0.3, 1.0)
        aim = body.heading(t) + np.sign(q) * (np.pi / 2 + rng.normal(0, 0.5))
        hairs.append(rod(jointed(body.at(t, q), [(wide * rng.uniform(0.12, 0.4) * abs(q), aim, 0.3)]), 0.005, 0.002))
    return stubs, claws, hairs
