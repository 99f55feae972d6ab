"""Grows one cut broccoli floret: stalk, branches, buds, cut face.

A floret is grown as a tree in three dimensions (stalk, branches, branchlets, clusters of buds on a dome), turned to the view
wanted, and brought to a cut size of at most 76 by 38 mm (common practice, no source). Buds are 1 to 2 mm across (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.florets_solids import Buds, Clusters, Discs, Floret, Tubes, merged, stem_extent
from vision.types import FloatArray

LONGEST_MM = 76.0
WIDEST_MM = 38.0
BUD_RANGE_MM = (1.0, 2.0)
_GOLDEN_ANGLE = np.pi * (3.0 - np.sqrt(5.0))


def grow_floret(rng: np.random.Generator, *, view: str, heated: bool) -> Floret:
    """Grow one floret as it lies: `view` "underside" shows stalk and branches, "opened" the fanned-out bud clusters.

    Method: clusters on a golden-angle spiral over a dome, branches gathered by sector; every number from `rng`.
    """
    opened = view == "opened"
    clusters, stalk_mm = _dome(rng, opened)
    stems = _branches(rng, clusters, stalk_mm)
    tilt = np.deg2rad(rng.uniform(-22.0, 26.0) if opened else rng.uniform(-52.0, -24.0))
    turn = _turn(float(tilt), float(rng.uniform(0.0, 2.0 * np.pi)))
    squash = np.array([1.0, 1.0, 0.75 if opened else 0.82], dtype=np.float32)
    tubes = _moved_tubes(stems, turn, squash)
    clusters = Clusters(
        (clusters.centre @ turn.T) * squash,
        clusters.radius,
        _unit((clusters.axis @ turn.T) * squash),
        (clusters.base @ turn.T) * squash,
    )
    tubes, clusters = _fitted(rng, tubes, clusters)
    buds, twigs = _buds(rng, clusters, loose=opened and heated)
    discs = _cut_face(rng, tubes)
    return Floret(merged([tubes, twigs]), clusters, discs, buds)


def _unit(vectors: NDArray[np.floating[Any]]) -> FloatArray:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-6), dtype=np.float32)


def _turn(tilt: float, roll: float) -> FloatArray:
    """Rotation that lays the growth axis z along x, raised by `tilt` radians, after a roll round the axis."""
    ct, st, cr, sr = np.cos(tilt), np.sin(tilt), np.cos(roll), np.sin(roll)
    spin = np.array([[cr, -sr, 0.0], [sr, cr, 0.0], [0.0, 0.0, 1.0]])
    lay = np.array([[-st, 0.0, ct], [0.0, 1.0, 0.0], [ct, 0.0, st]])
    return np.asarray(lay @ spin, dtype=np.float32)


def _cap_directions(rng: np.random.Generator, count: int, widest: float, jitter: float) -> FloatArray:
    """Evenly spread unit vectors within `widest` radians of +z: a golden-angle spiral, shaken by `jitter` radians."""
    step = np.arange(count) + 0.5
    cosine = 1.0 - step / count * (1.0 - np.cos(widest))
    angle = step * _GOLDEN_ANGLE + rng.uniform(0.0, 2.0 * np.pi)
    sine = np.sqrt(np.maximum(0.0, 1.0 - cosine**2))
    spiral = np.stack([sine * np.cos(angle), sine * np.sin(angle), cosine], axis=1)
    return _unit(spiral + rng.normal(0.0, jitter, spiral.shape))


def _dome(rng: np.random.Generator, opened: bool) -> tuple[Clusters, float]:
    """Clusters over the crown's dome in the growth frame, and the stalk's length in mm."""
    count = int(rng.integers(10, 17))
    widest = rng.uniform(1.45, 1.9)
    directions = _cap_directions(rng, count, widest, 0.09)
    half = np.array([rng.uniform(15.0, 18.0), rng.uniform(12.5, 16.0), rng.uniform(12.0, 16.0)])
    stalk_mm = float(rng.uniform(17.0, 34.0))
    mean_radius = np.sqrt(2.0 * (1.0 - np.cos(widest)) * half.prod() ** (2.0 / 3.0) / count) * (
        0.86 if opened else 0.98
    )
    radius = mean_radius * rng.uniform(0.78, 1.18, count)
    centre = directions * (half - 0.62 * radius[:, None]) * rng.uniform(0.9, 1.06, (count, 1))
    if opened:
        centre[:, :2] *= 1.3
    centre[:, 2] += stalk_mm + rng.uniform(3.0, 8.0)
    fork = np.array([0.0, 0.0, stalk_mm - 2.0])
    axis = _unit(centre - fork)
    base = centre - axis * radius[:, None] * 0.95
    as32 = np.float32
    return Clusters(centre.astype(as32), radius.astype(as32), axis.astype(as32), base.astype(as32)), stalk_mm


def _curve(
    points: list[NDArray[np.floating[Any]]], radii: tuple[float, float], order: int, flare: float, steps: int = 6
) -> Tubes:
    """A stem along a quadratic Bezier through three control points, flared at its root where it leaves the thicker one."""
    t = np.linspace(0.0, 1.0, steps + 1)[:, None]
    a, b, c = points
    line = (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c
    radius = radii[0] + (radii[1] - radii[0]) * t[:, 0] + flare * radii[0] * np.exp(-5.0 * t[:, 0])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))[:-1]])
    return Tubes(
        line[:-1].astype(np.float32),
        line[1:].astype(np.float32),
        np.stack([radius[:-1], radius[1:]], axis=1).astype(np.float32),
        along.astype(np.float32),
        np.full(steps, order, dtype=np.float32),
        np.full(steps, radii[0], dtype=np.float32),
    )


def _branches(rng: np.random.Generator, clusters: Clusters, stalk_mm: float) -> Tubes:
    """Stalk, branches gathered by sector of the dome, and one branchlet to each cluster."""
    thick = rng.uniform(4.2, 6.4)
    lean = np.array([*rng.normal(0.0, 0.9, 2), stalk_mm * 0.5])
    top = np.array([0.0, 0.0, stalk_mm])
    stems = [_curve([np.zeros(3), lean, top], (thick, thick * rng.uniform(0.7, 0.9)), 0, 0.0, 5)]
    sectors = int(rng.integers(4, 7))
    side = np.linalg.norm(clusters.axis[:, :2], axis=1)
    sector = np.floor((np.arctan2(clusters.axis[:, 1], clusters.axis[:, 0]) / (2 * np.pi) % 1.0) * sectors)
    sector = np.where(side < 0.4, sectors, sector)
    for number in np.unique(sector):
        members = np.flatnonzero(sector == number)
        aim = clusters.base[members].mean(axis=0)
        out = np.array([aim[0], aim[1], 0.0])
        out /= max(float(np.linalg.norm(out)), 1e-6)
        root = top * rng.uniform(0.35, 0.85) + out * thick * 0.2
        fork = root + (aim - root) * rng.uniform(0.4, 0.6)
        wide = min(0.55 * thick, 1.5 + 0.75 * np.sqrt(len(members))) * rng.uniform(0.85, 1.15)
        bow = (root + fork) / 2 + np.array([0.0, 0.0, 2.5]) - out * 0.8 + rng.normal(0.0, 0.5, 3)
        stems.append(_curve([root, bow, fork], (wide, wide * 0.8), 1, -0.12))
        for member in members:
            tip = clusters.base[member] + clusters.axis[member] * clusters.radius[member] * 0.25
            bend = (fork + tip) / 2 + (aim - root) * 0.12 + rng.normal(0.0, 0.5, 3)
            fine = wide * rng.uniform(0.5, 0.7)
            stems.append(_curve([fork, bend, tip], (fine, fine * 0.8), 2, 0.1))
    return merged(stems)


def _moved_tubes(tubes: Tubes, turn: FloatArray, squash: FloatArray) -> Tubes:
    start, end = (tubes.start @ turn.T) * squash, (tubes.end @ turn.T) * squash
    return replace(tubes, start=start, end=end)


def _fitted(rng: np.random.Generator, tubes: Tubes, clusters: Clusters) -> tuple[Tubes, Clusters]:
    """Scale to a cut size drawn below the largest, centre, and set down on the ground (the crown is pressed in a little)."""
    low, high = stem_extent(tubes, clusters)
    margin = 2.4 * BUD_RANGE_MM[1]
    room = np.array([LONGEST_MM - margin, WIDEST_MM - margin]) * rng.uniform(0.86, 1.0, 2)
    size = np.float32(min(room[0] / (high[0] - low[0]), room[1] / (high[1] - low[1])))
    shift = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2] + 0.6], dtype=np.float32)
    start, end = (tubes.start - shift) * size, (tubes.end - shift) * size
    length = np.linalg.norm(end - start, axis=1)
    before = np.cumsum(length) - length
    along = before - np.maximum.accumulate(np.where(tubes.along == 0, before, 0.0))
    centre, base = (clusters.centre - shift) * size, (clusters.base - shift) * size
    return (
        Tubes(start, end, tubes.radius * size, along.astype(np.float32), tubes.order, tubes.girth * size),
        Clusters(centre, clusters.radius * size, clusters.axis, base),
    )


def _frame(axis: FloatArray) -> FloatArray:
    """A rotation matrix whose third column is `axis`."""
    spare = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.8 else np.array([0.0, 1.0, 0.0])
    first = np.cross(spare, axis)
    first /= np.linalg.norm(first)
    return np.asarray(np.stack([first, np.cross(axis, first), axis], axis=1), dtype=np.float32)


def _buds(rng: np.random.Generator, clusters: Clusters, *, loose: bool) -> tuple[Buds, Tubes]:
    """Buds over each cluster's lumpy dome, the twigs inside it, and each bud's own stem."""
    centres, axes, sizes, owner, twigs = [], [], [], [], []
    mean_size = rng.uniform(1.06, 1.42)
    for number, (centre, radius, axis, base) in enumerate(
        zip(clusters.centre, clusters.radius, clusters.axis, clusters.base, strict=True)
    ):
        frame = _frame(axis)
        lumps = _cap_directions(rng, int(np.clip(radius * 1.3, 4, 12)), 1.35, 0.12)
        widest = rng.uniform(1.6, 1.95)
        spacing = mean_size * (1.05 if loose else 0.88)
        count = int(2 * np.pi * (radius * 1.05) ** 2 * (1 - np.cos(widest)) / (0.87 * spacing**2))
        directions = _cap_directions(rng, count, widest, 0.22 * spacing / float(radius))
        nearness = directions @ lumps.T
        lump = nearness.argmax(axis=1)
        away = np.arccos(np.clip(nearness.max(axis=1), -1.0, 1.0))
        reach = radius * (
            0.84 + 0.24 * np.exp(-((away / 0.36) ** 2)) + rng.normal(0.0, 0.022 if not loose else 0.05, count)
        )
        local_axis = _unit(
            directions * 1.0 - 0.55 * lumps[lump] + rng.normal(0.0, 0.12, directions.shape) + 0.15 * directions
        )
        place = (directions * reach[:, None]) @ frame.T + centre
        size = np.clip(rng.normal(mean_size, 0.13, count), *BUD_RANGE_MM)
        centres.append(place)
        axes.append(local_axis @ frame.T)
        sizes.append(size)
        owner.append(np.full(count, number))
        knots = centre + (lumps * radius * 0.4) @ frame.T
        twigs.append(
            _straight(np.repeat(base[None], len(knots), 0), knots, float(radius) * 0.17, 0.12 * float(radius), 3)
        )
        twigs.append(_straight(knots[lump], place, 0.42, 0.34, 4))
    buds = Buds(*(np.concatenate(v).astype(np.float32) for v in (centres, axes, sizes, owner)))
    buds.centre[:, 2] = np.maximum(buds.centre[:, 2], 0.3 * buds.diameter)
    return buds, merged(twigs)


def _straight(start: FloatArray, end: FloatArray, first: float, last: float, order: int) -> Tubes:
    n = len(start)
    radius = np.tile(np.array([[first, last]], dtype=np.float32), (n, 1))
    zero = np.zeros(n, dtype=np.float32)
    return Tubes(start.astype(np.float32), end.astype(np.float32), radius, zero, zero + order, zero + first)


def _cut_face(rng: np.random.Generator, tubes: Tubes) -> Discs:
    """The knife's face on the stalk, a little askew."""
    stem = _unit(tubes.end[:1] - tubes.start[:1])
    outward = _unit(-stem + rng.normal(0.0, 0.15, (1, 3)))
    return Discs(tubes.start[:1], outward, stem, tubes.radius[:1, 0])
