"""Insects with legs to see, built from parts: aphids, their cast skins, thrips, gnats and mites."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.clay import Clay, Stamp, film, fired, limb, lump, put, rolled
from vision.render.hands.grown.fields import Rng, bent_line, colour, near, one_of, turned
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
_THRIPS_TINTS = (
    colour(0.6, 0.4, 0.1), colour(0.5, 0.28, 0.08), colour(0.2, 0.1, 0.04), colour(0.08, 0.05, 0.03), colour(0.7, 0.55, 0.2),
)  # fmt: skip


def profile(steps: int, stops: list[tuple[float, float]]) -> FloatArray:
    """(steps,) half widths through the stops (place 0..1, half width), rounded off at both ends."""
    t = np.linspace(0, 1, steps)
    knots, values = np.array([s[0] for s in stops]), np.array([s[1] for s in stops])
    return np.interp(t, knots, values).astype(np.float32)


def eye(clay: Clay, at_px: FloatArray, half_px: float, tint: FloatArray) -> None:
    """A small dark bead."""
    put(clay, rolled(clay, np.stack([at_px, at_px + 0.1]), np.array([half_px, half_px])), tint, 14, body=False)


def leg(clay: Clay, rng: Rng, root: FloatArray, way_rad: float, reach_px: float, bend: float, tint: FloatArray, thick: float = 0.04, strong: float = 1.7) -> None:
    """A leg of thigh, shin and foot from `root` (2,) px, starting along `way_rad` and turning by `bend` at the knee."""
    shares, turns, widths = (0.36, 0.46, 0.18), (0.0, bend, bend * 0.5 + rng.normal(0, 0.25)), (1.7, 1.05, 0.8)
    width_px = max(reach_px * thick, 0.5)
    here, strength = root, strong * rng.uniform(0.7, 1.3)
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
    stops = [(0, 0.12), (0.05, 0.25), (0.13, 0.4), (0.22, 0.5), (0.4, 0.8), (0.62, 1), (0.8, 0.86), (0.93, 0.42), (1, 0.1)]
    half = profile(64, stops) * wide / 2
    half = half * (1 + rng.uniform(0.02, 0.16 if skin else 0.05) * np.sin(np.linspace(0, rng.uniform(9, 20), 64)))
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
            _wing(clay, rng, at(0.3, 0.5 * hand), angle + hand * rng.uniform(-0.05, 0.6), length * 1.1, 0.36, hand)
    stamp = fired(clay, rng, gloss=rng.uniform(0.05, 0.6), rough=rng.uniform(0.03, 0.12) + (0.15 if skin else 0))
    return Grown("skin" if skin else "aphid", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)


def _wing(clay: Clay, rng: Rng, root: FloatArray, way_rad: float, length_px: float, aspect: float, hand: int) -> None:
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


def thrips(rng: Rng) -> Grown:
    """A thin pointed body with short legs: grown, with fringed wings along its back, or a pale larva without wings."""
    young = rng.random() < 0.4
    length = rng.uniform(0.8, 1.2 if young else 1.5) * PX_PER_MM
    wide = float(np.clip(length * rng.uniform(0.17, 0.23), 0.2 * PX_PER_MM, 0.3 * PX_PER_MM))
    tint = near(rng, colour(0.78, 0.66, 0.26), 0.12) if young else one_of(rng, _THRIPS_TINTS, 0.15)
    dense = rng.uniform(3, 8) if young else rng.uniform(6, 16)
    angle, turn = rng.uniform(0, 2 * np.pi), float(rng.normal(0, 0.2) if rng.random() < 0.7 else rng.normal(0, 0.8))
    clay = lump(length * 0.85, 4)
    stops = [(0, 0.4), (0.05, 0.56), (0.12, 0.6), (0.16, 0.72), (0.24, 0.84), (0.3, 0.94), (0.42, 0.88), (0.6, 1), (0.8, 0.72), (0.92, 0.3), (1, 0.1)]
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
            leg(clay, rng, root, heading(t) - hand * (out + rng.normal(0, 0.2)), length * rng.uniform(0.22, 0.34), hand * (0.5 if t < 0.2 else -0.5), limbs)
    for hand in (-1, 1):
        start = heading(0) + np.pi + hand * rng.uniform(0.2, 0.6)
        feeler = line[0] + np.outer(np.linspace(0, 1, 6), [np.cos(start), np.sin(start)]) * length * rng.uniform(0.14, 0.22)
        limb(clay, feeler, 0.9, limbs * 0.8, 1.3)
    part = rolled(clay, line, half)
    if part is not None:
        count = rng.uniform(52, 64)
        bands = 1 - rng.uniform(0.1, 0.45) * (np.sin(part.along * count) > 0.2) * (part.along > 0.38)
        gut = 1 + (rng.uniform(0, 1.2) if young else 0) * np.exp(-(((part.along - 0.6) / 0.15) ** 2) - (part.side / 0.4) ** 2)
        put(clay, part, (tint * bands[..., None]).astype(np.float32), np.asarray(dense * gut, np.float32), cloud=0.25)
    for hand in (-1, 1):
        aside = turned(np.array([0, hand * half[4] * 0.7], np.float32), heading(0.06))
        eye(clay, line[4] + aside, max(wide * 0.1, 0.45), colour(0.12, 0.02, 0.02) if young else colour(0.02, 0.01, 0.01))
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
                limb(clay, np.stack([spot, spot + wide * rng.uniform(0.5, 1) * np.array([np.cos(hair), np.sin(hair)])]), 0.3, shade, 0.7)
    stamp = fired(clay, rng, gloss=rng.uniform(0.05, 0.4), rough=rng.uniform(0.03, 0.15))
    return Grown("thrips", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), abs(turn) > 0.5)


def gnat(rng: Rng) -> Grown:
    """A small fly: round head, humped chest, thin belly, glassy wings and long legs."""
    length = rng.uniform(1.5, 3.0) * PX_PER_MM
    wide = length * rng.uniform(0.2, 0.28)
    tint, angle = one_of(rng, (colour(0.05, 0.04, 0.03), colour(0.14, 0.08, 0.04), colour(0.25, 0.16, 0.08)), 0.2), rng.uniform(0, 2 * np.pi)
    clay = lump(length * 1.3)
    stops = [(0, 0.3), (0.06, 0.56), (0.12, 0.5), (0.16, 0.4), (0.26, 0.98), (0.36, 0.9), (0.44, 0.5), (0.6, 0.62), (0.85, 0.45), (1, 0.12)]
    half = profile(64, stops) * wide / 2
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), 0.0, steps=64), angle)
    line = line + turned(np.array([(half[0] - half[-1]) / 2, 0], np.float32), angle)
    limbs = near(rng, tint * 1.4, 0.15)
    for t, out in ((0.22, -2.4), (0.3, -1.6), (0.36, -0.8)):
        for hand in (-1, 1):
            if rng.random() < 0.15:
                continue
            reach = length * rng.uniform(0.6, 1.0)
            leg(clay, rng, line[int(t * 63)], angle - hand * (out + rng.normal(0, 0.3)), reach, hand * rng.normal(0.7 if t < 0.25 else -0.7, 0.3), limbs, 0.02)
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
        _wing(clay, rng, line[int(0.28 * 63)], angle + hand * (spread + rng.normal(0, 0.15)), length * rng.uniform(0.8, 1.0), 0.32, -hand)
    stamp = fired(clay, rng, gloss=rng.uniform(0.1, 0.5), rough=rng.uniform(0.05, 0.2))
    return Grown("gnat", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)


def mite(rng: Rng) -> Grown:
    """A tiny round body with eight short legs."""
    length = rng.uniform(0.3, 0.6) * PX_PER_MM
    wide = length * rng.uniform(0.62, 0.8)
    tint = one_of(rng, (colour(0.6, 0.5, 0.25), colour(0.45, 0.1, 0.05), colour(0.3, 0.18, 0.08), colour(0.55, 0.6, 0.3)), 0.15)
    angle, dense = rng.uniform(0, 2 * np.pi), rng.uniform(2.5, 9)
    clay = lump(length * 1.2, 4)
    half = profile(32, [(0, 0.35), (0.2, 0.75), (0.5, 1), (0.8, 0.9), (1, 0.5)]) * wide / 2
    line = turned(bent_line(rng, length - float(half[0] + half[-1]), 0.0, steps=32), angle)
    line = line + turned(np.array([(half[0] - half[-1]) / 2, 0], np.float32), angle)
    for t, out in ((0.1, -2.8), (0.25, -2.3), (0.6, -1.0), (0.7, -0.5)):
        for hand in (-1, 1):
            root = line[int(t * 31)]
            leg(clay, rng, root, angle - hand * (out + rng.normal(0, 0.2)) , length * rng.uniform(0.6, 0.85), hand * rng.normal(0, 0.5), tint * 0.8)
    part = rolled(clay, line, half)
    if part is not None:
        spots = np.exp(-(((part.along - 0.55) / 0.2) ** 2) - ((np.abs(part.side) - 0.5) / 0.25) ** 2)
        blotch = 1 - rng.uniform(0, 0.7) * spots
        put(clay, part, (tint * blotch[..., None]).astype(np.float32), dense, cloud=0.3)
    stamp = fired(clay, rng, gloss=rng.uniform(0.1, 0.6), rough=0.08)
    return Grown("mite", stamp, length / PX_PER_MM, wide / PX_PER_MM, np.rad2deg(angle), False)
