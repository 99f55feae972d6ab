"""What all bits of dirt share: colours of earth, coats, kernels inside and stray hairs."""

from dataclasses import replace

import numpy as np

from vision.render.hands.rounded.build import ball, join, whip
from vision.render.hands.rounded.matter import (
    Colour,
    Limb,
    Marks,
    Points,
    Solid,
    Stuff,
    stuff,
    vary,
)
from vision.render.hands.rounded.stage import turn
from vision.types import FloatArray

EARTH: tuple[Colour, ...] = (
    (0.1, 0.06, 0.035),
    (0.2, 0.12, 0.06),
    (0.35, 0.25, 0.14),
    (0.5, 0.42, 0.3),
    (0.05, 0.045, 0.04),
    (0.3, 0.34, 0.14),
    (0.62, 0.58, 0.48),
    (0.42, 0.18, 0.08),
    (0.24, 0.38, 0.1),
    (0.5, 0.36, 0.12),
)


def tint(rng: np.random.Generator) -> Colour:
    """A colour of soil, bark, straw or leaf."""
    return vary(EARTH[int(rng.integers(len(EARTH)))], rng, 0.25)


def rough(rng: np.random.Generator, colour: Colour, depth_mm: float, low: float = 0.2, high: float = 0.99) -> Stuff:
    """Stuff of a bit: anything from glassy to opaque, smooth to creased, over `depth_mm`."""
    return stuff(
        colour,
        rng.uniform(low, high),
        depth_mm,
        None,
        rim=rng.uniform(-0.4, 0.7),
        gloss=rng.uniform(0, 0.7),
        bump=rng.uniform(0.05, 0.9),
        grain=rng.uniform(0.05, 0.8),
        grain_mm=depth_mm * rng.uniform(0.1, 0.6),
        crease=rng.uniform(0, 0.8) * (rng.random() < 0.4),
    )


def marks(rng: np.random.Generator) -> Marks:
    """Ribs, bands, freckles or a cap of another colour."""
    style, count, turn_by = int(rng.integers(4)), int(rng.integers(3, 12)), rng.uniform(0, 6.3)

    def coat(along: FloatArray, left: FloatArray, up: FloatArray) -> FloatArray:
        if style == 0:
            return np.asarray(np.clip(np.cos(np.arctan2(left, up) * count) * 2 - 0.6, 0, 1), np.float32)
        if style == 1:
            return np.asarray(np.clip(np.cos(along * 6.3 * count * 0.7 + turn_by) * 2 - 0.7, 0, 1), np.float32)
        if style == 2:
            return np.asarray(
                np.clip(np.sin(along * 40 + turn_by) * np.sin(left * 12 + turn_by) * 3 - 1, 0, 1), np.float32
            )
        return np.asarray(
            1.0 / (1.0 + np.exp(-18 * (along - 0.3 - count * 0.04 + 0.12 * np.sin(left * 5 + turn_by)))), np.float32
        )

    return coat


def marked(made: Stuff, rng: np.random.Generator) -> Stuff:
    """The same stuff with another colour for its marks."""
    depth = rng.uniform(-0.15, 1.5)
    return replace(made, mark_depth=(depth * 0.8, depth, depth * 1.15), mark_albedo=tint(rng))


def inside(size: float, wide: float, rng: np.random.Generator) -> tuple[Solid, ...]:
    """Kernels, hollows and dark lumps inside a bit, as rich as the organs of an insect."""
    made = []
    for _ in range(int(rng.integers(0, 4))):
        kind = stuff(tint(rng), rng.uniform(0.1, 0.9), 0.3 * wide)
        lumps = [
            ball(
                rng.normal(0, 0.2, 3) * np.array([size, wide, wide]),
                rng.uniform(0.06, 0.35, 3) * np.array([size, wide, wide]),
            )
            for _ in range(int(rng.integers(1, 6)))
        ]
        made.append(Solid(join(*lumps), kind, 6.0))
    return tuple(made)


def stubs(size: float, wide: float, count: int, rng: np.random.Generator) -> tuple[Limb, ...]:
    """Stray hairs, splinters or roots stuck to a bit, which may look like legs."""
    made = []
    thick = rng.uniform(0.006, 0.022)
    kind = stuff(tint(rng), rng.uniform(0.3, 0.95), 2 * thick, rim=0.1, grain=0.0)
    for _ in range(count):
        angle = rng.uniform(0, 6.28)
        way = np.array([np.cos(angle), np.sin(angle), rng.normal(0, 0.3)])
        start = way * np.array([0.4 * size, 0.4 * wide, 0.2 * wide])
        bend = way + rng.normal(0, 0.8, 3)
        made.append(
            whip(start, way, size * rng.uniform(0.15, 0.9), bend, (thick, thick * rng.uniform(0.3, 1)), kind, 4)
        )
    return tuple(made)


def any_turn(rng: np.random.Generator, tilt: float = 0.5) -> Points:
    """View (3, 3) of a thing that lies on any side."""
    return turn(rng.uniform(0, 6.28), rng.normal(0, tilt * 0.3), rng.uniform(0, 6.28))
