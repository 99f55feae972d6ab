"""Height field of many small solids seen from straight above: balls, tubes, capped domes, discs.

Each solid is met by the vertical ray through every pixel of its window in closed form, and the highest surface stays (a depth
buffer). Solids whose windows have the same size are handled in one array operation, so thousands of buds cost little more than
their pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

IntArray = NDArray[np.int32]
_BATCH_PX = 100_000
"""Pixels per array operation: small enough that the temporaries stay in the processor's cache."""


@dataclass(frozen=True)
class Relief:
    """What is highest at each pixel. All (h, w).

    `height_mm` float32 above the ground, 0 where nothing lies; `owner` int32: number of the solid, 0 for the ground; `u`, `v`
    float32: place on that solid (balls: offset over radius; tubes: mm along, offset over radius; domes and discs: mm in the plane).
    """

    height_mm: FloatArray
    owner: IntArray
    u: FloatArray
    v: FloatArray
    px_per_mm: float

    @classmethod
    def empty(cls, height_px: int, width_px: int, px_per_mm: float) -> Relief:
        shape = (height_px, width_px)
        zero = np.zeros(shape, dtype=np.float32)
        return cls(zero, np.zeros(shape, dtype=np.int32), zero.copy(), zero.copy(), px_per_mm)


@dataclass(frozen=True)
class _Batch:
    """Windows of one size: `index` (n,) which solids, `x_mm` (n, 1, k) and `y_mm` (n, k, 1), `flat` (n, k, k) places in the picture."""

    index: IntArray
    x_mm: FloatArray
    y_mm: FloatArray
    flat: NDArray[np.intp]


Surface = Callable[[_Batch], tuple[FloatArray, FloatArray, FloatArray]]


def draw_balls(relief: Relief, centre: FloatArray, radius: FloatArray, stretch: FloatArray, number: IntArray) -> None:
    """Balls of `radius` (n,) mm at `centre` (n, 3), drawn out in the plane by `stretch` (n, 2) (a vector: direction, share).

    Those that are hidden by what is drawn already are left out.
    """
    size = np.linalg.norm(stretch, axis=1)
    reach = radius * (1.0 + size)
    sides = np.array([[0, 0], [0.75, 0], [-0.75, 0], [0, 0.75], [0, -0.75]], dtype=np.float32)
    seen = _may_be_seen(relief, [(centre[:, :2] + side * reach[:, None], centre[:, 2] + 0.7 * reach) for side in sides])
    way = stretch / np.maximum(size, 1e-6)[:, None]

    def surface(batch: _Batch) -> tuple[FloatArray, FloatArray, FloatArray]:
        i = seen[batch.index]
        dx = (batch.x_mm - _col(centre[i, 0])) / _col(radius[i])
        dy = (batch.y_mm - _col(centre[i, 1])) / _col(radius[i])
        lengthways = (dx * _col(way[i, 0]) + dy * _col(way[i, 1])) * _col(size[i] / (1.0 + size[i]))
        u = dx - lengthways * _col(way[i, 0])
        v = dy - lengthways * _col(way[i, 1])
        rest = 1.0 - u * u - v * v
        z = np.where(rest > 0, _col(centre[i, 2]) + _col(radius[i]) * np.sqrt(np.maximum(rest, 0)), -np.inf)
        return z, u, v

    low, high = centre[:, :2] - reach[:, None], centre[:, :2] + reach[:, None]
    _draw(relief, low[seen], high[seen], surface, number[seen])


def draw_tubes(
    relief: Relief,
    start: FloatArray,
    end: FloatArray,
    radius: FloatArray,
    along: FloatArray,
    knife: FloatArray,
    number: IntArray,
) -> None:
    """Tapered round stems with ball ends; arrays as in `florets_solids.Tubes`.

    `knife` (n, 4): unit normal and offset in mm of a plane beyond which the stem is cut away; zeros for none.
    """
    span = end - start
    length = np.maximum(np.linalg.norm(span, axis=1), 1e-4).astype(np.float32)
    axis = span / length[:, None]
    flat_share = np.maximum(1.0 - axis[:, 2] ** 2, 1e-3)
    across = np.stack([axis[:, 1], -axis[:, 0]], axis=1)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-6)
    # A cut stem goes on a little behind its start, for the slanting knife to meet.
    is_cut = np.abs(knife[:, :3]).sum(axis=1) > 0
    behind = np.where(is_cut & (along == 0), radius[:, 0], 0.0)

    def surface(batch: _Batch) -> tuple[FloatArray, FloatArray, FloatArray]:
        i = batch.index
        dx, dy = batch.x_mm - _col(start[i, 0]), batch.y_mm - _col(start[i, 1])
        a_z, long_mm, flat = _col(axis[i, 2]), _col(length[i]), _col(flat_share[i])
        run = dx * _col(axis[i, 0]) + dy * _col(axis[i, 1])
        square = dx * dx + dy * dy
        r0, r1 = _col(radius[i, 0]), _col(radius[i, 1])
        r = 0.5 * (r0 + r1)
        for _ in range(2):
            under = (run * a_z) ** 2 - flat * (square - run * run - r * r)
            rise = (run * a_z + np.sqrt(np.maximum(under, 0))) / flat
            s = run + rise * a_z
            r = r0 + (r1 - r0) / long_mm * np.minimum(np.maximum(s, 0), long_mm)
        z = np.where((under >= 0) & (s >= -_col(behind[i])) & (s <= long_mm), rise, -np.inf)
        to_end = r1 * r1 - (square - 2 * long_mm * run + long_mm**2 * flat)
        z = np.maximum(z, np.where(to_end > 0, long_mm * a_z + np.sqrt(np.maximum(to_end, 0)), -np.inf))
        to_start = r0 * r0 - square
        z = np.maximum(z, np.where(to_start > 0, np.sqrt(np.maximum(to_start, 0)), -np.inf)) + _col(start[i, 2])
        if is_cut[i].any():
            side = batch.x_mm * _col(knife[i, 0]) + batch.y_mm * _col(knife[i, 1]) - _col(knife[i, 3])
            z = np.where(side + np.maximum(z, -1e3) * _col(knife[i, 2]) > 0, -np.inf, z)
        return z, _col(along[i]) + s, (dx * _col(across[i, 0]) + dy * _col(across[i, 1])) / r

    reach = radius + behind[:, None]
    low = np.minimum(start[:, :2] - reach[:, :1], end[:, :2] - reach[:, 1:])
    high = np.maximum(start[:, :2] + reach[:, :1], end[:, :2] + reach[:, 1:])
    _draw(relief, low, high, surface, number)


def draw_twigs(relief: Relief, start: FloatArray, end: FloatArray, radius: FloatArray, number: IntArray) -> None:
    """Thin straight stems, as half-round ridges over their plan: cheaper than `draw_tubes`. Those hidden already are left out."""
    along = [start + (end - start) * np.float32(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    seen = _may_be_seen(relief, [(place[:, :2], place[:, 2] + radius.max(axis=1)) for place in along])
    length = np.maximum(np.linalg.norm((end - start)[:, :2], axis=1), 1e-3)
    way = (end - start)[:, :2] / length[:, None]

    def surface(batch: _Batch) -> tuple[FloatArray, FloatArray, FloatArray]:
        i = seen[batch.index]
        dx, dy = batch.x_mm - _col(start[i, 0]), batch.y_mm - _col(start[i, 1])
        w_x, w_y, long_mm = _col(way[i, 0]), _col(way[i, 1]), _col(length[i])
        s = dx * w_x + dy * w_y
        share = np.minimum(np.maximum(s / long_mm, 0), 1)
        beyond = s - share * long_mm
        off = dx * w_y - dy * w_x
        r = _col(radius[i, 0]) + _col(radius[i, 1] - radius[i, 0]) * share
        rest = r * r - off * off - beyond * beyond
        z = _col(start[i, 2]) + _col(end[i, 2] - start[i, 2]) * share + np.sqrt(np.maximum(rest, 0))
        return np.where(rest > 0, z, -np.inf), s, off / r

    reach = radius.max(axis=1)[seen, None]
    low = np.minimum(start[seen, :2], end[seen, :2]) - reach
    high = np.maximum(start[seen, :2], end[seen, :2]) + reach
    _draw(relief, low, high, surface, number[seen])


def _may_be_seen(relief: Relief, probes: list[tuple[FloatArray, FloatArray]]) -> NDArray[np.intp]:
    """Numbers of the solids that rise over what is drawn at one of their probes: places (n, 2) and heights (n,), mm."""
    rows, columns = relief.height_mm.shape
    over = np.zeros(len(probes[0][0]), dtype=bool)
    for place, height in probes:
        x = np.clip(np.round(place[:, 0] * relief.px_per_mm), 0, columns - 1).astype(np.int64)
        y = np.clip(np.round(place[:, 1] * relief.px_per_mm), 0, rows - 1).astype(np.int64)
        over |= height > relief.height_mm[y, x]
    return np.flatnonzero(over)


def draw_domes(
    relief: Relief, centre: FloatArray, radius: FloatArray, axis: FloatArray, floor: float, number: IntArray
) -> None:
    """The part of each ball that lies beyond `floor` (share of the radius) along its `axis`, with a flat back."""

    def surface(batch: _Batch) -> tuple[FloatArray, FloatArray, FloatArray]:
        i = batch.index
        dx, dy = batch.x_mm - _col(centre[i, 0]), batch.y_mm - _col(centre[i, 1])
        r = _col(radius[i])
        rest = r * r - dx * dx - dy * dy
        top = np.sqrt(np.maximum(rest, 0))
        run = dx * _col(axis[i, 0]) + dy * _col(axis[i, 1])
        a_z = _col(axis[i, 2])
        back = np.where(a_z < -0.02, (floor * r - run) / np.minimum(a_z, -0.02), -np.inf)
        z = np.where(run + top * a_z >= floor * r, top, np.where(back > -top, back, -np.inf))
        return np.where(rest > 0, z + _col(centre[i, 2]), -np.inf), dx + 0 * dy, dy + 0 * dx

    _draw(
        relief,
        centre[:, :2] - radius[:, None],
        centre[:, :2] + radius[:, None],
        surface,
        number,
    )


def draw_discs(
    relief: Relief, centre: FloatArray, normal: FloatArray, stem: FloatArray, radius: FloatArray, number: IntArray
) -> None:
    """Flat faces of stems cut askew (arrays as in `florets_solids.Discs`); those that look away from the camera are not drawn."""
    reach = 1.5 * radius[:, None]

    def surface(batch: _Batch) -> tuple[FloatArray, FloatArray, FloatArray]:
        i = batch.index
        dx, dy = batch.x_mm - _col(centre[i, 0]), batch.y_mm - _col(centre[i, 1])
        n_z = _col(normal[i, 2])
        rise = -(dx * _col(normal[i, 0]) + dy * _col(normal[i, 1])) / np.maximum(n_z, 0.05)
        run = dx * _col(stem[i, 0]) + dy * _col(stem[i, 1]) + rise * _col(stem[i, 2])
        seen = (n_z > 0.05) & (dx * dx + dy * dy + rise * rise - run * run < _col(radius[i]) ** 2)
        return np.where(seen, rise + _col(centre[i, 2]), -np.inf), dx + 0 * dy, dy + 0 * dx

    _draw(relief, centre[:, :2] - reach, centre[:, :2] + reach, surface, number)


def _col(values: FloatArray) -> FloatArray:
    return np.asarray(values, dtype=np.float32)[:, None, None]


def _draw(relief: Relief, low: FloatArray, high: FloatArray, surface: Surface, number: IntArray) -> None:
    """Keep the highest of what is there and what `surface` gives in each solid's window `low`..`high` (n, 2) mm.

    `number` (n,): what `Relief.owner` is to hold for each.
    """
    height, owner = relief.height_mm.reshape(-1), relief.owner.reshape(-1)
    u_all, v_all = relief.u.reshape(-1), relief.v.reshape(-1)
    for batch in _batches(relief, low, high):
        z, u, v = surface(batch)
        higher = z > height[batch.flat]
        place, z = batch.flat[higher], z[higher]
        np.maximum.at(height, place, z)
        stays = z == height[place]
        place = place[stays]
        owner[place] = np.broadcast_to(number[batch.index][:, None, None], higher.shape)[higher][stays]
        u_all[place] = np.broadcast_to(u, higher.shape)[higher][stays]
        v_all[place] = np.broadcast_to(v, higher.shape)[higher][stays]


def _batches(relief: Relief, low_mm: FloatArray, high_mm: FloatArray) -> Iterator[_Batch]:
    rows, columns = relief.height_mm.shape
    scale = relief.px_per_mm
    left, top = (np.clip(np.floor(low_mm[:, k] * scale), 0, n).astype(np.int64) for k, n in ((0, columns), (1, rows)))
    right, bottom = (
        np.clip(np.ceil(high_mm[:, k] * scale) + 1, 0, n).astype(np.int64) for k, n in ((0, columns), (1, rows))
    )
    kept = np.flatnonzero((right > left) & (bottom > top))
    wide, high = np.minimum(_rounded(right - left), columns), np.minimum(_rounded(bottom - top), rows)
    # A window made wider by rounding is moved back rather than let stick out of the picture.
    left, top = np.minimum(left, columns - wide), np.minimum(top, rows - high)
    kept = kept[np.lexsort((wide[kept], high[kept]))]
    edges = np.flatnonzero(np.diff(wide[kept]) | np.diff(high[kept])) + 1
    for group in np.split(kept, edges):
        if not group.size:
            continue
        kx, ky = np.arange(wide[group[0]]), np.arange(high[group[0]])[:, None]
        for part in np.array_split(group, -(-group.size * kx.size * ky.size // _BATCH_PX)):
            if part.size:
                corner_x, corner_y = left[part][:, None, None], top[part][:, None, None]
                x_mm, y_mm = ((corner + k) / scale for corner, k in ((corner_x, kx), (corner_y, ky)))
                flat = (corner_y * columns + corner_x) + (ky * columns + kx)
                yield _Batch(part.astype(np.int32), x_mm.astype(np.float32), y_mm.astype(np.float32), flat)


def _rounded(size: NDArray[np.int64]) -> NDArray[np.int64]:
    """Sizes in coarse steps (about a twelfth), so that many windows share one."""
    step = np.maximum(4, 2 ** np.floor(np.log2(np.maximum(size, 16)) - 3).astype(np.int64))
    return np.asarray(-(-size // step) * step, dtype=np.int64)
