"""From pixels to millimetres on the ground's plane, with what is known of the errors.

A plane seen by a camera is a homography (Hartley and Zisserman, Multiple View Geometry, 2nd ed. 2004, chapter 8; from memory);
errors go through first derivatives (GUM, linear propagation). A place beyond the horizon, or where the lens's polynomial folds
back, has no millimetres: everything about it is NaN.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from vision.types import GroundMap, Lens

Points = NDArray[np.float64]

_NEWTON_STEPS = 30
_NEAREST_HORIZON = 1e-6
_DIRECTIONS = np.deg2rad(np.arange(0, 180, 15))
_REACH_PX = np.geomspace(10, 20000, 80)


def straightened(lens: Lens | None, points_px: Points) -> Points:
    """Points (n, 2) where a lens without distortion would show them; NaN where the lens shows nothing."""
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    if lens is None or (lens.k1 == 0 and lens.k2 == 0):
        return points
    middle = np.array([lens.centre_x_px, lens.centre_y_px])
    seen = (points - middle) / lens.focal_px
    far = np.hypot(seen[:, 0], seen[:, 1])
    r = far.copy()
    with np.errstate(all="ignore"):
        for _ in range(_NEWTON_STEPS):
            step = (r * _factor(lens, r) - far) / _stretch(lens, r)
            r = r - step
            if not np.nanmax(np.abs(step), initial=0.0) > 1e-14:
                break
        good = (np.abs(r * _factor(lens, r) - far) < 1e-9) & (r >= 0) & (r <= _fold(lens))
        share = np.where(good, np.where(far > 0, r / np.where(far > 0, far, 1), 1.0), np.nan)
    return np.asarray(middle + seen * share[:, None] * lens.focal_px)


def distorted(lens: Lens | None, points_px: Points) -> Points:
    """The reverse of `straightened`; NaN where the lens's polynomial has folded back."""
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    if lens is None:
        return points
    middle = np.array([lens.centre_x_px, lens.centre_y_px])
    x = (points - middle) / lens.focal_px
    r = np.hypot(x[:, 0], x[:, 1])
    factor = np.where(r <= _fold(lens), _factor(lens, r), np.nan)
    return np.asarray(middle + x * factor[:, None] * lens.focal_px)


def _factor(lens: Lens, r: Points) -> Points:
    return np.asarray(1 + lens.k1 * r**2 + lens.k2 * r**4)


def _stretch(lens: Lens, r: Points) -> Points:
    """Change of the radius as seen with the straight one."""
    return np.asarray(1 + 3 * lens.k1 * r**2 + 5 * lens.k2 * r**4)


def _fold(lens: Lens) -> float:
    """The radius from which on a longer one would be seen nearer."""
    # 1 + 3 k1 u + 5 k2 u^2 = 0 for u = r^2, in the form that holds for a small or missing k2, too.
    within = 9 * lens.k1**2 - 20 * lens.k2
    if within < 0:
        return math.inf
    below = [-3 * lens.k1 + sign * math.sqrt(within) for sign in (1, -1)]
    return math.sqrt(min((2 / b for b in below if b > 0), default=math.inf))


def _straight_steps(lens: Lens | None, straight: Points) -> Points:
    """(n, 2, 2): change of the straightened place with the shot's pixels."""
    if lens is None or (lens.k1 == 0 and lens.k2 == 0):
        return np.broadcast_to(np.eye(2), (len(straight), 2, 2))
    x = (straight - (lens.centre_x_px, lens.centre_y_px)) / lens.focal_px
    r = np.hypot(x[:, 0], x[:, 1])
    bend = 2 * lens.k1 + 4 * lens.k2 * r**2
    forth = _factor(lens, r)[:, None, None] * np.eye(2) + bend[:, None, None] * x[:, :, None] * x[:, None, :]
    out = np.full_like(forth, np.nan)
    good = np.isfinite(forth).all(axis=(1, 2))
    out[good] = np.linalg.inv(forth[good])
    return out


def _depths(ground_map: GroundMap, straight: Points) -> Points:
    """(n,) third homogeneous coordinate, 1 at the point where the scale is quoted; NaN at and beyond the horizon."""
    last = ground_map.to_mm[2]
    middle = straightened(ground_map.lens, np.array([[ground_map.x_px, ground_map.y_px]]))[0]
    own = straight @ last[:2] + last[2]
    share = own / (middle @ last[:2] + last[2])
    return np.asarray(np.where(share > _NEAREST_HORIZON, own, np.nan))


def ground_mm(ground_map: GroundMap, points_px: Points) -> Points:
    """Places (n, 2) in millimetres of points (n, 2) of the upright shot."""
    straight = straightened(ground_map.lens, points_px)
    flat = straight @ ground_map.to_mm[:2, :2].T + ground_map.to_mm[:2, 2]
    return np.asarray(flat / _depths(ground_map, straight)[:, None])


def ground_px(ground_map: GroundMap, points_mm: Points) -> Points:
    """The reverse of `ground_mm`: pixels (n, 2) of the upright shot, NaN for places behind the camera or that no lens shows."""
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    out = np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(ground_map.to_mm).T
    straight = out[:, :2] / np.where(out[:, 2:] == 0, np.nan, out[:, 2:])
    return distorted(ground_map.lens, np.where(np.isfinite(_depths(ground_map, straight))[:, None], straight, np.nan))


def jacobian_mm_per_px(ground_map: GroundMap, points_px: Points) -> Points:
    """(n, 2, 2): how millimetres change with pixels of the shot at each point, [[dx/dpx, dx/dpy], [dy/dpx, dy/dpy]]."""
    straight = straightened(ground_map.lens, points_px)
    w = _depths(ground_map, straight)[:, None, None]
    place = (straight @ ground_map.to_mm[:2, :2].T + ground_map.to_mm[:2, 2])[:, :, None] / w
    steps = (ground_map.to_mm[:2, :2] - place * ground_map.to_mm[2, :2]) / w
    return np.asarray(steps @ _straight_steps(ground_map.lens, straight))


def px_per_mm_at(ground_map: GroundMap, points_px: Points) -> Points:
    """(n,): geometric mean of the two local scales."""
    steps = jacobian_mm_per_px(ground_map, points_px)
    return np.asarray(1 / np.sqrt(np.abs(steps[:, 0, 0] * steps[:, 1, 1] - steps[:, 0, 1] * steps[:, 1, 0])))


def place_slopes(ground_map: GroundMap, points_px: Points) -> Points:
    """(n, 2, 8): change of each place in millimetres with the first eight entries of `to_mm`."""
    straight = straightened(ground_map.lens, points_px)
    w = _depths(ground_map, straight)
    place = ground_mm(ground_map, points_px)
    row = np.column_stack([straight, np.ones(len(straight))]) / w[:, None]
    out = np.zeros((len(row), 2, 8))
    for i in range(2):
        out[:, i, 3 * i : 3 * i + 3] = row
        out[:, i, 6:] = -place[:, i, None] * row[:, :2]
    return out


def _jacobian_slopes(ground_map: GroundMap, points_px: Points) -> Points:
    """(n, 2, 2, 8): change of `jacobian_mm_per_px` with the first eight entries of `to_mm`."""
    straight = straightened(ground_map.lens, points_px)
    w = _depths(ground_map, straight)
    place = ground_mm(ground_map, points_px)
    steps = (ground_map.to_mm[:2, :2] - place[:, :, None] * ground_map.to_mm[2, :2]) / w[:, None, None]
    last = ground_map.to_mm[2, :2]
    row = np.column_stack([straight, np.ones(len(straight))]) / w[:, None]
    unit = np.eye(3)[:, :2]
    out = np.zeros((len(row), 2, 2, 8))
    # Of row / w, along the two directions of the picture.
    turned = (unit.T[None] - row[:, None, :] * last[None, :, None]) / w[:, None, None]
    for i in range(2):
        out[:, i, :, 3 * i : 3 * i + 3] = turned
        out[:, i, :, 6:] = -steps[:, i, :, None] * row[:, None, :2] - place[:, i, None, None] * turned[:, :, :2]
    return np.asarray(np.einsum("nidk,nde->niek", out, _straight_steps(ground_map.lens, straight)))


def length_slopes(steps_mm: Points, changes: Points) -> Points:
    """(n, d, k): relative change of a short length with each of k numbers, in d directions of the picture.

    `steps_mm` (n, 2, 2) as of `jacobian_mm_per_px`; `changes` (n, 2, 2, k): their change with the numbers.
    """
    way = np.stack([np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)])
    along = steps_mm @ way
    change = np.einsum("niek,ed->nidk", changes, way)
    return np.asarray(np.einsum("nid,nidk->ndk", along, change) / (along**2).sum(axis=1)[:, :, None])


def relative_length_error(ground_map: GroundMap, points_px: Points) -> Points:
    """(n,): relative standard uncertainty of a short length at each point, in the direction where it is largest."""
    slopes = length_slopes(jacobian_mm_per_px(ground_map, points_px), _jacobian_slopes(ground_map, points_px))
    variance = np.einsum("ndk,kl,ndl->nd", slopes, ground_map.covariance, slopes)
    return np.asarray(np.sqrt(np.maximum(variance, 0).max(axis=1)))


def place_error_mm(ground_map: GroundMap, points_px: Points) -> Points:
    """(n,): standard uncertainty of each place against the point where the scale is quoted, in the worst direction."""
    centre = np.array([[ground_map.x_px, ground_map.y_px]])
    slopes = place_slopes(ground_map, points_px) - place_slopes(ground_map, centre)
    spread = np.einsum("nik,kl,njl->nij", slopes, ground_map.covariance, slopes)
    out = np.full(len(spread), np.nan)
    good = np.isfinite(spread).all(axis=(1, 2))
    out[good] = np.sqrt(np.maximum(np.linalg.eigvalsh(spread[good])[:, 1], 0))
    return out


def reach_mm(ground_map: GroundMap, limit: float = 0.05) -> float:
    """How far from the place where the scale is quoted a length is known within `limit`, in the direction where that ends first."""
    centre = np.array([[ground_map.x_px, ground_map.y_px]])
    angles = np.deg2rad(np.arange(0, 360, 15))
    points = centre + (_REACH_PX[:, None, None] * np.stack([np.cos(angles), np.sin(angles)], axis=1)).reshape(-1, 2)
    far = np.hypot(*(ground_mm(ground_map, points) - ground_mm(ground_map, centre)).T)
    within = (relative_length_error(ground_map, points) <= limit) & np.isfinite(far)
    if ground_map.lens is not None:
        # Beyond the picture the lens's polynomial means nothing, and nothing is to be measured there.
        size = (ground_map.lens.width_px - 1, ground_map.lens.height_px - 1)
        within |= ((points < 0) | (points > size)).any(axis=1)
    within, far = within.reshape(len(_REACH_PX), -1), far.reshape(len(_REACH_PX), -1)
    reached = [np.nanmax(np.append(column[: _run(good)], 0.0)) for column, good in zip(far.T, within.T, strict=True)]
    return float(min(reached))


def _run(good: NDArray[np.bool_]) -> int:
    """How many are true before the first that is not."""
    return len(good) if good.all() else int(np.argmin(good))


def height_excess(height_mm: float, distance_mm: float) -> float:
    """How much too long, relatively, something reads that stands `height_mm` over the plane under a camera `distance_mm` above it.

    By similar triangles (thin-lens perspective): distance / (distance - height) - 1. Raises ValueError for a height at or above
    the camera.
    """
    if not 0 <= height_mm < distance_mm:
        raise ValueError("the height lies between the plane and the camera")
    return height_mm / (distance_mm - height_mm)


def laid(to_mm: Points, covariance: Points, x_px: float, y_px: float, lens: Lens | None) -> GroundMap:
    """Any map of the plane, turned and moved into the lie that GroundMap's own description asks for; never mirrored.

    `to_mm` (3, 3) and `covariance` (8, 8) of its first eight entries once the last one is 1.
    """
    raw = np.asarray(to_mm, dtype=np.float64) / to_mm[2, 2]
    spread = np.asarray(covariance, dtype=np.float64)
    first = GroundMap(raw, spread, x_px, y_px, lens)
    if np.linalg.det(jacobian_mm_per_px(first, np.array([[x_px, y_px]]))[0]) < 0:
        raw = np.diag([1.0, -1.0, 1.0]) @ raw
        flip = np.diag([1.0, 1, 1, -1, -1, -1, 1, 1])
        spread = flip @ spread @ flip
    # One entry at a time, by as much as it is known, or by what its rounding leaves of a central difference.
    entries = raw.ravel()[:8]
    size = np.array([1, 1, 1e3, 1, 1, 1e3, 1e-3, 1e-3]) * np.abs(np.linalg.det(raw[:2, :2])) ** np.array(
        [0.5] * 6 + [0] * 2
    )
    steps = np.maximum(np.sqrt(np.maximum(np.diag(spread), 0)) * 0.1, size * 1e-6)
    slopes = [
        (_in_place(entries + d, x_px, y_px, lens) - _in_place(entries - d, x_px, y_px, lens)) / (2 * d.sum())
        for d in np.diag(steps)
    ]
    turned = np.stack(slopes, axis=1)
    out = np.append(_in_place(entries, x_px, y_px, lens), 1.0).reshape(3, 3)
    return GroundMap(out, turned @ spread @ turned.T, x_px, y_px, lens)


def _in_place(entries: Points, x_px: float, y_px: float, lens: Lens | None) -> Points:
    """The first eight entries of a map after turning and moving it."""
    matrix = np.append(entries, 1.0).reshape(3, 3)
    centre = np.array([[x_px, y_px]])
    given = GroundMap(matrix, np.zeros((8, 8)), x_px, y_px, lens)
    slope = jacobian_mm_per_px(given, centre)[0]
    scale = 1 / np.sqrt(abs(np.linalg.det(slope)))
    angle = -np.arctan2(slope[1, 0], slope[0, 0])
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    move = np.eye(3)
    move[:2, 2] = centre[0] / scale - turn[:2, :2] @ ground_mm(given, centre)[0]
    out = move @ turn @ matrix
    return np.asarray((out / out[2, 2]).ravel()[:8])
