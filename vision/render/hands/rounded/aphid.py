"""Wingless and winged aphids, their empty skins."""

from dataclasses import replace

import numpy as np

from vision.render.hands.rounded.build import Spine, ball, join, leg, limb, spine, tube, whip
from vision.render.hands.rounded.matter import (
    Blobs,
    Colour,
    Limb,
    Marks,
    Points,
    Sheet,
    Solid,
    State,
    Stuff,
    Thing,
    state,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import broad, turn
from vision.types import FloatArray

_COLOURS: tuple[Colour, ...] = (
    (0.36, 0.5, 0.1),
    (0.2, 0.34, 0.07),
    (0.24, 0.25, 0.07),
    (0.2, 0.11, 0.05),
    (0.035, 0.03, 0.028),
    (0.33, 0.32, 0.29),
    (0.42, 0.15, 0.09),
    (0.66, 0.64, 0.5),
    (0.6, 0.58, 0.2),
    (0.1, 0.13, 0.06),
    (0.5, 0.36, 0.22),
)
_KNOTS = (0.0, 0.08, 0.22, 0.4, 0.56, 0.68, 0.8, 0.9, 1.0)
_SHAPES = (
    (0.2, 0.5, 0.88, 1.0, 0.92, 0.72, 0.55, 0.42, 0.26),
    (0.25, 0.58, 0.9, 1.0, 0.98, 0.9, 0.75, 0.55, 0.3),
    (0.12, 0.36, 0.7, 0.94, 1.0, 0.86, 0.64, 0.46, 0.28),
    (0.3, 0.72, 1.0, 0.98, 0.82, 0.62, 0.5, 0.42, 0.3),
)


def _marks(rng: np.random.Generator) -> Marks:
    """Dark cross bands, rows of spots, a back patch or freckles over the back."""
    style, bands, soft = int(rng.integers(4)), rng.uniform(6, 10), rng.uniform(4, 12)
    phase, side = rng.uniform(0, 6.3), rng.uniform(0.3, 0.6)

    def bands_of(along: FloatArray, left: FloatArray, up: FloatArray) -> FloatArray:
        ring = 1.0 / (1.0 + np.exp(-soft * (np.cos(along * bands * 6.3 + phase) - 0.1)))
        back = 1.0 / (1.0 + np.exp(-8.0 * (up - 0.25)))
        if style == 0:
            return np.asarray(ring * back * (along < 0.75), np.float32)
        if style == 1:
            return np.asarray(ring * np.exp(-(((np.abs(left) - side) / 0.14) ** 2)) * back, np.float32)
        if style == 2:
            return np.asarray(back * np.exp(-(((along - 0.4) / 0.22) ** 4)) * (np.abs(left) < 0.65), np.float32)
        return np.asarray(
            back * np.clip(np.sin(along * 60 + phase) * np.sin(left * 14 + phase * 2) * 3 - 1, 0, 1), np.float32
        )

    return bands_of


def _organs(line: Spine, size: float, wide: float, colour: Colour, how: State, rng: np.random.Generator) -> list[Solid]:
    """Gut, young with eye spots, fat."""
    made: list[Solid] = []
    if rng.random() < 0.75:
        gut = stuff(
            vary((0.2, 0.22, 0.06) if rng.random() < 0.6 else (0.35, 0.2, 0.08), rng),
            rng.uniform(0.2, 0.75),
            0.15 * size,
        )
        half = wide * np.array([0.12, 0.3, 0.22, 0.34, 0.15, 0.1]) * rng.uniform(0.6, 1.3)
        made.append(Solid(tube(line, size, (0.1, 0.25, 0.4, 0.55, 0.7, 0.85), half, 7, 0.8, 1.1, (0.1, 0.85)), gut))
    if rng.random() < 0.65:
        young = stuff(vary(colour, rng, 0.3), rng.uniform(0.2, 0.6), 0.2 * size)
        eyes = stuff((0.2, 0.03, 0.02), rng.uniform(0.5, 0.95), 0.04 * size)
        grubs, dots = [], []
        for _ in range(int(rng.integers(2, 8))):
            spot = line.at(rng.uniform(0.14, 0.55), rng.normal(0, 0.42) * wide, rng.normal(0, 0.25) * wide)
            grubs.append(ball(spot, np.array([0.13, 0.065, 0.065]) * size * rng.uniform(0.7, 1.1), line, 0.4))
            dots.append(ball(spot + np.array([0.07 * size, 0.03 * size, 0.0]), (0.017 * size,) * 3, line, 0.4))
        made += [Solid(join(*grubs), young, 8.0), Solid(join(*dots), eyes, 8.0)]
    if rng.random() < 0.4:
        fat = stuff((0.75, 0.7, 0.5), rng.uniform(0.1, 0.45), 0.08 * size)
        lumps = [
            ball(line.at(rng.uniform(0.1, 0.7), rng.normal(0, 0.5) * wide, 0), rng.uniform(0.025, 0.06, 3) * size, line)
            for _ in range(int(rng.integers(4, 11)))
        ]
        made.append(Solid(join(*lumps), fat, 8.0))
    return made


def _limbs(
    line: Spine, size: float, wide: float, high: float, how: State, dark: Stuff, rng: np.random.Generator, tubes: Stuff
) -> list[Limb]:
    """Legs, feelers, cornicles and tail."""
    made: list[Limb] = []
    thick = float(np.clip(size * rng.uniform(0.009, 0.02), 0.007, 0.03))
    long, tucked = size * rng.uniform(0.55, 1.05), rng.random() < 0.2
    for sign in (-1.0, 1.0):
        for along, ahead, reach in ((0.8, 0.75, 0.7), (0.7, -0.15, 0.8), (0.6, -0.8, 1.1)):
            if rng.random() > how.keep:
                continue
            way = ahead + rng.normal(0, 0.22)
            out = line.way(along, way, sign * np.sqrt(max(1.0 - way * way * 0.6, 0.2)), 0.0)
            start = line.at(along, sign * wide * 0.42, -0.6 * high)
            made.append(
                leg(
                    start,
                    out,
                    line.way(along, 1, 0, 0),
                    line.way(along, 0, 0, 1),
                    long * reach,
                    thick,
                    dark,
                    rng,
                    tucked,
                )
            )
        if rng.random() < how.keep + 0.1:
            start = line.at(0.97, sign * wide * 0.16, 0.1 * high)
            first = line.way(0.97, rng.uniform(0.3, 1.0), sign * rng.uniform(0.3, 1.0), 0.3)
            last = line.way(0.97, rng.uniform(-1.6, 0.3), sign * rng.uniform(0.0, 0.9), 0.1)
            made.append(
                whip(
                    start, first, size * rng.uniform(0.4, 1.15), last, (thick * 1.1, thick * 0.7, thick * 0.45), dark, 6
                )
            )
        start = line.at(rng.uniform(0.17, 0.23), sign * wide * rng.uniform(0.5, 0.62), 0.45 * high)
        flare = line.way(0.2, -1.0, sign * rng.uniform(0.1, 0.6), rng.uniform(0.0, 0.5))
        width = size * rng.uniform(0.015, 0.028)
        made.append(limb(start, [flare * size * rng.uniform(0.06, 0.2)], (width * 1.2, width * 0.8), tubes))
        eye = line.at(0.93, sign * wide * 0.3, 0.12 * high)
        made.append(
            limb(
                eye,
                [line.way(0.9, 0.01 * size, 0, 0)],
                (0.024 * size,) * 2,
                stuff((0.12, 0.02, 0.02), 0.93, 0.04 * size),
            )
        )
    tail = line.way(0.0, -1, 0, 0.1) * size * rng.uniform(0.02, 0.06)
    made.append(limb(line.at(0.03), [tail], (0.03 * size, 0.016 * size), tubes))
    return made


def _wings(
    line: Spine, size: float, wide: float, high: float, rng: np.random.Generator, dark: Stuff
) -> tuple[list[Sheet], list[Limb]]:
    sheets, veins = [], []
    spread = rng.uniform(0.15, 1.3)
    for sign in (-1.0, 1.0):
        for share, angle in ((1.35, spread), (0.8, spread * 0.7)):
            angle = angle + rng.normal(0, 0.08)
            root = line.at(0.7, sign * wide * 0.35, high * 0.85)
            axis = line.way(0.7, -np.cos(angle), sign * np.sin(angle), 0.12)
            cross = line.way(0.7, np.sin(angle), sign * np.cos(angle), 0.0)
            part = np.linspace(0, 1, 14)
            lead, trail = 0.09 * np.sin(np.pi * part) ** 0.6, -0.26 * np.sin(np.pi * part**1.5) ** 0.8
            path = np.concatenate([np.stack([part, lead], 1), np.stack([part, trail], 1)[::-1]]) * size * share
            sheets.append(
                Sheet(root + path[:, :1] * axis + path[:, 1:] * cross, (0.1, 0.11, 0.13), (0.6, 0.6, 0.58), 0.3)
            )
            edge = root + (part[:, None] * axis + lead[:, None] * cross) * size * share
            veins.append(Limb(edge[::2], np.full(7, 0.009 * size), dark))
            veins.extend(
                limb(
                    edge[int(stem * 13)],
                    [(axis * 0.22 - cross * 0.2) * size * share],
                    (0.006 * size, 0.004 * size),
                    dark,
                )
                for stem in (0.3, 0.5, 0.7)
            )
    return sheets, veins


def aphid(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One aphid of 0.8 to 2.6 mm and the view of it."""
    size = float(rng.uniform(0.8, 2.6))
    how = state(rng)
    colour = vary(_COLOURS[int(rng.integers(len(_COLOURS)))], rng)
    winged = rng.random() < 0.13
    wide = size * rng.uniform(0.22, 0.33) * how.wide * (0.78 if winged else 1.0)
    high = wide * rng.uniform(0.7, 0.95) * how.flat
    line = spine(size, rng.normal(0, 0.25, 3))
    opacity = float(rng.uniform(0.3, 0.97)) if max(colour) > 0.15 else float(rng.uniform(0.85, 0.995))
    skin = stuff(
        colour,
        opacity,
        2 * high,
        how,
        rim=rng.uniform(-0.3, 0.7),
        gloss=rng.uniform(0.05, 0.7),
        bump=rng.uniform(0.02, 0.35),
        grain=rng.uniform(0.05, 0.45),
        grain_mm=size * rng.uniform(0.04, 0.16),
    )
    depth = rng.uniform(0.2, 1.5)
    skin = replace(skin, mark_depth=(depth * 0.8, depth, depth * 1.2))
    shape = np.array(_SHAPES[int(rng.integers(len(_SHAPES)))]) * np.exp(rng.normal(0, 0.07, 9)) * wide
    shades = np.exp(rng.normal(0, 0.22, 10))
    shades[7:] *= rng.uniform(1.0, 2.2)
    blobs = tube(line, size, _KNOTS, shape, 10, high / wide, rng.uniform(1.05, 1.7), dark=shades)
    limb_colour = vary((0.2, 0.14, 0.07) if rng.random() < 0.6 else (0.45, 0.4, 0.2), rng)
    dark = stuff(limb_colour, rng.uniform(0.35, 0.93), size * 0.025, how, rim=0.1, grain=0.0)
    tubes = stuff((0.05, 0.04, 0.03), 0.92, size * 0.03, rim=0.1) if rng.random() < 0.5 else dark
    sheets, veins = _wings(line, size, wide, high, rng, dark) if winged else ([], [])
    marks = _marks(rng) if rng.random() < 0.5 else None
    roll = float(rng.choice([0.0, np.pi / 2, -np.pi / 2, np.pi], p=[0.55, 0.16, 0.14, 0.15]) + rng.normal(0, 0.22))
    thing = Thing(
        (Solid(blobs, skin, rng.uniform(3.5, 8.0), marks),),
        tuple(_organs(line, size, wide, colour, how, rng)),
        tuple(_limbs(line, size, wide, high, how, dark, rng, tubes) + veins),
        tuple(sheets),
        length_mm=size,
        width_mm=broad(wide, high, roll),
    )
    return thing, turn(roll, rng.normal(0, 0.12), rng.uniform(0, 6.28))


def skin(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Empty cast skin of an aphid: thin wrinkled walls, split back, sheaths of legs."""
    size = float(rng.uniform(0.6, 2.0))
    how = State(1.0, 0.0, 0.6, 1.0, 0.0, rng.uniform(0.4, 1.0))
    wide, high = size * rng.uniform(0.17, 0.3), size * rng.uniform(0.06, 0.16)
    line = spine(size, rng.normal(0, 0.6, 3))
    colour = vary((0.75, 0.72, 0.62) if rng.random() < 0.75 else (0.5, 0.42, 0.3), rng, 0.1)
    walls = rng.uniform(0.006, 0.02)
    made = stuff(
        colour,
        rng.uniform(0.08, 0.42),
        walls * 2,
        rim=rng.uniform(-0.4, 0.5),
        gloss=0.5,
        bump=rng.uniform(0.4, 1.0),
        grain=rng.uniform(0.3, 0.7),
        grain_mm=size * rng.uniform(0.05, 0.12),
        crease=rng.uniform(0.1, 0.5),
        shell_mm=walls,
    )
    shape = np.array(_SHAPES[int(rng.integers(len(_SHAPES)))]) * np.exp(rng.normal(0, 0.2, 9)) * wide
    blobs: Blobs = tube(line, size, _KNOTS, shape, 9, high / wide, 1.15, dark=np.exp(rng.normal(0, 0.3, 9)))
    sheath = stuff(colour, rng.uniform(0.15, 0.5), size * 0.03, rim=0.4, grain=0.3)
    limbs = _limbs(line, size, wide, high, how, sheath, rng, sheath)
    limbs = [one for one in limbs if one.radii_mm[0] != 0.024 * size]
    roll = float(rng.choice([0.0, np.pi / 2, np.pi], p=[0.6, 0.25, 0.15]) + rng.normal(0, 0.2))
    split = stuff((0.8, 0.78, 0.7), 0.3, 0.1 * high)
    slit = Solid(ball(line.at(0.7, 0, high * 0.5), (0.14 * size, 0.03 * size, high * 0.5), line, 0.7), split)
    thing = Thing(
        (Solid(blobs, made, rng.uniform(5, 12)),),
        (slit,),
        tuple(limbs),
        length_mm=size,
        width_mm=broad(wide, high, roll),
    )
    return thing, turn(roll, rng.normal(0, 0.12), rng.uniform(0, 6.28))
