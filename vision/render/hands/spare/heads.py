"""Broccoli and cauliflower: opened florets as fields of height made of domes, on the lit panel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare.fields import Colour, Rng, between, blurred, cloud, colour, dome, jittered, lit, nearest
from vision.render.hands.spare.flats import cast, panel
from vision.render.hands.spare.plate import Ground
from vision.types import FloatArray


@dataclass(frozen=True)
class _Sort:
    """What tells one vegetable from the other; colours as linear light scattered back, `absorbed` as density per mm."""

    pitch_mm: tuple[float, float]
    lump_mm: tuple[float, float]
    lump_share: float
    heads: tuple[Colour, ...]
    stalk: Colour
    absorbed: Colour
    tint_spread: float
    gap: float
    stains: float
    above: tuple[float, float]


_GREENS = ((0.11, 0.19, 0.050), (0.075, 0.15, 0.055), (0.16, 0.23, 0.07), (0.10, 0.16, 0.10), (0.13, 0.17, 0.05))
_CURDS = ((0.84, 0.78, 0.60), (0.86, 0.83, 0.72), (0.80, 0.72, 0.50))
_SORTS = {
    "broccoli": _Sort((0.75, 1.3), (6, 10), 0.35, _GREENS, (0.36, 0.48, 0.20), (1.1, 0.75, 1.5), 0.22, 0.75, 0.15, (0.7, 1.15)),
    "cauliflower": _Sort((0.35, 0.75), (3, 6), 0.5, _CURDS, (0.70, 0.70, 0.52), (0.50, 0.55, 0.75), 0.05, 0.3, 0.7, (0.75, 1.1)),
}  # fmt: skip


def _florets(rng: Rng, height_px: int, width_px: int) -> list[list[float]]:
    """Opened florets, each as x, y, radius and the direction of its stalk in radians, in pixels."""
    # A middle size that fits small pictures too, so that there is panel beside produce in each.
    radius = min(between(rng, 8, 14) * PX_PER_MM, 0.42 * min(height_px, width_px))
    many = int(np.clip(round(height_px * width_px / (radius * radius * np.pi) * rng.uniform(0.35, 0.8)), 1, 10))
    spots = jittered(rng, height_px, width_px, min(radius * 2.1, 0.75 * max(height_px, width_px)), 0.2)
    picks = rng.permutation(len(spots))[:many]
    return [[*map(float, spots[i]), radius * between(rng, 0.7, 1.2), between(rng, 0, 6.3)] for i in picks]


def _region(rng: Rng, florets: list[list[float]], height_px: int, width_px: int) -> FloatArray:
    """How far inside a floret's crown each pixel is (h, w): 1 in its middle, 0 at its edge, below 0 outside."""
    h, w = height_px // 4 + 1, width_px // 4 + 1
    y, x = np.arange(h, dtype=np.float32)[:, None] * 4, np.arange(w, dtype=np.float32)[None, :] * 4
    inside = np.full((h, w), -1.0, np.float32)
    for middle_x, middle_y, radius, stalk_rad in florets:
        u, v = (x - middle_x) / radius, (y - middle_y) / radius
        # The crown is a fan: buds are wanting on the side of the stalk, where the opened twigs show.
        bare = 1.8 * np.maximum(u * np.cos(stalk_rad) + v * np.sin(stalk_rad) - 0.1, 0)
        inside = np.maximum(inside, 1.0 - np.sqrt(u * u + v * v) - bare)
    inside += 0.10 * cloud(rng, h, w, 18) + 0.06 * cloud(rng, h, w, 7)
    return np.asarray(cv2.resize(inside.astype(np.float32), (width_px, height_px)), np.float32)


def _twigs(rng: Rng, florets: list[list[float]], height_px: int, width_px: int) -> FloatArray:
    """Thickness (h, w) 0..1 of the stalks and of the twigs that fan out from them, their cut ends flat."""
    whole = np.zeros((height_px // 2, width_px // 2), np.float32)
    for middle_x, middle_y, radius, stalk_rad in florets:
        aim = np.array([np.cos(stalk_rad), np.sin(stalk_rad)])
        fork = np.array([middle_x, middle_y]) + aim * radius * 0.6
        thick = radius * between(rng, 0.2, 0.34)
        foot = fork + aim * radius * between(rng, 0.3, 0.9) + rng.normal(0, 0.08, 2) * radius
        limbs = [(foot, fork - aim * radius * 0.25, thick * 1.15, thick * 0.9)]
        for swing in np.linspace(-0.85, 0.85, int(rng.integers(5, 9))) + rng.normal(0, 0.08):
            turn = stalk_rad + np.pi + swing
            tip = fork + np.array([np.cos(turn), np.sin(turn)]) * radius * between(rng, 0.7, 1.1)
            limbs.append((fork, tip, thick * between(rng, 0.3, 0.55), thick * 0.2))
        mask = np.zeros(whole.shape, np.uint8)
        for start, stop, wide, thin in limbs:
            along = (stop - start) / max(float(np.hypot(*(stop - start))), 1.0)
            aside = np.array([-along[1], along[0]]) / 2
            corners = np.array([start + aside * wide, stop + aside * thin, stop - aside * thin, start - aside * wide])
            cv2.fillConvexPoly(mask, np.round(corners / 2).astype(np.int32), 255)
        cv2.circle(mask, (round(fork[0] / 2), round(fork[1] / 2)), round(thick * 0.28), 255, -1)
        whole = np.maximum(whole, dome(mask.astype(np.float32), max(thick * 0.22, 2.0)))
    return np.asarray(cv2.resize(blurred(whole, 1.2), (width_px, height_px)), np.float32)


def head(kind: str, rng: Rng, height_px: int, width_px: int) -> Ground:
    """Opened florets of "broccoli" or "cauliflower" with their stalks, on the panel."""
    sort = _SORTS[kind]
    florets = _florets(rng, height_px, width_px)
    inside = _region(rng, florets, height_px, width_px)
    pitch, lump_pitch = (between(rng, *span) * PX_PER_MM for span in (sort.pitch_mm, sort.lump_mm))
    points = jittered(rng, height_px, width_px, pitch, 0.42)
    points = points[inside[points[:, 1], points[:, 0]] > 0]
    far, labels = nearest(points, height_px, width_px)
    own = np.clip(rng.standard_normal((len(points) + 2, 2)), -2, 2).astype(np.float32)
    off = np.minimum(far / (pitch * (0.62 + 0.09 * own[labels, 0])), 1)
    buds = 0.5 * np.sqrt(1 - off * off) + 0.5 * (1 - off * off)
    lump_far, lump_labels = nearest(jittered(rng, height_px, width_px, lump_pitch), height_px, width_px)
    # Lumps run into each other softly; a hard seam would be a black line.
    lumps = blurred(np.maximum(1 - (lump_far / (lump_pitch * 0.72)) ** 2, 0).astype(np.float32), lump_pitch * 0.07)
    crown = (buds > 0) | (inside > 0.06)
    canopy = np.sqrt(np.clip(inside, 0, 0.6) / 0.6)
    twigs = _twigs(rng, florets, height_px, width_px)
    share = sort.lump_share
    # Small grains do not bury a body between them as large buds do: it lies between lumps then.
    rise = 0.5 * min(pitch / 20, 1.0)
    domes = (0.12 + rise * buds + (0.88 - rise) * lumps) * (0.7 + 0.3 * canopy)
    height = np.where(crown, domes, twigs * 0.3).astype(np.float32)
    steps = blurred(np.where(crown, buds, twigs * 0.5).astype(np.float32), 0.9) * np.float32(pitch * 0.42)
    steps += (lumps * crown).astype(np.float32) * np.float32(lump_pitch * share * 0.35)
    shade = lit(steps, between(rng, 0, 6.3), between(rng, 0.7, 1.3))
    # Light finds its way into gaps less than onto tops, and less to the flanks of a lump than to its middle.
    shade *= (1 - sort.gap * np.exp(-4.0 * buds) * crown) * (1 - 0.45 * share * (1 - lumps) * crown)
    by_lump = rng.random(int(lump_labels.max()) + 2).astype(np.float32)[lump_labels]
    tone = sort.tint_spread * (own[labels, 1] - between(rng, -0.5, 2.5) * np.exp(-7 * off * off))
    near = np.exp(rng.normal(0, 0.015 + 0.3 * sort.tint_spread, (2, 3))).astype(np.float32)
    main = colour(*sort.heads[int(rng.integers(len(sort.heads)))]) * near[0]
    other = main * colour(*rng.uniform(0.75, 1.25, 3)) if sort.lump_share < 0.5 else main * colour(0.97, 0.92, 0.80)
    patch = np.clip(0.5 + 0.3 * cloud(rng, height_px, width_px, 120) + 0.3 * (by_lump - 0.5), 0, 1)[..., None]
    tops = (main + patch * (other - main)) * np.exp(tone + 0.06 * cloud(rng, height_px, width_px, 4))[..., None]
    grain = (
        0.85
        + 0.06 * cloud(rng, height_px, width_px, 30)
        + 0.04 * cloud(rng, height_px, width_px, 5)
        + 0.25 * (twigs - 0.5)
    )
    wood = colour(*sort.stalk) * near[1] * grain[..., None]
    stain = np.clip(cloud(rng, height_px, width_px, between(rng, 20, 60)) - between(rng, 1.3, 2.4), 0, 1.5)
    brown = np.exp(-(stain * np.float32(sort.stains * rng.uniform(0, 1)))[..., None] * colour(0.7, 1.1, 1.7))
    albedo = np.where(crown[..., None], tops, wood) * brown
    above = cast(rng) * between(rng, *sort.above)
    thick_mm = blurred(np.where(crown, 0.6 + 3 * buds + 3 * canopy, twigs * 4.0).astype(np.float32), 0.7)
    solid = (thick_mm > 0.3).astype(np.float32)
    light = panel(rng, height_px, width_px, between(rng, 0.6, 0.95))
    # What stands on the panel keeps some of its light from its own surroundings.
    light *= (1 - between(rng, 0.05, 0.25) * blurred(solid, 14))[..., None]
    light *= np.asarray(cv2.exp(-thick_mm[..., None] * colour(*sort.absorbed)), np.float32)
    light += ((1 - np.exp(-4 * thick_mm)) * shade)[..., None] * albedo * above
    return Ground(light, above, height, solid > 0, between(rng, 0.15, 0.4), "panel", 0.75)
