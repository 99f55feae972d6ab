"""Sharpness from whatever edges a shot has: an estimate, for shots without a slip.

Where the light changes most, the picture is read across the edge. Bodies are soft by themselves or lie out of focus, but none is
sharper than the shot; so of all edges of one direction the sharper ones count. Their widths by direction give the blur's second
moments, and with them whether the shot moved.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sharpness import moved_or_soft
from vision.light import linear_light
from vision.types import FloatArray, Sharpness

_TILE_PX = 192
_TILES = 24
_REACH_PX = 9.0
_STEP_PX = 0.5
_SMOOTH_PX = 0.7
_MOST_EDGES = 6000
_BINS = 12
_LEAST_IN_BIN = 12
_LEAST_BINS = 4
_BINS_FOR_MOTION = 9
_SHARPER = 20
"""Percentile of an edge's width, of those of one direction."""
_ADDED = _SMOOTH_PX**2 + 1 / 6
"""Variance that the smoothing and reading between pixels add."""
_RISE = 2 * 0.99446
"""Distance from 16 to 84 % of an edge blurred by a Gaussian of standard deviation 1."""
MTF50_OF_BLUR = 0.18739
_ONE_WAY = 2.8
_LEAST_SMEAR_PX = 3.4


def own_sharpness(pixels: NDArray[Any]) -> Sharpness | None:
    """An estimate from a shot's own edges; `pixels` (h, w, 3) sRGB, uint8 or uint16. None where it has too few of them."""
    widths, angles = [], []
    for tile in _tiles(pixels):
        light = linear_light(tile).mean(axis=2)
        width, angle = _edges(cv2.GaussianBlur(light, (0, 0), _SMOOTH_PX))
        widths.append(width)
        angles.append(angle)
    if not widths:
        return None
    moments, directions = _moments(np.concatenate(widths), np.concatenate(angles))
    if moments is None:
        return None
    blur = float(np.sqrt(np.sqrt(max(float(np.linalg.det(moments)), 0.02))))
    # Of few directions one may be soft by chance.
    one_way = _ONE_WAY if directions >= _BINS_FOR_MOTION else np.inf
    smear, direction, defocus = moved_or_soft(moments, one_way, _LEAST_SMEAR_PX)
    mtf50 = MTF50_OF_BLUR / blur
    return Sharpness(blur, mtf50, None, 0.0, False, False, smear, direction, defocus)


def _tiles(pixels: NDArray[Any]) -> list[NDArray[Any]]:
    """The tiles of a shot with the most contrast in them."""
    h, w = pixels.shape[:2]
    if min(h, w) < 48:
        return []
    step = max(1, min(h, w) // 400)
    grey = pixels[::step, ::step, 1].astype(np.float32)
    energy = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    rows, columns = max(1, h // _TILE_PX), max(1, w // _TILE_PX)
    mean = cv2.resize(np.minimum(energy, np.percentile(energy, 99.5)), (columns, rows), interpolation=cv2.INTER_AREA)
    order = np.argsort(-mean.ravel(), kind="stable")[:_TILES]
    return [
        pixels[r * h // rows : (r + 1) * h // rows, c * w // columns : (c + 1) * w // columns]
        for r, c in zip(*np.unravel_index(order, (rows, columns)), strict=True)
    ]


def _edges(light: FloatArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Variance (n,) across each edge in square pixels, and direction (n,) of its normal in radians."""
    gx, gy = (cv2.Scharr(light, cv2.CV_32F, dx, 1 - dx) / 32 for dx in (1, 0))
    size = np.hypot(gx, gy)
    margin = int(_REACH_PX) + 2
    inner = np.zeros(size.shape, bool)
    inner[margin:-margin, margin:-margin] = True
    ridge = size >= cv2.dilate(size, np.ones((3, 3), np.uint8)) - 1e-9
    strong = inner & ridge & (size > max(float(np.percentile(size, 90)), 0.004))
    y, x = np.nonzero(strong)
    if len(x) > _MOST_EDGES // _TILES:
        best = np.argsort(-size[y, x], kind="stable")[: _MOST_EDGES // _TILES]
        y, x = y[best], x[best]
    if not len(x):
        return np.zeros(0), np.zeros(0)
    away = np.arange(-_REACH_PX, _REACH_PX + 0.01, _STEP_PX, dtype=np.float32)
    nx, ny = gx[y, x] / size[y, x], gy[y, x] / size[y, x]
    across = cv2.remap(
        light, (x[:, None] + nx[:, None] * away).astype(np.float32), (y[:, None] + ny[:, None] * away).astype(np.float32),
        cv2.INTER_LINEAR,
    )  # fmt: skip
    return _widths(across.astype(np.float64), np.arctan2(ny, nx).astype(np.float64))


def _widths(across: NDArray[np.float64], angle: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Of profiles (n, m) that are steps: a flat side, a rise, a flat side."""
    m = across.shape[1]
    side = m // 4
    low, high = np.median(across[:, :side], axis=1), np.median(across[:, -side:], axis=1)
    step = high - low
    share = (across - low[:, None]) / np.maximum(step, 1e-6)[:, None]
    flat = np.maximum(share[:, :side].std(axis=1), share[:, -side:].std(axis=1))
    good = (step > 0.02) & (flat < 0.09) & (share.max(axis=1) < 1.35) & (share.min(axis=1) > -0.35)
    share = np.maximum.accumulate(share[good], axis=1)
    if not len(share):
        return np.zeros(0), np.zeros(0)
    rise = _crossing(share, 0.8413) - _crossing(share, 0.1587)
    return np.maximum((rise * _STEP_PX / 2) ** 2 - _ADDED, 0.04), angle[good]


def _crossing(share: NDArray[np.float64], level: float) -> NDArray[np.float64]:
    """Where rising profiles (n, m) reach a level, in samples."""
    k = np.clip((share < level).sum(axis=1), 1, share.shape[1] - 1)
    rows = np.arange(len(share))
    before, after = share[rows, k - 1], share[rows, k]
    return np.asarray(k - 1 + np.clip((level - before) / np.maximum(after - before, 1e-9), 0, 1))


def _moments(variance: NDArray[np.float64], angle: NDArray[np.float64]) -> tuple[NDArray[np.float64] | None, int]:
    """Covariance (2, 2) of the blur, None where edges of too few directions are seen; and the number of directions."""
    which = np.floor((angle % np.pi) / np.pi * _BINS).astype(int) % _BINS
    rows, values = [], []
    for k in range(_BINS):
        own = which == k
        if own.sum() >= _LEAST_IN_BIN:
            a = (k + 0.5) * np.pi / _BINS
            rows.append([np.cos(a) ** 2, 2 * np.cos(a) * np.sin(a), np.sin(a) ** 2])
            values.append(float(np.percentile(variance[own], _SHARPER)))
    if len(rows) < _LEAST_BINS:
        return None, len(rows)
    table, seen = np.array(rows), np.array(values)
    weight = np.ones(len(seen))
    found: NDArray[Any] = np.zeros(3)
    for _ in range(4):
        found = np.linalg.lstsq(table * weight[:, None], seen * weight, rcond=None)[0]
        off = np.abs(seen - table @ found)
        weight = 1 / (1 + (off / max(float(np.median(off)) * 2, 0.05)) ** 2)
    xx, xy, yy = found
    widths, vectors = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]))
    return np.asarray(vectors @ np.diag(np.maximum(widths, 0.05)) @ vectors.T), len(rows)
