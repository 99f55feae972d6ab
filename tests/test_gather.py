"""What stands of a lot. All photographs and people are invented (`lot_folder.py`)."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from lot_folder import LOT, Taken, people_on

from cli.lots.entries import Correction, DetectionGiven, LateEntry, Link, LotOf, Removed, Sampled
from cli.lots.gather import NO_LOT, Heard, lots_of
from cli.lots.hear import SORTS, rows_of
from cli.review.answers import FIRST_ADDED

WATER, LEAF, BLANK = (
    Taken("water 1.jpg"),
    Taken("leaf 1.jpg", 2, piece="1", view="underside"),
    Taken("blank.jpg", 1, sample="", view="blank"),
)


class TestCorrections:
    def test_the_last_one_wins_and_moves_the_photograph(self) -> None:
        people = people_on(WATER, LEAF)
        sha256 = people.shot("leaf 1.jpg").sha256
        people.enter(Correction(sha256, "lot", "QH-13"), Correction(sha256, "sample", "9"))
        people.enter(Correction(sha256, "sample", "4"))
        lots = people.lots()
        assert [photo.shot.name for photo in lots[LOT].photos] == ["water 1.jpg"]
        (photo,) = lots["QH-13"].photos
        assert (photo.get("sample"), photo.get("piece"), photo.get("view")) == ("4", "1", "underside")
        assert {mark.speck.shot_sha256 for mark in lots["QH-13"].marks} == {sha256}

    def test_they_are_told_of_in_the_lot_to_which_they_brought_it(self) -> None:
        people = people_on(WATER, LEAF)
        people.enter(Correction(people.shot("leaf 1.jpg").sha256, "lot", "QH-13"), lot=LOT)
        people.enter(Correction("ab" * 32, "lot", "QH-13"), lot=LOT)
        lots = people.lots()
        assert len(lots["QH-13"].entries) == 1
        # Of a photograph of another run nothing is known but the lot on which it was entered.
        assert len(lots[LOT].entries) == 1

    def test_what_is_taken_away_is_not_known(self) -> None:
        people = people_on(LEAF)
        people.insect(people.flags("leaf 1.jpg")[0])
        people.enter(Correction(people.shot("leaf 1.jpg").sha256, "piece", ""))
        (mark,) = people.lot().insects
        # The flag's own cell says the photograph's old piece: it was put right with the photograph.
        assert (mark.photo.get("piece"), mark.piece) == ("", "")

    def test_a_piece_on_the_tray_is_known_of_a_flag_alone(self) -> None:
        people = people_on(replace(LEAF, piece=""))
        (first, second) = people.shelf.shots[0].flags
        shot = replace(people.shelf.shots[0], flags=(replace(first, cells={**first.cells, "piece": "tray 3"}), second))
        people.shelf = replace(people.shelf, shots=(shot,))
        lot = people.lot()
        assert [(mark.piece, mark.on_tray) for mark in lot.marks] == [("", "tray 3"), ("", "")]
        # Another photograph may have a third piece, too, and it need not be this one.
        assert [mark.place for mark in lot.marks] == ["tray 3 on leaf 1.jpg", ""]
        assert lot.numbered_twice == frozenset()

    def test_sources_that_do_not_agree_are_told_until_somebody_puts_that_right(self) -> None:
        people = people_on(WATER)
        said = ("sample: the slip says 1, the list 2", "view: the name says water, the list swirl")
        people.shelf = replace(people.shelf, shots=(replace(people.shelf.shots[0], said=said),))
        people.enter(Correction(people.shelf.shots[0].sha256, "sample", "2"))
        assert people.lot().photos[0].said == said[1:]


class TestMarks:
    def test_states_over_readings(self) -> None:
        people = people_on(Taken("water 1.jpg", 7))
        people.read_twice()
        open_, again, awaited, agreed, differ, decided, back = people.flags("water 1.jpg")
        people.answer(again, "look_again")
        people.insect(awaited)
        for speck in (agreed, differ, decided):
            people.insect(speck)
        people.insect(agreed, by="Bo", reading=2)
        people.answer(differ, by="Bo", reading=2)
        people.answer(decided, by="Bo", reading=2)
        people.answer(decided, by="Cy", reading=3)
        people.insect(back)
        people.answer(back, "")
        states = {mark.speck: mark for mark in people.lot().marks}
        assert [states[speck].state for speck in people.flags("water 1.jpg")] == [
            *("open", "open", "awaited", "agreed", "disagreed", "decided", "open")
        ]
        assert {mark.speck for mark in people.lot().open} == {open_, again, awaited, differ, back}
        # A confirmed insect is one that no reading leaves open.
        assert [mark.speck for mark in people.lot().insects] == [agreed]
        assert states[agreed].reviewers == ("Ida", "Bo")
        assert states[decided].reviewers == ("Cy",)
        assert states[decided].is_none

    def test_an_added_speck_counts_until_its_every_answer_is_taken_back(self) -> None:
        people = people_on(replace(WATER, flags=0))
        kept, open_, withdrawn = (people.add("water 1.jpg", x_px=x) for x in (40.0, 80.0, 120.0))
        people.insect(kept)
        people.insect(withdrawn)
        people.answer(withdrawn, "")
        marks = people.lot().marks
        assert [mark.speck for mark in marks] == [kept, open_]
        assert [mark.speck.candidate for mark in marks] == [FIRST_ADDED, FIRST_ADDED + 1]
        assert marks[0].place_px == (40.0, 60.0)
        # 20 px drawn at 20 px/mm.
        assert marks[0].length_mm == 1.0
        assert [mark.speck for mark in people.lot().open] == [open_]

    def test_one_on_a_photograph_of_another_run_is_nobodys(self) -> None:
        people = people_on(WATER)
        other = people_on(Taken("elsewhere.jpg"))
        other.add("elsewhere.jpg")
        people.acts += other.acts
        assert all(mark.added is None for mark in people.lot().marks)

    def test_insects_on_blanks_are_not_the_lots(self) -> None:
        people = people_on(WATER, BLANK)
        people.insect(people.flags("blank.jpg")[0])
        people.insect(people.flags("water 1.jpg")[0])
        lot = people.lot()
        assert [mark.photo.shot.name for mark in lot.insects] == ["water 1.jpg"]
        assert lot.samples == ("1",)

    def test_a_length_needs_a_scale_or_the_tools_own(self) -> None:
        people = people_on(replace(WATER, px_per_mm=None))
        people.add("water 1.jpg")
        assert [mark.length_mm for mark in people.lot().marks] == [None, None, None]


class TestLots:
    def test_each_entry_stands_with_its_lot_in_the_order_it_came(self) -> None:
        people = people_on(WATER, Taken("loose.jpg", lot=""))
        people.enter(LotOf(40), lot="by hand only")
        people.enter(LotOf(30), DetectionGiven(assumed=0.5), LotOf(31))
        people.enter(Removed("7", "", "peeled"), Sampled("5"))
        lots = people.lots()
        # What names no lot comes last.
        assert list(lots) == [LOT, "by hand only", NO_LOT]
        assert [each.value for each in lots[LOT].of(LotOf)] == [LotOf(30), LotOf(31)]
        last = lots[LOT].last(LotOf)
        assert last is not None
        assert last.value == LotOf(31)
        assert lots[LOT].last(LateEntry) is None
        assert lots[LOT].samples == ("1", "5", "7")
        assert lots["by hand only"].photos == ()

    def test_links_are_a_lots_own(self) -> None:
        people = people_on(WATER, LEAF)
        link = Link(tuple(people.flags("water 1.jpg")))
        people.enter(link)
        people.enter(Link((people.flags("leaf 1.jpg")[0],)), lot="other")
        assert people.lot().links == (link,)

    def test_who_looked_at_a_whole_photograph_is_named_once(self) -> None:
        people = people_on(WATER)
        for name in ("Ida", " ida", "Bo"):
            people.look("water 1.jpg", by=name)
        assert people.lot().photos[0].looked_by == ("Ida", "Bo")


def _busy() -> tuple[Heard, dict[str, int]]:
    people = people_on(WATER, LEAF)
    people.answer_all()
    people.insect(people.flags("leaf 1.jpg")[0])
    people.add("water 1.jpg")
    people.look_at_all()
    people.read_twice(0.5)
    people.enter(Sampled("1", pieces=6), LotOf(40))
    return people.heard, rows_of(people.heard)


class TestHeard:
    def test_rows_are_counted_by_sort(self) -> None:
        assert _busy()[1] == {"said": 5, "added": 1, "looks": 2, "readings": 1, "entries": 2}
        assert set(SORTS) == set(vars(Heard()))

    @given(share=st.integers(0, 9))
    def test_the_first_of_each_is_what_was_there_then(self, share: int) -> None:
        heard, rows = _busy()
        then = {name: min(number, share) for name, number in rows.items()}
        assert rows_of(heard.first(then)) == then
        assert all(tuple(getattr(heard, name))[: then[name]] == getattr(heard.first(then), name) for name in SORTS)

    def test_nobody_has_said_anything(self) -> None:
        assert Heard().first(dict.fromkeys(SORTS, 5)) == Heard()


@given(seed=st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_the_order_in_which_rows_are_read_makes_no_other_lot(seed: int) -> None:
    people = people_on(WATER, LEAF, BLANK)
    sha256 = people.shot("water 1.jpg").sha256
    people.answer_all()
    people.insect(people.flags("leaf 1.jpg")[0])
    people.answer(people.flags("leaf 1.jpg")[0], "look_again")
    people.answer(people.flags("leaf 1.jpg")[0], "")
    people.enter(Correction(sha256, "sample", "2"), Correction(sha256, "sample", "3"), LotOf(4), LotOf(5))
    heard, shuffled = people.heard, random.Random(seed)
    mixed = replace(
        heard,
        said=shuffled.sample(list(heard.said), len(heard.said)),
        entries=shuffled.sample(list(heard.entries), len(heard.entries)),
    )
    assert lots_of(people.shelf, mixed) == lots_of(people.shelf, heard)


class TestWhatMayBeOfThisLot:
    def test_a_photograph_whose_lot_is_not_known_is_told_to_every_lot(self) -> None:
        people = people_on(WATER, replace(LEAF, lot=""), replace(LEAF, name="blank.jpg", lot="", view="blank", seed=9))
        people.answer_all()
        lot = people.lot()
        assert [photo.shot.name for photo in lot.lotless] == [LEAF.name], "a blank is of no produce"
        assert lot.lotless_marks == 0
        people.insect(people.flags(LEAF.name)[0])
        assert people.lot().lotless_marks == 1
        # Put right, it is of one lot alone.
        people.enter(Correction(people.shot(LEAF.name).sha256, "lot", LOT))
        assert people.lot().lotless == ()
        assert len(people.lot().insects) == 1

    def test_a_run_that_is_not_finished(self) -> None:
        people = people_on(WATER)
        assert people.lot().finished
        people.shelf = replace(people.shelf, finished=False)
        assert not people.lot().finished


class TestEnteredAnew:
    AT = "2026-03-04T07:00:00+01:00"

    def test_a_late_entry_on_the_same_sample_and_time_takes_the_place(self) -> None:
        people = people_on(WATER)
        people.enter(
            LateEntry("1", 60, (), self.AT, "Bo"),
            LateEntry("1", 6, (), self.AT, "Bo"),
            LateEntry("2", 3, (), self.AT, "Bo"),
        )
        assert [(each.value.sample, each.value.pieces) for each in people.lot().late] == [("1", 6), ("2", 3)]  # type: ignore[union-attr]

    def test_what_was_removed_in_error_was_not_removed(self) -> None:
        people = people_on(WATER)
        people.enter(
            Removed("1", "2", "peeled"), Removed("1", "3", "peeled"), Removed("1", "2", "wrong piece", in_error=True)
        )
        assert [(each.piece, each.what) for each in people.lot().removed] == [("3", "peeled")]
