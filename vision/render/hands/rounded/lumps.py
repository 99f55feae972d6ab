"""Bubbles, drops, stones and clumps of grains."""

import numpy as np

from vision.render.hands.rounded.build import ball, join, turned
from vision.render.hands.rounded.common import inside, rough, stubs, tint
from vision.render.hands.rounded.matter import (
    Facets,
    Hairs,
    Points,
    Solid,
    Thing,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import turn


def bubble(rng: np.random.Generator) -> tuple[Thing, Points]:
    """One to three air bubbles: dark ring, bright middle."""
    size = float(np.exp(rng.uniform(np.log(0.12), np.log(1.3))))
    solids, at = [], np.zeros(3)
    film = stuff(
        (0.7, 0.72, 0.74),
        rng.uniform(0.01, 0.08),
        size,
        rim=rng.uniform(-0.2, 0.5),
        gloss=1.0,
        bump=0.0,
        grain=0.0,
        ring=rng.uniform(0.2, 0.62),
        lens=rng.uniform(0, 0.25),
    )
    count = int(rng.choice([1, 2, 3], p=[0.6, 0.25, 0.15]))
    centres = []
    for _ in range(count):
        radius = size / 2 * rng.uniform(0.5, 1.0)
        centres.append(np.append(at, radius))
        solids.append(Solid(ball(at.copy(), (radius, radius * rng.uniform(0.92, 1.0), radius)), film))
        angle = rng.uniform(0, 1.5)
        at = at + np.array([np.cos(angle), np.sin(angle), 0]) * radius * 1.9
    spots = np.array(centres)
    span = max(float(np.ptp(spots[:, axis])) for axis in (0, 1)) + 2 * float(spots[:, 3].max())
    return Thing(tuple(solids), length_mm=span, width_mm=2 * float(spots[:, 3].max())), turn(0, 0, rng.uniform(0, 6.28))


def drop(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Flat drop of water or sap: thin dark rim, light gathered inside."""
    size = float(np.exp(rng.uniform(np.log(0.2), np.log(2.0))))
    made = stuff(
        vary((0.75, 0.76, 0.74) if rng.random() < 0.6 else (0.6, 0.5, 0.25), rng),
        rng.uniform(0.02, 0.3),
        size * 0.4,
        rim=rng.uniform(0.4, 1.0),
        gloss=1.0,
        bump=0.0,
        grain=rng.uniform(0, 0.1),
        ring=rng.uniform(0.05, 0.3),
        lens=rng.uniform(0.1, 0.35),
    )
    lobes = [
        ball(np.append(rng.normal(0, 0.16, 2) * size, 0), np.array([0.34, rng.uniform(0.22, 0.34), 0.15]) * size)
        for _ in range(int(rng.integers(1, 4)))
    ]
    motes = inside(size * 0.8, size * 0.5, rng) if rng.random() < 0.5 else ()
    return Thing((Solid(join(*lobes), made, 2.5),), motes, length_mm=0.9 * size, width_mm=0.65 * size), turn(
        0, 0, rng.uniform(0, 6.28)
    )


def grit(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Angular stone, glassy or dark, perhaps two together."""
    size = float(np.exp(rng.uniform(np.log(0.12), np.log(1.4))))
    stretch = np.array([1.0, rng.uniform(0.5, 1.0), rng.uniform(0.4, 0.9)])
    ways = rng.standard_normal((int(rng.integers(9, 20)), 3))
    ways = np.concatenate([ways, -ways[:6] + rng.normal(0, 0.3, (6, 3)), np.eye(3), -np.eye(3)])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    far = np.linalg.norm(ways * stretch, axis=1) * size / 2 * rng.uniform(0.75, 1.0, len(ways))
    glassy = rng.random() < 0.4
    colour = vary((0.75, 0.72, 0.66), rng) if glassy else tint(rng)
    made = stuff(
        colour,
        rng.uniform(0.08, 0.5) if glassy else rng.uniform(0.5, 0.995),
        size * 0.6,
        rim=rng.uniform(0.2, 0.95),
        gloss=rng.uniform(0, 1),
        grain=rng.uniform(0.06, 0.8),
        grain_mm=size * rng.uniform(0.05, 0.4),
        bump=rng.uniform(0, 0.6),
    )
    thing = Thing(
        (),
        limbs=stubs(size, size, int(rng.integers(0, 3)), rng) if rng.random() < 0.2 else (),
        facets=(Facets(ways, far, made),),
        length_mm=size * 0.93,
        width_mm=size * float(stretch[1]) * 0.93,
    )
    return thing, turned(rng)


def _clump(
    count: int, size: float, grain: tuple[float, float], flat: float, rng: np.random.Generator
) -> tuple[list[Points], list[Points]]:
    spots, radii = [], []
    squeeze = np.array([0.5, 0.5 * rng.uniform(0.45, 1.0), 0.5 * flat])
    for _ in range(count):
        radius = rng.uniform(*grain, 3) * size
        way = rng.standard_normal(3)
        way *= rng.random() ** 0.5 / np.linalg.norm(way)
        spots.append(way * squeeze * size * 0.85)
        radii.append(radius)
    return spots, radii


def crumb(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Ragged crumb of soil with grains and threads in it."""
    size = float(np.exp(rng.uniform(np.log(0.2), np.log(2.2))))
    spots, radii = _clump(int(rng.integers(16, 42)), size, (0.035, 0.15), 0.5, rng)
    lumps = join(
        *(
            ball(s, r, dark=float(np.exp(rng.normal(0, 0.5))), frame=turned(rng))
            for s, r in zip(spots, radii, strict=True)
        )
    )
    made = rough(rng, tint(rng), size * 0.35, 0.45, 0.995)
    across = np.ptp(np.array(spots), 0)[:2] + 2 * np.mean(radii)
    return Thing(
        (Solid(lumps, made, rng.uniform(4, 14)),),
        inside(size, size, rng),
        stubs(size, size, int(rng.integers(0, 6)), rng),
        length_mm=float(across.max()),
        width_mm=float(across.min()),
    ), turn(0, 0, rng.uniform(0, 6.28))


def starch(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Whitish smear of small grains, or a ring left by a dried drop."""
    size = float(rng.uniform(0.3, 2.2))
    made = stuff(
        vary((0.8, 0.78, 0.72), rng, 0.12),
        rng.uniform(0.1, 0.75),
        size * 0.12,
        rim=-0.3,
        gloss=0.3,
        grain=rng.uniform(0.2, 1.0),
        grain_mm=rng.uniform(0.04, 0.2),
        bump=rng.uniform(0.1, 0.8),
    )
    if rng.random() < 0.4:
        angles = np.linspace(0, 6.28 * rng.uniform(0.6, 1.0), 18)
        spots = [np.array([np.cos(a), np.sin(a), 0]) * 0.42 * size * rng.uniform(0.92, 1.06) for a in angles]
        radii: list[Points] = [np.array([0.09, 0.09, 0.04]) * size * rng.uniform(0.5, 1.2) for _ in angles]
    else:
        spots, radii = _clump(int(rng.integers(12, 28)), size, (0.04, 0.13), 0.15, rng)
    grains = join(*(ball(s, r, dark=float(np.exp(rng.normal(0, 0.4)))) for s, r in zip(spots, radii, strict=True)))
    across = np.ptp(np.array(spots), 0)[:2] + 2 * np.mean(radii)
    return Thing(
        (Solid(grains, made, rng.uniform(2.5, 9)),), length_mm=float(across.max()), width_mm=float(across.min())
    ), turn(0, 0, rng.uniform(0, 6.28))


def dust(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Speck or small tuft: a few grains in a tangle of fine hairs."""
    size = float(rng.uniform(0.1, 0.6))
    spots, radii = _clump(int(rng.integers(2, 9)), size, (0.07, 0.25), 0.6, rng)
    grains = join(
        *(
            ball(s, r, frame=turned(rng), dark=float(np.exp(rng.normal(0, 0.4))))
            for s, r in zip(spots, radii, strict=True)
        )
    )
    lines = tuple(np.cumsum(rng.normal(0, 0.16 * size, (6, 3)), 0) for _ in range(int(rng.integers(1, 6))))
    hairs = (Hairs(lines, rng.uniform(0.005, 0.015), rng.uniform(0.3, 1.5), tint(rng)),) if rng.random() < 0.6 else ()
    across = np.ptp(np.array(spots), 0)[:2] + 2 * np.mean(radii)
    return Thing(
        (Solid(grains, rough(rng, tint(rng), size * 0.4), rng.uniform(4, 12)),),
        hairs=hairs,
        length_mm=float(across.max()),
        width_mm=float(across.min()),
    ), turn(0, 0, rng.uniform(0, 6.28))
