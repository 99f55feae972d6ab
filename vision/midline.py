"""The middle line of an outline: a body's length along its bend, its width, and which way it bends.

The outline is cut at two points into two sides; halfway between the sides runs the middle line. Of all pairs of points those are the
ends that leave the sides nearest to each other. Straightness alone cannot tell a C from an S, which have the same; the turns of
the middle line to the left and to the right can.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_POINTS = 48
"""Points the outline is read at."""
_UNEQUAL = (-8, -6, -4, -2, 0, 2, 4, 6, 8)
"""By how many of them the one side may be longer than the other."""
_ACROSS = 13
"""Pairs of points, one on each side, that the middle line is drawn through."""
_FINE = 65
_TIPS = 0.12
"""Share of the line at each end, within the round of the tip, whose direction means nothing."""
_ROUND = 320
"""Points of the outline the widths are read from."""
_FEWEST = 17
_SMOOTH = 2.5
"""Smoothing of the middle line's turns, in the points it is read at: an outline's pixels are no bends."""


@dataclass(frozen=True)
class Midline:
    """The middle line of one body, in the units of its outline."""

    points: NDArray[np.float64]
    """(n, 2): x, y from tip to tip."""
    length: float
    width: float
    """Diameter of the largest disc round a point of the line that the outline holds (largest inscribed disc, ISO 9276-6)."""
    straightness: float
    """Distance of the tips / length."""
    left_turn_rad: float
    right_turn_rad: float
    """All turns to either side along the line; a C turns to one, an S to both."""


@dataclass(frozen=True)
class _Sides:
    """One side for every pair of ends: `where` it is read, in points of the outline, each between the points `low` and `high`, of which
    the latter counts with the share `part`, the former with `rest`; all (pairs, _ACROSS)."""

    where: NDArray[np.float64]
    low: NDArray[np.intp]
    high: NDArray[np.intp]
    part: NDArray[np.float64]
    rest: NDArray[np.float64]

    def of(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values of the outline's points (_POINTS,) read there."""
        return values[self.low] * self.rest + values[self.high] * self.part


def _sides(where: NDArray[np.float64]) -> _Sides:
    low = np.floor(where).astype(np.intp)
    part = where - low
    return _Sides(where, low % _POINTS, (low + 1) % _POINTS, part, 1 - part)


@lru_cache(maxsize=1)
def _ends() -> tuple[_Sides, _Sides]:
    """For every pair of ends, where along the outline each side is read."""
    starts = np.arange(_POINTS // 2)
    first, second = [], []
    share = np.linspace(0, 1, _ACROSS)
    for offset in _UNEQUAL:
        there = _POINTS / 2 + offset
        first.append(starts[:, None] + share * there)
        second.append(starts[:, None] - share * (_POINTS - there))
    return _sides(np.concatenate(first)), _sides(np.concatenate(second))


def middle_line(outline: NDArray[np.float64]) -> Midline:
    """The middle line of a closed outline (n, 2), closed without repetition, n >= 3."""
    along = _arc(outline)
    reader = _Reader(outline, along)
    first, second = _ends()
    coarse = reader.at(np.arange(_POINTS) / _POINTS)
    across, down = (first.of(coarse[:, k]) - second.of(coarse[:, k]) for k in (0, 1))
    best = int(np.sqrt(across**2 + down**2)[:, 1:-1].sum(axis=1).argmin())
    start, end = first.where[best, 0] / _POINTS, first.where[best, -1] / _POINTS
    share = np.linspace(0, 1, _FINE)
    one, other = reader.at(start + share * (end - start)), reader.at(start - share * (1 - (end - start)))
    line = (one + other) / 2
    steps = np.hypot(*np.diff(line, axis=0).T)
    length = float(steps.sum())
    width = _widest(line, reader.at(np.linspace(0, 1, _ROUND, endpoint=False)))
    tips = float(np.hypot(*(line[-1] - line[0])))
    left, right = _turns(line, width)
    return Midline(line, length, width, min(1.0, tips / max(length, 1e-9)), left, right)


class _Reader:
    """Points of a closed outline by their share of its whole length."""

    def __init__(self, outline: NDArray[np.float64], along: NDArray[np.float64]) -> None:
        self._closed = np.concatenate([outline, outline[:1]])
        self._along = along

    def at(self, share: NDArray[np.float64]) -> NDArray[np.float64]:
        where = np.mod(share, 1.0) * self._along[-1]
        return np.stack([np.interp(where, self._along, self._closed[:, k]) for k in (0, 1)], axis=-1)


def _arc(outline: NDArray[np.float64]) -> NDArray[np.float64]:
    steps = np.hypot(*np.diff(outline, axis=0, append=outline[:1]).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _widest(line: NDArray[np.float64], outline: NDArray[np.float64]) -> float:
    inner = line[2:-2]
    squared = (inner[:, None, 0] - outline[None, :, 0]) ** 2 + (inner[:, None, 1] - outline[None, :, 1]) ** 2
    return float(2 * np.sqrt(squared.min(axis=1).max()))


def _turns(line: NDArray[np.float64], width: float) -> tuple[float, float]:
    """Sums of the turns to the left and to the right, in radians, without the tips; read every half width or finer."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    count = int(np.clip(2 * along[-1] / max(width, 1e-6), _FEWEST, _FINE))
    even = np.linspace(_TIPS * along[-1], (1 - _TIPS) * along[-1], count)
    x, y = (np.interp(even, along, line[:, k]) for k in (0, 1))
    reach = np.arange(-6, 7)
    kernel = np.exp(-0.5 * (reach / _SMOOTH) ** 2)
    kernel /= kernel.sum()
    smooth = [np.convolve(_continued(v), kernel, mode="valid") for v in (x, y)]
    heading = np.unwrap(np.arctan2(np.diff(smooth[1]), np.diff(smooth[0])))
    turn = np.diff(heading)
    return float(turn[turn > 0].sum()), float(-turn[turn < 0].sum())


def _continued(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values with six more at each end, mirrored through the end, so that smoothing keeps a straight line straight."""
    return np.concatenate([2 * values[0] - values[6:0:-1], values, 2 * values[-1] - values[-2:-8:-1]])
