"""How much light is added to produce that does not come from it: the veil of steam, of a smeared lens, of stray light.

A surface of one colour in changing light and shade gives colours on a straight line through black (Lambert). Added colourless
light moves that line along the axis of white and leaves its direction as it is, so where the line misses black says how much was
added: the principle by which haze is estimated from the lines that the colours of a small window form (Fattal 2014, from memory).
Where produce is as colourless as the veil nothing is told, and such a window says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.conditions.coarse import Coarse
from vision.types import FloatArray

_WINDOW_PX = 13
_COLOURED = 0.97
"""Cosine between a window's line and the white axis above which its colour is too near the veil's."""
_LINE = 0.1
"""Variance across the line over that along it, at most."""
_SHADED = 0.07
"""Light and shade (standard deviation over mean) a window must have."""


@dataclass(frozen=True)
class Veil:
    """Veil in the windows that tell. `share` (n,) float64: added light over the ground's; `hue` (n, 3): the colour of what lies
    below, as a unit vector; `rows`, `cols` (n,): the windows' middles in coarse pixels."""

    share: NDArray[np.float64]
    hue: NDArray[np.float64]
    rows: NDArray[np.intp]
    cols: NDArray[np.intp]


def measure_veil(view: Coarse) -> Veil:
    """The veil over a shot's produce."""
    middle, step = _WINDOW_PX // 2, _WINDOW_PX // 2
    h, w = view.produce.shape
    whole = cv2.blur(view.produce.astype(np.float32), (_WINDOW_PX, _WINDOW_PX))[middle::step, middle::step] > 0.999
    rows, cols = np.nonzero(whole)
    rows, cols = rows * step + middle, cols * step + middle
    kept = (rows + middle < h) & (cols + middle < w)
    rows, cols = rows[kept], cols[kept]
    if not len(rows):
        return Veil(np.zeros(0), np.zeros((0, 3)), rows, cols)
    light: FloatArray = np.asarray(view.light / np.maximum(view.level, 1e-4), np.float32)
    mean, spread = _moments(light, rows, cols)
    values, vectors = np.linalg.eigh(spread)
    along = vectors[..., 2]
    long, across = values[:, 2], np.maximum(values[:, 1], 0)
    cosine = np.abs(along.sum(axis=1)) / np.sqrt(3)
    shaded = long > _SHADED**2 * (mean**2).sum(axis=1)
    telling = (cosine < _COLOURED) & (across < _LINE * long) & shaded
    mean, along = mean[telling], along[telling]
    # The point of the white axis the line comes nearest to: least squares for mean = share * white + t * along.
    off = mean - (mean * along).sum(axis=1, keepdims=True) * along
    white = 1 - along.sum(axis=1, keepdims=True) * along
    share = (off * white).sum(axis=1) / np.maximum((white * white).sum(axis=1), 1e-6)
    # Two materials side by side make a line too, which misses black; but no place can be darker than the veil over it.
    darkest = cv2.erode(light.min(axis=0), np.ones((_WINDOW_PX, _WINDOW_PX), np.uint8))[rows[telling], cols[telling]]
    hue = along * np.sign(along.sum(axis=1, keepdims=True))
    return Veil(np.minimum(share, darkest), hue, rows[telling], cols[telling])


def _moments(
    light: FloatArray, rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean colour (n, 3) and covariance (n, 3, 3) of the windows round the given pixels."""
    box = (_WINDOW_PX, _WINDOW_PX)
    planes = [cv2.blur(plane, box)[rows, cols] for plane in light]
    mean = np.stack(planes, axis=1).astype(float)
    spread = np.empty((len(rows), 3, 3))
    for a in range(3):
        for b in range(a, 3):
            product = cv2.blur(light[a] * light[b], box)[rows, cols] - mean[:, a] * mean[:, b]
            spread[:, a, b] = spread[:, b, a] = product
    return mean, spread
