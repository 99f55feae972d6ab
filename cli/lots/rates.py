"""How many insects there are per piece, per sample or per 100 g, with exact limits (`intervals.py`).

Limits take insects to sit in the produce one by one, each wherever it happens to. Where they sit in clumps the limits are too narrow:
`clumping.py` looks for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cli.lots.detection import ALWAYS, Detection
from cli.lots.intervals import LEVEL, AtMost, Between, Count, count_at_most, count_limits, ends
from cli.lots.per import Per


@dataclass(frozen=True)
class Effort:
    """How much was looked at: so many pieces, samples or hundreds of grams. Raises ValueError where that is not above 0."""

    amount: float
    per: Per = Per.PIECE

    def __post_init__(self) -> None:
        if not 0 < self.amount < math.inf:
            raise ValueError("a rate needs more than nothing to have been looked at")


def grams(mass_g: float) -> Effort:
    """So many grams looked at, as an effort in hundreds of grams. Errors as in `Effort`."""
    return Effort(mass_g / 100, Per.HUNDRED_GRAMS)


@dataclass(frozen=True)
class Rate:
    """What was counted, and the limits of what there is, per unit of effort."""

    least: int
    most: int
    effort: Effort
    detection: Detection
    limits: Between | AtMost
    """One-sided where none was counted, two-sided otherwise. Only the upper limit allows for what is not seen."""

    @property
    def least_counted(self) -> float:
        """As counted, per unit of effort."""
        return self.least / self.effort.amount

    @property
    def most_counted(self) -> float:
        """As counted, per unit of effort; the same where the count is no range."""
        return self.most / self.effort.amount


def rate_limits(count: Count, effort: Effort, level: float = LEVEL, detection: Detection = ALWAYS) -> Between:
    """Two-sided limits of the mean number per unit of effort.

    Seen insects are Poisson if those that are there are, with the mean times the share that is seen. Raises ValueError for what is no count
    or no level.
    """
    found = count_limits(count, level)
    return Between(found.low / effort.amount, _raised(found, effort, detection), level)


def rate_at_most(count: Count, effort: Effort, level: float = LEVEL, detection: Detection = ALWAYS) -> AtMost:
    """One-sided upper limit of the mean number per unit of effort. Of none in n pieces it is 3.00/n, or 3.00/(n d) where a share d is seen.

    Errors as in `rate_limits`.
    """
    return AtMost(_raised(count_at_most(count, level), effort, detection), level)


def rate(count: Count, effort: Effort, level: float = LEVEL, detection: Detection = ALWAYS) -> Rate:
    """A count per unit of effort as a record prints it (`printed_count_limits`). Errors as in `rate_limits`."""
    least, most = ends(count)
    limits = (rate_limits if most else rate_at_most)(count, effort, level, detection)
    return Rate(least, most, effort, detection, limits)


def _raised(found: Between | AtMost, effort: Effort, detection: Detection) -> float:
    """The upper limit per unit of effort, allowing for what is not seen."""
    share = detection.counted_on(found.level_of_high)
    return found.high / effort.amount / share if share > 0 else math.inf
