"""How an animal lies: its middle line, where its limbs begin, and joints of legs and feelers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.washed.sheet import Floats, Rng, Sheet

Points = NDArray[np.float64]
_DOTS = 33


@dataclass(frozen=True)
class Pose:
    """A place in the picture, the way the head points (degrees, clockwise as seen), and 1 or -1 for which side is up."""

    x_px: float
    y_px: float
    angle_deg: float
    mirror: int
    px_per_mm: float

    def placed(self, points_mm: Points) -> Points:
        """Points (n, 2) of the animal, head towards +x, as pixels of the picture."""
        turn = np.deg2rad(self.angle_deg)
        x, y = points_mm[:, 0], points_mm[:, 1] * self.mirror
        turned = np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], axis=1)
        return np.asarray(turned * self.px_per_mm + (self.x_px, self.y_px))


@dataclass(frozen=True)
class Middle:
    """A middle line from tail to head: `points` (n, 2) mm, centred on its mean."""

    points: Points

    @staticmethod
    def bent(length_mm: float, bend_rad: float, sway_rad: float = 0.0) -> Middle:
        """A line of this length that turns by `bend_rad` from end to end and sways to both sides by `sway_rad`."""
        s = (np.arange(_DOTS - 1) + 0.5) / (_DOTS - 1)
        way = bend_rad * (s - 0.5) + sway_rad * np.sin(2 * np.pi * s)
        steps = np.stack([np.cos(way), np.sin(way)], axis=1) * (length_mm / (_DOTS - 1))
        points = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
        return Middle(points - points.mean(axis=0))

    def at(self, along: float, across_mm: float = 0.0) -> Points:
        """The point (2,) at 0..1 from tail to head, `across_mm` to its right."""
        place = np.linspace(0, 1, len(self.points))
        x, y = (float(np.interp(along, place, self.points[:, i])) for i in (0, 1))
        way = self.way(along)
        return np.array([x - np.sin(way) * across_mm, y + np.cos(way) * across_mm])

    def way(self, along: float) -> float:
        """The direction in radians in which the line runs there."""
        steps = np.gradient(self.points, axis=0)
        dx, dy = steps[round(np.clip(along, 0, 1) * (len(steps) - 1))]
        return float(np.arctan2(dy, dx))


@dataclass(frozen=True)
class Brush:
    """What an animal is painted with: its sheet, where it lies, and how much of the ground shows through 0..1."""

    sheet: Sheet
    pose: Pose
    rng: Rng
    opaque: float

    @property
    def fine_mm(self) -> float:
        """Fine pixels a millimetre."""
        return self.pose.px_per_mm * self.sheet.fine

    def fine(self, points_mm: Points) -> Points:
        """Points of the animal as fine pixels of the sheet."""
        return self.sheet.fine_px(self.pose.placed(points_mm))


def rounded(n: int, blunt: float = 2.2) -> NDArray[np.float64]:
    """Half widths 0..1 of an oval at n places; the higher `blunt`, the squarer its ends."""
    s = np.linspace(-1, 1, n)
    return np.asarray((1 - np.abs(s) ** blunt).clip(0) ** (1 / 2.0))


def profile(n: int, at: tuple[float, ...], wide: tuple[float, ...]) -> NDArray[np.float64]:
    """Half widths 0..1 through the given places, with the ends rounded off."""
    s = np.linspace(0, 1, n)
    smooth = np.interp(s, at, wide)
    kernel = np.array([1, 2, 3, 2, 1]) / 9
    smooth = np.convolve(np.pad(smooth, 2, mode="edge"), kernel, mode="valid")
    out = smooth * rounded(n, 7.0)
    return np.asarray(out / out.max())


def bands(along: Floats, count: float, sharp: float = 3.0) -> Floats:
    """The creases between `count` segments: 0..1, 1 in a crease."""
    return np.asarray(np.abs(np.cos(np.pi * along * count)) ** sharp, np.float32)


def leg(rng: Rng, base_mm: Points, way_rad: float, side: int, lean_rad: float, reach_mm: float) -> Points:
    """A leg (5, 2) of four joints: out to one side of a body that runs along `way_rad`, then bent at the knee.

    `lean_rad` turns it to the head (under 0 for a hind leg); `reach_mm` is its length when stretched.
    """
    shares = np.array([0.12, 0.36, 0.36, 0.16]) * rng.uniform(0.85, 1.15, 4)
    out = side * (np.pi / 2 - lean_rad)
    fold = rng.uniform(0.3, 1.3) * np.sign(lean_rad if abs(lean_rad) > 0.1 else rng.normal())
    turns = np.array([0.0, rng.normal(0, 0.25), -side * fold * 0.8, -side * fold * 0.4 + rng.normal(0, 0.3)])
    ways = way_rad + out + np.cumsum(turns)
    steps = np.stack([np.cos(ways), np.sin(ways)], axis=1) * (shares * reach_mm)[:, None]
    return np.concatenate([base_mm[None], base_mm + np.cumsum(steps, axis=0)])


def feeler(rng: Rng, base_mm: Points, way_rad: float, reach_mm: float, curl_rad: float) -> Points:
    """A feeler (8, 2) that bends evenly by `curl_rad`."""
    ways = way_rad + np.linspace(0, curl_rad, 7) + rng.normal(0, 0.05, 7)
    steps = np.stack([np.cos(ways), np.sin(ways)], axis=1) * (reach_mm / 7)
    return np.concatenate([base_mm[None], base_mm + np.cumsum(steps, axis=0)])
