"""Grows one cut piece of cauliflower: thick stalk, branches, and the curd as knobs on clusters and granules on knobs.

Every level is a golden-angle spiral whose members grow from tip to rim, as they do on the plant. A piece is at most 76 by 38 mm;
knobs are 2 to 6 mm, granules (the tips of the shoots) 0.3 to 0.8 mm across (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.florets_solids import Tubes, merged
from vision.types import FloatArray

KNOB_RANGE_MM = (2.0, 6.0)
GRANULE_RANGE_MM = (0.3, 0.8)
LONGEST_MM, WIDEST_MM = 76.0, 38.0
_GOLDEN_ANGLE = np.pi * (3.0 - np.sqrt(5.0))
_SUNK = 0.55
"""How deep a granule's middle lies under the knob's outline, as a share of its radius."""


@dataclass(frozen=True)
class Balls:
    """Round parts of the curd. `centre` (n, 3) mm, `radius` (n,) mm, `axis` (n, 3) unit vector outwards."""

    centre: FloatArray
    radius: FloatArray
    axis: FloatArray

    def __len__(self) -> int:
        return len(self.centre)


@dataclass(frozen=True)
class Piece:
    """One piece, long side along x, lowest point on z = 0. The stalk is `stems` of order 0, its root first."""

    stems: Tubes
    clusters: Balls
    knobs: Balls
    knife_z_mm: float | None
    """Height of the level cut through a halved piece; None for a whole one."""
    face_normal: FloatArray
    """(3,) outward normal of the knife's face on the stalk's root."""

    def discs_mm(self) -> FloatArray:
        """What the piece covers, as circles (n, 3): x, y, radius."""
        stout = self.stems.order < 2
        stems = np.column_stack([self.stems.start[stout, :2], self.stems.radius[stout, 0]])
        curd = np.column_stack([self.clusters.centre[:, :2], self.clusters.radius])
        return np.concatenate([stems, curd]).astype(np.float32)


def grow_piece(rng: np.random.Generator, *, view: str) -> Piece:
    """Grow one piece as it lies: "top" with the curd up, "opened" on its side or cut in half lengthways."""
    halved = view == "opened" and rng.random() < 0.45
    clusters, stalk_mm, thick = _crown(rng, opened=view == "opened")
    stems = _stems(rng, clusters, stalk_mm, thick)
    knobs = _knobs(rng, clusters)
    stems = merged([stems, _branchlets(rng, clusters, knobs)])
    if halved:
        rise = float(rng.normal(0.0, 0.05))
    elif view == "opened":
        rise = float(rng.uniform(-0.75, 0.2))
    else:
        rise = float(np.pi / 2 - abs(rng.normal(0.0, 0.3)))
    turn = _turn(rise, float(rng.uniform(0.0, 2.0 * np.pi)))
    stems = replace(stems, start=stems.start @ turn.T, end=stems.end @ turn.T)
    clusters, knobs = (Balls(b.centre @ turn.T, b.radius, b.axis @ turn.T) for b in (clusters, knobs))
    stem = -unit(stems.end[0] - stems.start[0])
    face = np.asarray(unit(stem + rng.normal(0.0, 0.12, 3)), dtype=np.float32)
    return _set_down(rng, Piece(stems, clusters, knobs, None, face), halved)


def unit(vectors: NDArray[np.floating[Any]]) -> FloatArray:
    """Vectors (..., 3) brought to length 1."""
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-6), dtype=np.float32)


def _turn(rise: float, roll: float) -> FloatArray:
    """Rotation that lays the growth axis z along x, raised by `rise` radians, after a roll round the axis."""
    c, s, cr, sr = np.cos(rise), np.sin(rise), np.cos(roll), np.sin(roll)
    spin = np.array([[cr, -sr, 0.0], [sr, cr, 0.0], [0.0, 0.0, 1.0]])
    lay = np.array([[-s, 0.0, c], [0.0, 1.0, 0.0], [c, 0.0, s]])
    return np.asarray(lay @ spin, dtype=np.float32)


def _spiral(
    rng: np.random.Generator, radius: float, widest: float, tip_mm: float, rim_mm: float, jitter: float
) -> tuple[FloatArray, FloatArray]:
    """Directions (n, 3) over a cap round +z and diameters (n,) mm that grow from `tip_mm` to `rim_mm`, closely packed."""
    grid = np.linspace(0.0, widest, 200)
    size = tip_mm + (rim_mm - tip_mm) * (grid / widest)
    crowd = np.cumsum(np.sin(grid) * 2 * np.pi * radius**2 / (0.82 * size**2)) * (grid[1] - grid[0])
    count = max(3, int(crowd[-1]))
    angle = np.interp((np.arange(count) + 0.5) / count * crowd[-1], crowd, grid)
    diameter = np.interp(angle, grid, size)
    around = np.arange(count) * _GOLDEN_ANGLE + rng.uniform(0.0, 2 * np.pi)
    way = np.stack([np.sin(angle) * np.cos(around), np.sin(angle) * np.sin(around), np.cos(angle)], axis=1)
    way = way + rng.normal(0.0, jitter, way.shape) * (diameter / radius)[:, None]
    return unit(way), (diameter * rng.uniform(0.88, 1.12, count)).astype(np.float32)


def frames(axis: FloatArray, roll: NDArray[np.floating[Any]]) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors (n, 3) across each `axis` (n, 3), turned round it by `roll` (n,) radians."""
    spare = np.where(np.abs(axis[:, :1]) < 0.8, np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))
    raw = unit(np.cross(spare, axis))
    other = np.cross(axis, raw)
    c, s = np.cos(roll)[:, None], np.sin(roll)[:, None]
    return unit(c * raw + s * other), unit(c * other - s * raw)


def _crown(rng: np.random.Generator, *, opened: bool) -> tuple[Balls, float, float]:
    """Clusters over the crown's dome in the growth frame, the stalk's length and its radius in mm."""
    radius = float(rng.uniform(11.5, 15.0))
    # Pieces broken off a head are lopsided: one side had its neighbours.
    squash = np.array([1.0, rng.uniform(0.78, 1.0), rng.uniform(0.75, 0.95)])
    widest = float(rng.uniform(1.2, 1.5))
    way, size = _spiral(rng, radius, widest, radius * rng.uniform(0.5, 0.62), radius * rng.uniform(0.72, 0.9), 0.13)
    # The tighter the curd, the narrower the cracks between its clusters.
    ball = np.clip(
        rng.uniform(*((0.4, 0.5) if opened else (0.46, 0.56))) * size * rng.uniform(0.85, 1.15, len(size)), 2.2, 6.5
    )
    spread = rng.uniform(1.12, 1.3) if opened else 1.0
    centre = way * squash * (radius - 0.35 * ball[:, None]) * rng.uniform(0.92, 1.06, (len(size), 1))
    centre[:, :2] *= spread
    stalk_mm, thick = float(rng.uniform(9.0, 17.0)), float(rng.uniform(4.2, 6.2))
    centre[:, 2] += stalk_mm + rng.uniform(3.0, 6.0)
    axis = unit(0.75 * unit(centre - [0.0, 0.0, stalk_mm - 3.0]) + 0.5 * way)
    return Balls(centre.astype(np.float32), ball.astype(np.float32), axis), stalk_mm, thick


def _stem(points: list[FloatArray], radii: tuple[float, float], order: int, steps: int) -> Tubes:
    """A tapered stem along a quadratic Bezier through three control points."""
    t = np.linspace(0.0, 1.0, steps + 1)[:, None]
    a, b, c = points
    line = (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c
    radius = radii[0] + (radii[1] - radii[0]) * t[:, 0]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))[:-1]])
    same = np.ones(steps)
    parts = (line[:-1], line[1:], np.stack([radius[:-1], radius[1:]], axis=1), along, order * same, radii[0] * same)
    return Tubes(*(np.asarray(part, dtype=np.float32) for part in parts))


def _stems(rng: np.random.Generator, clusters: Balls, stalk_mm: float, thick: float) -> Tubes:
    """The stalk and one branch to each cluster, which leave it one above the other and grow into it."""
    top = np.array([*rng.normal(0.0, 0.5, 2), stalk_mm + 2.0], dtype=np.float32)
    root = np.zeros(3, dtype=np.float32)
    bow = np.array([*rng.normal(0.0, 0.8, 2), stalk_mm * 0.5], dtype=np.float32)
    stems = [_stem([root, bow, top], (thick, thick * 0.8), 0, 5)]
    for centre, radius, axis in zip(clusters.centre, clusters.radius, clusters.axis, strict=True):
        side = float(np.hypot(axis[0], axis[1]))
        fork = top * np.float32(1.0 - 0.75 * side * rng.uniform(0.6, 1.0))
        base = centre - axis * radius * 0.55
        bend = (fork + base) / 2 - np.array([0.0, 0.0, 1.2 * side], dtype=np.float32)
        wide = min(0.62 * thick, float(radius) * rng.uniform(0.5, 0.66))
        stems.append(_stem([fork, bend, base], (wide, wide * 0.85), 1, 6))
    return merged(stems)


def _knobs(rng: np.random.Generator, clusters: Balls) -> Balls:
    """Knobs over each cluster's cap."""
    parts: list[Balls] = []
    for centre, radius, axis in zip(clusters.centre, clusters.radius, clusters.axis, strict=True):
        tip = float(rng.uniform(2.0, 2.8))
        way, size = _spiral(rng, float(radius), float(rng.uniform(1.45, 1.75)), tip, float(rng.uniform(2.8, 4.6)), 0.2)
        first, second = frames(axis[None], rng.uniform(0, 2 * np.pi, 1))
        out = way @ np.concatenate([first, second, axis[None]])
        # A cluster is a little pointed, and some of its knobs stand back.
        reach = radius * (0.8 + 0.12 * way[:, 2] + rng.normal(0.0, 0.06, len(size)))
        place = centre + out * reach[:, None]
        lean = unit(out + 0.35 * axis + rng.normal(0.0, 0.12, out.shape))
        size = np.clip(size, *KNOB_RANGE_MM)
        parts.append(Balls(place.astype(np.float32), (0.5 * size).astype(np.float32), lean))
    return Balls(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("centre", "radius", "axis")))


def _branchlets(rng: np.random.Generator, clusters: Balls, knobs: Balls) -> Tubes:
    """A short stem from inside the nearest cluster to each knob: what one sees of the curd from below."""
    far = np.linalg.norm(knobs.centre[:, None] - clusters.centre, axis=2)
    own = far.argmin(axis=1)
    start = clusters.centre[own] - clusters.axis[own] * (clusters.radius[own] * 0.45)[:, None]
    end = knobs.centre - knobs.axis * knobs.radius[:, None] * 0.5
    wide = knobs.radius * rng.uniform(0.42, 0.6, len(knobs))
    zero = np.zeros(len(knobs))
    parts = (start, end, np.stack([wide * 1.25, wide], axis=1), zero, zero + 2, wide)
    return Tubes(*(np.asarray(part, dtype=np.float32) for part in parts))


def _set_down(rng: np.random.Generator, piece: Piece, halved: bool) -> Piece:
    """Scaled to the largest size where it is larger, centred, and laid on the ground (pressed in a little)."""
    stems, curd = piece.stems, piece.knobs
    points = np.concatenate([stems.start, stems.end, curd.centre])
    reach = np.concatenate([stems.radius[:, 0], stems.radius[:, 1], curd.radius])[:, None]
    low, high = (points - reach).min(axis=0), (points + reach).max(axis=0)
    # 3.5 mm for the granules, and for the leaning of a piece that is turned.
    room = (np.array([LONGEST_MM, WIDEST_MM]) - 3.5) * rng.uniform(0.8, 1.0)
    size = np.float32(min(1.0, *(room / (high - low)[:2])))
    shift = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2] + 0.5], dtype=np.float32)
    stems = replace(
        stems,
        start=(stems.start - shift) * size,
        end=(stems.end - shift) * size,
        radius=stems.radius * size,
        along=stems.along * size,
        girth=stems.girth * size,
    )
    clusters, knobs = (
        Balls((b.centre - shift) * size, np.maximum(b.radius * size, least).astype(np.float32), b.axis)
        for b, least in ((piece.clusters, 0.0), (piece.knobs, 0.5 * KNOB_RANGE_MM[0]))
    )
    return Piece(stems, clusters, knobs, float(stems.start[0, 2]) if halved else None, piece.face_normal)


def moved(piece: Piece, turn: float, shift_mm: FloatArray) -> Piece:
    """The piece turned by `turn` radians in the picture's plane and moved by `shift_mm` (3,)."""
    c, s = np.cos(turn), np.sin(turn)
    spin = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]], dtype=np.float32)
    stems = replace(piece.stems, start=piece.stems.start @ spin + shift_mm, end=piece.stems.end @ spin + shift_mm)
    clusters, knobs = (
        Balls(b.centre @ spin + shift_mm, b.radius, b.axis @ spin) for b in (piece.clusters, piece.knobs)
    )
    return Piece(stems, clusters, knobs, piece.knife_z_mm, piece.face_normal @ spin)


def granulated(rng: np.random.Generator, knobs: Balls, coarse: float = 1.0) -> tuple[Balls, NDArray[np.int32]]:
    """Granules over all `knobs` and the knob each sits on (n,). `coarse`: factor on their size within the usual range.

    Knobs of about the same size share a few arrangements, each turned its own way, so that many thousands cost little.
    """
    classes = np.round(knobs.radius * 4.0).astype(int)
    variant = rng.integers(0, 4, len(knobs))
    first, second = frames(knobs.axis, rng.uniform(0, 2 * np.pi, len(knobs)))
    wave = rng.normal(0.0, 1.6, (len(knobs), 3)).astype(np.float32)
    parts, owners = [], []
    for size in np.unique(classes):
        radius = size / 4.0
        for kind in range(4):
            low, high = (np.clip(d * coarse * rng.uniform(0.85, 1.15), *GRANULE_RANGE_MM) for d in (0.36, 0.64))
            way, diameter = _spiral(rng, radius, float(rng.uniform(1.5, 1.8)), float(low), float(high), 0.2)
            diameter = np.clip(diameter, *GRANULE_RANGE_MM)
            on = np.flatnonzero((classes == size) & (variant == kind))
            if not len(on):
                continue
            lumpy = 1.0 + 0.1 * np.sin(way @ wave[on].T * 1.6 + np.arange(len(on)))
            reach = knobs.radius[on] * lumpy - 0.5 * _SUNK * diameter[:, None]
            basis = np.stack([first[on], second[on], knobs.axis[on]], axis=1)
            out = np.einsum("gk,nkj->gnj", way, basis)
            centre = knobs.centre[on] + out * reach[..., None]
            wide = np.broadcast_to(0.5 * diameter[:, None], reach.shape)
            parts.append(Balls(centre.reshape(-1, 3), wide.reshape(-1).astype(np.float32), out.reshape(-1, 3)))
            owners.append(np.broadcast_to(on, reach.shape).reshape(-1))
    joined = (np.concatenate([getattr(p, name) for p in parts]) for name in ("centre", "radius", "axis"))
    return Balls(*(np.asarray(v, dtype=np.float32) for v in joined)), np.concatenate(owners).astype(np.int32)
