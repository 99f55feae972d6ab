"""Tables of two runs against each other: made tables, changed in one way each; pandas as the outside word on "the same within so much"."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_tables import (
    CUT,
    OTHER_RUN,
    RUN,
    THREE,
    Made,
    candidate,
    changed,
    compared,
    digest,
    made,
    shot_row,
    tables,
    without,
)

from cli.batch.agree import compare
from cli.batch.agree_rows import CANDIDATE_AT, SHOT_AT
from cli.batch.agree_words import Agreement, Some
from vision.errors import TableError
from vision.table import PERSON_COLUMNS


class TestTheSame:
    def test_the_same_tables_agree_byte_for_byte(self) -> None:
        agreement = compared(THREE, THREE)
        assert agreement == Agreement(same_bytes=True, runs=(RUN, RUN), shots=3, matched=5)
        assert agreement.holds
        assert agreement.lines() == [
            "The tables agree byte for byte.",
            f"Compared: 3 shots and 5 candidates, both of run {RUN}.",
        ]

    def test_two_empty_tables_agree(self) -> None:
        assert compared(([], []), ([], [])).holds

    def test_another_run_alone_is_no_disagreement_and_is_told_of(self) -> None:
        other: Made = (
            [[OTHER_RUN if cell == RUN else cell for cell in row] for row in THREE[0]],
            [[OTHER_RUN if cell == RUN else cell for cell in row] for row in THREE[1]],
        )
        agreement = compare(tables(THREE), tables(other, OTHER_RUN), CUT)
        assert agreement == Agreement(same_bytes=False, runs=(RUN, OTHER_RUN), shots=3, matched=5)
        assert agreement.holds
        verdict, told = agreement.lines()
        assert verdict == "The tables agree as far as another machine's may: no cell that is compared differs."
        assert RUN in told
        assert OTHER_RUN in told

    @pytest.mark.parametrize("name", PERSON_COLUMNS)
    def test_what_a_person_fills_is_left_out(self, name: str) -> None:
        agreement = compared(THREE, changed(THREE, "candidates", 1, **{name: "look_again"}))
        assert agreement == Agreement(same_bytes=False, runs=(RUN, RUN), shots=3, matched=5)


class TestNumbers:
    def test_one_unit_of_the_last_digit_agrees(self) -> None:
        after = changed(changed(THREE, "candidates", 1, length_mm="0.61", left_px="76"), "shots", 2, noise="0.0122")
        agreement = compared(THREE, after)
        assert agreement.holds
        assert agreement.within == {"candidates.length_mm": 1, "candidates.left_px": 1, "shots.noise": 1}
        assert not agreement.beyond
        assert agreement.lines() == [
            "The tables agree as far as another machine's may: 3 cells one unit of the last digit apart.",
            f"Compared: 3 shots and 5 candidates, both of run {RUN}, so on one kind of machine the bytes should be the same, too.",
        ]

    def test_two_units_do_not_and_the_worst_is_told(self) -> None:
        after = changed(changed(THREE, "candidates", 1, length_mm="0.62"), "candidates", 4, length_mm="0.57")
        agreement = compared(THREE, after)
        assert not agreement.holds
        assert not agreement.within
        worst = agreement.beyond["candidates.length_mm"]
        assert (worst.number, worst.shot, worst.candidate) == (2, "c.jpg", "2")
        assert (worst.apart.before, worst.apart.after, int(worst.apart.units)) == ("0.60", "0.57", 3)
        assert agreement.lines() == [
            "The tables do not agree: 2 numbers more than one unit of the last digit apart.",
            f"Compared: 3 shots and 5 candidates, both of run {RUN}, so on one kind of machine the bytes should be the same, too.",
            "Numbers too far apart: length_mm in 2 cells, most on c.jpg candidate 2: 0.60 then, 0.57 now.",
        ]

    @pytest.mark.parametrize(
        ("table", "cells"),
        [("candidates", {"length_mm": ""}), ("candidates", {"x_mm": "n/a"}), ("shots", {"px_per_mm": ""})],
    )
    def test_a_number_against_none_does_not_agree(self, table: str, cells: dict[str, str]) -> None:
        for one, other in ((THREE, changed(THREE, table, 1, **cells)), (changed(THREE, table, 1, **cells), THREE)):
            agreement = compared(one, other)
            assert not agreement.holds
            assert list(agreement.beyond) == [f"{table}.{name}" for name in cells]
        assert "nothing then" in " ".join(agreement.lines()) or "n/a then" in " ".join(agreement.lines())

    def test_what_is_not_a_finite_number_is_none(self) -> None:
        assert not compared(THREE, changed(THREE, "candidates", 1, snr="nan")).holds

    @pytest.mark.parametrize(
        ("before", "after", "agrees"),
        [("0.0", "179.9", True), ("0.0", "180.0", True), ("0.1", "179.9", False), ("0.0", "200.0", False)],
    )
    def test_directions_go_round(self, before: str, after: str, agrees: bool) -> None:
        one, other = (changed(THREE, "candidates", 1, angle_deg=cell) for cell in (before, after))
        assert compared(one, other).holds is agrees

    def test_the_shots_table_is_held_to_the_same(self) -> None:
        agreement = compared(THREE, changed(THREE, "shots", 1, noise="0.0125"))
        assert not agreement.holds
        assert agreement.beyond["shots.noise"].candidate == ""
        assert "noise in 1 cell on b.jpg: 0.0123 then, 0.0125 now" in agreement.lines()[-1]


class TestTheCut:
    NEAR = made(a=(0.9, 0.5, 0.021), b=(0.02,))

    @pytest.mark.parametrize("row", [2, 3])
    def test_a_candidate_next_to_it_may_go_or_come(self, row: int) -> None:
        fewer = without(self.NEAR, row)
        gone, come = compared(self.NEAR, fewer), compared(fewer, self.NEAR)
        assert gone.holds
        assert come.holds
        assert gone.missing_near.number == come.added_near.number == 1
        assert not gone.beyond, "the count of candidates follows from the list"
        assert "1 candidate within 0.001 of the cut in one of the two only" in gone.lines()[0]
        assert "Candidates next to the cut: 1 missing now, " in gone.lines()[-1]

    @pytest.mark.parametrize("score", [0.022, 0.5])
    def test_one_further_off_may_not(self, score: float) -> None:
        before = made(a=(0.9, score), b=())
        fewer = without(before, 1)
        gone, come = compared(before, fewer), compared(fewer, before)
        assert not gone.holds
        assert not come.holds
        assert gone.missing_elsewhere == come.added_elsewhere == Some(1, (f"a.jpg candidate 2 (score {score:.3f})",))
        assert "1 candidate away from the cut in one of the two only" in gone.lines()[0]

    def test_it_is_the_cut_of_the_run(self) -> None:
        before = made(a=(0.9, 0.3))
        assert compared(before, without(before, 1), cut=0.299).holds
        assert not compared(before, without(before, 1), cut=0.2989).holds

    def test_those_after_one_that_came_have_other_numbers_and_agree(self) -> None:
        # A guide's order: what lies next to the cut may stand anywhere.
        before = made(a=(0.9, 0.021, 0.5, 0.3))
        agreement = compared(before, without(before, 1))
        assert agreement.holds
        assert (agreement.matched, agreement.renumbered) == (3, 2)
        assert "2 candidates with another number" in agreement.lines()[0]

    def test_what_is_said_of_the_number_of_flags_follows_the_list(self) -> None:
        before = changed(
            self.NEAR,
            "shots",
            0,
            reasons="The slip gives sizes to 90 mm from it; 2 flags beyond have none. The ground is dark.",
        )
        after = changed(
            without(self.NEAR, 2),
            "shots",
            0,
            reasons="The slip gives sizes to 90 mm from it; 1 flag beyond has none. The ground is dark.",
        )
        assert compared(before, after).holds
        assert not compared(before, changed(after, "shots", 0, reasons="The ground is bright.")).holds
        same_list = changed(before, "shots", 0, reasons=after[1][0][SHOT_AT["reasons"]])
        assert not compared(before, same_list).holds

    def test_a_count_that_does_not_follow_the_list_does_not_agree(self) -> None:
        kept = without(self.NEAR, 2)[0], self.NEAR[1]
        agreement = compared(self.NEAR, kept)
        assert list(agreement.beyond) == ["shots.candidates"]
        assert not agreement.holds

    def test_the_lowest_of_a_full_list_is_a_cut_too(self) -> None:
        twins = made(a=(0.9, 0.5, 0.5))
        one, other = without(twins, 2), without(twins, 1)
        assert compared(one, other, max_flags=2).holds
        assert compared(other, one, max_flags=2).holds
        assert not compared(one, other).holds
        assert not compared(one, other, max_flags=3).holds, "a list that is not full has no such cut"

    def test_far_above_the_lowest_of_a_full_list_is_away_from_it(self) -> None:
        rows = made(a=(0.9, 0.502, 0.5))
        assert not compared(without(rows, 2), without(rows, 1), max_flags=2).holds
        assert compared(without(rows, 2), without(changed(rows, "candidates", 2, score="0.501"), 1), max_flags=2).holds


class TestOrder:
    def test_two_that_change_places_are_the_same_two(self) -> None:
        before = made(a=(0.5, 0.5, 0.3))
        candidates, shots = changed(changed(before, "candidates", 0, candidate="2"), "candidates", 1, candidate="1")
        agreement = compared(before, ([candidates[1], candidates[0], candidates[2]], shots))
        assert agreement.holds
        assert (agreement.matched, agreement.renumbered) == (3, 2)

    def test_numbers_that_do_not_run_on_are_compared_as_numbers(self) -> None:
        agreement = compared(THREE, changed(THREE, "candidates", 0, candidate="7"))
        assert not agreement.holds
        assert agreement.beyond["candidates.candidate"].apart.units == 6


class TestPlaces:
    def moved(self, x_px: str) -> Agreement:
        return compared(THREE, changed(THREE, "candidates", 1, x_px=x_px))

    def test_one_that_moved_within_its_reach_is_told_of_as_moved(self) -> None:
        assert self.moved("80.1").holds
        agreement = self.moved("85.0")
        assert not agreement.holds
        assert agreement.matched == 5
        assert agreement.beyond["candidates.x_px"].apart.units == 50

    @pytest.mark.parametrize("place", [{"x_px": "86.0"}, {"y_px": "94.0"}, {"x_px": "84.0", "y_px": "104.0"}])
    def test_one_that_lies_elsewhere_is_another(self, place: dict[str, str]) -> None:
        agreement = compared(THREE, changed(THREE, "candidates", 1, **place))
        assert not agreement.holds
        assert agreement.matched == 4
        assert (agreement.missing_elsewhere.number, agreement.added_elsewhere.number) == (1, 1)

    def test_a_tiny_one_reaches_a_pixel_and_a_half(self) -> None:
        tiny = changed(THREE, "candidates", 1, wide_px="1", high_px="1")
        assert compared(tiny, changed(tiny, "candidates", 1, x_px="81.5")).matched == 5
        assert compared(tiny, changed(tiny, "candidates", 1, x_px="81.6")).matched == 4

    def test_two_at_one_place_keep_apart(self) -> None:
        """A darker body on a longer one, whose rounded middles lie nearer to each other than to themselves on another machine."""
        long, dark = candidate("a.jpg", 1, 0.5, wide_px=80), candidate("a.jpg", 2, 0.5, x_px=40.1, resembles="thrips")
        shots = [shot_row("a.jpg", 2)]
        after = changed(([long, dark], shots), "candidates", 0, x_px="40.1", candidate="2")
        after = changed(after, "candidates", 1, x_px="40.0", candidate="1")
        agreement = compared(([long, dark], shots), (after[0][::-1], shots))
        assert agreement.holds
        assert agreement.within == {"candidates.x_px": 2}

    def test_how_far_the_smaller_one_reaches_decides(self) -> None:
        wide: Made = [candidate("a.jpg", 1, 0.021, wide_px=80)], [shot_row("a.jpg", 1)]
        small: Made = [candidate("a.jpg", 1, 0.021, x_px=60.0)], [shot_row("a.jpg", 1)]
        for agreement in (compared(wide, small), compared(small, wide)):
            assert agreement.holds, "one next to the cut went, another came"
            assert agreement.matched == 0

    def test_one_of_two_neighbours_that_went_is_not_taken_for_the_other(self) -> None:
        pair: Made = (
            [candidate("a.jpg", 1, 0.9), candidate("a.jpg", 2, 0.021, x_px=43.0)],
            [shot_row("a.jpg", 2)],
        )
        agreement = compared(pair, changed(without(pair, 1), "candidates", 0, snr="9.1"))
        assert agreement.holds
        assert agreement.missing_near.number == 1

    def test_rows_without_a_place_are_the_same_only_if_they_say_the_same(self) -> None:
        placeless = changed(THREE, "candidates", 1, x_px="")
        assert compared(placeless, placeless).matched == 5
        assert compared(THREE, placeless).matched == 4
        assert not compared(THREE, placeless).holds


class TestShots:
    def test_one_that_is_missing_or_new_does_not_agree(self) -> None:
        fewer = [row for row in THREE[0] if row[CANDIDATE_AT["shot"]] != "a.jpg"], THREE[1][1:]
        gone, come = compared(THREE, fewer), compared(fewer, THREE)
        assert gone.missing_shots == come.added_shots == Some(1, ("a.jpg",))
        assert not gone.holds
        assert not come.holds
        assert (gone.shots, gone.matched) == (2, 2)
        assert not gone.missing_elsewhere.number, "its candidates went with it"
        assert "The tables do not agree: 1 shot missing now." in gone.lines()
        assert "Missing now: a.jpg." in gone.lines()
        assert "Only now: a.jpg." in come.lines()

    def test_only_the_first_few_are_named(self) -> None:
        many = made(**{f"s{n}": () for n in range(9)})
        agreement = compared(many, ([], []))
        assert agreement.lines()[2] == "Missing now: s0.jpg, s1.jpg, s2.jpg, s3.jpg, s4.jpg and 4 more."

    def test_other_bytes_under_the_same_name_are_not_compared(self) -> None:
        after = [list(row) for row in THREE[0]], [list(row) for row in THREE[1]]
        for row, at in ((after[0][3], CANDIDATE_AT), (after[0][4], CANDIDATE_AT), (after[1][2], SHOT_AT)):
            row[at["shot_sha256"]] = digest("another")
        agreement = compared(THREE, after)
        assert agreement == replace(Agreement(False, (RUN, RUN), 2, 3), other_bytes=Some(1, ("c.jpg",)))
        assert "1 shot with other bytes" in agreement.lines()[0]

    def test_two_files_of_one_name_are_told_apart_by_their_bytes(self) -> None:
        shots = sorted(
            (shot_row("a.jpg", 0, shot_sha256=digest(which), noise=noise) for which, noise in (("x", 0.1), ("y", 0.2))),
            key=lambda row: row[SHOT_AT["shot_sha256"]],
        )
        assert compared(([], shots), ([], shots)).shots == 2
        one = compared(([], shots), ([], shots[1:]))
        assert (one.shots, one.missing_shots.number, one.other_bytes.number) == (1, 1, 0)
        assert not one.beyond

    def test_one_that_failed_in_both_agrees_if_it_says_the_same(self) -> None:
        failed = shot_row("a.jpg", None, error="This is not a picture.", usable="")
        other = shot_row("a.jpg", None, error="There is not enough memory for a picture of this size.", usable="")
        assert compared(([], [failed]), ([], [failed])).holds
        agreement = compared(([], [failed]), ([], [other]))
        assert not agreement.holds
        assert agreement.texts["shots.error"].number == 1

    def test_one_that_failed_in_one_of_them_is_not_compared(self) -> None:
        failed = (
            [row for row in THREE[0] if row[CANDIDATE_AT["shot"]] != "a.jpg"],
            [
                shot_row("a.jpg", None, error="This is not a picture.", usable=""),
                *THREE[1][1:],
            ],
        )
        agreement = compared(THREE, failed)
        assert agreement == replace(Agreement(False, (RUN, RUN), 2, 2), scored_once=Some(1, ("a.jpg (then)",)))
        assert not agreement.holds
        assert compared(failed, THREE).scored_once == Some(1, ("a.jpg (now)",))

    def test_one_that_could_be_read_in_one_of_them_only_is_told_of_as_such(self) -> None:
        unread = shot_row("a.jpg", None, shot_sha256="", error="It can't be read.", usable="")
        agreement = compared(([], [unread]), ([], [shot_row("a.jpg")]))
        assert agreement.scored_once == Some(1, ("a.jpg (now)",))
        assert not agreement.other_bytes.number

    def test_two_that_could_not_be_read_are_two(self) -> None:
        unread = [shot_row("a.jpg", None, shot_sha256="", error=error, usable="") for error in ("Gone.", "Locked.")]
        assert compared(([], unread), ([], unread)).shots == 2
        assert compared(([], unread), ([], unread[:1])).missing_shots.number == 1

    def test_a_twin_agrees_with_a_twin_of_the_same_shot_only(self) -> None:
        twin, other = (shot_row("z.jpg", None, duplicate_of=of, usable="") for of in ("a.jpg", "b.jpg"))
        with_twin = THREE[0], [*THREE[1], twin]
        assert compared(with_twin, with_twin).shots == 4
        assert not compared(with_twin, (THREE[0], [*THREE[1], other])).holds
        scored = compared(with_twin, (THREE[0], [*THREE[1], shot_row("z.jpg")]))
        assert scored.scored_once == Some(1, ("z.jpg (now)",))
        assert not scored.holds

    def test_names_that_a_table_has_to_escape_keep_their_order(self) -> None:
        """`=` is written with an apostrophe before it, which sorts elsewhere."""
        names = sorted(["=1.jpg", "(1).jpg", "'1.jpg", "a.jpg", "-1.jpg"])
        rows = [candidate(name, 1) for name in names], [shot_row(name, 1) for name in names]
        fewer = rows[0][1:], rows[1][1:]
        agreement = compared(rows, fewer)
        assert (agreement.shots, agreement.matched) == (4, 4)
        assert agreement.missing_shots == Some(1, (names[0],))

    def test_shots_out_of_order_are_refused(self) -> None:
        upside_down = tables((THREE[0][::-1], THREE[1][::-1]))
        with pytest.raises(TableError, match=r"b\.jpg comes after c\.jpg"):
            compare(upside_down, tables(THREE), CUT)

    def test_candidates_of_no_shot_are_refused(self) -> None:
        with pytest.raises(TableError, match=r"candidates of a\.jpg"):
            tables((THREE[0], THREE[1][1:]))
