"""Anatomy that all kinds share: lie, outline, limbs, wings, innards and the putting together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.render.hands.strewn.coats import DARKS, Coat, Rng, colour, random_coat
from vision.render.hands.strewn.matter import Inner, Limb, Part, Sheet, Thing
from vision.render.hands.strewn.solids import Doubles, Spine, blob, join, turn


@dataclass(frozen=True)
class Stance:
    """How a body lies: its bend (even, odd part; radians), the bend's plane, the pose (3, 3), and how limp it is."""

    bend: tuple[float, float]
    plane: float
    pose: Doubles
    tucked: float

    @property
    def bowed(self) -> bool:
        """Bent so much that its length must be measured along it."""
        return abs(self.bend[0]) > 1.1 or abs(self.bend[1]) > 1.3


def stance(rng: Rng, even: float, odd: float, flat: float = 0.0) -> Stance:
    """A random lie; strongly bent bodies lie on the side they curl in; `flat` makes back-up or belly-up likelier."""
    bend = (float(rng.normal(0, 1) * even), float(rng.normal(0, 1) * odd))
    plane = float(rng.choice([0, np.pi / 2, -np.pi / 2, rng.uniform(0, 6.3)]))
    if max(abs(bend[0]), abs(bend[1])) > 0.8:
        roll, pitch = float(-plane + np.pi * rng.integers(2) + rng.normal(0, 0.15)), float(rng.normal(0, 0.08))
    elif rng.random() < flat:
        roll, pitch = np.pi * (rng.random() < 0.25) + rng.normal(0, 0.25), rng.normal(0, 0.15)
    else:
        roll, pitch = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.3)
    pose = turn(2, rng.uniform(0, 2 * np.pi)) @ turn(1, pitch) @ turn(0, roll)
    return Stance(bend, plane, pose, float(np.clip(rng.beta(0.9, 1.3), 0, 1)))


def profile(count: int, peak: float, power: float, rng: Rng, lumps: float = 0.05, start: float = 0.0) -> Doubles:
    """(count,) outline radius 0..1 along the body, widest at `peak`, irregular; `start` > 0 leaves a neck."""
    along = np.linspace(start, 1, count)
    shape = np.sin(np.pi * along ** (np.log(0.5) / np.log(peak))) ** power
    waves = sum(rng.normal(0, lumps) * np.sin(np.pi * k * along + rng.uniform(0, 6)) / k for k in (2, 3, 4))
    return np.asarray(np.maximum(shape * (1 + waves), 0.03))


def rod(start: Doubles, steps: list[Doubles], radius_mm: float, taper: float, tone: Doubles, depth: float) -> Limb:
    """A jointed limb from (3,) mm through successive (3,) mm steps."""
    points = np.cumsum(np.array([start, *steps]), axis=0)
    radii = radius_mm * np.linspace(1, taper, len(points))
    return Limb(points, radii, tone, depth, float(points[:, 2].mean()))


def legs(
    spine: Spine,
    places: list[float],
    reach_mm: float,
    radius_mm: float,
    lie: Stance,
    tone: Doubles,
    depth: float,
    rng: Rng,
) -> list[Thing]:
    """Pairs of legs at places along a body: thigh up and out, shin down or folded back under, foot; some lost."""
    lost = rng.choice([0.0, 0.15, 0.6], p=[0.55, 0.3, 0.15])
    made: list[Thing] = []
    for pair, place in enumerate(places):
        i = spine.at(place)
        tail, side_way, back = spine.frames[i]
        sweep = (pair - (len(places) - 1) / 2) * rng.uniform(0.4, 0.8) + rng.normal(0, 0.1)
        stretch = rng.uniform(0.85, 1.15) * (0.85 + 0.2 * pair)
        for side in (-1, 1):
            if rng.random() < lost:
                continue
            out = side * side_way * np.cos(sweep) + tail * np.sin(sweep) + rng.normal(0, 0.16, 3)
            fold = np.clip(lie.tucked + rng.normal(0, 0.15), 0, 1)
            in_way = -out * 0.8 - back * 0.7 + tail * rng.normal(0.2, 0.2)
            thigh = reach_mm * stretch * 0.36 * (out + back * rng.uniform(-0.4, 0.5))
            shin = reach_mm * stretch * 0.4 * ((1 - fold) * (out * 0.8 - back * 0.4) + fold * in_way)
            foot = reach_mm * stretch * 0.2 * ((1 - fold) * out + fold * (tail - back * 0.5) + rng.normal(0, 0.3, 3))
            hip = spine.centres[i] + spine.radius[i] * (side * 0.6 * side_way - 0.6 * back)
            made.append(rod(hip, [thigh, shin, foot], radius_mm, 0.45, tone, depth))
            if rng.random() < 0.5:
                made.append(rod(hip, [thigh], radius_mm * 1.6, 0.6, tone, depth))
    return made


def feelers(
    spine: Spine,
    head: Doubles,
    reach_mm: float,
    radius_mm: float,
    tone: Doubles,
    depth: float,
    rng: Rng,
    feathers_mm: float = 0.0,
) -> list[Thing]:
    """Two antennae from the head (3,) mm, curving forward or laid back, plain or feathered."""
    tail, side_way, back = spine.frames[0]
    laid = rng.choice([-1.0, 1.0], p=[0.6, 0.4])
    made: list[Thing] = []
    for side in (-1, 1):
        if rng.random() < 0.12:
            continue
        way = tail * laid * rng.uniform(0.3, 1) + side * side_way * rng.uniform(0.4, 1.1) + back * rng.normal(0.1, 0.3)
        curl = rng.normal(0, 0.14, 3) + tail * rng.uniform(-0.05, 0.2)
        steps = [(way + curl * k) for k in range(7)]
        steps = [step / np.linalg.norm(step) * reach_mm / 7 for step in steps]
        limb = rod(head + side * side_way * radius_mm * 2, steps, radius_mm, 0.5, tone, depth)
        made.append(limb)
        if feathers_mm:
            hairs = [
                (np.array([p, p + rng.normal(0, 1, 3) * feathers_mm]), 0.012)
                for p in np.repeat(limb.points[1:], 7, axis=0)
            ]
            made.append(
                Sheet(
                    limb.points[:3],
                    tone,
                    0.0,
                    lines=tuple(hairs),
                    line_colour=tone,
                    line_depth=depth * 0.6,
                    z_mm=limb.z_mm,
                )
            )
    return made


def wing(base: Doubles, long: Doubles, wide: Doubles, coat: Coat, veins: int, fringe_mm: float, rng: Rng) -> Sheet:
    """A wing from its hinge (3,): `long` and `wide` (3,) are its extents in mm; veins or a fringe of hairs."""
    uni = rng.uniform
    t = np.linspace(0, 1, 24)
    bulge = np.sin(np.pi * t ** uni(0.9, 1.7)) ** uni(0.6, 0.9)
    crease = rng.normal(0, 0.04, 2)
    rear = base + t[:, None] * long + (0.7 * bulge + crease[0] * np.sin(t * 9))[:, None] * wide
    fore = base + t[:, None] * long - (0.3 * bulge + crease[1] * np.sin(t * 8))[:, None] * wide
    lines: list[tuple[Doubles, float]] = [(fore, uni(0.012, 0.03)), (rear, 0.008)]
    for k in range(veins):
        end = rear[int(rng.integers(9, 23))] * 0.85 + fore[int(rng.integers(12, 23))] * 0.15
        bow = wide * rng.normal(0, 0.12)
        mid = base + long * uni(0.3, 0.5) + wide * 0.05 * k
        s = np.linspace(0, 1, 9)[:, None]
        lines.append(((1 - s) ** 2 * base + 2 * s * (1 - s) * (mid + bow) + s * s * end, uni(0.008, 0.02)))
    if fringe_mm:
        drift = long / np.linalg.norm(long)
        for edge, sign in ((rear, 1.0), (fore, -0.6)):
            away = wide / np.linalg.norm(wide) * sign + drift * 0.7
            lines += [
                (np.array([p, p + away * fringe_mm * uni(0.6, 1.1)]), 0.007)
                for p in np.concatenate([edge[4:], (edge[4:] + edge[3:-1]) / 2])
            ]
    outline = np.concatenate([fore, rear[::-1]])
    return Sheet(
        outline,
        coat.skin,
        uni(0.03, 0.3),
        lines=tuple(lines),
        line_colour=coat.skin * 0.5,
        line_depth=uni(0.3, 0.9),
        mottle=0.4,
        shine=0.25,
        z_mm=float(outline[:, 2].mean()),
    )


def wings(
    spine: Spine,
    place: float,
    spread: float,
    size_mm: tuple[float, float],
    films: str,
    veins: int,
    fringe_mm: float,
    rng: Rng,
) -> list[Thing]:
    """A pair of wings hinged at a place, `spread` radians from the body's line; size is length and width in mm."""
    i, made = spine.at(place), list[Thing]()
    tail, side_way, back = spine.frames[i]
    film, lift = random_coat(rng, films), rng.uniform(0, 0.45)
    for side in (-1, 1):
        if rng.random() < 0.07:
            continue
        open_by = spread + rng.normal(0, 0.08)
        long = tail * np.cos(open_by) + side * side_way * np.sin(open_by) + back * lift
        wide = tail * np.sin(open_by) - side * side_way * np.cos(open_by) + back * 0.3
        hinge = spine.centres[i] + spine.radius[i] * (back * 0.8 + side * side_way * 0.3)
        made.append(wing(hinge, long * size_mm[0], wide * size_mm[1], film, veins, fringe_mm, rng))
    return made


def debris(spine: Spine, rng: Rng) -> list[Thing]:
    """Crumbs that stick to a body, now and then."""
    if rng.random() > 0.25:
        return []
    made: list[Thing] = []
    for i in rng.integers(0, len(spine.along), int(rng.integers(1, 5))):
        radii = tuple(rng.uniform(0.015, 0.06, 3))
        spot = spine.centres[i] + rng.normal(0, 1, 3) * spine.radius[i] * 0.8
        made.append(Part(blob(spot, (radii[0], radii[1], radii[2])), random_coat(rng), (), float(spot[2]), False))
    return made


def guts(spine: Spine, coat: Coat, rng: Rng, young: bool, spots: int) -> list[Inner]:
    """A gut line, fat spots, and young with eyes inside, as (solid, colour, depth)."""
    uni = rng.uniform
    made: list[Inner] = []
    strength = uni(0.1, 1.3) * (coat.flesh_depth + 0.25)
    if rng.random() < 0.75:
        first = uni(0.05, 0.3)
        span = (first, uni(first + 0.35, 0.97))
        width = uni(0.15, 0.45)
        gut = spine.solid(width, width, rng.normal(0, 0.12), rng.normal(-0.1, 0.15), span)
        wobble = 1 + 0.3 * np.sin(gut.along * uni(10, 40) + uni(0, 6))
        made.append(
            (
                replace(gut, radii=gut.radii * wobble[:, None]),
                colour(rng, "dark_green olive brown dark_brown amber black"),
                strength,
            )
        )
    for tone, number, size in ((colour(rng, "white cream yellow"), spots, 0.14), (colour(rng, DARKS), spots // 3, 0.1)):
        if number:
            pieces = []
            for i in rng.integers(len(spine.along) // 8, len(spine.along) * 7 // 8, number):
                spot = spine.centres[i] + uni(-0.55, 0.55, 2) @ spine.frames[i, 1:] * spine.radius[i]
                r = spine.radius[i] * size * uni(0.5, 1.6)
                pieces.append(blob(spot, (r, r, r)))
            made.append((join(pieces), tone, strength * 0.6))
    if young:
        eggs, eyes = [], []
        for _ in range(int(rng.integers(2, 9))):
            i = spine.at(uni(0.35, 0.85))
            spot = spine.centres[i] + uni(-0.5, 0.5, 2) @ spine.frames[i, 1:] * spine.radius[i]
            r = spine.radius[i] * uni(0.2, 0.33)
            eggs.append(blob(spot, (1.8 * r, r, r), spine.frames[i].T @ turn(2, rng.normal(0, 0.4))))
            eyes += [
                blob(spot + spine.frames[i, 0] * r * 1.2 + spine.frames[i, 1] * r * s, (0.02, 0.02, 0.02))
                for s in (-0.6, 0.6)
            ]
        made.append((join(eggs), colour(rng, "cream lime green tan orange"), strength * 0.8))
        made.append((join(eyes), colour(rng, "red black dark_brown"), strength * 1.2))
    return made


def assemble(
    spine: Spine,
    coat: Coat,
    rng: Rng,
    *,
    tall: float,
    head_size: float,
    young: bool,
    spots: int,
    skull_coat: Coat | None,
    limbs: list[Thing],
    eye: float,
) -> tuple[list[Thing], Doubles]:
    """Trunk, head with eyes, and limbs; gives the things and the head's place (3,) mm."""
    uni = rng.uniform
    squash = rng.choice([1.0, uni(0.4, 0.75)], p=[0.8, 0.2])
    end = rng.choice([1.0, uni(0.6, 0.9)], p=[0.93, 0.07])
    trunk = spine.solid(1 / np.sqrt(squash), tall * squash, span=(0.0, end))
    inner = tuple(guts(spine, coat, rng, young, spots))
    tail, side_way, back = spine.frames[0]
    r = head_size
    head = spine.centres[0] + tail * r * uni(-0.2, 0.35) - back * r * uni(-0.1, 0.35)
    skull = blob(head, (r * uni(0.75, 1.05), r, r * uni(0.7, 0.95)), spine.frames[0].T)
    things: list[Thing] = list(limbs)
    if skull_coat is None:
        trunk = join([trunk, skull], 0.35 * r * r)
    else:
        things.append(Part(skull, skull_coat, (), 0.001))
    things.append(Part(trunk, coat, inner))
    tone = colour(rng, "black dark_brown red")
    for side in (-1, 1):
        spot = head + side * side_way * r * 0.8 - tail * r * 0.3 + back * r * 0.15
        e = r * eye * uni(0.8, 1.3)
        things.append(
            Part(
                blob(spot, (e, e, e)),
                Coat(tone, tone, skin_depth=0.7, flesh_depth=0.9, glint=0.3),
                (),
                float(spot[2] * 0.2 + 0.002),
                False,
            )
        )
    return things + debris(spine, rng), head


def bow(spine: Spine, lie: Stance, more_mm: float = 0.0) -> float:
    """Length along a strongly bent spine as the eye sees it, in mm; 0 where the body is nearly straight."""
    if not lie.bowed:
        return 0.0
    return float(np.linalg.norm(np.diff(spine.centres[:, :2], axis=0), axis=1).sum() + more_mm)
