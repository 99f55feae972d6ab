"""Thrips, gnats and mites, built from parts."""

from __future__ import annotations

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.bodies import Grown, eye, leg, profile, wing
from vision.render.hands.grown.clay import fired, limb, lump, put, rolled
from vision.render.hands.grown.fields import Rng, bent_line, colour, near, one_of, turned

_THRIPS_TINTS = (
    colour(0.6, 0.4, 0.1), colour(0.5, 0.28, 0.08), colour(0.2, 0.1, 0.04), colour(0.08, 0.05, 0.03), colour(0.7, 0.55, 0.2),
)  # fmt: skip


def thrips(rng: Rng) -> Grown:
    """A thin pointed body with short legs: grown, with fringed wings along its back, or a pale larva without wings."""
    young = rng.random() < 0.4
    length = rng.uniform(0.8, 1.2 if young else 1.5) * PX_PER_MM
    wide = float(np.clip(length * rng.uniform(0.17, 0.23), 0.2 * PX_PER_MM, 0.3 * PX_PER_MM))
    tint = near(rng, colour(0.78, 0.66, 0.26), 0.12) if young else one_of(rng, _THRIPS_TINTS, 0.15)
    dense = rng.uniform(3, 8) if young else rng.uniform(6, 16)
    angle, turn = rng.uniform(0, 2 * np.pi), float(rng.normal(0, 0.2) if rng.random() < 0.7 else rng.normal(0, 0.8))
    clay = lump(length * 0.85, 4)
    stops = [
        (0, 0.4),
        (0.05, 0.56),
        (0.12, 0.6),
        (0.16, 0.72),
        (0.24, 0.84),
        (0.3, 0.94),
        (0.42, 0.88),
        (0.6, 1),
        (0.8, 0.72),
        (0.92, 0.3),
        (1, 0.1),
    ]
    half = profile(60, stops) * wide / 2
    line = bent_line(rng, length - float(half[0] + half[-1]), turn, steps=60)
    line = turned(line, angle)
    way = np.gradient(line, axis=0)
    limbs = near(rng, tint * rng.uniform(0.6, 1.0), 0.1)

    def heading(t: float) -> float:
        k = int(t * 59)
        return float(np.arctan2(way[k, 1], way[k, 0]))

    for t, out in ((0.16, -2.4), (0.3, -1.7), (0.4, -0.9)):
        for hand in (-1, 1):
            if rng.random() < 0.12:
                continue
            root = line[int(t * 59)]
            leg(
                clay,
                rng,
                root,
                heading(t) - hand * (out + rng.normal(0, 0.2)),
                length * rng.uniform(0.22, 0.34),
                hand * (0.5 if t < 0.2 else -0.5),
                limbs,
            )
    for hand in (-1, 1):
        start = heading(0) + np.pi + hand * rng.uniform(0.2, 0.6)
        feeler = line[0] + np.outer(np.linspace(0, 1, 6), [np.cos(start), np.sin(start)]) * length * rng.uniform(
            0.14, 0.22
        )
        limb(clay, feeler, 0.9, limbs * 0.8, 1.3)
    part = rolled(clay, line, half)
    if part is not None:
        count = rng.uniform(52, 64)
        bands = 1 - rng.uniform(0.1, 0.45) * (np.sin(part.along * count) > 0.2) * (part.along > 0.38)
        gut = 1 + (rng.uniform(0, 1.2) if young else 0) * np.exp(
            -(((part.along - 0.6) / 0.15) ** 2) - (part.side / 0.4) ** 2
        )
        put(clay, part, (tint * bands[..., None]).astype(np.float32), np.asarray(dense * gut, np.float32), cloud=0.25)
    for hand in (-1, 1):
        aside = turned(np.array([0, hand * half[4] * 0.7], np.float32), heading(0.06))
        eye(
            clay,
            line[4] + aside,
            max(wide * 0.1, 0.45),
            colour(0.12, 0.02, 0.02) if young else colour(0.02, 0.01, 0.01),
        )
    if not young:
        shade = near(rng, colour(0.55, 0.5, 0.4) if rng.random() < 0.5 else colour(0.2, 0.14, 0.08), 0.1)
        open_rad = rng.uniform(0.0, 0.14) if rng.random() < 0.75 else rng.uniform(0.3, 1.2)
        for hand in (-1, 1):
            lead = heading(0.32) + hand * open_rad
            root = line[int(0.3 * 59)] + turned(np.array([0, hand * wide * 0.2], np.float32), heading(0.3))
            tip = root + length * rng.uniform(0.58, 0.72) * np.array([np.cos(lead), np.sin(lead)])
            limb(clay, np.stack([root, tip]), 1.1, shade, 0.9)
            for k in np.linspace(0.25, 1, 9):
                spot = root + (tip - root) * k
                hair = lead + hand * rng.uniform(0.25, 0.6)
                limb(
                    clay,
                    np.stack([spot, spot + wide * rng.uniform(0.5, 1) * np.array([np.cos(hair), np.sin(hair)])]),
                    0.3,
                    shade,
                    0.7,
                )
    stamp = fired(clay, rng, gloss=rng.uniform(0.05, 0.4), rough=rng.uniform(0.03, 0.15))
    return Grown("thrips", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), abs(turn) > 0.5)


def gnat(rng: Rng) -> Grown:
    """A small fly: round head, humped chest, thin belly, glassy wings and long legs."""
    length = rng.uniform(1.5, 3.0) * PX_PER_MM
    wide = length * rng.uniform(0.2, 0.28)
    tint, angle = (
        one_of(rng, (colour(0.05, 0.04, 0.03), colour(0.14, 0.08, 0.04), colour(0.25, 0.16, 0.08)), 0.2),
        rng.uniform(0, 2 * np.pi),
    )
    clay = lump(length * 1.3)
    stops = [
        (0, 0.3),
        (0.06, 0.56),
        (0.12, 0.5),
        (0.16, 0.4),
        (0.26, 0.98),
        (0.36, 0.9),
        (0.44, 0.5),
        (0.6, 0.62),
        (0.85, 0.45),
        (1, 0.12),
    ]
    half = profile(64, stops) * wide / 2
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), 0.0, steps=64), angle)
    line = line + turned(np.array([(half[0] - half[-1]) / 2, 0], np.float32), angle)
    limbs = near(rng, tint * 1.4, 0.15)
    for t, out in ((0.22, -2.4), (0.3, -1.6), (0.36, -0.8)):
        for hand in (-1, 1):
            if rng.random() < 0.15:
                continue
            reach = length * rng.uniform(0.6, 1.0)
            leg(
                clay,
                rng,
                line[int(t * 63)],
                angle - hand * (out + rng.normal(0, 0.3)),
                reach,
                hand * rng.normal(0.7 if t < 0.25 else -0.7, 0.3),
                limbs,
                0.02,
            )
    for hand in (-1, 1):
        feeler = bent_line(rng, length * rng.uniform(0.3, 0.5), hand * 0.8, 0.1, 20)
        feeler = turned(feeler - feeler[0], angle + np.pi + hand * rng.uniform(0.3, 0.9)) + line[2]
        limb(clay, feeler, 0.9, limbs, 1.2)
    part = rolled(clay, line, half)
    if part is not None:
        bands = 1 + rng.uniform(0, 0.8) * (np.sin(part.along * 50) > 0.3) * (part.along > 0.44)
        put(clay, part, np.clip(tint * bands[..., None], 0, 1).astype(np.float32), rng.uniform(4, 8), cloud=0.3)
    spread = rng.uniform(0.05, 0.35) if rng.random() < 0.5 else rng.uniform(0.6, 1.5)
    for hand in (-1, 1):
        if rng.random() < 0.12:
            continue
        wing(
            clay,
            rng,
            line[int(0.28 * 63)],
            angle + hand * (spread + rng.normal(0, 0.15)),
            length * rng.uniform(0.8, 1.0),
            0.32,
            -hand,
        )
    stamp = fired(clay, rng, gloss=rng.uniform(0.1, 0.5), rough=rng.uniform(0.05, 0.2))
    return Grown("gnat", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)


def mite(rng: Rng) -> Grown:
    """A tiny round body with eight short legs."""
    length = rng.uniform(0.3, 0.6) * PX_PER_MM
    wide = length * rng.uniform(0.62, 0.8)
    tint = one_of(
        rng, (colour(0.6, 0.5, 0.25), colour(0.45, 0.1, 0.05), colour(0.3, 0.18, 0.08), colour(0.55, 0.6, 0.3)), 0.15
    )
    angle, dense = rng.uniform(0, 2 * np.pi), rng.uniform(2.5, 9)
    clay = lump(length * 1.2, 4)
    half = profile(32, [(0, 0.35), (0.2, 0.75), (0.5, 1), (0.8, 0.9), (1, 0.5)]) * wide / 2
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), 0.0, steps=32), angle)
    line = line + turned(np.array([(half[0] - half[-1]) / 2, 0], np.float32), angle)
    for t, out in ((0.1, -2.8), (0.25, -2.3), (0.6, -1.0), (0.7, -0.5)):
        for hand in (-1, 1):
            root = line[int(t * 31)]
            leg(
                clay,
                rng,
                root,
                angle - hand * (out + rng.normal(0, 0.2)),
                length * rng.uniform(0.42, 0.65),
                hand * rng.normal(0, 0.5),
                tint * 0.8,
            )
    part = rolled(clay, line, half)
    if part is not None:
        spots = np.exp(-(((part.along - 0.55) / 0.2) ** 2) - ((np.abs(part.side) - 0.5) / 0.25) ** 2)
        blotch = 1 - rng.uniform(0, 0.7) * spots
        put(clay, part, (tint * blotch[..., None]).astype(np.float32), dense, cloud=0.3)
    stamp = fired(clay, rng, gloss=rng.uniform(0.1, 0.6), rough=0.08)
    return Grown("mite", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)
