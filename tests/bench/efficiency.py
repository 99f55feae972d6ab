"""Search efficiency against the ideal observer in white noise: `python tests/bench/efficiency.py`.

For a speck of known form and place the ideal observer's d'^2 is the sum of signal^2 / sigma^2 over pixels and channels. Efficiency is
(d' / d' ideal)^2, told at two strengths; in brackets its bootstrap 95% limits.

- As a guess between two: specks are drawn so faint that the ideal d' is 3, and ours is sqrt(2) times the normal quantile of the area
  under the curve of specks against bare places in the same fields.
- As a search: a shot has some hundred thousand places, so that what is to be listed has to stand out from one in 10,000 bare ones. The
  ideal d' is 5, and ours is the normal quantile of the share of specks above that threshold less the quantile of 1 in 10,000; the
  threshold is taken from fields of noise alone.

Two statistics of the search are judged: its signal at the place itself in the one filter, round or along lines at one scale, that told
most in another field; and its largest signal over all scales within two pixels of the known place. Sizes are in pixels of the picture that
is searched, at 10 px/mm.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, rankdata

from vision.scales import ScaleMap
from vision.specks import search_places
from vision.types import FloatArray, Light, Surfaces

FAINT, PLAIN = 3.0, 5.0
"""The ideal observer's d' of the specks that are guessed and of those that are searched for."""
_FALSE = 1e-4
_BARE_PLACES = 600_000
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


def draw_noise(rng: np.random.Generator) -> FloatArray:
    """White noise of standard deviation _SIGMA, (3, h, w) float32."""
    return rng.normal(0, _SIGMA, (3, _CELL * _CELLS, _CELL * _CELLS)).astype(np.float32)


def draw_field(inside: Inside, seed: int, ideal: float) -> Field:
    """A field of specks, each with a place and a direction of its own, of this d' to the ideal observer."""
    rng = np.random.default_rng(seed)
    density = draw_noise(rng)
    places: tuple[list[tuple[int, int]], list[tuple[int, int]]] = ([], [])
    shapes = []
    for i, j in np.ndindex(_CELLS, _CELLS):
        y, x = _CELL / 2 + rng.uniform(-0.5, 0.5), _CELL / 2 + rng.uniform(-0.5, 0.5)
        places[(i + j) % 2].append((round(i * _CELL + y), round(j * _CELL + x)))
        if (i + j) % 2:
            shape = covered(inside, x, y, rng.uniform(0, np.pi))
            signal = (ideal * _SIGMA / np.sqrt(3 * (shape**2).sum()) * shape).astype(np.float32)
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


def d_prime_searched(some: Values, threshold: float) -> float:
    """What specks stand out by where one in 10,000 bare places is above the threshold."""
    share = np.clip(np.mean(some > threshold), 0.5 / len(some), 1 - 0.5 / len(some))
    return float(norm.ppf(share) - norm.ppf(_FALSE))


@dataclass(frozen=True)
class Efficiency:
    """(d' / d' ideal)^2 and its 95% limits from resampled trials."""

    share: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.share:.2f} ({self.low:.2f}-{self.high:.2f})"


def efficiency(ideal: float, measured: Callable[..., float], *trials: Values) -> Efficiency:
    """Of d' as `measured` from trials, against the ideal one."""
    rng = np.random.default_rng(1)
    drawn = [measured(*(v[rng.integers(0, len(v), len(v))] for v in trials)) for _ in range(300)]
    low, high = (np.quantile(drawn, [0.025, 0.975]) / ideal) ** 2
    return Efficiency((measured(*trials) / ideal) ** 2, float(low), float(high))


@dataclass(frozen=True)
class Bare:
    """What noise alone gives, at many places: the largest signal near by, (n,), and every filter's, (filters, n)."""

    largest: Values
    there: Values

    def thresholds(self, chosen: int) -> tuple[float, float]:
        """What one in 10,000 places is above, of the largest signal and of the chosen filter's."""
        largest, there = (float(np.quantile(v, 1 - _FALSE)) for v in (self.largest, self.there[chosen]))
        return largest, there


def measure_bare(fields: int) -> Bare:
    """From fields of noise alone."""
    parts = []
    for k in range(fields):
        rng = np.random.default_rng((77, k))
        density = draw_noise(rng)
        places = rng.integers(_CELL // 2, density.shape[1] - _CELL // 2, (_BARE_PLACES // fields, 2))
        parts.append(signals_at(search(density), places))
    return Bare(np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts], axis=1))


def _trials(inside: Inside, ideal: float, seeds: range) -> tuple[tuple[Values, Values], tuple[Values, Values]]:
    """At specks and at bare places: the largest signals, (n,), and every filter's, (filters, n)."""
    parts = []
    for seed in seeds:
        field = draw_field(inside, seed, ideal)
        maps = search(field.density)
        parts.append((signals_at(maps, field.some), signals_at(maps, field.none)))
    largest = [np.concatenate([part[k][0] for part in parts]) for k in (0, 1)]
    there = [np.concatenate([part[k][1] for part in parts], axis=1) for k in (0, 1)]
    return (largest[0], largest[1]), (there[0], there[1])


def measure(inside: Inside, fields: int, bare: Bare) -> tuple[Efficiency, ...]:
    """At the place in the filter that another field chose, and of the largest signal near by: each as a guess and as a search."""
    # By how far the means lie apart: the area under the curve of so few trials would choose by chance.
    _, (some, none) = _trials(inside, FAINT, range(1))
    best = int(
        np.argmax((some.mean(axis=1) - none.mean(axis=1)) / np.maximum(some.std(axis=1) + none.std(axis=1), 1e-6))
    )
    near, there = _trials(inside, FAINT, range(1, fields + 1))
    plain_near, plain_there = (some for some, _ in _trials(inside, PLAIN, range(fields + 1, 2 * fields + 1)))
    of_largest, of_chosen = bare.thresholds(best)
    return (
        efficiency(FAINT, d_prime, there[0][best], there[1][best]),
        efficiency(PLAIN, partial(d_prime_searched, threshold=of_chosen), plain_there[best]),
        efficiency(FAINT, d_prime, *near),
        efficiency(PLAIN, partial(d_prime_searched, threshold=of_largest), plain_near),
    )


def print_table(fields: int) -> None:
    """The table as Markdown, a row at a time."""
    largest = f"largest within {_WITHIN_PX} px"
    cells = (
        "speck in white noise", "size in pixels", "trials each way", "in its filter, guessed", "in its filter, searched",
        f"{largest}, guessed", f"{largest}, searched",
    )  # fmt: skip
    print("\n| " + " | ".join(cells) + " |")
    print("|---" * len(cells) + "|")
    bare = measure_bare(fields)
    for name, shape, sizes in (("disc", disc, DISCS), ("bar, 5 to 1", bar, BARS)):
        for size in sizes:
            told = " | ".join(str(share) for share in measure(shape(size), fields, bare))
            print(f"| {name} | {size:g} | {fields * _CELLS**2 // 2} | {told} |", flush=True)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fields", type=int, default=3, help="fields of 128 specks and 128 bare places a size")
    cv2.setNumThreads(1)
    print_table(parser.parse_args().fields)


if __name__ == "__main__":
    main()
