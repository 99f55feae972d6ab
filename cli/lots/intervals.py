"""Exact limits of what is behind a count or a share, from the chances of all counts that could have come up.

Two kinds that must not be mixed up, so they are two types. `Between` is two-sided: half of what is left over lies below it, half above.
`AtMost` and `AtLeast` are one-sided: all of it lies on one side, and nothing is said of the other. Of none found, the two-sided 95 %
convention goes from 0 to 3.69, and the one-sided 95 % upper limit is 3.00 (2.9957, the rule of three). A record prints the one-sided
one where none was found and the two-sided ones otherwise (`printed_count_limits`).

Counts: Garwood 1936, Biometrika 28:437-442 (half chi-square quantiles with 2 k and 2 k + 2 degrees of freedom). Shares: Clopper and
Pearson 1934, Biometrika 26:404-413. Both hold the true value at least as often as they say whatever it is, mostly oftener.

A count may be a range (least, most), as a colony is counted: the lower limit is then the least one's and the upper limit the most one's,
so that the limits hold wherever in the range the count lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cli.lots.tails import binomial_at_least, crossing, poisson_at_least, poisson_at_most

LEVEL = 0.95
"""How often limits are meant to hold the true value."""

Count = int | tuple[int, int]
"""How many, or (least, most)."""


@dataclass(frozen=True)
class Between:
    """Two-sided limits, in the unit of what they are limits of; `high` is infinite where there is none."""

    low: float
    high: float
    level: float

    @property
    def level_of_high(self) -> float:
        """The level of the upper limit taken by itself: 0.975 of 0.95."""
        return (1 + self.level) / 2


@dataclass(frozen=True)
class AtMost:
    """A one-sided upper limit, in the unit of what it is a limit of; infinite where there is none."""

    high: float
    level: float

    @property
    def level_of_high(self) -> float:
        """The level of the upper limit, which stands by itself."""
        return self.level


@dataclass(frozen=True)
class AtLeast:
    """A one-sided lower limit, in the unit of what it is a limit of."""

    low: float
    level: float


def count_limits(count: Count, level: float = LEVEL) -> Between:
    """Two-sided limits of the mean number in so much produce as was looked at. Of none found the upper one is 3.69: see `count_at_most`.

    Raises ValueError for what is no count, or a level that does not lie between 0 and 1.
    """
    least, most = ends(count)
    left = left_over(level) / 2
    return Between(_mean_from(least, left), _mean_up_to(most, left), level)


def count_at_most(count: Count, level: float = LEVEL) -> AtMost:
    """One-sided upper limit of the mean number in so much produce as was looked at; of none found 3.00. Errors as in `count_limits`."""
    return AtMost(_mean_up_to(ends(count)[1], left_over(level)), level)


def printed_count_limits(count: Count, level: float = LEVEL) -> Between | AtMost:
    """What a record prints: one-sided where none was found, two-sided otherwise. Errors as in `count_limits`.

    Each kind holds at its level. To choose by what was found is a little less: at 95 % the limits so chosen hold the true mean in at
    least 93.8 of 100 lots, the worst being a mean of 3.0.
    """
    return count_limits(count, level) if ends(count)[1] else count_at_most(count, level)


def share_limits(hits: int, of: int, level: float = LEVEL) -> Between:
    """Two-sided limits 0..1 of a share, `hits` of `of` (at least one).

    Raises ValueError for hits that are no count up to `of`, or a level that does not lie between 0 and 1.
    """
    _refuse_no_share(hits, of)
    left = left_over(level) / 2
    return Between(_share_from(hits, of, left), 1 - _share_from(of - hits, of, left), level)


def share_at_most(hits: int, of: int, level: float = LEVEL) -> AtMost:
    """One-sided upper limit 0..1 of a share. Errors as in `share_limits`."""
    _refuse_no_share(hits, of)
    return AtMost(1 - _share_from(of - hits, of, left_over(level)), level)


def share_at_least(hits: int, of: int, level: float = LEVEL) -> AtLeast:
    """One-sided lower limit 0..1 of a share. Errors as in `share_limits`."""
    _refuse_no_share(hits, of)
    return AtLeast(_share_from(hits, of, left_over(level)), level)


def ends(count: Count) -> tuple[int, int]:
    """Least and most of a count. Raises ValueError for what is neither a whole number from 0 up nor two of them, the smaller first."""
    least, most = count if isinstance(count, tuple) else (count, count)
    if not 0 <= least <= most < math.inf or least != int(least) or most != int(most):
        raise ValueError("a count is a whole number from 0 up, or two of them with the smaller one first")
    return int(least), int(most)


def left_over(level: float) -> float:
    """What a level leaves over, 1 - level. Raises ValueError for a level that does not lie between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError("a level lies between 0 and 1")
    return 1 - level


def _mean_up_to(count: int, left: float) -> float:
    """The mean at which so few come up with chance `left`."""
    high = count + 1.0
    while poisson_at_most(count, high) > left:
        high *= 2
    return crossing(lambda mean: -poisson_at_most(count, mean), -left, 0.0, high)


def _mean_from(count: int, left: float) -> float:
    """The mean at which so many come up with chance `left`."""
    if count == 0:
        return 0.0
    high = float(count)
    while poisson_at_least(count, high) < left:
        high *= 2
    return crossing(lambda mean: poisson_at_least(count, mean), left, 0.0, high)


def _share_from(hits: int, of: int, left: float) -> float:
    """The share at which so many hits come up with chance `left`."""
    return 0.0 if hits == 0 else crossing(lambda share: binomial_at_least(hits, of, share), left, 0.0, 1.0)


def _refuse_no_share(hits: int, of: int) -> None:
    if not 0 <= hits <= of or of < 1:
        raise ValueError("a share needs hits from 0 to how many there are, and at least one")
