"""Lines and outlines as points (n, 2) float64, x and y, in any one unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.render.hands.layered.colour import Rng

Points = NDArray[np.float64]
Numbers = NDArray[np.float64]


def through(x: ArrayLike, y: ArrayLike, at: NDArray[Any]) -> Numbers:
    """Smooth curve through (x, y), read `at` (m,): cubic pieces whose slopes come from the neighbours. `y` may have columns."""
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    column = (slice(None),) + (None,) * (ys.ndim - 1)
    steps = np.diff(xs)
    slopes = np.diff(ys, axis=0) / steps[column]
    near = (steps[:-1] / (steps[:-1] + steps[1:]))[column]
    tangents = np.empty_like(ys)
    tangents[1:-1] = slopes[:-1] * (1 - near) + slopes[1:] * near
    tangents[0] = 1.5 * slopes[0] - 0.5 * tangents[1]
    tangents[-1] = 1.5 * slopes[-1] - 0.5 * tangents[-2]
    i = np.clip(np.searchsorted(xs, at, side="right") - 1, 0, len(steps) - 1)
    u, step = ((at - xs[i]) / steps[i])[column], steps[i][column]
    u2, u3 = u * u, u * u * u
    ends = (2 * u3 - 3 * u2 + 1) * ys[i] + (3 * u2 - 2 * u3) * ys[i + 1]
    return np.asarray(ends + step * ((u3 - 2 * u2 + u) * tangents[i] + (u3 - u2) * tangents[i + 1]), np.float64)


def line_through(points: ArrayLike, count: int = 40) -> Points:
    """`count` points on a smooth line through the given ones."""
    given = np.asarray(points, float)
    if len(given) < 3:
        t = np.linspace(0, 1, count)[:, None]
        return np.asarray(given[0] * (1 - t) + given[-1] * t, np.float64)
    steps = np.diff(given, axis=0)
    along = np.r_[0, np.cumsum(np.hypot(steps[:, 0], steps[:, 1]) + 1e-6)]
    return through(along, given, np.linspace(0, along[-1], count))


def profile(along: Sequence[float], half_width: Sequence[float], count: int = 60) -> tuple[Numbers, Numbers]:
    """Places 0..1 along a body and smooth half widths there, never below 0; both (count,)."""
    t = np.linspace(0, 1, count)
    return t, np.maximum(through(along, half_width, t), 0.0)


def normals(line: Points) -> Points:
    """Unit vectors across a line, (n, 2)."""
    along = np.concatenate([line[1:2] - line[:1], line[2:] - line[:-2], line[-1:] - line[-2:-1]])
    along /= np.hypot(along[:, 0], along[:, 1])[:, None] + 1e-9
    return np.stack([-along[:, 1], along[:, 0]], 1)


def tube(line: Points, left: ArrayLike, right: ArrayLike | None = None) -> Points:
    """Outline about a line, of half widths `left` and `right` (a number or (n,)); both alike where one is given."""
    across = normals(line)
    one = np.broadcast_to(np.asarray(left, float), (len(line),))
    other = one if right is None else np.broadcast_to(np.asarray(right, float), (len(line),))
    return np.concatenate([line + across * one[:, None], (line - across * other[:, None])[::-1]])


def ellipse(x: float, y: float, half_long: float, half_short: float, angle_rad: float = 0.0, count: int = 36) -> Points:
    """Outline of an ellipse about (x, y)."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    u, v = half_long * np.cos(t), half_short * np.sin(t)
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.stack([x + c * u - s * v, y + s * u + c * v], 1)


def blob(rng: Rng, radius: float, rough: float = 0.25, lobes: int = 5, aspect: float = 1.0, count: int = 48) -> Points:
    """An uneven round outline about 0; `aspect` times longer along x than across."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    out = np.ones(count)
    for i in range(2, 2 + lobes):
        out += rough / i**0.8 * rng.normal() * np.cos(i * t + rng.uniform(0, 6.28))
    out = radius * np.clip(out, 0.35, 2.0)
    return np.stack([out * np.cos(t) * aspect**0.5, out * np.sin(t) / aspect**0.5], 1)


def closed(outline: Points) -> Points:
    """The outline with its first point again at the end."""
    return np.concatenate([outline, outline[:1]])


def polar(length: float, angle_rad: float, side: int = 1) -> Points:
    """A step (2,) of a length at an angle from x; `side` -1 mirrors it at x."""
    return np.array([length * math.cos(angle_rad), side * length * math.sin(angle_rad)])
