"""The residual at several scales, and how far each place stands out of the noise or texture round it.

For each scale s the three-channel residual r is smoothed by a Gaussian of standard deviation s: on the ground that alone, which
for a speck of about that size in white noise is close to the matched filter; on and beside produce minus its own surround, since
there shading and texture are the noise. The result c is whitened by its local covariance C, m = sqrt(c' C^-1 c), so that m is a
signal-to-noise ratio in whichever direction of colour a speck shows.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import to_half
from vision.light import coarse_to_fine, over_channels
from vision.lines import along_lines
from vision.pyramid import build_pyramid
from vision.types import FloatArray, MaskArray, Surfaces
from vision.whitening import EITHER, Tones, inverse_covariance, mostly_grey, spread_in_cells, stand_out

_SIGMAS_FINEST = (0.65, 1.0, 1.45)
_SIGMAS = (0.9, 1.4)
"""Smoothings at each level of the pyramid, in that level's pixels: about a factor 1.45 from scale to scale."""
_GROUND_FLOOR = 0.0015
_PRODUCE_FLOOR = 0.006
"""Density below which a difference means nothing whatever the statistics say: a grey level of 8 bits is about 0.004."""
_LINES_TO_LEVEL = 2
"""Level of the pyramid up to which it is looked along lines too; what is thin and wider than that stands out by itself."""
_LINE_GAIN = np.float32(2)
"""How much more a line may stand out than its own point does; along an even line eight samples gain less than the root of eight."""
_RARITY_FLOOR = 0.1
"""Decades of rarity below which a difference means nothing."""


@dataclass(frozen=True)
class ScaleMap:
    """One scale, at the level's resolution. `smooth` (3, h, w) float32 is c; `stands` (h, w) float32 is m, 0 outside, or with `rarer`
    the root of the sum of their squares; `line` (h, w) is what stands out along a line, None where that was not looked for; `signal` is
    what stands out most, as a point or along a line.

    `ground_inverse`, `produce_inverse` (gh, gw, 3, 3) float64: inverse covariances in cells of the level.
    """

    level: int
    sigma_px: float
    """In working pixels."""
    signal: FloatArray
    smooth: FloatArray
    ground_inverse: NDArray[np.float64] | None
    produce_inverse: NDArray[np.float64] | None
    stands: FloatArray
    line: NDArray[np.float16] | None = None
    rarer: NDArray[np.float16] | None = None
    """(h, w): how far the rarity of its colour stands out of that round it, as a signal to noise; None on bare ground."""

    def signal_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """m at working pixels (n,), from the level's pixel next to each."""
        return np.asarray(self.signal[self._nearest(row, column)])

    def stands_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """m without the lines at working pixels (n,)."""
        return np.asarray(self.stands[self._nearest(row, column)])

    def line_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """What stands out along a line there, (n,); 0 where it was not looked for."""
        return self._kept_at(self.line, row, column)

    def rarer_at(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
        """How much rarer the colour is there, (n,); 0 where that is not known."""
        return self._kept_at(self.rarer, row, column)

    def _kept_at(
        self, kept: NDArray[np.float16] | None, row: NDArray[np.int64], column: NDArray[np.int64]
    ) -> FloatArray:
        if kept is None:
            return np.zeros(len(row), np.float32)
        return kept[self._nearest(row, column)].astype(np.float32)

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
        # The last cells that begin there or before: see edges_of.
        i, j = ((row + 1) * grid.shape[0] - 1) // h, ((col + 1) * grid.shape[1] - 1) // w
        return np.asarray(grid[i, j])


def map_scales(
    pyramid: list[FloatArray], surfaces: Surfaces, levels: int, rarity: FloatArray | None = None,
    noise: FloatArray | None = None, tones: Tones = EITHER,
) -> list[ScaleMap]:  # fmt: skip
    """Every scale of the first `levels` levels, finest first.

    `rarity` (h, w): that of each working pixel's colour; `noise` (gh, gw): standard deviation of density from pixel to pixel of
    the working picture that the camera's noise alone would leave at the light there, on any grid; `tones`: those of bodies on the
    ground.
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
                scale = _whiten(
                    smooth, ground, produce, k, float(np.sqrt(sigma**2 + own)) * 2**k, threads, noise, tones
                )
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
    rarer = np.asarray(cv2.GaussianBlur(rare[k][0], (0, 0), sigma), dtype=np.float32)
    rarer -= _surround_of(rare, k, 0)
    rarer /= coarse_to_fine(spread_in_cells(rarer, mask, _RARITY_FLOOR), *mask.shape)
    np.maximum(rarer, 0, out=rarer)
    rarer[~mask] = 0
    kept = to_half(rarer)
    np.square(rarer, out=rarer)
    stands = _root_of_squares(scale.stands, rarer)
    signal = stands if scale.signal is scale.stands else _root_of_squares(scale.signal, rarer)
    return replace(scale, stands=stands, signal=signal, rarer=kept)


def _root_of_squares(values: FloatArray, square: FloatArray) -> FloatArray:
    """Of `values` and of what `square` is the square of; written over `values`, of which there is no room for two."""
    np.square(values, out=values)
    values += square
    return np.sqrt(values, out=values)


def _whiten(
    smooth: FloatArray, ground: MaskArray, produce: MaskArray, level: int, sigma_px: float, threads: ThreadPoolExecutor,
    noise: FloatArray | None, tones: Tones,
) -> ScaleMap:  # fmt: skip
    # A Gaussian of standard deviation s averages white noise down by 2 sqrt(pi) s.
    least = None if noise is None else noise / (2 * np.sqrt(np.pi) * sigma_px)
    ground_inverse = inverse_covariance(smooth, ground, _GROUND_FLOOR, least)
    produce_inverse = inverse_covariance(smooth, produce, _PRODUCE_FLOOR)
    stands = np.zeros(smooth.shape[1:], np.float32)
    grey = line = None
    if produce_inverse is not None:
        stand_out(smooth, produce_inverse, produce, EITHER, stands, threads)
    if ground_inverse is not None:
        ground_inverse = mostly_grey(ground_inverse)
        grey = np.zeros_like(stands) if level <= _LINES_TO_LEVEL else None
        stand_out(smooth, ground_inverse, ground, tones, stands, threads, grey)
        if grey is not None:
            line = along_lines(grey, ground, sigma_px / 2**level, threads)
    signal = stands
    if line is not None and grey is not None:
        # Beyond the end of a dark body lines still reach into it; what lies on a line stands out a little by itself, in the same tone.
        signal = np.multiply(grey, _LINE_GAIN, out=grey)
        np.minimum(line, signal, out=signal)
        np.maximum(stands, signal, out=signal)
    # What is read at places alone is kept to three digits: the maps are most of the memory that a shot takes.
    kept = None if line is None else to_half(line)
    return ScaleMap(level, sigma_px, signal, smooth, ground_inverse, produce_inverse, stands, kept)
