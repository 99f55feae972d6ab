"""How far readers agree beyond chance: Cohen's kappa of two, Fleiss' kappa of more, each kind apart, all with 95 % intervals.

Agreement of readers is not being right. Two who make the same mistake agree, and whoever sees more than the others lowers the figure.
No figure here says how many insects were missed.

A kappa also goes with how common each category is: two lots read equally well may have different ones. It asks for readings made
apart on all subjects alike. A third reading that is taken only where the first two differ is none of these, and must not be counted in.

Two readers: Cohen 1960, Educ Psychol Meas 20:37-46, with the large-sample standard error of Fleiss, Cohen and Everitt 1969, Psychol Bull
72:323-327. More: Fleiss 1971, Psychol Bull 76:378-382, with the jackknife over subjects of Fleiss and Davies 1982, Am J Epidemiol
115:841-845. Both intervals are for many subjects, and too narrow where a category comes up on few. Of two readers and samples of 100
subjects as drawn for a trial, 92 intervals in 100 or more held the true kappa where the rarer category came up on 20 of them; where it
came up on 10, as few as 65 did so at a kappa of 0.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

COVERED = 0.95
"""Share of samples whose interval is meant to hold the true value."""
_Z = NormalDist().inv_cdf((1 + COVERED) / 2)
_NO_SPREAD = 1e-9
"""A standard error below this is rounding: a true one takes a thousand million subjects."""
_MANY = 10_000
"""Degrees of freedom above which Student's t is the normal within 0.02 %."""


@dataclass(frozen=True)
class Agreement:
    """A kappa (-1..1, 0 by chance, 1 perfect) or a share (0..1), and its 95 % interval, clipped to -1..1; how many subjects were read.

    `value` is None where it would be 0/0. `low` and `high` are None where no interval can be had: of one subject, or where the sample
    has no spread to take one from, as when all agree. That is not certainty, so it is not written as an interval of no width.
    """

    value: float | None
    low: float | None
    high: float | None
    subjects: int


@dataclass(frozen=True, eq=False)
class Tables:
    """What two readers said of the same subjects. `whole` is (categories, categories) int64: counts, rows the first reader."""

    categories: tuple[str, ...]
    whole: NDArray[np.int64]

    def against_rest(self, category: str) -> NDArray[np.int64]:
        """(2, 2) int64: the category, then all others as one. Raises ValueError for a category that is not there."""
        if category not in self.categories:
            raise ValueError(f"there is no category {category!r}")
        k = self.categories.index(category)
        both, first, second = self.whole[k, k], self.whole[k].sum(), self.whole[:, k].sum()
        neither = self.whole.sum() - first - second + both
        return np.array([[both, first - both], [second - both, neither]], dtype=np.int64)


def tables_of(pairs: Iterable[tuple[str, str]], categories: Sequence[str] | None = None) -> Tables:
    """Counts of pairs (first reader's category, second's), one a subject.

    The categories stand in the order given, used or not; otherwise those used stand by code point, whatever the order of the pairs.
    Raises ValueError where one is given twice, or a pair holds one that was not given.
    """
    said = list(pairs)
    order = tuple(sorted({label for pair in said for label in pair}) if categories is None else categories)
    place = {label: k for k, label in enumerate(order)}
    if len(place) < len(order):
        raise ValueError("a category is given twice")
    unknown = sorted({label for pair in said for label in pair} - set(place))
    if unknown:
        raise ValueError(f"there is no category {unknown[0]!r}")
    whole = np.zeros((len(order), len(order)), dtype=np.int64)
    for first, second in said:
        whole[place[first], place[second]] += 1
    return Tables(order, whole)


def observed_agreement(table: ArrayLike) -> Agreement:
    """Share 0..1 of subjects of which both readers said the same, chance and all, with its exact binomial interval.

    `table` as in `cohen_kappa`.
    """
    counts = _square(table)
    subjects, agreed = int(counts.sum()), int(np.trace(counts))
    if subjects == 0:
        return Agreement(None, None, None, 0)
    return Agreement(agreed / subjects, *share_interval(agreed, subjects), subjects)


def cohen_kappa(table: ArrayLike) -> Agreement:
    """Cohen's kappa of two readers: value +- 1.96 standard errors (`cohen_error`).

    `table` is (categories, categories), whole counts of subjects: rows the first reader, columns the second. No value without subjects
    or where both used the same single category. Raises ValueError where it is not square or holds what is no count.
    """
    counts = _square(table)
    subjects, value, error = int(counts.sum()), _cohen(counts), cohen_error(table)
    if value is None or not error:
        return Agreement(value, None, None, subjects)
    return Agreement(value, max(-1.0, value - _Z * error), min(1.0, value + _Z * error), subjects)


def cohen_error(table: ArrayLike) -> float | None:
    """Large-sample standard error of Cohen's kappa, which need not be zero (Fleiss, Cohen and Everitt 1969).

    None where there is no kappa; 0 where the table has no spread. `table` and errors as in `cohen_kappa`.
    """
    counts = _square(table)
    kappa = _cohen(counts)
    if kappa is None:
        return None
    shares = counts / counts.sum()
    first, second = shares.sum(axis=1), shares.sum(axis=0)
    # Their sum of squares less a square, written as squares about the mean: the same number, and rounding can't turn it negative.
    pull = np.eye(len(counts)) - (1 - kappa) * (second[:, None] + first[None, :])
    spread = (shares * (pull - (shares * pull).sum()) ** 2).sum()
    error = math.sqrt(spread / counts.sum()) / (1 - float(first @ second))
    return error if error > _NO_SPREAD else 0.0


def category_kappas(tables: Tables) -> dict[str, Agreement]:
    """Cohen's kappa of each category against all others as one, in the tables' order (Fleiss 1981, Statistical methods for rates and
    proportions, chapter 13).

    The overall kappa is their mean, weighted by how far each could have gone above chance. An interval of a category that is rare
    among the subjects is too narrow, and of one that nobody used there is no value.
    """
    return {category: cohen_kappa(tables.against_rest(category)) for category in tables.categories}


def fleiss_kappa(counts: ArrayLike) -> Agreement:
    """Fleiss' kappa of any number of readers, who need not be the same ones for each subject.

    `counts` is (subjects, categories): how many readers said it, as many readers a subject in all rows; ValueError otherwise. No value
    without subjects, with less than two readers, or where only one category was used.

    The interval goes by the jackknife's standard error over subjects and Student's t, on Fisher's scale (artanh of kappa), as Moss 2024,
    Measures of agreement with multiple raters: Fréchet variances and inference, recommends. It takes subjects for drawn by chance and
    the readers as they are: it says nothing of other readers. There is none of fewer than three subjects, and none where one of them
    alone decides whether there is a kappa.
    """
    rows = _counts(counts)
    readers = rows.sum(axis=1)
    if (readers != readers[:1]).any():
        raise ValueError("all subjects need the same number of ratings")
    subjects = len(rows)
    if subjects == 0 or readers[0] < 2:
        return Agreement(None, None, None, subjects)
    alike = (rows * (rows - 1)).sum(axis=1) / (readers[0] * (readers[0] - 1))
    totals = rows.sum(axis=0)
    value = _beyond_chance(alike.mean(), _by_chance(totals))
    # A subject by itself has the kappa -1 / (readers - 1) or none, so of two the jackknife would see no spread.
    if value is None or subjects < 3:
        return Agreement(value, None, None, subjects)
    without = [
        _beyond_chance(observed, expected)
        for observed, expected in zip((alike.sum() - alike) / (subjects - 1), _by_chance(totals - rows), strict=True)
    ]
    low, high = _jackknifed(value, without)
    return Agreement(value, low, high, subjects)


def share_interval(hits: int, of: int) -> tuple[float, float]:
    """Exact 95 % interval of a share, `hits` of `of` (at least one): Clopper and Pearson 1934, Biometrika 26:404-413."""
    if not 0 <= hits <= of or of < 1:
        raise ValueError("a share needs hits from 0 to how many there are, and at least one")
    return _least_share(hits, of), 1 - _least_share(of - hits, of)


def _least_share(hits: int, of: int) -> float:
    """The share at which that many hits or more come up in one sample of 40."""
    if hits == 0:
        return 0.0
    k = np.arange(1, of + 1)
    log_ways = np.cumsum(np.log((of - k + 1) / k))[hits - 1 :]
    k = k[hits - 1 :]

    def tail(share: float) -> float:
        return float(np.exp(log_ways + k * math.log(share) + (of - k) * math.log1p(-share)).sum())

    return _crossing(tail, (1 - COVERED) / 2, 0.0, 1.0)


def _jackknifed(value: float, without: list[float | None]) -> tuple[float, float] | tuple[None, None]:
    """The interval round a kappa, from the kappas without each of the subjects in turn."""
    left = [each for each in without if each is not None]
    if len(left) < len(without):
        return None, None
    error = math.sqrt((len(left) - 1) * float(np.var(left)))
    if error <= _NO_SPREAD or abs(value) >= 1:
        return None, None
    middle, reach = math.atanh(value), _students_t(len(left) - 1) * error / (1 - value**2)
    return math.tanh(middle - reach), math.tanh(middle + reach)


@functools.lru_cache(maxsize=64)
def _students_t(freedom: int) -> float:
    """How many standard errors from the middle 95 % lie within, by Student's t with so many degrees of freedom."""
    return _Z if freedom > _MANY else _crossing(lambda t: _within(t, freedom), COVERED, 1.0, 20.0)


def _within(t: float, freedom: int) -> float:
    """Share of Student's t from -t to t, two degrees or more: the finite sums of Abramowitz and Stegun 1964, 26.7.3 and 26.7.4."""
    angle = math.atan(t / math.sqrt(freedom))
    square = math.cos(angle) ** 2
    if freedom % 2:
        i = np.arange(1, (freedom - 1) // 2)
        terms = 1 + float(np.cumprod(2 * i / (2 * i + 1) * square).sum())
        return 2 / math.pi * (angle + math.sin(angle) * math.cos(angle) * terms)
    i = np.arange(1, freedom // 2)
    return math.sin(angle) * (1 + float(np.cumprod((2 * i - 1) / (2 * i) * square).sum()))


def _crossing(rising: Callable[[float], float], level: float, low: float, high: float) -> float:
    """Where a rising function reaches a level, by halving: to 15 digits of the width."""
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < level else (low, middle)
    return (low + high) / 2


def _cohen(counts: NDArray[np.float64]) -> float | None:
    total = counts.sum()
    if total == 0:
        return None
    return _beyond_chance(np.trace(counts) / total, float(counts.sum(axis=1) @ counts.sum(axis=0)) / total**2)


def _by_chance(totals: NDArray[np.float64]) -> NDArray[np.float64]:
    """Agreement 0..1 that is expected of ratings (..., categories) dealt out by chance."""
    return np.asarray(((totals / totals.sum(axis=-1, keepdims=True)) ** 2).sum(axis=-1))


def _beyond_chance(observed: float | np.float64, expected: float | NDArray[np.float64]) -> float | None:
    """(observed - expected) / (1 - expected), both 0..1; None where chance alone agrees always."""
    return None if expected >= 1 else float((observed - expected) / (1 - expected))


def _square(table: ArrayLike) -> NDArray[np.float64]:
    counts = _counts(table)
    if counts.shape[0] != counts.shape[1]:
        raise ValueError("a table of two readers has as many rows as columns")
    return counts


def _counts(table: ArrayLike) -> NDArray[np.float64]:
    """The same, (rows, columns); nothing at all is (0, 0). Raises ValueError for what is no table of counts."""
    counts = np.asarray(table, dtype=np.float64)
    if counts.size == 0:
        return np.zeros((0, 0))
    if counts.ndim != 2:
        raise ValueError("a table has rows and columns")
    if not (np.isfinite(counts).all() and (counts >= 0).all() and (counts == np.round(counts)).all()):
        raise ValueError("counts are whole numbers from 0 up")
    return counts
