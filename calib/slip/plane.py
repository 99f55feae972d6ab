"""A plane seen through a lens without distortion: the homography from millimetres to pixels, with what is known of its error.

Fitted by least squares on the places as seen (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, 4.2 and 5.2), with
weights that fall for points that do not belong (Huber).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.slip.view import Points

_HUBER = 2.0
_STEPS = 12


@dataclass(frozen=True)
class Plane:
    """`to_px` (3, 3), [2, 2] = 1, takes (x_mm - middle) to pixels; `covariance` (8, 8) of its first eight entries."""

    to_px: NDArray[np.float64]
    covariance: NDArray[np.float64]
    middle_mm: Points

    def at(self, points_mm: Points) -> Points:
        """(n, 2) pixels of (n, 2) millimetres; NaN at and behind the horizon."""
        w = self._depth(points_mm)
        flat = (points_mm - self.middle_mm) @ self.to_px[:2, :2].T + self.to_px[:2, 2]
        return np.asarray(flat / np.where(w > 1e-3, w, np.nan)[:, None])

    def steps(self, points_mm: Points) -> NDArray[np.float64]:
        """(n, 2, 2): pixels along (row) x and y for a millimetre along (column) x and y, at each point."""
        w = self._depth(points_mm)[:, None, None]
        place = self.at(points_mm)
        return np.asarray((self.to_px[None, :2, :2] - place[:, :, None] * self.to_px[None, 2:3, :2]) / w)

    def sigma_px(self, points_mm: Points) -> NDArray[np.float64]:
        """(n,): standard deviation of each point's place, the larger of both coordinates."""
        jacobian = _jacobian(self.to_px, points_mm - self.middle_mm)
        spread = np.einsum("nik,kl,nil->ni", jacobian, self.covariance, jacobian)
        return np.asarray(np.sqrt(np.maximum(spread.max(axis=1), 0)))

    def _depth(self, points_mm: Points) -> NDArray[np.float64]:
        return np.asarray((points_mm - self.middle_mm) @ self.to_px[2, :2] + 1)

    @property
    def whole(self) -> NDArray[np.float64]:
        """(3, 3) from millimetres of the piece to pixels."""
        shift = np.eye(3)
        shift[:2, 2] = -self.middle_mm
        both = self.to_px @ shift
        return np.asarray(both / both[2, 2])


def fit_plane(points_mm: Points, points_px: Points, sigma_px: NDArray[np.float64]) -> Plane | None:
    """The plane through at least four points (n, 2), each known to `sigma_px` (n,); None where they do not fix one."""
    middle = points_mm.mean(axis=0)
    mm = points_mm - middle
    p = _straight(mm, points_px)
    if p is None:
        return None
    weight = 1 / sigma_px
    for _ in range(_STEPS):
        residual = points_px - _seen(p, mm)
        length = np.hypot(residual[:, 0], residual[:, 1]) * weight
        # Of the usual length where the errors are larger than said, so that a bent piece still gets its best plane.
        usual = max(float(np.median(length)) / 1.18, 1.0)
        keep = np.minimum(1, _HUBER * usual / np.maximum(length, 1e-9)) * weight**2
        jacobian = _jacobian(p, mm)
        normal = np.einsum("nik,n,nil->kl", jacobian, keep, jacobian)
        side = np.einsum("nik,n,ni->k", jacobian, keep, residual)
        scale = 1 / np.sqrt(np.maximum(np.diag(normal), 1e-300))
        try:
            step = scale * np.linalg.solve(normal * np.outer(scale, scale), scale * side)
        except np.linalg.LinAlgError:
            return None
        flat = p.ravel()[:8] + step
        p = np.append(flat, 1.0).reshape(3, 3)
        if not np.isfinite(p).all():
            return None
        if np.abs(step * np.sqrt(np.diag(normal))).max() < 1e-3:
            break
    inverse = np.outer(scale, scale) * np.linalg.pinv(normal * np.outer(scale, scale), hermitian=True)
    return Plane(p, inverse * usual**2, middle)


def _straight(mm: Points, px: Points) -> NDArray[np.float64] | None:
    """A first plane from the linear equations, both sides brought to about unit size."""
    if len(mm) < 4:
        return None
    size_mm, middle_px = float(np.abs(mm).max()), px.mean(axis=0)
    size_px = float(np.abs(px - middle_px).max())
    if size_mm <= 0 or size_px <= 0 or not np.isfinite(px).all():
        return None
    x, y = (mm / size_mm).T
    u, v = ((px - middle_px) / size_px).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=1),
            np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=1),
        ]
    )
    values, vectors = np.linalg.eigh(rows.T @ rows)
    if values[1] < 1e-12 * values[8]:
        return None
    unit = vectors[:, 0].reshape(3, 3)
    back = np.array([[size_px, 0, middle_px[0]], [0, size_px, middle_px[1]], [0, 0, 1]])
    found = back @ unit @ np.diag([1 / size_mm, 1 / size_mm, 1])
    return None if abs(found[2, 2]) < 1e-12 else np.asarray(found / found[2, 2])


def _seen(p: NDArray[np.float64], mm: Points) -> Points:
    homogeneous = mm @ p[:, :2].T + p[:, 2]
    return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:])


def _jacobian(p: NDArray[np.float64], mm: Points) -> NDArray[np.float64]:
    """(n, 2, 8): change of the seen place with the first eight entries of the homography."""
    x, y = mm[:, 0], mm[:, 1]
    w = p[2, 0] * x + p[2, 1] * y + 1
    seen = _seen(p, mm)
    out = np.zeros((len(mm), 2, 8))
    for i in range(2):
        out[:, i, 3 * i] = x / w
        out[:, i, 3 * i + 1] = y / w
        out[:, i, 3 * i + 2] = 1 / w
        out[:, i, 6] = -seen[:, i] * x / w
        out[:, i, 7] = -seen[:, i] * y / w
    return out
