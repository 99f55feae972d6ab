"""Trails that miners leave inside a leaf: winding tunnels that widen, with a broken dark line of frass.

Tunnels are 0.25 to 1.5 mm wide (Liriomyza sativae, from the copy of a university description) and here 15 to 80 mm long.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.layers_pile import Grid
from vision.types import FloatArray

WIDTH_MM, LENGTH_MM = (0.25, 1.5), (15.0, 80.0)
_STEP_MM = 0.4
FRASS = np.array([1.3, 1.6, 2.0], np.float32)
"""Natural-log absorbance of frass where it lies thick (by eye; common practice, no source)."""

Points = NDArray[np.float64]
Allowed = Callable[[Points], NDArray[np.bool_]]
"""Which points (n, 2), mm along and across a sheet from its middle, a trail may touch."""


@dataclass(frozen=True)
class Path:
    """Middle line (n, 2) in mm along and across the sheet, the tunnel's half width (n,) mm, and its length."""

    points: Points
    half_mm: NDArray[np.float64]
    length_mm: float

    @property
    def width_mm(self) -> float:
        """Mean over the length."""
        return float(2.0 * self.half_mm.mean())

    @property
    def curved(self) -> bool:
        """Whether its ends are clearly nearer each other than it is long."""
        return bool(np.hypot(*(self.points[-1] - self.points[0])) < 0.9 * self.length_mm)


@dataclass(frozen=True)
class Tunnel:
    """A trail on a sheet's grid: `body` (n, m) coverage; `frass` (n, m) 0..1 where its dark line lies."""

    body: FloatArray
    frass: FloatArray


def walk(rng: np.random.Generator, start: Points, allowed: Allowed, longest_mm: float) -> Path | None:
    """A winding path from `start` that mostly follows the veins, never comes near itself, and stays where it is allowed.

    None where it would be shorter than the shortest trail. `longest_mm`: where it ends at last.
    """
    steps = int(longest_mm / _STEP_MM)
    widest = float(np.exp(rng.uniform(np.log(0.6), np.log(WIDTH_MM[1]))))
    narrow = float(rng.uniform(WIDTH_MM[0], 0.4))
    grown = np.linspace(0.0, 1.0, steps + 1) ** float(rng.uniform(0.7, 1.3))
    half = 0.5 * (narrow + (widest - narrow) * grown)
    # Now and then the larva feeds a little to the side.
    half *= 1.0 + 0.12 * np.interp(np.arange(steps + 1), np.arange(0, steps + 6, 5), rng.normal(0, 1, steps // 5 + 2))
    half = np.clip(half, 0.5 * WIDTH_MM[0], 0.5 * WIDTH_MM[1])
    heading = float(rng.choice([0.0, np.pi]))
    lane, restless, wind = heading, float(rng.uniform(0.05, 0.3)), float(rng.uniform(2.5, 9.0))
    points = [np.asarray(start, float)]
    swing = float(rng.uniform(0, 2 * np.pi))
    for k in range(1, steps + 1):
        if rng.random() < 0.004:
            lane = np.pi - lane
        swing += _STEP_MM / wind * 2 * np.pi * float(rng.uniform(0.5, 1.5))
        aim = lane + 2.2 * restless * np.sin(swing)
        turns = np.linspace(-0.75, 0.75, 11) * min(1.0, 0.6 / half[k] * _STEP_MM + 0.15)
        ways = heading + turns
        ahead = points[-1] + _STEP_MM * np.stack([np.cos(ways), np.sin(ways)], axis=1)
        # Looks a little further on than it goes, so that it turns before it must.
        cost = 1.0 - np.cos(ways - aim) + 0.15 * turns**2 + rng.normal(0.0, 0.02, len(ways))
        for reach, price in ((1.0, 1e3), (4.0, 3.0), (8.0, 1.5)):
            probe = points[-1] + (reach * _STEP_MM + half[k]) * np.stack([np.cos(ways), np.sin(ways)], axis=1)
            cost += price * ~allowed(probe)
            older = np.array(points[: -int(2.5 + 3.5 * half[k] / _STEP_MM + 3)])
            if len(older):
                near = np.hypot(*(probe[:, None] - older).transpose(2, 0, 1)).min(axis=1)
                cost += price * (near < 2.1 * half[k] + 0.35)
        best = int(cost.argmin())
        if cost[best] > 500.0:
            break
        heading = float(ways[best])
        if cost[best] > 1.2 and rng.random() < 0.4:
            lane = np.pi - lane
        points.append(ahead[best])
    length = (len(points) - 1) * _STEP_MM
    if length < LENGTH_MM[0]:
        return None
    return Path(np.array(points), half[: len(points)], length)


def dug(rng: np.random.Generator, path: Path, grid: Grid) -> Tunnel:
    """The tunnel of `path` on a sheet's grid."""
    shape, px_per_mm = grid.shape, grid.px_per_mm
    at = (path.points - [grid.left_mm, grid.top_mm]) * px_per_mm
    inside = np.full(shape, -4.0, np.float32)
    nearest = np.full(shape, np.inf, np.float32)
    arc, side = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for k, (a, b) in enumerate(pairwise(at)):
        reach = path.half_mm[k : k + 2].max() * px_per_mm + 2
        window = _window(a, b, reach, shape)
        if window is None:
            continue
        y, x = np.mgrid[window].astype(np.float32)
        span = b - a
        share = ((x - a[0]) * span[0] + (y - a[1]) * span[1]) / float(span @ span)
        share = np.clip(share, 0.0, 1.0)
        far = np.hypot(x - a[0] - share * span[0], y - a[1] - share * span[1])
        radius = (path.half_mm[k] + share * (path.half_mm[k + 1] - path.half_mm[k])) * px_per_mm
        np.maximum(inside[window], radius - far, out=inside[window])
        closer = far < nearest[window]
        nearest[window][closer] = far[closer]
        arc[window][closer] = ((k + share) * _STEP_MM)[closer]
        hand = np.sign(span[0] * (y - a[1]) - span[1] * (x - a[0]))
        side[window][closer] = (hand * far / radius)[closer]
    body = np.clip(inside + 0.5, 0.0, 1.0)
    return Tunnel(body, _frass(rng, path, body, arc, side))


def _window(a: Points, b: Points, reach: float, shape: tuple[int, int]) -> tuple[slice, slice] | None:
    low, high = np.minimum(a, b) - reach, np.maximum(a, b) + reach + 1
    left, right = (int(np.clip(v, 0, shape[1])) for v in (low[0], high[0]))
    top, bottom = (int(np.clip(v, 0, shape[0])) for v in (low[1], high[1]))
    return (slice(top, bottom), slice(left, right)) if right > left and bottom > top else None


def _frass(rng: np.random.Generator, path: Path, body: FloatArray, arc: FloatArray, side: FloatArray) -> FloatArray:
    """The broken dark line: dashes and crumbs that change from one side of the tunnel to the other."""
    grid = np.arange(0.0, path.length_mm + 0.1, 0.05)
    on = np.zeros(len(grid))
    at = float(rng.uniform(0.5, 2.0))
    while at < path.length_mm:
        dash = float(np.exp(rng.uniform(np.log(0.2), np.log(3.0))))
        on[(grid >= at) & (grid < at + dash)] = rng.uniform(0.5, 1.0)
        at += dash + float(np.exp(rng.uniform(np.log(0.15), np.log(1.6))))
    ends = np.hanning(9)
    on = np.convolve(on, ends / ends.sum(), mode="same")
    crumbs = np.clip(1.0 + 0.5 * _wander(rng, grid, 0.18), 0.1, 1.6)
    middle = 0.35 * np.tanh(1.5 * _wander(rng, grid, 3.0))
    wide = 0.2 * np.clip(1.0 + 0.35 * _wander(rng, grid, 0.5), 0.3, 2.0)
    strength, offset, width = (np.interp(arc, grid, v) for v in (on * crumbs, middle, wide))
    return np.asarray(body * np.clip(strength * np.exp(-(((side - offset) / width) ** 2)), 0.0, 1.0), np.float32)


def _wander(rng: np.random.Generator, grid: NDArray[Any], pitch_mm: float) -> NDArray[np.float64]:
    knots = np.arange(0.0, grid[-1] + 2 * pitch_mm, pitch_mm)
    return np.asarray(np.interp(grid, knots, rng.normal(0.0, 1.0, len(knots))))
