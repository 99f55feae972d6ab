"""What was found in a lot, counted. All photographs, people and lots are invented (`lot_folder.py`)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_folder import LOT, People, Taken, number_pieces, people_on

from cli.lots.compared import compared, totals_of
from cli.lots.entries import (
    Correction,
    FoundByHand,
    LateEntry,
    Link,
    LotOf,
    Removed,
    Sampled,
)
from cli.lots.record_counts import Amount, Counts, amounts_of, counts_of
from cli.lots.record_counts_words import (
    KEPT_APART,
    MAY_BE_ANY,
    NO_PIECES,
    NO_PLACES,
    SAME_OR_NOT,
    counted_lines,
    sample_grid,
)
from cli.review.answers import BODIES

LATE = "2026-03-03T21:10:00+01:00"


def leaf(name: str, piece: str, flags: int = 2, **more: Any) -> Taken:
    return Taken(name, flags, piece=piece, view="underside", **more)


def counts(people: People, lot: str = LOT) -> tuple[Counts, ...]:
    return counts_of(people.lot(lot), totals_of(people.lot(lot)))


def only(people: People) -> Counts:
    (one,) = counts(people)
    return one


class TestAmounts:
    def test_as_the_photographs_say(self) -> None:
        people = people_on(leaf("a.jpg", "1"), leaf("b.jpg", "1"), leaf("c.jpg", "2"), Taken("w.jpg", piece="9"))
        # A piece named on a shot of the sample's water is no piece that was looked at there.
        assert amounts_of(people.lot()) == (Amount("1", 1, 2, None, ""),)

    def test_an_entry_stands_over_them_and_a_later_one_says_all_of_it_anew(self) -> None:
        people = people_on(leaf("a.jpg", "1"))
        people.enter(Sampled("1", 12, 340.5, "drained"))
        assert amounts_of(people.lot()) == (Amount("1", 1, 12, 340.5, "drained"),)
        people.enter(Sampled("1", 10))
        assert amounts_of(people.lot()) == (Amount("1", 1, 10, None, ""),)
        people.enter(Sampled("1"))
        assert amounts_of(people.lot()) == (Amount("1", 1, 1, None, ""),)

    def test_late_entries_say_their_pieces_which_may_be_those_photographed(self) -> None:
        people = people_on(leaf("a.jpg", "1"))
        people.enter(LateEntry("1", 5, (), LATE, "Bo"), LateEntry("2", 3, (), LATE, "Bo", check=2))
        assert amounts_of(people.lot()) == (Amount("1", 1, 5, None, ""), Amount("2", 2, 3, None, ""))

    @pytest.mark.parametrize(
        ("said", "how", "known"),
        [
            ("250", "raw", (250.0, "raw")),
            ("250", "Raw", (250.0, "")),
            ("250", "", (250.0, "")),
            *((word, "raw", (None, "")) for word in ("nan", "inf", "-3", "0", "1e300", "340,5", "much")),
        ],
    )
    def test_grams_of_photographs(self, said: str, how: str, known: tuple[float | None, str]) -> None:
        people = people_on(Taken("w.jpg"))
        sha256 = people.shot("w.jpg").sha256
        people.enter(Correction(sha256, "grams", said), Correction(sha256, "grams_are", how))
        assert amounts_of(people.lot()) == (Amount("1", 1, None, *known),)
        # Per 100 g it has to be known what was weighed, too.
        assert only(people).grams == (250.0 if known == (250.0, "raw") else None)
        assert "250 g, raw or drained not said" in str(sample_grid(only(people))) or known[1] or known[0] is None

    def test_photographs_that_differ_on_grams_or_check_say_neither(self) -> None:
        people = people_on(Taken("w.jpg"), Taken("v.jpg"))
        for name, grams, check in (("w.jpg", "250", "2"), ("v.jpg", "260", "3")):
            sha256 = people.shot(name).sha256
            for field, value in (("grams", grams), ("grams_are", "raw"), ("check", check)):
                people.enter(Correction(sha256, field, value))
        assert amounts_of(people.lot()) == (Amount("1", 1, None, None, ""),)

    def test_raw_and_drained_do_not_add_up(self) -> None:
        people = people_on(Taken("a.jpg"), Taken("b.jpg", sample="2"))
        people.enter(Sampled("1", 6, 250, "raw"), Sampled("2", 6, 200, "drained"))
        assert (only(people).pieces, only(people).grams) == (12, None)
        people.enter(Sampled("2", 6, 200, "raw"))
        assert only(people).grams == 450

    def test_what_was_only_removed_was_not_looked_at(self) -> None:
        people = people_on(leaf("a.jpg", "1"))
        people.enter(Removed("2", "", "all outer leaves peeled"), Removed("1", "4", "cut off", whole=True))
        assert [amount.sample for amount in amounts_of(people.lot())] == ["1"]

    def test_what_cannot_show_anything_was_not_looked_at(self) -> None:
        blurred = leaf("b.jpg", "2", sample="2", reasons="Out of focus.")
        people = people_on(leaf("a.jpg", "1"), leaf("c.jpg", "3", reasons="Too dark."), blurred)
        people.answer_all()
        assert amounts_of(people.lot()) == (Amount("1", 1, 1, None, ""),)
        # Yet an insect on it is one of the lot, and an open flag keeps the rule from being read.
        people.insect(people.flags("b.jpg")[0])
        assert amounts_of(people.lot()) == (Amount("1", 1, 1, None, ""), Amount("2", 1, None, None, ""))
        assert only(people).all == (1, 1)

    def test_a_blank_and_a_find_on_its_card_are_no_samples(self) -> None:
        people = people_on(
            Taken("w.jpg"), Taken("blank.jpg", sample="", view="blank"), Taken("k.jpg", 1, sample="", view="card")
        )
        people.answer_all()
        assert [amount.sample for amount in amounts_of(people.lot())] == ["1"]


class TestTwoEnds:
    def test_marks_of_two_views_may_be_one(self) -> None:
        people = people_on(leaf("a.jpg", "1", 1), leaf("b.jpg", "1", 1, seed=5))
        for name in ("a.jpg", "b.jpg"):
            people.insect(people.flags(name)[0])
        assert only(people).all == (1, 2)
        assert SAME_OR_NOT in counted_lines(only(people))
        people.enter(Link(tuple(people.flags("a.jpg") + people.flags("b.jpg"))))
        assert only(people).all == (1, 1)
        for name in ("a.jpg", "b.jpg"):
            people.enter(Link((people.flags(name)[0],)))
        assert only(people).all == (2, 2)

    def test_two_samples_are_never_one(self) -> None:
        people = people_on(Taken("a.jpg", 1), Taken("b.jpg", 1, sample="2"))
        for name in ("a.jpg", "b.jpg"):
            people.insect(people.flags(name)[0])
        assert only(people).of_samples == (("1", 1, 1), ("2", 1, 1))

    def test_a_colony_is_a_range(self) -> None:
        people = people_on(Taken("a.jpg", 1))
        people.insect(people.flags("a.jpg")[0], body="colony", least=30, most=50)
        people.enter(
            LateEntry("1", 4, (FoundByHand("aphid", "colony", 5, 9), FoundByHand("aphid", "", 2, 2)), LATE, "Bo")
        )
        assert only(people).all == (37, 61)
        assert "37 to 61 confirmed as animals on 1 sample, 4 pieces." in counted_lines(only(people))

    def test_parts_are_kept_apart_and_loupe_only_is_told(self) -> None:
        people = people_on(Taken("a.jpg", 7))
        bodies = ("whole", "part_with_head", "part", "skin", "egg", "trail", "mummy")
        for speck, body in zip(people.flags("a.jpg"), bodies, strict=True):
            people.insect(speck, body=body, unaided="no")
        people.enter(
            LateEntry("1", 4, (FoundByHand("aphid", "skin", 3, 3), FoundByHand("aphid", "mummy", 2, 2)), LATE, "Bo")
        )
        (row,) = only(people).rows
        assert (row.least, row.most, row.loupe_only) == (5, 5, 3)
        assert dict(row.apart) == {"egg": 1, "part": 1, "skin": 4, "trail": 1}
        assert KEPT_APART in counted_lines(only(people))

    def test_kinds_stand_apart_and_one_not_said_may_be_any(self) -> None:
        people = people_on(leaf("a.jpg", "1", 2), leaf("b.jpg", "1", 1, seed=5))
        people.insect(people.flags("a.jpg")[0])
        people.insect(people.flags("a.jpg")[1], kind="thrips")
        people.insect(people.flags("b.jpg")[0], kind="")
        counted = only(people)
        assert [(row.kind, row.least, row.most) for row in counted.rows] == [
            *(("aphid", 1, 1), ("thrips", 1, 1), ("kind not said", 1, 1))
        ]
        assert counted.all == (2, 3)
        assert sample_grid(counted).caption == MAY_BE_ANY

    def test_one_kind_is_one_however_it_was_written(self) -> None:
        people = people_on(Taken("a.jpg", 2), Taken("b.jpg", 1, sample="2"))
        first, second = people.flags("a.jpg")
        people.insect(first, kind="pea  weevil")
        people.insect(second, kind="Pea weevil")
        people.insect(people.flags("b.jpg")[0], kind="PEA WEEVIL")
        people.enter(LateEntry("2", 4, (FoundByHand("pea weevil ", "whole", 2, 2),), LATE, "Bo"))
        assert [(row.sample, row.kind, row.most) for row in only(people).rows] == [
            ("1", "PEA WEEVIL", 2),
            ("2", "PEA WEEVIL", 3),
        ]
        assert [rate.most for rate in only(people).rates_of("PEA WEEVIL")] == [5]

    @given(
        said=st.lists(
            st.tuples(
                st.integers(0, 5), st.sampled_from(["", "aphid", "thrips", "midge"]), st.sampled_from(["", *BODIES])
            ),
            max_size=8,
        ),
        links=st.lists(st.sets(st.integers(0, 11), min_size=1, max_size=3), max_size=4),
    )
    @settings(max_examples=60, deadline=None)
    def test_the_ends_never_cross(self, said: list[tuple[int, str, str]], links: list[set[int]]) -> None:
        people = people_on(
            *(
                Taken(f"{k}.jpg", 2, piece=str(k // 2), view=("underside", "opened", "card")[k % 3], seed=k)
                for k in range(6)
            )
        )
        specks = [speck for shot in people.shelf.shots for speck in people.flags(shot.name)]
        for at, kind, body in said:
            colony = {"least": 3, "most": 7} if body == "colony" else {}
            people.insect(specks[2 * at % 12], kind=kind, body=body, **colony)
        for link in links:
            people.enter(Link(tuple(specks[at] for at in sorted(link))))
        for counted in counts(people):
            least, most = counted.all
            assert 0 <= least <= most
            assert all(0 <= row.least <= row.most for row in counted.rows)
            assert most <= sum(row.most for row in counted.rows)
            if counted.per_piece is not None:
                assert sum(each[1] for each in counted.per_piece) >= most
            counted_lines(counted)


class TestPerPiece:
    def three(self, **more: Any) -> People:
        people = people_on(leaf("a.jpg", "1", 3), leaf("b.jpg", "2", 1, seed=3), leaf("c.jpg", "3", 0))
        for speck in people.flags("a.jpg"):
            people.insect(speck, **more)
        people.answer_all("b.jpg")
        return people

    def test_each_piece_has_its_own(self) -> None:
        people = self.three()
        people.enter(Sampled("1", 6))
        assert sorted(only(people).per_piece or ()) == [(0, 0)] * 5 + [(3, 3)]
        assert "1 of 6 pieces found to hold insects." in counted_lines(only(people))

    def test_parts_make_no_piece_one_with_insects(self) -> None:
        people = self.three(body="skin")
        assert only(people).per_piece == ((0, 0),) * 3
        assert counted_lines(only(people))[0] == "0 confirmed as animals. That is not a finding of none."

    def test_a_late_entrys_pieces_stand_among_them(self) -> None:
        people = self.three()
        people.enter(Sampled("1", 5), LateEntry("1", 2, (FoundByHand("", "whole", 4, 4, "by hand 1"),), LATE, "Bo"))
        assert sorted(only(people).per_piece or ()) == [(0, 0), (0, 0), (0, 0), (3, 3), (4, 4)]

    @pytest.mark.parametrize("which", ["no place", "no place by hand", "not known how many", "more named than entered"])
    def test_nothing_is_said_where_a_place_is_not_known(self, which: str) -> None:
        people = self.three()
        if which == "no place":
            people.enter(Correction(people.shot("a.jpg").sha256, "piece", ""))
        elif which == "no place by hand":
            people.enter(LateEntry("1", 2, (FoundByHand("", "whole", 1, 1),), LATE, "Bo"))
        elif which == "more named than entered":
            people.enter(Sampled("1", 2))
        else:
            people.enter(Correction(people.shot("c.jpg").sha256, "sample", "2"), Sampled("3"))
        assert only(people).per_piece is None
        assert (NO_PIECES if which == "not known how many" else NO_PLACES) in counted_lines(only(people))


class TestChecks:
    def test_each_check_is_counted_by_itself(self) -> None:
        people = people_on(Taken("a.jpg", 2), Taken("b.jpg", 1, sample="2"))
        for speck in people.flags("a.jpg"):
            people.insect(speck)
        people.answer_all("b.jpg")
        people.enter(Sampled("1", 6), Sampled("2", 4, check=2, look="after_wash"))
        first, second = counts(people)
        assert (first.check, first.all, first.pieces) == (1, (2, 2), 6)
        assert (second.check, second.all, second.pieces) == (2, (0, 0), 4)

    def test_a_lot_without_anything_has_none(self) -> None:
        people = people_on(Taken("a.jpg"))
        people.enter(LotOf(4), lot="other")
        assert counts(people, "other") == ()

    def test_the_order_of_photographs_makes_no_other_count(self) -> None:
        shots = [leaf("a.jpg", "1", 2), leaf("b.jpg", "2", 2), Taken("w.jpg", 2)]

        def counted(order: Sequence[Taken]) -> tuple[Counts, ...]:
            people = people_on(*order)
            for name in ("a.jpg", "b.jpg", "w.jpg"):
                people.insect(people.flags(name)[0])
            return counts(people)

        assert counted(shots) == counted(shots[::-1])


class TestNumberedOnTheTray:
    """The tool's numbers are those of one photograph: two photographs may show the same pieces by other numbers, or other pieces."""

    def people(self, *names: str) -> People:
        shots = (Taken(name, 2, view="underside", seed=k) for k, name in enumerate(names))
        people = people_on(*shots)
        number_pieces(people, *names)
        for name in names:
            for speck in people.flags(name):
                people.insect(speck)
        people.enter(Sampled("1", 4))
        return people

    def test_one_photograph_tells_its_pieces_apart(self) -> None:
        assert sorted(only(self.people("a.jpg")).per_piece or ()) == [(0, 0)] * 3 + [(2, 2)]

    def test_two_photographs_do_not(self) -> None:
        people = self.people("a.jpg", "b.jpg")
        assert people.lot().numbered_twice == {"1"}
        assert only(people).per_piece is None
        # Nor does a number speak for or against two marks being one animal.
        assert {compared(mark).piece for mark in people.lot().insects} == {""}
