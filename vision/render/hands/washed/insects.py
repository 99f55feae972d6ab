"""Soft-bodied and slender insects painted part by part: aphids and their skins, thrips, mites, eggs."""

from __future__ import annotations

import numpy as np

from vision.render.hands.washed.plans import Plan
from vision.render.hands.washed.pose import Brush, Middle, Points, bands, feeler, leg, profile, rounded
from vision.render.hands.washed.sheet import Colour, Floats, Shape, mixed, toned

_DARK: Colour = (0.06, 0.04, 0.03)
_GLINT: Colour = (1.0, 0.99, 0.95)
_N = 33


def limbs(brush: Brush, plan: Plan, middle: Middle, bases: tuple[float, float, float], reach_mm: float) -> list[Points]:
    """Six legs as fine pixels, each seen or not by lot; in side view all hang to one side."""
    rng, out = brush.rng, []
    for base, lean in zip(bases, (-0.75, -0.15, 0.55), strict=True):
        for side in (-1, 1):
            if rng.random() > plan.limbs:
                continue
            where = middle.at(base, side * plan.width_mm * 0.3)
            toward = side
            if plan.side_view:
                where, toward = middle.at(base, plan.width_mm * 0.35), 1
            turned = lean + rng.normal(0, 0.25) + (0.25 * side if plan.side_view else 0.0)
            length = reach_mm * (1.15 if lean > 0.5 else 0.9) * rng.uniform(0.75, 1.1)
            out.append(brush.fine(leg(rng, where, middle.way(base), toward, turned, length)))
    return out


def trunk(brush: Brush, plan: Plan, middle: Middle, half: Floats, edge: float, segments: float) -> Shape:
    """The body as one stroke along the middle line, with bristle marks along it and creases across; returned as drawn."""
    rng = brush.rng
    line = brush.fine(middle.points)
    shape = brush.sheet.ribbon(line, half * plan.width_mm / 2 * brush.fine_mm)
    flat = np.asarray(plan.colour, np.float32)
    round_tone = 1.08 - rng.uniform(0.05, 0.35) * shape.across**2 + rng.uniform(-0.2, 0.2) * shape.across
    bristles = np.sin(shape.across * rng.uniform(5, 11) + shape.along * rng.uniform(0, 6) + rng.uniform(0, 6)) * 0.05
    tone = (round_tone + bristles - rng.uniform(0.08, 0.3) * bands(shape.along, segments)).astype(np.float32)
    brush.sheet.wash(rng, shape, flat * tone[..., None], brush.opaque, edge, 0.16, body=True)
    return shape


def patch_at(brush: Brush, middle: Middle, at: float, across_mm: float, size_mm: tuple[float, float]) -> Shape:
    """An oval on the body, size (along, across) mm."""
    way = middle.way(at)
    step = np.array([np.cos(way), np.sin(way)]) * size_mm[0] / 2
    centre = middle.at(at, across_mm)
    line = np.stack([centre + step * t for t in np.linspace(-1, 1, 9)])
    return brush.sheet.ribbon(brush.fine(line), rounded(9) * size_mm[1] / 2 * brush.fine_mm)


def glint(brush: Brush, middle: Middle, at: float, across_mm: float, size_mm: float, strength: float) -> None:
    """A wet highlight on the body."""
    spot = patch_at(brush, middle, at, across_mm, (size_mm * 1.6, size_mm))
    brush.sheet.wash(brush.rng, spot, _GLINT, strength, soft=brush.sheet.fine * 0.5)


def aphid(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A pear on six legs: feelers, two tubes at the rear, a small tail, eyes; wings on some."""
    rng, w, length = brush.rng, plan.width_mm, plan.length_mm
    dark = mixed(plan.colour, _DARK, float(rng.uniform(0.25, 0.8)))
    thin = max(0.025 * length, 0.035) * brush.fine_mm
    belly_up = rng.random() < 0.3
    legs = limbs(brush, plan, middle, (0.6, 0.7, 0.8), length * float(rng.uniform(0.55, 0.95)))
    feelers = [
        brush.fine(
            feeler(rng, middle.at(0.97, s * w * 0.12), middle.way(1) + s * rng.uniform(0.3, 0.8),
                   length * rng.uniform(0.45, 1.0), s * rng.uniform(0.2, 2.4))
        )
        for s in (-1, 1) if rng.random() < plan.limbs
    ]  # fmt: skip
    limb_strength = float(rng.uniform(0.5, 0.95))
    if not belly_up:
        brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.3, thin * 0.6), dark, limb_strength)
    brush.sheet.wash(rng, brush.sheet.lines(feelers, thin * 0.9, thin * 0.45), dark, limb_strength * 0.9)
    tubes = [
        brush.fine(np.stack([middle.at(0.2, s * w * 0.3), middle.at(-0.02, s * w * rng.uniform(0.4, 0.62))]))
        for s in (-1, 1) if rng.random() < plan.limbs + 0.2
    ]  # fmt: skip
    brush.sheet.wash(rng, brush.sheet.lines(tubes, thin * 1.6, thin * 1.2), dark, 0.85)
    fat = float(rng.uniform(0.24, 0.42))
    half = profile(_N, (0, 0.1, fat, 0.62, 0.78, 0.9, 1), (0.3, 0.72, 1.0, 0.74, 0.52, 0.44, 0.3))
    shape = trunk(brush, plan, middle, half.astype(np.float32), float(rng.uniform(-0.3, 0.6)), 11.0)
    front = np.clip((shape.along - 0.66) * 8, 0, 1) * rng.uniform(0.1, 0.75)
    brush.sheet.wash(rng, shape.times(front), dark, 0.7, 0.2)
    waist = np.exp(-(((shape.along - 0.66) / 0.02) ** 2)) + np.exp(-(((shape.along - 0.86) / 0.018) ** 2))
    brush.sheet.wash(rng, shape.times(waist.astype(np.float32)), dark, 0.5, 0.0)
    if rng.random() < 0.35:
        mark = patch_at(brush, middle, fat, 0.0, (length * 0.3, w * rng.uniform(0.3, 0.7)))
        brush.sheet.wash(rng, mark, dark, 0.6, 0.3, 0.4, soft=brush.sheet.fine)
    for s in (-1, 1):
        eye = patch_at(brush, middle, 0.93, s * w * 0.2, (0.07 * length, 0.06 * length))
        brush.sheet.wash(rng, eye, toned(rng, (0.22, 0.05, 0.04)), 0.9)
    if plan.winged:
        for s in (-1, 1):
            out = middle.way(0.7) + np.pi - s * rng.uniform(0.15, 0.9)
            veil(brush, middle.at(0.72, s * w * 0.25), out, length * 1.15, length * 0.4, dark)
    if belly_up:
        brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.3, thin * 0.6), dark, limb_strength)
    if rng.random() < 0.55:
        glint(brush, middle, fat + 0.1, w * float(rng.uniform(-0.25, 0.25)), 0.1 * length, float(rng.uniform(0.2, 0.7)))


def veil(brush: Brush, base_mm: Points, way_rad: float, length_mm: float, width_mm: float, vein: Colour) -> None:
    """A wing as a thin translucent veil with a few veins, from its root outwards."""
    rng = brush.rng
    step = np.array([np.cos(way_rad), np.sin(way_rad)]) * length_mm
    line = np.stack([base_mm + step * t for t in np.linspace(0, 1, 17)])
    half = profile(17, (0, 0.3, 0.7, 1), (0.18, 0.7, 1.0, 0.5)) * width_mm / 2
    shape = brush.sheet.ribbon(brush.fine(line), half * brush.fine_mm)
    tint = mixed((0.82, 0.82, 0.78), vein, float(rng.uniform(0.0, 0.35)))
    brush.sheet.wash(rng, shape, tint, float(rng.uniform(0.14, 0.4)), 0.9, 0.3)
    right = np.array([-step[1], step[0]]) / length_mm
    veins = [
        brush.fine(np.stack([base_mm + step * t + right * width_mm * a * t**0.8 for t in np.linspace(0.05, e, 6)]))
        for a, e in ((-0.42, 0.85), (-0.15, 0.93), (0.1, 0.9), (0.3, 0.75))
    ]
    thin = 0.02 * brush.fine_mm
    brush.sheet.wash(rng, brush.sheet.lines(veins, thin * 1.5, thin), vein, float(rng.uniform(0.3, 0.7)))


def thrips(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A narrow pointed body; on adults two fringed wings along the back; short legs and feelers."""
    rng, w = brush.rng, plan.width_mm
    dark = mixed(plan.colour, _DARK, float(rng.uniform(0.15, 0.7)))
    thin = 0.03 * brush.fine_mm
    legs = limbs(brush, plan, middle, (0.58, 0.68, 0.84), 0.27 * float(rng.uniform(0.7, 1.1)))
    brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.2, thin * 0.8), dark, float(rng.uniform(0.4, 0.85)))
    feelers = [
        brush.fine(feeler(rng, middle.at(0.99, s * w * 0.15), middle.way(1) + s * rng.uniform(0.15, 0.7), 0.22, s * 0.4))
        for s in (-1, 1) if rng.random() < plan.limbs
    ]  # fmt: skip
    brush.sheet.wash(rng, brush.sheet.lines(feelers, thin * 1.3, thin), dark, 0.8)
    half = profile(_N, (0, 0.12, 0.4, 0.66, 0.74, 0.84, 0.88, 1), (0.12, 0.5, 0.95, 1.0, 0.84, 0.8, 0.6, 0.55))
    shape = trunk(brush, plan, middle, half.astype(np.float32), float(rng.uniform(-0.2, 0.5)), 12.0)
    ends = np.clip(np.abs(shape.along - 0.5) * 4 - 1.2, 0, 1) * rng.uniform(0.0, 0.6)
    brush.sheet.wash(rng, shape.times(ends), dark, 0.8)
    gut = np.exp(-((shape.across / 0.35) ** 2)) * (shape.along < 0.7) * rng.uniform(0.0, 0.5)
    brush.sheet.wash(rng, shape.times(gut.astype(np.float32)), dark, 0.6, 0.0, 0.5)
    for s in (-1, 1):
        eye = patch_at(brush, middle, 0.95, s * w * 0.2, (0.05, 0.05))
        brush.sheet.wash(rng, eye, (0.15, 0.04, 0.04), 0.85)
    if plan.winged and not plan.young:
        _fringed(brush, middle, plan, dark)


def _fringed(brush: Brush, middle: Middle, plan: Plan, dark: Colour) -> None:
    """Two strips from the chest to the tail with hairs at their outer sides, folded or a little spread."""
    rng, w = brush.rng, plan.width_mm
    spread = float(rng.choice([0.0, 0.06, 0.35]))
    tint = mixed((0.8, 0.76, 0.66), dark, float(rng.uniform(0.0, 0.8)))
    hairs = []
    for s in (-1, 1):
        line = np.stack([middle.at(0.7 - 0.72 * t, s * (w * 0.16 + spread * t * 0.5)) for t in np.linspace(0, 1, 12)])
        shape = brush.sheet.ribbon(brush.fine(line), rounded(12, 5.0) * w * 0.14 * brush.fine_mm)
        brush.sheet.wash(rng, shape, tint, float(rng.uniform(0.2, 0.55)), 0.4)
        for t in np.linspace(0.15, 1.0, 10):
            root = middle.at(0.7 - 0.72 * t, s * (w * 0.26 + spread * t * 0.5))
            tip = middle.at(0.7 - 0.72 * t - 0.1, s * (w * 0.26 + spread * t * 0.5 + 0.14))
            hairs.append(brush.fine(np.stack([root, tip])))
    brush.sheet.wash(rng, brush.sheet.lines(hairs, 1.0, 1.0), dark, 0.35)


def mite(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A small oval on eight legs, often with two dark spots."""
    rng, w, length = brush.rng, plan.width_mm, plan.length_mm
    dark = mixed(plan.colour, _DARK, float(rng.uniform(0.2, 0.7)))
    legs = []
    for base, lean in ((0.85, 0.9), (0.7, 0.4), (0.45, -0.4), (0.3, -0.9)):
        for s in (-1, 1):
            if rng.random() < plan.limbs:
                where = middle.at(base, s * w * 0.35)
                legs.append(brush.fine(leg(rng, where, middle.way(base), s, lean, length * rng.uniform(0.5, 0.85))))
    thin = 0.028 * brush.fine_mm
    brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.4, thin), dark, float(rng.uniform(0.4, 0.85)))
    half = profile(_N, (0, 0.12, 0.4, 0.75, 0.9, 1), (0.45, 0.78, 1.0, 0.82, 0.55, 0.3))
    trunk(brush, plan, middle, half.astype(np.float32), float(rng.uniform(-0.2, 0.5)), 1.0)
    if rng.random() < 0.55:
        for s in (-1, 1):
            spot = patch_at(brush, middle, 0.45, s * w * 0.24, (length * 0.3, w * 0.22))
            brush.sheet.wash(rng, spot, dark, 0.8, soft=1.0)
    if rng.random() < 0.5:
        glint(brush, middle, 0.5, w * 0.1, length * 0.15, 0.5)


def egg(brush: Brush, plan: Plan, middle: Middle) -> None:
    """A smooth oval with a rim and a soft light."""
    rng = brush.rng
    trunk(brush, plan, middle, rounded(_N).astype(np.float32), float(rng.uniform(0.1, 0.8)), 0.5)
    glint(brush, middle, 0.6, plan.width_mm * 0.15, plan.width_mm * 0.3, float(rng.uniform(0.2, 0.8)))


def skin(brush: Brush, plan: Plan, middle: Middle) -> None:
    """An empty skin: a pale crumpled veil with rims, folds and legs that hold their shape."""
    rng, w, length = brush.rng, plan.width_mm, plan.length_mm
    rim = mixed(plan.colour, (0.5, 0.42, 0.3), float(rng.uniform(0.3, 0.8)))
    legs = limbs(brush, plan, middle, (0.55, 0.68, 0.8), length * 0.7)
    thin = 0.035 * brush.fine_mm
    brush.sheet.wash(rng, brush.sheet.lines(legs, thin * 1.4, thin), rim, 0.55)
    half = profile(_N, (0, 0.1, 0.35, 0.7, 0.9, 1), (0.3, 0.7, 1.0, 0.7, 0.5, 0.3)) + rng.normal(0, 0.035, _N)
    half = np.clip(half, 0, None)
    shape = trunk(brush, plan, middle, (half / half.max()).astype(np.float32), 0.9, 8.0)
    rims = np.clip(np.abs(shape.across) * 4 - 3, 0, 1)
    brush.sheet.wash(rng, shape.times(rims), rim, 0.6)
    split = brush.fine(np.stack([middle.at(float(t), w * 0.03) for t in np.linspace(0.35, 0.95, 9)]))
    brush.sheet.wash(rng, brush.sheet.lines([split], thin, thin), rim, 0.7)
    for at in rng.uniform(0.1, 0.9, 4):
        fold = np.stack([middle.at(float(at), -w * 0.35), middle.at(float(at + rng.normal(0, 0.1)), w * 0.35)])
        brush.sheet.wash(rng, brush.sheet.lines([brush.fine(fold)], 1.5, 1.0), rim, 0.35)
