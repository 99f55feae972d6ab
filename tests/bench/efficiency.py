"""Search efficiency against the ideal observer in white noise: `python tests/bench/efficiency.py`.

For a speck of known form and place the ideal observer's d'^2 is the sum of signal^2 / sigma^2 over pixels and channels; specks are drawn
so faint that its d' is 3. Ours is sqrt(2) times the normal quantile of the area under the curve of specks against bare places in the same
fields. Efficiency is (d' / d' ideal)^2; in brackets its bootstrap 95% limits. Two statistics of the search are judged: its largest
signal over all scales within two pixels of the known place, and its signal at the place itself in the one filter, round or along lines
at one scale, that told most in another field. Sizes are in pixels of the picture that is searched, at 10 px/mm.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, rankdata

from vision.scales import ScaleMap
from vision.specks import search_places
from vision.types import FloatArray, Light, Surfaces

IDEAL = 3.0
_CELL, _CELLS, _SIGMA, _FINE = 96, 16, 0.02, 4
_PX_PER_MM = 10.0
_WITHIN_PX = 2
DISCS = (4.0, 6.0, 9.0, 13.0, 20.0, 30.0)
BARS = (2.0, 3.0, 4.0, 6.0, 8.0)
"""Widths; five times as long."""
Inside = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.bool_]]
Values = NDArray[np.float64]


def disc(diameter: float) -> Inside:
    """A round speck."""
    return lambda x, y: np.hypot(x, y) <= diameter / 2


def bar(width: float, long_over_wide: float = 5.0) -> Inside:
    """A thin one, along x."""
    return lambda x, y: (np.abs(x) <= width * long_over_wide / 2) & (np.abs(y) <= width / 2)


@dataclass(frozen=True)
class Field:
    """White noise of standard deviation _SIGMA, (3, h, w) float32, with a speck in every other cell.

    `some` and `none` (n, 2): rows and columns of the pixels nearest to the specks' middles, and of bare places; `shapes`: of each
    speck, its signal in its cell, (_CELL, _CELL).
    """

    density: FloatArray
    some: NDArray[np.int64]
    none: NDArray[np.int64]
    shapes: tuple[FloatArray, ...]


def covered(inside: Inside, x: float, y: float, turn: float) -> Values:
    """Share of each pixel of a cell that the speck covers, with its middle at (x, y), turned."""
    grid = (np.arange(_CELL * _FINE) + 0.5) / _FINE - 0.5
    dx, dy = grid[None, :] - x, grid[:, None] - y
    u, v = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
    return np.asarray(inside(u, v).reshape(_CELL, _FINE, _CELL, _FINE).mean(axis=(1, 3)))


def draw_field(inside: Inside, seed: int) -> Field:
    """A field of specks, each with a place and a direction of its own."""
    rng = np.random.default_rng(seed)
    size = _CELL * _CELLS
    density = rng.normal(0, _SIGMA, (3, size, size)).astype(np.float32)
    places: tuple[list[tuple[int, int]], list[tuple[int, int]]] = ([], [])
    shapes = []
    for i, j in np.ndindex(_CELLS, _CELLS):
        y, x = _CELL / 2 + rng.uniform(-0.5, 0.5), _CELL / 2 + rng.uniform(-0.5, 0.5)
        places[(i + j) % 2].append((round(i * _CELL + y), round(j * _CELL + x)))
        if (i + j) % 2:
            shape = covered(inside, x, y, rng.uniform(0, np.pi))
            signal = (IDEAL * _SIGMA / np.sqrt(3 * (shape**2).sum()) * shape).astype(np.float32)
            density[:, i * _CELL : (i + 1) * _CELL, j * _CELL : (j + 1) * _CELL] += signal
            shapes.append(signal)
    return Field(density, np.array(places[1]), np.array(places[0]), tuple(shapes))


def search(density: FloatArray) -> list[ScaleMap]:
    """The search's own scale maps of a field, as of bare ground."""
    bare = np.ones(density.shape[1:], bool)
    found = search_places(
        Light(density, np.zeros((10, 10, 3), np.float32), ~bare, 1), Surfaces(bare, ~bare, ~bare), _PX_PER_MM
    )
    assert found is not None
    return found.maps


def signals_at(maps: Sequence[ScaleMap], places: NDArray[np.int64]) -> tuple[Values, Values]:
    """At places (n, 2): the largest signal over all scales within two pixels, (n,); and at the place what each filter
    of the search gives: the round one of every scale, and the lines; (filters, n)."""
    rows, columns = places.T
    filters = [
        *(m.stands_at(rows, columns) for m in maps),
        *(m.line_at(rows, columns) for m in maps if m.line is not None),
    ]
    there = np.array(filters, float)
    span = range(-_WITHIN_PX, _WITHIN_PX + 1)
    around = [(i, j) for i in span for j in span if np.hypot(i, j) <= _WITHIN_PX]
    largest = np.max([m.signal_at(rows + i, columns + j) for m in maps for i, j in around], axis=0)
    return largest.astype(float), there


def d_prime(some: Values, none: Values) -> float:
    """sqrt(2) times the normal quantile of the area under the curve."""
    ranks = rankdata(np.concatenate([some, none]))[: len(some)]
    area = (ranks.sum() - len(some) * (len(some) + 1) / 2) / (len(some) * len(none))
    return float(np.sqrt(2) * norm.ppf(np.clip(area, 1e-4, 1 - 1e-4)))


@dataclass(frozen=True)
class Efficiency:
    """(d' / d' ideal)^2 and its 95% limits from resampled trials."""

    share: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.share:.2f} ({self.low:.2f}-{self.high:.2f})"


def efficiency(some: Values, none: Values) -> Efficiency:
    """Of a statistic's values at specks and at bare places."""
    rng, drawn = np.random.default_rng(1), []
    for _ in range(300):
        a, b = (v[rng.integers(0, len(v), len(v))] for v in (some, none))
        drawn.append((d_prime(a, b) / IDEAL) ** 2)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return Efficiency((d_prime(some, none) / IDEAL) ** 2, float(low), float(high))


def measure(inside: Inside, fields: int) -> tuple[Efficiency, Efficiency]:
    """Of the largest signal near by, and of the signal at the place in the filter that another field chose."""
    parts = []
    for seed in range(fields + 1):
        field = draw_field(inside, seed)
        maps = search(field.density)
        parts.append((signals_at(maps, field.some), signals_at(maps, field.none)))
    (_, first_some), (_, first_none) = parts[0]
    best = int(np.argmax([d_prime(a, b) for a, b in zip(first_some, first_none, strict=True)]))
    largest = [np.concatenate([part[k][0] for part in parts[1:]]) for k in (0, 1)]
    there = [np.concatenate([part[k][1][best] for part in parts[1:]]) for k in (0, 1)]
    return efficiency(*largest), efficiency(*there)


def print_table(fields: int) -> None:
    """The table as Markdown, a row at a time."""
    cells = (
        "speck in white noise",
        "size in pixels",
        "trials each way",
        f"largest signal within {_WITHIN_PX} px",
        "at the place, in its filter",
    )
    print("\n| " + " | ".join(cells) + " |")
    print("|---" * 5 + "|")
    for name, shape, sizes in (("disc", disc, DISCS), ("bar, 5 to 1", bar, BARS)):
        for size in sizes:
            near, there = measure(shape(size), fields)
            print(f"| {name} | {size:g} | {fields * _CELLS**2 // 2} | {near} | {there} |", flush=True)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fields", type=int, default=3, help="fields of 128 specks and 128 bare places a size")
    cv2.setNumThreads(1)
    print_table(parser.parse_args().fields)


if __name__ == "__main__":
    main()
