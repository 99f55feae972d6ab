"""Middle lines and half widths of bodies, with random asymmetry so that no two are alike. Lengths in millimetres."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from vision.types import FloatArray

STEPS = 400


Profile = tuple[tuple[float, ...], tuple[float, ...]]
"""Shares of the length from head to tail, and shares of the largest half width there."""


def half_width(
    profile: Profile, width_mm: float, rng: np.random.Generator, wobble: float = 0.03
) -> tuple[FloatArray, FloatArray]:
    """Half widths left and right of the middle line, (STEPS,) each, through a profile.

    Interpolated over the angle whose cosine runs along the body, so that an end where the width goes to 0 is round.
    """
    t, w = (np.array(row) for row in profile)
    grid = np.linspace(0, 1, STEPS)
    smooth = PchipInterpolator(np.arccos(1 - 2 * t), w)(np.arccos(1 - 2 * grid))
    sides = []
    for _ in range(2):
        waves = sum(
            rng.normal(0, wobble / k) * np.sin(np.pi * k * grid + rng.uniform(0, 2 * np.pi)) for k in range(1, 6)
        )
        sides.append(smooth * (1 + waves))
    # The widest place, both sides together, is exactly the width asked for.
    scale = width_mm / float(np.max(sides[0] + sides[1]))
    left, right = ((side * scale).astype(np.float32) for side in sides)
    return left, right


def middle_line(length_mm: float, turn: NDArray[Any] | float, angle_deg: float) -> FloatArray:
    """A line of `length_mm` as (n, 2) points round its own mean; `turn` is its heading in radians along it, head first.

    Dense enough that neighbours lie closer than any sample grid used here.
    """
    n = max(STEPS, int(length_mm * 260))
    heading = np.interp(np.linspace(0, 1, n), np.linspace(0, 1, np.size(turn)), np.atleast_1d(turn))
    heading = heading + np.deg2rad(angle_deg)
    step = length_mm / (n - 1)
    middle = (heading[1:] + heading[:-1]) / 2
    points = np.concatenate([[[0.0, 0.0]], np.cumsum(np.stack([np.cos(middle), np.sin(middle)], 1) * step, axis=0)])
    return np.asarray(points - points.mean(axis=0), np.float32)


def bend(rng: np.random.Generator, style: str, turn_rad: float) -> NDArray[np.float64]:
    """Heading along a body for the way it lies: straight, C, S or J; `turn_rad` is how far it turns in all."""
    t = np.linspace(0, 1, 64)
    sign = rng.choice([-1.0, 1.0])
    if style == "C":
        curvature = 1 + rng.uniform(-0.5, 0.5) * (t - 0.5) * 2
    elif style == "J":
        at = rng.uniform(0.6, 0.8)
        curvature = 1 / (1 + np.exp(-(t - at) * 18))
        if rng.random() < 0.5:
            curvature = curvature[::-1]
    elif style == "S":
        curvature = np.sin(2 * np.pi * (t + rng.uniform(-0.08, 0.08)))
    else:
        curvature = rng.normal(0, 1) * np.sin(np.pi * t) + rng.normal(0, 0.6) * np.sin(2 * np.pi * t)
        curvature = curvature / 2
    total = np.sum(np.abs(curvature)) or 1.0
    scale = turn_rad if style != "straight" else turn_rad * float(rng.random())
    return np.asarray(sign * scale * np.cumsum(curvature) / total)


def straightness(line_mm: FloatArray) -> float:
    """Distance of the ends over the length along the line."""
    steps = np.diff(line_mm.astype(float), axis=0)
    return float(np.hypot(*(line_mm[-1] - line_mm[0])) / np.hypot(steps[:, 0], steps[:, 1]).sum())


def box_round(line_mm: FloatArray, margin_mm: float) -> tuple[float, float, float, float]:
    """The upright box of a line with a margin: x0, y0, x1, y1."""
    low, high = line_mm.min(axis=0) - margin_mm, line_mm.max(axis=0) + margin_mm
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def rough_ring(
    rng: np.random.Generator, points: int, roughness: float, stretch: float, angle_deg: float
) -> NDArray[np.float64]:
    """A closed irregular outline (n, 2) of mean radius about 1, stretched along `angle_deg`."""
    a = np.linspace(0, 2 * np.pi, points, endpoint=False)
    r = np.ones(points)
    for k in range(2, 9):
        r += rng.normal(0, roughness / k**0.8) * np.cos(k * a + rng.uniform(0, 2 * np.pi))
    r = np.clip(r, 0.3, None)
    xy = np.stack([r * np.cos(a) * stretch**0.5, r * np.sin(a) / stretch**0.5], 1)
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.asarray(xy @ np.array([[c, s], [-s, c]]))
