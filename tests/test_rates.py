"""Rates and how often insects are seen: published rates (tests/outside/limits.csv), by hand, and how often limits hold, counted out."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_values import rows
from scipy import stats

from cli.lots.detection import ALWAYS, Assumed, Detection, Measured
from cli.lots.intervals import AtMost, Between, count_at_most, count_limits
from cli.lots.per import Per
from cli.lots.rates import Effort, Rate, grams, rate, rate_at_most, rate_limits

SEEN = st.builds(Assumed, st.floats(0.01, 1)) | st.integers(1, 60).flatmap(
    lambda put_in: st.builds(Measured, st.integers(1, put_in), st.just(put_in))
)
EFFORTS = st.builds(Effort, st.floats(0.01, 1e4), st.sampled_from(Per))


@pytest.mark.parametrize(
    "row", [row for row in rows("limits") if row["topic"] == "poisson_rate"], ids=lambda row: row["input"]
)
def test_the_limits_are_the_published_ones(row: dict[str, str]) -> None:
    events, units = re.findall(r"\d+(?:\.\d+)?", row["input"])[:2]
    found = rate_limits(int(events), Effort(float(units)))
    expected = [float(each) for each in row["expected"].split(";")]
    assert [found.low, found.high] == pytest.approx(expected, abs=float(row["tolerance"]))


class TestRates:
    def test_none_in_n_pieces_is_at_most_three_over_n(self) -> None:
        found = rate(0, Effort(6))
        assert found.limits == AtMost(pytest.approx(3.00 / 6, rel=2e-3), 0.95)
        assert (found.least_counted, found.most_counted) == (0, 0)

    def test_none_in_n_pieces_of_which_half_is_seen_is_at_most_six_over_n(self) -> None:
        assert rate(0, Effort(6), detection=Assumed(0.5)).limits == AtMost(pytest.approx(6.00 / 6, rel=2e-3), 0.95)

    def test_a_range_is_limited_by_its_ends(self) -> None:
        found = rate((3, 7), grams(250))
        assert found.effort == Effort(2.5, Per.HUNDRED_GRAMS)
        assert (found.least_counted, found.most_counted) == (pytest.approx(1.2), pytest.approx(2.8))
        assert found.limits == Between(count_limits(3).low / 2.5, count_limits(7).high / 2.5, 0.95)

    def test_only_none_at_all_is_none_found(self) -> None:
        assert isinstance(rate((0, 2), Effort(6)).limits, Between)

    @settings(max_examples=50, deadline=None)
    @given(st.integers(0, 100), EFFORTS)
    def test_where_all_are_seen_they_are_the_counts_limits_shared_out(self, count: int, effort: Effort) -> None:
        both, one = count_limits(count, 0.9), count_at_most(count, 0.9)
        assert rate_limits(count, effort, 0.9) == Between(both.low / effort.amount, both.high / effort.amount, 0.9)
        assert rate_at_most(count, effort, 0.9) == AtMost(one.high / effort.amount, 0.9)

    @settings(max_examples=50, deadline=None)
    @given(st.integers(0, 100), EFFORTS, SEEN)
    def test_what_is_not_seen_raises_the_upper_limit_alone(
        self, count: int, effort: Effort, detection: Detection
    ) -> None:
        plain, careful = rate_limits(count, effort), rate_limits(count, effort, detection=detection)
        assert careful.low == plain.low
        assert careful.high >= plain.high
        assert careful.low <= count / effort.amount <= careful.high
        assert rate_at_most(count, effort, detection=detection).high >= rate_at_most(count, effort).high

    def test_where_none_put_in_was_seen_there_is_no_upper_limit(self) -> None:
        blind = Measured(0, 8)
        assert rate_at_most(0, Effort(3), detection=blind).high == math.inf
        assert rate_limits(2, Effort(3), detection=blind) == Between(count_limits(2).low / 3, math.inf, 0.95)

    @pytest.mark.parametrize("amount", [0, -1, math.inf, math.nan])
    def test_nothing_looked_at_is_refused(self, amount: float) -> None:
        with pytest.raises(ValueError, match="more than nothing"):
            Effort(amount)
        with pytest.raises(ValueError, match="more than nothing"):
            grams(amount)

    def test_what_is_no_count_or_level_is_refused(self) -> None:
        with pytest.raises(ValueError, match="a count is"):
            rate(-1, Effort(1))
        with pytest.raises(ValueError, match="a level lies"):
            rate(0, Effort(1), 1.0)

    def test_a_rate_is_a_value(self) -> None:
        assert rate(2, Effort(3)) == Rate(2, 2, Effort(3), ALWAYS, rate_limits(2, Effort(3)))


class TestHowOftenInsectsAreSeen:
    @pytest.mark.parametrize("share", [0, -0.1, 1.01, math.nan])
    def test_a_share_that_is_none_is_refused(self, share: float) -> None:
        with pytest.raises(ValueError, match="lies above 0"):
            Assumed(share)

    @pytest.mark.parametrize(("seen", "put_in"), [(0, 0), (3, 2), (-1, 2)])
    def test_a_trial_that_is_none_is_refused(self, seen: int, put_in: int) -> None:
        with pytest.raises(ValueError, match="none to all"):
            Measured(seen, put_in)

    def test_what_was_entered_is_used_as_it_stands(self) -> None:
        assert Assumed(0.5).counted_on() == Assumed(0.5).counted_on(0.999) == 0.5

    def test_what_was_measured_is_used_by_its_lower_limit(self) -> None:
        trial = Measured(8, 10)
        assert trial.share == 0.8
        # The root of P(8 or more of 10) = 0.05, by scipy.
        assert stats.binom.sf(7, 10, trial.counted_on()) == pytest.approx(0.05)
        assert trial.limits().low == pytest.approx(trial.counted_on(0.975))
        assert trial.counted_on(0.975) < trial.counted_on(0.95) < trial.share
        assert Measured(0, 10).counted_on() == 0

    @settings(max_examples=50, deadline=None)
    @given(st.integers(1, 100))
    def test_all_seen_of_more_is_more_to_go_by(self, put_in: int) -> None:
        assert Measured(put_in, put_in).counted_on() < Measured(put_in + 1, put_in + 1).counted_on() < 1

    @pytest.mark.parametrize("put_in", [3, 10, 30, 100])
    @pytest.mark.parametrize("seen", [0.1, 0.5, 0.8, 0.95, 1.0])
    def test_a_rate_with_a_measured_share_holds_as_often_as_it_says(self, put_in: int, seen: float) -> None:
        """Counted out over all counts and all outcomes of the trial, with scipy's chances."""
        counts, trials = np.arange(150), np.arange(put_in + 1)
        found = np.array([count_at_most(int(count)).high for count in counts])
        used = np.array([Measured(int(trial), put_in).counted_on() for trial in trials])
        for mean in np.geomspace(0.3, 60, 60):
            held = found[:, None] >= mean * used
            chances = stats.poisson.pmf(counts, mean * seen)[:, None] * stats.binom.pmf(trials, put_in, seen)
            assert (chances * held).sum() >= 0.95
