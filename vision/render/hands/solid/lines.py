"""Lines through a body or a fibre, as points in millimetres from head to tail."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng

Points = NDArray[Any]
Place = Sequence[float] | NDArray[Any]


def bezier(start: Place, pull: Place, end: Place, count: int = 8) -> Points:
    """(count, 2) points of a quadratic curve."""
    t = np.linspace(0, 1, count)[:, None]
    return np.asarray((1 - t) ** 2 * np.array(start) + 2 * t * (1 - t) * np.array(pull) + t * t * np.array(end))


def spine(rng: Rng, length_mm: float, turn_rad: float, s_shaped: bool = False, count: int = 40) -> Points:
    """(count, 2) points of an axis that runs from +x to -x about its middle and turns by about `turn_rad` on its way."""
    t = np.linspace(0, 1, count)
    bend = np.full(count, turn_rad)
    if s_shaped:
        bend = turn_rad * 1.4 * np.sin(2 * np.pi * t + rng.uniform(-0.5, 0.5))
    bend = bend * (1 + 0.35 * np.sin(np.pi * (t * rng.uniform(1, 2.5) + rng.random())))
    heading = np.cumsum(bend) / count
    heading -= heading.mean()
    step = np.stack([-np.cos(heading), np.sin(heading)], 1) * length_mm / (count - 1)
    points = np.concatenate([np.zeros((1, 2)), np.cumsum(step[:-1], axis=0)])
    return np.asarray(points - points.mean(axis=0))


def normals(points: Points) -> Points:
    """(n, 2) unit vectors square to the line."""
    along = np.gradient(points, axis=0)
    along = along / (np.linalg.norm(along, axis=1, keepdims=True) + 1e-9)
    return np.stack([-along[:, 1], along[:, 0]], 1)


def girth(share: Points, at: Sequence[float], of_half: Sequence[float], width_mm: float) -> Points:
    """Radii at `share` 0..1 of the length, from values `of_half` the width at the shares `at`."""
    return np.asarray(width_mm / 2 * np.interp(share, at, of_half))


def unit(angle_rad: float) -> Points:
    """(2,) unit vector."""
    return np.array([np.cos(angle_rad), np.sin(angle_rad)])
