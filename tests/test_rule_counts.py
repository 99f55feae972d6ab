"""What counts by a house rule, each find with its reason, and the range of how many that is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_rules import RULE, counting, countings, rule
from test_house import forbidden

from cli.lots.rule import Colonies, HouseRule, Seen
from cli.lots.rule_counts import NO_SIZE, Counted, Find, Verdict, counted
from cli.lots.rule_text import RuleError
from cli.review.answers import BASES, BODIES, UNAIDED

COUNTS, NOT, NOT_JUDGED = Verdict.COUNTS, Verdict.NOT, Verdict.NOT_JUDGED
FROM_2_MM = counting(from_length_mm=2.0)
UNAIDED_ONLY = counting(seen=Seen.UNAIDED)
IN_HAND = counting(basis=frozenset({"in_hand", "loupe"}))
APHIDS = counting(kinds=("aphid", "thrips"))


def find(name: str = "a", **said: Any) -> Find:
    """A whole aphid of 2.5 mm in the hand, but for what is said otherwise."""
    plain: dict[str, Any] = {"kind": "aphid", "body": "whole", "length_mm": 2.5, "unaided": "yes", "basis": "in_hand"}
    return Find(name, **plain | said)


def colony(least: int, most: int, **said: Any) -> Find:
    return find(body="colony", least=least, most=most, **said)


def numbers(of: Counted) -> tuple[int, int, int]:
    return of.least, of.most, of.not_judged


class TestOneFind:
    @pytest.mark.parametrize(
        ("by", "said", "verdict", "reason"),
        [
            (RULE, {}, COUNTS, "counts by this rule"),
            (RULE, {"body": "part_with_head"}, COUNTS, "counts by this rule"),
            (RULE, {"body": "egg"}, NOT, "does not count by this rule: it is an egg"),
            (RULE, {"body": "part"}, NOT, "does not count by this rule: it is a part without a head"),
            (RULE, {"body": ""}, NOT_JUDGED, "can't be judged by this rule: no word on what of the animal it is"),
            (counting(bodies=frozenset(BODIES)), {"body": ""}, COUNTS, "counts by this rule"),
            (FROM_2_MM, {"length_mm": 2.0}, COUNTS, "counts by this rule"),
            (
                FROM_2_MM,
                {"length_mm": 1.99},
                NOT,
                "does not count by this rule: it is 1.99 mm long, and the rule counts from 2 mm",
            ),
            (FROM_2_MM, {"length_mm": None}, NOT_JUDGED, "can't be judged by this rule: no size"),
            (RULE, {"length_mm": None}, COUNTS, "counts by this rule"),
            (
                FROM_2_MM,
                {"length_mm": 1.9, "size_uncertainty": 0.05},
                NOT_JUDGED,
                "can't be judged by this rule: its length, 1.9 mm, may be 0.19 mm off, and it counts from 2 mm",
            ),
            (FROM_2_MM, {"length_mm": 2.1, "size_uncertainty": 0.05}, NOT_JUDGED, "may be 0.21 mm off"),
            (FROM_2_MM, {"length_mm": 2.5, "size_uncertainty": 0.05}, COUNTS, "counts by this rule"),
            (FROM_2_MM, {"length_mm": 1.5, "size_uncertainty": 0.05}, NOT, "1.5 mm long"),
            (UNAIDED_ONLY, {"unaided": "yes"}, COUNTS, "counts by this rule"),
            (UNAIDED_ONLY, {"unaided": "no"}, NOT, "does not count by this rule: it was not seen without a loupe"),
            (UNAIDED_ONLY, {"unaided": "not_tried"}, NOT_JUDGED, "nobody tried to see it without a loupe, or said so"),
            (UNAIDED_ONLY, {"unaided": ""}, NOT_JUDGED, "nobody tried to see it without a loupe, or said so"),
            (IN_HAND, {"basis": "loupe"}, COUNTS, "counts by this rule"),
            (
                IN_HAND,
                {"basis": "picture"},
                NOT,
                "does not count by this rule: it was looked at on the picture, and the rule asks for in the hand or with a loupe",
            ),
            (IN_HAND, {"basis": ""}, NOT_JUDGED, "can't be judged by this rule: no word on how it was looked at"),
            (RULE, {"basis": ""}, COUNTS, "counts by this rule"),
            (APHIDS, {"kind": " Aphid"}, COUNTS, "counts by this rule"),
            (APHIDS, {"kind": "mite"}, NOT, "does not count: its kind is mite, and this rule counts aphid and thrips"),
            (
                APHIDS,
                {"kind": ""},
                NOT_JUDGED,
                "can't be judged by this rule: no kind, and this rule counts aphid and thrips",
            ),
            (APHIDS, {"kind": "cabbage aphid"}, NOT_JUDGED, "whether cabbage aphid is among them is not said"),
            (counting(kinds=("כנימה",)), {"kind": "mite"}, NOT_JUDGED, "whether mite is among them is not said"),
            (counting(kinds=("כנימה",)), {"kind": "כנימה"}, COUNTS, "counts by this rule"),
            (RULE, {"kind": ""}, COUNTS, "counts by this rule"),
        ],
    )
    def test_has_one_reason(self, by: HouseRule, said: dict[str, Any], verdict: Verdict, reason: str) -> None:
        (judged,) = counted(by, [find(**said)]).finds
        assert judged.verdict == verdict
        assert reason in judged.reason

    def test_without_a_size_it_is_not_guessed_but_listed_apart(self) -> None:
        result = counted(FROM_2_MM, [find(length_mm=None), find("b")])
        assert [judged.reason for judged in result.finds] == [NO_SIZE, "counts by this rule"]
        assert numbers(result) == (1, 1, 1)

    def test_what_speaks_against_it_goes_before_what_is_not_known(self) -> None:
        by = counting(from_length_mm=2.0, seen=Seen.UNAIDED)
        (judged,) = counted(by, [find(length_mm=None, unaided="", body="skin")]).finds
        assert judged.reason == "does not count by this rule: it is a skin"
        (judged,) = counted(by, [find(length_mm=1.0, unaided="")]).finds
        assert judged.verdict == NOT

    def test_none_is_none(self) -> None:
        assert numbers(counted(RULE, [])) == (0, 0, 0)

    def test_says_by_which_version(self) -> None:
        assert counted(RULE, []).digest == RULE.digest != counted(FROM_2_MM, []).digest


class TestRefused:
    @pytest.mark.parametrize(
        ("said", "says"),
        [
            ({"body": "wing"}, "body must be one of: whole, "),
            ({"basis": "smell"}, "basis must be one of: in_hand, "),
            ({"unaided": "maybe"}, "unaided must be one of: yes, no, not_tried, empty; not 'maybe'"),
            ({"length_mm": -1.0}, "length_mm of a find is a number from 0 up, not -1.0"),
            ({"length_mm": float("nan")}, "length_mm of a find is a number"),
            ({"size_uncertainty": float("inf")}, "size_uncertainty of a find is a number"),
            ({"least": 2}, "Only a colony has a least and a most"),
            ({"body": "colony"}, "least of a colony must be a whole number from 1"),
            ({"body": "colony", "least": 0, "most": 3}, "least of a colony must be a whole number from 1"),
            ({"body": "colony", "least": 5, "most": 4}, "most of a colony must be a whole number from 5"),
        ],
    )
    def test_what_no_answer_says(self, said: dict[str, Any], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            find(**said)


class TestColonies:
    @pytest.mark.parametrize(
        ("which", "least", "most"), [(Colonies.LEAST, 30, 30), (Colonies.MOST, 50, 50), (Colonies.BOTH, 30, 50)]
    )
    def test_count_with_the_number_that_the_rule_says(self, which: Colonies, least: int, most: int) -> None:
        assert numbers(counted(counting(colonies=which), [colony(30, 50)])) == (least, most, 0)

    def test_a_colony_s_mark_has_no_size_of_an_animal(self) -> None:
        result = counted(FROM_2_MM, [colony(30, 50)])
        assert numbers(result) == (0, 0, 50)
        assert result.finds[0].reason == f"{NO_SIZE} of its animals, as a colony's mark has only its own"

    def test_linked_it_counts_once_with_the_larger_numbers(self) -> None:
        twice = [colony(30, 50, animal="c", shot="1"), colony(35, 40, animal="c", shot="2")]
        assert numbers(counted(RULE, twice)) == (35, 50, 0)

    def test_a_mark_of_a_body_that_does_not_count_lends_no_number(self) -> None:
        by = counting(bodies=frozenset({"whole"}))
        assert numbers(counted(by, [colony(30, 50, animal="c"), find(animal="c")])) == (1, 1, 0)


class TestMarksThatMayBeOneAnimal:
    def test_on_one_photograph_they_are_two(self) -> None:
        assert numbers(counted(RULE, [find(shot="1"), find("b", shot="1")])) == (2, 2, 0)

    def test_on_two_photographs_of_a_piece_they_may_be_one(self) -> None:
        assert numbers(counted(RULE, [find(shot="1", place="p"), find("b", shot="2", place="p")])) == (1, 2, 0)

    def test_on_two_pieces_they_are_two(self) -> None:
        assert numbers(counted(RULE, [find(shot="1", place="p"), find("b", shot="2", place="q")])) == (2, 2, 0)

    def test_of_no_known_piece_or_photograph_they_may_be_one(self) -> None:
        assert numbers(counted(RULE, [find(), find("b"), find("c")])) == (1, 3, 0)
        assert numbers(counted(RULE, [find(place="p", shot="1"), find("b", shot="2")])) == (1, 2, 0)

    def test_linked_they_are_one_and_the_second_says_so(self) -> None:
        result = counted(RULE, [find(animal="x", shot="1"), find("b", animal="x", shot="2")])
        assert numbers(result) == (1, 1, 0)
        assert [judged.verdict for judged in result.finds] == [COUNTS, NOT]
        assert result.finds[1].reason == "is the same animal as a, which is counted once"

    def test_linked_to_different_animals_they_are_two(self) -> None:
        assert numbers(counted(RULE, [find(animal="x", shot="1"), find("b", animal="y", shot="2")])) == (2, 2, 0)
        assert numbers(counted(RULE, [find(animal="x", place="p"), find("b", animal="y")])) == (2, 2, 0)

    def test_what_one_mark_of_an_animal_shows_is_known_of_it(self) -> None:
        by = counting(from_length_mm=2.0, basis=frozenset({"in_hand"}))
        marks = [find(animal="x", length_mm=None), find("b", animal="x", basis="picture")]
        assert numbers(counted(by, marks)) == (1, 1, 0)
        apart = [replace(mark, animal="") for mark in marks]
        assert numbers(counted(by, apart)) == (0, 0, 1)

    def test_linked_marks_that_can_not_be_judged_are_one(self) -> None:
        marks = [find(animal="x", length_mm=None), find("b", animal="x", length_mm=None)]
        assert numbers(counted(FROM_2_MM, marks)) == (0, 0, 1)

    def test_a_part_without_a_head_may_belong_to_any_other(self) -> None:
        by = counting(bodies=frozenset({"whole", "part"}))
        part, other = find(body="part", shot="1"), find("b", body="part", shot="1")
        assert numbers(counted(by, [part, other])) == (1, 2, 0)
        assert numbers(counted(by, [part, find("b", shot="1")])) == (1, 2, 0)
        assert numbers(counted(by, [part])) == (1, 1, 0)

    @settings(max_examples=50, deadline=None)
    @given(
        st.lists(st.tuples(st.sampled_from("pq"), st.sampled_from("123"), st.sampled_from(["", "x", "y"])), max_size=5)
    )
    def test_least_is_what_trying_all_ways_of_putting_them_together_gives(
        self, marks: list[tuple[str, str, str]]
    ) -> None:
        # An animal stands on one piece; the trial takes a linked one's marks for one animal, so they get one piece.
        placed = [(f"{animal}p" if animal else place, shot, animal) for place, shot, animal in marks]
        finds = [find(f"{at}", place=p[-1], shot=s, animal=a) for at, (p, s, a) in enumerate(placed)]
        assert counted(RULE, finds).least == fewest(finds)


def fewest(finds: list[Find]) -> int:
    """The smallest number of animals that may have left these marks, by trying all partitions."""
    return min(
        (len(parts) for parts in partitions(finds) if all(map(may_be_one, parts)) and not split(parts)), default=0
    )


def partitions(items: list[Find]) -> Iterator[list[list[Find]]]:
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for parts in partitions(rest):
        yield [[first], *parts]
        for at, part in enumerate(parts):
            yield [*parts[:at], [first, *part], *parts[at + 1 :]]


def may_be_one(marks: list[Find]) -> bool:
    """One piece, one animal where any is linked, and on one photograph only marks that are linked to each other."""
    loose = [mark for mark in marks if not mark.animal]
    linked_shots = {mark.shot for mark in marks if mark.animal}
    shots = [mark.shot for mark in loose]
    return (
        len({mark.place for mark in marks}) == 1
        and len({mark.animal for mark in marks if mark.animal}) <= 1
        and len(set(shots)) == len(shots)
        and not linked_shots & set(shots)
    )


def split(parts: list[list[Find]]) -> bool:
    """Whether linked marks lie in two parts."""
    linked = [animal for part in parts for animal in {mark.animal for mark in part if mark.animal}]
    return len(set(linked)) < len(linked)


@st.composite
def finds(draw: st.DrawFn) -> Find:
    """Any find."""
    body = draw(st.sampled_from([*BODIES, ""]))
    least = draw(st.integers(1, 9)) if body == "colony" else None
    return Find(
        draw(st.text("ab", min_size=1, max_size=3)),
        draw(st.sampled_from(["", "aphid", "mite", "flea beetle"])),
        body,
        draw(st.none() | st.floats(0, 5)),
        draw(st.sampled_from([*UNAIDED, ""])),
        draw(st.sampled_from([*BASES, ""])),
        least,
        None if least is None else least + draw(st.integers(0, 9)),
        draw(st.sampled_from(["", "", "x", "y"])),
        draw(st.sampled_from(["", "1", "2"])),
        draw(st.sampled_from(["", "p", "q"])),
        draw(st.none() | st.floats(0, 0.2)),
    )


class TestAnyFinds:
    @settings(max_examples=50, deadline=None)
    @given(countings(), st.lists(finds(), max_size=8))
    def test_each_has_its_place_and_one_reason_and_the_words_stay(self, what: Any, some: list[Find]) -> None:
        by = rule(counting=what)
        before = (by.text, by.digest)
        result = counted(by, some)
        assert [judged.find for judged in result.finds] == some
        assert all(judged.reason and forbidden(judged.reason) == [] for judged in result.finds)
        assert 0 <= result.least <= result.most
        assert (result.most > 0) == (result.least > 0) == any(judged.verdict == COUNTS for judged in result.finds)
        assert (result.not_judged > 0) == any(judged.verdict == NOT_JUDGED for judged in result.finds)
        assert (by.text, replace(by).digest) == before

    @settings(max_examples=50, deadline=None)
    @given(countings(), st.lists(finds(), max_size=8), finds())
    def test_one_more_find_never_makes_them_fewer(self, what: Any, some: list[Find], more: Find) -> None:
        by = rule(counting=what)
        before, after = counted(by, some), counted(by, [*some, more])
        assert after.least >= before.least
        assert after.most >= before.most
        assert after.most + after.not_judged >= before.most + before.not_judged

    @settings(max_examples=50, deadline=None)
    @given(countings(), st.lists(finds(), max_size=8), st.randoms(use_true_random=False))
    def test_their_order_does_not_matter_where_each_animal_is_on_one_piece(
        self, what: Any, some: list[Find], chance: Any
    ) -> None:
        by, placed = rule(counting=what), [replace(each, place=each.animal or each.place) for each in some]
        shuffled = list(placed)
        chance.shuffle(shuffled)
        assert numbers(counted(by, shuffled)) == numbers(counted(by, placed))


class TestWhatOneNameDoesNotExclude:
    """A name or a length that says less than the rule asks for leaves a find unjudged, and does not make it none."""

    def test_a_larva_may_be_a_caterpillar(self) -> None:
        (judged,) = counted(
            counting(kinds=("caterpillar",)), [Find("a", kind="larva", body="whole", basis="in_hand")]
        ).finds
        assert judged.verdict is Verdict.NOT_JUDGED
        (judged,) = counted(
            counting(kinds=("caterpillar",)), [Find("a", kind="aphid", body="whole", basis="in_hand")]
        ).finds
        assert judged.verdict is Verdict.NOT

    def test_a_part_is_of_a_longer_animal(self) -> None:
        by = counting(from_length_mm=2.0)
        for body, verdict in (("part_with_head", Verdict.NOT_JUDGED), ("whole", Verdict.NOT)):
            find = Find("a", kind="aphid", body=body, basis="in_hand", length_mm=1.5, unaided="yes")
            (judged,) = counted(by, [find]).finds
            assert judged.verdict is verdict
