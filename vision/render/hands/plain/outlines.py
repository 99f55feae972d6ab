"""Outlines of bodies and bits: closed polygons as (n, 2) arrays of x and y, in whatever unit their sizes are given in, y down."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Outline = NDArray[np.float64]


def oval(length: float, width: float, at: tuple[float, float] = (0.0, 0.0), points: int = 24) -> Outline:
    """An ellipse round `at`, its long axis along x."""
    turn = np.linspace(0.0, 2 * np.pi, points, endpoint=False)
    return np.stack([at[0] + 0.5 * length * np.cos(turn), at[1] + 0.5 * width * np.sin(turn)], axis=1)


def profile(length: float, stations: Sequence[tuple[float, float]], points: int = 26) -> Outline:
    """A body symmetric about x, from its rear at -length/2 to its front.

    `stations` are pairs of place along it (0 rear, 1 front) and half width; both ends are rounded off.
    """
    along = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, points))
    place, half = zip(*stations, strict=True)
    wide = np.interp(along, place, half)
    # Straight runs between stations would show as corners, so neighbours are evened out.
    wide = np.convolve(np.pad(wide, 2, mode="edge"), np.array([1, 2, 3, 2, 1]) / 9, mode="valid")
    wide *= np.sqrt(np.clip(1.0 - np.abs(2 * along - 1) ** 5, 0.0, 1.0))
    x = (along - 0.5) * length
    return np.concatenate([np.stack([x, wide], axis=1), np.stack([x, -wide], axis=1)[::-1]])


def tube(line: Outline, half_widths: Outline | float) -> Outline:
    """A strip along `line` (n, 2), with its half width at every point (n,) or one for all; round ends."""
    half = np.broadcast_to(np.asarray(half_widths, float), (len(line),))
    ahead = np.gradient(line, axis=0)
    ahead /= np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
    side = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    arc = np.linspace(0.0, np.pi, 7)[1:-1]
    tip = np.cos(arc)[:, None] * side[-1] + np.sin(arc)[:, None] * ahead[-1]
    tail = -np.cos(arc)[:, None] * side[0] - np.sin(arc)[:, None] * ahead[0]
    return np.concatenate(
        [line + half[:, None] * side, line[-1] + half[-1] * tip,
         (line - half[:, None] * side)[::-1], line[0] + half[0] * tail]
    )  # fmt: skip


def rough(length: float, width: float, unevenness: float, rng: np.random.Generator) -> Outline:
    """An oval with a wavy edge; `unevenness` 0 leaves it smooth, 0.5 makes it ragged."""
    turn = np.linspace(0.0, 2 * np.pi, 36, endpoint=False)
    waves = np.zeros_like(turn)
    for order in range(2, 8):
        waves += rng.normal() / order * np.cos(order * turn + rng.uniform(0, 2 * np.pi))
    reach = np.clip(1.0 + unevenness * waves, 0.35, 1.8)
    return np.stack([0.5 * length * reach * np.cos(turn), 0.5 * width * reach * np.sin(turn)], axis=1)


def shard(length: float, width: float, rng: np.random.Generator) -> Outline:
    """A bit with straight broken edges."""
    corners = int(rng.integers(4, 8))
    turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
    reach = rng.uniform(0.7, 1.1, corners)
    return np.stack([0.5 * length * reach * np.cos(turn), 0.5 * width * reach * np.sin(turn)], axis=1)


def wandering(length: float, wander: float, rng: np.random.Generator, points: int = 16) -> Outline:
    """A line (points, 2) of that length whose direction drifts by `wander` radians or so from end to end, middle at the origin."""
    drift = np.linspace(-1.0, 1.0, points - 1)
    direction = wander * (rng.normal() * drift + 0.6 * rng.normal() * np.sin(3 * drift + rng.uniform(0, 6)))
    steps = np.stack([np.cos(direction), np.sin(direction)], axis=1) * length / (points - 1)
    line = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    return np.asarray(line - line.mean(axis=0))


def bent(outline: Outline, per_length: float) -> Outline:
    """The outline as it lies when the x axis is bent to an arc of curvature `per_length`; lengths along the axis stay."""
    if abs(per_length) < 1e-6:
        return outline
    turn = per_length * outline[:, 0]
    radius = 1.0 / per_length - outline[:, 1]
    return np.stack([radius * np.sin(turn), 1.0 / per_length - radius * np.cos(turn)], axis=1)


def moved(outline: Outline, x: float, y: float, angle_deg: float) -> Outline:
    """Turned clockwise as seen about the origin, then shifted."""
    turn = np.deg2rad(angle_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    return np.stack(
        [x + outline[:, 0] * cos - outline[:, 1] * sin, y + outline[:, 0] * sin + outline[:, 1] * cos], axis=1
    )
