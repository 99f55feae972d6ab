"""Thin bodies: the signal along short lines, in several directions.

A round filter sees a thrips five times as long as wide with half of what could be seen at best; adding what lies before and behind
along the body's own direction gets most of the rest back.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from vision.arrays import copy_where
from vision.types import FloatArray, MaskArray

_DIRECTIONS = 8
_SPACING = 1.5
"""Distance of one sample from the next, in standard deviations of the smoothing: eight of them and the smoothing itself are as long
as a body five times as long as wide."""
_DOUBLINGS = (1, 2, 4)
"""Eight samples in three sums: pairs, pairs of pairs, and once more."""
_FAINTER = 0.92
"""Weight of the best of several directions against the one round filter: the best of many is larger by chance alone."""
_SAMPLED = 23
_BAND = 96
"""Rows that are worked on at a time, so that they stay in the cache."""


@dataclass(frozen=True)
class _Line:
    """One direction: the shifts (rows, columns) of its three sums, the rows downward, all columns to one side."""

    shifts: tuple[tuple[int, int], ...]

    @property
    def rows(self) -> int:
        return sum(dy for dy, _ in self.shifts)

    @property
    def columns(self) -> int:
        return sum(dx for _, dx in self.shifts)

    def offsets(self) -> list[tuple[int, int]]:
        """Where its eight samples lie from its middle."""
        out = [(0, 0)]
        for dy, dx in self.shifts:
            out += [(i + dy, j + dx) for i, j in out]
        return [(i - self.rows // 2, j - self.columns // 2) for i, j in out]


def _lines(sigma_px: float) -> list[_Line]:
    out = []
    for k in range(_DIRECTIONS):
        along = _SPACING * sigma_px * np.array([np.sin(np.pi * k / _DIRECTIONS), np.cos(np.pi * k / _DIRECTIONS)])
        out.append(_Line(tuple((round(n * along[0]), round(n * along[1])) for n in _DOUBLINGS)))
    return out


def along_lines(grey: FloatArray, mask: MaskArray, sigma_px: float, threads: ThreadPoolExecutor) -> FloatArray | None:
    """The signal along the best line through each pixel, (h, w) float32, 0 outside `mask` and near the border; None of tiny pictures.

    `grey` (h, w): signed signal to noise, its noise of unit variance; `sigma_px`: the smoothing it has had, in its own pixels.
    """
    h, w = grey.shape
    reach = int(np.ceil(sum(_DOUBLINGS) / 2 * _SPACING * sigma_px)) + 2
    if min(h, w) <= 4 * reach:
        return None
    lines = _lines(sigma_px)
    weights = [np.float32(_FAINTER / max(_noise(grey, mask, line, reach), 1e-3)) for line in lines]
    out = np.zeros((h, w), np.float32)

    def band(first: int) -> None:
        rows = slice(first, min(first + _BAND, h - reach))
        inner = rows, slice(reach, w - reach)
        # Memory for all sums of the band at once: arrays of this size cost more to ask for than to fill.
        sums = np.empty((2, rows.stop - rows.start + 2 * reach, w), np.float32)
        best = np.full((rows.stop - rows.start, w - 2 * reach), -np.inf, np.float32)
        for line, weight in zip(lines, weights, strict=True):
            total = _sum_along(grey, line, rows, reach, sums)
            total *= weight
            cv2.max(best, total, dst=best)
        copy_where(best, mask[inner], out[inner])

    list(threads.map(band, range(reach, h - reach, _BAND)))
    return out


def _sum_along(grey: FloatArray, line: _Line, rows: slice, reach: int, sums: FloatArray) -> FloatArray:
    """Sum of the eight samples round each pixel of `rows`, without the `reach` outermost columns; written into `sums`."""
    above, left = line.rows // 2, line.columns // 2
    total = grey[rows.start - above : rows.stop - above + line.rows]
    for n, (dy, dx) in enumerate(line.shifts):
        h, w = total.shape[0] - dy, total.shape[1] - abs(dx)
        here, there = total[:h, max(0, -dx) :], total[dy:, max(0, dx) :]
        # NumPy adds rows that begin anywhere in memory a third as fast.
        total = sums[n % 2, :h, :w]
        cv2.add(here[:, :w], there[:, :w], dst=total)
    first = reach - left - sum(max(0, -dx) for _, dx in line.shifts)
    return total[:, first : first + grey.shape[1] - 2 * reach]


def _noise(grey: FloatArray, mask: MaskArray, line: _Line, reach: int) -> float:
    """Robust standard deviation of the sum along a line, from a sample of the pixels."""
    h, w = grey.shape
    i, j = np.nonzero(mask[reach : h - reach : _SAMPLED, reach : w - reach : _SAMPLED])
    if not len(i):
        return 1.0
    i, j = i * _SAMPLED + reach, j * _SAMPLED + reach
    total = np.zeros(len(i), np.float32)
    for dy, dx in line.offsets():
        total += grey[i + dy, j + dx]
    return 1.4826 * float(np.median(np.abs(total)))
