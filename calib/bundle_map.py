"""The fit of a plane -> the map of vision/types.py, its eight numbers carrying the errors of all that was fitted."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from calib.bundle import Bundle
from vision.geometry import (
    Points,
    ground_mm,
    jacobian_mm_per_px,
    laid,
    length_slopes,
    place_slopes,
    relative_length_error,
)
from vision.types import GroundMap, Lens

_GRID = 9


def map_of(bundle: Bundle, known: Lens | None, at_px: Points, width_px: int, height_px: int) -> GroundMap:
    """The map, laid about `at_px` (2,). `known`: the lens that the points were straightened by; None: the fit's own.

    A lens's errors are no homography's: the covariance of the eight entries comes as near as it can, and is widened until places
    and lengths are, in the mean over the picture, said to be as uncertain as they are.
    """

    def given(values: Points, covariance: Points) -> GroundMap:
        k1, k2 = values[bundle.sight.size : bundle.sight.size + 2]
        lens = bundle.lens_at(values, width_px, height_px) if known is None and (k1 != 0 or k2 != 0) else known
        return GroundMap(bundle.to_mm_at(values), covariance, float(at_px[0]), float(at_px[1]), lens)

    own = given(bundle.values, np.zeros((8, 8)))
    x, y = np.meshgrid(np.linspace(0, width_px - 1, _GRID), np.linspace(0, height_px - 1, _GRID))
    grid = np.concatenate([np.column_stack([x.ravel(), y.ravel()]), at_px[None]])
    grid = grid[np.isfinite(ground_mm(own, grid)).all(axis=1)]
    used = np.flatnonzero(np.diag(bundle.covariance) > 0)
    spread = bundle.covariance[np.ix_(used, used)]
    places, steps = _moves(bundle, used, given, grid)
    # Far places are off by more and would rule the eight numbers: each counts by its own scale.
    weight = 1 / np.sqrt(np.abs(np.linalg.det(jacobian_mm_per_px(own, grid))))
    a, h = places * weight[:, None, None], place_slopes(own, grid) * weight[:, None, None]
    flat = h.reshape(-1, 8)
    size = np.linalg.norm(flat, axis=0)
    entries = np.linalg.lstsq(flat / size, a.reshape(len(flat), -1), rcond=1e-13)[0] / size[:, None]
    told = entries @ spread @ entries.T
    lengths = length_slopes(jacobian_mm_per_px(own, grid), steps)
    true = np.einsum("ndk,kl,ndl->nd", lengths, spread, lengths).max(axis=1)
    said = relative_length_error(given(bundle.values, told), grid) ** 2
    more = max(1.0, _ratio(_apart(a, spread), _apart(h, told)), _ratio(true, said))
    return laid(own.to_mm, told * more, own.x_px, own.y_px, own.lens)


def _moves(
    bundle: Bundle, used: NDArray[np.intp], given: Callable[[Points, Points], GroundMap], grid: Points
) -> tuple[Points, Points]:
    """(n, 2, k) and (n, 2, 2, k): change of places and of their slopes with each used value."""
    places, steps = [], []
    for k in used:
        d = np.zeros_like(bundle.values)
        d[k] = max(0.1 * np.sqrt(bundle.covariance[k, k]), 1e-9)
        ahead, behind = (given(bundle.values + sign * d, np.zeros((8, 8))) for sign in (1, -1))
        places.append((ground_mm(ahead, grid) - ground_mm(behind, grid)) / (2 * d[k]))
        steps.append((jacobian_mm_per_px(ahead, grid) - jacobian_mm_per_px(behind, grid)) / (2 * d[k]))
    return np.nan_to_num(np.stack(places, axis=2)), np.nan_to_num(np.stack(steps, axis=3))


def _apart(slopes: Points, covariance: Points) -> Points:
    """(n,): variance of each place against the last one."""
    own = slopes - slopes[-1]
    return np.asarray(np.einsum("nik,kl,nil->n", own, covariance, own))


def _ratio(true: Points, said: Points) -> float:
    return float(np.mean(true) / max(float(np.mean(said)), 1e-300))
