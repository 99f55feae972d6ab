"""Caterpillars: a bent tube of thirteen rings with stripes, bristles, feet and a dark head. Sizes and colours from memory."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.render.hands.layered.colour import Rng, any_size, between, one_of, srgb, varied
from vision.render.hands.layered.curves import Numbers, Points, ellipse, normals, tube
from vision.render.hands.layered.drawn import Drawn
from vision.render.hands.layered.limbs import SIDES
from vision.render.hands.layered.sheet import Pose, Sheet
from vision.types import FloatArray

_COLOURS = (
    srgb(150, 178, 96), srgb(176, 196, 128), srgb(112, 150, 72), srgb(222, 212, 170), srgb(206, 196, 150), srgb(196, 205, 165),
)  # fmt: skip
_HOW_OFTEN = (3, 2.5, 1.5, 2, 2, 1.5)
_HEADS = (srgb(52, 36, 24), srgb(96, 64, 34), srgb(24, 20, 18), srgb(150, 120, 66))
_HEADS_OFTEN = (3, 2, 2, 1)
_GREEN_GUT, _BROWN_GUT, _STRIPE = srgb(52, 84, 34), srgb(130, 100, 50), srgb(232, 232, 190)
_TRUE_FEET, _WARTS, _BRISTLES, _EYES = srgb(60, 50, 30), srgb(50, 42, 30), srgb(90, 80, 60), srgb(12, 10, 10)
_RINGS, _POINTS = 13, 90
_FEET = (
    (0.1, True),
    (0.17, True),
    (0.24, True),
    (0.47, False),
    (0.55, False),
    (0.63, False),
    (0.71, False),
    (0.97, False),
)
"""Place along the body, and whether it is one of the jointed feet behind the head."""


@dataclass(frozen=True)
class _Plan:
    """Middle line from the head back (n, 2), vectors across it, half widths (n,), half the greatest width; in mm."""

    line: Points
    across: Points
    half: Numbers
    thick: float
    colour: FloatArray
    from_side: bool


def caterpillar(rng: Rng, pose: Pose) -> Drawn:
    """A caterpillar of 3-12 mm, straight, bent, curled or like an S."""
    length = any_size(rng, 3, 12, 5.5, 0.4)
    width = float(np.clip(length * rng.uniform(0.11, 0.17), 0.5, 1.6))
    line, curved = _middle_line(rng, length)
    half_mm = max(float(np.abs(line).max()) * 1.42, 0.5) + width
    sheet = pose.sheet(half_mm, fold=3 if length < 4.5 else 2)
    colour = varied(rng, one_of(rng, _COLOURS, _HOW_OFTEN), 0.1, 0.05) * np.float32(pose.light.dimmed(0.82))
    plan = _Plan(line, normals(line), _half_widths(width), width / 2, colour, bool(rng.random() < 0.45))
    _feet(sheet, rng, plan)
    _trunk(sheet, rng, plan)
    _stripes(sheet, rng, plan)
    _warts_and_bristles(sheet, rng, plan)
    _head(sheet, rng, plan)
    return Drawn(sheet, length, width, curved)


def _middle_line(rng: Rng, length: float) -> tuple[Points, bool]:
    """The line in mm about 0, and whether it is curved."""
    shape = one_of(rng, ("straight", "arc", "c", "s"), (3, 3, 1.6, 1.4))
    spans = {"straight": (-0.25, 0.25), "arc": (0.5, 1.5), "c": (1.8, 3.6), "s": (1.2, 2.2)}
    turn = rng.choice([-1, 1]) * rng.uniform(*spans[shape])
    t = np.linspace(0, 1, _POINTS)
    if shape == "s":
        heading = turn * np.sin(2 * np.pi * t * rng.uniform(0.85, 1.1)) * 0.5
    else:
        heading = turn * (t - 0.5) + rng.normal(0, 0.06) * np.sin(2 * np.pi * t)
    line = np.cumsum(np.c_[-np.cos(heading), -np.sin(heading)] * length / _POINTS, axis=0)
    line -= (line.min(0) + line.max(0)) / 2
    return line, shape in ("c", "s") or abs(turn) > 0.6


def _half_widths(width: float) -> Numbers:
    """Half widths along the body, drawn in between the rings."""
    t = np.linspace(0, 1, _POINTS)
    taper = np.interp(t, [0, 0.05, 0.12, 0.3, 0.75, 0.92, 1.0], [0.7, 0.8, 0.9, 1, 1, 0.8, 0.4])
    near_joint = np.clip(1 - np.abs(np.sin(np.pi * t * _RINGS)) / 0.35, 0, 1)
    return np.asarray(width / 2 * taper * (1 - 0.075 * near_joint), np.float64)


def _feet(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    thick = plan.thick
    shown = int(rng.choice([-1, 1]))
    for side in (shown,) if plan.from_side else SIDES:
        for place, true_foot in _FEET:
            i = int(place * (_POINTS - 1))
            reach = (0.34 if plan.from_side else 0.14) * thick * rng.uniform(0.7, 1.3)
            ends = [plan.line[i] + side * plan.across[i] * far for far in (plan.half[i] * 0.85, plan.half[i] + reach)]
            colour = between(plan.colour, _TRUE_FEET, 0.5) if true_foot else plan.colour * np.float32(0.8)
            wide, narrow = (0.2, 0.1) if true_foot else (0.42, 0.34)
            sheet.stroke(ends, thick * wide, thick * narrow, colour, 0.9, count=5)


def _trunk(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    alpha = rng.uniform(0.72, 0.95) if sheet.light.wet else rng.uniform(0.9, 1)
    tail, round_mm = plan.line[-3], plan.half[-6]
    sheet.fill(ellipse(tail[0], tail[1], round_mm, round_mm * 0.9), plan.colour * np.float32(0.9), alpha, body=True)
    sheet.dome(
        tube(plan.line, plan.half),
        plan.colour,
        alpha,
        thick=2.2,
        shading=0.38,
        uneven=sheet.grained(rng, 0.25, 0.07),
        rim=0.35,
        gloss=0.12 if sheet.light.below else 0.35,
    )


def _stripes(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    """The gut that shows through, stripes along the sides, joints between the rings."""
    clip, thick, line, across, half = sheet.clip, plan.thick, plan.line, plan.across, plan.half
    green = rng.random() < 0.75
    gut = between(plan.colour, _GREEN_GUT if green else _BROWN_GUT, rng.uniform(0.4, 0.9) if green else 0.5)
    sheet.fill(tube(line[8:-6], half[8:-6] * 0.34), gut, rng.uniform(0.2, 0.55), thick * 0.14, clip)
    if rng.random() < 0.5:
        for off in (-0.5, 0.5):
            colour = one_of(rng, (_STRIPE, plan.colour * np.float32(0.5)))
            stripe = line[5:-4] + across[5:-4] * (half[5:-4] * off)[:, None]
            sheet.stroke(stripe, thick * 0.14, None, colour, 0.5, clip, thick * 0.03)
    alpha = rng.uniform(0.2, 0.5)
    for ring in range(1, _RINGS):
        i = int(ring / _RINGS * (_POINTS - 1))
        ends = [line[i] + across[i] * thick, line[i] - across[i] * thick]
        sheet.stroke(ends, thick * 0.1, None, plan.colour * np.float32(0.5), alpha, clip, thick * 0.04, count=4)


def _warts_and_bristles(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    line, across, half, thick = plan.line, plan.across, plan.half, plan.thick
    if rng.random() < 0.55:
        for ring in range(_RINGS):
            i = int((ring + 0.5) / _RINGS * (_POINTS - 1))
            for off in (-0.62, -0.25, 0.25, 0.62):
                x, y = line[i] + across[i] * half[i] * off
                sheet.dot(x, y, 0.055 * thick + 0.012, _WARTS, 0.55)
    for i in range(0, _POINTS, 5):
        side = rng.choice([-1, 1])
        root = line[i] + side * across[i] * half[i]
        tip = root + side * across[i] * thick * rng.uniform(0.25, 0.6) + rng.normal(0, 0.05, 2)
        sheet.stroke([root, tip], 0.014, 0.008, _BRISTLES, 0.5, count=4)


def _head(sheet: Sheet, rng: Rng, plan: _Plan) -> None:
    """A dark rounded head with eyes, some with a dark plate behind it."""
    line, thick, clip = plan.line, plan.thick, sheet.clip
    ahead = line[0] - line[3]
    angle = math.atan2(ahead[1], ahead[0])
    colour = varied(rng, one_of(rng, _HEADS, _HEADS_OFTEN), 0.15)
    x, y = line[0] + 0.02 * ahead
    sheet.dome(ellipse(x, y, thick * 0.68, thick * 0.74, angle), colour, 0.97, rim=0.4, gloss=0.3)
    for off in (-0.7, 0.7):
        eye_x, eye_y = x + math.cos(angle + off) * thick * 0.5, y + math.sin(angle + off) * thick * 0.5
        sheet.dot(eye_x, eye_y, thick * 0.1, _EYES, 0.8)
    if rng.random() < 0.5:
        ends = [line[6] + plan.across[6] * thick * 0.6, line[6] - plan.across[6] * thick * 0.6]
        sheet.stroke(ends, thick * 0.3, None, colour, 0.5, clip, thick * 0.06, count=5)
