"""What the authority's rule says of a lot, and its decision, from what people answered and entered. All invented (`lot_folder.py`)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from lot_folder import LOT, People, Taken, number_pieces, people_on
from made_rules import GO_ON, HOLD, STOP, WASH, draft, rule
from test_house import forbidden

from cli.lots.compared import linked_of
from cli.lots.entries import Correction, Decided, FoundByHand, LateEntry, Link, RuleGiven, Sampled
from cli.lots.per import Per
from cli.lots.record_rule import Ruled, day_of, decision_lines, ruled, state_of
from cli.lots.rule import Counting, HouseRule
from cli.lots.rule_chain import State
from cli.lots.rule_file import rule_text
from cli.lots.rule_steps import Step, Then

DAY = date(2026, 3, 4)
LATE = "2026-03-04T21:10:00+01:00"


def read(people: People, lot: str = LOT, on: date = DAY) -> Ruled:
    stands = people.lot(lot)
    said = ruled(stands, linked_of(stands), on)
    words = said.why_not + (said.outcome.sentence if said.outcome else "")
    assert forbidden(words) == []
    assert words.endswith(".")
    return said


def state(people: People, **more: Any) -> State | None:
    outcome = read(people, **more).outcome
    return outcome.state if outcome else None


def asked(people: People, **more: Any) -> list[str]:
    outcome = read(people, **more).outcome
    assert outcome is not None
    return [each.step.action for each in outcome.steps]


def lot_with(insects: int, by: HouseRule | None = None, **more: Any) -> People:
    """A lot of one photograph with so many insects; the rule is the plain one."""
    people = people_on(Taken("w.jpg", max(insects, 1), size_px=(600, 400)), **more)
    people.answer_all()
    for speck in people.flags("w.jpg")[:insects]:
        people.insect(speck)
    people.enter(RuleGiven(rule_text(by or rule())))
    return people


def check(people: People, number: int, insects: int, look: str = "after_wash", day: str = "2026-03-05") -> None:
    """One more check, by hand."""
    sample = f"check {number}"
    found = (FoundByHand("aphid", "whole", insects, insects, "1"),) if insects else ()
    people.enter(
        Sampled(sample, 6, check=number, look=look, on=day), LateEntry(sample, 6, found, LATE, "Bo", check=number)
    )


class TestTheChain:
    # The plain rule: 0 or 1 go on, 2 to 4 wash and look again (twice at most), 5 to 9 hold, 10 and more stop.
    @pytest.mark.parametrize(("insects", "step"), [(0, GO_ON), (1, GO_ON), (3, WASH), (6, HOLD), (12, STOP)])
    def test_the_first_check(self, insects: int, step: Step) -> None:
        assert asked(lot_with(insects)) == [step.action]

    def test_a_wash_and_a_second_check(self) -> None:
        people = lot_with(3)
        check(people, 2, 0)
        said = read(people, on=date(2026, 3, 5)).outcome
        assert said is not None
        assert [each.step.action for each in said.steps] == [GO_ON.action]
        # Both checks stay.
        assert [line.check.number for line in said.checks] == [1, 2]
        assert [line.check.most for line in said.checks] == [3, 0]

    def test_a_second_check_without_a_wash_is_not_read(self) -> None:
        people = lot_with(3)
        check(people, 2, 0, look="again")
        assert state(people) is State.NOT_READ

    def test_by_hand_alone_nobody_has_said_that_it_was_washed(self) -> None:
        people = lot_with(3)
        people.enter(LateEntry("more", 6, (), LATE, "Bo", check=2))
        assert state(people) is State.NOT_READ

    def test_used_up_it_is_stopped_at_the_limit(self) -> None:
        people = lot_with(3)
        for number in (2, 3):
            check(people, number, 3, day=f"2026-03-0{4 + number}")
        assert state(people) is State.STOPPED_AT_LIMIT
        assert "back to the field" in read(people).outcome.sentence  # type: ignore[union-attr]

    def test_a_check_that_was_left_out_is_said(self) -> None:
        people = lot_with(3)
        check(people, 3, 0)
        assert "every check of a lot stays in its chain" in read(people).why_not


class TestCountsOnly:
    @pytest.mark.parametrize(
        ("by", "word"),
        [
            (draft(), "not signed"),
            (rule(until_date=date(2026, 3, 3)), ""),
            (rule(from_date=date(2026, 3, 5)), ""),
            (rule(produce=("onion",)), "onion"),
        ],
        ids=["unsigned", "expired", "not yet", "other produce"],
    )
    def test_no_rule_in_force(self, by: HouseRule, word: str) -> None:
        people = lot_with(3, by)
        assert state(people) is State.COUNTS_ONLY
        assert word in read(people).outcome.sentence  # type: ignore[union-attr]
        # It says of no find that it counts.
        assert read(people).judged == ()

    def test_a_rule_that_was_changed_after_it_was_signed(self) -> None:
        people = lot_with(3)
        people.enter(RuleGiven(rule_text(rule()).replace("rinse, look again", "rinse twice, look again")))
        assert state(people) is State.COUNTS_ONLY

    def test_none_was_entered_or_it_was_taken_away(self) -> None:
        people = lot_with(3)
        people.enter(RuleGiven(""))
        assert state(people) is State.COUNTS_ONLY
        assert state(people_on(Taken("w.jpg"))) is State.COUNTS_ONLY

    def test_without_a_rule_a_colony_is_as_many_as_were_said(self) -> None:
        people = people_on(Taken("w.jpg", 1))
        people.insect(people.flags("w.jpg")[0], body="colony", least=30, most=50)
        outcome = read(people).outcome
        assert outcome is not None
        assert outcome.checks[0].check.most == 50

    def test_one_that_cannot_be_read_is_said(self) -> None:
        people = lot_with(1)
        people.enter(RuleGiven("format = 'no rule at all'\n"))
        assert read(people).why_not.startswith("The rule that was entered can't be read: ")


class TestNotRead:
    def test_open_flags(self) -> None:
        people = lot_with(3)
        people.answer(people.flags("w.jpg")[0], "look_again")
        assert state(people) is State.NOT_READ

    def test_open_flags_on_what_cannot_be_seen_count_too(self) -> None:
        people = people_on(Taken("w.jpg", 1), Taken("x.jpg", 1, sample="2", reasons="Too dark."))
        people.answer(people.flags("w.jpg")[0])
        people.enter(RuleGiven(rule_text(rule())))
        assert state(people) is State.NOT_READ
        people.answer(people.flags("x.jpg")[0])
        assert asked(people) == [GO_ON.action]

    def test_open_flags_on_a_blank_do_not(self) -> None:
        people = people_on(Taken("w.jpg", 1, sample=""), Taken("blank.jpg", 2, sample="", view="blank"))
        people.answer(people.flags("w.jpg")[0])
        people.enter(RuleGiven(rule_text(rule())))
        assert asked(people) == [GO_ON.action]

    def test_a_day_that_is_not_known(self) -> None:
        people = people_on(Taken("w.jpg", 1, taken_at=""))
        people.answer_all()
        people.enter(RuleGiven(rule_text(rule())))
        assert read(people).why_not == "The day of check 1 is not known: enter it with a sample of that check."
        people.enter(Sampled("1", 6, on="2026-03-04"))
        assert asked(people) == [GO_ON.action]

    def test_nothing_was_looked_at(self) -> None:
        people = lot_with(1)
        people.enter(RuleGiven(rule_text(rule())), lot="other")
        assert read(people, lot="other").why_not.startswith("Nothing of this lot was looked at yet")

    def test_it_is_read_on_the_last_checks_day_at_the_earliest(self) -> None:
        assert read(lot_with(0), on=date(2026, 1, 1)).read_on == DAY
        assert read(lot_with(0), on=date(2026, 3, 9)).read_on == date(2026, 3, 9)


class TestDays:
    def test_an_entered_day_stands_over_the_cameras(self) -> None:
        people = people_on(Taken("a.jpg"), Taken("b.jpg", sample="2", taken_at="2026-03-09T08:00:00"))
        lot = people.lot()
        assert day_of(lot, {"1", "2"}) == date(2026, 3, 9)
        people.enter(Sampled("2", on="2026-03-06"), Sampled("1", on="2026-03-05"))
        # The last day, in whatever order they were entered.
        assert day_of(people.lot(), {"1", "2"}) == date(2026, 3, 6)
        people.enter(Sampled("2"))
        assert day_of(people.lot(), {"1", "2"}) == date(2026, 3, 5)
        assert day_of(people.lot(), {"2"}) == date(2026, 3, 9)

    def test_of_what_was_written_by_hand_the_local_day(self) -> None:
        people = people_on(Taken("a.jpg", taken_at=""))
        people.enter(LateEntry("9", 4, (), "2026-03-04T23:30:00-05:00", "Bo"))
        assert day_of(people.lot(), {"9"}) == date(2026, 3, 4)
        assert day_of(people.lot(), {"1"}) is None


SOME = Counting(frozenset({"whole"}), frozenset({"in_hand"}))


class TestUnits:
    def two_pieces(self, unit: Per) -> People:
        people = people_on(
            *(
                Taken(f"{k}.jpg", 1, sample, piece, "underside", seed=k)
                for k, (sample, piece) in enumerate([("1", "1"), ("2", "1"), ("1", "2")])
            )
        )
        for k in range(2):
            people.insect(people.flags(f"{k}.jpg")[0])
        people.answer_all("2.jpg")
        steps = (Step(0, 1, "on", Then.GO_ON), Step(2, None, "stop", Then.STOP))
        if unit is Per.HUNDRED_GRAMS:
            steps = (Step(0, 1, "on", Then.GO_ON), Step(1, None, "stop", Then.STOP, above=True))
        people.enter(RuleGiven(rule_text(rule(per=unit, steps=steps, most_rechecks=0, when_to_stop=""))))
        return people

    def test_a_piece_and_a_sample_have_one_each(self) -> None:
        assert asked(self.two_pieces(Per.PIECE)) == ["on"]
        assert asked(self.two_pieces(Per.SAMPLE)) == ["on"]

    def test_pieces_that_are_numbered_twice_are_not_read(self) -> None:
        people = self.two_pieces(Per.PIECE)
        for name in ("0.jpg", "2.jpg"):
            people.enter(Correction(people.shot(name).sha256, "piece", ""))
        number_pieces(people, "0.jpg", "2.jpg")
        said = read(people)
        assert said.outcome is None
        assert "of sample 1 nobody knows on which piece each insect was" in said.why_not

    def test_the_whole_lot_has_two(self) -> None:
        # Pieces of one name in two samples are two pieces, and their insects two.
        outcome = read(self.two_pieces(Per.LOT)).outcome
        assert outcome is not None
        assert (outcome.checks[0].check.least, outcome.checks[0].check.most) == (2, 2)
        assert asked(self.two_pieces(Per.LOT)) == ["stop"]

    def test_an_animal_linked_across_samples_is_one(self) -> None:
        people = self.two_pieces(Per.LOT)
        people.enter(Link(tuple(people.flags("0.jpg") + people.flags("1.jpg"))))
        assert asked(people) == ["on"]

    def test_grams_have_to_be_known(self) -> None:
        people = self.two_pieces(Per.HUNDRED_GRAMS)
        assert state(people) is State.NOT_READ
        people.enter(Sampled("1", 2, 50, "raw"), Sampled("2", 1, 50, "raw"))
        assert asked(people) == ["stop"]
        people.enter(Sampled("2", 1, 250, "raw"))
        assert asked(people) == ["on"]
        people.enter(Sampled("2", 1, 250, "drained"))
        assert state(people) is State.NOT_READ

    def test_what_does_not_count_is_listed_with_its_reason(self) -> None:
        people = lot_with(3, rule(counting=SOME))
        people.insect(people.flags("w.jpg")[0], body="skin")
        said = read(people)
        assert [each.reason for each in said.judged].count("counts by this rule") == 2
        assert len(said.judged) == 3
        assert asked(people) == [WASH.action]


class TestDecision:
    def test_a_lot_is_held_until_one_is_entered(self) -> None:
        people = lot_with(0)
        assert state_of(people.lot()) == "held"
        assert decision_lines(people.lot()) == ("The lot is held until a person enters the decision.",)
        people.enter(Decided("Back to the gardener", "Odile Farrow-Quill (invented)", "2026-03-04T15:00:00+01:00"))
        assert state_of(people.lot()) == "decided"

    def test_the_last_one_counts_and_all_are_told(self) -> None:
        people = lot_with(0)
        people.enter(Decided("Back", "O", "2026-03-04T15:00:00+01:00"))
        people.enter(Decided("To the cook", "אורית", "2026-03-04T16:00:00+01:00", late=True))
        last, before = decision_lines(people.lot())
        assert "To the cook" in last
        assert "entered late" in last
        assert before.startswith("Before that: ")
        assert "Back" in before


def test_a_correction_of_the_sample_moves_its_finds_to_the_other_check() -> None:
    people = lot_with(3)
    people.enter(Sampled("2", 6, check=2, look="after_wash", on="2026-03-05"), Sampled("1", 6, on="2026-03-04"))
    people.enter(Correction(people.shot("w.jpg").sha256, "sample", "2"))
    outcome = read(people).outcome
    assert outcome is not None
    assert [line.check.most for line in outcome.checks] == [0, 3]


class TestWhatIsNotKnown:
    """Nothing that is not known may make a step milder."""

    def test_photographs_of_no_lot_with_insects_stop_the_rule(self) -> None:
        people = people_on(Taken("w.jpg", 1), Taken("lost.jpg", 1, lot="", seed=5))
        people.answer_all()
        people.enter(RuleGiven(rule_text(rule())))
        assert asked(people) == ["on to the cook"] or state(people) is State.NEXT_STEP
        people.insect(people.flags("lost.jpg")[0])
        said = read(people)
        assert said.outcome is None
        assert "whose lot is not known" in said.why_not

    def test_a_find_without_a_piece_under_a_rule_by_pieces(self) -> None:
        people = TestUnits().two_pieces(Per.PIECE)
        people.enter(Correction(people.shot("0.jpg").sha256, "piece", ""))
        assert read(people).outcome is None
        assert "on which piece each insect was" in read(people).why_not

    def test_without_a_rule_what_was_confirmed_is_counted_as_elsewhere(self) -> None:
        people = lot_with(3)
        people.enter(RuleGiven(""))
        outcome = read(people).outcome
        assert outcome is not None
        assert outcome.state is State.COUNTS_ONLY
        assert (outcome.checks[0].check.least, outcome.checks[0].check.most) == (3, 3)

    def test_a_rule_that_is_not_signed_hides_no_animal(self) -> None:
        # By the unsigned rule none counts, as all are shorter than it asks for; it is not in force, and all are told.
        long_ones = Counting(frozenset({"whole"}), frozenset({"in_hand"}), from_length_mm=50.0)
        unsigned = replace(rule(counting=long_ones), signature=None)
        outcome = read(lot_with(3, unsigned)).outcome
        assert outcome is not None
        assert outcome.state is State.COUNTS_ONLY
        assert outcome.checks[0].check.most == 3

    def test_what_was_written_by_hand_says_how_it_was_looked_at_or_is_not_judged(self) -> None:
        people = lot_with(0, rule(counting=SOME))
        people.enter(LateEntry("1", 2, (FoundByHand("aphid", "whole", 1, 1, "1"),), LATE, "Bo"))
        (judged,) = read(people).judged
        assert "no word on how it was looked at" in judged.reason
        people.enter(LateEntry("1", 2, (FoundByHand("aphid", "whole", 1, 1, "1"),), LATE, "Bo", basis="in_hand"))
        (judged,) = read(people).judged
        assert judged.reason == "counts by this rule"
