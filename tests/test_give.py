"""The table that is given out: what stands in it, that others read it, and that taking it back gives the same answers."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_shelf import (
    ADDED,
    ADDED_IDS,
    BARE,
    FIRST,
    POINT,
    RUN,
    SECOND,
    SHELF,
    SIZE_PX,
    rows_given,
    speck,
    take_bytes,
    words_of,
)

from cli.review.answers import BASES, BODIES, TAKEN_BACK, UNAIDED, Added, Answer, AnswerError, Ring, Said, SpeckId
from cli.review.give import ANSWERED, EXTRA, answered_table, square_round
from cli.review.take import Taken
from vision.table import CANDIDATES, describe, from_csv, to_frame, unescape

APHID = Answer(speck(1), "insect", "Ida", kind="aphid", body="whole", basis="loupe", unaided="no", note="on a stem")
COLONY = Answer(
    speck(2, SECOND), "insect", "Zoë", kind="aphid", body="colony", least=30, most=1500, ring=Ring(-4.0, 60.5, 80.3)
)
BIT = Answer(speck(3), "not_insect", "Ida", note='=HYPERLINK("http://x";"leaf, bit")\n’tis 🐛 שלום')
OPEN = Answer(ADDED.speck, "look_again", "Jon", basis="picture")
ALL = (APHID, COLONY, BIT, OPEN)


def given_out(*answers: Answer) -> bytes:
    return answered_table(SHELF, words_of(*answers), [POINT, ADDED])


def as_said(taken: Taken) -> dict[SpeckId, Answer]:
    """Answers without what a table adds of its own."""
    return {answer.speck: replace(answer, source="desk", token="") for answer in taken.answers}


class TestWhatStandsInIt:
    def test_the_columns_of_candidates_then_ours(self) -> None:
        header = given_out().decode("utf-8-sig").split("\r\n", 1)[0].split(",")
        assert header == [*(c.name for c in CANDIDATES), *(c.name for c in EXTRA)]
        assert header[-7:-3] == ["answered_at", "unaided", "count_least", "count_most"]
        assert "`count_least`" in describe(EXTRA)

    def test_every_flag_best_first_then_what_was_added(self) -> None:
        rows = rows_given()
        assert [(row["shot_sha256"], row["candidate"]) for row in rows] == [
            *((FIRST, "1"), (FIRST, "2"), (FIRST, "3"), (FIRST, "100001")),
            *((SECOND, "1"), (SECOND, "2"), (SECOND, "100001")),
        ]
        assert [row["found_by"] for row in rows] == ["tool"] * 3 + ["person"] + ["tool"] * 2 + ["person"]

    def test_cells_of_a_flag_as_candidates_csv_has_them(self) -> None:
        cells = from_csv(ANSWERED, given_out(*ALL))[0]
        own = SHELF.flags[speck(1)].cells
        for column, cell in zip(CANDIDATES[:-6], cells, strict=False):
            assert (unescape(cell) if column.kind == "text" else cell) == own[column.name]
        assert cells[4] == "'=tray 1.jpg"

    def test_what_was_said(self) -> None:
        rows = rows_given(*ALL)
        assert {name: rows[0][name] for name in ("answer", "kind", "body", "basis", "reviewer", "note")} == {
            "answer": "insect",
            "kind": "aphid",
            "body": "whole",
            "basis": "loupe",
            "reviewer": "Ida",
            "note": "on a stem",
        }
        assert (rows[0]["answered_at"], rows[0]["unaided"]) == ("2025-04-02T09:00:01Z", "no")
        assert (rows[5]["count_least"], rows[5]["count_most"]) == ("30", "1500")
        assert [rows[5][f"ring_{name}_px"] for name in ("x", "y", "radius")] == ["-4.0", "60.5", "80.3"]
        assert rows[2]["note"].startswith("'=HYPERLINK")
        assert not any(rows[1][c.name] for c in EXTRA)

    def test_an_added_speck_with_what_is_known_of_it(self) -> None:
        row = rows_given()[3]
        assert {name: cell for name, cell in row.items() if cell} == {
            "lot": "R-17",
            "shot": "'=tray 1.jpg",
            "shot_sha256": FIRST,
            "run": RUN,
            "candidate": "100001",
            "x_px": "200.0",
            "y_px": "100.0",
            "left_px": "180",
            "top_px": "80",
            "wide_px": "41",
            "high_px": "41",
            "angle_deg": "30.0",
            "length_mm": "2.00",
            "found_by": "person",
        }

    def test_a_point_has_neither_length_nor_direction(self) -> None:
        row = rows_given()[6]
        assert (row["length_mm"], row["angle_deg"]) == ("", "")
        assert [row[name] for name in ("left_px", "top_px", "wide_px", "high_px")] == ["0", "1198", "2", "2"]

    def test_no_length_in_millimetres_without_a_scale(self) -> None:
        long = replace(POINT, length_px=40.0, x_px=700.0)
        rows = from_csv(ANSWERED, answered_table(SHELF, {}, [long]))
        cells = dict(zip((c.name for c in ANSWERED), rows[-1], strict=True))
        assert (cells["x_px"], cells["length_mm"], cells["angle_deg"]) == ("700.0", "", "0.0")

    def test_words_taken_back_or_of_another_run_are_none(self) -> None:
        words = words_of(Answer(speck(1), TAKEN_BACK, "Ida"), replace(APHID, speck=SpeckId(FIRST, "rffffffffffff", 1)))
        stray = replace(ADDED, speck=SpeckId(FIRST, "rffffffffffff", 100001))
        assert answered_table(SHELF, words, [ADDED, stray, POINT]) == given_out()

    @given(
        x_px=st.floats(-50, 1700),
        y_px=st.floats(-50, 1300),
        length_px=st.floats(0, 3000),
        shot=st.sampled_from([FIRST, BARE]),
    )
    @settings(max_examples=60)
    def test_the_square_lies_in_the_picture_and_holds_the_place(
        self, x_px: float, y_px: float, length_px: float, shot: str
    ) -> None:
        left, top, wide, high = square_round(Added(speck(100001, shot), "Ida", x_px, y_px, length_px, 0.0), SIZE_PX)
        for centre, first, count, size in ((x_px, left, wide, SIZE_PX[0]), (y_px, top, high, SIZE_PX[1])):
            assert 0 <= first < first + count <= size
            if 0 <= centre <= size - 1:
                assert first - 0.5 <= centre <= first + count - 0.5
            assert count <= max(length_px, 1) + 2


class TestTakingItBack:
    def test_gives_the_same_answers(self) -> None:
        taken = take_bytes(given_out(*ALL), reviewer="")
        assert as_said(taken) == {answer.speck: answer for answer in ALL}
        assert (taken.refused, taken.notices, taken.unanswered) == ((), (), 3)

    def test_giving_what_was_taken_gives_the_same_table(self) -> None:
        data = given_out(*ALL)
        words = {
            a.speck: Said(k, f"2025-04-02T09:00:{k:02d}Z", "", a)
            for k, a in enumerate(as_said(take_bytes(data)).values())
        }
        again = answered_table(SHELF, words, [ADDED, POINT])
        at = [c.name for c in ANSWERED].index("answered_at")
        one, other = ([row[:at] + row[at + 1 :] for row in from_csv(ANSWERED, each)] for each in (data, again))
        assert one == other

    def test_of_an_added_speck_that_nobody_knows_is_refused(self) -> None:
        stray = replace(ADDED, speck=speck(100007))
        taken = take_bytes(answered_table(SHELF, words_of(replace(OPEN, speck=stray.speck)), [stray]))
        assert "There is no candidate 100007 in the shot =tray 1.jpg" in taken.refused[0].sentence


TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs")) | st.sampled_from("=+-@'\",;\t\n🐛אب"), max_size=30)
"""Kept without outer spaces, as the desk does."""


@st.composite
def answers(draw: Any) -> Answer:
    """Any answer that can be meant, on any speck of the shelf."""
    said: dict[str, Any] = {"answer": draw(st.sampled_from(["insect", "not_insect", "look_again"]))}
    if said["answer"] == "insect":
        said["kind"] = draw(st.sampled_from(["", "aphid", "Thrips tabaci", "=x"]) | TEXTS.map(str.strip))
        said["body"] = draw(st.sampled_from(["", *BODIES]))
        said["unaided"] = draw(st.sampled_from(["", *UNAIDED]))
        if said["body"] == "colony":
            said["least"], said["most"] = sorted(draw(st.lists(st.integers(1, 10**6), min_size=2, max_size=2)))
            numbers = st.integers(-500, 20000).map(lambda tenths: tenths / 10)
            ring = st.builds(Ring, numbers, numbers, numbers.filter(lambda number: number > 0))
            said["ring"] = draw(st.none() | ring)
    said["basis"] = draw(st.sampled_from(["", *BASES]))
    said["note"] = draw(TEXTS.map(str.strip))
    said["reviewer"] = draw(TEXTS.map(str.strip).filter(bool))
    try:
        return Answer(draw(st.sampled_from([*SHELF.flags, *ADDED_IDS])), **said)
    except AnswerError:
        return APHID


class TestAnyAnswers:
    @given(said=st.lists(answers(), max_size=4, unique_by=lambda a: a.speck))
    @settings(max_examples=80, deadline=None)
    def test_come_back_and_run_nowhere(self, said: list[Answer]) -> None:
        data = given_out(*said)
        taken = take_bytes(data, reviewer="")
        assert as_said(taken) == {a.speck: a for a in said}
        assert not taken.refused
        for row in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")):
            for column, cell in zip(ANSWERED, row, strict=True):
                assert column.kind != "text" or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))

    @given(said=st.lists(answers(), max_size=4, unique_by=lambda a: a.speck))
    @settings(max_examples=40, deadline=None)
    def test_are_read_by_pandas_with_the_values_that_went_in(self, said: list[Answer]) -> None:
        frame = pd.read_csv(io.BytesIO(given_out(*said)), dtype=str, keep_default_na=False)
        keys = zip(frame["shot_sha256"], frame["candidate"].astype(int), strict=True)
        rows = {
            SpeckId(sha256, RUN, number): row for (sha256, number), (_, row) in zip(keys, frame.iterrows(), strict=True)
        }
        for answer in said:
            row = rows[answer.speck]
            for name in ("answer", "kind", "body", "basis", "reviewer", "note", "unaided"):
                assert unescape(row[name]) == getattr(answer, name)
            assert (row["count_least"], row["count_most"]) == (str(answer.least or ""), str(answer.most or ""))

    @pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-8-sig"])
    def test_come_back_from_a_spreadsheet_with_decimal_commas(self, encoding: str) -> None:
        out = io.StringIO()
        pd.read_csv(io.BytesIO(given_out(*ALL))).to_csv(out, sep=";", decimal=",", index=False)
        assert "1500,0" in out.getvalue()
        taken = take_bytes(out.getvalue().encode(encoding))
        assert as_said(taken) == {a.speck: a for a in ALL}
        assert not taken.refused


def test_our_own_frame_reads_it() -> None:
    frame = to_frame(ANSWERED, from_csv(ANSWERED, given_out(*ALL)))
    assert frame["count_most"].dropna().tolist() == [1500]
    assert frame["note"][2] == BIT.note
