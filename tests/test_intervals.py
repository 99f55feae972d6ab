"""Exact limits: published figures (tests/outside/limits.csv: source beside each row), statsmodels, and how often they hold, counted out."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from outside_values import rows
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from cli.lots.intervals import (
    AtLeast,
    AtMost,
    Between,
    count_at_most,
    count_limits,
    printed_count_limits,
    share_at_least,
    share_at_most,
    share_limits,
)

LEVELS = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
QUICK = settings(max_examples=40, deadline=None)


def published(topic: str, word: str = "") -> list[tuple[list[float], list[float], float]]:
    """Numbers in the input, expected figures and tolerance of the rows of one topic that have that word."""
    found = [
        (
            [float(each) for each in re.findall(r"\d+(?:\.\d+)?", row["input"])],
            [float(each) for each in row["expected"].split(";")],
            float(row["tolerance"]),
        )
        for row in rows("limits")
        if row["topic"] == topic and word in row["input"]
    ]
    assert found
    return found


class TestPublishedFigures:
    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("poisson_garwood"))
    def test_two_sided_limits_of_counts(self, said: list[float], expected: list[float], tolerance: float) -> None:
        found = count_limits(int(said[0]))
        assert [found.low, found.high] == pytest.approx(expected, abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("poisson_upper"))
    def test_one_sided_limits_of_counts(self, said: list[float], expected: list[float], tolerance: float) -> None:
        assert count_at_most(int(said[0])).high == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("poisson_detect"))
    def test_the_mean_that_would_have_shown(self, said: list[float], expected: list[float], tolerance: float) -> None:
        """The mean of which at least one comes up that often is the one-sided upper limit of none found."""
        assert count_at_most(0, said[1]).high == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("clopper_pearson", "lower;upper"))
    def test_two_sided_limits_of_shares(self, said: list[float], expected: list[float], tolerance: float) -> None:
        found = share_limits(int(said[0]), int(said[1]))
        assert [found.low, found.high] == pytest.approx(expected, abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("spike_recovery"))
    def test_limits_of_a_recovery(self, said: list[float], expected: list[float], tolerance: float) -> None:
        found = share_limits(int(said[0]), int(said[1]))
        assert [said[0] / said[1], found.low, found.high] == pytest.approx(expected, abs=tolerance)

    @pytest.mark.parametrize("side", ["upper", "lower"])
    def test_one_sided_limits_of_shares(self, side: str) -> None:
        ((said, expected, tolerance),) = published("clopper_pearson", f"one-sided 95% {side}")
        hits, of = int(said[0]), int(said[1])
        found = share_at_most(hits, of).high if side == "upper" else share_at_least(hits, of).low
        assert found == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("pod_zero_miss"))
    def test_all_of_so_many_seen(self, said: list[float], expected: list[float], tolerance: float) -> None:
        assert share_at_least(int(said[0]), int(said[1])).low == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("rule_of_three", "exact"))
    def test_none_of_so_many(self, said: list[float], expected: list[float], tolerance: float) -> None:
        assert share_at_most(0, int(said[1])).high == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("said", "expected", "tolerance"), published("rule_of_three", "3/n"))
    def test_the_rule_of_three_is_a_little_above(
        self, said: list[float], expected: list[float], tolerance: float
    ) -> None:
        events, n = said[0], said[1]
        assert (events, 3 / n) == (0, pytest.approx(expected[0], abs=tolerance))
        assert 0.998 * expected[0] < count_at_most(0).high / n < expected[0]


class TestAgainstStatsmodels:
    @QUICK
    @given(st.integers(0, 5000), LEVELS)
    def test_counts(self, count: int, level: float) -> None:
        low, high = confint_poisson(count, 1, method="exact-c", alpha=1 - level)
        found = count_limits(count, level)
        assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)

    @QUICK
    @given(st.integers(1, 3000), LEVELS, st.data())
    def test_shares(self, of: int, level: float, data: st.DataObject) -> None:
        hits = data.draw(st.integers(0, of))
        low, high = proportion_confint(hits, of, alpha=1 - level, method="beta")
        found = share_limits(hits, of, level)
        assert (found.low, found.high) == pytest.approx((low, high), rel=1e-8)

    @pytest.mark.parametrize("count", [10**5, 10**7])
    def test_huge_counts(self, count: int) -> None:
        """Half chi-square quantiles, by scipy."""
        found = count_limits(count)
        expected = (stats.chi2.ppf(0.025, 2 * count) / 2, stats.chi2.ppf(0.975, 2 * count + 2) / 2)
        assert (found.low, found.high) == pytest.approx(expected, rel=1e-9)

    def test_huge_samples(self) -> None:
        low, high = proportion_confint(3, 10**7, method="beta")
        found = share_limits(3, 10**7)
        assert (found.low, found.high) == pytest.approx((low, high), rel=1e-6)


class TestWhatMustHold:
    @QUICK
    @given(st.integers(0, 300), st.integers(0, 50), LEVELS)
    def test_more_found_means_more_there(self, count: int, more: int, level: float) -> None:
        few, many = count_limits(count, level), count_limits(count + more, level)
        assert few.low <= many.low
        assert few.high <= many.high
        assert count_at_most(count, level).high <= count_at_most(count + more, level).high
        assert few.low <= count <= few.high

    @QUICK
    @given(st.integers(0, 150), st.integers(0, 8), LEVELS)
    def test_a_range_has_the_limits_of_all_counts_in_it(self, least: int, more: int, level: float) -> None:
        found = count_limits((least, least + more), level)
        each = [count_limits(count, level) for count in range(least, least + more + 1)]
        assert found == Between(min(one.low for one in each), max(one.high for one in each), level)
        assert count_at_most((least, least + more), level) == count_at_most(least + more, level)

    @QUICK
    @given(st.integers(1, 200), st.data())
    def test_a_one_sided_limit_is_one_end_of_wider_two_sided_ones(self, of: int, data: st.DataObject) -> None:
        hits = data.draw(st.integers(0, of))
        both = share_limits(hits, of, 0.9)
        assert share_at_most(hits, of, 0.95).high == pytest.approx(both.high)
        assert share_at_least(hits, of, 0.95).low == pytest.approx(both.low)
        assert count_at_most(hits, 0.95).high == pytest.approx(count_limits(hits, 0.9).high)
        assert (both.level_of_high, share_at_most(hits, of, 0.95).level_of_high) == (pytest.approx(0.95), 0.95)

    @QUICK
    @given(st.integers(0, 200), st.integers(1, 200))
    def test_hits_and_misses_are_two_sides_of_one_share(self, hits: int, misses: int) -> None:
        of = hits + misses
        one, other = share_limits(hits, of), share_limits(misses, of)
        assert (one.low, one.high) == pytest.approx((1 - other.high, 1 - other.low))


def at_the_ends(limits: list[Between | AtMost]) -> NDArray[np.float64]:
    """True values just within and just beyond every limit: how often limits hold is least at one of these."""
    ends = np.array([(getattr(each, "low", 0.0), each.high) for each in limits]).ravel()
    return np.concatenate([ends - 1e-9, ends + 1e-9])


def held(
    limits: list[Between | AtMost], chances: NDArray[np.float64], truths: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How often the limits hold each true value, from the chance (counts, truths) of each count."""
    low = np.array([getattr(each, "low", 0.0) for each in limits])[:, None]
    high = np.array([each.high for each in limits])[:, None]
    return (chances * ((low <= truths) & (truths <= high))).sum(axis=0)


class TestHowOftenTheyHold:
    """Counted out over all counts that can come up, with scipy's chances; nothing is drawn."""

    COUNTS = np.arange(120)

    def of_counts(self, limits: list[Between | AtMost]) -> NDArray[np.float64]:
        truths = at_the_ends(limits[:40])
        truths = truths[truths > 0]
        return held(limits, stats.poisson.pmf(self.COUNTS[:, None], truths), truths)

    @pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
    def test_limits_of_counts_hold_as_often_as_they_say(self, level: float) -> None:
        both: list[Between | AtMost] = [count_limits(int(count), level) for count in self.COUNTS]
        one: list[Between | AtMost] = [count_at_most(int(count), level) for count in self.COUNTS]
        assert self.of_counts(both).min() >= level
        assert self.of_counts(one).min() == pytest.approx(level, abs=1e-6)

    def test_what_a_record_prints_holds_in_at_least_93_8_of_100_lots(self) -> None:
        printed = [printed_count_limits(int(count)) for count in self.COUNTS]
        assert self.of_counts(printed).min() == pytest.approx(0.9382, abs=1e-4)

    @QUICK
    @given(st.integers(1, 40), st.sampled_from([0.8, 0.95, 0.99]))
    def test_limits_of_shares_hold_as_often_as_they_say(self, of: int, level: float) -> None:
        hits = range(of + 1)
        both: list[Between | AtMost] = [share_limits(each, of, level) for each in hits]
        one: list[Between | AtMost] = [share_at_most(each, of, level) for each in hits]
        for limits in (both, one):
            truths = at_the_ends(limits)
            truths = truths[(truths > 0) & (truths < 1)]
            often = held(limits, stats.binom.pmf(np.arange(of + 1)[:, None], of, truths), truths)
            assert often.min() >= level - 1e-6


class TestNoneFound:
    def test_the_two_conventions_are_two_types(self) -> None:
        assert count_limits(0) == Between(0.0, pytest.approx(3.689, abs=5e-4), 0.95)
        assert count_at_most(0) == AtMost(pytest.approx(2.996, abs=5e-4), 0.95)
        assert count_limits(0) != count_at_most(0)

    def test_a_record_prints_the_one_sided_one_and_two_sided_ones_otherwise(self) -> None:
        assert printed_count_limits(0) == count_at_most(0)
        assert printed_count_limits((0, 0), 0.9) == count_at_most(0, 0.9)
        assert printed_count_limits(4) == count_limits(4)
        assert printed_count_limits((0, 4)) == count_limits((0, 4))


class TestEdges:
    def test_all_and_none_end_at_one_and_at_nothing(self) -> None:
        assert share_limits(0, 1) == Between(0.0, pytest.approx(0.975), 0.95)
        assert share_limits(1, 1) == Between(pytest.approx(0.025), 1.0, 0.95)
        assert share_at_least(0, 9) == AtLeast(0.0, 0.95)
        assert share_at_most(9, 9) == AtMost(1.0, 0.95)

    @pytest.mark.parametrize("count", [-1, 1.5, float("nan"), float("inf"), (3, 2), (-1, 2), (0, 2.5)])
    def test_what_is_no_count_is_refused(self, count: int | tuple[int, int]) -> None:
        for limits in (count_limits, count_at_most, printed_count_limits):
            with pytest.raises(ValueError, match="a count is a whole number"):
                limits(count)

    @pytest.mark.parametrize("level", [0, 1, -0.1, 1.5, 95, float("nan")])
    def test_what_is_no_level_is_refused(self, level: float) -> None:
        for call in (
            lambda: count_limits(1, level),
            lambda: count_at_most(0, level),
            lambda: share_limits(1, 2, level),
        ):
            with pytest.raises(ValueError, match="a level lies between 0 and 1"):
                call()

    @pytest.mark.parametrize(("hits", "of"), [(0, 0), (-1, 5), (6, 5)])
    def test_a_share_of_nothing_is_refused(self, hits: int, of: int) -> None:
        for limits in (share_limits, share_at_most, share_at_least):
            with pytest.raises(ValueError, match="a share needs"):
                limits(hits, of)
