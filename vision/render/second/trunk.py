"""A body's line and half widths together, and places on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.second.limbs import Place, Rod, way
from vision.render.second.solids import Balls, Inside, balls
from vision.render.second.spine import STEPS, Spine, laid, spine
from vision.render.second.stage import Stage

_GRID = np.linspace(0, 1, STEPS)


@dataclass(frozen=True)
class Trunk:
    """The body without limbs."""

    line: Spine
    radius_mm: NDArray[np.float64]
    row: Balls

    @property
    def length_mm(self) -> float:
        return self.line.length_mm

    @property
    def width_mm(self) -> float:
        return 2 * float(self.radius_mm.max())

    @property
    def curved(self) -> bool:
        return self.line.straightness < 0.9

    def half(self, t: float) -> float:
        return float(np.interp(t, _GRID, self.radius_mm))

    def at(self, t: float, q: float = 0.0) -> Place:
        """A place: `t` 0..1 from head to tail, `q` -1..1 from the left flank to the right one."""
        place, _, right = self.line.at(t)
        return place + q * self.half(t) * right

    def heading(self, t: float) -> float:
        """Direction to the tail, in radians."""
        ahead = self.line.at(t)[1]
        return float(np.arctan2(ahead[1], ahead[0]))

    def ball(self, t: float, q: float, radius_mm: float) -> Balls:
        """One small ball in or on the body: an eye, a spot."""
        place = self.at(t, q)
        return Balls(place[None], np.array([radius_mm]), np.array([0.5]), np.array([[1.0, 0.0]]), 2 * radius_mm)

    def pip(self, at: Place, length_mm: float, width_mm: float, heading_rad: float) -> Balls:
        """A small ellipsoid in the body, its middle at a place."""
        b = width_mm / 2
        a = max(length_mm / 2, 1.02 * b)
        reach = a - b * b / a
        s = np.linspace(-reach, reach, 9)
        radius = b * np.sqrt(1 - s**2 / (a * a - b * b))
        ahead = way(heading_rad)
        return Balls(at + s[:, None] * ahead, radius, (s + a) / (2 * a), np.tile(ahead, (9, 1)), 2 * a)

    def vessel(self, start: float, end: float, share: NDArray[np.float64], q: float = 0.0) -> Balls:
        """An inner tube between two shares of the length; `share` (STEPS,): its width over the body's."""
        keep = np.arange(STEPS) >= round(start * (STEPS - 1))
        keep &= np.arange(STEPS) <= round(end * (STEPS - 1))
        right = np.stack([-self.line.ahead[:, 1], self.line.ahead[:, 0]], 1)
        points = self.line.points_mm + (q * self.radius_mm)[:, None] * right
        radius = (self.radius_mm * share)[keep]
        chosen = np.linspace(0, radius.size - 1, int(min(radius.size, 70))).astype(int)
        middle, ahead = points[keep][chosen], self.line.ahead[keep][chosen]
        return Balls(middle, np.maximum(radius[chosen], 1e-3), _GRID[keep][chosen], ahead, self.length_mm)

    @property
    def extent(self) -> NDArray[np.float64]:
        return self.row.extent


def trunk(length_mm: float, radius_mm: NDArray[np.float64], turns_rad: NDArray[np.float64], angle_deg: float) -> Trunk:
    """A body laid at the origin with its long axis at that angle."""
    line = laid(spine(length_mm, turns_rad), radius_mm, angle_deg)
    return Trunk(line, radius_mm, balls(line, radius_mm))


def seen_through(stage: Stage, solid: Inside, share: float) -> NDArray[np.float32]:
    """How plainly what lies under a body shows (samples,): 1 outside it, 1 - `share` where it is thick."""
    shows = np.ones(stage.count, np.float32)
    shows[solid.at] = 1 - np.float32(share) * solid.cover * np.minimum(solid.dome * 1.6, 1)
    return shows


def extents(rods: list[Rod]) -> list[NDArray[np.float64]]:
    """Room that rods need on a stage."""
    return [one.extent for one in rods]
