"""How insects with legs are built from parts; aphids and their cast skins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.clay import Clay, Stamp, film, fired, limb, lump, put, rolled
from vision.render.hands.grown.fields import Numbers, Rng, bent_line, colour, near, one_of, turned
from vision.types import FloatArray


@dataclass(frozen=True)
class Grown:
    """An insect before it has a place: `length_mm` along its middle line, `angle_deg` of its long axis as in TrueBody."""

    kind: str
    stamp: Stamp
    length_mm: float
    width_mm: float
    angle_deg: float
    curved: bool


APHID_TINTS = (
    colour(0.42, 0.5, 0.14), colour(0.55, 0.58, 0.25), colour(0.3, 0.16, 0.06), colour(0.4, 0.24, 0.1),
    colour(0.1, 0.06, 0.04), colour(0.03, 0.03, 0.03), colour(0.5, 0.34, 0.18), colour(0.45, 0.2, 0.14),
)  # fmt: skip


def profile(steps: int, stops: list[tuple[float, float]]) -> FloatArray:
    """(steps,) half widths through the stops (place 0..1, half width), rounded off at both ends."""
    t = np.linspace(0, 1, steps)
    knots, values = np.array([s[0] for s in stops]), np.array([s[1] for s in stops])
    return np.asarray(np.interp(t, knots, values), np.float32)


def eye(clay: Clay, at_px: FloatArray, half_px: float, tint: FloatArray) -> None:
    """A small dark bead."""
    put(clay, rolled(clay, np.stack([at_px, at_px + 0.1]), np.array([half_px, half_px])), tint, 14, body=False)


def leg(
    clay: Clay,
    rng: Rng,
    root: FloatArray,
    way_rad: float,
    reach_px: float,
    bend: float,
    tint: FloatArray,
    thick: float = 0.04,
    strong: float = 1.7,
) -> None:
    """A leg of thigh, shin and foot from `root` (2,) px, starting along `way_rad` and turning by `bend` at the knee."""
    shares, turns, widths = (0.36, 0.46, 0.18), (0.0, bend, bend * 0.5 + rng.normal(0, 0.25)), (1.7, 1.05, 0.8)
    width_px = max(reach_px * thick, 0.5)
    here: Numbers = root
    strength = strong * rng.uniform(0.7, 1.3)
    for share, turn, wide in zip(shares, turns, widths, strict=True):
        there = here + reach_px * share * np.array([np.cos(way_rad + turn), np.sin(way_rad + turn)])
        mid = (here + there) / 2 + rng.normal(0, 0.02 * reach_px, 2)
        limb(clay, np.stack([here, mid, there]), width_px * wide, tint, strength)
        here = there


def aphid(rng: Rng, *, skin: bool = False) -> Grown:
    """A pear with six legs, two antennae and two cornicles; or the empty skin of one."""
    length = float(np.clip(rng.gamma(9, 0.18), 1.0, 2.5)) * PX_PER_MM
    wide = length * rng.uniform(0.46, 0.62) * (0.85 if skin else 1)
    tint = near(rng, colour(0.82, 0.78, 0.66), 0.08) if skin else one_of(rng, APHID_TINTS, 0.18)
    dense = rng.uniform(0.3, 0.9) if skin else float(np.exp(rng.uniform(np.log(1.5), np.log(7))))
    if tint.mean() < 0.15:
        dense = max(dense, 4.0)
    limbs = near(rng, tint * (0.9 if skin else rng.uniform(0.45, 1.0)), 0.1)
    # Limbs of a glassy body are faint too.
    strong = min(0.5 + 0.3 * dense, 2.0)
    angle = rng.uniform(0, 2 * np.pi)
    from_side, belly_up = rng.random() < 0.25, rng.random() < 0.3
    clay = lump(length * 1.25)
    stops = [
        (0, 0.12),
        (0.05, 0.25),
        (0.13, 0.4),
        (0.22, 0.5),
        (0.4, 0.8),
        (0.62, 1),
        (0.8, 0.86),
        (0.93, 0.42),
        (1, 0.1),
    ]
    half = profile(64, stops) * wide / 2
    folds = rng.uniform(0.02, 0.16 if skin else 0.05) * np.sin(np.linspace(0, rng.uniform(9, 20), 64))
    half = np.asarray(half * (1 + folds), np.float32)
    # The balls at both ends reach past the line, so the line is that much shorter than the body.
    straight = bent_line(rng, length - float(half[0] + half[-1]), 0.0, steps=64)
    straight[:, 0] += half[0] / 2 - half[-1] / 2

    def at(t: float, off: float) -> FloatArray:
        """A place on the body: share of its length from the head, and of its half width aside, turned as it lies."""
        place = np.array([(t - 0.5) * length, off * float(np.interp(t, np.linspace(0, 1, 64), half))], np.float32)
        return turned(place, angle)

    def limbs_of() -> None:
        for t, way in ((0.2, -2.35), (0.34, -1.6), (0.48, -0.75)):
            for hand in (-1, 1):
                if rng.random() < (0.3 if skin else 0.1):
                    continue
                out = way + rng.normal(0, 0.22)
                lean = hand if not from_side or rng.random() < 0.2 else 1
                reach = length * rng.uniform(0.42, 0.62) * (1.25 if t > 0.4 else 1)
                bend = (-0.6 if t < 0.25 else 0.6) + rng.normal(0, 0.3)
                if belly_up:
                    reach, bend = reach * 0.75, bend * 2.2
                leg(clay, rng, at(t, 0.55 * lean), angle - lean * out, reach, -lean * bend, limbs, strong=strong)

    if not belly_up:
        limbs_of()
    for hand in (-1, 1):
        if rng.random() < 0.12:
            continue
        # Antennae sweep forwards and out, or back along the body.
        sweep = rng.uniform(0.3, 1.0) if rng.random() < 0.6 else rng.uniform(1.6, 2.6)
        line = bent_line(rng, length * rng.uniform(0.5, 1.0), hand * rng.uniform(0.2, 1.1), 0.1, 24)
        line = turned(line - line[0], angle + np.pi + hand * sweep) + at(0.06, 0.4 * -hand)
        limb(clay, line, max(length * 0.016, 0.45), limbs, 0.7 * strong)
    part = rolled(clay, turned(straight, angle), half)
    if part is not None:
        rings = 1 - rng.uniform(0, 0.25) * (np.sin(part.along * rng.uniform(40, 60)) > 0.4) * (part.along > 0.3)
        saddle = 1 - rng.uniform(0, 0.5) * np.exp(-(((part.along - 0.7) / 0.14) ** 2) - (part.side / 0.6) ** 2)
        head = np.where(part.along < 0.2, rng.uniform(0.55, 1.0), 1.0)
        spine = 1 - (0.5 if skin else rng.uniform(-0.1, 0.15)) * np.exp(-((part.side / 0.15) ** 2))
        body_tint = tint * (rings * saddle * head)[..., None]
        put(clay, part, body_tint.astype(np.float32), np.asarray(dense * spine, np.float32), cloud=0.3)
    rear = at(0.99, 0)
    tail = np.stack([rear, rear + turned(np.array([length * 0.07, 0], np.float32), angle)])
    limb(clay, tail, max(length * 0.05, 0.8), limbs, 1.0)
    if not belly_up and not (from_side and rng.random() < 0.4):
        tube = length * rng.uniform(0.1, 0.22)
        for hand in (-1, 1):
            root = at(0.8, 0.6 * hand)
            end = root + turned(np.array([tube, hand * tube * rng.uniform(0.1, 0.7)], np.float32), angle)
            limb(clay, np.stack([root, end]), max(length * 0.045, 0.8), limbs, 1.5 * strong)
    if not skin:
        for hand in (-1, 1):
            eye(clay, at(0.085, 0.85 * hand), max(length * 0.028, 0.6), near(rng, colour(0.1, 0.02, 0.02), 0.2))
    if belly_up:
        limbs_of()
    if not skin and rng.random() < 0.1:
        for hand in (-1, 1):
            wing(clay, rng, at(0.3, 0.5 * hand), angle + hand * rng.uniform(-0.05, 0.6), length * 1.1, 0.36, hand)
    stamp = fired(clay, rng, gloss=rng.uniform(0.05, 0.6), rough=rng.uniform(0.03, 0.12) + (0.15 if skin else 0))
    return Grown("skin" if skin else "aphid", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)


def wing(clay: Clay, rng: Rng, root: FloatArray, way_rad: float, length_px: float, aspect: float, hand: int) -> None:
    """A glassy wing with a few veins from `root`."""
    t = np.linspace(0, 1, 20)
    front = np.stack([t, -hand * 0.12 * aspect * np.sin(np.pi * t)], 1)
    back = np.stack([t[::-1], hand * aspect * np.sin(np.pi * t[::-1] ** 1.4)], 1)
    outline = (np.concatenate([front, back]) * length_px).astype(np.float32)
    film(clay, turned(outline, way_rad) + root, near(rng, colour(0.7, 0.7, 0.65), 0.06), rng.uniform(0.12, 0.4))
    dark = near(rng, colour(0.25, 0.18, 0.1), 0.2)
    limb(clay, turned(outline[:20], way_rad) + root, 0.8, dark, 0.9)
    for lean in (0.3, 0.6):
        vein = np.stack([t[:16], hand * aspect * lean * np.sin(np.pi * t[:16] ** 1.2)], 1) * length_px
        limb(clay, turned(vein.astype(np.float32), way_rad) + root, 0.5, dark, 0.6)
