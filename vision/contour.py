"""Size and shape of one outline, from the grey-level contour: names as in ISO 9276-6.

The contour runs where the contrast is half, found between pixels by linear interpolation (marching squares), because counting
pixel edges overstates a perimeter by up to a tenth. All lengths are in the pixels of the field.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage import measure

_ANGLES = np.deg2rad(np.arange(180))
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)])


@dataclass(frozen=True)
class Form:
    """What an outline measures, in pixels of its field; `points` (n, 2) float64 holds x, y and is closed without repetition."""

    points: NDArray[np.float64]
    area: float
    perimeter: float
    max_feret: float
    min_feret: float
    hull_area: float

    @property
    def equivalent_diameter(self) -> float:
        """Diameter of the disc of the same area."""
        return float(np.sqrt(4 * self.area / np.pi))

    @property
    def circularity(self) -> float:
        """sqrt(4 pi A) / P: 1 for a disc, less for everything else."""
        return float(min(1.0, np.sqrt(4 * np.pi * self.area) / self.perimeter))

    @property
    def aspect_ratio(self) -> float:
        """min_feret / max_feret."""
        return self.min_feret / self.max_feret

    @property
    def solidity(self) -> float:
        """A / area of the convex hull."""
        return float(min(1.0, self.area / self.hull_area))

    @property
    def fibre(self) -> tuple[float, float]:
        """Length and width of the bent rod with round ends that has this area and this perimeter.

        With u the length between the centres of its ends, P = 2u + pi W and A = uW + pi W^2 / 4, hence u = sqrt(P^2 - 4 pi A) / 2.
        """
        u = np.sqrt(max(self.perimeter**2 - 4 * np.pi * self.area, 0.0)) / 2
        width = (self.perimeter - 2 * u) / np.pi
        return float(width + u), float(width)


def trace(field: NDArray[Any], level: float = 0.5) -> Form | None:
    """The largest closed contour of `field` (h, w) at `level`; None where nothing reaches it.

    What lies outside of the field counts as zero, so that a body cut by the picture's edge still has a closed outline.
    """
    padded = cv2.copyMakeBorder(np.asarray(field, dtype=np.float64), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0.0)
    best: NDArray[np.float64] | None = None
    best_area = 0.0
    for line in measure.find_contours(padded, level):  # type: ignore[no-untyped-call]
        points = line[:-1, ::-1] - 1.0
        area = _area(points) if len(points) >= 3 else 0.0
        if area > best_area:
            best, best_area = points, area
    return None if best is None else form_of(best)


def form_of(points: NDArray[np.float64]) -> Form:
    """Measures of a closed polygon of x, y points (n, 2)."""
    steps = np.concatenate([points[1:], points[:1]]) - points
    perimeter = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    # The widths of a polygon are those of its convex hull, and projections need no hull.
    spans = points @ _DIRECTIONS
    widths = spans.max(axis=0) - spans.min(axis=0)
    max_feret, min_feret = float(widths.max()), float(widths.min())
    return Form(points, _area(points), perimeter, max_feret, max(min_feret, 1e-6), max(_hull_area(points), 1e-9))


def _area(points: NDArray[np.float64]) -> float:
    x, y = points[:, 0], points[:, 1]
    return float(abs(x[:-1] @ y[1:] - y[:-1] @ x[1:] + x[-1] * y[0] - y[-1] * x[0]) / 2)


def _hull_area(points: NDArray[np.float64]) -> float:
    return float(cv2.contourArea(cv2.convexHull(points.astype(np.float32))))
