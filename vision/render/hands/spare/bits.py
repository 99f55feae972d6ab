"""Debris and what is mistaken for insects: plant bits, slivers, grit, starch, fibres, bubbles, drops, seeds, spots, veins, buds."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from vision.render.hands.spare.bodies import density
from vision.render.hands.spare.fields import Colour, Points, Rng, between, blurred, cloud, colour, dome
from vision.render.hands.spare.stamps import Pose, Slate, Stamp, outline, oval
from vision.types import FloatArray

_PLANTS = (
    (0.46, 0.60, 0.18), (0.34, 0.46, 0.13), (0.64, 0.68, 0.34), (0.50, 0.36, 0.15), (0.28, 0.18, 0.09), (0.70, 0.66, 0.52),
)  # fmt: skip
_PALES = ((0.66, 0.68, 0.46), (0.70, 0.66, 0.54), (0.60, 0.56, 0.36))
_SOILS = ((0.10, 0.08, 0.06), (0.20, 0.14, 0.09), (0.36, 0.25, 0.14), (0.45, 0.42, 0.38))
_WHITES = ((0.74, 0.72, 0.66), (0.66, 0.64, 0.56))
_LINTS = ((0.25, 0.32, 0.55), (0.55, 0.20, 0.20), (0.12, 0.12, 0.13), (0.62, 0.60, 0.56), (0.45, 0.36, 0.26))
_SEEDS = ((0.20, 0.11, 0.05), (0.34, 0.20, 0.08), (0.10, 0.08, 0.07))
_BUDS = ((0.24, 0.36, 0.10), (0.17, 0.26, 0.10), (0.30, 0.27, 0.10))


def _one(rng: Rng, colours: tuple[Colour, ...], strength: float) -> FloatArray:
    return density(rng, colours[int(rng.integers(len(colours)))], strength)


def _size_mm(rng: Rng, middle_mm: float, low_mm: float, high_mm: float) -> float:
    return float(np.clip(middle_mm * np.exp(rng.normal(0, 0.55)), low_mm, high_mm))


def _pose(rng: Rng, long_mm: float, bend_rad: float = 0.0) -> Pose:
    return Pose(long_mm, between(rng, 0, 2 * np.pi), float(np.clip(rng.normal(0, 1), -2, 2)) * bend_rad)


def _ragged(rng: Rng, long_mm: float, wide_mm: float, corners: int, rough: float) -> Points:
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
    """A torn flake of tissue with its cells uneven."""
    long_mm = _size_mm(rng, 1.0, 0.25, 4.0)
    slate = Slate(long_mm * 0.75)
    mask = slate.filled(_ragged(rng, long_mm, long_mm * between(rng, 0.35, 0.9), int(rng.integers(7, 16)), 0.3))
    dens = _one(rng, _PLANTS, strength)
    uneven = 0.8 + 0.13 * cloud(rng, slate.side, slate.side, between(rng, 5, 20))
    slate.add(np.maximum(uneven, 0.1) * blurred(mask, 1.0) * between(rng, 0.35, 1.1), dens, 0.45)
    return slate.stamp(mask)


def _strip(rng: Rng, strength: float, colours: tuple[Colour, ...], slim: tuple[float, float], bend: float) -> Stamp:
    """A splinter, husk or shred, straight or bent, at times about as long and dark as a thrips or as pale as a larva."""
    long_mm = _size_mm(rng, 1.4, 0.4, 7.0)
    wide_mm = long_mm * between(rng, *slim)
    pose = _pose(rng, long_mm, bend)
    slate = Slate(long_mm * 0.62)
    ends = rng.uniform(0.15, 0.9, 2)
    shape = outline([(0, ends[0]), (between(rng, 0.2, 0.8), 1.0), (1, ends[1])], long_mm, wide_mm)
    shape[:, 1] *= 1 + 0.06 * rng.standard_normal(len(shape))
    dens = _one(rng, colours, strength)
    body, _ = slate.trunk(pose.laid(shape), dens, 0.45, between(rng, 0.1, 0.9))
    for aside in rng.normal(0, 0.2, 2) * wide_mm:
        grain = pose.laid(np.stack([np.linspace(-0.48, 0.48, 12) * long_mm, np.full(12, float(aside))], 1))
        slate.add(slate.drawn([grain], 0.03) * body * between(rng, 0.1, 0.5), dens)
    return slate.stamp(body)


def _grains(rng: Rng, strength: float, colours: tuple[Colour, ...], size_mm: float, apart: float, back: float) -> Stamp:
    """Hard angular grit or small milky grains of starch, one alone or some together."""
    long_mm = _size_mm(rng, size_mm, 0.08, 1.2)
    slate = Slate(long_mm * (1 + 3 * apart))
    steps = np.clip(rng.normal(0, 1, (int(rng.choice([1, 1, 1, 2, 4, 7])), 2)), -2, 2) * apart * long_mm
    mask = slate.filled(*(_ragged(rng, long_mm, long_mm * 0.8, 7, 0.2) + step for step in steps))
    slate.add(dome(mask) * 0.4 + mask * 0.6, _one(rng, colours, strength), back)
    return slate.stamp(mask)


def _fibre(rng: Rng, strength: float) -> Stamp:
    """A thread of lint or a hair, curling at random."""
    steps, long_mm = 40, _size_mm(rng, 3.0, 0.6, 12.0)
    wander = rng.normal(0, between(rng, 0.02, 0.22), steps) + rng.normal(0, 0.04)
    turn = between(rng, 0, 6.3) + np.cumsum(wander)
    line = np.cumsum(np.stack([np.cos(turn), np.sin(turn)], 1), 0) * long_mm / steps
    line -= line.mean(0)
    slate = Slate(float(np.abs(line).max()) + 0.1)
    dens = _one(rng, _LINTS, strength * between(rng, 0.5, 1.2))
    thread = slate.drawn([line], between(rng, 0.02, 0.07))
    slate.add(thread, dens, 0.5, 0.8)
    return slate.stamp(thread)


def _lens(rng: Rng, strength: float, middle_mm: float, rim_at: float, squat: float) -> Stamp:
    """A bubble or a drop: light is thrown out of its rim, darker on one side, and brought together in a bright point on the other."""
    wide_mm = _size_mm(rng, middle_mm, 0.15, 4.0)
    slate = Slate(wide_mm * 0.65)
    cover = slate.filled(_pose(rng, wide_mm).laid(oval(0, 0, wide_mm, wide_mm * between(rng, squat, 1.0))))
    rim = np.exp(-(((dome(cover) - rim_at) / 0.3) ** 2)) * cover
    aim = between(rng, 0, 6.3)
    axis = np.linspace(-1, 1, slate.side, dtype=np.float32)
    aside = axis[None, :] * np.float32(np.cos(aim)) + axis[:, None] * np.float32(np.sin(aim))
    bent = (between(rng, 0.3, 1.1) * rim + 0.15 * aside * cover) * strength
    slate.absorb += bent[..., None] * colour(1.0, 0.98, 0.95)
    point = -0.25 * wide_mm * float(np.cos(aim)), -0.25 * wide_mm * float(np.sin(aim))
    slate.glow += (slate.spot(point, 0.05 * wide_mm) * between(rng, 0.3, 1.2))[..., None]
    return slate.stamp(cover)


def _seed(rng: Rng, strength: float) -> Stamp:
    """A brown oval seed with a scar at one end: about an aphid's size, but with nothing that sticks out."""
    long_mm = _size_mm(rng, 1.2, 0.5, 2.6)
    pose, wide_mm = _pose(rng, long_mm), long_mm * between(rng, 0.45, 0.95)
    slate = Slate(long_mm * 0.7)
    body, _ = slate.trunk(pose.laid(oval(0, 0, long_mm, wide_mm)), _one(rng, _SEEDS, strength + 0.2), 0.3)
    slate.pale(slate.spot(pose.at(-0.44 * long_mm, 0.0), 0.1 * long_mm), 0.45)
    return slate.stamp(body)


def _stain(rng: Rng, strength: float) -> Stamp:
    """A brown spot without an edge: a sum of a few gaussian lumps."""
    wide_mm = _size_mm(rng, 0.8, 0.2, 3.0)
    slate = Slate(wide_mm * 1.3)
    lumps = np.zeros_like(slate.solid)
    for x, y, size in rng.normal(0, 1, (int(rng.integers(1, 8)), 3)):
        at = float(x) * wide_mm * 0.25, float(y) * wide_mm * 0.25
        lumps += slate.spot(at, wide_mm * 0.15 * float(np.exp(0.4 * size)))
    stain = np.minimum(lumps * between(rng, 0.5, 1.5), 1.0)
    slate.absorb += (stain * between(rng, 0.3, 1.3))[..., None] * density(rng, (0.46, 0.28, 0.12), strength)
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
    wood = slate.drawn([trunk], between(rng, 0.06, 0.16))
    slate.add(np.maximum(wood, slate.drawn(arms, 0.05)), dens, 0.4)
    return slate.stamp(wood)


def _bud(rng: Rng, strength: float) -> Stamp:
    """A loose flower bud or a few together, dark at the tip, on a short stalk."""
    wide_mm = _size_mm(rng, 1.0, 0.5, 2.0)
    slate = Slate(wide_mm * 1.7)
    dens = _one(rng, _BUDS, strength + 0.3)
    pose = _pose(rng, wide_mm, 0.5)
    stalk = outline([(0, 0.8), (1, 1.0)], wide_mm * 0.9, wide_mm * between(rng, 0.15, 0.3)) - (wide_mm * 0.7, 0.0)
    slate.trunk(pose.laid(stalk), dens * 0.6, 0.5)
    whole = np.zeros_like(slate.solid)
    for n in range(int(rng.choice([1, 1, 2, 3]))):
        aside = between(rng, -0.6, 0.6) * wide_mm * (n > 0)
        shape = oval(0.1 * wide_mm, aside, wide_mm, wide_mm * between(rng, 0.7, 0.95))
        body, _ = slate.trunk(pose.laid(shape), dens, 0.4, 0.3)
        slate.add(slate.spot(pose.at(0.5 * wide_mm, aside), 0.22 * wide_mm) * body, dens * 0.5)
        whole = np.maximum(whole, body)
    return slate.stamp(whole)


_MAKERS: tuple[Callable[[Rng, float], Stamp], ...] = (
    _flake, partial(_strip, colours=_PLANTS, slim=(0.07, 0.28), bend=0.5),
    partial(_grains, colours=_SOILS, size_mm=0.28, apart=0.6, back=0.3),
    partial(_grains, colours=_WHITES, size_mm=0.16, apart=1.5, back=0.85),
    _fibre, partial(_lens, middle_mm=0.5, rim_at=0.45, squat=0.95), _seed, _stain, partial(_lens, middle_mm=1.2, rim_at=0.0, squat=0.75),
    _vein, _bud, partial(_strip, colours=_PALES, slim=(0.1, 0.25), bend=1.5),
)  # fmt: skip
"""Flakes, slivers, grit, starch, fibres, bubbles, seeds, stains, drops, veins, buds, curls."""
_WEIGHTS = {
    "water": (5, 4, 6, 3, 3, 4, 1, 0, 0, 2, 1, 2),
    "cloth": (4, 4, 6, 1, 6, 0, 1, 1, 3, 2, 0, 1),
    "broccoli": (4, 3, 5, 0, 1, 0, 1, 3, 3, 2, 4, 1),
    "cauliflower": (4, 2, 5, 2, 1, 0, 1, 8, 3, 2, 0, 2),
    "scallion": (3, 4, 5, 1, 2, 0, 1, 4, 4, 3, 0, 2),
}
"""How often each of the makers is asked, in their order, in each scene."""


def scattered(rng: Rng, kind: str, bits: int) -> list[tuple[Stamp, bool]]:
    """That many bits for a scene of that kind, each with whether it is a mark in produce; each shot leans to some sorts."""
    weights = np.array(_WEIGHTS[kind]) * rng.gamma(2.0, 0.5, len(_MAKERS))
    picks = rng.choice(len(_MAKERS), bits, p=weights / weights.sum())
    level = between(rng, 0.7, 1.1)
    return [(_MAKERS[i](rng, level * float(np.exp(rng.normal(0, 0.3)))), _MAKERS[i] is _stain) for i in picks]
