"""The share of a lot's pieces with insects: figures quoted and published, by hand, and how often limits hold, counted out."""

from __future__ import annotations

import math
import re
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_values import rows
from scipy import stats

from cli.lots.detection import ALWAYS, Assumed, Measured
from cli.lots.intervals import AtMost, share_at_most, share_limits
from cli.lots.pieces import (
    SIZES,
    Looked,
    pieces_at_most,
    pieces_limits,
    pieces_to_notice,
    pieces_with_insects,
    sample_table,
)


class TestNoneFoundAmongSix:
    @pytest.mark.parametrize(("share", "allowed"), [(1.0, 0.39), (0.5, 0.79)])
    def test_still_allows_what_is_quoted(self, share: float, allowed: float) -> None:
        found = pieces_at_most(Looked(6), Assumed(share))
        assert found == AtMost(pytest.approx(allowed, abs=0.005), 0.95)
        assert (1 - found.high * share) ** 6 == pytest.approx(0.05)

    def test_allows_all_where_few_are_seen(self) -> None:
        assert pieces_at_most(Looked(6), Assumed(0.39)).high == 1
        assert pieces_at_most(Looked(6), Measured(0, 5)).high == 1
        assert pieces_at_most(Looked(6, 0, 40), Measured(0, 5)).high == 1

    def test_is_closer_in_a_small_lot(self) -> None:
        # C(4, 3) / C(7, 3) = 4/35 is more than 0.05 and C(3, 3) / C(7, 3) = 1/35 less: three of seven can be missed, four can't.
        assert pieces_at_most(Looked(3, 0, 7)).high == pytest.approx(3 / 7)
        assert pieces_at_most(Looked(3)).high == pytest.approx(0.632, abs=5e-4)


def asked_for() -> list[tuple[float, int | None, int]]:
    """Share, size of the lot where it is known, and pieces to look at: rows of tests/outside/sampling.csv."""
    found = []
    for row in rows("sampling"):
        if row["topic"] == "sample_size_detect":
            if lot := re.search(r"N=(\d+) with D=(\d+)", row["input"]):
                found.append((int(lot[2]) / int(lot[1]), int(lot[1]), int(row["expected"])))
            else:
                found.append((float(re.search(r"prevalence ([\d.]+\d)", row["input"])[1]), None, int(row["expected"])))  # type: ignore[index]
    assert len(found) == 10
    return found


class TestPiecesToLookAt:
    @pytest.mark.parametrize(("share", "in_lot", "pieces"), asked_for())
    def test_are_the_published_numbers(self, share: float, in_lot: int | None, pieces: int) -> None:
        assert pieces_to_notice(share, in_lot=in_lot) == pieces

    @given(st.floats(1e-4, 1), st.floats(0.05, 1), st.sampled_from([0.5, 0.9, 0.95, 0.99]))
    def test_are_the_fewest_that_will_do(self, share: float, seen: float, level: float) -> None:
        pieces = pieces_to_notice(share, Assumed(seen), level)
        assert pieces is not None
        missed = 1 - share * seen
        assert missed**pieces <= (1 - level) * (1 + 1e-9)
        assert pieces == 1 or missed ** (pieces - 1) > (1 - level) * (1 - 1e-9)

    @settings(max_examples=50, deadline=None)
    @given(st.integers(1, 60), st.floats(0.01, 1), st.sampled_from([1.0, 0.9, 0.5]))
    def test_leave_out_the_share_that_they_notice(self, in_lot: int, share: float, seen: float) -> None:
        """What would have been noticed is what none found no longer allows."""
        pieces = pieces_to_notice(share, Assumed(seen), in_lot=in_lot)
        with_insects = max(1, math.ceil(share * in_lot - 1e-9))
        if pieces is None:
            assert pieces_at_most(Looked(in_lot, 0, in_lot), Assumed(seen)).high * in_lot >= with_insects
            return
        assert round(pieces_at_most(Looked(pieces, 0, in_lot), Assumed(seen)).high * in_lot) < with_insects
        if pieces > 1:
            assert round(pieces_at_most(Looked(pieces - 1, 0, in_lot), Assumed(seen)).high * in_lot) >= with_insects

    def test_a_chance_of_just_five_in_a_hundred_is_noticed(self) -> None:
        """Of 100 pieces the one with insects is among the 5 not looked at, whatever the last digits of a sum say."""
        for pieces, in_lot in ((95, 100), (19, 20), (57, 60)):
            assert pieces_to_notice(1 / in_lot, in_lot=in_lot) == pieces
            assert pieces_at_most(Looked(pieces, 0, in_lot)).high == 0

    def test_a_share_of_a_lot_is_whole_pieces_whatever_its_last_digits(self) -> None:
        """0.07 x 100 is a little more than 7 in a computer. The number is scipy's."""
        expected = next(n for n in range(1, 101) if stats.hypergeom.pmf(0, 100, 7, n) <= 0.05)
        assert pieces_to_notice(0.07, in_lot=100) == expected
        assert pieces_to_notice(0.061, in_lot=100) == expected

    def test_are_no_number_where_even_the_whole_lot_can_hide_it(self) -> None:
        assert pieces_to_notice(0.01, Assumed(0.9), in_lot=100) is None
        assert pieces_to_notice(0.01, Assumed(0.95), in_lot=100) == 100
        assert pieces_to_notice(0.5, Measured(0, 4)) is None
        assert pieces_to_notice(0.5, Measured(0, 4), in_lot=9) is None

    def test_is_one_where_one_will_do(self) -> None:
        assert pieces_to_notice(1.0) == pieces_to_notice(0.95) == 1
        assert pieces_to_notice(0.94) == 2

    def test_of_a_huge_lot_are_those_of_an_endless_one(self) -> None:
        assert pieces_to_notice(0.05, in_lot=1_000_000) == pieces_to_notice(0.05) == 59

    def test_what_is_no_share_or_lot_is_refused(self) -> None:
        for share in (0, -0.1, 1.1, math.nan):
            with pytest.raises(ValueError, match="the share of pieces"):
                pieces_to_notice(share)
        with pytest.raises(ValueError, match="at least one piece"):
            pieces_to_notice(0.1, in_lot=0)
        with pytest.raises(ValueError, match="a level lies"):
            pieces_to_notice(0.1, level=1)


class TestTable:
    def test_has_the_share_that_each_size_would_notice(self) -> None:
        table = sample_table()
        assert [each.looked.pieces for each in table] == list(SIZES) == [3, 6, 10, 20, 30, 60]
        for each in table:
            assert each.limits == share_at_most(0, each.looked.pieces)
            assert pieces_to_notice(each.limits.high) == each.looked.pieces

    def test_leaves_out_samples_larger_than_the_lot(self) -> None:
        assert [each.looked.pieces for each in sample_table(in_lot=10)] == [3, 6, 10]
        assert sample_table(in_lot=10)[-1].limits.high == 0


class TestLimits:
    @settings(max_examples=50, deadline=None)
    @given(st.integers(1, 100), st.data())
    def test_where_all_are_seen_in_an_endless_lot_they_are_the_exact_ones(
        self, pieces: int, data: st.DataObject
    ) -> None:
        found = data.draw(st.integers(0, pieces))
        assert pieces_limits(Looked(pieces, found)) == share_limits(found, pieces)
        assert pieces_at_most(Looked(pieces, found), level=0.9) == share_at_most(found, pieces, 0.9)

    @settings(max_examples=50, deadline=None)
    @given(st.integers(1, 60), st.floats(0.05, 1), st.data())
    def test_more_found_or_less_seen_allows_more(self, pieces: int, seen: float, data: st.DataObject) -> None:
        found = data.draw(st.integers(0, pieces - 1))
        here, more = (pieces_limits(Looked(pieces, each), Assumed(seen)) for each in (found, found + 1))
        assert (here.low <= more.low, here.high <= more.high) == (True, True)
        assert pieces_limits(Looked(pieces, found), Assumed(seen / 2)).high >= here.high
        assert 0 <= here.low <= found / pieces <= here.high <= 1

    @settings(max_examples=50, deadline=None)
    @given(st.integers(1, 30), st.data())
    def test_all_of_a_lot_looked_at_leaves_nothing_open(self, in_lot: int, data: st.DataObject) -> None:
        found = data.draw(st.integers(0, in_lot))
        limits = pieces_limits(Looked(in_lot, found, in_lot))
        assert (limits.low * in_lot, limits.high * in_lot) == (pytest.approx(found), pytest.approx(found))

    def test_in_a_huge_lot_are_those_of_an_endless_one(self) -> None:
        for found in (0, 2):
            small, endless = Looked(20, found, 1_000_000), Looked(20, found)
            assert pieces_at_most(small, Assumed(0.7)).high == pytest.approx(
                pieces_at_most(endless, Assumed(0.7)).high, abs=1e-4
            )
            assert pieces_limits(small).low == pytest.approx(pieces_limits(endless).low, abs=1e-4)

    def test_a_record_prints_the_one_sided_one_where_none_was_found(self) -> None:
        assert pieces_with_insects(Looked(6)).limits == pieces_at_most(Looked(6))
        assert pieces_with_insects(Looked(6, 1), Assumed(0.5)).limits == pieces_limits(Looked(6, 1), Assumed(0.5))
        assert pieces_with_insects(Looked(6)).detection == ALWAYS

    @pytest.mark.parametrize(("pieces", "found", "in_lot"), [(0, 0, None), (6, 7, None), (6, -1, None), (6, 0, 5)])
    def test_what_is_no_sample_is_refused(self, pieces: int, found: int, in_lot: int | None) -> None:
        with pytest.raises(ValueError, match="pieces"):
            Looked(pieces, found, in_lot)

    def test_what_is_no_level_is_refused(self) -> None:
        for limits in (pieces_limits, pieces_at_most, pieces_with_insects):
            for in_lot in (None, 20):
                with pytest.raises(ValueError, match="a level lies"):
                    limits(Looked(6, 0, in_lot), level=0)


def chance(found: int, looked: int, with_insects: int, in_lot: int, seen: Fraction) -> Fraction:
    """Chance of just so many found, by counting the ways in whole numbers."""
    ways = Fraction(0)
    for among in range(found, min(looked, with_insects) + 1):
        drawn = math.comb(with_insects, among) * math.comb(in_lot - with_insects, looked - among)
        ways += drawn * math.comb(among, found) * seen**found * (1 - seen) ** (among - found)
    return ways / math.comb(in_lot, looked)


class TestHowOftenTheyHold:
    """Counted out over everything that can come up; nothing is drawn."""

    @pytest.mark.parametrize("seen", [Fraction(1), Fraction(4, 5), Fraction(1, 3)])
    @pytest.mark.parametrize(("looked", "in_lot"), [(1, 1), (2, 5), (3, 10), (6, 12), (10, 25), (12, 12)])
    def test_in_lots_of_known_size(self, looked: int, in_lot: int, seen: Fraction) -> None:
        detection = Assumed(float(seen))
        samples = [Looked(looked, found, in_lot) for found in range(looked + 1)]
        both = [pieces_limits(each, detection) for each in samples]
        one = [pieces_at_most(each, detection) for each in samples]
        for with_insects in range(in_lot + 1):
            share = with_insects / in_lot
            chances = [float(chance(found, looked, with_insects, in_lot, seen)) for found in range(looked + 1)]
            assert sum(chances) == pytest.approx(1)
            held = [each.low - 1e-9 <= share <= each.high + 1e-9 for each in both]
            assert np.dot(chances, held) >= 0.95 - 1e-9
            assert np.dot(chances, [share <= each.high + 1e-9 for each in one]) >= 0.95 - 1e-9

    @pytest.mark.parametrize("put_in", [3, 10, 29, 100])
    @pytest.mark.parametrize("pieces", [1, 6, 20, 60])
    def test_with_a_measured_share(self, pieces: int, put_in: int) -> None:
        """Both the sample and the trial come out as they may: the two limits together keep the level of each."""
        founds, trials = np.arange(pieces + 1), np.arange(put_in + 1)
        seen_all = np.array([pieces_at_most(Looked(pieces, int(found))).high for found in founds])
        used = np.array([Measured(int(trial), put_in).counted_on() for trial in trials])
        one = pieces_at_most(Looked(pieces, 0), Measured(put_in, put_in)).high
        assert one == pytest.approx(min(1, seen_all[0] / used[-1]))
        for seen in (0.05, 0.3, 0.6, 0.9, 1.0):
            for share in np.linspace(0.02, 1, 50):
                chances = np.outer(stats.binom.pmf(founds, pieces, share * seen), stats.binom.pmf(trials, put_in, seen))
                assert (chances * (seen_all[:, None] >= share * used)).sum() >= 0.95

    @pytest.mark.parametrize("pieces", [3, 6, 10, 50])
    @pytest.mark.parametrize("seen", [1.0, 0.5])
    def test_what_a_record_prints_holds_in_at_least_92_of_100_lots(self, pieces: int, seen: float) -> None:
        founds = np.arange(pieces + 1)
        printed = [pieces_with_insects(Looked(pieces, int(found)), Assumed(seen)).limits for found in founds]
        low = np.array([getattr(each, "low", 0.0) for each in printed])
        high = np.array([each.high for each in printed])
        shares = np.concatenate([low + 1e-9, low - 1e-9, high - 1e-9, high + 1e-9])
        for share in shares[(shares > 0) & (shares < 1)]:
            held = (low <= share) & (share <= high)
            assert (stats.binom.pmf(founds, pieces, share * seen) * held).sum() >= 0.92
