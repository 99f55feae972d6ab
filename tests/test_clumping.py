"""Clumps: published mites (tests/outside/clumps.csv: source beside each row), statsmodels and scipy, and all ways counted out."""

from __future__ import annotations

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_values import rows
from scipy import optimize, stats
from statsmodels.discrete.discrete_model import NegativeBinomial as TheirNegativeBinomial

from cli.lots.clumping import (
    FEWEST_INSECTS,
    FEWEST_PIECES,
    RARE,
    Clumping,
    Spread,
    chance_of_spread,
    clumping,
    negative_binomial,
    spread,
)
from cli.lots.intervals import Between
from cli.lots.rates import Effort, rate_limits

MITES = [mites for mites, leaves in enumerate((70, 38, 17, 10, 9, 3, 2, 1)) for _ in range(leaves)]
"""Bliss and Fisher's red mites on 150 apple leaves."""
QUICK = settings(max_examples=40, deadline=None)
COUNTS = st.lists(st.integers(0, 30), min_size=2, max_size=30).filter(any)


def drawn(seed: int, pieces: int, mean: float, k: float) -> list[int]:
    return np.random.default_rng(seed).negative_binomial(k, k / (k + mean), pieces).tolist()


CLUMPED = [drawn(1, 8, 3, 0.4), drawn(2, 20, 5, 1), drawn(3, 40, 1, 0.3), drawn(4, 12, 30, 2), MITES]


class TestPublishedMites:
    def test_are_the_counts_in_the_table(self) -> None:
        for row in rows("clumps"):
            assert " ".join(str(MITES.count(mites)) for mites in range(8)) in row["input"]

    def test_have_the_published_k(self) -> None:
        row = rows("clumps")[0]
        fitted = negative_binomial(MITES)
        assert fitted is not None
        assert fitted.k == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))

    def test_have_the_published_figures(self) -> None:
        row, found = rows("clumps")[1], spread(MITES)
        expected = [float(each) for each in row["expected"].split(";")]
        assert [found.mean, found.variance, found.k_by_moments] == pytest.approx(expected, abs=float(row["tolerance"]))


class TestSpread:
    @QUICK
    @given(COUNTS)
    def test_is_variance_over_mean(self, counts: list[int]) -> None:
        found = spread(counts)
        assert (found.pieces, found.insects) == (len(counts), sum(counts))
        assert found.mean == pytest.approx(np.mean(counts))
        assert found.variance == pytest.approx(np.var(counts, ddof=1))
        assert found.ratio == pytest.approx(np.var(counts, ddof=1) / np.mean(counts))
        assert (found.k_by_moments is None) == (found.variance <= found.mean)

    def test_by_hand(self) -> None:
        found = spread([0, 0, 6, 2])
        assert (found.mean, found.variance, found.ratio) == (2, 8, 4)
        assert found.k_by_moments == pytest.approx(4 / 6)

    def test_of_nothing_or_of_one_is_none(self) -> None:
        assert spread([]) == Spread(0, 0, None, None, None, None, None)
        assert spread([0, 0]) == Spread(2, 0, 0, None, None, None, None)
        assert spread([7]) == Spread(1, 7, 7, None, None, None, None)

    @pytest.mark.parametrize("counts", [[2, 0, 0], [3, 1, 0, 0], [2, 2, 1], [1, 1, 1], [5, 0, 0], [4, 2, 0], [6, 1]])
    def test_its_chance_is_that_of_all_ways_to_sit(self, counts: list[int]) -> None:
        """Every insect on every piece in turn."""
        squares = sum(count**2 for count in counts)
        ways = itertools.product(range(len(counts)), repeat=sum(counts))
        so_uneven = sum(sum(count**2 for count in Counter(way).values()) >= squares for way in ways)
        assert chance_of_spread(counts) == pytest.approx(so_uneven / len(counts) ** sum(counts), abs=1e-12)

    @pytest.mark.parametrize("counts", [[60, 1, 5, 20], [20] * 5, [1] * 51, [9, 0, 3, 8, 15, 2, 30]])
    def test_its_chance_beyond_fifty_insects_is_chi_square(self, counts: list[int]) -> None:
        """scipy's test of equal expected counts is the same index."""
        assert sum(counts) > 50
        assert chance_of_spread(counts) == pytest.approx(stats.chisquare(counts).pvalue, abs=1e-12)

    @pytest.mark.parametrize("counts", [[12, 3, 9, 1, 20, 5], [4, 9, 11, 2, 13, 6, 5]])
    def test_the_counted_chance_goes_over_into_chi_square(self, counts: list[int]) -> None:
        assert sum(counts) == 50
        assert chance_of_spread(counts) == pytest.approx(stats.chisquare(counts).pvalue, abs=0.01)

    @pytest.mark.parametrize(("pieces", "insects"), [(2, 12), (4, 8), (6, 6), (6, 12), (10, 5), (15, 9)])
    def test_where_there_are_no_clumps_it_says_so_seldom(self, pieces: int, insects: int) -> None:
        """Counted out over all ways to share so many insects among the pieces."""
        wrong = 0.0
        for parts in partitions(insects, pieces):
            orders = math.factorial(pieces) // math.prod(math.factorial(n) for n in Counter(parts).values())
            ways = math.factorial(insects) // math.prod(math.factorial(part) for part in parts)
            if spread(parts).clumped:
                wrong += orders * ways / pieces**insects
        assert 0 < wrong <= RARE

    def test_two_on_one_of_thirty_are_a_chance_of_one_in_thirty(self) -> None:
        """Chi-square would call it far rarer."""
        counts = [2] + [0] * 29
        assert chance_of_spread(counts) == pytest.approx(1 / 30)
        assert stats.chisquare(counts).pvalue < 0.0011

    def test_few_can_show_clumps_but_not_that_there_are_none(self) -> None:
        assert spread([5, 0, 0, 0]).clumped
        assert not spread([5, 0, 0, 0]).enough
        assert spread([2] * FEWEST_PIECES).enough
        assert not spread([2] * FEWEST_PIECES).clumped
        assert not spread([2] * (FEWEST_PIECES - 1)).enough
        assert not spread([FEWEST_INSECTS - 1] + [0] * 9).enough


def partitions(total: int, parts: int, largest: int | None = None) -> list[list[int]]:
    """All ways to write a total as so many numbers from 0 up, the largest first."""
    if parts == 0:
        return [[]] if total == 0 else []
    top = total if largest is None else min(total, largest)
    return [[first, *rest] for first in range(top, -1, -1) for rest in partitions(total - first, parts - 1, first)]


def log_likelihood(counts: list[int], mean: float, k: float) -> float:
    return float(stats.nbinom.logpmf(counts, k, k / (k + mean)).sum())


class TestNegativeBinomial:
    @pytest.mark.parametrize("counts", CLUMPED)
    def test_is_statsmodels_own(self, counts: list[int]) -> None:
        theirs = TheirNegativeBinomial(np.array(counts), np.ones((len(counts), 1))).fit(disp=0, maxiter=500, gtol=1e-8)
        fitted = negative_binomial(counts)
        assert fitted is not None
        assert fitted.mean == pytest.approx(math.exp(theirs.params[0]), rel=1e-5)
        assert fitted.k == pytest.approx(1 / theirs.params[1], rel=1e-3)
        assert log_likelihood(counts, fitted.mean, fitted.k) == pytest.approx(theirs.llf, abs=1e-6)
        assert log_likelihood(counts, fitted.mean, fitted.k) >= theirs.llf - 1e-9

    @pytest.mark.parametrize("counts", CLUMPED)
    @pytest.mark.parametrize("level", [0.8, 0.95])
    def test_its_limits_are_where_the_likelihood_ratio_says(self, counts: list[int], level: float) -> None:
        """Likelihood over all k by scipy's distribution and its minimiser."""
        fitted = negative_binomial(counts, level)
        assert fitted is not None
        best = log_likelihood(counts, fitted.mean, fitted.k)
        for limit in (fitted.limits.low, fitted.limits.high):
            there = optimize.minimize_scalar(
                lambda log_k, limit=limit: -log_likelihood(counts, limit, math.exp(log_k)),
                bounds=(-8, 8),
                method="bounded",
            )
            assert 2 * (best + there.fun) == pytest.approx(stats.chi2.ppf(level, 1), abs=1e-4)

    def test_is_none_where_counts_vary_no_more_than_by_poisson(self) -> None:
        for counts in ([], [0, 0], [5], [2, 2, 2], [1, 2, 3], [0, 1, 0, 1]):
            assert negative_binomial(counts) is None

    @QUICK
    @given(st.lists(st.integers(0, 12), min_size=2, max_size=12).filter(any), st.randoms(use_true_random=False))
    def test_the_order_of_pieces_is_all_one(self, counts: list[int], random: object) -> None:
        other = list(counts)
        random.shuffle(other)  # type: ignore[attr-defined]
        one, two = negative_binomial(counts), negative_binomial(other)
        assert (one is None) == (two is None)
        assert one is None or one.k == pytest.approx(two.k)  # type: ignore[union-attr]
        assert chance_of_spread(counts) == pytest.approx(chance_of_spread(other))

    def test_has_no_upper_limit_where_one_of_few_pieces_holds_all(self) -> None:
        fitted = negative_binomial([0, 0, 0, 0, 0, 30])
        assert fitted is not None
        assert fitted.limits.high == math.inf
        assert 0 < fitted.limits.low < 1

    def test_its_limits_hold_about_as_often_as_they_say(self) -> None:
        """As drawn: means of 5 on 20 pieces with k = 0.5, of which Poisson's limits hold fewer than half."""
        fits = [(drawn(seed, 20, 5, 0.5)) for seed in range(60)]
        by_clumps = [negative_binomial(counts) for counts in fits]
        by_poisson = [rate_limits(sum(counts), Effort(20)) for counts in fits]
        held = np.mean([each is not None and each.limits.low <= 5 <= each.limits.high for each in by_clumps])
        assert 0.9 <= held <= 0.99
        assert np.mean([each.low <= 5 <= each.high for each in by_poisson]) < 0.6


class TestClumping:
    @pytest.mark.parametrize("counts", CLUMPED)
    def test_clumps_widen_the_limits_at_both_ends(self, counts: list[int]) -> None:
        found = clumping(counts)
        assert found.clumped
        assert found.enough
        assert found.negative_binomial is not None
        assert found.poisson == rate_limits(sum(counts), Effort(len(counts)))
        assert found.negative_binomial.low < found.poisson.low
        assert found.negative_binomial.high > found.poisson.high
        fitted = negative_binomial(counts)
        assert fitted is not None
        assert found.k == (fitted.k, fitted.k)
        assert found.least == found.most == spread(counts)

    def test_a_range_goes_by_its_ends(self) -> None:
        counts: list[int | tuple[int, int]] = [0, (4, 9), 0, 0, 7, (0, 2), 0, 12]
        found = clumping(counts, 0.9)
        least, most = [0, 4, 0, 0, 7, 0, 0, 12], [0, 9, 0, 0, 7, 2, 0, 12]
        assert (found.least, found.most) == (spread(least), spread(most))
        assert found.poisson == rate_limits((sum(least), sum(most)), Effort(8), 0.9)
        fits = negative_binomial(least, 0.9), negative_binomial(most, 0.9)
        assert fits[0] is not None
        assert fits[1] is not None
        assert found.negative_binomial == Between(fits[0].limits.low, fits[1].limits.high, 0.9)
        assert found.k == (fits[0].k, fits[1].k)

    def test_either_end_can_show_clumps(self) -> None:
        even_at_most: list[int | tuple[int, int]] = [(0, 10), (0, 10), (10, 10), (0, 10), (0, 10), (0, 10)]
        found = clumping(even_at_most)
        assert (found.least.clumped, found.most.clumped, found.clumped) == (True, False, True)
        assert found.negative_binomial is None
        assert found.k is None

    def test_none_found_shows_nothing(self) -> None:
        found = clumping([0] * 10)
        assert found == Clumping(spread([0] * 10), spread([0] * 10), rate_limits(0, Effort(10)), None, None)
        assert (found.clumped, found.enough) == (False, False)
        assert not clumping([(0, 2)] * 10).enough

    def test_no_counts_and_what_is_no_count_are_refused(self) -> None:
        with pytest.raises(ValueError, match="there are no counts"):
            clumping([])
        with pytest.raises(ValueError, match="a count is"):
            clumping([1, -1])
        with pytest.raises(ValueError, match="a level lies"):
            clumping([1, 5], 2)
