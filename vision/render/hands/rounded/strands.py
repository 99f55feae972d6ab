"""Bits of dirt that are strands or films: fibres, rootlets, slivers, bits of leaf."""

from dataclasses import replace

import numpy as np

from vision.render.hands.rounded.build import spine, tube
from vision.render.hands.rounded.matter import Colour, Hairs, Limb, Points, Sheet, Solid, Thing, stuff, vary
from vision.render.hands.rounded.noise import wave
from vision.render.hands.rounded.stage import turn
from vision.types import FloatArray

_DYES: tuple[Colour, ...] = (
    (0.12, 0.2, 0.5),
    (0.5, 0.08, 0.08),
    (0.05, 0.05, 0.06),
    (0.75, 0.74, 0.72),
    (0.6, 0.5, 0.3),
    (0.3, 0.3, 0.32),
    (0.15, 0.4, 0.3),
    (0.4, 0.25, 0.12),
)
_BARK: tuple[Colour, ...] = (
    (0.5, 0.38, 0.2),
    (0.2, 0.12, 0.06),
    (0.62, 0.55, 0.38),
    (0.09, 0.06, 0.04),
    (0.35, 0.4, 0.15),
    (0.7, 0.66, 0.55),
)


def _path(length_mm: float, curl: float, count: int, rng: np.random.Generator) -> Points:
    """Wandering line (count, 3) centred on the origin."""
    turns = np.cumsum(rng.normal(0, curl / np.sqrt(count), count)) + np.linspace(0, rng.normal(0, curl * 1.5), count)
    angle = np.cumsum(turns) / count * 3 + rng.uniform(0, 6.28)
    rise = np.sin(np.linspace(0, rng.uniform(3, 12), count)) * 0.05
    points = np.cumsum(np.stack([np.cos(angle), np.sin(angle), rise], 1), 0) * length_mm / count
    return np.asarray(points - (points.min(0) + points.max(0)) / 2, float)


def _length(points: Points) -> float:
    return float(np.linalg.norm(np.diff(points[:, :2], axis=0), axis=1).sum())


def fibre(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Curled, perhaps frayed and dyed fibre, single or a few together."""
    size = float(np.exp(rng.uniform(np.log(0.5), np.log(4.0))))
    thick = rng.uniform(0.007, 0.035)
    limbs, hairs = [], []
    colour = vary(_DYES[int(rng.integers(len(_DYES)))], rng, 0.3)
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        points = _path(size, rng.uniform(0.3, 4.0), 26, rng)
        made = stuff(
            colour,
            rng.uniform(0.15, 0.95),
            2 * thick,
            rim=rng.uniform(-0.3, 0.7),
            gloss=rng.uniform(0, 0.8),
            grain=rng.uniform(0, 0.6),
        )
        radii = thick * np.exp(rng.normal(0, 0.15) + 0.2 * rng.normal(0, 1, 26) * (rng.random() < 0.4))
        limbs.append(Limb(points, radii, made, True))
    if rng.random() < 0.4:
        ends = []
        for _ in range(int(rng.integers(3, 12))):
            base = limbs[0].points[int(rng.choice([0, 1, 24, 25, int(rng.integers(26))]))]
            ends.append(base + np.cumsum(np.concatenate([np.zeros((1, 3)), rng.normal(0, 0.05, (4, 3))]), 0))
        hairs.append(Hairs(tuple(ends), 0.006, rng.uniform(0.4, 1.2), colour))
    curved = float(np.ptp(limbs[0].points[:, :2], axis=0).max()) < 0.8 * _length(limbs[0].points)
    return Thing(
        (),
        limbs=tuple(limbs),
        hairs=tuple(hairs),
        length_mm=_length(limbs[0].points),
        width_mm=2 * thick,
        curved=curved,
    ), turn(0, 0, rng.uniform(0, 6.28))


def rootlet(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Branched root with fine hairs and a lumpy skin."""
    size = float(rng.uniform(0.8, 4.0))
    thick = rng.uniform(0.015, 0.06)
    colour = vary(_BARK[int(rng.integers(len(_BARK)))], rng)
    made = stuff(
        colour,
        rng.uniform(0.25, 0.95),
        2 * thick,
        rim=rng.uniform(-0.3, 0.7),
        grain=rng.uniform(0.1, 0.6),
        grain_mm=0.08,
    )
    main = _path(size, rng.uniform(0.2, 1.6), 22, rng)
    limbs = [
        Limb(main, np.linspace(1.0, rng.uniform(0.3, 0.8), 22) * thick * np.exp(rng.normal(0, 0.12, 22)), made, True)
    ]
    for _ in range(int(rng.integers(1, 7))):
        side = _path(size * rng.uniform(0.12, 0.5), 1.0, 8, rng)
        base = main[int(rng.integers(2, 21))]
        limbs.append(Limb(side - side[0] + base, np.linspace(0.6, 0.25, 8) * thick, made, True))
    hairs = []
    if rng.random() < 0.6:
        lines = [np.stack([p, p + rng.normal(0, 0.09, 3)]) for p in np.repeat(main, 3, 0)]
        hairs.append(Hairs(tuple(lines), 0.005, rng.uniform(0.2, 0.9), colour))
    return Thing(
        (), limbs=tuple(limbs), hairs=tuple(hairs), length_mm=_length(main), width_mm=2 * thick, curved=True
    ), turn(0, 0, rng.uniform(0, 6.28))


def sliver(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Thin splinter of wood or straw with streaks and split ends."""
    size = float(np.exp(rng.uniform(np.log(0.4), np.log(4.0))))
    wide = size * rng.uniform(0.02, 0.09)
    line = spine(size, rng.normal(0, 0.25, 3))
    colour = vary(_BARK[int(rng.integers(len(_BARK)))], rng)
    made = stuff(
        colour,
        rng.uniform(0.25, 0.97),
        wide,
        rim=rng.uniform(-0.3, 0.7),
        gloss=rng.uniform(0, 0.7),
        bump=rng.uniform(0.1, 0.8),
        grain=rng.uniform(0.1, 0.7),
        grain_mm=wide * rng.uniform(0.3, 1.0),
    )
    depth = rng.uniform(0.2, 1.2)
    made = replace(made, mark_depth=(depth, depth, depth))
    count, phase = rng.uniform(3, 9), rng.uniform(0, 6)

    def streaks(along: FloatArray, left: FloatArray, up: FloatArray) -> FloatArray:
        return np.asarray(np.clip(np.sin(left * count + phase + 0.8 * np.sin(along * 9)) * 2 - 0.8, 0, 1), np.float32)

    half = (
        np.exp(rng.normal(0, 0.25, 6)) * np.array([rng.uniform(0.1, 0.9), 0.9, 1, 1, 0.9, rng.uniform(0.1, 0.9)]) * wide
    )
    blobs = tube(line, size, np.linspace(0, 1, 6), half, 16, 0.6, 1.6, dark=np.exp(rng.normal(0, 0.2, 16)))
    ends = [
        np.stack(
            [
                line.at(a, rng.normal(0, 0.4) * wide, 0),
                line.at(a, 0, 0)
                + line.way(a, (1 if a > 0.5 else -1) * rng.uniform(0.03, 0.2) * size, rng.normal(0, 0.8) * wide, 0),
            ]
        )
        for a in rng.choice([0.02, 0.98], int(rng.integers(1, 6)))
    ]
    hairs = (Hairs(tuple(ends), rng.uniform(0.007, 0.02), 1.0, colour),) if rng.random() < 0.6 else ()
    return Thing((Solid(blobs, made, 5.0, streaks),), hairs=hairs, length_mm=size, width_mm=2 * wide), turn(
        rng.uniform(0, 6.28), 0.0, rng.uniform(0, 6.28)
    )


def leaf_bit(rng: np.random.Generator) -> tuple[Thing, Points]:
    """Torn bit of leaf with a net of veins, flat or folded."""
    size = float(np.exp(rng.uniform(np.log(0.4), np.log(3.6))))
    ratio = rng.uniform(0.3, 0.95)
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    edge = np.clip(0.5 * (1.0 + 0.16 * wave(60, rng, rng.uniform(0.2, 1.0)) + rng.normal(0, 0.03, 60)), 0.12, 0.75)
    outline = np.stack([np.cos(angle) * edge, np.sin(angle) * edge * ratio, np.zeros(60)], 1) * size
    green = rng.random() < 0.6
    colour = vary((0.22, 0.38, 0.08), rng, 0.3) if green else vary((0.4, 0.26, 0.1), rng, 0.35)
    shade = np.array([1.0, 0.5, 1.6]) if green else np.array([0.55, 1.0, 1.6])
    tone = shade * rng.uniform(0.2, 2.2)
    sheets = [
        Sheet(
            outline,
            (float(tone[0]), float(tone[1]), float(tone[2])),
            colour,
            rng.uniform(0.1, 0.6),
            rng.uniform(0.05, 0.3),
            True,
        )
    ]
    if rng.random() < 0.35:
        flap = outline * np.array([1.0, rng.uniform(0.3, 0.7), 1.0]) + np.array([0, 0.18 * size * ratio, 0.03])
        sheets.append(Sheet(flap[5:30], sheets[0].depth, vary(colour, rng, 0.1), 0.3, 0.1, True))
    vein = stuff(
        vary((0.45, 0.5, 0.25) if green else (0.25, 0.15, 0.07), rng), rng.uniform(0.2, 0.85), 0.03 * size, rim=0.2
    )
    thick = float(np.clip(size * rng.uniform(0.008, 0.025), 0.007, 0.05))
    middle = np.stack([np.linspace(-0.4, 0.4, 6) * size, rng.normal(0, 0.02, 6) * size, np.full(6, 0.01)], 1)
    limbs = [Limb(middle, np.linspace(1, 0.5, 6) * thick, vein)]
    lines = []
    for along in np.linspace(-0.32, 0.32, int(rng.integers(3, 8))):
        for sign in (-1.0, 1.0):
            base, reach = (
                np.array([along * size, 0.0, 0.01]),
                0.27 * size * ratio * np.sqrt(max(1 - (along / 0.5) ** 2, 0.1)),
            )
            lines.append(
                np.stack(
                    [base, base + np.array([0.6, sign, 0]) * reach * 0.6, base + np.array([0.9, sign * 1.4, 0]) * reach]
                )
            )
    hairs: tuple[Hairs, ...] = (Hairs(tuple(lines), thick, rng.uniform(0.15, 0.8), vein.albedo),)
    if rng.random() < 0.3:
        spikes = [
            np.stack([p, p * rng.uniform(1.1, 1.35) + rng.normal(0, 0.02, 3)])
            for p in outline[:: int(rng.integers(2, 6))]
        ]
        hairs += (Hairs(tuple(spikes), 0.008, 0.7, (0.5, 0.5, 0.4)),)
    span = np.ptp(outline[:, :2], axis=0)
    return Thing(
        (),
        limbs=tuple(limbs),
        sheets=tuple(sheets),
        hairs=hairs,
        length_mm=float(span.max()),
        width_mm=float(span.min()),
    ), turn(rng.normal(0, 0.25), rng.normal(0, 0.15), rng.uniform(0, 6.28))
