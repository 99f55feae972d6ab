"""Answers of another run on the same photograph: found again at the same place, and never on a neighbour."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.review.answers import Answer, Key, Said, SpeckId
from cli.review.earlier import LEAST_REACH_PX, found_again
from cli.review.store import Shown

NOW, BEFORE, LONG_BEFORE = "r00000000000c", "r00000000000b", "r00000000000a"
SHOT, OTHER_SHOT = "ab" * 32, "cd" * 32


def shown(candidate: int, x: float, y: float = 100.0, reach: float = 10.0, run: str = NOW, shot: str = SHOT) -> Shown:
    return Shown(SpeckId(shot, run, candidate), x, y, reach)


def old(candidate: int, x: float, y: float = 100.0, reach: float = 10.0, run: str = BEFORE, shot: str = SHOT) -> Shown:
    return shown(candidate, x, y, reach, run, shot)


def answered(*places: Shown, reading: int = 1) -> dict[Key, Said]:
    """An insect on each, in this order."""
    return {
        (each.speck, reading): Said(k, "2025-04-02T09:00:00Z", "", Answer(each.speck, "insect", "Ida", reading))
        for k, each in enumerate(places, start=1)
    }


def numbers(now: Sequence[Shown], before: Sequence[Shown], words: Mapping[Key, Said]) -> dict[int, tuple[str, int]]:
    """For each candidate of this run whose answer it is offered: run and number."""
    found = found_again(now, before, words)
    assert all(new.run == NOW for new in found)
    return {new.candidate: (word.answer.speck.run, word.answer.speck.candidate) for new, word in found.items()}


class TestFoundAgain:
    @pytest.mark.parametrize(("dx", "dy"), [(0, 0), (3, 0), (-3, 2), (0, -9.9), (6, 8)])
    def test_after_a_small_shift(self, dx: float, dy: float) -> None:
        before = [old(7, 200)]
        assert numbers([shown(1, 200 + dx, 100 + dy)], before, answered(*before)) == {1: (BEFORE, 7)}

    @pytest.mark.parametrize(("dx", "dy"), [(10.1, 0), (8, 8), (0, -400)])
    def test_not_after_a_large_one(self, dx: float, dy: float) -> None:
        before = [old(7, 200)]
        assert numbers([shown(1, 200 + dx, 100 + dy)], before, answered(*before)) == {}

    @pytest.mark.parametrize(("reach", "reach_before"), [(30.0, 5.0), (5.0, 30.0)])
    def test_the_smaller_reach_counts(self, reach: float, reach_before: float) -> None:
        before = [old(7, 200, reach=reach_before)]
        assert numbers([shown(1, 205, reach=reach)], before, answered(*before)) == {1: (BEFORE, 7)}
        assert numbers([shown(1, 206, reach=reach)], before, answered(*before)) == {}

    def test_a_point_is_reached_from_four_pixels_off(self) -> None:
        before = [old(100_001, 200, reach=0)]
        assert numbers([shown(1, 200 + LEAST_REACH_PX)], before, answered(*before)) == {1: (BEFORE, 100_001)}
        assert numbers([shown(1, 200.1 + LEAST_REACH_PX)], before, answered(*before)) == {}

    def test_another_photograph_never(self) -> None:
        before = [old(7, 200, shot=OTHER_SHOT)]
        assert numbers([shown(1, 200)], before, answered(*before)) == {}

    def test_nothing_without_an_answer(self) -> None:
        assert numbers([shown(1, 200)], [old(7, 200)], {}) == {}

    def test_only_the_first_reading_is_offered(self) -> None:
        before = [old(7, 200)]
        assert numbers([shown(1, 200)], before, answered(*before, reading=2)) == {}

    def test_nothing_of_nothing(self) -> None:
        before = [old(7, 200)]
        assert numbers([], before, answered(*before)) == {}
        assert numbers([shown(1, 200)], [], {}) == {}


class TestNeighbours:
    def test_one_answer_is_offered_on_the_nearer_one_alone(self) -> None:
        before = [old(7, 200)]
        assert numbers([shown(1, 198), shown(2, 203)], before, answered(*before)) == {1: (BEFORE, 7)}

    def test_each_keeps_its_own_after_a_shift(self) -> None:
        before = [old(1, 200), old(2, 208)]
        now = [shown(8, 203), shown(9, 211)]
        assert numbers(now, before, answered(*before)) == {8: (BEFORE, 1), 9: (BEFORE, 2)}

    def test_the_newer_answer_on_a_neighbour_does_not_push_out_the_nearer_one(self) -> None:
        # One of two that touched is no longer flagged: the other keeps its own answer, though that is the older one.
        here, neighbour = old(1, 200), old(2, 206)
        assert numbers([shown(8, 201)], [here, neighbour], answered(here, neighbour)) == {8: (BEFORE, 1)}

    def test_an_answer_taken_back_lets_no_neighbour_in(self) -> None:
        here, neighbour = old(1, 200), old(2, 206)
        assert numbers([shown(8, 201)], [here, neighbour], answered(neighbour)) == {}

    def test_one_that_is_nearer_but_out_of_reach_keeps_it_from_the_next(self) -> None:
        # What was answered lay on the small one rather than on the large one beside it, or on neither.
        before = [old(1, 200, reach=30)]
        assert numbers([shown(8, 205, reach=1), shown(9, 192, reach=30)], before, answered(*before)) == {}

    def test_of_two_at_the_same_distance_the_lower_number(self) -> None:
        before = [old(1, 200)]
        assert numbers([shown(9, 203), shown(8, 197)], before, answered(*before)) == {8: (BEFORE, 1)}


class TestSeveralRuns:
    @pytest.mark.parametrize("newer", [BEFORE, LONG_BEFORE])
    def test_the_newest_answer_is_offered(self, newer: str) -> None:
        places = sorted((old(3, 200), old(5, 202, run=LONG_BEFORE)), key=lambda each: each.speck.run == newer)
        assert numbers([shown(1, 201)], places, answered(*places)) == {1: (newer, places[-1].speck.candidate)}

    def test_each_run_is_matched_by_itself(self) -> None:
        # A run that told two apart does not take the older answer of one that saw a single one.
        before = [old(1, 200, run=LONG_BEFORE), old(1, 199), old(2, 207)]
        now = [shown(8, 199), shown(9, 207)]
        assert numbers(now, before, answered(*before)) == {8: (BEFORE, 1), 9: (BEFORE, 2)}


POINTS = st.lists(
    st.tuples(st.integers(0, 60), st.integers(0, 20), st.integers(0, 15), st.sampled_from((SHOT, OTHER_SHOT))),
    max_size=12,
    unique_by=lambda point: (point[0], point[1], point[3]),
)


@given(now=POINTS, before=POINTS, long_before=POINTS, mute=st.integers(1, 13))
def test_what_is_offered_lies_there_and_is_offered_once(
    now: list[tuple[int, int, int, str]],
    before: list[tuple[int, int, int, str]],
    long_before: list[tuple[int, int, int, str]],
    mute: int,
) -> None:
    """Against a plain search for pairs that are nearest to each other; one of them has lost its answer."""

    def places(points: list[tuple[int, int, int, str]], run: str) -> list[Shown]:
        return [shown(k, x, y, r, run, shot) for k, (x, y, r, shot) in enumerate(points, start=1)]

    here, there = places(now, NOW), [*places(long_before, LONG_BEFORE), *places(before, BEFORE)]
    words = answered(*(each for each in there if each.speck.candidate != mute))
    found = found_again(here, there, words)
    at = {each.speck: each for each in (*here, *there)}
    specks = [word.answer.speck for word in found.values()]
    assert len(set(specks)) == len(specks), "one answer, one speck"
    for new, word in found.items():
        one, other = at[new], at[word.answer.speck]
        assert one.speck.shot_sha256 == other.speck.shot_sha256
        assert apart(one, other) <= max(LEAST_REACH_PX, min(one.reach_px, other.reach_px))
    assert {new: word.number for new, word in found.items()} == plainly(here, there, words)


def apart(one: Shown, other: Shown) -> float:
    return math.dist((one.x_px, one.y_px), (other.x_px, other.y_px))


def plainly(here: list[Shown], there: list[Shown], words: Mapping[Key, Said]) -> dict[SpeckId, int]:
    best: dict[SpeckId, int] = {}
    for new in here:
        for was in there:
            word = words.get((was.speck, 1))
            shot, run = was.speck.shot_sha256, was.speck.run
            if word is None or new.speck.shot_sha256 != shot:
                continue
            others = [each for each in here if each.speck.shot_sha256 == shot]
            kin = [each for each in there if (each.speck.run, each.speck.shot_sha256) == (run, shot)]
            mutual = new == nearest(was, others) and was == nearest(new, kin)
            if mutual and apart(new, was) <= max(LEAST_REACH_PX, min(new.reach_px, was.reach_px)):
                best[new.speck] = max(best.get(new.speck, 0), word.number)
    return best


def nearest(to: Shown, among: list[Shown]) -> Shown:
    return min(among, key=lambda each: (apart(each, to), each.speck.candidate))
