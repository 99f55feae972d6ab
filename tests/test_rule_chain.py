"""The next step by a house rule: read word for word, never guessed, with every check of the lot kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from made_rules import DAY, DRAFT, RULE, STOP, WASH, chain, check, rule

from cli.lots.per import Per
from cli.lots.rule import HouseRule
from cli.lots.rule_chain import Chain, Check, Look, Outcome, Part, State, next_step, part_of
from cli.lots.rule_counts import Find, counted
from cli.lots.rule_steps import Step, Then
from cli.lots.rule_words import NONE_COUNTED

NAME = f"the rule of Mudlark Table (of 2026-02-20, version {RULE.version})"
THE_NAME = NAME.replace("the", "The", 1)
PER_SAMPLE, PER_PIECE = rule(per=Per.SAMPLE), rule(per=Per.PIECE)
PER_100_G = rule(
    per=Per.HUNDRED_GRAMS,
    steps=(
        Step(0, 0, "to the kitchen", Then.GO_ON),
        Step(0, 1.5, "rinse, look again", Then.WASH_AND_CHECK, above=True),
        Step(1.5, None, "send it back", Then.STOP, above=True),
    ),
)


def read(*counts: Any, by: HouseRule = RULE, on: date = DAY, **changes: Any) -> Outcome:
    """What the rule says of these counts, one a check."""
    return next_step(by, chain(*counts, by=by, **changes), on)


def of_checks(*checks: Check, by: HouseRule = RULE) -> Outcome:
    return next_step(by, Chain("onion", checks), DAY)


class TestOneCheck:
    @pytest.mark.parametrize(
        ("count", "action"),
        [
            *((0, "to the kitchen"), (1, "to the kitchen"), (2, "rinse, look again"), (4, "rinse, look again")),
            *(
                (5, "call us"),
                (9, "call us"),
                (10, "send it back"),
                (5000, "send it back"),
                ((2, 4), "rinse, look again"),
            ),
        ],
    )
    def test_the_next_step_in_the_authority_s_words_and_whose_they_are(self, count: Any, action: str) -> None:
        outcome = read(count)
        assert outcome.state == State.NEXT_STEP
        assert outcome.sentence == f'By {NAME}, the next step is: "{action}".'
        assert outcome.whose == (
            f"This is {NAME}: Speckwise counts, reads it word for word and decides nothing; the authority decides."
        )
        assert [asked.step.action for asked in outcome.steps] == [action]

    def test_a_range_over_two_steps_says_both_and_takes_none(self) -> None:
        outcome = read((2, 5))
        assert outcome.state == State.NOT_READ
        assert outcome.steps == ()
        assert outcome.sentence == (
            f"{THE_NAME} can't be read on this: 2 to 5 counted in check 1, and its steps differ between these: "
            '2 to 4: "rinse, look again"; 5 to 9: "call us". No step is taken from it.'
        )

    def test_a_range_over_three_steps_says_all(self) -> None:
        assert '0 to 1: "to the kitchen"; 2 to 4: "rinse, look again"; 5 to 9: "call us"' in read((1, 5)).sentence

    def test_steps_that_ask_for_the_same_do_not_differ(self) -> None:
        alike = rule(steps=(*DRAFT.steps[:2], replace(WASH, low=5, high=9), STOP))
        assert read((3, 7), by=alike).state == State.NEXT_STEP
        other = rule(steps=(*DRAFT.steps[:2], replace(WASH, low=5, high=9, then=Then.HOLD), STOP))
        assert read((3, 7), by=other).state == State.NOT_READ

    def test_what_can_not_be_judged_may_add_to_the_count(self) -> None:
        assert read((2, 3, 1)).state == State.NEXT_STEP
        outcome = read((2, 3, 2))
        assert outcome.state == State.NOT_READ
        assert (
            "2 to 3 counted in check 1 and up to 2 more that can't be judged by it, and its steps differ"
            in outcome.sentence
        )
        assert "Up to 2 more can't be judged by the rule." in outcome.checks[0].sentence
        assert read((0, 0, 2)).state == State.NOT_READ

    @pytest.mark.parametrize(("flags", "says"), [(1, "1 flag is still open"), (2, "2 flags are still open")])
    def test_with_a_flag_open_there_is_no_count(self, flags: int, says: str) -> None:
        outcome = read(0, open_flags=flags)
        assert outcome.state == State.NOT_READ
        assert f"in check 1, {says}" in outcome.sentence

    def test_none_counted_is_never_said_as_a_finding_of_none(self) -> None:
        sentence = read(0).checks[0].sentence
        assert sentence == f"Check 1, 2026-03-15, first look, all together: {NONE_COUNTED}"
        assert NONE_COUNTED == "0 counted. That is not a finding of none."

    def test_effort_and_mass_stand_with_the_count(self) -> None:
        (line,) = of_checks(check(1, 1, (2, 4), by=PER_SAMPLE, mass_g=250.0), by=PER_SAMPLE).checks
        assert line.sentence == "Check 1, 2026-03-15, first look, 2 samples, 250 g: 3 to 5 counted."

    def test_what_was_counted_by_the_rule_is_what_it_is_read_on(self) -> None:
        finds = [Find(name, body="whole", basis="loupe", shot="1") for name in "ab"]
        part = part_of("bowl", counted(RULE, finds))
        assert part == Part("bowl", 2, 2)
        assert of_checks(replace(check(1, 0), parts=(part,))).steps[0].step == WASH


class TestUnits:
    def test_samples_that_ask_for_the_same_are_one_step(self) -> None:
        assert of_checks(check(1, 0, 1, 0, by=PER_SAMPLE), by=PER_SAMPLE).sentence.endswith(
            'next step is: "to the kitchen".'
        )

    def test_each_sample_has_its_own_step(self) -> None:
        outcome = of_checks(check(1, 3, 0, 2, by=PER_SAMPLE), by=PER_SAMPLE)
        assert outcome.sentence.endswith(
            'the next steps are: "rinse, look again" for part 1 and part 3; "to the kitchen" for part 2.'
        )
        assert [asked.parts for asked in outcome.steps] == [("part 1", "part 3"), ("part 2",)]

    def test_samples_are_not_added_up_and_none_is_hidden_by_the_others(self) -> None:
        assert of_checks(check(1, 4, 4, 4, by=PER_SAMPLE), by=PER_SAMPLE).steps[0].step.then == Then.WASH_AND_CHECK
        assert "send it back" in of_checks(check(1, 0, 0, 10, by=PER_SAMPLE), by=PER_SAMPLE).sentence

    def test_one_sample_that_can_not_be_read_is_named(self) -> None:
        outcome = of_checks(check(1, 0, (2, 5), by=PER_SAMPLE), by=PER_SAMPLE)
        assert outcome.state == State.NOT_READ
        assert "2 to 5 counted in check 1, part 2, and its steps differ" in outcome.sentence

    @pytest.mark.parametrize(
        ("per", "by"), [(Per.SAMPLE, "by sample"), (Per.LOT, "as a whole")], ids=["samples", "whole"]
    )
    def test_a_count_in_another_unit_is_not_turned_into_the_rule_s(self, per: Per, by: str) -> None:
        outcome = of_checks(check(1, 1, by=PER_PIECE, per=per), by=PER_PIECE)
        assert outcome.state == State.NOT_READ
        assert f"it counts per piece, and check 1 was counted {by}" in outcome.sentence

    def test_none_on_all_together_is_none_on_each(self) -> None:
        for by in (PER_PIECE, PER_SAMPLE, PER_100_G):
            assert of_checks(check(1, 0, by=by), by=by).steps[0].step.then == Then.GO_ON
            assert of_checks(check(1, (0, 0, 1), by=by), by=by).state == State.NOT_READ

    def test_the_whole_lot_adds_up_samples(self) -> None:
        assert of_checks(check(1, 3, 3)).steps[0].step.then == Then.HOLD

    @pytest.mark.parametrize(
        ("count", "mass_g", "then"),
        [
            (3, 200.0, Then.WASH_AND_CHECK),
            (3, 199.9, Then.STOP),
            (1, 100_000.0, Then.WASH_AND_CHECK),
            (1, 50.0, Then.STOP),
        ],
    )
    def test_per_100_g_goes_by_the_mass(self, count: int, mass_g: float, then: Then) -> None:
        assert of_checks(check(1, count, by=PER_100_G, mass_g=mass_g), by=PER_100_G).steps[0].step.then == then

    def test_per_100_g_says_what_a_range_comes_to(self) -> None:
        outcome = of_checks(check(1, (3, 4), by=PER_100_G, mass_g=250.0), by=PER_100_G)
        assert (
            "3 to 4 counted in check 1, 1.2 to 1.6 per 100 g, and its steps differ between these: more than 0, up to 1.5: "
            in outcome.sentence
        )

    def test_per_100_g_without_a_mass_is_not_read(self) -> None:
        outcome = of_checks(check(1, 1, by=PER_100_G), by=PER_100_G)
        assert "it counts per 100 g, and check 1 was not weighed" in outcome.sentence


class TestChains:
    def test_a_re_check_after_a_wash_is_read_and_the_find_before_it_stays(self) -> None:
        outcome = read(3, 0)
        assert outcome.steps[0].step.then == Then.GO_ON
        assert [line.is_read for line in outcome.checks] == [False, True]
        assert outcome.checks[0].sentence == "Check 1, 2026-03-15, first look, all together: 3 counted."
        assert outcome.checks[1].sentence.startswith("Check 2, 2026-03-15, after a wash, all together: 0 counted.")

    def test_re_checks_that_are_used_up_stop_at_the_limit(self) -> None:
        assert read(3, 3).sentence == f'By {NAME}, the next step is: "rinse, look again".'
        outcome = read(3, 3, 3)
        assert outcome.state == State.STOPPED_AT_LIMIT
        assert outcome.steps == ()
        assert outcome.sentence == (
            f"By {NAME}, the lot is stopped at the limit: it allows 2 re-checks, and after check 3 it still says: "
            '"rinse, look again". For this it says: "back to the field".'
        )

    def test_the_last_re_check_may_still_lead_on(self) -> None:
        assert read(3, 3, 0).steps[0].step.then == Then.GO_ON
        assert read(3, 3, 10).steps[0].step.then == Then.STOP

    def test_nobody_re_checks_until_none_is_counted(self) -> None:
        outcome = read(3, 3, 3, 0, 0)
        assert outcome.state == State.STOPPED_AT_LIMIT
        assert [line.check.most for line in outcome.checks] == [3, 3, 3, 0, 0]
        assert "It came after the check by which the outcome goes: it stays in the chain" in outcome.checks[3].sentence

    @pytest.mark.parametrize("count", [5, 10])
    def test_a_check_after_a_stop_or_a_hold_changes_nothing(self, count: int) -> None:
        once, again = read(count), read(count, 0)
        assert again.sentence == once.sentence
        assert [line.is_read for line in again.checks] == [True, False]

    def test_a_check_that_was_not_asked_for_never_makes_it_milder_or_hides_a_find(self) -> None:
        outcome = read(0, 7)
        assert outcome.state == State.NOT_READ
        assert (
            'after check 1 it says: "to the kitchen", and after check 2, which it does not ask for: "call us"'
            in outcome.sentence
        )
        assert read(0, 1).sentence == read(0).sentence
        assert read(0, 0, (1, 2)).state == State.NOT_READ

    def test_a_re_check_without_the_wash_is_not_read(self) -> None:
        outcome = of_checks(check(1, 3), check(2, 0, look=Look.AGAIN))
        assert outcome.state == State.NOT_READ
        assert 'after check 1 it says: "rinse, look again", and check 2 was made without a wash' in outcome.sentence

    def test_a_check_that_can_not_be_read_ends_the_reading_there(self) -> None:
        outcome = read((2, 5), 0)
        assert outcome.state == State.NOT_READ
        assert "2 to 5 counted in check 1" in outcome.sentence
        assert [line.is_read for line in outcome.checks] == [True, False]

    def test_discarding_a_piece_ends_the_chain_as_going_on_does(self) -> None:
        steps = (Step(0, 0, "on", Then.GO_ON), Step(1, None, "drop that piece", Then.DISCARD_PIECE))
        by = rule(per=Per.PIECE, steps=steps, most_rechecks=0, when_to_stop="")
        outcome = of_checks(check(1, 0, 2, by=by, per=Per.PIECE), by=by)
        assert outcome.sentence.endswith('the next steps are: "on" for part 1; "drop that piece" for part 2.')

    def test_one_sample_that_stops_goes_before_another_that_asks_for_a_wash(self) -> None:
        first = check(1, 3, 10, by=PER_SAMPLE)
        once = of_checks(first, by=PER_SAMPLE)
        assert {asked.step.then for asked in once.steps} == {Then.WASH_AND_CHECK, Then.STOP}
        assert of_checks(first, check(2, 0, 0, by=PER_SAMPLE), by=PER_SAMPLE).sentence == once.sentence
