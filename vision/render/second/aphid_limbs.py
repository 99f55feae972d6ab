"""Legs, antennae, wings and cornicles of aphids, grown in three dimensions and seen from above."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.second.limbs import Rod, Wing, jointed, rod, wing
from vision.render.second.matter import Matter
from vision.render.second.trunk import Trunk


@dataclass(frozen=True)
class AphidLimbs:
    """Rods by how dark they are, and wings."""

    pale: list[Rod]
    dark: list[Rod]
    wings: list[Wing]


def grow(rng: np.random.Generator, body: Trunk, form: str, *, few: bool, wanted: bool) -> AphidLimbs:
    """What this aphid still has of its limbs; `few`: heat and handling have cost it some."""
    limbs = AphidLimbs([], [], [])
    if not wanted:
        return limbs
    kept = rng.uniform(0.1, 1.0) if few or form == "mummy" else rng.uniform(0.75, 1.0)
    tucked = rng.random() < (0.45 if few else 0.2)
    thin = _thin(body.length_mm)
    tipped = rng.random() < 0.7
    for t, swing, long in ((0.2, 2.3, 0.24), (0.3, 1.75, 0.27), (0.4, 0.85, 0.36)):
        for side in (-1, 1):
            if rng.random() < kept:
                _leg(rng, limbs, body, t, side, swing, long, thin, tucked=tucked, tipped=tipped)
    for side in (-1, 1):
        if rng.random() < kept:
            _feeler(rng, limbs, body, side, thin, tipped=tipped)
    if form == "winged":
        _wings(rng, limbs, body, kept)
    return limbs


def leg_matter(rng: np.random.Generator, main: Matter, length_mm: float) -> Matter:
    """Legs are of the body's colour or darker, and hard, so that they show although they are thin."""
    wanted = -np.log(rng.uniform(0.35, 0.75)) / (2 * _thin(length_mm))
    tinted = main.times(wanted / main.strength())
    return Matter(tinted.swallows, tinted.haze, main.colour * np.float32(rng.uniform(0.45, 1.0)))


def _thin(length_mm: float) -> float:
    """Radius of a shin in mm."""
    return float(0.0125 * length_mm**0.7)


def _leg(
    rng: np.random.Generator,
    limbs: AphidLimbs,
    body: Trunk,
    t: float,
    side: int,
    swing: float,
    long: float,
    thin: float,
    *,
    tucked: bool,
    tipped: bool,
) -> None:
    """Thigh, shin and foot; `swing`: angle from the way to the tail."""
    length, back = body.length_mm, body.heading(t)
    aim = swing + rng.normal(0, 0.25)
    rise = rng.uniform(0.2, 0.8) if not tucked else rng.uniform(0.8, 1.3)
    thigh = (length * long * rng.uniform(0.85, 1.15), back + side * aim, rise)
    drop = aim - rng.uniform(0.1, 0.8) if swing < 2 else aim + rng.uniform(-0.2, 0.6)
    shin = (length * long * rng.uniform(1.2, 1.6), back + side * (drop + (1.4 if tucked else 0)), rng.uniform(0.1, 0.7))
    foot = (length * 0.07, back + side * (drop + rng.normal(0, 0.3)), 0.2)
    hip, knee, ankle, toe = jointed(body.at(t, side * 0.55), [thigh, shin, foot])
    limbs.pale.append(rod([hip, knee], 1.35 * thin, 0.95 * thin))
    limbs.pale.append(rod([knee, ankle], 0.85 * thin, 0.7 * thin))
    tip = limbs.dark if tipped else limbs.pale
    tip.append(rod([knee + 0.8 * (ankle - knee), ankle, toe], 0.72 * thin, 0.6 * thin))
    if tipped:
        limbs.dark.append(rod([hip + 0.85 * (knee - hip), knee], thin, 0.95 * thin))


def _feeler(rng: np.random.Generator, limbs: AphidLimbs, body: Trunk, side: int, thin: float, *, tipped: bool) -> None:
    """An antenna: forward in a V, or laid back along the flank as when the animal is disturbed."""
    length, front = body.length_mm, body.heading(0.02) + np.pi
    reach = length * rng.uniform(0.4, 0.95)
    first = -side * rng.uniform(0.1, 0.7)
    bend = -side * (rng.uniform(1.6, 2.6) if rng.random() < 0.55 else rng.uniform(-0.1, 0.6))
    links = [(reach * 0.12, front + first, 0.0)]
    links += [(reach * 0.22, front + first + bend * k / 4, 0.1) for k in (1, 2, 3, 4)]
    points = jointed(body.at(0.035, side * 0.55), links)
    limbs.pale.append(rod(points[:4], 0.8 * thin, 0.55 * thin))
    (limbs.dark if tipped else limbs.pale).append(rod(points[3:], 0.55 * thin, 0.35 * thin))


def _wings(rng: np.random.Generator, limbs: AphidLimbs, body: Trunk, kept: float) -> None:
    """Fore wings, folded along the body or spread; hind wings show when spread."""
    spread = float(rng.choice([0.12, 0.4, 1.0])) + rng.uniform(-0.05, 0.15)
    for side in (-1, 1):
        if rng.random() > 0.5 + kept / 2:
            continue
        heading = body.heading(0.4) + side * spread
        long = body.length_mm * rng.uniform(1.1, 1.35)
        root = body.at(0.28, side * 0.5)
        limbs.wings.append(wing(root, heading, long, long * rng.uniform(0.3, 0.38), -side * rng.uniform(0, 0.04)))
        if spread > 0.3:
            hind = body.at(0.36, side * 0.5)
            limbs.wings.append(wing(hind, heading - side * 0.45, long * 0.6, long * 0.17))


def veins(rng: np.random.Generator, one: Wing) -> list[Rod]:
    """The thick front vein with its dark spot near the tip, and slanting ones behind it."""
    front = float(rng.choice([-1, 1]))
    found = [one.vein([(0.02, 0), (0.4, front * 0.62), (0.72, front * 0.72)], 0.012)]
    found.append(one.vein([(0.6, front * 0.74), (0.76, front * 0.8)], 0.025))
    for start, end in ((0.25, 0.42), (0.38, 0.62), (0.55, 0.86)):
        found.append(
            one.vein([(start, front * 0.5 * start / 0.4), ((start + end) / 2, 0), (end, -front * 0.85)], 0.006)
        )
    return found


def horns(rng: np.random.Generator, body: Trunk, form: str) -> list[Rod]:
    """The two cornicles on the rear of the back, from mere rims to long tubes."""
    if form == "mummy":
        return []
    length = body.length_mm * rng.uniform(0.04, 0.22)
    thick = 0.018 * body.length_mm**0.8 * rng.uniform(0.8, 1.3)
    back = body.heading(0.8)
    found = []
    for side in (-1, 1):
        start = body.at(0.77, side * rng.uniform(0.6, 0.75))
        end = jointed(start, [(length, back + side * rng.uniform(0.1, 0.7), rng.uniform(0.1, 0.5))])[-1]
        found.append(rod([start, end], thick, 0.7 * thick))
    return found
