"""The middle line of a body: a row of linked rods, smoothed, drawn out to its exact length and turned to its direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

STEPS = 401


@dataclass(frozen=True)
class Spine:
    """`points_mm` (STEPS, 2) at equal distances from head to tail, `ahead` the unit way to the tail there."""

    points_mm: NDArray[np.float64]
    ahead: NDArray[np.float64]
    length_mm: float

    def at(self, t: float) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Place, way to the tail, and way to the right of it (as seen with y down) at a share of the length."""
        x = float(np.clip(t, 0, 1)) * (STEPS - 1)
        i = min(int(x), STEPS - 2)
        place = self.points_mm[i] + (x - i) * (self.points_mm[i + 1] - self.points_mm[i])
        ahead = self.ahead[i]
        return place, ahead, np.array([-ahead[1], ahead[0]])

    @property
    def straightness(self) -> float:
        """Distance of the ends over the length along the line."""
        return float(np.hypot(*(self.points_mm[-1] - self.points_mm[0]))) / self.length_mm


def joints(rng: np.random.Generator, style: str, turn_rad: float) -> NDArray[np.float64]:
    """How far each link turns from the one before, for a way of lying: 'straight', 'C', 'S', 'hook' or 'loop'.

    `turn_rad` is what the turns add up to, their signs aside. The ends stay straight, so that lengths run to the very tips.
    """
    inner = 8
    u = np.linspace(-1, 1, inner)
    if style == "C":
        bends = 1 + rng.uniform(-0.6, 0.6) * u
    elif style == "S":
        bends = np.where(u < rng.uniform(-0.2, 0.2), 1.0, -1.0)
    elif style == "hook":
        bends = np.where(u > rng.uniform(0.1, 0.5), 1.0, 0.08)
        bends = bends[::-1] if rng.random() < 0.5 else bends
    elif style == "loop":
        bends = np.array([-0.6, -0.5, 0.4, 1, 1, 0.4, -0.5, -0.6])
    else:
        bends = rng.normal(0, 1, inner)
    bends = bends * rng.uniform(0.8, 1.2, inner)
    bends *= (1 if rng.random() < 0.5 else -1) * turn_rad / max(np.abs(bends).sum(), 1e-9)
    return np.concatenate([[0.0], bends, [0.0]])


def spine(length_mm: float, turns_rad: NDArray[np.float64]) -> Spine:
    """A line of exactly that length through linked rods, its head at the origin."""
    heading = np.cumsum(np.concatenate([[0.0], turns_rad]))
    corners = np.concatenate([[[0.0, 0.0]], np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1), axis=0)])
    smooth = make_interp_spline(np.arange(len(corners)), corners, k=3)(np.linspace(0, len(corners) - 1, 1200))
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(smooth, axis=0).T))])
    even = np.linspace(0, arc[-1], STEPS)
    points = np.stack([np.interp(even, arc, smooth[:, k]) for k in (0, 1)], 1)
    points *= length_mm / np.hypot(*np.diff(points, axis=0).T).sum()
    return _with_ways(points, length_mm)


def _with_ways(points: NDArray[np.float64], length_mm: float) -> Spine:
    step = np.gradient(points, axis=0)
    return Spine(points, step / np.hypot(step[:, 0], step[:, 1])[:, None], length_mm)


def laid(line: Spine, radius_mm: NDArray[np.float64], angle_deg: float) -> Spine:
    """The line with the long axis of the body round it at `angle_deg` and the middle of its area at the origin.

    `radius_mm` (STEPS,): half widths along it. The tail lies on the side the angle points to.
    """
    weight = radius_mm / radius_mm.sum()
    points = line.points_mm - weight @ line.points_mm
    # A strip of half width r spreads its area across the line too, by r squared over 3.
    side = np.stack([-line.ahead[:, 1], line.ahead[:, 0]], 1)
    spread = np.einsum("i,ij,ik->jk", weight, points, points)
    spread += np.einsum("i,ij,ik->jk", weight * radius_mm**2 / 3, side, side)
    axis = np.linalg.eigh(spread)[1][:, 1]
    if axis @ (points[-1] - points[0]) < 0:
        axis = -axis
    turn = np.deg2rad(angle_deg) - np.arctan2(axis[1], axis[0])
    c, s = np.cos(turn), np.sin(turn)
    return _with_ways(points @ np.array([[c, s], [-s, c]]), line.length_mm)


def straight(start_mm: NDArray[np.float64], heading_rad: float, length_mm: float, bow: float = 0.0) -> Spine:
    """A line from a place into a direction, bowed sideways by a share of its length: for wings and inner organs."""
    u = np.linspace(0, 1, STEPS)
    across = bow * 4 * u * (1 - u)
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    points = start_mm + length_mm * np.stack([u * c - across * s, u * s + across * c], 1)
    return _with_ways(points, length_mm)
