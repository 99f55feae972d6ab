"""Tables of two runs against each other: made tables, changed in one way each; pandas as the outside word on "the same within so much"."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.batch.agree import compare
from cli.batch.agree_rows import CANDIDATE_AT, SHOT_AT
from cli.batch.agree_tables import ShotRows, Tables, by_shot, read_tables
from cli.batch.agree_words import Agreement, Some
from vision.errors import CallError, TableError
from vision.table import CANDIDATES, PERSON_COLUMNS, SHOTS, Column, format_cell, from_csv, to_csv, to_frame

RUN, OTHER_RUN = "r0123456789ab", "rba9876543210"
CUT = 0.02

Rows = list[list[str]]
Made = tuple[Rows, Rows]


def row_of(columns: Sequence[Column], values: Mapping[str, Any]) -> list[str]:
    assert set(values) <= {column.name for column in columns}
    return [format_cell(column, values.get(column.name)) for column in columns]


def candidate(shot: str, number: int, score: float = 0.5, **values: Any) -> list[str]:
    """A candidate 40 px to the right of the one with the number before it."""
    x = 40.0 * number
    told = {
        "shot": shot, "shot_sha256": digest(shot), "run": RUN, "candidate": number, "x_px": x, "y_px": 100.0,
        "x_mm": x / 20, "y_mm": 5.0, "left_px": x - 5, "top_px": 95, "wide_px": 11, "high_px": 9, "angle_deg": 30.0,
        "surface": "water", "tone": "darker", "shape": "round", "length_mm": 0.6, "width_mm": 0.4, "aspect_ratio": 0.67,
        "delta_e": 12.5, "density": 0.25, "snr": 9.0, "resembles": "aphid", "why": "brown, roundish, 0.6 x 0.4 mm, sharp",
        "score": score, "found_by": "tool",
    }  # fmt: skip
    return row_of(CANDIDATES, told | values)


def shot_row(shot: str, flags: int | None = 0, **values: Any) -> list[str]:
    told = {
        "shot": shot, "shot_sha256": digest(shot), "run": RUN, "width_px": 600, "height_px": 400, "px_per_mm": 20.0,
        "scale_from": "slip", "noise": 0.0123, "usable": "yes", "candidates": flags,
    }  # fmt: skip
    return row_of(SHOTS, told | values)


def digest(shot: str) -> str:
    return hashlib.sha256(shot.encode()).hexdigest()


def made(**scores: Sequence[float]) -> Made:
    """Shots named like the keywords, `.jpg` added, with candidates of these scores."""
    listed = {f"{name}.jpg": each for name, each in scores.items()}
    return (
        [candidate(shot, n, score) for shot, each in listed.items() for n, score in enumerate(each, start=1)],
        [shot_row(shot, len(each)) for shot, each in listed.items()],
    )


THREE = made(a=(0.9, 0.5, 0.3), b=(), c=(0.8, 0.4))


def tables(rows: Made, run: str = RUN) -> Tables:
    candidates, shots = rows
    digests = {
        "candidates": hashlib.sha256(to_csv(CANDIDATES, candidates)).hexdigest(),
        "shots": hashlib.sha256(to_csv(SHOTS, shots)).hexdigest(),
    }
    return Tables(run, digests, list(by_shot(shots, candidates)))


def compared(before: Made, after: Made, cut: float = CUT, max_flags: int | None = None) -> Agreement:
    return compare(tables(before), tables(after), cut, max_flags)


def changed(rows: Made, table: str, row: int, **cells: str) -> Made:
    """The tables with the cells of one row written anew."""
    both = {"candidates": [list(each) for each in rows[0]], "shots": [list(each) for each in rows[1]]}
    at = CANDIDATE_AT if table == "candidates" else SHOT_AT
    for name, cell in cells.items():
        assert both[table][row][at[name]] != cell
        both[table][row][at[name]] = cell
    return both["candidates"], both["shots"]


def without(rows: Made, row: int, renumbered: bool = True) -> Made:
    """The tables as if one candidate had not been listed."""
    candidates, shots = rows
    gone = candidates[row]
    shot = gone[CANDIDATE_AT["shot"]]
    kept = [list(each) for each in candidates if each is not gone]
    for number, each in enumerate((each for each in kept if each[CANDIDATE_AT["shot"]] == shot), start=1):
        if renumbered:
            each[CANDIDATE_AT["candidate"]] = str(number)
    counted = [list(each) for each in shots]
    for each in counted:
        if each[SHOT_AT["shot"]] == shot:
            each[SHOT_AT["candidates"]] = str(int(each[SHOT_AT["candidates"]]) - 1)
    return kept, counted


def turned(agreement: Agreement) -> Agreement:
    """The same seen from the other side, but for the examples."""
    swapped = {
        each.name: getattr(agreement, each.name.replace("missing", "added"))
        if "missing" in each.name
        else getattr(agreement, each.name.replace("added", "missing"))
        for each in fields(agreement)
    }
    return replace(agreement, **swapped | {"runs": agreement.runs[::-1]})


def numbers_of(agreement: Agreement) -> dict[str, Any]:
    """All that does not depend on which of several was found first."""
    plain: dict[str, Any] = {}
    for each in fields(agreement):
        value = getattr(agreement, each.name)
        if isinstance(value, Some):
            value = value.number
        elif each.name in {"beyond", "texts"}:
            value = {name: (differing.number, differing.apart.units) for name, differing in value.items()}
        plain[each.name] = value
    return plain


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


class TestTexts:
    def test_another_text_does_not_agree_and_one_is_shown(self) -> None:
        agreement = compared(THREE, changed(THREE, "candidates", 1, shape="curved", resembles="thrips"))
        assert not agreement.holds
        assert {name: each.number for name, each in agreement.texts.items()} == {
            "candidates.shape": 1,
            "candidates.resembles": 1,
        }
        assert "shape in 1 cell on a.jpg candidate 2: round then, curved now" in agreement.lines()[-1]

    @pytest.mark.parametrize(
        ("why", "agrees"),
        [
            ("brown, roundish, 0.7 x 0.4 mm, sharp", True),
            ("brown, roundish, 0.8 x 0.4 mm, sharp", False),
            ("brown, roundish, 0.60 x 0.4 mm, sharp", False),
            ("brown, roundish, 0.6 x 0.4 mm, soft", False),
            ("brown, roundish, sharp", False),
        ],
    )
    def test_a_number_in_what_is_said_counts_by_its_last_digit(self, why: str, agrees: bool) -> None:
        agreement = compared(THREE, changed(THREE, "candidates", 1, why=why))
        assert agreement.holds is agrees
        assert agreement.within == ({"candidates.why": 1} if agrees else {})

    def test_a_number_that_names_something_does_not(self) -> None:
        one, other = (changed(THREE, "shots", 1, lot=lot) for lot in ("L-17", "L-18"))
        assert not compared(one, other).holds

    def test_of_a_long_text_the_part_that_differs_is_shown(self) -> None:
        one, other = (
            changed(THREE, "shots", 1, reasons="Wipe the panel. " * 9 + end) for end in ("Move nearer.", "Hold still.")
        )
        assert (
            "…el. Wipe the panel. Move nearer. then, …el. Wipe the panel. Hold still. now"
            in compared(one, other).lines()[-1]
        )

    def test_an_escaped_text_is_shown_as_it_was(self) -> None:
        one, other = (changed(THREE, "shots", 1, lot=lot) for lot in ("'=1", "'+1"))
        assert "lot in 1 cell on b.jpg: =1 then, +1 now" in compared(one, other).lines()[-1]

    def test_a_name_can_not_move_the_cursor(self) -> None:
        rows = made(**{"\x1b[2Ka": ()})
        assert "\x1b" not in "".join(compared(rows, ([], [])).lines())


class TestLines:
    def everything(self) -> Agreement:
        """Tables that differ in every way at once."""
        before = made(a=(0.9, 0.5, 0.4, 0.3, 0.021), b=(), c=(0.8,), d=(), f=())
        after = changed(without(without(before, 4), 3), "candidates", 0, length_mm="0.70", shape="curved", snr="9.1")
        after = changed(after, "candidates", 1, **dict.fromkeys(("width_mm", "delta_e", "x_mm", "y_mm"), "77.0"))
        candidates, shots = changed(after, "shots", 3, error="It is broken.")
        shots = [row for row in shots if row[SHOT_AT["shot"]] != "b.jpg"]
        shots[1][SHOT_AT["shot_sha256"]] = digest("another")
        kept = [row for row in candidates if row[CANDIDATE_AT["shot"]] != "c.jpg"]
        shots.insert(3, shot_row("e.jpg"))
        return compared(before, (kept, shots))

    def test_ten_sentences_hold_all_that_can_differ(self) -> None:
        agreement = self.everything()
        values = numbers_of(agreement)
        unset = {name for name, value in values.items() if not value}
        assert unset == {"same_bytes", "added_near", "added_elsewhere", "renumbered"}
        lines = agreement.lines()
        assert len(lines) == 10
        assert all(line.endswith(".") and "\n" not in line for line in lines)
        assert lines[0].startswith(
            "The tables do not agree: 1 shot missing now, 1 shot only there now, 1 shot with other"
        )

    def test_columns_beyond_the_worst_are_named(self) -> None:
        told = next(line for line in self.everything().lines() if line.startswith("Numbers too far apart"))
        assert told.count(" then, ") == 3
        assert told.endswith("; also delta_e, length_mm.")


@st.composite
def one_changed(draw: st.DrawFn, rows: Made) -> tuple[str, Made]:
    """Which number was moved by two units or more, and the tables then."""
    table = draw(st.sampled_from(("candidates", "shots") if rows[0] else ("shots",)))
    columns, at = (CANDIDATES, CANDIDATE_AT) if table == "candidates" else (SHOTS, SHOT_AT)
    which = rows[0] if table == "candidates" else rows[1]
    row = draw(st.integers(0, len(which) - 1))
    held = [column for column in columns if column.kind != "text" and which[row][at[column.name]]]
    column = draw(st.sampled_from(held))
    # Not as far as half a turn, after which a direction is the same again.
    units = draw(st.integers(2, 1500)) * draw(st.sampled_from((-1, 1)))
    number = float(which[row][at[column.name]]) + units * 10.0**-column.digits
    return f"{table}.{column.name}", changed(rows, table, row, **{column.name: format_cell(column, number)})


SCORES = st.lists(st.integers(100, 999), max_size=4).map(lambda drawn: sorted((n / 1000 for n in drawn), reverse=True))
ANY = st.dictionaries(st.sampled_from("abcde"), SCORES, min_size=1, max_size=4).map(
    lambda drawn: made(**dict(sorted(drawn.items())))
)


@st.composite
def any_two(draw: st.DrawFn) -> tuple[Made, Made]:
    """Tables, and the same after some cells were changed, some rows taken away and some scores set next to the cut."""
    before = draw(ANY)
    after = before
    for _ in range(draw(st.integers(0, 4))):
        after = draw(one_changed(after))[1]
    if draw(st.booleans()) and before[0]:
        row = draw(st.integers(0, len(before[0]) - 1))
        before = changed(before, "candidates", row, score="0.020")
    if draw(st.booleans()) and after[0]:
        row = draw(st.integers(0, len(after[0]) - 1))
        shot = after[0][row][CANDIDATE_AT["shot"]]
        if draw(st.booleans()):
            after = [each for k, each in enumerate(after[0]) if k != row], after[1]
        else:
            after = (
                [each for each in after[0] if each[CANDIDATE_AT["shot"]] != shot],
                [each for each in after[1] if each[SHOT_AT["shot"]] != shot],
            )
    return before, after


class TestAnyTables:
    @given(ANY)
    def test_agree_with_themselves(self, rows: Made) -> None:
        agreement = compared(rows, rows)
        assert agreement.holds
        assert agreement.same_bytes
        assert (agreement.shots, agreement.matched) == (len(rows[1]), len(rows[0]))

    @given(any_two())
    def test_are_compared_the_same_from_either_side(self, two: tuple[Made, Made]) -> None:
        there, back = compared(*two), compared(*two[::-1])
        assert numbers_of(turned(back)) == numbers_of(there)
        assert there.holds is back.holds
        assert 2 <= len(there.lines()) <= 10

    @given(any_two())
    def test_lose_no_candidate(self, two: tuple[Made, Made]) -> None:
        agreement = compared(*two)
        shots = [{row[SHOT_AT["shot"]] for row in rows} for _, rows in two]
        in_both = [sum(row[CANDIDATE_AT["shot"]] in shots[0] & shots[1] for row in rows) for rows, _ in two]
        gone = agreement.missing_near.number + agreement.missing_elsewhere.number
        come = agreement.added_near.number + agreement.added_elsewhere.number
        assert in_both == [agreement.matched + gone, agreement.matched + come]

    @given(st.data())
    def test_do_not_agree_after_any_one_number_moved_by_more_than_a_unit(self, data: st.DataObject) -> None:
        rows = data.draw(ANY)
        name, after = data.draw(one_changed(rows))
        agreement = compared(rows, after)
        assert not agreement.holds
        assert name in agreement.beyond or agreement.missing_elsewhere.number == agreement.added_elsewhere.number == 1

    @settings(deadline=None, max_examples=40)
    @given(st.data())
    def test_agree_wherever_pandas_finds_all_columns_close(self, data: st.DataObject) -> None:
        """pandas.testing.assert_series_equal with an absolute tolerance of one unit of the column's last digit."""
        rows = data.draw(ANY)
        after = rows
        for _ in range(data.draw(st.integers(1, 3))):
            table = "candidates" if data.draw(st.booleans()) and after[0] else "shots"
            columns, at, k = (CANDIDATES, CANDIDATE_AT, 0) if table == "candidates" else (SHOTS, SHOT_AT, 1)
            row = data.draw(st.integers(0, len(after[k]) - 1))
            # Two columns have a say of their own: what follows from the list.
            held = [
                c
                for c in columns
                if c.kind != "text" and after[k][row][at[c.name]] and not c.name.startswith("candidate")
            ]
            column = data.draw(st.sampled_from(held))
            cell = after[k][row][at[column.name]]
            moved = format_cell(column, float(cell) + data.draw(st.sampled_from((-2, -1, 1, 2))) * 10.0**-column.digits)
            after = changed(after, table, row, **{column.name: moved})
        close = all(
            close_in_pandas(columns, one, other)
            for columns, one, other in zip((CANDIDATES, SHOTS), rows, after, strict=True)
        )
        assert compared(rows, after).holds is close


def close_in_pandas(columns: Sequence[Column], before: Rows, after: Rows) -> bool:
    one, other = to_frame(columns, before), to_frame(columns, after)
    for column in columns:
        try:
            if column.kind == "text":
                pd.testing.assert_series_equal(one[column.name], other[column.name])
            else:
                # The last digit is decimal, the difference of two doubles is not.
                atol = 10.0**-column.digits * (1 + 1e-6)
                left, right = one[column.name].astype("float64"), other[column.name].astype("float64")
                pd.testing.assert_series_equal(left, right, check_exact=False, rtol=0, atol=atol)
        except AssertionError:
            return False
    return True


def test_tables_are_gone_through_side_by_side() -> None:
    """Neither side is ever more than a shot or two ahead of the other, however many there are."""
    read = {"before": 0, "after": 0}
    ahead = 0

    def shots(side: str) -> Iterator[ShotRows]:
        nonlocal ahead
        for number in range(500):
            read[side] += 1
            ahead = max(ahead, abs(read["before"] - read["after"]))
            yield ShotRows(shot_row(f"{number:04}.jpg", 1), [candidate(f"{number:04}.jpg", 1)])

    before, after = (Tables(RUN, {"shots": side}, shots(side)) for side in ("before", "after"))
    assert compare(before, after, CUT).shots == 500
    assert ahead <= 2


class TestReading:
    def write(self, folder: Path, rows: Made, **names: str) -> dict[str, Any]:
        """Writes the tables and returns what run.json says of them."""
        folder.mkdir(exist_ok=True)
        told = {}
        for stem, columns, table in (("candidates", CANDIDATES, rows[0]), ("shots", SHOTS, rows[1])):
            name = names.get(stem, f"{stem}.csv")
            data = to_csv(columns, table)
            (folder / name).write_bytes(data)
            told[stem] = {"file": name, "sha256": hashlib.sha256(data).hexdigest()}
        return {"run": RUN, "version": "0.0.7", "tables": told}

    def test_gives_what_stands_in_the_files(self, tmp_path: Path) -> None:
        odd = [shot_row(name, 0, lot='a "b",\r\nc') for name in ("=1.jpg", "é\n.jpg")]
        rows = THREE[0], [odd[0], *THREE[1], odd[1]]
        read = read_tables(tmp_path, self.write(tmp_path, rows))
        assert read.run == RUN
        assert [list(each.row) for each in read.shots] == from_csv(SHOTS, to_csv(SHOTS, rows[1])) == rows[1]
        assert [list(row) for each in read.shots for row in each.candidates] == rows[0], "a second time, too"
        assert compare(read, tables(rows), CUT) == Agreement(True, (RUN, RUN), 5, 5)

    def test_reads_the_table_that_is_recorded_not_the_one_a_person_wrote_in(self, tmp_path: Path) -> None:
        record = self.write(tmp_path, THREE, candidates=f"candidates-{RUN}.csv")
        (tmp_path / "candidates.csv").write_text("a person's")
        assert compare(read_tables(tmp_path, record), tables(THREE), CUT).same_bytes

    @pytest.mark.parametrize("stem", ["candidates", "shots"])
    def test_one_that_is_gone_is_a_wrong_call(self, tmp_path: Path, stem: str) -> None:
        record = self.write(tmp_path, THREE)
        (tmp_path / f"{stem}.csv").unlink()
        with pytest.raises(CallError, match=rf"{stem}\.csv, which run\.json tells of, is missing"):
            read_tables(tmp_path, record)

    @pytest.mark.parametrize(
        "tables_told", [None, {}, {"candidates": {"file": "candidates.csv"}}, {"candidates": 1}, []]
    )
    def test_a_record_that_tells_of_none_is_a_wrong_call(self, tmp_path: Path, tables_told: Any) -> None:
        (tmp_path / "candidates.csv").write_bytes(b"")
        with pytest.raises(CallError, match=r"tells of no table|no longer the table"):
            read_tables(tmp_path, {"run": RUN, "tables": tables_told})

    @pytest.mark.parametrize("stem", ["candidates", "shots"])
    def test_one_that_a_person_has_written_in_is_not_compared(self, tmp_path: Path, stem: str) -> None:
        record = self.write(tmp_path, THREE)
        with (tmp_path / f"{stem}.csv").open("ab") as file:
            file.write(b"\r\n")
        with pytest.raises(CallError, match="someone has written in it, so nothing can be compared"):
            read_tables(tmp_path, record)

    def test_one_from_before_the_work_was_cut_off_is_not_compared(self, tmp_path: Path) -> None:
        record = self.write(tmp_path, THREE)
        told = record["tables"]["shots"]
        told["sha256"], told["sha256_before"] = "0" * 64, told["sha256"]
        with pytest.raises(CallError, match="the run was cut off"):
            read_tables(tmp_path, record)

    @pytest.mark.parametrize("data", [to_csv(SHOTS[:-1], []), b"", b"shot\r\n"])
    def test_one_with_other_columns_names_the_version(self, tmp_path: Path, data: bytes) -> None:
        record = self.write(tmp_path, THREE)
        (tmp_path / "shots.csv").write_bytes(data)
        record["tables"]["shots"]["sha256"] = hashlib.sha256(data).hexdigest()
        with pytest.raises(CallError, match=r"other columns than the tables of this version.* written by 0\.0\.7"):
            read_tables(tmp_path, record)

    @pytest.mark.parametrize(
        ("tail", "says"),
        [(b"a,b\r\n", "too many or too few cells"), (b"\xff", "not UTF-8"), (b'"a', "not UTF-8 text with commas")],
    )
    def test_a_row_that_is_none_is_a_wrong_call(self, tmp_path: Path, tail: bytes, says: str) -> None:
        record = self.write(tmp_path, THREE)
        data = to_csv(SHOTS, THREE[1]) + tail
        (tmp_path / "shots.csv").write_bytes(data)
        record["tables"]["shots"]["sha256"] = hashlib.sha256(data).hexdigest()
        with pytest.raises(CallError, match=says):
            compare(read_tables(tmp_path, record), tables(THREE), CUT)

    def test_tables_of_two_runs_are_a_wrong_call(self, tmp_path: Path) -> None:
        record = self.write(tmp_path, (THREE[0], made(b=())[1]))
        with pytest.raises(CallError, match="don't belong together"):
            list(read_tables(tmp_path, record).shots)

    def test_a_folder_in_a_table_s_place_is_a_wrong_call(self, tmp_path: Path) -> None:
        record = self.write(tmp_path, THREE)
        (tmp_path / "shots.csv").unlink()
        (tmp_path / "shots.csv").mkdir()
        with pytest.raises(CallError, match="can't be read"):
            read_tables(tmp_path, record)
