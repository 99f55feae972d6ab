"""Where four chequers meet, to a few hundredths of a pixel.

A patch of the picture round the predicted place is fitted by least squares with two crossing blurred edges on a slope of light:
a + g.d + b e(u/s) e(v/s), where u and v are the distances from the two borders and e is the Gaussian's integral. The patch's
weights and the model are the same under a half turn about the point, as is the true picture of it whatever the blur, the tone
curve and the sharpening: what the model lacks of these turns over onto itself and does not move the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from calib.slip.layout import CHEQUER_MM
from calib.slip.view import Points
from vision.types import FloatArray

_REACH = 0.8
"""How far the fitted patch reaches, in chequers."""
_WIDEST_PX = 60.0
_ITERATIONS = 5
_COLUMNS = 7
_FARTHEST = 0.4
"""In chequers: a point that comes to lie farther from where it was looked for is another one."""
_MISFIT = 0.3
"""Root mean square of what the model leaves, over the contrast, above which something lies on the point."""
_BLURRED = 1.3
"""Neighbouring pixels of a photograph share their noise: the fit's own error is too small by about this much."""
_FLOOR_PX = 0.008


@dataclass(frozen=True)
class Crossings:
    """Fits of n saddle points: places (n, 2), sigma (n,), signed contrast (n,) in grey levels, blur (n,) and whether good."""

    places_px: Points
    sigma_px: NDArray[np.float64]
    contrast: NDArray[np.float64]
    blur_px: NDArray[np.float64]
    good: NDArray[np.bool_]


def fit_crossings(
    grey: NDArray[np.uint8], expected_px: Points, steps_px: NDArray[np.float64], signs: NDArray[np.float64]
) -> Crossings:
    """Fits the saddle points expected at (n, 2) in `grey` (h, w) uint8.

    `steps_px` (n, 2, 2): pixels a millimetre, as Plane.steps. `signs` (n,): 1 where the chequers before and behind along both
    axes are black. Points whose patch leaves the picture or is far too large, or that are NaN, are not good.
    """
    n = len(expected_px)
    out = Crossings(expected_px.copy(), np.full(n, np.inf), np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool))
    reach = _REACH * CHEQUER_MM * np.abs(steps_px).sum(axis=2)
    h, w = grey.shape
    fits = np.isfinite(expected_px).all(axis=1) & np.isfinite(reach).all(axis=1)
    with np.errstate(invalid="ignore"):
        fits &= (expected_px - reach >= 0).all(axis=1) & (expected_px + reach <= np.array([w - 1, h - 1])).all(axis=1)
        fits &= (np.abs(np.linalg.det(steps_px)) > 1.0) & (reach.max(axis=1) < _WIDEST_PX)
    if not fits.any():
        return out
    found = _fit(grey, expected_px[fits], steps_px[fits])
    for whole, part in zip(
        (out.places_px, out.sigma_px, out.contrast, out.blur_px, out.good),
        (found.places_px, found.sigma_px, found.contrast, found.blur_px, found.good),
        strict=True,
    ):
        whole[fits] = part
    out.good[:] &= np.sign(out.contrast) == -signs
    return out


def _fit(grey: NDArray[np.uint8], expected: Points, steps: NDArray[np.float64]) -> Crossings:
    start = np.rint(expected)
    offsets = _offsets(steps)
    columns = np.clip(start[:, 0, None].astype(int) + offsets[:, 0], 0, grey.shape[1] - 1)
    rows = np.clip(start[:, 1, None].astype(int) + offsets[:, 1], 0, grey.shape[0] - 1)
    value = grey[rows, columns].astype(np.float32)
    back = np.linalg.inv(steps)
    slope = np.linalg.norm(back, axis=2)
    normal = (back / slope[:, :, None]).astype(np.float32)
    reach = (_REACH * CHEQUER_MM / slope).astype(np.float32)
    cell = CHEQUER_MM / slope.max(axis=1)

    centre, blur = expected - start, np.maximum(0.12 * cell, 0.7)
    near = offsets.astype(np.float32)
    design, weight = _model(near, centre, blur, normal, reach)
    # The light and the contrast first: the columns of place and blur need them.
    contrast = _solved(design[:, :4], weight, value)[1][:, 1]
    for iteration in range(_ITERATIONS):
        if iteration:
            design, weight = _model(near, centre, blur, normal, reach)
        size = np.where(contrast < 0, -1, 1) * np.maximum(np.abs(contrast), 1e-3)
        design[:, 4:] *= size.astype(np.float32)[:, None, None]
        matrix, solved = _solved(design, weight, value)
        contrast = solved[:, 1]
        centre = centre + np.clip(solved[:, 4:6], -0.3 * cell[:, None], 0.3 * cell[:, None])
        blur = np.clip(blur + np.clip(solved[:, 6], -0.4 * blur, 0.4 * blur), 0.35, 0.45 * cell)
    residual = value - np.einsum("nk,nkm->nm", solved.astype(np.float32), design)
    spread = (weight * residual**2).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    error = _error(design, weight, matrix, spread)
    places = start + centre
    moved = np.hypot(*(places - expected).T)
    good = (np.sqrt(spread) < _MISFIT * np.abs(contrast)) & (moved < _FARTHEST * cell) & np.isfinite(error)
    return Crossings(places, np.hypot(_BLURRED * error, _FLOOR_PX), contrast, blur, good)


def _error(
    design: FloatArray, weight: FloatArray, matrix: NDArray[np.float64], spread: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(n,): standard deviation of either coordinate where all that is left over is noise from pixel to pixel."""
    weighted = design * weight[:, None, :]
    filling = (weighted @ weighted.transpose(0, 2, 1)).astype(np.float64) * spread[:, None, None]
    bread = np.linalg.pinv(matrix, hermitian=True)
    covariance = bread @ filling @ bread
    return np.asarray(np.sqrt(np.maximum(np.maximum(covariance[:, 4, 4], covariance[:, 5, 5]), 0)))


def _offsets(steps: NDArray[np.float64]) -> NDArray[np.int64]:
    """(m, 2) the pixels round a point that any of the points' patches holds."""
    back = np.linalg.inv(steps)
    half = int(np.ceil(_REACH * CHEQUER_MM * np.abs(steps).sum(axis=2).max())) + 1
    grid = np.arange(-half, half + 1)
    all_offsets = np.stack([part.ravel() for part in np.meshgrid(grid, grid)], axis=1)
    # The patches of one piece differ little: its middle and its far ends stand for all of them.
    few = back[np.unique(np.linspace(0, len(back) - 1, 5).astype(int))]
    inside = np.zeros(len(all_offsets), dtype=bool)
    for each in few:
        room = _REACH * CHEQUER_MM + 0.5 * np.abs(each).sum(axis=1)
        inside |= (np.abs(all_offsets @ each.T) < room).all(axis=1)
    return np.asarray(all_offsets[inside])


def _model(
    offsets: FloatArray,
    centre: Points,
    blur: NDArray[np.float64],
    normal: FloatArray,
    reach: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """(n, 7, m) the columns light, contrast, slope of light (2), place (2), log blur for a contrast of 1; and weights (n, m)."""
    near = centre.astype(np.float32)
    x, y = offsets[:, 0] - near[:, :1], offsets[:, 1] - near[:, 1:]
    u = normal[:, 0, :1] * x + normal[:, 0, 1:] * y
    v = normal[:, 1, :1] * x + normal[:, 1, 1:] * y
    weight = np.maximum(1 - (u / reach[:, :1]) ** 2, 0) * np.maximum(1 - (v / reach[:, 1:]) ** 2, 0)
    per_blur = (1 / (np.sqrt(2) * blur)).astype(np.float32)[:, None]
    u, v = u * per_blur, v * per_blur
    eu, ev = erf(u), erf(v)
    peak = np.float32(2 / np.sqrt(np.pi)) * per_blur
    along_u, along_v = peak * np.exp(-u * u) * ev, peak * np.exp(-v * v) * eu
    design = np.empty((len(x), _COLUMNS, x.shape[1]), np.float32)
    design[:, 0], design[:, 1], design[:, 2], design[:, 3] = 1, eu * ev, x, y
    design[:, 4] = -(normal[:, 0, :1] * along_u + normal[:, 1, :1] * along_v)
    design[:, 5] = -(normal[:, 0, 1:] * along_u + normal[:, 1, 1:] * along_v)
    design[:, 6] = -(u * along_u + v * along_v) / (per_blur * blur[:, None].astype(np.float32))
    return design, weight


def _solved(
    design: FloatArray, weight: FloatArray, value: FloatArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The normal equations' matrix (n, k, k) and weighted least squares (n, k), damped so that an empty patch gives zeros."""
    weighted = design * weight[:, None, :]
    matrix = (weighted @ design.transpose(0, 2, 1)).astype(np.float64)
    side = (weighted @ value[:, :, None]).astype(np.float64)
    k = range(design.shape[1])
    matrix[:, k, k] += matrix[:, k, k] * 1e-6 + 1e-6
    return matrix, np.asarray(np.linalg.solve(matrix, side)[:, :, 0])
