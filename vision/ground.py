"""The ground's own light, from the shot itself or from a profile: what density is measured against.

The picture is read on a coarse grid of medians, so that specks do not count. The ground is the largest smooth stretch, bright
before dark (a panel, a white tray), grown over everything that lies on one smooth surface of light with it; bright because
the usual ground is, smooth because produce is not. A quadratic in log light carries the level across produce.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import EvenLight, FloatArray, MaskArray

_SAMPLES = 5
"""Each cell is judged by 5 x 5 of its pixels: enough for a median, cheap at any picture size."""
_QUARTILES = tuple((_SAMPLES**2 - 1) * k // 4 for k in (1, 2, 3))
"""Where a cell's quartiles stand among its pixels put in order: exactly on one each."""
_SMOOTH_STEP = 0.02
"""Largest change of density from cell to cell on one ground."""
_SAME_GROUND = 0.07
"""Largest density against the fitted surface that still reads as the ground."""
_BRIGHT_FIRST = 0.7
"""Exponent by which a brighter stretch outweighs a larger one: ten times the light counts five times the area."""


@dataclass(frozen=True)
class Cells:
    """A coarse grid over the picture. `log` (gh, gw, 3) float32: median log light; `texture` (gh, gw) float32: its spread."""

    log: FloatArray
    texture: FloatArray


def read_cells(log_light: FloatArray, cell_px: float) -> Cells:
    """Cells of about `cell_px` working pixels from (3, h, w) log light; at least one cell each way."""
    h, w = log_light.shape[1:]
    gh, gw = max(1, round(h / cell_px)), max(1, round(w / cell_px))
    rows = np.minimum(((np.arange(gh * _SAMPLES) + 0.5) * h / (gh * _SAMPLES)).astype(int), h - 1)
    cols = np.minimum(((np.arange(gw * _SAMPLES) + 0.5) * w / (gw * _SAMPLES)).astype(int), w - 1)
    picked = log_light[:, rows[:, None], cols].reshape(3, gh, _SAMPLES, gw, _SAMPLES)
    picked = picked.transpose(1, 3, 0, 2, 4).reshape(gh, gw, 3, _SAMPLES**2)
    picked.sort(axis=3)
    low, middle, high = (picked[..., place].astype(np.float64) for place in _QUARTILES)
    spread = (high - low).mean(axis=2) / 1.349  # interquartile range of a normal spread, in sigmas
    return Cells(middle.astype(np.float32), spread.astype(np.float32))


def _terms(gh: int, gw: int) -> NDArray[np.float64]:
    y, x = np.mgrid[0:gh, 0:gw]
    y, x = (y + 0.5) / gh * 2 - 1, (x + 0.5) / gw * 2 - 1
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)


def _fit(log: FloatArray, mask: MaskArray) -> FloatArray:
    """Quadratic surface per channel through the masked cells; a constant where there are too few of them."""
    gh, gw = mask.shape
    terms = _terms(gh, gw)
    used = terms[mask.ravel()]
    values = log.reshape(-1, 3)[mask.ravel()].astype(np.float64)
    if len(used) < 30:
        return np.broadcast_to(np.median(values, axis=0), (gh, gw, 3)).astype(np.float32)
    weights = np.ones(len(used))
    for _ in range(4):
        # A little ridge keeps the surface flat where a strip of ground says nothing of the far side.
        lhs = (used * weights[:, None]).T @ used + np.diag([0.0, 1, 1, 3, 3, 3]) * 1e-2 * weights.sum()
        coefficients = np.linalg.solve(lhs, (used * weights[:, None]).T @ values)
        error = np.abs(values - used @ coefficients).max(axis=1)
        weights = 1 / np.maximum(error / 0.03, 1)
    return np.asarray((terms @ coefficients).reshape(gh, gw, 3), dtype=np.float32)


def _first_guess(cells: Cells) -> MaskArray:
    grey = cells.log.mean(axis=2)
    gy, gx = np.gradient(grey) if min(grey.shape) > 1 else (np.zeros_like(grey), np.zeros_like(grey))
    calm = max(0.015, 2.0 * float(np.percentile(cells.texture, 20)))
    smooth = (np.hypot(gy, gx) < _SMOOTH_STEP) & (cells.texture < calm)
    count, labels = cv2.connectedComponents(smooth.astype(np.uint8), connectivity=4)
    if count < 2:
        return np.asarray(grey >= np.percentile(grey, 70))
    means = np.array([grey[labels == k].mean() for k in range(1, count)])
    areas = np.bincount(labels.ravel(), minlength=count)[1:]
    best = int(np.argmax(areas * 10 ** (_BRIGHT_FIRST * (means - means.max()))))
    return np.asarray(labels == best + 1)


def find_level(cells: Cells, even_light: EvenLight | None) -> tuple[FloatArray, MaskArray]:
    """The ground's log light (gh, gw, 3) float32 on the cells' grid, and which cells show bare ground (gh, gw) bool.

    With a profile's even light its shape is kept and only its height, one number a channel, is taken from the shot (exposure
    and colour balance differ from shot to shot).
    """
    gh, gw = cells.texture.shape
    ground = _first_guess(cells)
    shape = np.zeros((gh, gw, 3), np.float32)
    if even_light is not None:
        level = cv2.resize(even_light.level, (gw, gh), interpolation=cv2.INTER_LINEAR)
        shape = np.log10(np.maximum(level.reshape(gh, gw, 3), 1e-4)).astype(np.float32)
    flat = cells.log - shape
    calm = 3.0 * float(np.median(cells.texture[ground])) + 0.02
    surface = np.zeros_like(flat)
    for _ in range(3):
        if even_light is not None:
            surface = np.broadcast_to(np.median(flat[ground], axis=0), flat.shape).astype(np.float32)
        else:
            surface = _fit(flat, ground)
        off = np.abs(flat - surface).max(axis=2)
        grown = (off < _SAME_GROUND) & (cells.texture < calm)
        if grown.sum() < 8:
            break
        ground = grown
    return _follow(flat, surface, ground) + shape, np.asarray(ground)


def _follow(flat: FloatArray, surface: FloatArray, ground: MaskArray) -> FloatArray:
    """The fitted surface bent to the bare cells near by, so that an uneven panel reads flat; produce is bridged by the fit."""
    weight = ground.astype(np.float32)
    error = np.where(ground[..., None], flat - surface, 0).astype(np.float32)
    blurred_weight = cv2.GaussianBlur(weight, (0, 0), 2.0)
    bend = cv2.GaussianBlur(error, (0, 0), 2.0).reshape(error.shape) / (blurred_weight + 0.05)[..., None]
    return np.asarray(surface + bend, dtype=np.float32)
