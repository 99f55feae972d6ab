"""Insects without long legs: caterpillars, translucent larvae and eggs; and which insects come how often."""

from __future__ import annotations

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.bodies import Grown, aphid, eye, profile
from vision.render.hands.grown.clay import fired, limb, lump, put, rolled
from vision.render.hands.grown.fields import Rng, bent_line, colour, near, one_of, turned
from vision.render.hands.grown.legged import gnat, mite, thrips

_PALE = (
    colour(0.6, 0.68, 0.36),
    colour(0.75, 0.74, 0.55),
    colour(0.85, 0.83, 0.72),
    colour(0.45, 0.58, 0.2),
    colour(0.6, 0.5, 0.3),
)


def caterpillar(rng: Rng) -> Grown:
    """A ringed pale body with a dark head, short feet and a darker gut; often bent."""
    length = float(np.clip(np.exp(rng.normal(np.log(5.5), 0.45)), 3, 12)) * PX_PER_MM
    wide = float(np.clip(length * rng.uniform(0.11, 0.19), 8, 34))
    tint, dense = one_of(rng, _PALE, 0.1), rng.uniform(0.5, 1.6)
    angle = rng.uniform(0, 2 * np.pi)
    turn = float(rng.choice([rng.normal(0, 0.15), rng.uniform(0.7, 2.2), rng.uniform(2.2, 4.0)]) * rng.choice([-1, 1]))
    wobble = rng.uniform(0, 0.6) if abs(turn) > 0.4 else 0.05
    clay = lump(length * 0.62, 2)
    half = profile(110, [(0, 0.55), (0.03, 0.7), (0.1, 0.85), (0.3, 1), (0.75, 1), (0.92, 0.75), (1, 0.4)]) * wide / 2
    place = np.linspace(0, 1, 110)
    half = half * (0.965 + rng.uniform(0.02, 0.06) * np.abs(np.sin(np.pi * 13 * place)))
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), turn, wobble, 110), angle)
    line = line - (line.min(axis=0) + line.max(axis=0)) / 2
    way = np.gradient(line, axis=0)
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-6)[:, None]
    out = np.stack([-way[:, 1], way[:, 0]], 1)
    flank = rng.choice([-1, 1])
    for t in (0.08, 0.14, 0.2, 0.46, 0.54, 0.62, 0.7, 0.95):
        k = int(t * 109)
        for hand in (-1, 1) if rng.random() < 0.15 else (flank,):
            foot = np.stack(
                [
                    line[k] + hand * out[k] * half[k] * 0.8,
                    line[k] + hand * out[k] * half[k] * 1.22 - way[k] * half[k] * 0.1,
                ]
            )
            limb(clay, foot, wide * (0.09 if t < 0.3 else 0.17), tint * 0.85, 0.5)
    part = rolled(clay, line, half)
    dark = one_of(
        rng, (colour(0.1, 0.06, 0.03), colour(0.3, 0.16, 0.06), colour(0.5, 0.4, 0.2), colour(0.02, 0.02, 0.02)), 0.2
    )
    if part is not None:
        head = np.clip((0.055 - part.along) / 0.008, 0, 1)
        rings = 1 - rng.uniform(0.05, 0.25) * (np.abs(np.sin(np.pi * 13 * part.along)) < 0.3)
        gut = (
            np.exp(-((part.side / 0.35) ** 2))
            * np.clip((part.along - 0.12) * 8, 0, 1)
            * np.clip((0.95 - part.along) * 8, 0, 1)
        )
        gut = gut * (0.6 + 0.4 * np.sin(part.along * 23 + rng.uniform(0, 6)))
        stripe = 1 - rng.uniform(-0.1, 0.3) * np.exp(-(((np.abs(part.side) - rng.uniform(0.2, 0.6)) / 0.1) ** 2))
        shade = (tint * (rings * stripe)[..., None]) * (1 - head[..., None]) + dark * head[..., None]
        shade = shade * (1 - rng.uniform(0, 0.45) * gut[..., None] * colour(1.0, 0.6, 1.0))
        put(
            clay,
            part,
            shade.astype(np.float32),
            (dense * (1 + 1.5 * gut * rng.uniform(0, 1)) + 3 * head).astype(np.float32),
            cloud=0.3,
        )
    hairy = rng.uniform(0, 0.45)
    for t in np.arange(0.08, 0.98, 1 / 13):
        k = int(t * 109)
        for hand in (-1, 1):
            root = line[k] + hand * out[k] * half[k] * 0.5
            limb(clay, np.stack([root, root + hand * out[k] * half[k] * rng.uniform(0.6, 1.1)]), 0.35, dark, hairy)
    stamp = fired(clay, rng, gloss=rng.uniform(0.1, 0.6), rough=rng.uniform(0.05, 0.15))
    across = line[-1] - line[0]
    axis = np.arctan2(across[1], across[0]) if abs(turn) < 3.4 else angle
    return Grown(
        "caterpillar", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(axis), abs(turn) > 0.5 or wobble > 0.3
    )


def larva(rng: Rng) -> Grown:
    """A glassy little maggot of which head end and gut show and the rest hardly does."""
    length = rng.uniform(0.45, 0.9) * PX_PER_MM
    wide = length * rng.uniform(0.24, 0.34)
    tint, angle = near(rng, colour(0.8, 0.76, 0.6), 0.08), rng.uniform(0, 2 * np.pi)
    turn = float(rng.normal(0, 0.6))
    clay = lump(length * 0.75, 4)
    half = profile(48, [(0, 0.3), (0.12, 0.6), (0.4, 1), (0.75, 0.95), (1, 0.45)]) * wide / 2
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), turn, steps=48), angle)
    part = rolled(clay, line, half)
    if part is not None:
        head = np.clip((0.14 - part.along) / 0.06, 0, 1)
        gut = np.exp(-((part.side / 0.45) ** 2) - ((part.along - rng.uniform(0.45, 0.65)) / 0.2) ** 2)
        edge = np.abs(part.side) ** 4
        dark = colour(0.2, 0.1, 0.04)
        share = np.clip(head + 0.7 * gut, 0, 1)[..., None]
        shade = tint * (1 - share) + near(rng, dark, 0.2) * share
        dense = rng.uniform(0.8, 2) + edge * 3 + head * rng.uniform(4, 12) + gut * rng.uniform(2, 7)
        put(clay, part, shade.astype(np.float32), dense.astype(np.float32), cloud=0.2)
    stamp = fired(clay, rng, gloss=rng.uniform(0.2, 0.7), rough=0.05)
    return Grown("larva", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), abs(turn) > 0.5)


def egg(rng: Rng) -> Grown:
    """A shining oval."""
    length = rng.uniform(0.3, 0.8) * PX_PER_MM
    wide = length * rng.uniform(0.42, 0.7)
    tint = one_of(
        rng, (colour(0.85, 0.82, 0.7), colour(0.8, 0.66, 0.25), colour(0.45, 0.3, 0.14), colour(0.06, 0.05, 0.05)), 0.1
    )
    angle = rng.uniform(0, 2 * np.pi)
    clay = lump(length * 0.7, 4)
    t = np.linspace(-1, 1, 40)
    # Balls that fill an ellipse from within: their radii follow from its two half axes.
    reach = (1 - (wide / length) ** 2) * length / 2
    half = np.sqrt(np.maximum((1 - (t * reach) ** 2 / ((length / 2) ** 2 - (wide / 2) ** 2)), 0.0)) * wide / 2
    line = turned(np.stack([t * reach, 0 * t], 1).astype(np.float32), angle)
    part = rolled(clay, line, half.astype(np.float32))
    if part is not None:
        ribs = 1 - rng.uniform(0, 0.2) * (np.sin(part.side * rng.uniform(6, 16)) > 0.3)
        put(clay, part, (tint * ribs[..., None]).astype(np.float32), rng.uniform(2, 7), cloud=0.35)
    if rng.random() < 0.3:
        eye(clay, turned(np.array([length * 0.3, 0], np.float32), angle), 0.6, colour(0.1, 0.05, 0.03))
    stamp = fired(clay, rng, gloss=rng.uniform(0.4, 1.0), rough=0.04)
    return Grown("egg", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)


def skin(rng: Rng) -> Grown:
    """What an aphid leaves when it moults."""
    return aphid(rng, skin=True)


MAKERS = (aphid, thrips, caterpillar, larva, mite, gnat, egg, skin)
_SHARES = {
    "scallion": (0.17, 0.42, 0.06, 0.14, 0.06, 0.03, 0.06, 0.06),
    "": (0.36, 0.24, 0.08, 0.07, 0.06, 0.06, 0.06, 0.07),
}


def hatched(kind: str, rng: Rng) -> Grown:
    """An insect of a kind that is found in scenes of `kind`, more often an aphid or a thrips than any other."""
    shares = _SHARES.get(kind, _SHARES[""])
    return MAKERS[int(rng.choice(len(MAKERS), p=shares))](rng)
