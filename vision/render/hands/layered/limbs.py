"""Legs, feelers and wings, which several insects share."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.render.hands.layered.colour import Rng, srgb
from vision.render.hands.layered.curves import Points, closed, polar, profile, tube
from vision.render.hands.layered.sheet import Sheet

_MEMBRANE, _VEIN = srgb(190, 190, 180), srgb(80, 70, 58)
SIDES = (-1, 1)


def leg(
    sheet: Sheet,
    rng: Rng,
    joints: ArrayLike,
    width_mm: float,
    colour: NDArray[Any],
    alpha: float,
    foot: NDArray[Any] | None = None,
) -> None:
    """A leg through its hip, knee and end, each a little off; `foot` colours its last quarter."""
    p = np.array(joints, float)
    p[1:] += rng.normal(0, 0.03, p[1:].shape) * np.hypot(*(p[-1] - p[0]))
    sheet.stroke([p[0], p[1]], width_mm * 1.25, width_mm, colour, alpha, count=6)
    sheet.stroke(p[1:], width_mm * 0.9, width_mm * 0.6, colour, alpha, count=14)
    sheet.dot(p[1][0], p[1][1], width_mm * 0.55, colour, alpha)
    if foot is not None:
        sheet.stroke([p[-2] + 0.75 * (p[-1] - p[-2]), p[-1]], width_mm * 0.75, width_mm * 0.6, foot, alpha, count=5)


def jointed(hip: Points, upper: float, angle_rad: float, lower: float, bent_rad: float, side: int) -> list[Points]:
    """Hip, knee and end of a leg whose upper and lower part have lengths and angles from ahead, on a side."""
    knee = hip + polar(upper, angle_rad, side)
    return [hip, knee, knee + polar(lower, bent_rad, side)]


def wing(
    sheet: Sheet, base: tuple[float, float], length_mm: float, width_mm: float, angle_rad: float, alpha: float = 0.22
) -> None:
    """A clear wing with a dark rim and three veins."""
    t, half = profile([0, 0.2, 0.6, 0.88, 1], [0.08, 0.3, 0.5, 0.36, 0.02], 40)
    blade = tube(np.c_[t * length_mm, np.zeros_like(t)], half * width_mm, half * width_mm * 0.8)
    c, s = math.cos(angle_rad), math.sin(angle_rad)

    def turned(p: Points) -> Points:
        return np.stack([base[0] + c * p[:, 0] - s * p[:, 1], base[1] + s * p[:, 0] + c * p[:, 1]], 1)

    sheet.fill(turned(blade), _MEMBRANE, alpha)
    sheet.stroke(turned(closed(blade)), 0.016, None, _VEIN, 0.6)
    for middle, end in ((0.02, 0.28), (0, 0.02), (-0.03, -0.25)):
        vein = np.array([[0, 0], [0.5 * length_mm, middle * width_mm * 2], [0.92 * length_mm, end * width_mm]])
        sheet.stroke(turned(vein), 0.018, 0.01, _VEIN, 0.55)
