"""Debris and what is mistaken for insects: plant bits, slivers, grit, starch, fibres, bubbles, drops, seeds, spots, veins, buds."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.spare.fields import Rng, blurred, cloud, colour, dome
from vision.render.hands.spare.round_bodies import density
from vision.render.hands.spare.stamps import Pose, Slate, Stamp, outline, oval
from vision.types import FloatArray

_PLANTS = (
    (0.46, 0.60, 0.18),
    (0.34, 0.46, 0.13),
    (0.64, 0.68, 0.34),
    (0.50, 0.36, 0.15),
    (0.28, 0.18, 0.09),
    (0.70, 0.66, 0.52),
)
_PALES = ((0.66, 0.68, 0.46), (0.70, 0.66, 0.54), (0.60, 0.56, 0.36))
_SOILS = ((0.10, 0.08, 0.06), (0.20, 0.14, 0.09), (0.36, 0.25, 0.14), (0.45, 0.42, 0.38))
_LINTS = (
    (0.25, 0.32, 0.55),
    (0.55, 0.20, 0.20),
    (0.12, 0.12, 0.13),
    (0.62, 0.60, 0.56),
    (0.62, 0.60, 0.56),
    (0.45, 0.36, 0.26),
)
_SEEDS = ((0.20, 0.11, 0.05), (0.34, 0.20, 0.08), (0.10, 0.08, 0.07))
_BUDS = ((0.24, 0.36, 0.10), (0.17, 0.26, 0.10), (0.30, 0.27, 0.10))


def _one(rng: Rng, colours: tuple[tuple[float, float, float], ...], strength: float) -> FloatArray:
    return density(rng, colours[int(rng.integers(len(colours)))], strength)


def _size_mm(rng: Rng, middle_mm: float, low_mm: float, high_mm: float) -> float:
    return float(np.clip(middle_mm * np.exp(rng.normal(0, 0.55)), low_mm, high_mm))


def _pose(rng: Rng, long_mm: float, bend_rad: float = 0.0) -> Pose:
    return Pose(long_mm, float(rng.uniform(0, 2 * np.pi)), float(np.clip(rng.normal(0, 1), -2, 2)) * bend_rad)


def _ragged(rng: Rng, long_mm: float, wide_mm: float, corners: int, rough: float) -> NDArray[np.float64]:
    """A torn outline (n, 2) with about that many corners."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
    reach = 0.5 * (1 + rng.uniform(-rough, rough, corners))
    points = np.stack([np.cos(turn) * reach * long_mm, np.sin(turn) * reach * wide_mm], 1)
    for _ in range(2):
        # Cutting the corners twice takes the look of a drawn polygon away.
        after = np.roll(points, -1, 0)
        points = np.stack([0.75 * points + 0.25 * after, 0.25 * points + 0.75 * after], 1).reshape(-1, 2)
    return _pose(rng, long_mm).laid(points)


def _flake(rng: Rng, strength: float) -> Stamp:
    """A torn flake of tissue with its cells and a rib uneven."""
    long_mm = _size_mm(rng, 1.0, 0.25, 4.0)
    slate = Slate(long_mm * 0.75)
    mask = slate.filled(_ragged(rng, long_mm, long_mm * float(rng.uniform(0.35, 0.9)), int(rng.integers(7, 16)), 0.3))
    dens = _one(rng, _PLANTS, strength)
    uneven = 0.8 + 0.13 * cloud(rng, slate.side, slate.side, float(rng.uniform(5, 20)))
    slate.add(
        np.maximum(uneven, 0.1) * blurred(mask, 1.0) * float(rng.uniform(0.35, 1.1)), dens, 0.45 * np.exp(-0.8 * dens)
    )
    return slate.stamp(mask)


def _strip(
    rng: Rng, strength: float, colours: tuple[tuple[float, float, float], ...], slim: tuple[float, float], bend: float
) -> Stamp:
    """A splinter, husk or shred, straight or bent, at times about as long and dark as a thrips or as pale as a larva."""
    long_mm = _size_mm(rng, 1.4, 0.4, 7.0)
    wide_mm = long_mm * float(rng.uniform(*slim))
    pose = _pose(rng, long_mm, bend)
    slate = Slate(long_mm * 0.62)
    ends = rng.uniform(0.15, 0.9, 2)
    shape = outline([(0, ends[0]), (float(rng.uniform(0.2, 0.8)), 1.0), (1, ends[1])], long_mm, wide_mm)
    shape[:, 1] *= 1 + 0.06 * rng.standard_normal(len(shape))
    dens = _one(rng, colours, strength)
    body, _ = slate.trunk(pose.laid(shape), dens, 0.45, float(rng.uniform(0.1, 0.9)), 0.8)
    for aside in rng.normal(0, 0.2, 2) * wide_mm:
        grain = pose.laid(np.stack([np.linspace(-0.48, 0.48, 12) * long_mm, np.full(12, float(aside))], 1))
        slate.add(slate.drawn([grain], 0.03) * body * float(rng.uniform(0.1, 0.5)), dens)
    return slate.stamp(body)


def _grit(rng: Rng, strength: float) -> Stamp:
    """A hard angular grain, alone or a few together."""
    long_mm = _size_mm(rng, 0.28, 0.1, 1.2)
    slate = Slate(long_mm * 1.6)
    many = int(rng.choice([1, 1, 1, 2, 4]))
    shapes = [
        _ragged(rng, long_mm, long_mm * 0.8, int(rng.integers(5, 9)), 0.2) + rng.normal(0, 0.5, 2) * long_mm * (n > 0)
        for n in range(many)
    ]
    mask = slate.filled(*shapes)
    dens = _one(rng, _SOILS, strength)
    slate.add(dome(mask) * 0.4 + mask * 0.6, dens, 0.3 * np.exp(-0.8 * dens))
    return slate.stamp(mask)


def _starch(rng: Rng, strength: float) -> Stamp:
    """Small milky grains in a loose heap."""
    spread = _size_mm(rng, 0.4, 0.1, 1.2)
    slate = Slate(spread * 2 + 0.3)
    middles, sizes = rng.normal(0, spread * 0.6, (8, 2)), rng.uniform(0.08, 0.3, (8, 2))
    grains = [oval(float(m[0]), float(m[1]), *s) for m, s in zip(middles, sizes, strict=True)]
    mask = slate.filled(*grains[: int(rng.integers(1, 9))])
    slate.add(dome(mask, 5.0), density(rng, (0.74, 0.72, 0.66), strength), colour(0.7, 0.69, 0.65), 0.7)
    return slate.stamp(mask)


def _fibre(rng: Rng, strength: float) -> Stamp:
    """A thread of lint or a hair, curling at random."""
    steps, long_mm = 40, _size_mm(rng, 3.0, 0.6, 12.0)
    turn = float(rng.uniform(0, 6.3)) + np.cumsum(
        rng.normal(0, float(rng.uniform(0.02, 0.22)), steps) + rng.normal(0, 0.04)
    )
    line = np.cumsum(np.stack([np.cos(turn), np.sin(turn)], 1), 0) * long_mm / steps
    line -= line.mean(0)
    slate = Slate(float(np.abs(line).max()) + 0.1)
    dens = _one(rng, _LINTS, strength * float(rng.uniform(0.5, 1.2)))
    thread = slate.drawn([line], float(rng.uniform(0.02, 0.07)))
    slate.add(thread, dens, 0.5 * np.exp(-0.8 * dens), 0.8)
    return slate.stamp(thread)


def _lens(rng: Rng, strength: float, middle_mm: float, rim_at: float, squat: float) -> Stamp:
    """A bubble or a drop: light is thrown out of its rim, darker on one side, and brought together in a bright point on the other."""
    wide_mm = _size_mm(rng, middle_mm, 0.15, 4.0)
    slate = Slate(wide_mm * 0.65)
    cover = slate.filled(_pose(rng, wide_mm).laid(oval(0, 0, wide_mm, wide_mm * float(rng.uniform(squat, 1.0)))))
    rim = np.exp(-(((dome(cover) - rim_at) / 0.3) ** 2)) * cover
    aim = float(rng.uniform(0, 6.3))
    axis = np.linspace(-1, 1, slate.side, dtype=np.float32)
    aside = axis[None, :] * np.float32(np.cos(aim)) + axis[:, None] * np.float32(np.sin(aim))
    slate.absorb += ((float(rng.uniform(0.3, 1.1)) * rim + 0.15 * aside * cover) * strength)[..., None] * colour(
        1.0, 0.98, 0.95
    )
    glint = slate.spot((-0.25 * wide_mm * float(np.cos(aim)), -0.25 * wide_mm * float(np.sin(aim))), 0.05 * wide_mm)
    slate.glow += (glint * float(rng.uniform(0.3, 1.2)))[..., None]
    return slate.stamp(cover)


def _seed(rng: Rng, strength: float) -> Stamp:
    """A brown oval seed with a scar at one end and often a seam: about an aphid's size, but with nothing that sticks out."""
    long_mm = _size_mm(rng, 1.2, 0.5, 2.6)
    pose, wide_mm = _pose(rng, long_mm), long_mm * float(rng.uniform(0.45, 0.95))
    slate = Slate(long_mm * 0.7)
    body, _ = slate.trunk(pose.laid(oval(0, 0, long_mm, wide_mm)), _one(rng, _SEEDS, strength + 0.2), 0.3)
    slate.pale(slate.spot(pose.at(-0.44 * long_mm, 0.0), 0.1 * long_mm), 0.45)
    seam = pose.line((-0.4 * long_mm, 0.0), (0.0, 0.06 * wide_mm), (0.4 * long_mm, 0.0))
    slate.pale(blurred(slate.drawn([seam], 0.05), 1.0), float(rng.choice([0.0, 0.3])))
    return slate.stamp(body)


def _stain(rng: Rng, strength: float) -> Stamp:
    """A brown spot without an edge: a sum of a few gaussian lumps."""
    wide_mm = _size_mm(rng, 0.8, 0.2, 3.0)
    slate = Slate(wide_mm * 1.3)
    lumps = np.zeros_like(slate.solid)
    for x, y, size in rng.normal(0, 1, (int(rng.integers(1, 8)), 3)):
        lumps += slate.spot(
            (float(x) * wide_mm * 0.25, float(y) * wide_mm * 0.25), wide_mm * 0.15 * float(np.exp(0.4 * size))
        )
    stain = np.minimum(lumps * float(rng.uniform(0.5, 1.5)), 1.0)
    slate.absorb += (stain * float(rng.uniform(0.3, 1.3)))[..., None] * density(rng, (0.46, 0.28, 0.12), strength)
    return slate.stamp(stain * 0.9)


def _vein(rng: Rng, strength: float) -> Stamp:
    """A twig of a leaf vein or rootlet: a bent line with a few side lines, which can look like legs."""
    long_mm = _size_mm(rng, 1.8, 0.6, 5.0)
    pose = _pose(rng, long_mm, 0.6)
    slate = Slate(long_mm * 0.8)
    dens = _one(rng, _PLANTS, strength)
    arms = []
    for x, away in rng.uniform(-0.4, 0.4, (int(rng.integers(0, 6)), 2)) * long_mm:
        arms.append(pose.line((x, 0.0), (x + abs(away) * 0.4, away * 0.4), (x + abs(away), away * 0.7)))
    trunk = pose.laid(np.stack([np.linspace(-0.5, 0.5, 16), rng.normal(0, 0.01, 16)], 1) * long_mm)
    wood = slate.drawn([trunk], float(rng.uniform(0.06, 0.16)))
    slate.add(np.maximum(wood, slate.drawn(arms, 0.05)), dens, 0.4 * np.exp(-0.8 * dens))
    return slate.stamp(wood)


def _bud(rng: Rng, strength: float) -> Stamp:
    """A loose flower bud or a few together, dark at the tip, on a short stalk."""
    wide_mm = _size_mm(rng, 1.0, 0.5, 2.0)
    slate = Slate(wide_mm * 1.7)
    dens = _one(rng, _BUDS, strength + 0.3)
    pose = _pose(rng, wide_mm, 0.5)
    slate.trunk(
        pose.laid(
            outline([(0, 0.8), (1, 1.0)], wide_mm * 0.9, wide_mm * float(rng.uniform(0.15, 0.3))) - [wide_mm * 0.7, 0.0]
        ),
        dens * 0.6,
        0.5,
    )
    whole = np.zeros_like(slate.solid)
    for n in range(int(rng.choice([1, 1, 2, 3]))):
        aside = float(rng.uniform(-0.6, 0.6)) * wide_mm * (n > 0)
        body, _ = slate.trunk(
            pose.laid(oval(0.1 * wide_mm, aside, wide_mm, wide_mm * float(rng.uniform(0.7, 0.95)))), dens, 0.4, 0.3
        )
        slate.add(slate.spot(pose.at(0.5 * wide_mm, aside), 0.22 * wide_mm) * body, dens * 0.5)
        whole = np.maximum(whole, body)
    return slate.stamp(whole)


_MAKERS: dict[str, Callable[[Rng, float], Stamp]] = {
    "flake": _flake, "sliver": partial(_strip, colours=_PLANTS, slim=(0.07, 0.28), bend=0.5), "grit": _grit, "starch": _starch,
    "fibre": _fibre, "bubble": partial(_lens, middle_mm=0.5, rim_at=0.45, squat=0.95), "seed": _seed, "stain": _stain,
    "drop": partial(_lens, middle_mm=1.2, rim_at=0.0, squat=0.75), "vein": _vein, "bud": _bud,
    "curl": partial(_strip, colours=_PALES, slim=(0.1, 0.25), bend=1.5),
}  # fmt: skip
_WEIGHTS = {
    "water": {
        "flake": 5,
        "sliver": 4,
        "grit": 6,
        "starch": 3,
        "fibre": 3,
        "bubble": 4,
        "seed": 1,
        "vein": 2,
        "bud": 1,
        "curl": 2,
    },
    "cloth": {
        "flake": 4,
        "sliver": 4,
        "grit": 6,
        "starch": 1,
        "fibre": 6,
        "drop": 3,
        "seed": 1,
        "stain": 1,
        "vein": 2,
        "curl": 1,
    },
    "broccoli": {
        "flake": 4,
        "sliver": 3,
        "grit": 5,
        "fibre": 1,
        "drop": 3,
        "seed": 1,
        "stain": 3,
        "vein": 2,
        "bud": 4,
        "curl": 1,
    },
    "cauliflower": {
        "flake": 4,
        "sliver": 2,
        "grit": 5,
        "starch": 2,
        "fibre": 1,
        "drop": 3,
        "seed": 1,
        "stain": 8,
        "vein": 2,
        "curl": 2,
    },
    "scallion": {
        "flake": 3,
        "sliver": 4,
        "grit": 5,
        "starch": 1,
        "fibre": 2,
        "drop": 4,
        "seed": 1,
        "stain": 4,
        "vein": 3,
        "curl": 2,
    },
}
"""How often each kind of bit lies in each scene, beside each other."""


def scattered(rng: Rng, kind: str, bits: int) -> list[tuple[Stamp, bool]]:
    """That many bits for a scene of that kind, each with whether it is a mark in produce; each shot leans to some sorts."""
    names = list(_WEIGHTS[kind])
    weights = np.array(list(_WEIGHTS[kind].values())) * rng.gamma(2.0, 0.5, len(names))
    picks = rng.choice(len(names), bits, p=weights / weights.sum())
    level = float(rng.uniform(0.7, 1.1))
    return [(_MAKERS[names[i]](rng, level * float(np.exp(rng.normal(0, 0.3)))), names[i] == "stain") for i in picks]
