"""What lies about besides insects: bits of plants, grit, starch, fibres, bubbles, drops, seeds, and bits shaped like insects."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.bodies import profile
from vision.render.hands.grown.clay import Stamp, film, fired, limb, lump, put, rolled
from vision.render.hands.grown.fields import Rng, bent_line, blurred, colour, near, one_of, turned
from vision.types import FloatArray

Tints = tuple[FloatArray, ...]
_DARK = (colour(0.05, 0.04, 0.03), colour(0.2, 0.12, 0.06), colour(0.3, 0.22, 0.12), colour(0.1, 0.08, 0.06))


def _size(rng: Rng, middle_mm: float, spread: float, low: float, high: float) -> float:
    return float(np.clip(np.exp(rng.normal(np.log(middle_mm), spread)), low, high)) * PX_PER_MM


def _rough_round(rng: Rng, reach_px: float, corners: int, uneven: float, aspect: float) -> FloatArray:
    """(k, 2) an uneven outline."""
    way = np.sort(rng.uniform(0, 2 * np.pi, corners))
    reach = reach_px * np.clip(1 + uneven * rng.normal(size=corners), 0.3, 1.8)
    outline = np.stack([reach * np.cos(way), aspect * reach * np.sin(way)], 1)
    # Between the corners the edge is torn, not ruled.
    places = np.linspace(0, corners, corners * 5)
    torn = [np.interp(places, np.arange(corners + 1), np.append(v, v[0])) for v in outline.T]
    ragged = np.stack(torn, 1) * (1 + rng.normal(0, 0.03, (len(places), 1)))
    return turned(ragged.astype(np.float32), rng.uniform(0, np.pi))


def sliver(rng: Rng, tints: Tints) -> Stamp:
    """A slim pointed splinter of a plant, often as long and as brown as a thrips, with nothing on it but its grain."""
    length = _size(rng, 1.3, 0.5, 0.5, 6)
    wide = max(length * rng.uniform(0.06, 0.24), 2.0)
    clay = lump(length * 0.6, 3)
    peak = rng.uniform(0.2, 0.8)
    half = profile(40, [(0, 0.08), (peak * 0.5, 0.6), (peak, 1), ((1 + peak) / 2, 0.65), (1, 0.08)]) * wide / 2
    line = turned(bent_line(rng, length, float(rng.normal(0, 0.4)), 0.1, 40), rng.uniform(0, 2 * np.pi))
    part = rolled(clay, line, half)
    tint = one_of(rng, (*tints, *_DARK), 0.2)
    if part is not None:
        grain = 1 - rng.uniform(0, 0.35) * (np.sin(part.side * rng.uniform(4, 9) + part.along * 3) > 0.2)
        fade = 1 - rng.uniform(0, 0.6) * part.along
        put(
            clay,
            part,
            (tint * grain[..., None]).astype(np.float32),
            (np.exp(rng.uniform(0.0, 2.4)) * fade).astype(np.float32),
        )
    return fired(clay, rng, gloss=rng.uniform(0, 0.3), rough=rng.uniform(0.05, 0.3))


def bud(rng: Rng, tints: Tints) -> Stamp:
    """A small bud on a stalk, or a round seed case: a pear with one tail and no legs."""
    length = _size(rng, 1.3, 0.35, 0.6, 3)
    wide = length * rng.uniform(0.45, 0.8)
    clay = lump(length * 1.3, 3)
    angle = rng.uniform(0, 2 * np.pi)
    half = profile(40, [(0, 0.35), (0.25, 0.85), (0.55, 1), (0.85, 0.6), (1, 0.25)]) * wide / 2
    line = turned(bent_line(rng, length * 0.9, 0.0, steps=40), angle)
    tint = one_of(rng, (*tints, _DARK[1]), 0.2)
    if rng.random() < 0.75:
        stalk = bent_line(rng, length * rng.uniform(0.3, 1.0), rng.normal(0, 0.5), 0.1, 16)
        limb(
            clay,
            turned(stalk - stalk[0], angle) + line[-1],
            max(length * rng.uniform(0.06, 0.14), 1),
            near(rng, tint * 1.2, 0.1),
            1.0,
        )
    part = rolled(clay, line, half)
    if part is not None:
        seams = 1 - rng.uniform(0.1, 0.5) * (np.abs(np.sin(part.side * rng.uniform(2, 4))) < 0.25)
        put(clay, part, (tint * seams[..., None]).astype(np.float32), np.exp(rng.uniform(0.0, 1.8)), cloud=0.3)
    return fired(clay, rng, gloss=rng.uniform(0, 0.4), rough=rng.uniform(0.08, 0.25))


def husk(rng: Rng, tints: Tints) -> Stamp:
    """A thin pale scale with ribs: like a cast skin that has no legs."""
    length = _size(rng, 1.5, 0.4, 0.6, 4)
    clay = lump(length * 0.7, 3)
    angle, aspect = rng.uniform(0, 2 * np.pi), rng.uniform(0.25, 0.6)
    t = np.linspace(0, np.pi, 16)
    upper, lower = np.sin(t) ** rng.uniform(0.6, 1.5), np.sin(t[::-1]) ** rng.uniform(0.6, 1.5)
    across = np.concatenate([upper, -lower]) * aspect * 0.5
    along = np.concatenate([-np.cos(t), -np.cos(t[::-1])]) * 0.5
    tint = one_of(rng, (colour(0.8, 0.74, 0.58), colour(0.7, 0.58, 0.36), colour(0.78, 0.78, 0.7)), 0.1)
    film(
        clay,
        turned((np.stack([along, across], 1) * length).astype(np.float32), angle),
        tint,
        rng.uniform(0.2, 0.9),
        body=True,
    )
    for rib in np.linspace(-0.7, 0.7, int(rng.integers(2, 6))):
        curve = np.stack([-np.cos(t) * 0.5, np.sin(t) * aspect * 0.5 * rib], 1) * length
        limb(clay, turned(curve.astype(np.float32), angle), 0.5, tint * 0.5, rng.uniform(0.2, 0.7))
    return fired(clay, rng, gloss=0.1, rough=rng.uniform(0.1, 0.35))


def legless(rng: Rng, tints: Tints) -> Stamp:
    """A soft bit of tissue as big, as brown and nearly as smooth as an aphid or a grub."""
    length = _size(rng, 1.4, 0.4, 0.6, 4)
    clay = lump(length * 0.75, 3)
    stops = [(t, float(rng.uniform(0.7, 1) * (0.6 + 0.4 * np.sin(np.pi * t)))) for t in np.linspace(0.12, 0.88, 4)]
    half = profile(40, [(0, 0.3), *stops, (1, rng.uniform(0.1, 0.4))]) * length * rng.uniform(0.12, 0.3)
    line = turned(bent_line(rng, length * 0.85, float(rng.normal(0, 0.6)), 0.2, 40), rng.uniform(0, 2 * np.pi))
    put(clay, rolled(clay, line, half), one_of(rng, (*tints, *_DARK), 0.2), np.exp(rng.uniform(-0.3, 1.5)), cloud=0.25)
    if rng.random() < 0.3:
        for _ in range(int(rng.integers(1, 4))):
            hair = bent_line(rng, length * rng.uniform(0.3, 0.9), rng.normal(0, 1), 0.2, 12)
            limb(
                clay,
                turned(hair - hair[0], rng.uniform(0, 2 * np.pi)) + line[int(rng.integers(40))],
                0.6,
                tints[0] * 0.6,
                0.8,
            )
    return fired(clay, rng, gloss=rng.uniform(0, 0.4), rough=rng.uniform(0.1, 0.35))


def scrap(rng: Rng, tints: Tints) -> Stamp:
    """A torn flat bit of leaf or skin, with a vein or two, see-through at its edge."""
    reach = _size(rng, 0.8, 0.55, 0.25, 4)
    clay = lump(reach * 1.7, 2)
    outline = _rough_round(rng, reach, int(rng.integers(6, 15)), 0.22, rng.uniform(0.35, 1))
    tint = one_of(rng, tints, 0.2)
    film(clay, outline, tint, rng.uniform(0.3, 1.8), body=True)
    lean = rng.uniform(0, np.pi)
    for _ in range(int(rng.integers(0, 4))):
        vein = turned(bent_line(rng, reach * rng.uniform(0.6, 1.4), 0.3, 0.2, 12), lean + rng.normal(0, 0.3))
        limb(clay, vein + rng.normal(0, 0.2 * reach, 2), max(reach * 0.05, 0.5), tint * rng.uniform(0.5, 1.2), 0.4)
    clay.absorb[:] = blurred(clay.absorb, rng.uniform(0.3, 1.2) * clay.fine)
    return fired(clay, rng, gloss=rng.uniform(0, 0.2), rough=rng.uniform(0.1, 0.4))


def grit(rng: Rng, tints: Tints) -> Stamp:
    """A grain of soil or sand with corners."""
    reach = _size(rng, 0.14, 0.5, 0.05, 0.6)
    clay = lump(reach * 2, 3)
    film(
        clay,
        _rough_round(rng, reach, int(rng.integers(4, 9)), 0.2, rng.uniform(0.5, 1)),
        one_of(rng, _DARK, 0.3),
        rng.uniform(0.8, 4),
        body=True,
    )
    return fired(clay, rng, gloss=rng.uniform(0, 0.8), rough=0.2)


def starch(rng: Rng, tints: Tints) -> Stamp:
    """A loose clump of white crumbs."""
    reach = _size(rng, 0.3, 0.5, 0.1, 1.2)
    clay = lump(reach * 1.6, 3)
    for _ in range(int(rng.integers(2, 11))):
        at = rng.normal(0, 0.4 * reach, 2)
        half = np.full(2, reach * rng.uniform(0.12, 0.4))
        put(
            clay,
            rolled(clay, np.stack([at, at + 0.5]), half),
            near(rng, colour(0.85, 0.84, 0.78), 0.05),
            rng.uniform(0.8, 3),
            cloud=0.4,
        )
    return fired(clay, rng, gloss=0.1, rough=0.2)


def fibre(rng: Rng, tints: Tints) -> Stamp:
    """A hair, a lint fibre or a root hair."""
    length = _size(rng, 3.5, 0.6, 0.8, 11)
    clay = lump(length * 0.55, 2)
    line = turned(bent_line(rng, length, rng.normal(0, 1.8), rng.uniform(0, 1.6), 50), rng.uniform(0, 2 * np.pi))
    hues = (
        colour(0.8, 0.8, 0.8),
        colour(0.1, 0.1, 0.1),
        colour(0.2, 0.24, 0.4),
        colour(0.5, 0.4, 0.28),
        colour(0.3, 0.26, 0.2),
        colour(0.7, 0.7, 0.6),
    )
    limb(clay, line - line.mean(axis=0), np.exp(rng.uniform(-0.9, 0.5)), one_of(rng, hues, 0.2), rng.uniform(0.2, 1.6))
    return fired(clay, rng, gloss=0.1, rough=0.1)


def bubble(rng: Rng, tints: Tints) -> Stamp:
    """A bubble or a drop: a lens with a dark rim, a bright middle and a glint."""
    reach = _size(rng, 0.3, 0.6, 0.08, 1.6)
    clay = lump(reach * 1.3, 3)
    n = clay.height.shape[0]
    y, x = (np.mgrid[0:n, 0:n].astype(np.float32) - (n - 1) / 2) / (reach * clay.fine)
    x = x * rng.uniform(0.85, 1.1)
    far = np.hypot(x, y) + rng.uniform(0, 0.05) * np.sin(3 * np.arctan2(y, x) + rng.uniform(0, 6))
    rim = np.exp(-(((far - rng.uniform(0.8, 0.92)) / rng.uniform(0.05, 0.13)) ** 2))
    inside = (far < 1).astype(np.float32)
    glint = np.exp(-(((x + 0.35) ** 2 + (y + 0.4) ** 2) / 0.02)) + 0.4 * np.exp(
        -(((x - 0.45) ** 2 + (y - 0.4) ** 2) / 0.03)
    )
    clay.absorb[:] = (rng.uniform(0.2, 1.1) * rim * inside - rng.uniform(0, 0.12) * np.exp(-((far / 0.5) ** 2)))[
        ..., None
    ]
    stamp = fired(clay, rng, gloss=0, rough=0.02)
    shine = np.repeat((glint * inside * rng.uniform(0.3, 1.2))[..., None], 3, axis=2).astype(np.float32)
    side = stamp.body.shape[0]
    small = shine.reshape(side, clay.fine, side, clay.fine, 3).mean(axis=(1, 3))
    return Stamp(stamp.keep, small, stamp.body)


def seed(rng: Rng, tints: Tints) -> Stamp:
    """A smooth seed with a shine and a scar."""
    length = _size(rng, 1.3, 0.3, 0.7, 2.6)
    clay = lump(length * 0.8, 3)
    half = profile(40, [(0, 0.3), (0.3, 0.8), (0.6, 1), (0.9, 0.7), (1, 0.4)]) * length * rng.uniform(0.25, 0.42)
    line = turned(bent_line(rng, length * 0.7, 0.0, steps=40), rng.uniform(0, 2 * np.pi))
    part = rolled(clay, line, half)
    tint = one_of(rng, (*_DARK, colour(0.6, 0.45, 0.2)), 0.2)
    put(clay, part, tint, rng.uniform(3, 9), cloud=0.4)
    limb(clay, line[34:], 1.0, tint * 0.4, 1.0)
    return fired(clay, rng, gloss=rng.uniform(0.3, 1), rough=0.1)


def speck(rng: Rng, tints: Tints) -> Stamp:
    """A soft brown spot: a bruise, a stain or rot."""
    reach = _size(rng, 0.35, 0.6, 0.1, 2)
    clay = lump(reach * 2, 2)
    outline = _rough_round(rng, reach, 12, 0.15, rng.uniform(0.4, 1))
    film(clay, outline, near(rng, colour(0.42, 0.24, 0.1), 0.25), rng.uniform(0.3, 1.6), body=True)
    clay.absorb[:] = blurred(clay.absorb, reach * clay.fine * rng.uniform(0.08, 0.35))
    return fired(clay, rng, gloss=0, rough=0.25)


def ring(rng: Rng, tints: Tints) -> Stamp:
    """A thin slice across a leaf or a stalk: one pale ring within another."""
    reach = _size(rng, 1.6, 0.4, 0.7, 4)
    clay = lump(reach * 1.4, 2)
    way, squash = np.linspace(0, 2 * np.pi, 60), rng.uniform(0.5, 1)
    uneven = 1 + rng.normal(0, 0.06) * np.sin(2 * way + rng.uniform(0, 6)) + rng.normal(0, 0.04) * np.sin(3 * way)
    gap = int(rng.integers(0, 14)) if rng.random() < 0.4 else 0
    line = turned(np.stack([np.cos(way), squash * np.sin(way)], 1) * uneven[:, None], rng.uniform(0, np.pi))[gap:]
    tint = one_of(rng, tints, 0.1)
    for share in np.cumprod([1, *rng.uniform(0.55, 0.9, int(rng.integers(0, 4)))]):
        limb(clay, line * reach * share, reach * rng.uniform(0.04, 0.2), near(rng, tint, 0.06), rng.uniform(0.3, 1.1))
    return fired(clay, rng, gloss=0.2, rough=rng.uniform(0.05, 0.2))


Maker = Callable[[Rng, Tints], Stamp]
ALL: tuple[Maker, ...] = (sliver, bud, husk, legless, scrap, grit, starch, fibre, bubble, seed, speck, ring)
_OFTEN = {
    "water": (6, 1.5, 2, 3, 8, 9, 4, 4, 6, 1, 1, 0.3),
    "cloth": (6, 1.2, 2, 3, 6, 8, 4, 7, 5, 1, 3, 0.2),
    "broccoli": (5, 3, 1, 3, 5, 6, 2, 2, 3, 1, 4, 0.2),
    "cauliflower": (5, 2, 1, 3, 5, 6, 4, 2, 3, 1, 7, 0.1),
    "scallion": (6, 1.2, 2, 3, 5, 7, 3, 3, 5, 1, 7, 1.5),
}


def mixture(kind: str, rng: Rng) -> tuple[list[Maker], list[float]]:
    """What may lie about in one scene of `kind` and how often: no two scenes have the same mixture."""
    often = np.array(_OFTEN[kind], float) * np.exp(rng.normal(0, 0.7, len(ALL)))
    return list(ALL), list(often / often.sum())
