"""Aphids and their cast skins: a pear of translucent layers with six legs, two feelers, two tubes on the back and a tail.

Sizes, postures and colours from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.render.hands.layered.colour import Rng, any_size, between, one_of, srgb, varied
from vision.render.hands.layered.curves import Points, ellipse, polar, profile, tube
from vision.render.hands.layered.drawn import Drawn
from vision.render.hands.layered.limbs import SIDES, jointed, leg, wing
from vision.render.hands.layered.noise import grain
from vision.render.hands.layered.sheet import Pose, Sheet
from vision.types import FloatArray

_COLOURS = (
    srgb(122, 150, 72), srgb(88, 118, 58), srgb(150, 168, 92), srgb(92, 72, 48), srgb(60, 48, 38), srgb(110, 112, 100),
    srgb(34, 32, 30), srgb(188, 190, 140), srgb(160, 110, 80),
)  # fmt: skip
_HOW_OFTEN = (3, 2.5, 2, 2, 1.5, 2.5, 2, 1.3, 0.8)
_DARK_LEGS, _PALE_LEGS, _DARK_TIPS = srgb(58, 46, 34), srgb(170, 150, 100), srgb(40, 32, 26)
_HEAD, _EYES, _SHINE, _WAX = srgb(40, 34, 28), srgb(40, 14, 12), srgb(250, 250, 245), srgb(205, 208, 200)
_SKIN, _SKIN_LEGS, _SKIN_TIPS = srgb(225, 222, 205), srgb(190, 186, 170), srgb(170, 165, 150)
_SKIN_TUBES, _SPLIT = srgb(180, 176, 160), srgb(120, 116, 100)
_HIPS = (0.27, 0.16, 0.04)
_LEG_ANGLES_RAD = (0.84, 1.61, 2.44)
_LEG_LENGTHS = (0.5, 0.5, 0.78)


@dataclass(frozen=True)
class _Plan:
    """What one aphid is like; lengths in mm."""

    length: float
    width: float
    from_side: bool
    cast: bool
    colour: FloatArray
    opacity: float
    legs: FloatArray
    tips: FloatArray
    leg_width: float
    leg_opacity: float


def aphid(rng: Rng, pose: Pose) -> Drawn:
    """An aphid of 0.8-2.5 mm from above or the side, some with wings."""
    colour = varied(rng, one_of(rng, _COLOURS, _HOW_OFTEN), 0.18, 0.06)
    opacity = rng.uniform(0.45, 0.85) if pose.light.wet else rng.uniform(0.8, 1.0)
    if colour.mean() < 0.06:
        opacity = max(opacity, 0.85)
    legs = between(colour, _DARK_LEGS, rng.uniform(0.3, 0.9)) * np.float32(0.75)
    if colour.mean() < 0.1 and rng.random() < 0.4:
        legs = _PALE_LEGS
    plan = _plan(rng, colour, opacity, legs, _DARK_TIPS, cast=False)
    winged = rng.random() < 0.09
    sheet = pose.sheet(plan.length * (1.6 if winged else 1.45))
    _limbs(sheet, rng, plan)
    outline = _trunk(sheet, rng, plan)
    _inner_layers(sheet, plan, outline)
    _marks(sheet, rng, plan)
    if winged:
        for side in SIDES:
            base = (0.2 * plan.length, side * 0.1 * plan.length)
            wing(sheet, base, 1.35 * plan.length, 0.42 * plan.length, math.pi - side * rng.uniform(0.12, 0.6))
    return Drawn(sheet, plan.length, plan.width)


def skin(rng: Rng, pose: Pose) -> Drawn:
    """The pale, clear skin that an aphid has left, with the split that it left by."""
    plan = _plan(rng, varied(rng, _SKIN), rng.uniform(0.3, 0.5), _SKIN_LEGS, _SKIN_TIPS, cast=True)
    sheet = pose.sheet(plan.length * 1.45)
    _limbs(sheet, rng, plan)
    _inner_layers(sheet, plan, _trunk(sheet, rng, plan))
    sheet.stroke([[plan.length * 0.45, 0], [0.0, 0.02 * plan.length]], 0.03 * plan.length, 0.01, _SPLIT, 0.5)
    return Drawn(sheet, plan.length, plan.width)


def _plan(rng: Rng, colour: FloatArray, opacity: float, legs: FloatArray, tips: FloatArray, cast: bool) -> _Plan:
    length = any_size(rng, 0.8, 2.5, 1.45, 0.3)
    width = length * rng.uniform(0.44, 0.62)
    return _Plan(
        length=length,
        width=width,
        from_side=bool(rng.random() < 0.28),
        cast=cast,
        colour=colour,
        opacity=opacity,
        legs=legs,
        tips=tips,
        leg_width=0.022 + 0.014 * length,
        leg_opacity=rng.uniform(0.6, 0.95),
    )


def _limbs(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    """Legs and feelers; one may be missing."""
    stretch = rng.uniform(0.75, 1.05)
    for side in SIDES:
        for i in range(3):
            if rng.random() < 0.07:
                continue
            reach, angle = _LEG_LENGTHS[i] * plan.length * stretch, _LEG_ANGLES_RAD[i] + rng.normal(0, 0.22)
            if plan.from_side:
                joints = _leg_below(rng, plan, i, reach, angle, 1.0 if side > 0 else 0.72)
                alpha = plan.leg_opacity * (1.0 if side > 0 else 0.7)
            else:
                hip = np.array([_HIPS[i], side * 0.13]) * plan.length
                bent = angle + (0.35 if i else -0.25) + rng.normal(0, 0.25)
                joints = jointed(hip, reach * 0.48, angle, reach * 0.58, bent, side)
                alpha = plan.leg_opacity
            leg(sheet, rng, joints, plan.leg_width, plan.legs, alpha, plan.tips)
    _feelers(sheet, rng, plan)


def _leg_below(rng: Rng, plan: _Plan, i: int, reach: float, angle: float, near: float) -> list[Points]:
    """A leg seen from the side, under the body; the far ones look shorter."""
    hip = np.array([_HIPS[i] + rng.normal(0, 0.02), 0.12]) * plan.length
    ahead = math.cos(angle) * reach * 0.55 * near
    down = (0.34 + 0.1 * rng.random()) * near + 0.1
    knee = hip + np.array([ahead, 0.16 * plan.length])
    end = hip + np.array([ahead * 1.5 + rng.normal(0, 0.05) * plan.length, down * plan.length])
    return [hip, knee, end]


def _feelers(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    reach, width = plan.length * rng.uniform(0.55, 1.1), plan.leg_width
    for side in SIDES:
        if rng.random() < 0.06:
            continue
        angle = rng.uniform(0.25, 1.0)
        base = np.array([0.46, side * 0.06]) * plan.length
        joint = base + polar(reach * 0.35, angle * 0.6, side)
        end = joint + polar(reach * 0.65, angle * 1.3 + rng.uniform(0.1, 1.4), side)
        sheet.stroke([base, joint, end], width * 0.8, width * 0.4, plan.legs, plan.leg_opacity)
        last = [joint + 0.7 * (end - joint), end]
        sheet.stroke(last, width * 0.55, width * 0.4, plan.tips, plan.leg_opacity * 0.7, count=5)


def _trunk(sheet: Sheet, rng: Rng, plan: _Plan) -> Points:
    """Tubes, tail and the pear itself, whose outline is given back."""
    length, half = plan.length, plan.width / 2 / plan.length
    widest = rng.uniform(0.56, 0.68)
    t, across = profile(
        [0, 0.03, 0.1, 0.28, widest, 0.86, 0.96, 1.0],
        [0.03, 0.42 * half, 0.54 * half, 0.78 * half, half, 0.76 * half, 0.42 * half, 0.0],
    )
    back = np.c_[length / 2 - t * length, np.zeros_like(t)]
    if plan.from_side:
        back[:, 1] -= 0.06 * length * np.sin(np.pi * t)
    outline = tube(
        back, across * length * (0.72 if plan.from_side else 1), across * length * (1.05 if plan.from_side else 1)
    )
    _tubes(sheet, rng, plan)
    sheet.dome(
        outline,
        plan.colour * np.float32(sheet.light.dimmed(0.8)),
        plan.opacity * 0.85,
        thick=1.2 if plan.cast else 2.4,
        shading=0.3,
        uneven=sheet.grained(rng, length * 0.12, 0.1),
        rim=0.45 if plan.cast else 0.5,
    )
    return outline


def _tubes(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    length, width = plan.length, plan.leg_width
    dark = (plan.colour * np.float32(0.35), srgb(28, 24, 22), plan.colour * np.float32(0.9))
    colour = _SKIN_TUBES if plan.cast else one_of(rng, dark, (3, 3, 1))
    reach = length * rng.uniform(0.08, 0.19)
    for side in (1,) if plan.from_side else SIDES:
        base = np.array([-0.26 * length, -plan.width * 0.28 if plan.from_side else side * plan.width * 0.36])
        end = base + reach * np.array([-0.85, -0.55 if plan.from_side else 0.5 * side])
        sheet.stroke([base, end], width * 1.5, width * 1.05, colour, 0.9, count=6)
    tail = colour if rng.random() < 0.5 else plan.colour * np.float32(0.7)
    sheet.stroke([[-0.44 * length, 0], [-0.55 * length, 0]], width * 1.9, width, tail, 0.9, count=6)


def _inner_layers(sheet: Sheet, plan: _Plan, outline: Points) -> None:
    """Smaller copies of the pear: it gets denser inwards."""
    colour = plan.colour * np.float32(0.72 if sheet.light.below else 1.12)
    for scale, alpha in ((0.85, 0.35), (0.65, 0.3)):
        ahead = 0.05 * plan.length
        copy = np.c_[(outline[:, 0] + ahead) * scale - ahead, outline[:, 1] * scale]
        sheet.fill(copy, colour, plan.opacity * alpha * (0.2 if plan.cast else 1), 0.04 * plan.length)


def _marks(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    """Darker head, bands, what shows through, wax, eyes and shine."""
    length, width, colour, clip = plan.length, plan.width, plan.colour, sheet.clip
    dim = np.float32(sheet.light.dimmed(0.8))
    head = between(colour, _HEAD, rng.uniform(0.1, 0.7)) * dim
    sheet.fill(ellipse(0.43 * length, 0, 0.09 * length, width / 4), head, 0.6 * plan.opacity, 0.02 * length, clip)
    if rng.random() < 0.65:
        band = colour * np.float32(rng.uniform(0.35, 0.75))
        for j in range(7):
            x = (0.22 - j * 0.095) * length
            arc = [[x, -width * 0.45], [x - 0.03 * length, 0], [x, width * 0.45]]
            sheet.stroke(arc, 0.03 * length, None, band, rng.uniform(0.15, 0.5), clip, 0.008 * length, count=10)
    if rng.random() < 0.4:
        for _ in range(rng.integers(2, 6)):
            x, y = rng.uniform(-0.3, 0.05) * length, rng.normal(0, 0.25) * width
            young = ellipse(x, y, 0.09 * length, 0.05 * length, rng.uniform(-0.4, 0.4))
            sheet.fill(young, colour * np.float32(0.45), 0.35, 0.025 * length, clip)
    if rng.random() < 0.25:
        side = sheet.alpha.shape[0]
        powder = grain(rng, side, side, 0.09 * length * sheet.per_mm, 3) * 0.25 + rng.uniform(0.1, 0.35)
        everywhere = (slice(None), slice(None))
        sheet.over(everywhere, _WAX * dim, (np.clip(powder, 0, 0.55) * clip).astype(np.float32))
    for side in (1,) if plan.from_side else SIDES:
        y = -0.02 * length if plan.from_side else side * width * 0.22
        sheet.dot(0.42 * length, y, 0.027 * length + 0.01, _EYES, 0.95)
    if not sheet.light.below or rng.random() < 0.3:
        _shine(sheet, rng, length, clip)


def _shine(sheet: Sheet, rng: Rng, length: float, clip: FloatArray) -> None:
    light, cos, sin = sheet.light, sheet.cos, sheet.sin
    ahead, aside = cos * light.x + sin * light.y, cos * light.y - sin * light.x
    spot = ellipse((0.12 * ahead - 0.1) * length, 0.14 * aside * length, 0.08 * length, 0.045 * length)
    sheet.fill(spot, _SHINE, rng.uniform(0.08, 0.4), 0.035 * length, clip)
