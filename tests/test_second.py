"""Second eyes: who is drawn, how a speck stands from three readings, and that nobody is a second pair of eyes to themselves."""

from __future__ import annotations

import itertools
import math

import pytest

from cli.review.answers import INSECT, LOOK_AGAIN, NOT_INSECT, Answer, Key, Said, SpeckId, last_words
from cli.review.second import (
    AGREED,
    AWAITED,
    DECIDED,
    DISAGREED,
    ONE_READING,
    OPEN,
    differ,
    drawn,
    of_reading,
    standing,
    who_stands_in_the_way,
)
from cli.review.store import SecondReading

RUN = "r0123456789ab"
SPECKS = [SpeckId(f"{k // 40:064x}", RUN, k % 40 + 1) for k in range(2000)]
ONE = SPECKS[0]
NAMES = {1: "Ida", 2: "Jon", 3: "Kim"}


def asked(share: float, seed: str = "5eed") -> SecondReading:
    return SecondReading(RUN, 2, share, seed, "Lea")


def said(answer: str, reading: int = 1, speck: SpeckId = ONE, number: int = 0, **more: str) -> Said:
    more = {"reviewer": NAMES[reading]} | more
    return Said(number or reading, "2025-04-02T09:00:00Z", "", Answer(speck, answer, reading=reading, **more))  # type: ignore[arg-type]


def words(*each: Said) -> dict[Key, Said]:
    return last_words(each)


class TestTheDraw:
    @pytest.mark.parametrize("share", [0.01, 0.1, 0.2, 0.5, 0.9])
    @pytest.mark.parametrize("seed", ["a", "b", "c"])
    def test_takes_the_share_as_chance_would(self, share: float, seed: str) -> None:
        n = len(SPECKS)
        # Four standard errors of a binomial count.
        assert abs(len(drawn(SPECKS, asked(share, seed))) - share * n) < 4 * math.sqrt(n * share * (1 - share))

    def test_all_is_all(self) -> None:
        assert drawn(SPECKS, asked(1.0)) == set(SPECKS)

    def test_does_not_go_by_the_order(self) -> None:
        assert drawn(SPECKS[::-1], asked(0.3)) == drawn(SPECKS, asked(0.3))

    def test_flags_that_come_later_move_none(self) -> None:
        before = drawn(SPECKS[:500], asked(0.3))
        assert drawn(SPECKS, asked(0.3)) & set(SPECKS[:500]) == before

    def test_a_larger_share_holds_the_smaller_one(self) -> None:
        assert drawn(SPECKS, asked(0.2)) < drawn(SPECKS, asked(0.3))

    def test_another_seed_draws_others(self) -> None:
        n, share = len(SPECKS), 0.3
        both = drawn(SPECKS, asked(share, "a")) & drawn(SPECKS, asked(share, "b"))
        assert abs(len(both) - share**2 * n) < 4 * math.sqrt(n * share**2 * (1 - share**2))

    def test_neighbouring_numbers_are_drawn_apart(self) -> None:
        taken = drawn(SPECKS, asked(0.5))
        alike = sum((a in taken) == (b in taken) for a, b in itertools.pairwise(SPECKS))
        assert abs(alike - len(SPECKS) / 2) < 4 * math.sqrt(len(SPECKS)) / 2

    def test_none_of_nothing(self) -> None:
        assert drawn([], asked(0.5)) == frozenset()


YES, NOT, AGAIN, NO = INSECT, NOT_INSECT, LOOK_AGAIN, ""
ANY, DEFINITE = (YES, NOT, AGAIN, NO), (YES, NOT)
# First, second, third reading, drawn for a second one -> how it stands, and the reading whose answer counts.
TABLE = (
    (ANY, ANY, DEFINITE, (True, False), DECIDED, 3),
    (ANY, ANY, (AGAIN,), (True, False), OPEN, 3),
    ((NO,), ANY, (NO,), (True, False), OPEN, None),
    ((AGAIN,), ANY, (NO,), (True, False), OPEN, 1),
    (DEFINITE, (NO,), (NO,), (False,), ONE_READING, 1),
    (DEFINITE, (NO,), (NO,), (True,), AWAITED, 1),
    (DEFINITE, (AGAIN,), (NO,), (True, False), OPEN, 2),
    ((YES,), (YES,), (NO,), (True, False), AGREED, 1),
    ((NOT,), (NOT,), (NO,), (True, False), AGREED, 1),
    ((YES,), (NOT,), (NO,), (True, False), DISAGREED, None),
    ((NOT,), (YES,), (NO,), (True, False), DISAGREED, None),
)


@pytest.mark.parametrize(("first", "second", "third", "twice"), list(itertools.product(ANY, ANY, ANY, (True, False))))
def test_how_a_speck_stands(first: str, second: str, third: str, twice: bool) -> None:
    rows = [row for row in TABLE if first in row[0] and second in row[1] and third in row[2] and twice in row[3]]
    assert len(rows) == 1, "the table says one thing of each"
    state, reading = rows[0][4:]
    stands = words(*(said(answer, n) for n, answer in enumerate((first, second, third), start=1) if answer))
    found = standing(ONE, stands, frozenset({ONE} if twice else ()))
    assert found.state == state
    assert found.word == (stands[ONE, reading] if reading else None)


def test_an_answer_that_is_taken_back_is_none() -> None:
    stands = words(said(YES, number=1), said("", number=2))
    assert standing(ONE, stands, frozenset()).state == OPEN


class TestWhetherTwoDiffer:
    @pytest.mark.parametrize(
        ("first", "second", "apart"),
        [
            (said(YES), said(YES), False),
            (said(NOT), said(NOT), False),
            (said(YES), said(NOT), True),
            (said(YES, kind="aphid"), said(NOT), True),
            (said(YES, kind="aphid"), said(YES, kind="aphid"), False),
            (said(YES, kind="aphid"), said(YES, kind="Aphid"), False),
            (said(YES, kind="aphid"), said(YES, kind="thrips"), True),
            (said(YES, kind="aphid"), said(YES), False),
            (said(YES), said(YES, kind="thrips"), False),
            # The same letters coded in two ways, and one space more.
            (said(YES, kind="Ko\u0308cherfliege"), said(YES, kind="k\u00f6cherfliege"), False),
            (said(YES, kind="leaf  hopper"), said(YES, kind="leaf hopper"), False),
            (said(YES, body="skin"), said(YES, body="whole"), False),
            (said(NOT, basis="picture"), said(NOT, basis="loupe"), False),
        ],
    )
    def test_insect_or_not_and_kinds(self, first: Said, second: Said, apart: bool) -> None:
        assert differ(first, second) is apart
        assert differ(second, first) is apart

    def test_two_kinds_wait_for_a_third(self) -> None:
        stands = words(said(YES, 1, kind="aphid"), said(YES, 2, kind="thrips"))
        assert standing(ONE, stands, frozenset()).state == DISAGREED


class TestWhatAReadingIsAbout:
    def test_first_all_second_the_drawn_third_where_two_differ(self) -> None:
        a, b, c, d = SPECKS[:4]
        twice = frozenset({a, b, c})
        stands = words(
            *(said(YES, 1, each, number=k) for k, each in enumerate((a, b, c, d), start=1)),
            said(YES, 2, a, number=5),
            said(NOT, 2, b, number=6),
            said(AGAIN, 2, c, number=7),
        )
        assert of_reading(1, [d, c, b, a], stands, twice) == [d, c, b, a]
        assert of_reading(2, [d, c, b, a], stands, twice) == [c, b, a]
        assert of_reading(3, [d, c, b, a], stands, twice) == [b]

    def test_what_a_third_has_decided_stays_in_the_third(self) -> None:
        stands = words(said(YES, 1), said(NOT, 2), said(NOT, 3))
        assert of_reading(3, [ONE], stands, frozenset({ONE})) == [ONE]

    def test_a_third_that_is_taken_back_is_asked_again(self) -> None:
        stands = words(said(YES, 1, number=1), said(NOT, 2, number=2), said(NOT, 3, number=3), said("", 3, number=4))
        assert of_reading(3, [ONE], stands, frozenset({ONE})) == [ONE]

    def test_nothing_before_anybody_asked(self) -> None:
        assert of_reading(2, SPECKS, {}, frozenset()) == []
        assert of_reading(3, SPECKS, {}, frozenset()) == []


class TestNobodyIsTheirOwnSecondEyes:
    @pytest.mark.parametrize(("had", "wanted"), list(itertools.product((1, 2, 3), repeat=2)))
    @pytest.mark.parametrize("spelling", ["Ida", "IDA", " ida ", "Ida\u00a0"])
    def test_in_any_two_readings(self, had: int, wanted: int, spelling: str) -> None:
        stands = words(said(YES, had, reviewer="Ida"))
        assert who_stands_in_the_way(ONE, wanted, spelling, stands) is (had != wanted)

    def test_another_person_may(self) -> None:
        stands = words(said(YES, 1, reviewer="Ida"))
        assert not who_stands_in_the_way(ONE, 2, "Ida B.", stands)

    def test_accents_in_two_codings_are_one_name(self) -> None:
        stands = words(said(YES, 1, reviewer="Zoe\u0308"))
        assert who_stands_in_the_way(ONE, 2, "Zo\u00eb", stands)

    def test_of_another_speck_nothing_follows(self) -> None:
        stands = words(said(YES, 1, reviewer="Ida"))
        assert not who_stands_in_the_way(SPECKS[1], 2, "Ida", stands)

    def test_a_third_is_neither_the_first_nor_the_second(self) -> None:
        stands = words(said(YES, 1, reviewer="Ida"), said(NOT, 2, reviewer="Jon"))
        in_the_way = {name: who_stands_in_the_way(ONE, 3, name, stands) for name in ("Ida", "Jon", "Kim")}
        assert in_the_way == {"Ida": True, "Jon": True, "Kim": False}
