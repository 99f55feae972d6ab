"""Caterpillars and maggots: ringed tubes, straight or bent."""

from dataclasses import replace

import numpy as np

from vision.render.hands.rounded.build import Spine, ball, join, limb, spine, tube
from vision.render.hands.rounded.matter import (
    Colour,
    Hairs,
    Limb,
    Marks,
    Points,
    Solid,
    Stuff,
    Thing,
    state,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import turn
from vision.types import FloatArray

_GREEN: tuple[Colour, ...] = (
    (0.3, 0.48, 0.12),
    (0.5, 0.6, 0.28),
    (0.7, 0.66, 0.46),
    (0.4, 0.27, 0.15),
    (0.2, 0.22, 0.1),
    (0.62, 0.58, 0.5),
    (0.16, 0.3, 0.08),
    (0.55, 0.4, 0.34),
)
_PALE: tuple[Colour, ...] = (
    (0.78, 0.75, 0.62),
    (0.8, 0.78, 0.72),
    (0.7, 0.62, 0.35),
    (0.6, 0.64, 0.4),
    (0.72, 0.5, 0.36),
)


def _posture(rng: np.random.Generator) -> tuple[list[float], bool]:
    """Bends of three to five stretches, and whether the body lies in a bow."""
    pick = rng.choice(4, p=[0.36, 0.32, 0.16, 0.16])
    sign = float(rng.choice([-1.0, 1.0]))
    if pick == 0:
        return list(rng.normal(0, 0.25, 4)), False
    if pick == 1:
        return list(sign * rng.uniform(1.6, 4.4) * np.array([0.8, 1.1, 1.1, 0.8])), True
    if pick == 2:
        turn_by = sign * rng.uniform(1.8, 3.6)
        return [turn_by, turn_by, -turn_by, -turn_by], True
    return [0.1, 0.2, sign * 1.0, sign * rng.uniform(2.5, 4.5)], True


def _stripes(rng: np.random.Generator, rings: int) -> Marks:
    """Lines along the body, dots on each ring, or cross bars."""
    style, wide, where = int(rng.integers(4)), rng.uniform(0.08, 0.2), rng.uniform(0.35, 0.8)

    def lines(along: FloatArray, left: FloatArray, up: FloatArray) -> FloatArray:
        around = np.arctan2(left, up)
        if style == 0:
            return np.asarray(
                np.exp(-((around / wide) ** 2)) + np.exp(-(((np.abs(around) - where * 2) / wide) ** 2)), np.float32
            )
        if style == 1:
            return np.asarray(np.exp(-(((np.abs(around) - where) / (wide * 1.3)) ** 2)), np.float32)
        if style == 2:
            ring = np.clip(np.cos(along * rings * 6.283) * 3 - 2, 0, 1)
            return np.asarray(ring * np.clip(np.cos(around * 6) * 3 - 1.6, 0, 1), np.float32)
        return np.asarray(np.clip(np.cos(along * rings * 6.283) * 2 - 0.8, 0, 1) * (up > -0.2), np.float32)

    return lines


def _feet(
    line: Spine, size: float, wide: float, high: float, made: Stuff, rng: np.random.Generator, keep: float
) -> list[Limb]:
    """Three pairs of pointed legs in front and stubs behind."""
    limbs = []
    for along, stub in (
        (0.88, False),
        (0.82, False),
        (0.76, False),
        (0.52, True),
        (0.44, True),
        (0.36, True),
        (0.28, True),
        (0.04, True),
    ):
        for sign in (-1.0, 1.0):
            if rng.random() > keep:
                continue
            start = line.at(along, sign * 0.5 * wide, -0.72 * high)
            way = line.way(along, rng.normal(0.1, 0.2), sign * 0.45, -0.8) * wide
            if stub:
                limbs.append(limb(start, [way * 0.5], (0.24 * wide, 0.2 * wide), made))
            else:
                limbs.append(
                    limb(
                        start,
                        [way * 0.45, way * 0.4 + line.way(along, 0.1 * wide, 0, 0)],
                        (0.15 * wide, 0.04 * wide),
                        made,
                    )
                )
    return limbs


def caterpillar(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One caterpillar of 2 to 12 mm."""
    size = float(np.exp(rng.uniform(np.log(2.0), np.log(12.0))))
    how = state(rng)
    bends, curved = _posture(rng)
    roll = float(rng.choice([0.0, 1.5, -1.5, np.pi], p=[0.4, 0.25, 0.25, 0.1]) + rng.normal(0, 0.25))
    line = spine(size, bends, roll)
    wide = size * rng.uniform(0.045, 0.095) * how.wide
    high = wide * float(np.clip(how.flat, 0.65, 1.05))
    colour = vary(_GREEN[int(rng.integers(len(_GREEN)))], rng)
    opacity = float(rng.uniform(0.25, 0.92))
    rings = int(rng.integers(12, 15))
    shade = np.exp(rng.normal(0, 0.12, rings * 2)) * (1.0 + rng.uniform(0.0, 0.5) * (np.arange(rings * 2) % 2))
    depth = rng.uniform(0.2, 1.4)
    pale = rng.random() < 0.3
    skin = stuff(
        colour,
        opacity,
        2 * high,
        how,
        rim=rng.uniform(-0.5, 0.7),
        gloss=rng.uniform(0.1, 0.6),
        bump=rng.uniform(0.05, 0.3),
        grain=rng.uniform(0.05, 0.4),
        grain_mm=wide * rng.uniform(0.2, 0.9),
    )
    shift = -0.3 * depth if pale else depth
    skin = replace(
        skin,
        mark_depth=(shift * 0.8, shift, shift),
        mark_albedo=(0.75, 0.75, 0.6) if pale else vary((0.12, 0.1, 0.06), rng),
    )
    taper = rng.uniform(0.5, 0.9)
    half = np.array([0.5 * taper, 0.85, 1.0, 1.0, 0.95, 0.9, 0.65]) * wide
    plump = np.repeat(np.exp(rng.normal(0, 0.03, rings)), 2) * np.where(
        np.arange(rings * 2) % 2, 1.0, rng.uniform(0.9, 1.0)
    )
    blobs = tube(
        line,
        size,
        (0.0, 0.07, 0.3, 0.6, 0.8, 0.92, 0.97),
        half,
        rings * 2,
        high / wide,
        rng.uniform(1.2, 1.6),
        (0.0, 0.955),
        shade,
    )
    blobs.radii[:, 1:] *= plump[:, None]
    head_colour = vary(
        ((0.05, 0.035, 0.025), (0.4, 0.22, 0.08), (0.5, 0.4, 0.15), (0.2, 0.1, 0.05))[int(rng.integers(4))], rng
    )
    crown = stuff(head_colour, rng.uniform(0.6, 0.99), 1.4 * wide, how, gloss=0.6, rim=0.3)
    across = wide * rng.uniform(0.62, 0.92)
    lobes = join(
        *(
            ball(line.at(0.962, s * 0.35 * across, 0), (0.036 * size, across * 0.68, across * 0.8), line, 0.965)
            for s in (-1.0, 1.0)
        )
    )
    organs = []
    if rng.random() < 0.85:
        gut = stuff(
            vary((0.16, 0.26, 0.06) if rng.random() < 0.6 else (0.3, 0.18, 0.08), rng), rng.uniform(0.15, 0.85), wide
        )
        width = rng.uniform(0.3, 0.62) * wide * np.exp(rng.normal(0, 0.3, 9))
        organs.append(Solid(tube(line, size, np.linspace(0.05, 0.85, 9), width, 15, 0.9, 1.2, (0.05, 0.88)), gut))
    solids = [
        Solid(blobs, skin, rng.uniform(4, 9), _stripes(rng, rings) if rng.random() < 0.6 else None),
        Solid(lobes, crown, 4.0),
    ]
    if rng.random() < 0.45:
        plate = ball(line.at(0.91, 0, 0.35 * high), (0.026 * size, wide * 0.66, high * 0.62), line, 0.9)
        solids.append(Solid(plate, crown, 4.0))
    feet = stuff(vary(colour, rng), min(opacity + 0.1, 0.95), 0.4 * wide, how)
    hairs = []
    if rng.random() < 0.5:
        lines = [
            np.stack(
                [
                    line.at(a, s * wide * 0.9, 0.3 * high),
                    line.at(a, s * wide * rng.uniform(1.3, 2.0), 0.5 * high)
                    + line.way(a, rng.normal(0, 0.3) * wide, 0, 0),
                ]
            )
            for a in np.linspace(0.06, 0.95, rings)
            for s in (-1.0, 1.0)
        ]
        hairs.append(Hairs(tuple(lines), rng.uniform(0.006, 0.012), 0.8, (0.2, 0.17, 0.12)))
    thing = Thing(
        tuple(solids),
        tuple(organs),
        tuple(_feet(line, size, wide, high, feet, rng, how.keep)),
        (),
        tuple(hairs),
        length_mm=size,
        width_mm=2 * wide,
        curved=curved,
    )
    return thing, turn(rng.normal(0, 0.08), rng.normal(0, 0.06), rng.uniform(0, 6.28))


def larva(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Pale maggot or tiny caterpillar of 0.4 to 1.6 mm."""
    size, how = float(rng.uniform(0.4, 1.6)), state(rng)
    bends, curved = _posture(rng)
    line = spine(size, bends, float(rng.normal(0, 0.8)))
    maggot = rng.random() < 0.55
    wide = size * (rng.uniform(0.1, 0.16) if maggot else rng.uniform(0.06, 0.1)) * how.wide
    high = wide * float(np.clip(how.flat, 0.65, 1.05))
    opacity = float(rng.uniform(0.15, 0.7))
    skin = stuff(
        vary(_PALE[int(rng.integers(len(_PALE)))], rng, 0.12),
        opacity,
        2 * high,
        how,
        rim=rng.uniform(-0.6, 0.8),
        gloss=rng.uniform(0.2, 0.7),
        bump=rng.uniform(0, 0.2),
        grain=rng.uniform(0.05, 0.4),
        grain_mm=wide * 0.5,
    )
    half = np.array([0.6, 0.95, 1.0, 0.85, 0.5, 0.2]) if maggot else np.array([0.6, 0.9, 1.0, 1.0, 0.95, 0.7])
    shade = np.exp(rng.normal(0, 0.18, 13))
    blobs = tube(
        line, size, (0.0, 0.1, 0.3, 0.6, 0.86, 1.0), half * wide, 13, high / wide, rng.uniform(0.95, 1.4), dark=shade
    )
    gut = stuff(vary((0.3, 0.26, 0.1) if rng.random() < 0.5 else (0.25, 0.12, 0.06), rng), rng.uniform(0.1, 0.8), wide)
    width = wide * rng.uniform(0.2, 0.55) * np.exp(rng.normal(0, 0.4, 7))
    organs = [
        Solid(tube(line, size, np.linspace(0.1, 0.8, 7), width, 9, 0.9, 1.1, (0.12, rng.uniform(0.5, 0.85))), gut)
    ]
    lumps = [
        ball(line.at(rng.uniform(0.1, 0.8), rng.normal(0, 0.5) * wide, 0), rng.uniform(0.15, 0.32, 3) * wide, line)
        for _ in range(7)
    ]
    organs.append(Solid(join(*lumps), stuff((0.8, 0.76, 0.6), rng.uniform(0.1, 0.6), 0.4 * wide), 8.0))
    black = stuff((0.04, 0.03, 0.02), rng.uniform(0.7, 0.99), 0.12 * wide)
    solids, limbs = [Solid(blobs, skin, rng.uniform(5, 10))], []
    if maggot:
        for sign in (-0.5, 0.5):
            hook = line.at(0.9, sign * 0.16 * wide, 0)
            organs.append(Solid(ball(hook, (0.06 * size, 0.1 * wide, 0.1 * wide), line, 0.92), black))
            if rng.random() < 0.6:
                organs.append(Solid(ball(line.at(0.03, sign * 0.5 * wide, 0), (0.12 * wide,) * 3, line, 0.03), black))
    else:
        cap = stuff(vary((0.3, 0.16, 0.07), rng, 0.4), rng.uniform(0.6, 0.98), wide, how, gloss=0.5)
        solids.append(Solid(ball(line.at(0.945), (0.06 * size, wide * 0.78, high * 0.75), line, 0.95), cap, 4.0))
        limbs = _feet(line, size, wide, high, stuff((0.6, 0.5, 0.35), opacity, 0.4 * wide), rng, how.keep * 0.7)
    thing = Thing(tuple(solids), tuple(organs), tuple(limbs), length_mm=size, width_mm=2 * wide, curved=curved)
    return thing, turn(rng.normal(0, 0.1), rng.normal(0, 0.08), rng.uniform(0, 6.28))
