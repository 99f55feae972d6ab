"""Caterpillars, translucent larvae and gnats, and the one way in to paint any insect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.render.hands.washed.insects import aphid, egg, glint, limbs, mite, patch_at, skin, thrips, trunk, veil
from vision.render.hands.washed.plans import Plan
from vision.render.hands.washed.pose import Brush, Middle, Pose, feeler, profile
from vision.render.hands.washed.sheet import Colour, Rng, Sheet, Stamp, mixed
from vision.render.truth import moments

_DARK: Colour = (0.07, 0.05, 0.04)
_N = 33


@dataclass(frozen=True)
class Painted:
    """An insect on its stamp; `angle_deg` of its long axis."""

    plan: Plan
    stamp: Stamp
    angle_deg: float


def paint(rng: Rng, plan: Plan, x_px: float, y_px: float, angle_deg: float, px_per_mm: float) -> Painted:
    """The insect with its middle at a point of the picture and its head at `angle_deg`, clockwise as seen."""
    sheet = Sheet.blank(x_px, y_px, plan.reach_mm * px_per_mm)
    pose = Pose(x_px, y_px, angle_deg, int(rng.choice([-1, 1])), px_per_mm)
    middle = Middle.bent(plan.length_mm, plan.bend_rad, plan.sway_rad)
    _PAINTERS[plan.kind](Brush(sheet, pose, rng, plan.opaque), plan, middle)
    stamp = sheet.stamp()
    long_axis = moments(stamp.body)[2] if plan.curved else angle_deg % 180.0
    return Painted(plan, stamp, long_axis)


def caterpillar(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A soft ringed tube with a dark head, stumpy legs, bristles, and a gut that may shine through."""
    rng, w = brush.rng, plan.width_mm
    head = mixed((0.3, 0.17, 0.08), _DARK, float(rng.uniform(0.0, 1.0)))
    shade = mixed(plan.colour, (0.35, 0.34, 0.2), 0.5)
    stumps = []
    for at in (0.1, 0.3, 0.37, 0.44, 0.51, 0.78, 0.85, 0.91):
        for s in (-1, 1):
            if rng.random() < plan.limbs * (1.0 if s > 0 or not plan.side_view else 0.0):
                way = np.stack([middle.at(at, s * w * 0.4), middle.at(at + 0.01, s * w * rng.uniform(0.58, 0.7))])
                stumps.append(brush.fine(way))
    brush.sheet.wash(rng, brush.sheet.lines(stumps, w * 0.2 * brush.fine_mm, w * 0.12 * brush.fine_mm), shade, 0.8)
    hairs = [
        brush.fine(np.stack([middle.at(t, s * w * 0.45), middle.at(t + rng.normal(0, 0.02), s * w * rng.uniform(0.7, 1.0))]))
        for t in np.linspace(0.05, 0.95, 14) for s in (-1, 1) if rng.random() < 0.4
    ]  # fmt: skip
    brush.sheet.wash(rng, brush.sheet.lines(hairs, 1.0, 1.0), shade, 0.5)
    half = profile(_N, (0, 0.08, 0.3, 0.75, 0.92, 1), (0.62, 0.88, 1.0, 0.98, 0.78, 0.68))
    half = half * (1 + 0.05 * np.cos(np.linspace(0, 1, _N) * 26 * np.pi))
    shape = trunk(brush, plan, middle, (half / half.max()).astype(np.float32), float(rng.uniform(-0.1, 0.5)), 13.0)
    for at, wide, strength in ((0.0, 0.25, rng.uniform(0, 0.5)), (0.55, 0.14, rng.uniform(0, 0.4))):
        stripe = np.exp(-(((np.abs(shape.across) - at) / wide) ** 2)) * strength
        brush.sheet.wash(rng, shape.times(stripe.astype(np.float32)), shade, 0.9, 0.0, 0.6)
    for at in np.linspace(0.08, 0.88, 11):
        for s in (-1, 1):
            if rng.random() < 0.4:
                dot = patch_at(brush, middle, float(at), s * w * 0.3, (w * 0.12, w * 0.1))
                brush.sheet.wash(rng, dot, head, 0.6)
    cap = patch_at(brush, middle, 1 - 0.36 * w / plan.length_mm, 0.0, (w * 0.72, w * 0.74))
    brush.sheet.wash(rng, cap, head, 0.92, 0.3, body=True)
    for at in rng.uniform(0.15, 0.85, int(rng.integers(0, 4))):
        glint(brush, middle, float(at), w * 0.18, w * 0.2, 0.6)


def larva(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A glassy little maggot: only its rim, the dark hooks of its head end, and its gut stand out."""
    rng, w = brush.rng, plan.width_mm
    half = profile(_N, (0, 0.15, 0.5, 0.8, 1), (0.7, 0.95, 1.0, 0.75, 0.3))
    shape = trunk(brush, plan, middle, half.astype(np.float32), float(rng.uniform(0.5, 1.0)), 10.0)
    rim = np.clip(np.abs(shape.across) * 3 - 2, 0, 1) * rng.uniform(0.3, 0.8)
    brush.sheet.wash(rng, shape.times(rim.astype(np.float32)), mixed(plan.colour, (0.3, 0.27, 0.18), 0.7), 0.6)
    gut_tone = mixed((0.42, 0.4, 0.18), (0.25, 0.18, 0.1), float(rng.random()))
    sway = 0.25 * np.sin(shape.along * rng.uniform(6, 14) + rng.uniform(0, 6))
    gut = np.exp(-(((shape.across - sway) / 0.36) ** 2)) * ((shape.along > 0.12) & (shape.along < 0.78))
    brush.sheet.wash(rng, shape.times(gut.astype(np.float32)), gut_tone, float(rng.uniform(0.3, 0.75)), 0.0, 0.6)
    head = np.clip((shape.along - 0.86) * 12, 0, 1)
    brush.sheet.wash(rng, shape.times(head.astype(np.float32)), mixed((0.2, 0.12, 0.06), _DARK, 0.4), 0.85)
    if rng.random() < 0.5:
        glint(brush, middle, 0.4, w * 0.2, w * 0.25, 0.6)


def gnat(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A slender dark fly: humped chest, small round head, long legs, two veined veils."""
    rng, w, length = brush.rng, plan.width_mm, plan.length_mm
    dark = mixed(plan.colour, _DARK, float(rng.uniform(0.2, 0.7)))
    thin = 0.05 * brush.fine_mm
    legs = limbs(brush, plan, middle, (0.6, 0.68, 0.76), length * float(rng.uniform(0.8, 1.3)))
    brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.4, thin * 0.7), dark, float(rng.uniform(0.55, 0.95)))
    feelers = [
        brush.fine(feeler(rng, middle.at(0.97, s * w * 0.12), middle.way(1) + s * rng.uniform(0.2, 1.0),
                          length * rng.uniform(0.25, 0.5), s * rng.uniform(-0.5, 1.4)))
        for s in (-1, 1)
    ]  # fmt: skip
    brush.sheet.wash(rng, brush.sheet.lines(feelers, thin, thin * 0.6), dark, 0.75)
    places, widths = (0, 0.2, 0.52, 0.58, 0.68, 0.8, 0.855, 0.92, 1), (0.28, 0.55, 0.5, 0.6, 1.0, 0.7, 0.22, 0.5, 0.45)
    half = profile(_N, places, widths)
    shape = trunk(brush, plan, middle, half.astype(np.float32), float(rng.uniform(-0.2, 0.4)), 14.0)
    chest = np.clip(1 - np.abs(shape.along - 0.69) * 7, 0, 1)
    brush.sheet.wash(rng, shape.times(chest.astype(np.float32)), dark, 0.8, 0.2)
    ball = patch_at(brush, middle, 0.94, 0.0, (length * 0.1, w * 0.55))
    brush.sheet.wash(rng, ball, mixed(dark, (0.3, 0.05, 0.05), 0.4), 0.95, 0.3)
    spread = float(rng.uniform(0.05, 1.5))
    for s in (-1, 1):
        if rng.random() < 0.92:
            out = middle.way(0.7) + np.pi - s * (spread + rng.normal(0, 0.2))
            veil(brush, middle.at(0.7, s * w * 0.25), out, length * float(rng.uniform(0.75, 0.95)), length * 0.3, dark)
    glint(brush, middle, 0.7, w * float(rng.uniform(-0.3, 0.3)), w * 0.25, float(rng.uniform(0.1, 0.6)))


_PAINTERS: dict[str, Callable[[Brush, Plan, Middle], None]] = {
    "aphid": aphid, "thrips": thrips, "caterpillar": caterpillar, "larva": larva, "mite": mite, "gnat": gnat,
    "egg": egg, "skin": skin,
}  # fmt: skip
