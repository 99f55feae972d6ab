"""Whether insects sit in clumps, and what limits of the mean become if they do.

Limits by Poisson take it that each insect sits wherever it happens to. Aphids don't: a few pieces hold most of them. The counts per piece
then vary more than their mean, and Poisson's limits are too narrow: of 10 pieces with a mean of 5 and k = 0.5 they hold the true mean
in fewer than half of all samples.

Looked for by the index of dispersion, the sum of squares about the mean over the mean (Fisher 1925, Statistical methods for research
workers; for benthos Elliott 1977, Freshwater Biological Association Scientific Publication 25, from memory). Against chi-square, with one
degree of freedom less than there are pieces, it is off where few insects lie on many pieces: below a mean of one the exact chance should be
taken (Merkle 1981, doi 10.1080/09553008114551691, of its abstract). So up to 50 insects the chance is counted out, which holds for any
number of pieces. Above, chi-square calls clumps, at its 1 in 20, in at most 1 in 14 samples without any: counted out for 6 to 300 pieces.

What is fitted is the negative binomial with mean m and variance m + m^2 / k: the smaller k, the tighter the clumps. k by moments is
m^2 / (s^2 - m), good where k is large or the mean small (Anscombe 1950, Biometrika 37:358-382, from memory); by greatest likelihood it
is there where the variance over all pieces, not over one less, exceeds the mean (Bliss and Fisher 1953, Biometrics 9:176-200). Few pieces
give k only roughly: it is there to widen limits, and not to be compared between lots.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from cli.lots.intervals import LEVEL, Between, Count, ends, left_over
from cli.lots.rates import Effort, rate_limits
from cli.lots.tails import chi_square_above, crossing, log_choose

RARE = 0.05
"""Counts that are so uneven by chance in fewer samples than this are called clumped."""
FEWEST_PIECES, FEWEST_INSECTS = 6, 10
"""From both of these on it means something that no clumps show: of samples of six with a mean of 2 and k = 0.5, three of five show them."""
_COUNTED_OUT = 50
"""Up to so many insects the chance is counted out; beyond, chi-square serves."""
_FARTHEST = 1000
"""How many times the mean an upper limit may be before it is none."""
_CLOSE = 1e-9
"""How closely limits are found, as a part of the mean."""
_LOG_K = (-14.0, 14.0)
"""Where k is looked for, as its logarithm: beyond, the counts are all on one piece, or Poisson's to 6 digits."""


@dataclass(frozen=True)
class Spread:
    """How unevenly insects are spread over pieces. All but the first two are None where there is nothing to take them from."""

    pieces: int
    insects: int
    mean: float | None
    """Insects per piece."""
    variance: float | None
    """Of insects per piece, over one less than there are pieces."""
    ratio: float | None
    """Variance over mean: 1 where insects sit wherever they happen to, above 1 in clumps."""
    chance: float | None
    """Chance 0..1 that counts are so uneven or more where insects sit wherever they happen to."""
    k_by_moments: float | None
    """None, too, where the variance is not above the mean."""

    @property
    def enough(self) -> bool:
        """Whether clumps would often have shown."""
        return self.pieces >= FEWEST_PIECES and self.insects >= FEWEST_INSECTS

    @property
    def clumped(self) -> bool:
        """Whether clumps show. False is not a finding that there are none."""
        return self.chance is not None and self.chance < RARE


@dataclass(frozen=True)
class NegativeBinomial:
    """A negative binomial fitted to counts per piece."""

    mean: float
    """Insects per piece."""
    k: float
    """By greatest likelihood."""
    limits: Between
    """Of the mean."""


@dataclass(frozen=True)
class Clumping:
    """Counts per piece, and limits of their mean with and without clumps. Least and most differ where colonies were counted as ranges."""

    least: Spread
    most: Spread
    poisson: Between
    """Limits of insects per piece where they sit wherever they happen to."""
    negative_binomial: Between | None
    """Limits of insects per piece where they sit in clumps. None where the counts fit no negative binomial."""
    k: tuple[float, float] | None
    """By greatest likelihood, of the least and of the most."""

    @property
    def enough(self) -> bool:
        """Whether clumps would often have shown, in the least and in the most."""
        return self.least.enough and self.most.enough

    @property
    def clumped(self) -> bool:
        """Whether the least or the most, or both, show clumps."""
        return self.least.clumped or self.most.clumped


def clumping(counts: Iterable[Count], level: float = LEVEL) -> Clumping:
    """What counts per piece, one or more, say of clumps. Raises ValueError for what is no count or no level, and for no counts at all."""
    pairs = [ends(count) for count in counts]
    if not pairs:
        raise ValueError("there are no counts to look for clumps in")
    least, most = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    total = (sum(least), sum(most))
    fits = (negative_binomial(least, level), negative_binomial(most, level))
    return Clumping(
        least=spread(least),
        most=spread(most),
        poisson=rate_limits(total, Effort(len(pairs)), level),
        negative_binomial=Between(fits[0].limits.low, fits[1].limits.high, level) if fits[0] and fits[1] else None,
        k=(fits[0].k, fits[1].k) if fits[0] and fits[1] else None,
    )


def spread(counts: Iterable[int]) -> Spread:
    """Variance over mean of counts per piece, and the chance of it."""
    each = list(counts)
    n, total = len(each), sum(each)
    mean = total / n if n else None
    if n < 2 or not mean:
        return Spread(n, total, mean, None, None, None, None)
    variance = sum((count - mean) ** 2 for count in each) / (n - 1)
    return Spread(
        pieces=n,
        insects=total,
        mean=mean,
        variance=variance,
        ratio=variance / mean,
        chance=chance_of_spread(each),
        k_by_moments=mean**2 / (variance - mean) if variance > mean else None,
    )


def chance_of_spread(counts: Sequence[int]) -> float:
    """Chance 0..1 of counts so uneven or more, where each insect sits wherever it happens to. Two or more pieces, an insect or more in all.

    Of one total the sum of squares goes with how many pairs of insects share a piece, and that is a whole number to count out.
    """
    n, total = len(counts), sum(counts)
    if total > _COUNTED_OUT:
        return chi_square_above(sum((count - total / n) ** 2 for count in counts) * n / total, n - 1)
    pairs = sum(_pairs(count) for count in counts)
    return max(0.0, 1.0 - _fewer_pairs(pairs, total, n)) if pairs else 1.0


def _fewer_pairs(pairs: int, insects: int, pieces: int) -> float:
    """Chance that fewer than so many pairs of insects share a piece: the pieces one after the other, the last takes what is left."""
    import numpy as np

    left = np.arange(insects, -1, -1)
    chance = np.zeros((insects + 1, pairs))  # of so many insects on the pieces up to now, in so many pairs
    chance[0, 0] = 1.0
    ways = np.array(
        [[log_choose(n, count) if count <= n else -np.inf for n in left.tolist()] for count in range(insects + 1)]
    )
    counts = [count for count in range(insects + 1) if _pairs(count) < pairs]
    for still in range(pieces, 1, -1):
        after = np.zeros_like(chance)
        for count in counts:
            here = np.exp(ways[count] - count * math.log(still) + (left - count) * math.log1p(-1 / still))
            rest = insects + 1 - count
            after[count:, _pairs(count) :] += here[:rest, None] * chance[:rest, : pairs - _pairs(count)]
        chance = after
    return float(sum(chance[insects - count, : pairs - _pairs(count)].sum() for count in counts))


def _pairs(count: int) -> int:
    return count * (count - 1) // 2


def negative_binomial(counts: Iterable[int], level: float = LEVEL) -> NegativeBinomial | None:
    """The negative binomial of greatest likelihood, and limits of its mean from the likelihood over all k, Poisson's among them.

    None where no k is likelier than Poisson. The limits are where twice the logarithm of the likelihood ratio reaches chi-square with one
    degree of freedom. At 95 % they hold the true mean in 92 to 98 of 100 samples of 6 pieces and in 93 to 96 of 20, as drawn for a trial
    with means of 1 to 20 and k of 0.3 to 2. The upper limit of few pieces is far off, and infinite beyond 1000 times the mean.
    Raises ValueError for what is no level.
    """
    left = left_over(level)
    tally = Counter(counts)
    n, total = tally.total(), sum(count * pieces for count, pieces in tally.items())
    if n == 0 or sum(pieces * (count - total / n) ** 2 for count, pieces in tally.items()) <= total:
        return None
    mean, k = total / n, _likeliest_k(tally)
    best = _log_likelihood(tally, mean, k)
    allowed = NormalDist().inv_cdf(1 - left / 2) ** 2 / 2  # chi-square with one degree of freedom is a normal squared

    def lost(times: float) -> float:
        return best - _over_all_k(tally, mean * times)

    low = crossing(lambda times: -lost(times), -allowed, 0.0, 1.0, _CLOSE)
    high = math.inf
    if lost(_FARTHEST) > allowed:
        high = math.exp(crossing(lambda times: lost(math.exp(times)), allowed, 0.0, math.log(_FARTHEST), _CLOSE))
    return NegativeBinomial(mean, k, Between(mean * low, mean * high, level))


def _likeliest_k(tally: Counter[int]) -> float:
    """Where the likelihood's slope in k is zero (Bliss and Fisher 1953): sum over insects of 1 / (k + how many before it on its piece)."""
    n, total = tally.total(), sum(count * pieces for count, pieces in tally.items())
    more_than, left = [], n
    for before in range(max(tally)):
        left -= tally[before]
        more_than.append(left)

    def slope_down(log_k: float) -> float:
        k = math.exp(log_k)
        return n * math.log1p(total / n / k) - sum(pieces / (k + before) for before, pieces in enumerate(more_than))

    return math.exp(crossing(slope_down, 0.0, *_LOG_K))


def _log_likelihood(tally: Counter[int], mean: float, k: float) -> float:
    """Logarithm of the likelihood, less what goes with the counts alone."""
    n, total = tally.total(), sum(count * pieces for count, pieces in tally.items())
    ways = sum(pieces * (math.lgamma(count + k) - math.lgamma(k)) for count, pieces in tally.items() if count)
    return ways + total * (math.log(mean) - math.log(mean + k)) - n * k * math.log1p(mean / k)


def _over_all_k(tally: Counter[int], mean: float) -> float:
    """The greatest log likelihood at that mean, whatever k."""
    if mean <= 0:
        return -math.inf
    return _highest(lambda log_k: _log_likelihood(tally, mean, math.exp(log_k)), *_LOG_K)


def _highest(hill: Callable[[float], float], low: float, high: float) -> float:
    """The height of a function with one top, by golden section."""
    part = (math.sqrt(5) - 1) / 2
    inner, outer = high - part * (high - low), low + part * (high - low)
    at_inner, at_outer = hill(inner), hill(outer)
    for _ in range(30):
        if at_inner < at_outer:
            low, inner, at_inner = inner, outer, at_outer
            outer = low + part * (high - low)
            at_outer = hill(outer)
        else:
            high, outer, at_outer = outer, inner, at_inner
            inner = high - part * (high - low)
            at_inner = hill(inner)
    return max(at_inner, at_outer)
