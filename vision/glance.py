"""Places that stand out, and what a first glance at each tells, before anything is cut out or measured.

A textured shot has thousands of such places and time for a few hundred closer looks. A glance reads the scale maps at the place
alone, for all places at once: how it stands out at finer and coarser scales, in which colour, on what, and whether it is a
point or a ridge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scales import ScaleMap
from vision.types import FloatArray, Surfaces

LEAST_GROUND = 5.0
LEAST_PRODUCE = 3.6
"""Signal to noise from which a place is one. Five is the figure usually given to Rose for reliable seeing; on produce texture,
not noise, makes the list."""
_MOST_PER_SCALE = 1200
_NEIGHBOURS = (-4, -3, -2, -1, 1, 2, 3, 4)
"""Steps of scale that a glance compares with the place's own."""

GLANCES: tuple[str, ...] = (
    "signal", *(f"signal_{n:+d}" for n in _NEIGHBOURS), "red", "green", "blue", "red_green", "blue_green",
    *(f"{c}_{n:+d}" for n in (-2, 2, 4) for c in ("red_green", "blue_green", "luminance")),
    "below_red", "below_green", "below_blue", "noise", "ridge", "sharpness", "scale_mm", "on_produce",
)  # fmt: skip


@dataclass(frozen=True)
class Places:
    """Local maxima of signal over space and scale, strongest first: arrays (n,). `row`, `column` in working pixels."""

    signal: NDArray[np.float32]
    scale: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]

    def take(self, order: NDArray[np.int64]) -> Places:
        """The places of these indices, in their order."""
        return Places(self.signal[order], self.scale[order], self.row[order], self.column[order])


def find_places(maps: list[ScaleMap], surfaces: Surfaces) -> Places:
    """All places of a shot: strongest in their 3 x 3 neighbourhood and not weaker than one scale finer or coarser."""
    found: list[tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]] = []
    for n, scale in enumerate(maps):
        signal = scale.signal
        peak = (signal >= cv2.dilate(signal, np.ones((3, 3), np.uint8))) & (signal > LEAST_PRODUCE)
        rows, columns = np.nonzero(peak)
        step = 2**scale.level
        y, x = rows * step, columns * step
        value = signal[rows, columns]
        keep = surfaces.produce[y, x] | (value > LEAST_GROUND)
        # A flat-topped body stands out equally at all scales up to its own, and its own is the one that sees it whole.
        for near, share in ((n - 1, 0.95), (n + 1, 1.0)):
            if 0 <= near < len(maps):
                keep &= value >= share * maps[near].signal_at(y, x)
        value, y, x = value[keep], y[keep], x[keep]
        if len(value) > _MOST_PER_SCALE:
            top = np.sort(np.argsort(-value, kind="stable")[:_MOST_PER_SCALE])
            value, y, x = value[top], y[top], x[top]
        found.append((value, np.full(len(value), n), y, x))
    signal, scale_of, row, column = (np.concatenate([f[k] for f in found]) for k in range(4))
    order = np.lexsort((column, row, scale_of, -signal))
    return Places(signal, scale_of.astype(np.int64), row, column).take(order)


def glance_at(
    places: Places, maps: list[ScaleMap], below: FloatArray, surfaces: Surfaces, px_per_mm: float | None
) -> NDArray[np.float32]:
    """What a glance tells of each place: (n, len(GLANCES)) float32. `below` (n, 3): density of the surface it lies on."""
    out = np.zeros((len(places.row), len(GLANCES)), np.float32)
    for n, scale in enumerate(maps):
        at = places.scale == n
        if at.any():
            out[at] = _glance(n, scale, places.row[at], places.column[at], maps, below[at], surfaces, px_per_mm)
    return out


def _glance(
    n: int, scale: ScaleMap, y: NDArray[np.int64], x: NDArray[np.int64], maps: list[ScaleMap], below: FloatArray,
    surfaces: Surfaces, px_per_mm: float | None,
) -> NDArray[np.float32]:  # fmt: skip
    on_produce = surfaces.produce[y, x]
    signal = np.maximum(scale.signal_at(y, x), 1e-3)
    others = [_signal(maps, n + k, y, x) / signal for k in _NEIGHBOURS]
    own = scale.smooth_at(y, x)
    contrast = np.maximum(np.abs(own).max(axis=1), 1e-4)
    beside = []
    for k in (-2, 2, 4):
        c = maps[n + k].smooth_at(y, x) if 0 <= n + k < len(maps) else np.zeros_like(own)
        beside += [(c[:, 0] - c[:, 1]) / contrast, (c[:, 2] - c[:, 1]) / contrast, c.mean(axis=1) / contrast]
    ridge, sharp = _curvature(scale, y, x)
    mm = np.full(len(y), np.nan if px_per_mm is None else scale.sigma_px / px_per_mm)
    return np.stack(
        [
            np.log10(signal), *others, own[:, 0], own[:, 1], own[:, 2], (own[:, 0] - own[:, 1]) / contrast,
            (own[:, 2] - own[:, 1]) / contrast, *beside, below[:, 0], below[:, 1], below[:, 2],
            np.log10(contrast / signal), ridge, sharp, mm, on_produce.astype(float),
        ], axis=1,
    ).astype(np.float32)  # fmt: skip


def _signal(maps: list[ScaleMap], n: int, y: NDArray[np.int64], x: NDArray[np.int64]) -> NDArray[np.float32]:
    return maps[n].signal_at(y, x) if 0 <= n < len(maps) else np.zeros(len(y), np.float32)


def _curvature(
    scale: ScaleMap, y: NDArray[np.int64], x: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Smaller over larger curvature of the signal at its peak (0 for a ridge, 1 for a point), and how sharp the peak is."""
    s = scale.signal
    h, w = s.shape
    i = np.clip(y >> scale.level, 1, h - 2)
    j = np.clip(x >> scale.level, 1, w - 2)
    yy = s[i - 1, j] - 2 * s[i, j] + s[i + 1, j]
    xx = s[i, j - 1] - 2 * s[i, j] + s[i, j + 1]
    xy = (s[i + 1, j + 1] - s[i + 1, j - 1] - s[i - 1, j + 1] + s[i - 1, j - 1]) / 4
    middle, half = (yy + xx) / 2, np.hypot((yy - xx) / 2, xy)
    steep, shallow = middle - half, middle + half
    ridge = shallow / np.where(np.abs(steep) < 1e-6, -1e-6, steep)
    return np.clip(ridge, -1, 1), -steep / np.maximum(s[i, j], 1e-3)
