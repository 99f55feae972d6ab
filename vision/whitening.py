"""How far each place of a smoothed picture stands out: whitening by the local covariance of its three channels.

With c the smoothed difference (3,) at a pixel and C the robust covariance of such differences round it, m = sqrt(c' C^-1 c) is a signal
to noise in whichever direction of colour something shows (Mahalanobis, 1936).
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import copy_where
from vision.types import FloatArray, MaskArray

_CELL_PX = 80
"""Side of the cells in which the covariance is taken, in the level's pixels."""
_SAMPLES = 10
"""Each cell is judged by 10 x 10 of its pixels: plenty for six numbers, and the same cost at any scale."""
_UNWEIGHT = 1.1
"""Undoes what weighting takes off the variance of a normal spread."""
_COLOURED = 0.25
"""Weight, on the ground, of a colour difference against one in all channels alike."""
_RIDGE = 1e-8
_LOCAL = 0.8
"""Weight of a cell's own covariance against that of the whole surface, which keeps sparse cells sane."""


@dataclass(frozen=True)
class Tones:
    """Weight of what is darker and of what is lighter than its surroundings: 1 for the one that bodies are expected to be."""

    darker: float
    lighter: float


EITHER = Tones(1.0, 1.0)
"""As on produce, where bodies are as often the one as the other."""


def stand_out(
    smooth: FloatArray, inverse: NDArray[np.float64], mask: MaskArray, tones: Tones, signal: FloatArray,
    threads: ThreadPoolExecutor, grey: FloatArray | None = None,
) -> None:  # fmt: skip
    """Writes sqrt(c' C^-1 c) of `smooth` (3, h, w) into `signal` (h, w) where `mask` is set, weighted by its tone.

    `inverse` (gh, gw, 3, 3). `grey` (h, w), if given, gets the signed signal to noise of a difference in all channels alike, positive
    for the expected tone. A band of cells at a time, so that it stays in the cache; bands share nothing, so that any number of threads
    gives the same bytes.
    """
    # Cells last, so that the weights of a row of pixels lie side by side.
    roots = np.moveaxis(np.linalg.cholesky(inverse), (0, 1), (2, 3)).astype(np.float32)
    summed = inverse.sum(axis=-1)
    alike = (summed / np.sqrt(np.maximum(summed.sum(axis=-1, keepdims=True), 1e-12))).astype(np.float32)
    alike = np.moveaxis(alike, -1, 0)
    sign = np.float32(1 if tones.darker >= tones.lighter else -1)
    h, w = mask.shape
    rows, columns = edges_of(h, inverse.shape[0]), edges_of(w, inverse.shape[1])

    def band(i: int) -> None:
        part = slice(int(rows[i]), int(rows[i + 1]))
        holds_any = np.logical_or.reduceat(mask[part].any(axis=0), columns[:-1])
        for first, end in _runs(holds_any):
            stretch(i, part, first, end)

    def stretch(i: int, part: slice, first: int, end: int) -> None:
        across = slice(int(columns[first]), int(columns[end]))
        wide = np.diff(columns[first : end + 1])
        here = part, across
        r, g, b = smooth[0][here], smooth[1][here], smooth[2][here]
        total = _whitened(r, g, b, np.repeat(roots[..., i, first:end], wide, axis=-1))
        if grey is not None or tones.darker != tones.lighter:
            signed = _weighted(r, g, b, np.repeat(alike[..., i, first:end], wide, axis=-1))
            if tones.darker != tones.lighter:
                of_lighter = total * np.float32(tones.lighter)
                total *= np.float32(tones.darker)
                copy_where(of_lighter, signed < 0, total)
            if grey is not None:
                np.multiply(signed, sign, out=signed)
                copy_where(signed, mask[here], grey[here])
        copy_where(total, mask[here], signal[here])

    list(threads.map(band, range(inverse.shape[0])))


def _whitened(r: FloatArray, g: FloatArray, b: FloatArray, root: FloatArray) -> FloatArray:
    """Length of (r, g, b) times the lower triangular `root` (3, 3, w) of each column."""
    total = _weighted(r, g, b, root[:, 0])
    total *= total
    white = g * root[1, 1]
    white += b * root[2, 1]
    white *= white
    total += white
    np.multiply(b, root[2, 2], out=white)
    white *= white
    total += white
    return np.asarray(np.sqrt(total, out=total))


def _weighted(r: FloatArray, g: FloatArray, b: FloatArray, weights: FloatArray) -> FloatArray:
    """Sum of the three channels times the weights (3, w) of each column."""
    total = r * weights[0]
    total += g * weights[1]
    total += b * weights[2]
    return np.asarray(total)


def inverse_covariance(
    smooth: FloatArray, mask: MaskArray, floor: float, least: FloatArray | None = None
) -> NDArray[np.float64] | None:
    """Robust covariance of one surface in cells, inverted: (gh, gw, 3, 3) float64; None where the surface is absent.

    `least`: standard deviation that the camera's noise leaves at the least, on any grid over the picture. A camera that smooths
    its pictures until neighbours are equal has not taken its noise away with it.

    Specks must not raise the noise they are judged by, so samples are weighted down with their distance, first by the whole
    surface's spread and then by the cell's own: two steps of an M-estimator with weight 1 / (1 + (m/3)^4).
    """
    if not mask.any():
        return None
    h, w = mask.shape
    gh, gw, n = max(1, round(h / _CELL_PX)), max(1, round(w / _CELL_PX)), _SAMPLES
    rows, cols = _sampled(h, gh * n), _sampled(w, gw * n)
    values = smooth[:, rows[:, None], cols].reshape(3, gh, n, gw, n)
    # In double precision, or a cell where two channels say the same has no inverse.
    values = values.transpose(1, 3, 2, 4, 0).reshape(gh, gw, n * n, 3).astype(np.float64)
    inside = mask[rows[:, None], cols].reshape(gh, n, gw, n).transpose(0, 2, 1, 3).reshape(gh, gw, n * n)
    if not inside.any():
        return np.broadcast_to(np.linalg.inv(np.eye(3) * (4 * floor) ** 2), (gh, gw, 3, 3)).copy()
    whole = _spread_of_all(values[inside])
    inverse = np.broadcast_to(np.linalg.inv(whole + np.eye(3) * floor**2), (gh, gw, 3, 3))
    trust = _LOCAL * np.minimum(inside.mean(axis=2) / 0.15, 1)[..., None, None]
    lowest = np.full((gh, gw), floor)
    if least is not None:
        lowest = np.maximum(lowest, cv2.resize(least, (gw, gh), interpolation=cv2.INTER_LINEAR).reshape(gh, gw))
    added = np.eye(3) * lowest[..., None, None] ** 2
    for _ in range(2):
        white = values @ np.linalg.cholesky(inverse)
        weight = np.where(inside, 1 / (1 + (_squares(white) / 9) ** 2), 0)
        moments = (values * weight[..., None]).transpose(0, 1, 3, 2) @ values
        total = _with_neighbours(weight.sum(axis=2)[..., None])[..., None]
        own = _with_neighbours(moments.reshape(gh, gw, 9)).reshape(gh, gw, 3, 3) / np.maximum(total, 1e-3)
        local = _UNWEIGHT * own * trust + whole * (1 - trust)
        inverse = np.linalg.inv(local + added)
        inverse = (inverse + inverse.transpose(0, 1, 3, 2)) / 2
    return np.asarray(inverse)


def mostly_grey(inverse: NDArray[np.float64]) -> NDArray[np.float64]:
    """The inverse covariance (..., 3, 3) with all directions of colour but grey weighted down.

    What lies on bare ground takes light in all three channels, if not evenly; noise has no such habit. With all three directions
    in full, noise would pass for a signal half as strong again.
    """
    grey = inverse.sum(axis=-1)
    along = grey[..., :, None] * grey[..., None, :] / grey.sum(axis=-1)[..., None, None]
    return np.asarray(_COLOURED * inverse + (1 - _COLOURED) * along)


def spread_in_cells(values: FloatArray, mask: MaskArray, floor: float) -> FloatArray:
    """Robust standard deviation of the masked pixels of (h, w) in cells, (gh, gw) float32, leaning on that of all of them;
    `floor`: what a difference means nothing below."""
    h, w = mask.shape
    gh, gw, n = max(1, round(h / _CELL_PX)), max(1, round(w / _CELL_PX)), _SAMPLES
    rows, cols = _sampled(h, gh * n), _sampled(w, gw * n)
    picked, inside = values[rows[:, None], cols], mask[rows[:, None], cols]
    if not inside.any():
        return np.ones((gh, gw), np.float32)
    whole = 1.4826 * float(np.median(np.abs(picked[inside]))) + floor
    squares = np.where(inside, np.minimum(picked**2, (3 * whole) ** 2), 0).reshape(gh, n, gw, n).sum(axis=(1, 3))
    share = inside.reshape(gh, n, gw, n).sum(axis=(1, 3))
    own = _with_neighbours(np.stack([squares, share], axis=-1).astype(np.float64))
    trust = _LOCAL * np.minimum(share / n**2 / 0.15, 1)
    variance = trust * own[..., 0] / np.maximum(own[..., 1], 1e-3) + (1 - trust) * whole**2
    return np.asarray(np.sqrt(variance + floor**2), dtype=np.float32)


def edges_of(length: int, cells: int) -> NDArray[np.int64]:
    """Where the cells of a side begin, and where the last one ends: (cells + 1,)."""
    return np.asarray((np.arange(cells + 1) * length) // cells, dtype=np.int64)


def _runs(flags: MaskArray) -> list[tuple[int, int]]:
    """First index and end of each stretch of True."""
    changes = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]])))
    return [(int(a), int(b)) for a, b in zip(changes[::2], changes[1::2], strict=True)]


def _sampled(length: int, count: int) -> NDArray[np.int64]:
    """`count` pixels spread evenly over a side."""
    return np.minimum(((np.arange(count) + 0.5) * length / count).astype(np.int64), length - 1)


def _spread_of_all(picked: FloatArray) -> NDArray[np.float64]:
    x = picked[:: max(1, len(picked) // 12_000)].astype(np.float64)
    scale = np.median(np.abs(x), axis=0) * 1.4826 + 1e-5
    covariance = np.diag(scale**2)
    for _ in range(4):
        # Where all channels say the same, two directions have no spread: a little of the whole keeps the inverse one.
        inverse = np.linalg.inv(covariance + np.eye(3) * (1e-9 + _RIDGE * np.trace(covariance)))
        white = x @ np.linalg.cholesky((inverse + inverse.T) / 2)
        weight = 1 / (1 + (_squares(white) / 9) ** 2)
        covariance = _UNWEIGHT * (x * weight[:, None]).T @ x / max(weight.sum(), 1e-9)
    return np.asarray(covariance)


def _squares(white: NDArray[np.float64]) -> NDArray[np.float64]:
    """Squared lengths of vectors (..., 3): (...)."""
    total = white[..., 0] ** 2 + white[..., 1] ** 2
    total += white[..., 2] ** 2
    return np.asarray(total)


def _with_neighbours(cells: NDArray[Any]) -> NDArray[Any]:
    """Cells (gh, gw, n) averaged with those round them, so that one crowded cell does not stand alone."""
    planes = [cv2.GaussianBlur(np.ascontiguousarray(cells[..., k]), (3, 3), 0.7) for k in range(cells.shape[2])]
    return np.stack([p.reshape(cells.shape[:2]) for p in planes], axis=-1)
