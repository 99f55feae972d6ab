"""From a few known points of a piece to all of its saddle points, as far as they can be seen.

Saddle points whose place is known well enough are measured, the plane is fitted anew, and more of them can be told. A print
that is not flat is followed by what its measured points lie off the plane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.slip.layout import CHEQUER_MM, Piece
from calib.slip.plane import Plane, fit_plane
from calib.slip.saddles import Crossings, fit_crossings
from calib.slip.view import Points

_WORKING_PX_PER_MM = 7.0
_SOFTEN_PX = 0.9
_KNOWN_WELL = 0.16
"""In chequers: standard deviation of a predicted place from which its saddle point can be told."""
_ROUNDS = 8
_TRIES = 3
_OFF_CENTRE_PX = 1.0
"""A point found farther than this from the middle of its patch is measured again from there."""
_FAINT = 0.35
"""Of the usual contrast: below it, something lies on the point."""
_ENOUGH = 16
"""Saddle points from which on the markers' own corners are no longer needed."""
_OUTLIER = 4.5
_OUTLIER_PX = 0.15


@dataclass(frozen=True)
class Known:
    """Points that are known already: (n, 2) millimetres, (n, 2) pixels, (n,) standard deviation in pixels."""

    mm: Points
    px: Points
    sigma_px: NDArray[np.float64]


@dataclass(frozen=True)
class Measured:
    """All saddle points of a piece: places (n, 2), sigma (n,), which are good (n,); and the plane through those."""

    plane: Plane
    places_px: Points
    sigma_px: NDArray[np.float64]
    good: NDArray[np.bool_]


def grown(grey: NDArray[np.uint8], piece: Piece, plane: Plane, known: Known) -> Measured | None:
    """Measures the saddle points of a piece of which `known` is known; None where they do not fix a plane."""
    look = _Look(grey, piece, plane)
    saddles = piece.saddles_mm
    n = len(saddles)
    places, sigma, contrast = np.full((n, 2), np.nan), np.full(n, np.inf), np.zeros(n)
    good, settled, tried = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool), np.zeros(n, dtype=int)
    for _ in range(_ROUNDS):
        expected, steps = plane.at(saddles), plane.steps(saddles)
        expected = expected + _pull(saddles, places - expected, good)
        chequer_px = CHEQUER_MM * np.sqrt(np.abs(np.linalg.det(steps)))
        with np.errstate(invalid="ignore"):
            todo = ~settled & (tried < _TRIES) & (plane.sigma_px(saddles) < _KNOWN_WELL * chequer_px)
        if not todo.any():
            break
        found = look.at(expected[todo], steps[todo], piece.saddle_signs[todo])
        tried[todo] += 1
        places[todo], sigma[todo], contrast[todo], good[todo] = (
            found.places_px,
            found.sigma_px,
            np.abs(found.contrast),
            found.good,
        )
        if good.any():
            good &= contrast > _FAINT * np.median(contrast[good])
        settled = good & (np.linalg.norm(places - expected, axis=1) < _OFF_CENTRE_PX * look.step) | (settled & good)
        fitted = _plane_through(saddles[good], places[good], sigma[good], known)
        if fitted is None:
            return None
        plane = fitted
    if good.sum() < 4:
        return None
    return _without_outliers(piece, Measured(plane, places, sigma, good))


class _Look:
    """The piece's surroundings, at a resolution at which a chequer is about 8 to 17 pixels wide."""

    def __init__(self, grey: NDArray[np.uint8], piece: Piece, plane: Plane) -> None:
        scale = float(np.sqrt(np.abs(np.linalg.det(plane.steps(plane.middle_mm[None]))[0])))
        self.step = max(1, min(int(scale / _WORKING_PX_PER_MM), min(grey.shape) // 8))
        self._left, self._top, cut = _surroundings(grey, piece, plane)
        h, w = max(cut.shape[0] // self.step, 1), max(cut.shape[1] // self.step, 1)
        if self.step > 1:
            part = cut[: h * self.step, : w * self.step]
            cut = np.asarray(cv2.resize(part, (w, h), interpolation=cv2.INTER_AREA), dtype=np.uint8)
        # A border as sharp as a pixel has the pixel's own form; softened, it has the one that is fitted.
        self._grey = np.asarray(cv2.GaussianBlur(cut, (0, 0), _SOFTEN_PX), dtype=np.uint8)

    def at(self, expected: Points, steps: NDArray[np.float64], signs: NDArray[np.float64]) -> Crossings:
        """The saddle points near (n, 2), in pixels of the shot."""
        k = self.step
        corner = np.array([self._left, self._top]) + (k - 1) / 2
        found = fit_crossings(self._grey, (expected - corner) / k, steps / k, signs)
        return replace(found, places_px=found.places_px * k + corner, sigma_px=found.sigma_px * k)


def _surroundings(grey: NDArray[np.uint8], piece: Piece, plane: Plane) -> tuple[int, int, NDArray[np.uint8]]:
    """Left, top and pixels of the part of the picture in which the piece can lie; all of it where little is known yet."""
    corners = plane.at(piece.outline_mm)
    room = 5 * plane.sigma_px(piece.outline_mm).max() + 0.1 * np.ptp(corners, axis=0).max() + 8
    if not np.isfinite(room):
        return 0, 0, grey
    h, w = grey.shape
    x0, y0 = np.clip(np.floor(corners.min(axis=0) - room), 0, [w - 1, h - 1]).astype(int)
    x1, y1 = np.clip(np.ceil(corners.max(axis=0) + room), 1, [w, h]).astype(int)
    return (0, 0, grey) if x1 <= x0 or y1 <= y0 else (int(x0), int(y0), grey[y0:y1, x0:x1])


def _plane_through(mm: Points, px: Points, sigma: NDArray[np.float64], known: Known) -> Plane | None:
    if len(mm) < _ENOUGH:
        mm, px = np.concatenate([mm, known.mm]), np.concatenate([px, known.px])
        sigma = np.concatenate([sigma, known.sigma_px])
    return fit_plane(mm, px, sigma)


def _pull(saddles: Points, residual: Points, good: NDArray[np.bool_]) -> Points:
    """(n, 2): how far the print lies off the plane near each point, from the measured ones near it."""
    if good.sum() < _ENOUGH:
        return np.zeros_like(saddles)
    away = np.linalg.norm(saddles[:, None] - saddles[None, good], axis=2)
    weight = 1 / (away + 1.0) ** 3
    return np.asarray(weight @ residual[good] / weight.sum(axis=1, keepdims=True))


def _without_outliers(piece: Piece, found: Measured) -> Measured:
    """Leaves out what lies off a smooth surface through the points, and brings sigma to the scatter about it.

    The fit's own sigma counts the tone curve and sharpening as noise, which they are not; the scatter says what is true.
    """
    good = found.good.copy()
    if good.sum() < 2 * _ENOUGH:
        return found
    residual = found.places_px - found.plane.at(piece.saddles_mm)
    columns = _surface_columns(piece)
    weight = good / np.where(good, found.sigma_px, 1.0)
    off = np.zeros(len(good))
    usual = 1.0
    for _ in range(4):
        best, *_ = np.linalg.lstsq(
            columns * weight[:, None], np.where(good[:, None], residual, 0) * weight[:, None], rcond=None
        )
        off = np.where(good, np.linalg.norm(residual - columns @ best, axis=1), 0)
        ratio = off[good] / found.sigma_px[good]
        # The median of a Rayleigh distribution is 1.177 standard deviations.
        usual = float(np.median(ratio)) / 1.177
        wide = np.maximum(usual * found.sigma_px, 1e-6)
        weight = good / np.where(good, found.sigma_px, 1.0) * np.minimum(1, 2.5 * wide / np.maximum(off, 1e-9))
    good &= off < np.maximum(_OUTLIER * usual * found.sigma_px, _OUTLIER_PX)
    sigma = found.sigma_px * float(np.clip(usual, 0.05, 3.0))
    plane = fit_plane(piece.saddles_mm[good], found.places_px[good], sigma[good])
    return Measured(plane or found.plane, found.places_px, np.maximum(sigma, 0.005), good)


def _surface_columns(piece: Piece) -> NDArray[np.float64]:
    """(n, k): a smooth surface's terms, up to the third power along a long piece and the second otherwise."""
    half = np.array([piece.wide_mm, piece.high_mm]) / 2
    x, y = ((piece.saddles_mm - half) / half).T
    powers = [(a, b) for a in range(4) for b in range(2)] if piece.wide_mm > 2 * piece.high_mm else _SECOND
    return np.stack([x**a * y**b for a, b in powers], axis=1)


_SECOND = [(a, b) for a in range(3) for b in range(3) if a + b <= 2]
