"""Thrips and gnats: slender bodies with wings."""

import numpy as np

from vision.render.hands.rounded.build import Spine, ball, join, leg, limb, spine, tube, whip
from vision.render.hands.rounded.matter import (
    Colour,
    Hairs,
    Limb,
    Points,
    Sheet,
    Solid,
    Stuff,
    Thing,
    state,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import turn


def thrips(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One thrips of 0.5 to 1.6 mm, grown or young."""
    young = rng.random() < 0.3
    size = float(rng.uniform(0.5, 1.0) if young else rng.uniform(0.75, 1.6))
    how = state(rng)
    choice: tuple[Colour, ...] = (
        ((0.7, 0.66, 0.4), (0.75, 0.73, 0.6))
        if young
        else ((0.62, 0.46, 0.12), (0.25, 0.14, 0.06), (0.04, 0.03, 0.025), (0.5, 0.3, 0.1), (0.12, 0.08, 0.05))
    )
    colour = vary(choice[int(rng.integers(len(choice)))], rng)
    wide = size * rng.uniform(0.085, 0.11) * how.wide
    high = wide * 0.8 * max(how.flat, 0.6)
    line = spine(size, rng.normal(0, 0.55, 3))
    opacity = rng.uniform(0.25, 0.6) if young else rng.uniform(0.5, 0.97)
    skin = stuff(
        colour,
        opacity,
        2 * high,
        how,
        rim=rng.uniform(-0.2, 0.5),
        gloss=0.4,
        bump=0.1,
        grain=rng.uniform(0.05, 0.35),
        grain_mm=0.07,
    )
    knots = (0.0, 0.06, 0.2, 0.4, 0.56, 0.62, 0.7, 0.76, 0.8, 0.87, 0.91, 0.97, 1.0)
    half = np.array([0.12, 0.3, 0.72, 0.98, 0.86, 0.8, 0.97, 0.95, 0.72, 0.78, 0.52, 0.55, 0.36]) * wide
    shade = np.exp(rng.normal(0, 0.15, 16)) * (1.0 + rng.uniform(0, 0.5) * (np.arange(16) % 2))
    shade[:2] *= rng.uniform(1.0, 2.4)
    blobs = tube(line, size, knots, half, 16, high / wide, rng.uniform(0.95, 1.3), dark=shade)
    dark = stuff(colour, min(opacity + 0.15, 0.93), 0.03 * size, how, rim=0.1, grain=0.0)
    organs = [
        Solid(
            tube(line, size, (0.0, 0.5, 1.0), [0.25 * wide, 0.45 * wide, 0.2 * wide], 7, 1.0, 1.1, (0.08, 0.75)),
            stuff(vary((0.3, 0.22, 0.06), rng), rng.uniform(0.1, 0.6), wide),
        )
    ]
    limbs: list[Limb] = []
    thick = size * rng.uniform(0.012, 0.02)
    eye = stuff((0.25, 0.03, 0.02) if young else (0.04, 0.02, 0.02), 0.92, 0.04 * size)
    for sign in (-1.0, 1.0):
        for along, ahead in ((0.85, 0.7), (0.73, -0.2), (0.64, -0.8)):
            if rng.random() < how.keep:
                way = line.way(along, ahead + rng.normal(0, 0.25), sign * 0.75, 0.0)
                limbs.append(
                    leg(
                        line.at(along, sign * 0.5 * wide, -0.5 * high),
                        way,
                        line.way(along, 1, 0, 0),
                        line.way(along, 0, 0, 1),
                        size * rng.uniform(0.2, 0.3),
                        thick,
                        dark,
                        rng,
                    )
                )
        if rng.random() < how.keep + 0.2:
            bead, heading = line.at(0.99, sign * 0.22 * wide, 0), line.way(1.0, 1.0, sign * rng.uniform(0.15, 0.6), 0)
            radii = np.array([1.0, 0.7, 1.25, 0.7, 1.2, 0.7, 1.1, 0.5]) * size * 0.014
            limbs.append(limb(bead, [heading * size * rng.uniform(0.018, 0.03)] * 7, radii, dark))
        limbs.append(
            limb(line.at(0.95, sign * 0.42 * wide, 0.3 * high), [line.way(0.95, 0.006, 0, 0)], (0.26 * wide,) * 2, eye)
        )
    sheets: list[Sheet] = []
    hairs: list[Hairs] = []
    if not young and rng.random() < 0.85:
        spread = rng.uniform(0.0, 0.12) if rng.random() < 0.6 else rng.uniform(0.3, 1.2)
        _strips(line, size, wide, high, spread, dark, rng, limbs, sheets, hairs)
    tip = [
        np.stack(
            [
                line.at(a, s * wide * 0.3, 0),
                line.at(a, s * wide * 0.5, 0) + line.way(a, -0.1 * size, s * 0.05 * size, 0),
            ]
        )
        for a in (0.02, 0.1)
        for s in (-1.0, 1.0)
    ]
    hairs.append(Hairs(tuple(tip), 0.006, 1.0, (0.1, 0.08, 0.05)))
    roll = float(rng.choice([0.0, np.pi / 2, np.pi], p=[0.66, 0.17, 0.17]) + rng.normal(0, 0.2))
    thing = Thing(
        (Solid(blobs, skin, rng.uniform(5, 10)),),
        tuple(organs),
        tuple(limbs),
        tuple(sheets),
        tuple(hairs),
        length_mm=size,
        width_mm=2 * wide,
    )
    return thing, turn(roll, rng.normal(0, 0.1), rng.uniform(0, 6.28))


def _strips(
    line: Spine,
    size: float,
    wide: float,
    high: float,
    spread: float,
    dark: Stuff,
    rng: np.random.Generator,
    limbs: list[Limb],
    sheets: list[Sheet],
    hairs: list[Hairs],
) -> None:
    """Narrow wings with a fringe of hairs on the hind edge."""
    part = np.linspace(0, 1, 9)
    for sign in (-1.0, 1.0):
        for share in (0.62, 0.52):
            angle = spread * rng.uniform(0.8, 1.2) + 0.04
            root = line.at(0.72, sign * wide * 0.4, high)
            axis = line.way(0.5, -np.cos(angle), sign * np.sin(angle), -0.05)
            cross = line.way(0.5, np.sin(angle), sign * np.cos(angle), 0.0)
            thin = 0.028 * size * np.sin(np.pi * part**0.8) ** 0.5
            path = np.concatenate(
                [np.stack([part * size * share, thin], 1), np.stack([part * size * share, -thin], 1)[::-1]]
            )
            tone = rng.uniform(0.15, 0.6)
            sheets.append(
                Sheet(
                    root + path[:, :1] * axis + path[:, 1:] * cross,
                    (tone * 0.8, tone, tone * 1.2),
                    (0.45, 0.4, 0.3),
                    0.2,
                )
            )
            limbs.append(limb(root + cross * 0.025 * size, [axis * size * share], (0.007 * size, 0.004 * size), dark))
            combs = []
            for at in np.linspace(0.15, 1.0, 17):
                base = root + axis * at * size * share
                combs.append(
                    np.stack(
                        [
                            base,
                            base + (axis * 0.09 - cross * 0.08 * (1 if spread > 0.2 else rng.choice([-1, 1]))) * size,
                        ]
                    )
                )
            hairs.append(Hairs(tuple(combs), 0.005, rng.uniform(0.4, 1.2), (0.3, 0.26, 0.2)))


def gnat(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One small fly of 1 to 3 mm."""
    size, how = float(rng.uniform(1.0, 3.0)), state(rng)
    choice: tuple[Colour, ...] = (
        (0.05, 0.04, 0.035),
        (0.16, 0.1, 0.06),
        (0.3, 0.22, 0.1),
        (0.32, 0.38, 0.16),
        (0.09, 0.08, 0.08),
    )
    colour = vary(choice[int(rng.integers(len(choice)))], rng)
    slim = rng.uniform(0.06, 0.1)
    wide = size * slim * how.wide
    line = spine(size, [rng.normal(0, 0.15), rng.normal(0, 0.3), 0.0])
    hump = rng.uniform(1.3, 1.9)
    make = {
        "rim": rng.uniform(0, 0.5),
        "gloss": rng.uniform(0.1, 0.7),
        "bump": rng.uniform(0.05, 0.3),
        "grain": rng.uniform(0.1, 0.4),
    }
    belly = stuff(vary(colour, rng, 0.3), rng.uniform(0.4, 0.95), 2 * wide, how, **make)
    chest = stuff(colour, rng.uniform(0.8, 0.99), 2 * wide, how, **make)
    shade = np.exp(rng.normal(0, 0.25, 9)) * (1.0 + rng.uniform(0, 0.8) * (np.arange(9) % 2))
    droop = rng.uniform(0.0, 0.7)
    tail = tube(
        line,
        size,
        (0.0, 0.1, 0.35, 0.5, 0.6),
        np.array([0.35, 0.7, 1.1, 0.95, 0.7]) * wide,
        9,
        1.0,
        rng.uniform(0.9, 1.3),
        (0.0, 0.62),
        shade,
    )
    tail.centre[:, 2] -= (0.62 - tail.along) * droop * wide * 2
    thorax = join(
        ball(line.at(0.72, 0, 0.25 * wide), (0.14 * size, wide * hump * 0.85, wide * hump), line, 0.72),
        ball(line.at(0.63, 0, 0.1 * wide), (0.08 * size, wide * 0.9, wide), line, 0.63),
    )
    head = ball(line.at(0.925, 0, -0.35 * wide), (0.07 * size, wide * 0.85, wide * 0.85), line, 0.92)
    solids = (Solid(tail, belly, rng.uniform(5, 11)), Solid(thorax, chest, 4.0), Solid(head, chest, 4.0))
    dark = stuff(vary((0.12, 0.08, 0.05), rng), rng.uniform(0.4, 0.93), 0.02 * size, how, rim=0.1, grain=0.0)
    limbs: list[Limb] = []
    sheets: list[Sheet] = []
    hairs: list[Hairs] = []
    thick = float(np.clip(size * rng.uniform(0.006, 0.012), 0.007, 0.03))
    eye = stuff((0.06, 0.02, 0.02), 0.97, 0.05 * size, gloss=0.6)
    feather = rng.random() < 0.35
    flap, vein_root = rng.uniform(0.05, 0.25) if rng.random() < 0.5 else rng.uniform(0.6, 1.5), wide * hump * 0.6
    for sign in (-1.0, 1.0):
        for along, ahead, reach in ((0.77, 0.8, 0.8), (0.7, -0.1, 0.85), (0.64, -0.75, 1.05)):
            if rng.random() < how.keep:
                way = line.way(along, ahead + rng.normal(0, 0.3), sign * 0.75, 0.0)
                limbs.append(
                    leg(
                        line.at(along, sign * 0.4 * wide, -wide),
                        way,
                        line.way(along, 1, 0, 0),
                        line.way(along, 0, 0, 1),
                        size * reach * rng.uniform(0.8, 1.2),
                        thick,
                        dark,
                        rng,
                        rng.random() < 0.15,
                    )
                )
        start = line.at(0.97, sign * 0.3 * wide, 0)
        stem = whip(
            start,
            line.way(1, 0.8, sign * 0.7, 0.2),
            size * rng.uniform(0.18, 0.4),
            line.way(1, 0.5, sign * rng.uniform(0.2, 1.5), 0),
            (thick, thick * 0.5),
            dark,
            6,
        )
        limbs.append(stem)
        limbs.append(
            limb(line.at(0.92, sign * 0.62 * wide, -0.25 * wide), [line.way(0.9, 0.01, 0, 0)], (0.42 * wide,) * 2, eye)
        )
        if feather:
            combs = [
                np.stack([p, p + line.way(1, rng.normal(0.5, 0.3), side, 0) * size * 0.07])
                for p in np.repeat(stem.points[1:], 3, 0)
                for side in (-1.0, 1.0)
            ]
            hairs.append(Hairs(tuple(combs), 0.006, 0.9, (0.12, 0.1, 0.08)))
        _wing(line, size, sign, flap + rng.normal(0, 0.1), vein_root, dark, rng, limbs, sheets)
    roll = float(rng.choice([0.0, 1.4, -1.4, np.pi], p=[0.45, 0.23, 0.22, 0.1]) + rng.normal(0, 0.2))
    thing = Thing(solids, (), tuple(limbs), tuple(sheets), tuple(hairs), length_mm=size, width_mm=2 * wide * hump * 0.9)
    return thing, turn(roll, rng.normal(0, 0.1), rng.uniform(0, 6.28))


def _wing(
    line: Spine,
    size: float,
    sign: float,
    angle: float,
    root_up: float,
    dark: Stuff,
    rng: np.random.Generator,
    limbs: list[Limb],
    sheets: list[Sheet],
) -> None:
    """One clear wing with long and forked veins."""
    root, reach = line.at(0.7, sign * root_up, root_up), size * rng.uniform(0.7, 0.95)
    axis = line.way(0.7, -np.cos(angle), sign * np.sin(angle), rng.uniform(-0.1, 0.25))
    cross = line.way(0.7, np.sin(angle), sign * np.cos(angle), 0.0)
    part = np.linspace(0, 1, 16)
    lead, trail = 0.1 * np.sin(np.pi * part) ** 0.7, -rng.uniform(0.2, 0.32) * np.sin(np.pi * part**1.4) ** 0.75
    path = np.concatenate([np.stack([part, lead], 1), np.stack([part, trail], 1)[::-1]]) * reach
    tone = rng.uniform(0.06, 0.4)
    sheets.append(
        Sheet(root + path[:, :1] * axis + path[:, 1:] * cross, (tone, tone, tone * 1.1), (0.5, 0.5, 0.48), 0.35)
    )
    for level, last in ((1.0, 1.0), (0.35, 0.97), (-0.25, 0.9), (-0.7, 0.7)):
        stretch = np.linspace(0.02, last, 6)
        offset = np.interp(stretch, part, lead) * max(level, 0) + np.interp(stretch, part, trail) * max(-level, 0)
        line_points = root + (stretch[:, None] * axis + offset[:, None] * cross) * reach
        limbs.append(Limb(line_points, np.linspace(0.008, 0.004, 6) * size * (1.2 if level == 1.0 else 0.7), dark))
