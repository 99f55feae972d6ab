"""Chances of counts: published sampling plans (tests/outside/sampling.csv: source beside each row), and scipy over many sizes."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_values import rows
from scipy import stats

from cli.lots.tails import (
    binomial_at_least,
    binomial_at_most,
    chi_square_above,
    crossing,
    drawn_at_most,
    last_whole,
    poisson_at_least,
    poisson_at_most,
)

SHARES = st.floats(0, 1) | st.floats(1e-9, 1e-2)
NEAR = {"rel": 1e-8, "abs": 1e-280}
"""Of themselves, down to chances that mean nothing any more."""


def published(*topics: str) -> list[tuple[str, list[float], float]]:
    """Input, expected figures and tolerance of the rows of those topics."""
    found = [
        (row["input"], [float(each) for each in row["expected"].split(";")], float(row["tolerance"].split()[0]))
        for row in rows("sampling")
        if row["topic"] in topics
    ]
    assert found
    return found


def numbers(text: str) -> dict[str, float]:
    """What stands behind the letters: n, c, N, D and the first p."""
    return {name: float(value) for name, value in re.findall(r"\b([ncNDp]) ?= ?([\d.]+)", text)}


def accepted(text: str, share: float) -> float:
    """How often a plan accepts a lot with that share of bad pieces."""
    plan = numbers(text)
    n, c = int(plan["n"]), int(plan["c"])
    if "hypergeometric" in text:
        return drawn_at_most(c, n, int(plan["D"]), int(plan["N"]))
    return poisson_at_most(c, n * share) if "Poisson" in text else binomial_at_most(c, n, share)


class TestPublishedPlans:
    @pytest.mark.parametrize(("text", "expected", "tolerance"), published("oc_curve"))
    def test_accept_as_often_as_published(self, text: str, expected: list[float], tolerance: float) -> None:
        shares = [float(p) for p in re.findall(r"p=([\d.]+\d)", text)] or [math.nan]
        assert [accepted(text, share) for share in shares] == pytest.approx(expected, abs=tolerance)

    @pytest.mark.parametrize(("text", "expected", "tolerance"), published("aoq", "ati"))
    def test_let_through_and_look_at_as_much_as_published(
        self, text: str, expected: list[float], tolerance: float
    ) -> None:
        n, lot, share = (numbers(text)[name] for name in ("n", "N", "p"))
        often = accepted(text, share)
        let_through, looked_at = often * share * (lot - n) / lot, n + (1 - often) * (lot - n)
        assert (let_through if "AOQ=" in text else looked_at) == pytest.approx(expected[0], abs=tolerance)

    @pytest.mark.parametrize(("text", "expected", "tolerance"), published("aoql"))
    def test_let_through_no_more_than_published(self, text: str, expected: list[float], tolerance: float) -> None:
        n, lot = (numbers(text)[name] for name in ("n", "N"))
        shares = np.linspace(0.05, 0.06, 201)
        worst = max(accepted(text, share) * share * (lot - n) / lot for share in shares)
        assert worst == pytest.approx(expected[0], abs=tolerance)

    def test_the_smallest_plan_for_two_points_is_the_published_one(self) -> None:
        ((_, expected, _),) = published("plan_search")

        def fits(n: int, c: int) -> bool:
            return binomial_at_most(c, n, 0.05) >= 0.95 and binomial_at_most(c, n, 0.15) <= 0.075

        smallest = next((n, c) for n in range(1, 200) for c in range(n) if fits(n, c))
        assert smallest == tuple(expected)


class TestAgainstScipy:
    @settings(deadline=None)
    @given(st.integers(-1, 3000), st.floats(0, 1e4) | st.floats(1e-9, 30))
    def test_poisson(self, count: int, mean: float) -> None:
        assert poisson_at_most(count, mean) == pytest.approx(stats.poisson.cdf(count, mean), **NEAR)
        assert poisson_at_least(count, mean) == pytest.approx(stats.poisson.sf(count - 1, mean), **NEAR)

    @settings(deadline=None)
    @given(st.integers(0, 3000), SHARES, st.data())
    def test_binomial(self, of: int, share: float, data: st.DataObject) -> None:
        hits = data.draw(st.integers(-1, of + 1))
        assert binomial_at_most(hits, of, share) == pytest.approx(stats.binom.cdf(hits, of, share), **NEAR)
        assert binomial_at_least(hits, of, share) == pytest.approx(stats.binom.sf(hits - 1, of, share), **NEAR)

    @settings(deadline=None)
    @given(st.integers(1, 3000), st.floats(0, 1e4) | st.floats(0, 10))
    def test_chi_square(self, freedom: int, value: float) -> None:
        assert chi_square_above(value, freedom) == pytest.approx(stats.chi2.sf(value, freedom), **NEAR)

    @settings(deadline=None)
    @given(st.integers(1, 400), st.data())
    def test_drawn_from_a_lot(self, of: int, data: st.DataObject) -> None:
        drawn, marked, hits = (data.draw(st.integers(0, of)) for _ in range(3))
        assert drawn_at_most(hits, drawn, marked, of) == pytest.approx(
            stats.hypergeom.cdf(hits, of, marked, drawn), abs=1e-9
        )

    @settings(deadline=None)
    @given(st.integers(1, 40), st.floats(0.05, 1), st.data())
    def test_drawn_from_a_lot_and_noticed_at_times(self, of: int, share: float, data: st.DataObject) -> None:
        drawn, marked, hits = (data.draw(st.integers(0, of)) for _ in range(3))
        among = np.arange(of + 1)
        weights = stats.hypergeom.pmf(among, of, marked, drawn)
        mixed = (weights * stats.binom.cdf(hits, among, share)).sum()
        assert drawn_at_most(hits, drawn, marked, of, share) == pytest.approx(mixed, abs=1e-9)


def test_a_crossing_is_found_to_the_last_digit() -> None:
    assert crossing(lambda x: x * x, 2.0, 0.0, 2.0) == pytest.approx(math.sqrt(2), rel=1e-15)
    assert crossing(lambda x: x, 1e-300, 0.0, 1.0) == pytest.approx(1e-300, rel=1e-15)


@given(st.integers(-5, 60), st.integers(0, 60))
def test_the_last_whole_number_is_found(low: int, more: int) -> None:
    for last in (low, low + more // 2, low + more):
        assert last_whole(lambda number, last=last: number <= last, low, low + more) == last  # type: ignore[misc]
