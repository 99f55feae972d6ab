"""What of a lot was not looked at: each kind of gap, and what keeps a record from being called complete. All invented (`lot_folder.py`)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from lot_folder import LOT, People, Taken, people_on
from test_house import forbidden

from cli.lots.entries import Correction, FoundByHand, LateEntry, LotOf, Removed, Sampled
from cli.lots.record import NOT_WHOLE, ONE_NOT_WHOLE, WHOLE, Sources, Wanted, record_of
from cli.lots.record_gaps import NOTHING_FOUND_MISSING, NOTHING_TAKEN, Gaps, gaps_of
from vision.guides import Guide, guide_called

LATE = "2026-03-03T21:10:00+01:00"
SOURCES = Sources("r0", "0.1.0", lambda name: None, lambda lot: lambda marks: (0, 0), lambda lot: {}, {})


def guide_of(name: str) -> Guide | None:
    return guide_called(name, {})


def gaps(people: People, lot: str = LOT) -> Gaps:
    found = gaps_of(people.lot(lot), guide_of)
    assert forbidden(" ".join(found.lines)) == []
    assert all(line[-1] in ".:" for line in found.lines)
    return found


def stands(people: People) -> str:
    """What the record says of being complete."""
    return record_of(people.lot(), Wanted(date(2026, 3, 5)), SOURCES).lines[0]


def done(*shots: Taken, **more: Any) -> People:
    """Photographs of which every flag is answered, each looked at."""
    people = people_on(*shots, **more)
    people.answer_all()
    people.look_at_all()
    return people


class TestWhatBlocks:
    def test_all_answered_and_all_usable_is_complete_in_a_sense_that_is_told(self) -> None:
        people = done(Taken("w.jpg"))
        assert gaps(people).blocking == ()
        assert stands(people) == WHOLE
        assert "says nothing of what no photograph shows" in WHOLE

    def test_an_open_flag(self) -> None:
        people = done(Taken("w.jpg", 3))
        people.answer(people.flags("w.jpg")[0], "look_again")
        (line,) = gaps(people).blocking
        assert line.startswith("1 flag that nobody has answered")
        assert stands(people) == ONE_NOT_WHOLE

    def test_an_added_speck_without_an_answer(self) -> None:
        people = done(Taken("w.jpg", 0))
        people.add("w.jpg")
        assert len(gaps(people).blocking) == 1

    def test_readings_that_are_asked_for_or_differ(self) -> None:
        people = done(Taken("w.jpg", 3))
        people.read_twice()
        people.insect(people.flags("w.jpg")[0], by="Bo", reading=2)
        assert gaps(people).blocking == (
            "2 flags still to be read by a second pair of eyes.",
            "1 flag on which two readers differ, and no third has decided.",
        )
        assert stands(people) == NOT_WHOLE.format(n=2)

    @pytest.mark.parametrize("number", [1, 13, 15])
    def test_photographs_that_could_not_be_read(self, number: int) -> None:
        people = done(Taken("w.jpg"), failed={f"x{k:02d}.jpg": "The file is empty." for k in range(number)})
        lines = gaps(people).blocking
        assert lines[0] == "x00.jpg could not be read: The file is empty."
        assert len(lines) == min(number, 13)
        if number > 12:
            assert lines[-1] == f"More photographs that could not be read: {number - 12}."
        assert stands(people).startswith("Not complete")

    @pytest.mark.parametrize("number", [1, 13])
    def test_photographs_that_cannot_show_it(self, number: int) -> None:
        people = done(Taken("w.jpg"), *(Taken(f"x{k:02d}.jpg", 0, reasons="Too dark.") for k in range(number)))
        lines = gaps(people).blocking
        assert lines[0] == "x00.jpg can't show what it is meant to: Too dark."
        if number > 12:
            assert lines[-1] == "More photographs that can't show what they are meant to: 1."
        assert stands(people).startswith("Not complete")

    def test_no_photograph_and_nothing_by_hand(self) -> None:
        people = done(Taken("w.jpg"))
        people.enter(LotOf(40), lot="empty")
        assert gaps(people, "empty").blocking == (NOTHING_TAKEN,)
        people.enter(LateEntry("1", 4, (FoundByHand("aphid", "whole", 1, 1),), LATE, "Bo"), lot="empty")
        assert gaps(people, "empty").blocking == ()


class TestFaces:
    def broccoli(self, *shots: Taken) -> People:
        people = done(*shots)
        for shot in people.shelf.shots:
            people.enter(Correction(shot.sha256, "produce", "broccoli"))
        return people

    def test_what_the_guide_asks_for_and_no_photograph_shows(self) -> None:
        people = self.broccoli(Taken("a.jpg", piece="1", view="underside"))
        lines = [line for line in gaps(people).blocking if line.startswith("Sample 1: ")]
        assert any("opened" in line and "Piece 1" in line for line in lines)

    def test_what_was_removed_is_an_outcome(self) -> None:
        people = self.broccoli(Taken("a.jpg", piece="1", view="underside"))
        people.enter(Removed("1", "2", "outer leaves peeled"))
        assert any(
            "Piece 2: removed. That is an outcome, not a finding of none." in line for line in gaps(people).others
        )

    def test_produce_that_is_not_known_or_has_no_guide(self) -> None:
        people = done(Taken("a.jpg"), Taken("b.jpg", sample="2"), Taken("c.jpg", sample=""))
        people.enter(Correction(people.shot("b.jpg").sha256, "produce", "moon cabbage"))
        said = " ".join(gaps(people).others)
        assert "Sample 1: the produce is not known" in said
        assert "Sample 2: the produce is moon cabbage" in said
        assert "What names no sample: the produce is not known" in said

    def test_a_sample_that_was_only_entered(self) -> None:
        people = done(Taken("a.jpg"))
        people.enter(Sampled("9", 4))
        assert gaps(people).blocking == ("Sample 9: no photograph that can show what it is meant to.",)


class TestWhatWasEntered:
    @pytest.mark.parametrize(
        ("entered", "late", "told"), [(6, 0, True), (3, 0, False), (2, 0, True), (6, 3, False), (6, 2, True)]
    )
    def test_other_numbers_of_pieces_than_were_shot(self, entered: int, late: int, told: bool) -> None:
        people = done(*(Taken(f"{k}.jpg", 0, piece=str(k), view="underside") for k in range(3)))
        people.enter(Sampled("1", entered))
        if late:
            people.enter(LateEntry("1", late, (), LATE, "Bo"))
        found = gaps(people)
        # Fewer shown than entered is something that nobody has seen.
        said = [
            line for line in (found.blocking if entered > 3 + late else found.others) if "looked at as entered" in line
        ]
        assert bool(said) == told
        assert all(f"{entered} pieces looked at as entered, and photographs of 3" in line for line in said)

    def test_several_checks_of_one_sample(self) -> None:
        people = done(Taken("a.jpg"), Taken("b.jpg"))
        people.enter(Sampled("1", 4, check=2, look="after_wash"))
        assert not [line for line in gaps(people).lines if "check" in line]
        people.enter(Correction(people.shot("a.jpg").sha256, "check", "1"))
        people.enter(LateEntry("1", 4, (), LATE, "Bo", check=3))
        (line,) = [line for line in gaps(people).blocking if "check" in line]
        assert line == (
            "Sample 1: as entered it is of check 2; its late entries say check 3; its photographs say check 1. "
            "Each check has samples of its own, under other names."
        )

    def test_a_sample_that_was_entered_again_in_the_next_check(self) -> None:
        people = done(Taken("a.jpg"))
        people.enter(Sampled("1", 4), Sampled("1", 4, check=2, look="after_wash"))
        assert any("as entered it is of check 1 and 2" in line for line in gaps(people).blocking)

    def test_a_lot_smaller_than_what_was_looked_at(self) -> None:
        people = done(Taken("a.jpg"))
        people.enter(Sampled("1", 12), LotOf(10))
        assert any(
            "The lot was entered as 10 pieces, and 12 were looked at in check 1" in x for x in gaps(people).others
        )
        people.enter(LotOf(12))
        assert not any("The lot was entered as" in line for line in gaps(people).others)


class TestOthers:
    def test_nobody_looked_at_the_whole_photograph(self) -> None:
        people = people_on(Taken("a.jpg"), Taken("b.jpg"))
        people.answer_all()
        people.look("a.jpg")
        assert "1 photograph that nobody has looked at as a whole: b.jpg." in gaps(people).others
        assert gaps(people).blocking == ()

    def test_sources_that_differ_and_what_is_not_known(self) -> None:
        people = done(Taken("a.jpg", sample="", view=""), Taken("blank.jpg", sample="", view="blank"))
        people.shelf = replace(
            people.shelf,
            shots=(
                replace(people.shelf.shots[0], said=tuple(f"lot: list {k} says 2." for k in range(14))),
                people.shelf.shots[1],
            ),
        )
        said = gaps(people).others
        assert "a.jpg: lot: list 0 says 2." in said
        assert "More sentences like these: 2." in said
        # A blank has neither, and lacks neither.
        assert "1 photograph whose sample is not known: a.jpg." in said
        assert "1 photograph whose view is not known: a.jpg." in said

    @pytest.mark.parametrize(
        ("limits", "said"),
        [
            (("0.30",), "Round specks below 0.3 mm across would not have shown on the photograph."),
            (("0.30", "0.30"), "Round specks below 0.3 mm across would not have shown on any photograph."),
            (
                ("0.30", "0.10"),
                "Round specks below 0.3 mm across would not have shown on every photograph; below 0.1 mm on none.",
            ),
            (
                ("0.30", "0.30", ""),
                "Round specks below 0.3 mm across would not have shown on any photograph of which that is known.",
            ),
            (("", ""), "How small a speck they could have shown is not known of 2 photographs."),
        ],
    )
    def test_how_small_a_speck_could_have_shown(self, limits: tuple[str, ...], said: str) -> None:
        people = done(*(Taken(f"{k}.jpg", limit_round_mm=limit) for k, limit in enumerate(limits)))
        assert said in gaps(people).others

    def test_what_could_not_be_searched(self) -> None:
        people = done(Taken("a.jpg", unsearched_pct="29.2"), Taken("b.jpg"), Taken("c.jpg", unsearched_pct="5.0"))
        grid = gaps(people).unsearched
        assert grid is not None
        assert grid.rows == (("a.jpg", "29.2%"), ("c.jpg", "5.0%"))
        many = done(*(Taken(f"{k:02d}.jpg", 0, unsearched_pct="50.0") for k in range(14)))
        grid = gaps(many).unsearched
        assert grid is not None
        assert len(grid.rows) == 12
        assert "has 2 more" in grid.caption
        assert gaps(done(Taken("a.jpg"))).unsearched is None

    def test_nothing_missing_is_said_as_what_it_is(self) -> None:
        people = done(Taken("blank.jpg", 0, sample="", view="blank"))
        assert gaps(people).lines == (NOTHING_FOUND_MISSING,)


def test_what_the_manifest_names_and_nobody_found() -> None:
    people = done(Taken("a.jpg"))
    people.shelf = replace(people.shelf, not_found={"b.jpg": LOT, "c.jpg": "", "d.jpg": "another"})
    (line,) = [each for each in gaps(people).blocking if "manifest" in each]
    # One of which nobody said the lot is told to every lot; that of another lot is not.
    assert line == "2 photographs that the manifest names and that nobody has found: b.jpg, c.jpg."


def test_photographs_whose_lot_is_not_known() -> None:
    people = people_on(Taken("a.jpg"), Taken("b.jpg", 1, lot=""))
    people.answer_all("a.jpg")
    (line,) = [each for each in gaps(people).blocking if "lot is not known" in each]
    assert line == (
        "1 photograph of this run whose lot is not known, and that may be of this one: b.jpg. 1 flag on them is confirmed or still open."
    )
