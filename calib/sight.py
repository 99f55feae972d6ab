"""Two ways to say how a camera sees a plane: as a camera with what is usual for cameras as a prior, and as a free homography."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from vision.geometry import Points

_STEEPEST = 0.999
"""Sine of the steepest tilt."""


class Sight(Protocol):
    """How the plane is seen, as a vector of numbers."""

    @property
    def size(self) -> int:
        """Of the vector."""
        ...

    @property
    def focal_px(self) -> float:
        """By which radii are divided where k1 and k2 are sought."""
        ...

    def start(self, to_px: Points) -> Points:
        """The vector for a first guess of the homography (3, 3) from the plane's millimetres to straightened pixels."""
        ...

    def seen(self, values: Points) -> Points:
        """(12,): the matrix from millimetres to rays (row by row), the focal length and the axis's place in pixels."""
        ...

    def prior(self, values: Points) -> Points:
        """How far the vector is from what is usual, in standard deviations; linear."""
        ...


@dataclass(frozen=True)
class Camera:
    """Square pixels, the axis near `middle` (2,), a focal length near `focal_px` with the relative spread `focal_spread`.

    The vector: logarithm of the focal length over `focal_px`; the axis from `middle` over `long_px`; then what the picture itself
    shows well, so that the search goes straight: place of the plane's origin in pixels over `long_px`, logarithm of the scale
    there, how the scale changes per millimetre along both axes of the plane (the homography's last row), and the turn.
    """

    middle: Points
    long_px: float
    focal_px: float
    focal_spread: float
    centre_spread: float
    size: int = 9

    def start(self, to_px: Points) -> Points:
        fall, place = to_px[2, :2], to_px[:2, 2]
        flat = to_px[:2, :2] - np.outer(self.middle, fall)
        det = max(float(np.linalg.det(flat)), 1e-12)
        scale = np.sqrt(det)
        for _ in range(8):
            # Tilted, the plane is foreshortened by the cosine.
            sine = min(float(np.linalg.norm(fall)) * self.focal_px / scale, 0.9)
            scale = np.sqrt(det / np.sqrt(1 - sine**2))
        turn = np.arctan2(flat[1, 0] - flat[0, 1], flat[0, 0] + flat[1, 1])
        return np.concatenate([np.zeros(3), (place - self.middle) / self.long_px, [np.log(scale)], fall, [turn]])

    def seen(self, values: Points) -> Points:
        focal = self.focal_px * np.exp(min(max(values[0], -6.0), 6.0))
        centre = self.middle + values[1:3] * self.long_px
        far = focal / np.exp(values[5])
        x, y = values[6] * far, values[7] * far
        sine = np.hypot(x, y)
        if sine > _STEEPEST:
            x, y, sine = x * _STEEPEST / sine, y * _STEEPEST / sine, _STEEPEST
        # The smallest turn whose last row is (x, y, cosine), then the turn in the picture.
        cosine = np.sqrt(1 - sine**2)
        t = 1 / (1 + cosine)
        c, s = np.cos(values[8]), np.sin(values[8])
        xx, xy, yy = 1 - t * x * x, -t * x * y, 1 - t * y * y
        ray = (self.middle + values[3:5] * self.long_px - centre) / focal * far
        return np.array(
            [
                c * xx - s * xy,
                c * xy - s * yy,
                ray[0],
                s * xx + c * xy,
                s * xy + c * yy,
                ray[1],
                x,
                y,
                far,
                focal,
                *centre,
            ]
        )

    def prior(self, values: Points) -> Points:
        return np.asarray(values[:3] / np.array([self.focal_spread, self.centre_spread, self.centre_spread]))


@dataclass(frozen=True)
class Free:
    """Any homography; the lens is told with `focal_px` and about `middle`, as neither shows in one plane."""

    middle: Points
    focal_px: float
    size: int = 8

    def start(self, to_px: Points) -> Points:
        k = np.array([[self.focal_px, 0, self.middle[0]], [0, self.focal_px, self.middle[1]], [0, 0, 1.0]])
        rays = np.linalg.inv(k) @ to_px
        return np.asarray((rays / rays[2, 2]).ravel()[:8])

    def seen(self, values: Points) -> Points:
        return np.concatenate([values, [1.0, self.focal_px], self.middle])

    def prior(self, values: Points) -> Points:
        return np.zeros(0)
