"""Chains that are refused, rules that can't be read on one (counts only), and what holds for any rule and any chain."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_rules import DAY, DRAFT, FIRST, LAST, RULE, SCAN, SIGNED_ON, chain, check, ladders, rule, rules
from test_house import forbidden

from cli.lots.per import Per
from cli.lots.rule import HouseRule, signed
from cli.lots.rule_chain import Chain, Check, Look, Outcome, Part, State, next_step
from cli.lots.rule_file import example_rule
from cli.lots.rule_steps import Then
from cli.lots.rule_text import RuleError
from vision.words import WHO_DECIDES

NAME = f"the rule of Mudlark Table (of 2026-02-20, version {RULE.version})"
PER_SAMPLE = rule(per=Per.SAMPLE)


class TestRefused:
    @pytest.mark.parametrize("numbers", [(2,), (1, 3), (2, 3), (1, 1), (2, 1), (1, 2, 4)])
    def test_a_chain_whose_checks_were_left_out(self, numbers: tuple[int, ...]) -> None:
        with pytest.raises(RuleError, match="every check of a lot stays in its chain"):
            Chain("onion", tuple(check(number, 0) for number in numbers))

    def test_a_chain_of_none(self) -> None:
        with pytest.raises(RuleError, match="A chain has at least one check"):
            Chain("onion", ())

    def test_days_that_go_back(self) -> None:
        with pytest.raises(RuleError, match="Check 2 is of 2026-03-14, before check 1 of 2026-03-15"):
            Chain("onion", (check(1, 0), check(2, 0, on=DAY - timedelta(1))))

    @pytest.mark.parametrize("looks", [(Look.AGAIN,), (Look.FIRST, Look.FIRST), (Look.AFTER_WASH, Look.FIRST)])
    def test_first_looks_that_are_none(self, looks: tuple[Look, ...]) -> None:
        with pytest.raises(RuleError, match="The first check of a lot is its first look, and no other is"):
            Chain("onion", tuple(check(at, 0, look=look) for at, look in enumerate(looks, start=1)))

    @pytest.mark.parametrize(
        ("changes", "says"),
        [
            ({"number": 0}, "The number of a check must be a whole number from 1"),
            ({"on": datetime(2026, 3, 15)}, "The day of check 1 must be a date"),
            ({"open_flags": -1}, "open_flags of check 1 must be a whole number"),
            ({"per": Per.HUNDRED_GRAMS}, "its mass is said beside that"),
            ({"parts": ()}, "Check 1 has one part or more"),
            ({"parts": (Part("a", 0, 0), Part("b", 0, 0))}, "just one where all is counted as a whole"),
            ({"parts": (Part("a", 0, 0), Part("A", 0, 0)), "per": Per.PIECE}, "names a piece or sample twice"),
            ({"mass_g": 0.0}, "mass_g of check 1 is above 0, not 0.0"),
            ({"mass_g": float("nan")}, "mass_g of check 1 is above 0"),
        ],
    )
    def test_checks_that_can_not_be_meant(self, changes: dict[str, Any], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            replace(check(1, 0), **changes)

    @pytest.mark.parametrize(
        ("part", "says"),
        [
            (("", 0, 0), "The name of a piece or sample is empty"),
            (("a", -1, 0), "least of a must be a whole number"),
            (("a", 2, 1), "On a at most 1 are counted and at least 2: exchange them"),
            (("a", 0, 0, 1.0), "not_judged of a must be a whole number"),
        ],
    )
    def test_parts_that_can_not_be_meant(self, part: Any, says: str) -> None:
        with pytest.raises(RuleError, match=says):
            Part(*part)

    def test_counts_by_another_rule_or_version(self) -> None:
        for digest in ("", PER_SAMPLE.digest):
            with pytest.raises(RuleError, match=re.escape(f"Check 2 was not counted by {NAME}: count it again")):
                next_step(RULE, Chain("onion", (check(1, 0), check(2, 0, digest=digest))), DAY)

    def test_a_day_before_the_last_check(self) -> None:
        with pytest.raises(RuleError, match="on_date is 2026-03-14, before the last check, of 2026-03-15"):
            next_step(RULE, chain(0), DAY - timedelta(1))

    @pytest.mark.parametrize("on", [datetime(2026, 3, 20), datetime(2026, 3, 20, tzinfo=UTC), "2026-03-20", None])
    def test_what_is_no_local_day(self, on: Any) -> None:
        with pytest.raises(RuleError, match="on_date must be a date such as 2026-03-31, without a time of day"):
            next_step(RULE, chain(0), on)


class TestCountsOnly:
    def why(self, by: HouseRule | None, day: date = DAY, on: date | None = None, produce: str = "onion") -> str:
        counts = Chain(produce, (check(1, 3, by=by, on=day), check(2, 0, by=by, on=day)))
        outcome = next_step(by, counts, on or day)
        if outcome.state != State.COUNTS_ONLY:
            return ""
        assert outcome.steps == ()
        assert [line.check for line in outcome.checks] == list(counts.checks)
        assert not any(line.is_read for line in outcome.checks)
        assert outcome.sentence.startswith("Counts only: ")
        return outcome.sentence.removeprefix("Counts only: ")

    def test_without_a_rule(self) -> None:
        assert self.why(None) == "no house rule has been entered."
        assert next_step(None, chain(0, by=None), DAY).whose == WHO_DECIDES

    def test_not_signed(self) -> None:
        assert (
            self.why(DRAFT) == f"the rule of Mudlark Table (not signed, version {DRAFT.version}) has not been signed."
        )

    def test_changed_since_it_was_signed(self) -> None:
        other = replace(RULE, text="As agreed at our table!")
        assert self.why(other) == (
            f"the rule of Mudlark Table (of 2026-02-20, version {other.version}) was changed after it was signed: what R. Reed signed on "
            f"2026-02-20 was version {RULE.version}."
        )

    def test_both_its_first_and_its_last_day_are_in_it(self) -> None:
        day = timedelta(1)
        assert [self.why(RULE, on) for on in (FIRST, LAST)] == ["", ""]
        assert self.why(RULE, FIRST - day) == (
            f"{NAME} is in force from 2026-03-01 on, and the first check was made on 2026-02-28."
        )
        assert self.why(RULE, LAST + day) == (
            f"{NAME} was in force until 2026-03-31, and this is asked for 2026-04-01."
        )

    def test_in_force_at_the_first_check_not_only_when_it_is_asked(self) -> None:
        assert "is in force from 2026-03-01 on" in self.why(RULE, FIRST - timedelta(1), on=FIRST)
        assert "was in force until 2026-03-31" in self.why(RULE, LAST, on=LAST + timedelta(1))

    def test_a_chain_that_began_before_it_is_not_read_by_it(self) -> None:
        checks = (check(1, 3, on=FIRST - timedelta(1)), check(2, 0, on=FIRST))
        assert next_step(RULE, Chain("onion", checks), FIRST).state == State.COUNTS_ONLY

    def test_signed_on_the_day_of_the_check_at_the_latest(self) -> None:
        by = signed(DRAFT, "R. Reed", DAY, SCAN)
        assert self.why(by) == ""
        before = self.why(by, DAY - timedelta(1))
        assert before.endswith("was signed on 2026-03-15, and the first check was made on 2026-03-14.")

    def test_other_produce(self) -> None:
        by = rule(produce=("leek", "בצל"))
        name = by.title
        assert self.why(by) == f"{name} is for leek and \u2068בצל\u2069, not for onion."
        assert (
            self.why(by, produce="")
            == f"{name} is for leek and \u2068בצל\u2069, not for a lot whose produce is not named."
        )
        assert self.why(by, produce="Leek") == ""

    def test_signed_earlier_than_its_first_day(self) -> None:
        assert SIGNED_ON < FIRST
        assert self.why(RULE, FIRST) == ""


MILDEST_FIRST = (Then.GO_ON, Then.DISCARD_PIECE, Then.WASH_AND_CHECK, Then.HOLD, Then.STOP)


def severity(outcome: Outcome) -> float | None:
    """How strict what is asked is; None where nothing is read. The limit lies between one more wash and a hold."""
    if outcome.state == State.STOPPED_AT_LIMIT:
        return MILDEST_FIRST.index(Then.WASH_AND_CHECK) + 0.5
    if outcome.state != State.NEXT_STEP:
        return None
    return max(MILDEST_FIRST.index(asked.step.then) for asked in outcome.steps)


@st.composite
def ordered_rules(draw: st.DrawFn) -> HouseRule:
    """Rules whose steps grow stricter with the number."""
    per = draw(st.sampled_from(Per))
    ladder = draw(ladders(per, st.sampled_from(Then)))
    thens = sorted((step.then for step in ladder), key=MILDEST_FIRST.index)
    steps = tuple(replace(step, then=then, action=then) for step, then in zip(ladder, thens, strict=True))
    again = Then.WASH_AND_CHECK in thens
    return rule(per=per, steps=steps, most_rechecks=2 if again else 0, when_to_stop="back" if again else "")


RANGES = st.tuples(st.integers(0, 45), st.integers(0, 3), st.integers(0, 1)).map(lambda n: (n[0], n[0] + n[1], n[2]))
LOOKS = st.sampled_from([Look.AFTER_WASH, Look.AFTER_WASH, Look.AGAIN])


@st.composite
def checks(draw: st.DrawFn, by: HouseRule) -> list[Check]:
    """One to four checks, in the rule's own unit."""
    of_parts = by.per in (Per.PIECE, Per.SAMPLE)
    each = st.lists(RANGES, min_size=1, max_size=3 if of_parts else 1)
    per = by.per if of_parts else Per.LOT
    return [
        check(at, *draw(each), by=by, per=per, mass_g=draw(st.sampled_from([50.0, 100.0, 333.3])))
        if at == 1
        else check(at, *draw(each), by=by, per=per, mass_g=100.0, look=draw(LOOKS))
        for at in range(1, 1 + draw(st.integers(1, 4)))
    ]


class TestAnyChain:
    @settings(max_examples=150, deadline=None)
    @given(st.data(), ordered_rules())
    def test_more_counted_animals_never_lead_to_a_milder_step(self, data: st.DataObject, by: HouseRule) -> None:
        before = data.draw(checks(by))
        at, more = data.draw(st.integers(0, len(before) - 1)), data.draw(st.integers(1, 30))
        part = data.draw(st.integers(0, len(before[at].parts) - 1))
        parts = list(before[at].parts)
        parts[part] = replace(parts[part], least=parts[part].least + more, most=parts[part].most + more)
        after = [*before[:at], replace(before[at], parts=tuple(parts)), *before[at + 1 :]]
        fewer, greater = (severity(next_step(by, Chain("onion", tuple(each)), DAY)) for each in (before, after))
        assert fewer is None or greater is None or greater >= fewer

    @settings(max_examples=60, deadline=None)
    @given(st.data(), ordered_rules())
    def test_one_more_check_makes_nothing_milder_that_was_at_an_end(self, data: st.DataObject, by: HouseRule) -> None:
        all_checks = data.draw(checks(by))
        outcomes = [
            next_step(by, Chain("onion", tuple(all_checks[:many])), DAY) for many in range(1, len(all_checks) + 1)
        ]
        for once, again in itertools.pairwise(outcomes):
            asks = {asked.step.then for asked in once.steps}
            if once.state != State.NEXT_STEP or asks & {Then.STOP, Then.HOLD}:
                assert (again.state, again.sentence) == (once.state, once.sentence)
            elif Then.WASH_AND_CHECK not in asks:
                assert again.state == State.NOT_READ or again.sentence == once.sentence

    @settings(max_examples=60, deadline=None)
    @given(rules(), st.lists(RANGES, min_size=1, max_size=3))
    def test_every_check_stays_and_no_word_of_the_rule_is_changed(self, by: HouseRule, counts: list[Any]) -> None:
        before = (by.text, by.digest, by.steps, by.when_to_stop)
        made = chain(*counts, by=by, on=by.until_date)
        outcome = next_step(by, made, by.until_date)
        assert [line.check for line in outcome.checks] == list(made.checks)
        assert (by.text, replace(by).digest, by.steps, by.when_to_stop) == before
        for asked in outcome.steps:
            assert asked.step in by.steps
            assert asked.step.action in outcome.sentence

    def test_no_forbidden_word_but_in_the_authority_s_own(self) -> None:
        theirs = ("all clear", "passed", "insect-free ✓")
        steps = tuple(replace(step, action=action) for step, action in zip(DRAFT.steps, (*theirs, "no"), strict=True))
        by_rules = (
            rule(steps=steps),
            rule(steps=steps, per=Per.SAMPLE),
            replace(RULE, steps=steps),
            example_rule(),
            None,
        )
        chains = ((0,), (3,), (3, 0), (3, 3, 3, 0), ((2, 5),), (0, 7), ((0, 0, 2),), (5, 0), (12,))
        outcomes = [next_step(by, chain(*counts, by=by), DAY) for by in by_rules for counts in chains]
        said = [
            text for each in outcomes for text in (each.sentence, each.whose, *(line.sentence for line in each.checks))
        ]
        ours = [re.sub('"[^"]*"', "", text) for text in said]
        assert any("all clear" in text for text in said)
        assert [text for text in ours if forbidden(text)] == []
