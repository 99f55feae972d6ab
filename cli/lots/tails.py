"""How likely a count is to come out so far off: tails of the distributions that counts have, as sums of their own terms.

Counts are whole numbers, so these tails are finite or fast fading sums, exact to about 1e-9 of themselves and better where counts are
small. They are summed here by the standard library alone: they belong to lots and not to pixels, and no command waits for a larger library.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable

_FADED = 1e-17
"""A term this far below the sum adds nothing more."""


def poisson_at_most(count: int, mean: float) -> float:
    """Chance 0..1 that a Poisson count is `count` or less."""
    return 0.0 if count < 0 else _gamma(count + 1, mean)[1]


def poisson_at_least(count: int, mean: float) -> float:
    """Chance 0..1 that a Poisson count is `count` or more."""
    return 1.0 if count <= 0 else _gamma(count, mean)[0]


def chi_square_above(value: float, freedom: int) -> float:
    """Chance 0..1 that chi-square with so many degrees of freedom (1 or more) is above `value`."""
    return _gamma(freedom / 2, value / 2)[1]


def binomial_at_most(hits: int, of: int, share: float) -> float:
    """Chance 0..1 that of so many, each a hit with chance `share`, `hits` or fewer are."""
    return _binomial(hits, of, share)[0]


def binomial_at_least(hits: int, of: int, share: float) -> float:
    """Chance 0..1 that of so many, each a hit with chance `share`, `hits` or more are."""
    return _binomial(hits - 1, of, share)[1]


def drawn_at_most(hits: int, drawn: int, marked: int, of: int, share: float = 1.0) -> float:
    """Chance 0..1 of `hits` or fewer among `drawn` ones that are taken from `of` at once (hypergeometric).

    `marked` of all are hits where they are noticed, each with chance `share`.
    """
    # Where all hits are noticed, more of them among those drawn are too many.
    fewest, most = max(0, drawn + marked - of), min(drawn, marked, hits if share >= 1 else drawn)
    ways = log_choose(of, drawn)
    return sum(
        math.exp(log_choose(marked, each) + log_choose(of - marked, drawn - each) - ways)
        * binomial_at_most(hits, each, share)
        for each in range(fewest, most + 1)
    )


def log_choose(of: int, taken: int) -> float:
    """Natural logarithm of how many ways there are to take so many of so many."""
    return math.lgamma(of + 1) - math.lgamma(taken + 1) - math.lgamma(of - taken + 1)


def crossing(rising: Callable[[float], float], level: float, low: float, high: float, width: float = 0.0) -> float:
    """Where a rising function reaches a level, by halving until no number lies between, or until it is known to a width."""
    while low < (middle := (low + high) / 2) < high and high - low > width:
        low, high = (middle, high) if rising(middle) < level else (low, middle)
    return high


def last_whole(holds: Callable[[int], bool], low: int, high: int) -> int:
    """The last whole number from `low` (where it holds) to `high` for which something holds that stops holding only once."""
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if holds(middle) else (low, middle - 1)
    return low


def _gamma(shape: float, x: float) -> tuple[float, float]:
    """Shares of the gamma distribution below and above x, for whole and half shapes (Abramowitz and Stegun 1964, 6.5.4, 6.5.22, 6.5.29).

    Whichever is the smaller is summed and the other is what is left, so that a small share keeps its digits.
    """
    if x <= 0:
        return 0.0, 1.0
    if x < shape:
        first = math.exp(shape * math.log(x) - x - math.lgamma(shape + 1))
        below = _summed(first, (x / (shape + step) for step in itertools.count(1)))
        return below, 1.0 - below
    above = math.erfc(math.sqrt(x)) if shape % 1 else 0.0
    if shape >= 1:
        first = math.exp((shape - 1) * math.log(x) - x - math.lgamma(shape))
        above += _summed(first, ((shape - step) / x for step in range(1, int(shape))))
    return 1.0 - above, above


def _binomial(hits: int, of: int, share: float) -> tuple[float, float]:
    """Chances of `hits` or fewer, and of more."""
    if hits < 0 or hits >= of or share <= 0 or share >= 1:
        few = hits >= of or (hits >= 0 and share <= 0)
        return float(few), float(not few)
    odds = share / (1 - share)
    if hits + 1 <= of * share:
        down = (h / (of - h + 1) / odds for h in range(hits, 0, -1))
        few_ones = _summed(_binomial_term(hits, of, share), down)
        return few_ones, 1.0 - few_ones
    up = ((of - h) / (h + 1) * odds for h in range(hits + 1, of))
    more = _summed(_binomial_term(hits + 1, of, share), up)
    return 1.0 - more, more


def _binomial_term(hits: int, of: int, share: float) -> float:
    return math.exp(log_choose(of, hits) + hits * math.log(share) + (of - hits) * math.log1p(-share))


def _summed(first: float, ratios: Iterable[float]) -> float:
    """The sum of a term and those that follow from it by one ratio after the other."""
    total = term = first
    for ratio in ratios:
        term *= ratio
        total += term
        if term <= total * _FADED:
            break
    return total
