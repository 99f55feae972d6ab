"""Bits of dirt that grew: seeds, buds, stalked bits, husks."""

import numpy as np

from vision.render.hands.rounded.build import ball, join, limb, spine, tube, whip
from vision.render.hands.rounded.common import any_turn, inside, marked, marks, rough, stubs, tint
from vision.render.hands.rounded.matter import (
    Points,
    Solid,
    Thing,
    stuff,
    vary,
)


def seed(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Smooth oval seed with a patterned coat, perhaps with an awn or hairs."""
    size = float(rng.uniform(0.4, 3.0))
    wide = size * rng.uniform(0.14, 0.42)
    line = spine(size, rng.normal(0, 0.5, 3))
    shape = np.array([rng.uniform(0.15, 0.5), 0.7, 1.0, rng.uniform(0.85, 1.0), 0.65, rng.uniform(0.1, 0.5)]) * wide
    coat = marked(rough(rng, tint(rng), 2 * wide, 0.35, 0.99), rng)
    blobs = tube(
        line,
        size,
        (0.0, 0.2, 0.4, 0.6, 0.82, 1.0),
        shape,
        8,
        rng.uniform(0.5, 1.0),
        rng.uniform(1.1, 1.7),
        dark=np.exp(rng.normal(0, 0.2, 8)),
    )
    limbs = list(stubs(size, wide, int(rng.integers(1, 8)), rng)) if rng.random() < 0.3 else []
    if rng.random() < 0.3:
        limbs.append(
            whip(
                line.at(0.97),
                line.way(0.97, 1, 0, 0),
                size * rng.uniform(0.1, 0.8),
                line.way(0.97, 1, rng.normal(0, 0.8), 0),
                (0.025, 0.01),
                stuff(tint(rng), 0.7, 0.03),
            )
        )
    return Thing(
        (Solid(blobs, coat, rng.uniform(3.5, 6), marks(rng)),),
        inside(size, wide, rng),
        tuple(limbs),
        length_mm=size,
        width_mm=2 * wide,
    ), any_turn(rng)


def bud(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Round to oval bud of lapping scales with a stub of its stalk."""
    size = float(rng.uniform(0.5, 2.6))
    wide = size * rng.uniform(0.25, 0.46)
    line = spine(size, rng.normal(0, 0.3, 2))
    colour = tint(rng) if rng.random() < 0.5 else vary((0.3, 0.42, 0.12), rng)
    made = rough(rng, colour, 2 * wide, 0.5, 0.98)
    core = tube(line, size, (0.0, 0.15, 0.45, 0.8, 1.0), np.array([0.45, 0.85, 1.0, 0.65, 0.15]) * wide, 6, 1.0, 1.4)
    scales = []
    for index in range(int(rng.integers(4, 11))):
        angle, along = index * 2.4, 0.2 + 0.06 * index
        spot = line.at(min(along, 0.75), 0.55 * wide * np.sin(angle), 0.55 * wide * np.cos(angle))
        scales.append(
            ball(spot, np.array([0.26 * size, 0.5 * wide, 0.5 * wide]), line, min(along, 0.75), rng.uniform(0.7, 1.6))
        )
    stalk = limb(
        line.at(0.03),
        [line.way(0, -1, rng.normal(0, 0.3), 0) * size * rng.uniform(0.08, 0.5)],
        (0.16 * wide, 0.13 * wide),
        stuff(tint(rng), 0.8, 0.2 * wide),
    )
    limbs = (stalk, *stubs(size, wide, int(rng.integers(0, 6)), rng)) if rng.random() < 0.4 else (stalk,)
    return Thing(
        (Solid(join(core, *scales), made, rng.uniform(8, 16)),),
        inside(size, wide, rng),
        limbs,
        length_mm=size,
        width_mm=2 * wide,
    ), any_turn(rng)


def stalked(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Oval body with a stem and side bits, which looks like an animal until one looks twice."""
    size = float(rng.uniform(0.5, 2.4))
    wide = size * rng.uniform(0.1, 0.35)
    line = spine(size, rng.normal(0, 0.9, 3))
    made = marked(rough(rng, tint(rng), 2 * wide), rng)
    knots = np.linspace(0, 1, 7)
    blobs = tube(
        line,
        size,
        knots,
        np.exp(rng.normal(-0.2, 0.3, 7)) * np.sin(np.pi * (0.1 + 0.8 * knots)) * wide,
        8,
        0.8,
        1.2,
        dark=np.exp(rng.normal(0, 0.35, 8)),
    )
    thick = float(np.clip(rng.uniform(0.03, 0.14) * wide * 2, 0.008, 0.07))
    stem = whip(
        line.at(0.02),
        line.way(0, -1, 0, 0),
        size * rng.uniform(0.2, 1.3),
        line.way(0, -1, rng.normal(0, 1.2), 0.1),
        (thick, thick * 0.6),
        stuff(tint(rng), rng.uniform(0.4, 0.95), 2 * thick),
        6,
    )
    return Thing(
        (Solid(blobs, made, rng.uniform(4, 12), marks(rng) if rng.random() < 0.6 else None),),
        inside(size, wide, rng),
        (stem, *stubs(size, wide, int(rng.integers(0, 7)), rng)),
        length_mm=size,
        width_mm=2 * wide,
    ), any_turn(rng)


def husk(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Empty coat of a seed: thin wrinkled walls, open on one side."""
    size = float(rng.uniform(0.4, 3.0))
    wide = size * rng.uniform(0.12, 0.4)
    line = spine(size, rng.normal(0, 0.8, 3))
    walls = rng.uniform(0.008, 0.03)
    made = stuff(
        vary((0.6, 0.48, 0.3), rng, 0.3),
        rng.uniform(0.1, 0.7),
        2 * walls,
        rim=rng.uniform(-0.4, 0.7),
        gloss=rng.uniform(0, 0.8),
        bump=rng.uniform(0.2, 1.0),
        grain=rng.uniform(0.2, 0.9),
        grain_mm=wide * rng.uniform(0.15, 0.6),
        crease=rng.uniform(0.1, 0.9),
        shell_mm=walls,
    )
    made = marked(made, rng)
    blobs = tube(
        line,
        size,
        (0.0, 0.2, 0.5, 0.8, 1.0),
        np.exp(rng.normal(0, 0.2, 5)) * np.array([0.3, 0.8, 1, 0.75, 0.3]) * wide,
        7,
        0.6,
        1.3,
        dark=np.exp(rng.normal(0, 0.3, 7)),
    )
    return Thing(
        (Solid(blobs, made, rng.uniform(4, 10), marks(rng)),),
        inside(size, wide, rng) if rng.random() < 0.4 else (),
        stubs(size, wide, int(rng.integers(0, 5)), rng) if rng.random() < 0.4 else (),
        length_mm=size,
        width_mm=2 * wide,
    ), any_turn(rng)
