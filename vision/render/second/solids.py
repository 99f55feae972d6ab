"""Bodies as rows of balls: their hull is a smooth solid, and the light's way through it follows from the balls themselves.

Seen from above, a ball of radius r is half as thick as the square root of r squared less d squared at a distance d from its middle;
the hull is as thick as the thickest ball there. So outlines are round, folds between swellings come of themselves, and lengths run
exactly from tip to tip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.render.second.spine import STEPS, Spine
from vision.render.second.stage import Stage
from vision.types import FloatArray

_GRID = np.linspace(0, 1, STEPS)
Swelling = tuple[float, float, float]
"""One ellipsoid of a body: its middle and half length as shares of the length, its width as a share of the widest."""


def swollen(length_mm: float, width_mm: float, swellings: list[Swelling], smooth: float = 0.012) -> NDArray[np.float64]:
    """Half widths (STEPS,) of ellipsoids in a row, their joints smoothed over a share of the length; the widest is exact."""
    bumps = [share * np.sqrt(np.clip(1 - ((_GRID - at) / half) ** 2, 0, None)) for at, half, share in swellings]
    radius = gaussian_filter1d(np.max(bumps, axis=0), smooth * STEPS, mode="nearest")
    return within_ends(radius * (width_mm / 2 / radius.max()), length_mm)


def ellipsoid(length_mm: float, width_mm: float, uneven: float, power: float) -> NDArray[np.float64]:
    """Radii (STEPS,) of the balls that fill an ellipsoid of revolution.

    `uneven` above 0 makes the tail end thicker; a `power` of 1 gives the ellipsoid, less one with blunter ends.
    """
    a, b = length_mm / 2, width_mm / 2
    s = (2 * _GRID - 1) * a
    # The largest ball inside an ellipse round a place s on its long axis: it touches where the normal through s meets it.
    radius = np.clip(1 - s**2 / (a * a - b * b), 0, None) ** (power / 2) * (1 + uneven * (_GRID - 0.5))
    return within_ends(radius * (b / radius.max()), length_mm)


def within_ends(radius_mm: NDArray[np.float64], length_mm: float) -> NDArray[np.float64]:
    """Radii that nowhere reach past either tip."""
    return np.minimum(radius_mm, np.minimum(_GRID, 1 - _GRID) * length_mm)


@dataclass(frozen=True)
class Balls:
    """A row of balls: middles (n, 2), radii (n,), shares of the length (n,), ways to the tail (n, 2)."""

    middle_mm: NDArray[np.float64]
    radius_mm: NDArray[np.float64]
    share: NDArray[np.float64]
    ahead: NDArray[np.float64]
    length_mm: float

    @property
    def extent(self) -> NDArray[np.float64]:
        return np.column_stack([self.middle_mm, self.radius_mm])


def balls(line: Spine, radius_mm: NDArray[np.float64], rough_mm: float = 0.002) -> Balls:
    """Balls along a line, so near each other that the hull is nowhere scalloped by more than `rough_mm`."""
    s = _GRID * line.length_mm
    # The end balls are those that touch the tips; none is needed beyond them.
    fits = radius_mm >= np.minimum(s, line.length_mm - s) * 0.999
    first = int(np.flatnonzero(fits[: STEPS // 2]).max(initial=0))
    last = int(STEPS // 2 + np.flatnonzero(fits[STEPS // 2 :]).min(initial=STEPS - 1 - STEPS // 2))
    chosen, place = [], s[first]
    while place < s[last]:
        chosen.append(place)
        r = float(np.interp(place, s, radius_mm))
        place += min(max(float(np.sqrt(8 * rough_mm * r)), 0.008), line.length_mm / 40)
    share = np.array([*chosen, s[last]]) / line.length_mm
    middle = np.stack([np.interp(share, _GRID, line.points_mm[:, k]) for k in (0, 1)], 1)
    ahead = np.stack([np.interp(share, _GRID, line.ahead[:, k]) for k in (0, 1)], 1)
    return Balls(middle, np.interp(share, _GRID, radius_mm), share, ahead, line.length_mm)


@dataclass(frozen=True)
class Inside:
    """The samples of a solid: where (k,), covered share, half thickness if it is round, and its own coordinates."""

    at: NDArray[np.int64]
    cover: FloatArray
    half_mm: FloatArray
    dome: FloatArray
    """1 over the middle line, 0 at the rim."""
    t: FloatArray
    """0 at the head, 1 at the tail."""
    q: FloatArray
    """-1..1 from left to right."""

    def round_angle(self, roll_rad: float) -> tuple[FloatArray, FloatArray]:
        """Angle round the body's axis from the middle of the back, of the upper and of the lower surface, -pi..pi."""
        side = np.arcsin(self.q)
        upper, lower = side - np.float32(roll_rad), np.float32(np.pi) - side - np.float32(roll_rad)
        return _wrapped(upper), _wrapped(lower)


def _wrapped(angle: FloatArray) -> FloatArray:
    turn = np.float32(2 * np.pi)
    return np.asarray(angle - turn * np.round(angle / turn), np.float32)


def inside(stage: Stage, row: Balls) -> Inside:
    """Which samples a row of balls fills, and how thick it is there."""
    low, high = (
        (row.middle_mm - row.radius_mm[:, None]).min(axis=0),
        (row.middle_mm + row.radius_mm[:, None]).max(axis=0),
    )
    top, bottom, left, right = stage.box(*low.tolist(), *high.tolist())
    xs, ys = stage.x_mm[left:right], stage.y_mm[top:bottom]
    best, owner = np.full((ys.size, xs.size), -1e9, np.float32), np.zeros((ys.size, xs.size), np.int16)
    for i, ((x, y), r) in enumerate(zip(row.middle_mm.tolist(), row.radius_mm.tolist(), strict=True)):
        r0, r1, c0, c1 = stage.box(x - r, y - r, x + r, y + r)
        own = slice(r0 - top, r1 - top), slice(c0 - left, c1 - left)
        dy, dx = ys[own[0]] - np.float32(y), xs[own[1]] - np.float32(x)
        h2 = (np.float32(r * r) - dy * dy)[:, None] - (dx * dx)[None, :]
        more = h2 > best[own]
        np.copyto(best[own], h2, where=more)
        np.copyto(owner[own], i, where=more, casting="unsafe")
    near = np.flatnonzero(best > -1e8)
    h2, k = best.ravel()[near], owner.ravel()[near]
    radius = row.radius_mm.astype(np.float32)[k]
    beyond = radius - np.sqrt(np.maximum(radius**2 - h2, 0))
    cover = np.clip(beyond * np.float32(stage.per_mm) + np.float32(0.5), 0, 1)
    keep = cover > 0
    near, h2, k, radius, cover = near[keep], h2[keep], k[keep], radius[keep], cover[keep]
    middle, ahead = row.middle_mm.astype(np.float32)[k], row.ahead.astype(np.float32)[k]
    rows, columns = np.divmod(near, xs.size)
    dx, dy = xs[columns] - middle[:, 0], ys[rows] - middle[:, 1]
    t = row.share.astype(np.float32)[k] + (dx * ahead[:, 0] + dy * ahead[:, 1]) / np.float32(row.length_mm)
    q = (dy * ahead[:, 0] - dx * ahead[:, 1]) / np.maximum(radius, np.float32(1e-4))
    half = np.sqrt(np.maximum(h2, 0))
    dome = half / np.maximum(radius, np.float32(1e-4))
    at = (rows + top) * stage.x_mm.size + columns + left
    return Inside(at, cover, half, np.clip(dome, 0, 1), np.clip(t, 0, 1), np.clip(q, -1, 1))
