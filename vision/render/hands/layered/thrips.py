"""Thrips, and their larvae: slim spindles with beaded feelers, banded hind bodies and fringed wings. Sizes and colours from memory."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.layered.colour import Rng, between, one_of, srgb, varied
from vision.render.hands.layered.curves import ellipse, polar, profile, tube
from vision.render.hands.layered.drawn import Drawn
from vision.render.hands.layered.limbs import SIDES, jointed, leg
from vision.render.hands.layered.sheet import Pose, Sheet
from vision.types import FloatArray

_COLOURS = (srgb(206, 168, 70), srgb(176, 122, 50), srgb(120, 76, 36), srgb(74, 50, 30), srgb(32, 26, 22))
_HOW_OFTEN = (2, 2, 2.2, 2, 2)
_LEGS, _TIP, _EYES, _BRISTLE = srgb(150, 120, 70), srgb(24, 18, 14), srgb(26, 10, 10), srgb(30, 22, 18)
_WINGS = (srgb(200, 190, 165), srgb(130, 112, 88), srgb(70, 58, 46))
_YOUNG = (srgb(236, 228, 190), srgb(232, 212, 130), srgb(224, 190, 90), srgb(240, 238, 222))
_YOUNG_OFTEN = (2, 3, 2, 1.5)
_YOUNG_FROM_BELOW = np.array([0.72, 0.66, 0.5], np.float32)
_YOUNG_RIM, _YOUNG_EYES = srgb(120, 96, 50), srgb(60, 10, 10)
_FOOD = (srgb(120, 130, 50), srgb(180, 120, 40), srgb(110, 84, 50))

Bend = Callable[[Any], Any]


def thrips(rng: Rng, pose: Pose) -> Drawn:
    """A grown one of 0.75-1.6 mm, yellow to black."""
    length = float(rng.uniform(0.75, 1.6))
    width = float(np.clip(length * rng.uniform(0.19, 0.25), 0.2, 0.35))
    sheet = pose.sheet(length * 0.95)
    colour = varied(rng, one_of(rng, _COLOURS, _HOW_OFTEN), 0.15, 0.05)
    dark = colour * np.float32(0.35)
    strength = rng.normal(0, 0.22 if rng.random() < 0.25 else 0.03)
    bend = _bent(strength, length)
    _limbs(sheet, rng, length, width, between(colour, _LEGS, 0.4), dark)
    _trunk(sheet, rng, length, width, colour, bend)
    _bands(sheet, rng, length, width, dark, bend)
    if rng.random() < 0.75:
        _folded_wings(sheet, rng, length, width, bend)
    for side in SIDES:
        sheet.dot(0.445 * length, bend(length / 2) + side * width * 0.25, 0.022 * length + 0.006, _EYES, 0.95)
    tail = bend(-length / 2)
    sheet.stroke([[-0.5 * length, tail], [-0.55 * length, tail * 1.1]], 0.03, 0.01, _BRISTLE, 0.8, count=4)
    return Drawn(sheet, length, width, abs(strength) > 0.12)


def _bent(strength: float, length: float) -> Bend:
    """How far aside the middle line lies at a place along the body."""
    return lambda x: strength * (x * x / length - length * 0.08)


def _limbs(sheet: Sheet, rng: Rng, length: float, width: float, colour: FloatArray, dark: FloatArray) -> None:
    for side in SIDES:
        for ahead, degrees, reach in ((0.27, 55, 0.17), (0.13, 100, 0.18), (0.03, 138, 0.24)):
            angle = math.radians(degrees + rng.normal(0, 14))
            hip = np.array([ahead * length, side * width * 0.3])
            bent = angle + rng.normal(0.2, 0.3)
            leg(
                sheet,
                rng,
                jointed(hip, reach * length * 0.6, angle, reach * length * 0.7, bent, side),
                0.03,
                colour,
                0.85,
            )
        angle = rng.uniform(0.15, 0.6)
        for j in range(6):
            bead = np.array([0.48 * length, side * 0.03 * length]) + polar(0.2 * length * (j + 0.5) / 6, angle, side)
            sheet.fill(
                ellipse(bead[0], bead[1], 0.024 * length, 0.018, side * angle, 14), colour if j % 2 else dark, 0.85
            )


def _trunk(sheet: Sheet, rng: Rng, length: float, width: float, colour: FloatArray, bend: Bend) -> None:
    shares = np.array([0.3, 0.58, 0.6, 0.55, 0.82, 0.84, 0.97, 0.86, 1, 0.66, 0.3, 0.04]) * width / 2
    t, half = profile([0, 0.03, 0.11, 0.14, 0.24, 0.3, 0.4, 0.46, 0.66, 0.86, 0.95, 1.0], list(shares), 70)
    x = length / 2 - t * length
    sheet.dome(
        tube(np.c_[x, bend(x)], half),
        colour * np.float32(sheet.light.dimmed(0.85)),
        rng.uniform(0.8, 0.97),
        thick=2.5,
        shading=0.28,
        uneven=sheet.grained(rng, 0.12, 0.08),
        rim=0.55,
    )


def _bands(sheet: Sheet, rng: Rng, length: float, width: float, dark: FloatArray, bend: Bend) -> None:
    """Dark bands behind, a dark tip and a dark head."""
    clip, alpha = sheet.clip, rng.uniform(0.2, 0.75)
    for j in range(9):
        x = (0.02 - 0.052 * j) * length
        ends = [[x, bend(x) - width * 0.55], [x, bend(x) + width * 0.55]]
        sheet.stroke(ends, 0.024 * length, None, dark, alpha, clip, 0.006, count=4)
    x = -0.43 * length
    sheet.fill(ellipse(x, bend(x), 0.11 * length, width), _TIP, rng.uniform(0.5, 0.9), 0.03 * length, clip)
    sheet.fill(ellipse(0.43 * length, bend(length / 2), 0.06 * length, width), dark, 0.45, 0.02, clip)


def _folded_wings(sheet: Sheet, rng: Rng, length: float, width: float, bend: Bend) -> None:
    colour = one_of(rng, _WINGS)
    x = np.linspace(0.14 * length, -0.42 * length, 20)
    for side in SIDES:
        line = np.c_[x, bend(x) + side * width * np.linspace(0.13, 0.23, 20)]
        sheet.stroke(line, 0.25 * width, 0.035, colour, 0.55)
        for root in line[6:16]:
            tip = root + np.array([-0.1 * length, side * 0.07 * length * rng.uniform(0.6, 1.2)])
            sheet.stroke([root, tip], 0.012, 0.006, colour * np.float32(0.6), 0.45, count=4)


def larva(rng: Rng, pose: Pose) -> Drawn:
    """A young one of 0.45-0.9 mm: pale, clear, some with two red-black eye dots."""
    length = float(rng.uniform(0.45, 0.9))
    width = length * rng.uniform(0.23, 0.32)
    sheet = pose.sheet(length * 0.85, fold=4)
    colour = varied(rng, one_of(rng, _YOUNG, _YOUNG_OFTEN), 0.06)
    if pose.light.below:
        colour = colour * _YOUNG_FROM_BELOW
    strength = rng.normal(0, 0.14)
    bend = _bent(strength, length)
    _young_limbs(sheet, rng, length, width, colour * np.float32(0.5))
    shares = np.array([0.25, 0.5, 0.6, 0.92, 1, 0.66, 0.28, 0.03]) * width / 2
    t, half = profile([0, 0.04, 0.14, 0.36, 0.58, 0.82, 0.95, 1.0], list(shares))
    x = length / 2 - t * length
    sheet.dome(
        tube(np.c_[x, bend(x)], half),
        colour,
        rng.uniform(0.65, 0.92),
        thick=1.8,
        shading=0.3,
        uneven=sheet.grained(rng, 0.1, 0.06),
        rim=0.75,
        rim_colour=between(colour, _YOUNG_RIM, 0.6),
    )
    _young_marks(sheet, rng, length, width, colour, bend)
    return Drawn(sheet, length, width, abs(strength) > 0.14)


def _young_limbs(sheet: Sheet, rng: Rng, length: float, width: float, colour: NDArray[Any]) -> None:
    for side in SIDES:
        for ahead, degrees in ((0.26, 60), (0.15, 95), (0.05, 130)):
            angle = math.radians(degrees + rng.normal(0, 10))
            hip = np.array([ahead * length, side * width * 0.3])
            sheet.stroke(
                jointed(hip, 0.11 * length, angle, 0.1 * length, angle + 0.3, side), 0.03, 0.02, colour, 0.75, count=8
            )
        feeler = [[0.47 * length, side * 0.03 * length], [0.6 * length, side * rng.uniform(0.06, 0.14) * length]]
        sheet.stroke(feeler, 0.03, 0.015, colour, 0.8, count=5)


def _young_marks(sheet: Sheet, rng: Rng, length: float, width: float, colour: FloatArray, bend: Bend) -> None:
    clip = sheet.clip
    food = between(colour, one_of(rng, _FOOD), 0.7)
    sheet.fill(
        ellipse(-0.06 * length, bend(0), 0.26 * length, width * 0.2), food, rng.uniform(0.15, 0.55), 0.03 * length, clip
    )
    for j in range(8):
        x = (0.16 - 0.075 * j) * length
        ends = [[x, bend(x) - width / 2], [x, bend(x) + width / 2]]
        sheet.stroke(ends, 0.014, None, colour * np.float32(0.5), 0.3, clip, count=4)
    if rng.random() < 0.6:
        for side in SIDES:
            sheet.dot(0.43 * length, bend(length / 2) + side * 0.24 * width, 0.026 * length + 0.008, _YOUNG_EYES, 0.95)
