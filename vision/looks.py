"""What networks say of places and bodies of one shot: the shot's pictures, its light and its scale, held together once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.light import sample_grid
from vision.net import Net
from vision.patches import Bodies, Pictures, halvings, patches_at, turned_at
from vision.types import FloatArray, Light, Shot

SIGMA_OF_WIDTH = 0.38
"""The smoothing at which a body stands out most, in its widths."""


@dataclass(frozen=True)
class Spots:
    """Where to look, and how wide: rows, columns and smoothings (n,) in shot pixels."""

    row_px: NDArray[np.float64]
    column_px: NDArray[np.float64]
    sigma_px: NDArray[np.float64]


@dataclass(frozen=True)
class Views:
    """`pictures`: a shot and its halvings; `log_level` (gh, gw, 3): log10 light of its ground, as in Light; the shot's scale or None."""

    pictures: Pictures
    log_level: FloatArray
    px_per_mm: float | None

    def of(self, spots: Spots) -> tuple[NDArray[np.uint8], FloatArray, NDArray[np.float64], NDArray[np.float64]]:
        """What a network is shown of spots (n,): patches (n, 2, s, s, 3), level (n, 3) and the smoothings in pixels and in
        millimetres (n,), the latter NaN where the scale is unknown."""
        patches = patches_at(self.pictures, spots.row_px, spots.column_px, spots.sigma_px)
        return patches, *self._beside(spots.row_px, spots.column_px, spots.sigma_px)

    def along(self, bodies: Bodies) -> tuple[NDArray[np.uint8], FloatArray, NDArray[np.float64], NDArray[np.float64]]:
        """The same of outlined bodies (n,): patches (n, 1, s, s, 3) turned along them."""
        sigma_px = SIGMA_OF_WIDTH * np.maximum(bodies.width_px, 1.0)
        return turned_at(self.pictures, bodies), *self._beside(bodies.row_px, bodies.column_px, sigma_px)

    def _beside(
        self, row_px: NDArray[np.float64], column_px: NDArray[np.float64], sigma_px: NDArray[np.float64]
    ) -> tuple[FloatArray, NDArray[np.float64], NDArray[np.float64]]:
        rows, columns = np.rint(row_px).astype(np.intp), np.rint(column_px).astype(np.intp)
        level = sample_grid(self.log_level, rows, columns, self.pictures[0].shape[:2])
        sigma_mm = np.full(len(rows), np.nan) if self.px_per_mm is None else sigma_px / self.px_per_mm
        return level, sigma_px, sigma_mm


@dataclass(frozen=True)
class Looks:
    """Networks and a shot's views: `net` for places, `of_bodies` for what has been outlined, any number of them."""

    net: Net
    views: Views
    of_bodies: tuple[Net, ...] = ()

    def at(self, spots: Spots) -> NDArray[np.float32]:
        """Log odds (n,) that an insect of its size lies at each spot."""
        return self.net.raw(*self.views.of(spots))

    def along(self, bodies: Bodies) -> NDArray[np.float32]:
        """Log odds (n,) that each body is an insect: the mean of what the networks say, NaN where there is none."""
        if not self.of_bodies:
            return np.full(len(bodies.row_px), np.nan, np.float32)
        seen = self.views.along(bodies)
        return np.asarray(np.mean([net.raw(*seen) for net in self.of_bodies], axis=0), dtype=np.float32)


def views_of(shot: Shot, light: Light, px_per_mm: float | None) -> Views:
    """What can be looked at in a shot; `px_per_mm` is the shot's own scale or None."""
    return Views(halvings(shot.pixels), light.log_level, px_per_mm)
