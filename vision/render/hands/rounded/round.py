"""Mites and eggs: small round bodies."""

from dataclasses import replace

import numpy as np

from vision.render.hands.rounded.build import ball, join, leg, limb, spine, tube
from vision.render.hands.rounded.matter import (
    Colour,
    Hairs,
    Limb,
    Marks,
    Points,
    Solid,
    Thing,
    state,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import broad, turn
from vision.types import FloatArray


def mite(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One mite of 0.2 to 0.6 mm with eight legs."""
    size, how = float(rng.uniform(0.22, 0.6)), state(rng)
    choice: tuple[Colour, ...] = (
        (0.5, 0.1, 0.05),
        (0.5, 0.3, 0.15),
        (0.7, 0.65, 0.45),
        (0.6, 0.62, 0.3),
        (0.2, 0.1, 0.05),
    )
    colour = vary(choice[int(rng.integers(len(choice)))], rng)
    line = spine(size, [0.0, 0.0])
    wide = size * rng.uniform(0.27, 0.4) * how.wide
    high = wide * rng.uniform(0.6, 0.95) * how.flat
    opacity = rng.uniform(0.3, 0.95)
    skin = stuff(
        colour,
        opacity,
        2 * high,
        how,
        rim=rng.uniform(-0.2, 0.6),
        gloss=rng.uniform(0.2, 0.8),
        bump=rng.uniform(0, 0.3),
        grain=rng.uniform(0.05, 0.4),
        grain_mm=0.05,
    )
    pear = rng.uniform(0.6, 1.0)
    blobs = tube(
        line,
        size,
        (0.0, 0.15, 0.4, 0.65, 0.85, 1.0),
        np.array([0.5, 0.85, 1.0, 0.9 * pear, 0.6 * pear, 0.3]) * wide,
        6,
        high / wide,
        1.5,
        (0.0, 0.93),
    )
    snout = ball(line.at(0.94), (0.07 * size, 0.2 * wide, 0.2 * wide), line, 0.95, 1.5)
    organs = []
    if rng.random() < 0.6:
        spots = [
            ball(
                line.at(rng.uniform(0.4, 0.62), s * wide * rng.uniform(0.4, 0.6), 0),
                np.array([0.16, 0.12, 0.12]) * size * rng.uniform(0.6, 1.2),
                line,
            )
            for s in (-1.0, 1.0)
        ]
        organs.append(Solid(join(*spots), stuff((0.08, 0.07, 0.04), rng.uniform(0.5, 0.95), 0.15 * size)))
    lumps = [
        ball(line.at(rng.uniform(0.15, 0.7), rng.normal(0, 0.4) * wide, 0), rng.uniform(0.03, 0.1, 3) * size, line)
        for _ in range(6)
    ]
    organs.append(Solid(join(*lumps), stuff(vary(colour, rng, 0.5), rng.uniform(0.15, 0.6), 0.1 * size), 8.0))
    dark = stuff(vary(colour, rng), min(opacity, 0.85), 0.06 * size, how, rim=0.2, grain=0.0)
    limbs: list[Limb] = []
    thick = float(np.clip(size * rng.uniform(0.025, 0.05), 0.008, 0.025))
    long, tucked = size * rng.uniform(0.4, 0.75), rng.random() < 0.25
    for sign in (-1.0, 1.0):
        for along, ahead in ((0.85, 0.95), (0.72, 0.5), (0.5, -0.45), (0.38, -0.85)):
            if rng.random() < how.keep:
                way = ahead + rng.normal(0, 0.15)
                out = line.way(along, way, sign * np.sqrt(max(1.0 - way * way * 0.7, 0.15)), 0)
                limbs.append(
                    leg(
                        line.at(along, sign * 0.55 * wide, -0.4 * high),
                        out,
                        line.way(along, 1, 0, 0),
                        line.way(along, 0, 0, 1),
                        long,
                        thick,
                        dark,
                        rng,
                        tucked,
                    )
                )
    hairs = []
    if rng.random() < 0.6:
        lines = []
        for _ in range(14):
            root = line.at(rng.uniform(0.05, 0.8), rng.choice([-1, 1]) * wide * 0.7, 0.4 * high)
            lines.append(np.stack([root, root * rng.uniform(1.2, 1.6) + line.way(0.5, -0.1 * size, 0, 0)]))
        hairs.append(Hairs(tuple(lines), 0.005, 0.8, (0.3, 0.25, 0.2)))
    roll = float(rng.choice([0.0, 1.3, np.pi], p=[0.7, 0.12, 0.18]) + rng.normal(0, 0.25))
    thing = Thing(
        (Solid(join(blobs, snout), skin, rng.uniform(4, 8)),),
        tuple(organs),
        tuple(limbs),
        (),
        tuple(hairs),
        length_mm=size,
        width_mm=broad(wide, high, roll),
    )
    return thing, turn(roll, rng.normal(0, 0.1), rng.uniform(0, 6.28))


def _coat(rng: np.random.Generator) -> Marks:
    """Ribs or a net of cells on an egg's shell."""
    count, net = int(rng.integers(6, 14)), rng.random() < 0.4

    def ribs(along: FloatArray, left: FloatArray, up: FloatArray) -> FloatArray:
        line = np.clip(np.cos(np.arctan2(left, up) * count) * 1.5 - 0.4, 0, 1)
        return np.asarray(np.maximum(line, np.clip(np.cos(along * 60) * 2 - 1, 0, 1)) if net else line, np.float32)

    return ribs


def egg(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One egg, a row or a cluster; the length is that of the whole batch."""
    size = float(rng.uniform(0.25, 1.0))
    choice: tuple[Colour, ...] = (
        (0.82, 0.8, 0.74),
        (0.75, 0.6, 0.2),
        (0.5, 0.36, 0.2),
        (0.04, 0.035, 0.03),
        (0.65, 0.68, 0.45),
        (0.7, 0.35, 0.15),
    )
    colour = vary(choice[int(rng.integers(len(choice)))], rng, 0.12)
    count = int(rng.choice([1, 2, 3, 4, 5, 7, 10], p=[0.45, 0.1, 0.12, 0.1, 0.1, 0.08, 0.05]))
    slim = rng.uniform(0.4, 0.95) if rng.random() < 0.7 else rng.uniform(0.25, 0.4)
    row = rng.random() < 0.55
    spots = np.zeros((count, 3))
    one = size if count == 1 else float(np.clip(size / count**0.5, 0.18, 0.5))
    gap = one * max(slim, 0.5) * 0.97
    for index in range(1, count):
        if row:
            spots[index] = [gap * rng.normal(0, 0.06), index * gap, 0]
        else:
            spots[index] = [(index % 3) * one * 0.96 + 0.5 * gap * (index // 3 % 2), (index // 3) * gap, 0]
            spots[index] += rng.normal(0, 0.05 * gap, 3)
    spots -= (spots.min(0) + spots.max(0)) / 2
    depth = one * slim
    opacity = rng.uniform(0.25, 0.95) if max(colour) > 0.1 else rng.uniform(0.9, 0.99)
    skin = stuff(
        colour,
        opacity,
        depth,
        None,
        rim=rng.uniform(-0.3, 0.8),
        gloss=rng.uniform(0.1, 0.9),
        bump=rng.uniform(0, 0.25),
        grain=rng.uniform(0.03, 0.4),
        grain_mm=0.08,
        lens=rng.uniform(0, 0.25),
    )
    tone = rng.uniform(0.1, 0.6)
    skin = replace(skin, mark_depth=(tone, tone, tone), mark_albedo=vary(colour, rng, 0.5))
    marks = _coat(rng) if rng.random() < 0.5 else None
    solids, organs, limbs = [], [], []
    blend = rng.uniform(3.5, 7)
    glue = rng.random() < 0.4
    for spot in spots:
        if count > 1 and rng.random() < 0.08:
            continue
        heading = rng.normal(0, 0.12)
        line = spine(one, [0.0, 0.0])
        axes = np.array([[np.cos(heading), np.sin(heading), 0], [-np.sin(heading), np.cos(heading), 0], [0, 0, 1.0]])
        half = np.array([0.32, 0.86, 1.0, 0.92, 0.6, 0.25]) * depth / 2
        shell = tube(line, one, (0.0, 0.25, 0.45, 0.65, 0.88, 1.0), half, 9, 1.0, 1.6)
        shell = type(shell)(
            shell.centre @ axes + spot, shell.radii, shell.frame @ axes, shell.along, shell.dark * rng.uniform(0.8, 1.3)
        )
        solids.append(Solid(shell, skin, blend, marks))
        yolk = spot + np.array([rng.normal(0, 0.1) * one, 0, 0])
        organs.append(
            Solid(
                ball(yolk, np.array([0.3, 0.3 * slim, 0.3 * slim]) * one, frame=axes),
                stuff(vary((0.7, 0.5, 0.2), rng), rng.uniform(0.1, 0.5), 0.4 * one),
            )
        )
        if rng.random() < 0.5:
            dots = join(
                *(
                    ball(spot + np.array([0.28 * one, s * 0.12 * depth, 0.1 * depth]), (0.05 * one,) * 3)
                    for s in (-1.0, 1.0)
                )
            )
            organs.append(Solid(dots, stuff((0.15, 0.03, 0.02), rng.uniform(0.6, 0.95), 0.06 * one), 8.0))
    if not solids:
        solids.append(Solid(ball(spots[0], (0.5 * one, 0.5 * depth, 0.5 * depth)), skin, blend, marks))
    if glue:
        film = stuff((0.7, 0.68, 0.6), rng.uniform(0.08, 0.3), 0.1 * one, rim=-0.5, gloss=0.6)
        pads = [
            ball(
                spot - np.array([0, 0, 0.4 * depth]),
                np.array([0.5 * one, 0.62 * depth, 0.12 * depth]) * rng.uniform(0.9, 1.2),
            )
            for spot in spots
        ]
        solids.insert(0, Solid(join(*pads), film, 4.0, counts=False))
    if rng.random() < 0.15:
        stalk = stuff((0.6, 0.55, 0.45), 0.4, 0.03)
        limbs.append(
            limb(spots[0] - np.array([0.45 * one, 0, 0]), [np.array([-0.4, 0.1, 0]) * one] * 2, (0.012, 0.008), stalk)
        )
    every = np.concatenate([solid.blobs.centre for solid in solids if solid.counts])
    across = np.ptp(spots[:, 1]) + depth
    along = np.ptp(spots[:, 0]) + one
    # Missing eggs shrink the batch, so its size is read off what is left.
    if len(every) < 9 * count and count > 1:
        across = np.ptp(every[:, 1]) + depth
    thing = Thing(tuple(solids), tuple(organs), tuple(limbs), length_mm=max(along, across), width_mm=min(along, across))
    return thing, turn(rng.normal(0, 0.2), rng.normal(0, 0.12), rng.uniform(0, 6.28))
