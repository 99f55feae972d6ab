"""Steps of a house rule: each number has exactly one, or the rule is refused with the numbers named."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from made_rules import DRAFT, GO_ON, HOLD, STOP, WASH, ladders

from cli.lots.per import Per
from cli.lots.rule_steps import Step, Then, asked, check_steps, numbers_of, steps_between
from cli.lots.rule_text import RuleError

HUNDRED = Per.HUNDRED_GRAMS


def steps(*spans: tuple[float, float | None], above: bool = False) -> list[Step]:
    """Steps from one number to another; `above`: all but the first leave out their first number."""
    return [Step(low, high, f"do {at}", Then.HOLD, above and at > 0) for at, (low, high) in enumerate(spans)]


class TestOfWholeNumbers:
    @pytest.mark.parametrize("per", [Per.PIECE, Per.SAMPLE, Per.LOT])
    @pytest.mark.parametrize("spans", [[(0, None)], [(0, 0), (1, None)], [(0, 1), (2, 2), (3, 9), (10, None)]])
    def test_one_step_for_each_number(self, spans: list[tuple[float, float | None]], per: Per) -> None:
        check_steps(steps(*spans), per)

    @pytest.mark.parametrize(
        ("spans", "says"),
        [
            ([(1, None)], "Step 1 begins at 1 and more: say what follows at 0"),
            ([(2, 5), (6, None)], "Step 1 begins at 2 to 5: say what follows at 0"),
            (
                [(0, 3), (3, None)],
                r"Step 1 \(0 to 3\) and step 2 \(3 and more\) both hold for 3: a number has one step",
            ),
            ([(0, 5), (2, 3), (6, None)], r"Step 1 \(0 to 5\) and step 2 \(2 to 3\) both hold for 2 to 3"),
            ([(0, 3), (2, 9), (10, None)], r"both hold for 2 to 3"),
            ([(0, None), (4, 6)], r"Step 1 \(0 and more\) and step 2 \(4 to 6\) both hold for 4 to 6"),
            ([(0, None), (4, None)], r"both hold for 4 and more"),
            ([(0, 0), (2, None)], r"Step 1 \(0\) and step 2 \(2 and more\) leave out 1: say what follows there"),
            ([(0, 0), (1, 2), (5, None)], r"Step 2 \(1 to 2\) and step 3 \(5 and more\) leave out 3 to 4"),
            ([(0, 1), (4, 9), (2, 3), (10, None)], r"leave out 2 to 3"),
            ([(0, 1), (2, 5), (0, 1), (6, None)], r"Step 2 \(2 to 5\) and step 3 \(0 to 1\) stand in another order"),
            ([(0, 3), (0, None)], r"stand in another order than their numbers: begin with the smallest"),
            ([(0, 3), (7, 4), (8, None)], "Step 2 goes from 7 to 4: put the smaller number first"),
            ([(0, 3), (4, 9)], "The steps end at 9: say what follows at more than 9"),
            ([(0, 1.5), (2, None)], r"Step 1 \(0 to 1.5\): animals per piece are whole numbers"),
            ([(0, 1), (1.5, None)], r"Step 2 \(1.5 and more\): animals per piece are whole numbers"),
        ],
    )
    def test_refused_with_the_numbers(self, spans: list[tuple[float, float | None]], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            check_steps(steps(*spans), Per.PIECE)

    def test_leaving_out_a_number_is_for_100_g(self) -> None:
        with pytest.raises(RuleError, match="animals per sample are whole numbers"):
            check_steps(steps((0, 1), (1, None), above=True), Per.SAMPLE)


class TestPer100Grams:
    @pytest.mark.parametrize(
        "spans", [[(0, None)], [(0, 0), (0, None)], [(0, 2), (2, None)], [(0, 0), (0, 0.5), (0.5, 2.25), (2.25, None)]]
    )
    def test_each_step_begins_where_the_last_one_ends(self, spans: list[tuple[float, float | None]]) -> None:
        check_steps(steps(*spans, above=True), HUNDRED)

    @pytest.mark.parametrize(
        ("spans", "says"),
        [
            ([(0.5, None)], "Step 1 begins at 0.5 and more"),
            ([(0, 2), (3, None)], r"Step 1 \(0 to 2\) and step 2 \(more than 3\) leave out more than 2, up to 3"),
            ([(0, 2), (1, None)], r"both hold for more than 1, up to 2"),
            ([(0, 2), (2, 2), (2, None)], "Step 2 goes from 2 to 2: put the smaller number first"),
            ([(0, None), (2, 3)], r"both hold for more than 2, up to 3"),
            ([(0, 0), (0, 4)], "The steps end at 4"),
        ],
    )
    def test_refused_with_the_numbers(self, spans: list[tuple[float, float | None]], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            check_steps(steps(*spans, above=True), HUNDRED)

    def test_numbers_between_whole_ones_have_a_step_too(self) -> None:
        with pytest.raises(RuleError, match="Per 100 g, step 2 says above which number it begins"):
            check_steps(steps((0, 2), (3, None)), HUNDRED)
        with pytest.raises(RuleError, match="Per 100 g, step 1 begins with 0 itself"):
            check_steps([Step(0, None, "x", Then.HOLD, above=True)], HUNDRED)

    def test_the_end_of_a_step_belongs_to_it(self) -> None:
        few, many = ladder = steps((0, 0.3), (0.3, None), above=True)
        # Three tenths as it is written: as a binary fraction it would be a little less.
        assert few.holds(Fraction(3, 10))
        assert not many.holds(Fraction(3, 10))
        assert steps_between(ladder, Fraction(3, 10), Fraction(3, 10) + Fraction(1, 10**9)) == [few, many]


class TestStep:
    @pytest.mark.parametrize("number", [-1, 1_000_001, float("nan"), float("inf"), True, "2"])
    def test_numbers_that_are_none(self, number: Any) -> None:
        for low, high in ((number, None), (0, number)):
            with pytest.raises(RuleError, match="numbers lie from 0 to 1000000"):
                Step(low, high, "x", Then.HOLD)

    @pytest.mark.parametrize(
        ("action", "says"), [("", "action is empty"), ("x" * 161, "action has 161"), ("a\nb", "control")]
    )
    def test_actions_that_are_none(self, action: str, says: str) -> None:
        with pytest.raises(RuleError, match=says):
            Step(0, None, action, Then.HOLD)

    def test_what_it_means_is_one_of_five(self) -> None:
        with pytest.raises(
            RuleError, match="then is one of: wash_and_check_again, discard_piece, stop, hold, go_on; not 'x'"
        ):
            Step(0, None, "x", "x")  # type: ignore[arg-type]

    @pytest.mark.parametrize("many", [0, 7])
    def test_one_to_six(self, many: int) -> None:
        spans: list[tuple[float, float | None]] = [(at, at) for at in range(many)]
        with pytest.raises(RuleError, match=f"A rule has 1 to 6 steps, not {many}"):
            check_steps(steps(*spans), Per.LOT)

    def test_in_words(self) -> None:
        assert [numbers_of(each) for each in (GO_ON, replace(GO_ON, high=0), STOP)] == ["0 to 1", "0", "10 and more"]
        over = replace(WASH, above=True)
        assert [numbers_of(over), numbers_of(replace(over, high=None))] == ["more than 2, up to 4", "more than 2"]
        assert numbers_of(replace(WASH, low=2.0, high=4.0)) == "2 to 4"
        assert asked(HOLD) == '5 to 9: "call us"'

    def test_the_same_is_the_same_words_and_meaning(self) -> None:
        assert WASH.same_as(replace(HOLD, action=WASH.action, then=WASH.then))
        assert not WASH.same_as(replace(WASH, then=Then.HOLD))
        assert not WASH.same_as(replace(WASH, action="rinse"))


class TestEveryNumber:
    @settings(max_examples=50, deadline=None)
    @given(st.data(), st.sampled_from(Per))
    def test_has_exactly_one_step_of_a_rule_that_is_taken(self, data: st.DataObject, per: Per) -> None:
        ladder = data.draw(ladders(per, st.sampled_from(Then)))
        check_steps(ladder, per)
        whole = st.integers(0, 60).map(Fraction)
        number = data.draw(
            whole if per != HUNDRED else st.fractions(0, 60) | st.integers(0, 240).map(lambda n: Fraction(n, 4))
        )
        assert sum(step.holds(number) for step in ladder) == 1

    @settings(max_examples=50, deadline=None)
    @given(st.lists(st.tuples(st.integers(0, 6), st.none() | st.integers(0, 6)), min_size=1, max_size=4))
    def test_rules_are_refused_exactly_where_a_number_has_none_or_two(
        self, spans: list[tuple[float, float | None]]
    ) -> None:
        ladder = steps(*spans)
        in_order = all(a.low < b.low for a, b in itertools.pairwise(ladder))
        once = all(sum(step.holds(number) for step in ladder) == 1 for number in range(20))
        forward = all(step.high is None or step.low <= step.high for step in ladder)
        try:
            check_steps(ladder, Per.SAMPLE)
        except RuleError:
            assert not (in_order and once and forward)
        else:
            assert in_order
            assert once
            assert forward

    @settings(max_examples=50, deadline=None)
    @given(st.data(), st.integers(0, 60), st.integers(0, 60))
    def test_a_range_has_the_steps_of_all_its_numbers(self, data: st.DataObject, low: int, high: int) -> None:
        assume(low <= high)
        ladder = data.draw(ladders(Per.LOT, st.sampled_from(Then)))
        of_each = [step for step in ladder if any(step.holds(number) for number in range(low, high + 1))]
        assert steps_between(ladder, low, high) == of_each

    def test_the_plain_rule_by_hand(self) -> None:
        ends = {0: GO_ON, 1: GO_ON, 2: WASH, 4: WASH, 5: HOLD, 9: HOLD, 10: STOP, 1_000_000: STOP}
        assert {number: steps_between(DRAFT.steps, number, number) for number in ends} == {
            n: [s] for n, s in ends.items()
        }
