"""Any tables of two runs against each other, what is said of them, and reading them; pandas says what is the same within so much."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_tables import (
    CUT,
    RUN,
    THREE,
    Made,
    Rows,
    candidate,
    changed,
    compared,
    digest,
    made,
    numbers_of,
    shot_row,
    tables,
    turned,
    without,
)

from cli.batch.agree import compare
from cli.batch.agree_rows import CANDIDATE_AT, SHOT_AT
from cli.batch.agree_tables import ShotRows, Tables, read_tables
from cli.batch.agree_words import Agreement
from vision.errors import CallError
from vision.table import CANDIDATES, SHOTS, Column, format_cell, from_csv, to_csv, to_frame


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
