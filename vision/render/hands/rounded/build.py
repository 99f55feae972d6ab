"""Building blocks: spines, tubes of blended ellipsoids, single balls, jointed limbs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.render.hands.rounded.matter import Blobs, Limb, Points, Stuff

Numbers = Sequence[float] | Points


@dataclass(frozen=True)
class Spine:
    """Line along a body from tail to head: points (n, 3) mm, frames (n, 3, 3) rows forward, left, up."""

    points: Points
    frames: Points

    def at(self, along: float, left: float = 0.0, up: float = 0.0) -> Points:
        """Point (3,) at share `along` of the length, moved sideways by mm."""
        place = float(np.clip(along, 0.0, 1.0)) * (len(self.points) - 1)
        low = min(int(place), len(self.points) - 2)
        part = place - low
        base = self.points[low] * (1.0 - part) + self.points[low + 1] * part
        frame = self.frames[low]
        moved: Points = base + left * frame[1] + up * frame[2]
        return moved

    def way(self, along: float, forward: float, left: float, up: float) -> Points:
        """Direction (3,) in model axes of a vector given in the body's own axes at `along`."""
        frame = self.frames[min(int(along * (len(self.points) - 1)), len(self.points) - 1)]
        turned: Points = forward * frame[0] + left * frame[1] + up * frame[2]
        return turned


def spine(length_mm: float, bends: Numbers, roll: float = 0.0, count: int = 81) -> Spine:
    """Spine whose heading turns by `bends` (radians, one for each equal stretch); `roll` tips the back sideways."""
    rate = np.interp(
        np.linspace(0, 1, count),
        np.linspace(0, 1, max(len(bends), 2)),
        np.resize(np.asarray(bends, float), max(len(bends), 2)),
    )
    angle = np.cumsum(rate) / count
    angle -= angle[count // 2]
    step = length_mm / (count - 1)
    forward = np.stack([np.cos(angle), np.sin(angle), np.zeros(count)], 1)
    points = np.cumsum(forward * step, 0)
    points -= (points.min(0) + points.max(0)) / 2.0
    side = np.stack([-np.sin(angle), np.cos(angle), np.zeros(count)], 1)
    top = np.tile([0.0, 0.0, 1.0], (count, 1))
    left = np.cos(roll) * side + np.sin(roll) * top
    up = -np.sin(roll) * side + np.cos(roll) * top
    return Spine(points, np.stack([forward, left, up], 1))


def tube(
    line: Spine,
    length_mm: float,
    knots: Numbers,
    half_mm: Numbers,
    count: int,
    high: float = 1.0,
    overlap: float = 1.2,
    span: tuple[float, float] = (0.0, 1.0),
    dark: Numbers = (1.0,),
) -> Blobs:
    """Row of ellipsoids along a spine, with half widths read off at `knots` (shares of the length)."""
    low, top = span
    spacing = (top - low) / count
    along = low + (np.arange(count) + 0.5) * spacing
    half = np.interp(along, knots, half_mm)
    reach = np.full(count, spacing * length_mm * overlap)
    room = np.minimum(along - low, top - along) * length_mm
    reach = np.where(room < reach, np.maximum(room, spacing * length_mm * 0.5) * 1.05, reach)
    radii = np.stack([reach, half, half * high], 1)
    index = np.clip((along * (len(line.points) - 1)).astype(int), 0, len(line.points) - 1)
    return Blobs(
        line.points[index],
        radii,
        line.frames[index],
        np.asarray(along, np.float64),
        np.resize(np.asarray(dark, float), count),
    )


def ball(
    centre: Points,
    radii: Numbers,
    line: Spine | None = None,
    along: float = 0.5,
    dark: float = 1.0,
    frame: Points | None = None,
) -> Blobs:
    """One ellipsoid, its axes those of the spine at `along`, or the frame given."""
    axes = np.eye(3) if frame is None else frame
    if line is not None:
        axes = line.frames[min(int(along * (len(line.points) - 1)), len(line.points) - 1)]
    return Blobs(
        np.asarray(centre, float)[None], np.asarray(radii, float)[None], axes[None], np.array([along]), np.array([dark])
    )


def join(*sets: Blobs) -> Blobs:
    """All ellipsoids of several sets in one."""
    return Blobs(
        *(
            np.concatenate([getattr(one, name) for one in sets])
            for name in ("centre", "radii", "frame", "along", "dark")
        )
    )


def turned(rng: np.random.Generator) -> Points:
    """Random rotation (3, 3)."""
    axes, _ = np.linalg.qr(rng.standard_normal((3, 3)))
    return np.asarray(axes, float)


def limb(start: Points, steps: Sequence[Points], radii_mm: Numbers, made: Stuff, counts: bool = False) -> Limb:
    """Jointed limb from a start and the vectors of its members."""
    points = np.cumsum(np.concatenate([np.asarray(start, float)[None], np.asarray(steps, float)]), 0)
    radii = np.interp(np.linspace(0, 1, len(points)), np.linspace(0, 1, len(radii_mm)), radii_mm)
    return Limb(points, radii, made, counts)


def whip(
    start: Points, way: Points, length_mm: float, bend: Points, radii_mm: Numbers, made: Stuff, count: int = 5
) -> Limb:
    """Limb that curves steadily from `way` towards `bend` over its length."""
    steps = []
    for part in np.linspace(0.0, 1.0, count):
        heading = way * (1.0 - part) + bend * part
        steps.append(heading / max(float(np.linalg.norm(heading)), 1e-6) * length_mm / count)
    return limb(start, steps, radii_mm, made)


def leg(
    start: Points,
    out: Points,
    forward: Points,
    up: Points,
    length_mm: float,
    radius_mm: float,
    made: Stuff,
    rng: np.random.Generator,
    tucked: bool = False,
) -> Limb:
    """Insect leg: thigh out and up, shin out and down, foot; `tucked` folds it under."""
    sweep = rng.normal(0.0, 0.25)
    thigh = (out + forward * sweep + up * 0.5) * 0.4
    shin = (out * rng.uniform(0.5, 1.0) + forward * (sweep * 2.0 + rng.normal(0, 0.3)) - up * 0.8) * 0.42
    if tucked:
        thigh, shin = (
            (out * 0.6 - up * 0.6 + forward * sweep) * 0.4,
            (-out * 0.7 - up * 0.2 + forward * sweep * 2) * 0.4,
        )
    foot = (shin + forward * rng.normal(0, 0.15)) * 0.35
    steps = [vector * length_mm for vector in (thigh, shin, foot)]
    return limb(start, steps, (radius_mm * 1.3, radius_mm * 1.1, radius_mm * 0.75, radius_mm * 0.5), made)
