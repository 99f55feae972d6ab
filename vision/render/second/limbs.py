"""Legs, antennae, bristles and wings: tapered rods, and thin sheets with veins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.second.matter import Matter
from vision.render.second.solids import Balls, Inside, balls, inside, swollen
from vision.render.second.spine import Spine, straight
from vision.render.second.stage import Stage
from vision.types import FloatArray

Place = NDArray[np.float64]


@dataclass(frozen=True)
class Rod:
    """A thin round thing along `points_mm` (n, 2), of radius `radius_mm` (n,) there."""

    points_mm: NDArray[np.float64]
    radius_mm: NDArray[np.float64]

    @property
    def extent(self) -> NDArray[np.float64]:
        return np.column_stack([self.points_mm, self.radius_mm])


def rod(points_mm: Sequence[Place] | NDArray[np.float64], first_mm: float, last_mm: float) -> Rod:
    """A rod that tapers evenly from one radius to the other."""
    points = np.asarray(points_mm, float)
    return Rod(points, np.linspace(first_mm, last_mm, len(points)))


def way(heading_rad: float) -> Place:
    return np.array([np.cos(heading_rad), np.sin(heading_rad)])


def jointed(start_mm: Place, links: Sequence[tuple[float, float, float]]) -> NDArray[np.float64]:
    """Joints (n + 1, 2) of a limb as seen from above. Each link: length in mm, heading, and how steeply it rises (radians)."""
    points = [np.asarray(start_mm, float)]
    for length, heading, rise in links:
        points.append(points[-1] + length * np.cos(rise) * way(heading))
    return np.array(points)


def paint_rods(stage: Stage, rods: Sequence[Rod], stuff: Matter, shows: FloatArray | None = None) -> None:
    """Paints rods of one substance. `shows` (samples,): how plainly what lies there can be seen, 0..1."""
    shape = stage.y_mm.size, stage.x_mm.size
    cover, path = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for one in rods:
        for k in range(len(one.points_mm) - 1):
            _stretch(stage, cover, path, one.points_mm[k : k + 2], one.radius_mm[k : k + 2])
    flat = cover.ravel() if shows is None else cover.ravel() * shows
    at = np.flatnonzero(flat > 0)
    if at.size:
        way_mm = path.ravel()[at]
        stage.paint(at, flat[at], stuff.through(way_mm), stuff.colour, high_mm=way_mm)


def _stretch(
    stage: Stage, cover: FloatArray, path: FloatArray, ends: NDArray[np.float64], radii: NDArray[np.float64]
) -> None:
    wide, per_mm = float(radii.max()), np.float32(stage.per_mm)
    (xa, ya), (xb, yb) = ends.tolist()
    r0, r1, c0, c1 = stage.box(min(xa, xb) - wide, min(ya, yb) - wide, max(xa, xb) + wide, max(ya, yb) + wide)
    if r0 >= r1 or c0 >= c1:
        return
    along = ends[1] - ends[0]
    square = max(float(along @ along), 1e-12)
    dx, dy = (
        (stage.x_mm[c0:c1] - np.float32(ends[0, 0]))[None, :],
        (stage.y_mm[r0:r1] - np.float32(ends[0, 1]))[:, None],
    )
    u = np.clip(dx * np.float32(along[0] / square) + dy * np.float32(along[1] / square), 0, 1)
    d = np.hypot(dx - u * np.float32(along[0]), dy - u * np.float32(along[1]))
    r = np.float32(radii[0]) + u * np.float32(radii[1] - radii[0])
    # Below one sample's width a rod covers a sample in part: as much as it is wide.
    part = np.clip(np.maximum(r * per_mm, np.float32(0.5)) - d * per_mm + np.float32(0.5), 0, 1)
    part *= np.minimum(2 * r * per_mm, 1)
    np.maximum(cover[r0:r1, c0:c1], part, out=cover[r0:r1, c0:c1])
    chord = 2 * np.sqrt(np.maximum(r * r - d * d, (0.35 * r) ** 2))
    np.maximum(path[r0:r1, c0:c1], chord * (part > 0), out=path[r0:r1, c0:c1])


@dataclass(frozen=True)
class Wing:
    """A thin sheet: its axis and outline, and veins as rods."""

    line: Spine
    radius_mm: NDArray[np.float64]
    row: Balls

    def at(self, t: float, q: float) -> Place:
        """A place on it: `t` from root to tip, `q` -1..1 across."""
        place, _, right = self.line.at(t)
        reach = float(np.interp(t, np.linspace(0, 1, len(self.radius_mm)), self.radius_mm))
        return place + q * reach * right

    def vein(self, stops: Sequence[tuple[float, float]], radius_mm: float) -> Rod:
        return rod([self.at(t, q) for t, q in stops], radius_mm, radius_mm * 0.6)


def wing(root_mm: Place, heading_rad: float, length_mm: float, width_mm: float, bow: float = 0.0) -> Wing:
    """A wing, narrow at its root and broadest beyond the middle."""
    line = straight(root_mm, heading_rad, length_mm, bow)
    shape = [(0.62, 0.38, 1.0), (0.38, 0.34, 0.74), (0.14, 0.16, 0.3)]
    radius = swollen(length_mm, width_mm, shape, smooth=0.05)
    return Wing(line, radius, balls(line, radius, 0.004))


def paint_wing(
    stage: Stage, rng: np.random.Generator, one: Wing, tint: float, veins: Sequence[Rod], stuff: Matter
) -> None:
    """Paints a wing: `tint` is the absorbance of its sheet, which is creased a little and paler towards its hind edge."""
    sheet: Inside = inside(stage, one.row)
    u, v = rng.uniform(4, 14), rng.uniform(1, 4)
    crease = 1 + np.float32(0.3) * np.sin(np.float32(u) * sheet.t + np.float32(v) * sheet.q + np.float32(u))
    hue = np.array([0.92, 1.0, 1.1], np.float32)
    # A thickened margin: near the rim a ball's half thickness tells how far the rim is.
    margin = np.exp(-((sheet.half_mm * sheet.dome / 0.014) ** 2))
    through = np.exp(-(np.float32(tint) * crease + np.float32(2.5 * tint + 0.1) * margin)[:, None] * hue)
    stage.paint(sheet.at, sheet.cover, through, np.full(3, rng.uniform(0.3, 0.6), np.float32))
    paint_rods(stage, veins, stuff)
