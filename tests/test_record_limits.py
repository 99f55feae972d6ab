"""Limits of what was found in a lot, held to scipy's chi-square (Garwood 1936) and to statsmodels' exact binomial (Clopper and Pearson
1934). All photographs, people and lots are invented (`lot_folder.py`)."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lot_folder import People, Taken, people_on
from scipy.stats import chi2
from statsmodels.stats.proportion import proportion_confint
from test_house import forbidden
from test_record_counts import leaf, only

from cli.lots.entries import (
    DetectionGiven,
    LotOf,
    Sampled,
)
from cli.lots.intervals import AtMost, Between
from cli.lots.per import Per
from cli.lots.pieces import Looked, pieces_at_most
from cli.lots.record_counts import detection_of
from cli.lots.record_counts_words import (
    NO_GRAMS,
    NONE_CONFIRMED,
    counted_lines,
    kind_grid,
    sample_grid,
    sample_tells,
)


def garwood(count: int, amount: float, level: float = 0.95) -> tuple[float, float]:
    """Half chi-square quantiles (Garwood 1936)."""
    left = (1 - level) / 2
    low = chi2.ppf(left, 2 * count) / 2 / amount if count else 0.0
    return float(low), float(chi2.ppf(1 - left, 2 * count + 2) / 2 / amount)


class TestLimits:
    def lot(self, found: int, pieces: int) -> People:
        people = people_on(*(leaf(f"{k}.jpg", str(k + 1), 1) for k in range(max(found, 1))))
        for k, shot in enumerate(people.shelf.shots):
            speck = people.flags(shot.name)[0]
            people.insect(speck) if k < found else people.answer(speck)
        people.enter(Sampled("1", pieces, 250.0, "raw"))
        return people

    @pytest.mark.parametrize("found", [1, 2, 5])
    def test_rates_are_garwoods(self, found: int) -> None:
        for rate, amount in zip(only(self.lot(found, 10)).rates(), (1, 10, 2.5), strict=True):
            assert isinstance(rate.limits, Between)
            assert (rate.limits.low, rate.limits.high) == pytest.approx(garwood(found, amount), rel=1e-9)
            assert rate.effort.amount == amount

    def test_none_has_a_one_sided_limit(self) -> None:
        counted = only(self.lot(0, 10))
        assert [rate.effort.per for rate in counted.rates()] == [Per.SAMPLE, Per.PIECE, Per.HUNDRED_GRAMS]
        for rate, amount in zip(counted.rates(), (1, 10, 2.5), strict=True):
            assert isinstance(rate.limits, AtMost)
            # The rule of three: 2.9957 of none.
            assert rate.limits.high == pytest.approx(chi2.ppf(0.95, 2) / 2 / amount, rel=1e-9)
        assert NONE_CONFIRMED in counted_lines(counted)
        assert kind_grid(counted) is None

    @pytest.mark.parametrize("found", [1, 3, 6])
    def test_pieces_are_exact_binomial(self, found: int) -> None:
        lines = " ".join(counted_lines(only(self.lot(found, 6))))
        low, high = proportion_confint(found, 6, alpha=0.05, method="beta")
        assert f"{found} of 6 pieces found to hold insects." in lines
        said = [f"{float(f'{100 * end:.1e}'):g}%" for end in (low, high)]
        assert f"{said[0]} to {said[1]} of the lot's pieces may hold insects" in lines

    def test_the_published_figures_of_six_pieces(self) -> None:
        # None of six: 1 - 0.05 ** (1/6) = 39 %; where half of the insects are seen, 79 %. By hand, from the binomial.
        assert pytest.approx(0.393, abs=5e-4) == 1 - 0.05 ** (1 / 6)
        assert pieces_at_most(Looked(6)).high == pytest.approx(1 - 0.05 ** (1 / 6), rel=1e-9)
        people = self.lot(0, 6)
        lines = " ".join(sample_tells(only(people)))
        assert "still allow up to 39% of the lot's pieces" in lines
        assert "79% if half of them are" in lines
        people.enter(DetectionGiven(assumed=0.5))
        assert "still allow up to 79% of the lot's pieces" in " ".join(sample_tells(only(people)))
        assert "Up to 79% of the lot's pieces may hold insects" in " ".join(counted_lines(only(people)))

    def test_upper_limits_alone_are_raised_by_what_is_not_seen(self) -> None:
        people = self.lot(2, 10)
        plain = only(people).rates()[1].limits
        people.enter(DetectionGiven(assumed=0.5))
        raised = only(people).rates()[1].limits
        assert isinstance(plain, Between)
        assert isinstance(raised, Between)
        assert (raised.low, raised.high) == pytest.approx((plain.low, plain.high / 0.5), rel=1e-9)
        people.enter(DetectionGiven(seen=0, put_in=20))
        assert only(people).rates()[1].limits.high == float("inf")
        assert "no upper limit per piece" in str(kind_grid(only(people)))

    def test_a_measured_share_is_used_by_its_own_lower_limit(self) -> None:
        people = self.lot(0, 10)
        people.enter(DetectionGiven(seen=18, put_in=20))
        # One-sided 95 % by Clopper and Pearson: the two-sided 90 %.
        share = proportion_confint(18, 20, alpha=0.1, method="beta")[0]
        assert detection_of(people.lot()).counted_on(0.95) == pytest.approx(share, rel=1e-6)
        assert only(people).rates()[1].limits.high == pytest.approx(chi2.ppf(0.95, 2) / 2 / 10 / share, rel=1e-6)

    def test_a_lot_of_known_size(self) -> None:
        people = self.lot(0, 6)
        people.enter(LotOf(12))
        assert only(people).in_lot == 12
        assert "of the lot's 12 pieces" in " ".join(sample_tells(only(people)))
        # Fewer than were looked at can't be.
        people.enter(LotOf(5))
        assert only(people).in_lot is None
        people.enter(LotOf(None))
        assert only(people).in_lot is None


def test_no_sentence_takes_the_matter_as_settled() -> None:
    people = people_on(Taken("w.jpg", 3))
    people.answer_all()
    for more in ((), (Sampled("1", 6, 250.0, "raw"), LotOf(40)), (DetectionGiven(assumed=0.5),)):
        people.enter(*more)
        counted = only(people)
        text = " ".join([*sample_tells(counted), *counted_lines(counted), str(sample_grid(counted))])
        assert forbidden(text) == []
        assert NONE_CONFIRMED in text
    assert NO_GRAMS in counted_lines(only(people_on(replace(Taken("w.jpg"), flags=0))))
