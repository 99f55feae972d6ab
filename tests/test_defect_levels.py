"""FDA's defect levels: the figures read (tests/outside/defect_levels.csv: source beside each row), and a count beside one of them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from outside_values import rows

from cli.lots.defect_levels import Beside, DefectLevel, compared, handbook, levels_of
from cli.lots.detection import Measured
from cli.lots.per import Per
from cli.lots.rates import Effort, grams, rate
from vision.errors import CallError

BROCCOLI = levels_of("broccoli")[0]
HOPS = levels_of("hops")[0]


def numbers_of(level: DefectLevel) -> set[float]:
    return {each for each in (level.count, level.added_up_mm) if each is not None}


class TestTheData:
    @pytest.mark.parametrize("row", rows("defect_levels"), ids=lambda row: row["input"][:40])
    def test_has_each_figure_that_was_read(self, row: dict[str, str]) -> None:
        expected = [float(each) for each in row["expected"].split(";")]
        product = re.match(
            r"(broccoli|Brussels sprouts|spinach|asparagus|mushrooms|drupelet berries|hops|sauerkraut)", row["input"]
        )
        assert product is not None
        levels = levels_of(product[0])
        if "re-expressed" in row["input"]:
            assert levels[0].per_hundred_grams == expected[0]
            return
        if "in lb" in row["input"]:
            (level,) = (each for each in levels if each.count and each.added_up_mm)
            assert [level.count, level.added_up_mm] == expected[:2]
            assert level.per_g == pytest.approx(expected[2] * 453.59237, abs=0.5)  # 1 lb, exactly
            return
        assert set(expected) <= set().union(*(numbers_of(each) for each in levels))
        if method := re.search(r"(AOAC [\d.]+|MPM-V\d+)", row["input"]):
            assert {each.method.replace("MPM V-", "MPM-V") for each in levels} == {method[0]}
        if per := re.search(r"per (\d+) g", row["input"]):
            assert float(per[1]) in {each.per_g for each in levels}
        assert ("more than" in row["input"]) == all(each.over == "more than" for each in levels)

    def test_is_dated_and_says_how_it_was_read(self) -> None:
        book = handbook()
        assert book.dated == date(2018, 9, 7)
        assert "not at the source" in book.seen
        assert book.for_what == "processed food"

    def test_is_whole(self) -> None:
        for level in handbook().levels:
            assert level.over in {"at or above", "more than"}
            assert numbers_of(level)
            assert level.per_g > 0
            assert re.fullmatch(r"(AOAC \d{3}\.\d{2}|MPM V-\d+)", level.method)

    def test_has_each_level_once(self) -> None:
        levels = handbook().levels
        assert len({(each.product, each.state, each.animals, each.from_mm) for each in levels}) == len(levels)


class TestAsking:
    def test_finds_a_product_by_its_name_in_any_case(self) -> None:
        assert levels_of("BROCCOLI") == (BROCCOLI,)
        assert len(levels_of("Spinach")) == 4

    @pytest.mark.parametrize("product", handbook().without_entry)
    def test_says_that_a_product_has_none(self, product: str) -> None:
        with pytest.raises(
            CallError, match=rf"no level here for '{product}'\. Ask for one of: broccoli, Brussels sprouts"
        ):
            levels_of(product)

    def test_a_level_per_other_weights_is_shared_out(self) -> None:
        assert [each.per_hundred_grams for each in levels_of("drupelet berries")] == [
            pytest.approx(0.8),
            pytest.approx(2),
        ]
        assert [each.per_hundred_grams for each in levels_of("spinach")] == [50, 8, 4, None]


class TestBeside:
    @pytest.mark.parametrize(
        ("count", "mass_g", "beside"),
        [
            (0, 50, Beside.BELOW),
            (7, 250, Beside.BELOW),
            (30, 50, Beside.AROUND),
            (60, 100, Beside.AROUND),
            (200, 100, Beside.REACHED),
        ],
    )
    def test_goes_by_the_limits(self, count: int, mass_g: float, beside: Beside) -> None:
        found = compared(rate(count, grams(mass_g)), BROCCOLI)
        assert found.beside is beside
        assert (found.level, found.handbook) == (BROCCOLI, handbook())

    def test_at_or_above_is_reached_at_the_number_and_more_than_beyond_it(self) -> None:
        found = rate(200, grams(100))
        low = found.limits.low  # type: ignore[union-attr]
        at = replace(BROCCOLI, count=low, per_g=100.0)
        assert compared(found, at).beside is Beside.REACHED
        assert compared(found, replace(at, over="more than")).beside is Beside.AROUND
        assert HOPS.over == "more than"

    def test_without_an_upper_limit_nothing_is_below(self) -> None:
        assert compared(rate(0, grams(1000), detection=Measured(0, 5)), BROCCOLI).beside is Beside.AROUND

    @pytest.mark.parametrize("per", [Per.PIECE, Per.SAMPLE])
    def test_a_rate_by_anything_but_weight_is_refused(self, per: Per) -> None:
        with pytest.raises(CallError, match=f"per 100 g and not per {per}"):
            compared(rate(3, Effort(6, per)), BROCCOLI)

    def test_a_level_by_lengths_is_refused(self) -> None:
        for product in ("spinach", "asparagus"):
            (level,) = (each for each in levels_of(product) if each.added_up_mm)
            with pytest.raises(CallError, match="goes by their lengths"):
                compared(rate(3, grams(100)), level)
