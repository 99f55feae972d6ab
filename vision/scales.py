"""The residual at several scales, and how far each place stands out of the noise or texture round it.

For each scale s the three-channel residual r is smoothed by a Gaussian of standard deviation s: on the ground that alone, which
for a speck of about that size in white noise is close to the matched filter; on and beside produce minus its own surround, since
there shading and texture are the noise. The result c is whitened by its local covariance C, m = sqrt(c' C^-1 c), so that m is a
signal-to-noise ratio in whichever direction of colour a speck shows.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.light import coarse_to_fine, over_channels
from vision.lines import add_lines
from vision.types import FloatArray, MaskArray, Surfaces

_SIGMAS_FINEST = (0.65, 1.0, 1.45)
_SIGMAS = (0.9, 1.4)
"""Smoothings at each level of the pyramid, in that level's pixels: about a factor 1.45 from scale to scale."""
_CELL_PX = 80
"""Side of the cells in which the covariance is taken, in the level's pixels."""
_SAMPLES = 10
"""Each cell is judged by 10 x 10 of its pixels: plenty for six numbers, and the same cost at any scale."""
_UNWEIGHT = 1.1
"""Undoes what weighting takes off the variance of a normal spread."""
_GROUND_FLOOR = 0.0015
_PRODUCE_FLOOR = 0.006
"""Density below which a difference means nothing whatever the statistics say: a grey level of 8 bits is about 0.004."""
_COLOURED = 0.4
"""Weight, on the ground, of a colour difference against one in all channels alike."""
_UNLIKELY_TONE = 0.75
"""Weight, on the ground, of what is lighter than it: bodies take light away, noise does not care."""
_LINES_TO_LEVEL = 1
_RARITY_FLOOR = 0.1
"""Decades of rarity below which a difference means nothing."""
_RIDGE = 1e-8
_LOCAL = 0.8
"""Weight of a cell's own covariance against that of the whole surface, which keeps sparse cells sane."""


@dataclass(frozen=True)
class ScaleMap:
    """One scale. `signal` (h, w) float32 is m, 0 outside; `smooth` (3, h, w) float32 is c; both at the level's resolution.

    `ground_inverse`, `produce_inverse` (gh, gw, 3, 3) float64: inverse covariances in cells of the level.
    """

    level: int
    sigma_px: float
    """In working pixels."""
    signal: FloatArray
    smooth: FloatArray
    ground_inverse: NDArray[np.float64] | None
    produce_inverse: NDArray[np.float64] | None
    rarer: FloatArray | None = None
    """(h, w) float32: how far the rarity of its colour stands out of that round it, as a signal to noise; None on bare ground."""

    def signal_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """m at working pixels (n,), from the level's pixel next to each."""
        return np.asarray(self.signal[self._nearest(row, column)])

    def rarer_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """How much rarer the colour is there, (n,); 0 where that is not known."""
        if self.rarer is None:
            return np.zeros(len(row), np.float32)
        return np.asarray(self.rarer[self._nearest(row, column)])

    def smooth_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """c at working pixels: (n, 3)."""
        i, j = self._nearest(row, column)
        return np.asarray(self.smooth[:, i, j].T)

    def _nearest(
        self, row: NDArray[np.int64], column: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        half, (h, w) = (1 << self.level) >> 1, self.signal.shape
        return np.minimum((row + half) >> self.level, h - 1), np.minimum((column + half) >> self.level, w - 1)

    def inverse_at(self, row: int, col: int, on_produce: bool) -> NDArray[np.float64]:
        """The inverse covariance (3, 3) at a level pixel."""
        grid = self.produce_inverse if on_produce else self.ground_inverse
        assert grid is not None
        h, w = self.signal.shape
        i = int(np.searchsorted(_edges(h, grid.shape[0]), row, side="right")) - 1
        j = int(np.searchsorted(_edges(w, grid.shape[1]), col, side="right")) - 1
        return np.asarray(grid[i, j])


def build_pyramid(residual: FloatArray, levels: int) -> list[FloatArray]:
    """`levels` halvings of planes (n, h, w); pixel (i, j) of level k lies on pixel (i 2^k, j 2^k) of level 0."""
    pyramid = [residual]
    while len(pyramid) < levels and min(pyramid[-1].shape[1:]) >= 8:
        h, w = pyramid[-1].shape[1:]
        half = np.empty((len(residual), (h + 1) // 2, (w + 1) // 2), np.float32)
        for k in range(len(residual)):
            cv2.pyrDown(pyramid[-1][k], dst=half[k])
        pyramid.append(half)
    return pyramid


def map_scales(
    pyramid: list[FloatArray], surfaces: Surfaces, levels: int, rarity: FloatArray | None = None,
    noise: FloatArray | None = None,
) -> list[ScaleMap]:  # fmt: skip
    """Every scale of the first `levels` levels, finest first.

    `rarity` (h, w): that of each working pixel's colour; `noise` (gh, gw): standard deviation of density from pixel to pixel of
    the working picture that the camera's noise alone would leave at the light there, on any grid.
    """
    maps = []
    rare = None if rarity is None else build_pyramid(rarity[None], len(pyramid))
    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as threads:
        for k in range(min(levels, len(pyramid))):
            h, w = pyramid[k].shape[1:]
            ground = np.ascontiguousarray(surfaces.ground[:: 2**k, :: 2**k][:h, :w])
            produce = np.ascontiguousarray(surfaces.produce[:: 2**k, :: 2**k][:h, :w])
            # Beside produce the ground has its own shade, so there too each place is judged against what is round it.
            surround = _surround(pyramid, k) if produce.any() else None
            own = (1 - 4.0**-k) / 3  # variance, in this level's pixels, that the halvings have already smoothed by
            for sigma in _SIGMAS_FINEST if k == 0 else _SIGMAS:
                smooth = np.empty_like(pyramid[k])
                _smooth_into(smooth, pyramid[k], sigma, surround)
                scale = _whiten(smooth, ground, produce, k, float(np.sqrt(sigma**2 + own)) * 2**k, threads, noise)
                maps.append(scale if rare is None else _with_rarity(scale, rare, sigma, ground | produce))
    return maps


def _smooth_into(smooth: FloatArray, planes: FloatArray, sigma: float, surround: FloatArray | None) -> None:
    def channel(k: int) -> None:
        cv2.GaussianBlur(planes[k], (0, 0), sigma, dst=smooth[k])
        if surround is not None:
            np.subtract(smooth[k], surround[k], out=smooth[k])

    over_channels(channel)


def _surround(pyramid: list[FloatArray], k: int) -> FloatArray:
    """What lies round each pixel of level k: about four times as wide as the level's own smoothing."""
    out = np.empty_like(pyramid[k])

    def channel(c: int) -> None:
        out[c] = _surround_of(pyramid, k, c)

    over_channels(channel)
    return out


def _surround_of(pyramid: list[FloatArray], k: int, plane: int) -> FloatArray:
    top = min(k + 2, len(pyramid) - 1)
    wide = cv2.GaussianBlur(pyramid[top][plane], (0, 0), 0.8)
    for level in range(top - 1, k - 1, -1):
        h, w = pyramid[level].shape[1:]
        wide = cv2.pyrUp(wide, dstsize=(w, h))
    return np.asarray(wide, dtype=np.float32)


def _with_rarity(scale: ScaleMap, rare: list[FloatArray], sigma: float, mask: MaskArray) -> ScaleMap:
    """The scale with how rare the colour of a place is against what lies round it; both together make its signal.

    A grey body half over the edge of a green piece stands out of neither by lightness, but nothing else in the shot is grey.
    """
    k = scale.level
    rarer = cv2.GaussianBlur(rare[k][0], (0, 0), sigma) - _surround_of(rare, k, 0)
    rarer /= coarse_to_fine(_spread_in_cells(rarer, mask), *mask.shape)
    np.maximum(rarer, 0, out=rarer)
    rarer[~mask] = 0
    return replace(scale, signal=np.sqrt(scale.signal**2 + rarer**2), rarer=rarer)


def _spread_in_cells(values: FloatArray, mask: MaskArray) -> FloatArray:
    """Robust standard deviation of the masked pixels of (h, w) in cells, (gh, gw) float32, leaning on that of all of them."""
    h, w = mask.shape
    gh, gw, n = max(1, round(h / _CELL_PX)), max(1, round(w / _CELL_PX)), _SAMPLES
    rows = np.minimum(((np.arange(gh * n) + 0.5) * h / (gh * n)).astype(int), h - 1)
    cols = np.minimum(((np.arange(gw * n) + 0.5) * w / (gw * n)).astype(int), w - 1)
    picked, inside = values[rows[:, None], cols], mask[rows[:, None], cols]
    if not inside.any():
        return np.ones((gh, gw), np.float32)
    whole = 1.4826 * float(np.median(np.abs(picked[inside]))) + _RARITY_FLOOR
    squares = np.where(inside, np.minimum(picked**2, (3 * whole) ** 2), 0).reshape(gh, n, gw, n).sum(axis=(1, 3))
    share = inside.reshape(gh, n, gw, n).sum(axis=(1, 3))
    own = _with_neighbours(np.stack([squares, share], axis=-1).astype(np.float64))
    trust = _LOCAL * np.minimum(share / n**2 / 0.15, 1)
    variance = trust * own[..., 0] / np.maximum(own[..., 1], 1e-3) + (1 - trust) * whole**2
    return np.asarray(np.sqrt(variance + _RARITY_FLOOR**2), dtype=np.float32)


def _whiten(
    smooth: FloatArray, ground: MaskArray, produce: MaskArray, level: int, sigma_px: float, threads: ThreadPoolExecutor,
    noise: FloatArray | None,
) -> ScaleMap:  # fmt: skip
    # A Gaussian of standard deviation s averages white noise down by 2 sqrt(pi) s.
    least = None if noise is None else noise / (2 * np.sqrt(np.pi) * sigma_px)
    ground_inverse = _inverse_covariance(smooth, ground, _GROUND_FLOOR, least)
    if ground_inverse is not None:
        ground_inverse = _mostly_grey(ground_inverse)
    produce_inverse = _inverse_covariance(smooth, produce, _PRODUCE_FLOOR)
    signal = np.zeros(smooth.shape[1:], np.float32)
    for grid, mask in ((ground_inverse, ground), (produce_inverse, produce)):
        if grid is not None:
            _stand_out(smooth, grid, mask, signal, threads, _UNLIKELY_TONE if mask is ground else 1.0)
    if ground_inverse is not None and level <= _LINES_TO_LEVEL:
        add_lines(
            signal,
            _grey_signal(smooth, ground_inverse, ground),
            ground,
            float(np.sqrt(sigma_px**2) / 2**level),
            threads,
        )
    return ScaleMap(level, sigma_px, signal, smooth, ground_inverse, produce_inverse)


def _mostly_grey(inverse: NDArray[np.float64]) -> NDArray[np.float64]:
    """The inverse covariance (..., 3, 3) with all directions of colour but grey weighted down.

    What lies on bare ground takes light in all three channels, if not evenly; noise has no such habit. With all three directions
    in full, noise would pass for a signal half as strong again.
    """
    grey = inverse.sum(axis=-1)
    along = grey[..., :, None] * grey[..., None, :] / grey.sum(axis=-1)[..., None, None]
    return np.asarray(_COLOURED * inverse + (1 - _COLOURED) * along)


def _edges(length: int, cells: int) -> NDArray[np.int64]:
    return np.asarray((np.arange(cells + 1) * length) // cells, dtype=np.int64)


def _runs(flags: MaskArray) -> list[tuple[int, int]]:
    """First index and end of each stretch of True."""
    changes = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]])))
    return [(int(a), int(b)) for a, b in zip(changes[::2], changes[1::2], strict=True)]


def _grey_signal(smooth: FloatArray, inverse: NDArray[np.float64], mask: MaskArray) -> FloatArray:
    """The signed signal to noise of a difference in all channels alike, (h, w) float32; darker is positive, 0 outside `mask`."""
    grey = inverse.sum(axis=-1)
    weights = (grey / np.sqrt(np.maximum(grey.sum(axis=-1, keepdims=True), 1e-12))).astype(np.float32)
    h, w = mask.shape
    rows, columns = _edges(h, inverse.shape[0]), _edges(w, inverse.shape[1])
    out = np.zeros((h, w), np.float32)
    for i in range(inverse.shape[0]):
        part = slice(int(rows[i]), int(rows[i + 1]))
        across = np.repeat(weights[i], np.diff(columns), axis=0)
        total = smooth[0, part] * across[:, 0]
        total += smooth[1, part] * across[:, 1]
        total += smooth[2, part] * across[:, 2]
        np.copyto(out[part], total, where=mask[part])
    return out


def _stand_out(
    smooth: FloatArray,
    inverse: NDArray[np.float64],
    mask: MaskArray,
    signal: FloatArray,
    threads: ThreadPoolExecutor,
    lighter: float,
) -> None:
    """Writes sqrt(c' C^-1 c) into `signal` where `mask` is set, a band of cells at a time so that it stays in the cache; times
    `lighter` where the place is lighter than what is round it.

    Bands share nothing, so that any number of threads gives the same bytes.
    """
    roots = np.linalg.cholesky(inverse).astype(np.float32)
    h, w = mask.shape
    rows, columns = _edges(h, inverse.shape[0]), _edges(w, inverse.shape[1])

    def band(i: int) -> None:
        part = slice(int(rows[i]), int(rows[i + 1]))
        holds_any = np.logical_or.reduceat(mask[part].any(axis=0), columns[:-1])
        for first, end in _runs(holds_any):
            stretch(i, part, first, end)

    def stretch(i: int, part: slice, first: int, end: int) -> None:
        across = slice(int(columns[first]), int(columns[end]))
        root = np.repeat(roots[i, first:end], np.diff(columns[first : end + 1]), axis=0)
        r, g, b = smooth[0, part, across], smooth[1, part, across], smooth[2, part, across]
        total = r * root[:, 0, 0]
        total += g * root[:, 1, 0]
        total += b * root[:, 2, 0]
        total *= total
        white = g * root[:, 1, 1]
        white += b * root[:, 2, 1]
        white *= white
        total += white
        np.multiply(b, root[:, 2, 2], out=white)
        white *= white
        total += white
        np.sqrt(total, out=total)
        if lighter != 1:
            total *= np.where(r + g + b < 0, np.float32(lighter), np.float32(1))
        np.copyto(signal[part, across], total, where=mask[part, across])

    list(threads.map(band, range(inverse.shape[0])))


def _inverse_covariance(
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
    rows = np.minimum(((np.arange(gh * n) + 0.5) * h / (gh * n)).astype(int), h - 1)
    cols = np.minimum(((np.arange(gw * n) + 0.5) * w / (gw * n)).astype(int), w - 1)
    values = smooth[:, rows[:, None], cols].reshape(3, gh, n, gw, n)
    # In double precision, or a cell where two channels say the same has no inverse.
    values = values.transpose(1, 3, 2, 4, 0).reshape(gh, gw, n * n, 3).astype(np.float64)
    inside = mask[rows[:, None], cols].reshape(gh, n, gw, n).transpose(0, 2, 1, 3).reshape(gh, gw, n * n)
    if not inside.any():
        return np.broadcast_to(np.linalg.inv(np.eye(3) * (4 * floor) ** 2), (gh, gw, 3, 3)).copy()
    whole = _spread_of_all(values[inside])
    inverse = np.broadcast_to(np.linalg.inv(whole + np.eye(3) * floor**2), (gh, gw, 3, 3))
    trust = _LOCAL * np.minimum(inside.mean(axis=2) / 0.15, 1)[..., None, None]
    squared: float | NDArray[np.float64] = floor**2
    if least is not None:
        squared = (
            np.maximum(cv2.resize(least, (gw, gh), interpolation=cv2.INTER_LINEAR).reshape(gh, gw), floor)[
                ..., None, None
            ]
            ** 2
        )
    for _ in range(2):
        white = values @ np.linalg.cholesky(inverse)
        weight = np.where(inside, 1 / (1 + ((white * white).sum(axis=-1) / 9) ** 2), 0)
        moments = (values * weight[..., None]).transpose(0, 1, 3, 2) @ values
        total = _with_neighbours(weight.sum(axis=2)[..., None])[..., None]
        own = _with_neighbours(moments.reshape(gh, gw, 9)).reshape(gh, gw, 3, 3) / np.maximum(total, 1e-3)
        local = _UNWEIGHT * own * trust + whole * (1 - trust)
        inverse = np.linalg.inv(local + np.eye(3) * squared)
        inverse = (inverse + inverse.transpose(0, 1, 3, 2)) / 2
    return np.asarray(inverse)


def _spread_of_all(picked: FloatArray) -> NDArray[np.float64]:
    x = picked[:: max(1, len(picked) // 12_000)].astype(np.float64)
    scale = np.median(np.abs(x), axis=0) * 1.4826 + 1e-5
    covariance = np.diag(scale**2)
    for _ in range(4):
        # Where all channels say the same, two directions have no spread: a little of the whole keeps the inverse one.
        inverse = np.linalg.inv(covariance + np.eye(3) * (1e-9 + _RIDGE * np.trace(covariance)))
        white = x @ np.linalg.cholesky((inverse + inverse.T) / 2)
        weight = 1 / (1 + ((white * white).sum(axis=1) / 9) ** 2)
        covariance = _UNWEIGHT * (x * weight[:, None]).T @ x / max(weight.sum(), 1e-9)
    return np.asarray(covariance)


def _with_neighbours(cells: NDArray[Any]) -> NDArray[Any]:
    """Cells (gh, gw, n) averaged with those round them, so that one crowded cell does not stand alone."""
    planes = [cv2.GaussianBlur(np.ascontiguousarray(cells[..., k]), (3, 3), 0.7) for k in range(cells.shape[2])]
    return np.stack([p.reshape(cells.shape[:2]) for p in planes], axis=-1)
