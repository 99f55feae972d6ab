"""What is taken for insects and is none: plant bits, slivers, grit, starch, fibres, bubbles, drops, seeds, buds, spots. In mm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.render.hands.plain.anatomy import Colour, limb, pick, times, varied
from vision.render.hands.plain.canvas import Figure, Ink, Part
from vision.render.hands.plain.outlines import oval, rough, shard, tube, wandering

_Maker = Callable[[np.random.Generator], list[Part]]

_GREENS: list[Colour] = [(0.32, 0.46, 0.18), (0.48, 0.60, 0.26), (0.64, 0.72, 0.42), (0.24, 0.34, 0.16)]
_BROWNS: list[Colour] = [(0.34, 0.22, 0.11), (0.50, 0.36, 0.20), (0.22, 0.15, 0.09), (0.62, 0.48, 0.28)]
_GREYS: list[Colour] = [(0.12, 0.12, 0.12), (0.34, 0.33, 0.31), (0.55, 0.53, 0.50), (0.24, 0.20, 0.17)]
_PALES: list[Colour] = [(0.86, 0.85, 0.80), (0.78, 0.76, 0.66), (0.92, 0.92, 0.90)]


def _grit(rng: np.random.Generator) -> list[Part]:
    size = float(rng.uniform(0.15, 0.8) if rng.random() < 0.8 else rng.uniform(0.8, 1.3))
    colour = pick(_GREYS + _BROWNS, rng)
    facet = shard(0.5 * size, 0.35 * size, rng) + rng.normal(0, 0.1, 2) * size
    return [
        Part(shard(size, size * rng.uniform(0.6, 1), rng), Ink(colour, rng.uniform(0.8, 1))),
        Part(facet, Ink(times(colour, rng.uniform(0.7, 1.6)), 0.6)),
    ]


def _leaf_bit(rng: np.random.Generator) -> list[Part]:
    length = float(rng.uniform(0.5, 3.2))
    width = length * float(rng.uniform(0.3, 0.9))
    colour = pick(_GREENS + _BROWNS[:2], rng)
    shape = rough(length, width, 0.3, rng) if rng.random() < 0.6 else shard(length, width, rng)
    parts = [Part(shape, Ink(colour, rng.uniform(0.55, 0.95), rng.uniform(-0.15, 0.1), 0.06))]
    if length > 1.2:
        vein = wandering(0.8 * length, 0.3, rng)
        parts.append(Part(tube(vein, 0.025 * width), Ink(times(colour, 1.3), 0.5)))
    return parts


def _sliver(rng: np.random.Generator) -> list[Part]:
    length = float(rng.uniform(0.7, 4.0) if rng.random() < 0.5 else rng.uniform(0.7, 1.7))
    half = float(rng.uniform(0.04, 0.14))
    colour = pick(_GREENS + _BROWNS + [(0.78, 0.68, 0.40)], rng)
    line = wandering(length, rng.uniform(0, 0.5), rng)
    wide = half * np.interp(np.linspace(0, 1, len(line)), [0, rng.uniform(0.2, 0.8), 1], [rng.uniform(0.1, 1), 1, 0.2])
    parts = [Part(tube(line, wide), Ink(colour, rng.uniform(0.7, 1), rng.uniform(-0.2, 0.2)))]
    if rng.random() < 0.4:
        parts.append(Part(tube(line[2:-2], 0.25 * wide[2:-2]), Ink(times(colour, 0.7), 0.6)))
    return parts


def _fibre(rng: np.random.Generator) -> list[Part]:
    colour = pick([(0.2, 0.3, 0.55), (0.15, 0.14, 0.14), (0.9, 0.9, 0.9), (0.6, 0.25, 0.22), (0.55, 0.5, 0.42)], rng)
    line = wandering(float(rng.uniform(1.5, 9.0)), rng.uniform(0.4, 2.5), rng, 30)
    return [Part(tube(line, rng.uniform(0.014, 0.035)), Ink(colour, rng.uniform(0.5, 0.95)))]


def _starch(rng: np.random.Generator) -> list[Part]:
    colour = pick(_PALES, rng)
    parts = []
    for _ in range(int(rng.integers(1, 6))):
        size, place = float(rng.uniform(0.15, 0.6)), rng.normal(0, 0.35, 2)
        lump = rough(size, size * rng.uniform(0.6, 1), 0.12, rng) + place
        parts.append(Part(lump, Ink(times(colour, 0.82), rng.uniform(0.4, 0.8), 0.25, soft_px=0.8)))
    return parts


def _seed(rng: np.random.Generator) -> list[Part]:
    length = float(rng.uniform(0.8, 2.2))
    width = length * float(rng.uniform(0.4, 0.8))
    colour = pick(_BROWNS + _GREYS[:1], rng)
    parts = [Part(rough(length, width, 0.06, rng), Ink(colour, 1.0, rng.uniform(0.1, 0.4), 0.04))]
    if rng.random() < 0.5:
        parts.append(Part(tube(wandering(0.75 * length, 0.2, rng), 0.05 * width), Ink(times(colour, 1.4), 0.5)))
    if rng.random() < 0.3:
        parts.append(Part(oval(0.18 * length, 0.3 * width, (0.44 * length, 0.0)), Ink(times(colour, 1.5), 0.8)))
    return parts


def _loose_bud(rng: np.random.Generator) -> list[Part]:
    size = float(rng.uniform(0.7, 1.6))
    colour = pick([(0.22, 0.34, 0.15), (0.32, 0.46, 0.20), (0.50, 0.50, 0.22), (0.16, 0.20, 0.12)], rng)
    parts = []
    if rng.random() < 0.6:
        parts.append(limb((0.3 * size, 0.0), [0.0, rng.normal(0, 25)], [0.5 * size, rng.uniform(0.2, 0.9) * size],
                          0.13 * size, Ink(times(colour, 1.6), 0.95)))  # fmt: skip
    parts.append(
        Part(rough(size, size * rng.uniform(0.75, 1), 0.05, rng), Ink(colour, 1.0, rng.uniform(0.1, 0.45), 0.05))
    )
    parts.append(Part(tube(wandering(0.6 * size, 0.2, rng), 0.03 * size), Ink(times(colour, 0.7), 0.6)))
    return parts


def _spot(rng: np.random.Generator) -> list[Part]:
    length = float(rng.uniform(0.3, 2.2))
    colour = pick(_BROWNS, rng)
    parts = [Part(rough(length, length * rng.uniform(0.4, 1), 0.2, rng),
                  Ink(colour, rng.uniform(0.2, 0.7), -0.3, 0.1, rng.uniform(0.6, 2.2)))]  # fmt: skip
    if rng.random() < 0.4:
        parts.append(Part(rough(0.4 * length, 0.3 * length, 0.2, rng), Ink(times(colour, 0.7), 0.7, soft_px=0.8)))
    return parts


def _bubble(rng: np.random.Generator) -> list[Part]:
    parts = []
    for _ in range(1 if rng.random() < 0.6 else int(rng.integers(2, 6))):
        size, place = float(np.exp(rng.uniform(np.log(0.25), np.log(2.0)))), rng.normal(0, 0.7, 2)
        parts.append(Part(oval(size, size) + place, Ink((0.42, 0.44, 0.46), rng.uniform(0.4, 0.8), soft_px=0.6)))
        inner = size * rng.uniform(0.72, 0.88)
        parts.append(
            Part(oval(inner, inner) + place, Ink((0.93, 0.94, 0.95), rng.uniform(0.7, 0.95), 0.1, soft_px=0.8))
        )
        parts.append(
            Part(oval(0.2 * size, 0.14 * size) + place + [0.18 * size, -0.2 * size], Ink((1.0, 1.0, 1.0), 0.9))
        )
    return parts


def _drop(rng: np.random.Generator) -> list[Part]:
    size = float(rng.uniform(0.6, 3.5))
    shape = rough(size, size * rng.uniform(0.7, 1), 0.07, rng)
    tone = float(rng.uniform(0.85, 1.0))
    away = np.array([0.07, 0.07]) * size
    return [
        Part(shape, Ink((0.2, 0.21, 0.22), rng.uniform(0.08, 0.24), soft_px=1.0)),
        Part(0.84 * shape + 0.3 * away, Ink((tone, tone, tone), rng.uniform(0.05, 0.22), soft_px=1.5)),
        Part(0.5 * shape + away, Ink((1.0, 1.0, 1.0), rng.uniform(0.1, 0.3), soft_px=2.5)),
        Part(oval(0.13 * size, 0.09 * size) - 2.2 * away, Ink((1.0, 1.0, 1.0), 0.9, soft_px=0.5)),
    ]


def _husk(rng: np.random.Generator) -> list[Part]:
    length = float(rng.uniform(0.6, 2.4))
    shape = rough(length, length * rng.uniform(0.25, 0.7), 0.25, rng)
    colour = pick([*_PALES, (0.72, 0.60, 0.38)], rng)
    return [Part(shape, Ink(times(colour, 0.65), 0.6)), Part(0.85 * shape, Ink(colour, 0.6, mottle=0.08))]


def _rootlet(rng: np.random.Generator) -> list[Part]:
    """A body with a few side branches: what looks most like legs."""
    length = float(rng.uniform(0.8, 3.0))
    colour = pick(_GREENS + _BROWNS, rng)
    ink = Ink(colour, rng.uniform(0.75, 1))
    line = wandering(length, 0.5, rng)
    parts = []
    for _ in range(int(rng.integers(1, 5))):
        start = line[int(rng.integers(2, len(line) - 2))]
        turn = rng.choice([-1, 1]) * rng.uniform(25, 80)
        parts.append(
            limb((start[0], start[1]), [turn, turn + rng.normal(0, 30)], [0.2 * length, 0.15 * length], 0.03, ink)
        )
    body = rng.uniform(0.05, 0.3) * np.sin(np.linspace(0.3, 2.9, len(line))) + 0.02
    return [*parts, Part(tube(line, body), ink)]


MAKERS: dict[str, _Maker] = {
    "grit": _grit, "leaf bit": _leaf_bit, "sliver": _sliver, "fibre": _fibre, "starch": _starch, "seed": _seed,
    "bud": _loose_bud, "spot": _spot, "bubble": _bubble, "drop": _drop, "husk": _husk, "rootlet": _rootlet,
}  # fmt: skip
_USUAL: dict[str, dict[str, float]] = {
    "water": {"grit": 2, "leaf bit": 3, "sliver": 2, "fibre": 1, "starch": 2, "seed": 1, "bud": 2, "bubble": 3, "husk": 1,
              "rootlet": 1},
    "cloth": {"grit": 2, "leaf bit": 2, "sliver": 2, "fibre": 3, "starch": 1, "seed": 1, "bud": 1, "spot": 1, "drop": 3,
              "husk": 1, "rootlet": 1},
    "broccoli": {"grit": 1, "leaf bit": 2, "sliver": 2, "fibre": 0.5, "seed": 0.5, "bud": 4, "spot": 1, "drop": 1, "husk": 1,
                 "rootlet": 1},
    "cauliflower": {"grit": 1, "leaf bit": 2, "sliver": 1, "fibre": 0.5, "starch": 3, "seed": 0.5, "spot": 4, "drop": 1,
                    "husk": 1, "rootlet": 1},
    "scallion": {"grit": 2, "leaf bit": 2, "sliver": 3, "fibre": 1, "spot": 3, "drop": 2, "husk": 2, "rootlet": 1},
}  # fmt: skip


def debris(kind: str, count: int, rng: np.random.Generator) -> list[Figure]:
    """`count` bits such as lie in a scene of that kind; how much there is of each differs from scene to scene."""
    names = list(_USUAL[kind])
    shares = np.array([_USUAL[kind][name] for name in names]) * rng.gamma(1.5, 1.0, len(names))
    chosen = rng.choice(len(names), size=count, p=shares / shares.sum())
    return [Figure("debris", 1.0, 1.0, tuple(MAKERS[names[int(c)]](rng))) for c in chosen]


def stain(rng: np.random.Generator, colours: list[Colour]) -> Figure:
    """A spot in produce itself, of one of its own darker colours."""
    length = float(rng.uniform(0.4, 2.5))
    ink = Ink(
        varied(colours[int(rng.integers(len(colours)))], rng), rng.uniform(0.3, 0.8), -0.2, 0.1, rng.uniform(0.8, 3)
    )
    return Figure("stain", length, length, (Part(rough(length, length * rng.uniform(0.3, 1), 0.25, rng), ink),))
