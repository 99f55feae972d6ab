"""How a place differs from other places of its size near by: buds look like each other, an insect does not look like a bud."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.arrays import medians_of_known
from vision.rarity import colour_axes
from vision.types import FloatArray

ALIKE: tuple[str, ...] = (
    "odd_luminance", "odd_red_green", "odd_blue_green", "oddness", "odd_signal", "neighbours_away",
)  # fmt: skip
_NEIGHBOURS = 14
_OF_ANOTHER_SIZE = 6.0
"""How many of its own scales (standard deviations) a neighbour twice as large or small counts as farther away."""
_OWN_BODY = 2.5
"""Nearer than this many scales another maximum belongs to the same body."""
_NO_LESS = 0.01
"""Spread of density among neighbours below which they are all alike."""


def differ_from_neighbours(
    row: NDArray[np.int64],
    column: NDArray[np.int64],
    sigma_px: NDArray[np.float64],
    density: FloatArray,
    signal: NDArray[np.float32],
) -> NDArray[np.float32]:
    """What ALIKE names, for places of one surface (n,): (n, len(ALIKE)) float32. `density` (n, 3) is each place's own colour."""
    n = len(row)
    out = np.zeros((n, len(ALIKE)), np.float32)
    if n < 4:
        return out
    middle = float(np.exp(np.log(sigma_px).mean()))
    places = np.stack([column, row, np.log2(sigma_px) * _OF_ANOTHER_SIZE * middle], axis=1)
    count = min(_NEIGHBOURS + 4, n)
    away, near = cKDTree(places).query(places, k=count)
    flat = np.hypot(column[near] - column[:, None], row[near] - row[:, None])
    other = flat > _OWN_BODY * sigma_px[:, None]
    colours = colour_axes(density)
    seen = np.where(other[..., None], colours[near], np.nan)
    strength = np.where(other, np.log10(np.maximum(signal, 1e-3))[near], np.nan)
    enough = other.sum(axis=1) >= 3
    if not enough.any():
        return out
    middle_colour = medians_of_known(seen[enough], axis=1)
    spread = 1.4826 * medians_of_known(np.abs(seen[enough] - middle_colour[:, None]), axis=1) + _NO_LESS
    difference = colours[enough] - middle_colour
    out[enough, :3] = difference
    out[enough, 3] = np.log1p(np.sqrt(((difference / spread) ** 2).sum(axis=1)))
    out[enough, 4] = np.log10(np.maximum(signal[enough], 1e-3)) - medians_of_known(strength[enough], axis=1)
    out[:, 5] = np.log10(np.maximum(away[:, -1] / sigma_px, 1e-3))
    return out
