"""Files that went through a spreadsheet: encodings, separators, line ends, columns; and the sentences for what is no such table."""

from __future__ import annotations

import codecs
import io
import zipfile
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_shelf import SHELF, filled, only_refusal, table_of, take_bytes, take_rows

from cli.review.spreadsheet import HOW_TO_SAVE, column_letters
from cli.review.take import ASKED, sheet_of, take
from vision.errors import TableError

INSECT: dict[str, Any] = {"answer": "insect", "kind": "aphid", "body": "whole", "basis": "loupe"}


ENCODERS: dict[str, Callable[[str], bytes]] = {
    "utf-8": lambda text: text.encode(),
    "utf-8 with a mark": lambda text: text.encode("utf-8-sig"),
    "utf-16 little end first": lambda text: codecs.BOM_UTF16_LE + text.encode("utf-16-le"),
    "utf-16 big end first": lambda text: codecs.BOM_UTF16_BE + text.encode("utf-16-be"),
    "utf-16 little end first without a mark": lambda text: text.encode("utf-16-le"),
    "utf-16 big end first without a mark": lambda text: text.encode("utf-16-be"),
    "utf-32": lambda text: text.encode("utf-32"),
}
NOTES = st.text(
    st.characters(exclude_categories=("Cc", "Cs"), exclude_characters="\u200e\u200f\u061c")
    | st.sampled_from("=+-@'\",;\t\n🐛"),
    max_size=40,
).filter(lambda text: not any("\u202a" <= letter <= "\u2069" for letter in text))


class TestHowAFileIsWritten:
    @given(
        note=NOTES | st.sampled_from(['=HYPERLINK("x")', "'quoted'", "שלום; עולם", "زرقاء", 'a "b"\nc', "🐛, 2×"]),
        encoding=st.sampled_from(sorted(ENCODERS)),
        separator=st.sampled_from(",;\t"),
        line_end=st.sampled_from(["\r\n", "\n", "\r"]),
        told=st.booleans(),
    )
    @settings(max_examples=120, deadline=None)
    def test_does_not_matter(self, note: str, encoding: str, separator: str, line_end: str, told: bool) -> None:
        note = note.strip()
        rows = filled({**INSECT, "note": "'" + note if note.startswith(("=", "+", "-", "@", "'")) else note})
        text = (f"sep={separator}{line_end}" if told else "") + table_of(rows, separator, line_end)
        taken = take_bytes(ENCODERS[encoding](text))
        assert [answer.note for answer in taken.answers] == [note]
        assert not taken.refused

    def test_line_breaks_within_a_cell_become_one_kind(self) -> None:
        rows = filled({**INSECT, "note": "one\r\ntwo\rthree\nfour"})
        assert take_rows(rows).answers[0].note == "one\ntwo\nthree\nfour"

    def test_columns_in_another_order_and_others_between_them(self) -> None:
        rows = [{"checked": "x", **dict(reversed(row.items())), "Colour, seen": "green"} for row in filled(INSECT)]
        taken = take_rows(rows)
        assert len(taken.answers) == 1
        assert taken.notices == ("Not read, because this table has no such column: checked, Colour, seen.",)

    def test_names_of_columns_in_other_letters(self) -> None:
        text = table_of(filled(INSECT))
        header, body = text.split("\r\n", 1)
        header = header.replace("shot_sha256", "Shot SHA256").replace("answer,", " ANSWER ,")
        assert len(take_bytes(f"{header}\r\n{body}".encode()).answers) == 1

    def test_empty_columns_and_rows_behind(self) -> None:
        lines = [line + ",,," for line in table_of(filled(INSECT)).rstrip().split("\r\n")]
        lines += [",,,,", "", "," * 60]
        taken = take_bytes("\r\n".join(lines).encode())
        assert (len(taken.answers), taken.refused, taken.notices) == (1, (), ())

    def test_cells_left_out_at_the_end_of_a_row_are_empty(self) -> None:
        lines = table_of(filled(INSECT)).split("\r\n")
        assert len(take_bytes("\r\n".join(line.rstrip(",") for line in lines).encode()).answers) == 1

    def test_empty_rows_count(self) -> None:
        header, first, rest = table_of(filled(INSECT, {"answer": "?"})).split("\r\n", 2)
        assert only_refusal(take_bytes(f"{header}\r\n\r\n{first}\r\n,,\r\n{rest}".encode()), row=5)

    def test_a_separator_told_counts_as_a_row_only_where_it_was_shown_as_one(self) -> None:
        text = table_of(filled({"answer": "?"}), ";")
        assert only_refusal(take_bytes(f"sep=;\r\n{text}".encode()), row=2)
        assert only_refusal(take_bytes(f'"sep=;"{";" * 50}\r\n{text}'.encode()), row=3)
        assert only_refusal(take_bytes(f"SEP=;{',' * 50}\r\n{table_of(filled({'answer': '?'}))}".encode()), row=3)

    def test_what_stands_in_a_column_without_a_name_is_told_of(self) -> None:
        lines = table_of(filled(INSECT)).rstrip().split("\r\n")
        lines = [line + (",my remark" if k == 2 else ",") for k, line in enumerate(lines)]
        width = len(filled()[0])
        assert take_bytes("\r\n".join(lines).encode()).notices == (
            f"Column {column_letters(width)} has no name in the first row: what stands in it is not read.",
        )
        assert [column_letters(place) for place in (0, 25, 26, 51, 701, 702)] == ["A", "Z", "AA", "AZ", "ZZ", "AAA"]

    def test_columns_that_are_gone_are_told_of(self) -> None:
        rows = [
            {name: cell for name, cell in row.items() if name not in {"x_px", "y_px", "body"}} for row in filled(INSECT)
        ]
        taken = take_rows(rows)
        assert len(taken.answers) == 1
        assert taken.notices == (
            "Not in the table: x_px, y_px. So it could not be seen whether rows were shifted.",
            "Not in the table, so nothing was taken for it: body.",
        )

    def test_the_table_that_score_writes_is_read_without_a_word(self) -> None:
        names = [*ASKED.read, *ASKED.unread]
        extra = {"answered_at", "unaided", "count_least", "count_most", "ring_x_px", "ring_y_px", "ring_radius_px"}
        assert extra < set(names)
        rows = [{name: cell for name, cell in row.items() if name not in extra} for row in filled(INSECT)]
        assert take_rows(rows).notices == ()

    @pytest.mark.parametrize("decimal", [",", "."])
    def test_a_spreadsheet_of_another_country(self, decimal: str) -> None:
        """pandas stands in: it makes 1 of an empty-celled column 1,0 and writes its own quotation marks."""
        colony = {**INSECT, "body": "colony", "count_least": "20", "count_most": "30", "note": "said “two”; sure"}
        data = table_of(filled(INSECT, colony)).encode()
        out = io.StringIO()
        pd.read_csv(io.BytesIO(data)).to_csv(out, sep=";", decimal=decimal, index=False)
        assert f"30{decimal}0" in out.getvalue()
        for encoded in (out.getvalue().encode(), out.getvalue().encode("utf-16")):
            assert take_bytes(encoded).answers == take_bytes(data).answers


class TestLettersThatCanNotBeKnown:
    """`why` holds a × in every row, so a table that an old spreadsheet saved is never plain ASCII."""

    def test_do_no_harm_where_nothing_is_read(self) -> None:
        data = table_of(filled({**INSECT, "note": "plain"})).encode("cp1252")
        assert b"\xd7" in data
        assert take_bytes(data).answers == take_rows(filled({**INSECT, "note": "plain"})).answers

    @pytest.mark.parametrize("encoding", ["cp1252", "cp1250", "mac_roman", "gb18030"])
    def test_are_refused_in_what_a_person_wrote(self, encoding: str) -> None:
        with pytest.raises(TableError, match=r"letters of note in row 3 can't be known.*CSV UTF-8"):
            take_bytes(table_of(filled({}, {**INSECT, "note": "Blüte"})).replace("×", "").encode(encoding))

    def test_also_behind_a_mark_that_says_utf_8(self) -> None:
        with pytest.raises(TableError, match="letters of reviewer in row 2"):
            take_bytes(codecs.BOM_UTF8 + table_of(filled({**INSECT, "reviewer": "Zoë"})).encode("latin-1"))


def archive(name: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.writestr(name, "x")
    return out.getvalue()


class TestFilesThatAreRefused:
    @pytest.mark.parametrize(
        ("data", "what"),
        [
            (archive("xl/workbook.xml"), r"a workbook \(.xlsx, .ods or .numbers\)"),
            (archive("mimetype"), r"a workbook \(.xlsx, .ods or .numbers\)"),
            (b"PK\x05\x06" + bytes(18), "an empty archive"),
            (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", r"a workbook \(.xls\)"),
            (b"%PDF-1.7", "a PDF"),
            (b"{\\rtf1", r"a text document \(.rtf\)"),
        ],
    )
    def test_other_kinds_of_files(self, data: bytes, what: str) -> None:
        with pytest.raises(TableError, match=f"This is {what}, not a CSV table. Save it again as CSV in UTF-8"):
            sheet_of(data)

    @pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b"\r\n \r\n"])
    def test_an_empty_one(self, data: bytes) -> None:
        with pytest.raises(TableError, match="The table is empty"):
            sheet_of(data)

    @pytest.mark.parametrize(
        "data", [b"name,price\r\na,1\r\n", b"<html><table>", b"\xff\xd8\xff\xe0 picture", b",,\r\n;;"]
    )
    def test_one_without_our_columns(self, data: bytes) -> None:
        with pytest.raises(
            TableError, match="no column names of this table: they are shot_sha256, run, candidate, answer"
        ):
            sheet_of(data)

    def test_one_that_is_no_text(self) -> None:
        with pytest.raises(TableError, match="not the text of a table"):
            sheet_of(b"shot_sha256,run\r\n" + bytes(3))

    def test_utf_16_that_breaks_off(self) -> None:
        with pytest.raises(TableError, match="breaks off or is damaged"):
            sheet_of(table_of(filled()).encode("utf-16")[:-1])

    @pytest.mark.parametrize(
        ("gone", "says"),
        [(["run"], "Column run is missing"), (["run", "answer"], "Columns run, answer are missing")],
    )
    def test_one_without_a_column_that_is_needed(self, gone: list[str], says: str) -> None:
        rows = [{name: cell for name, cell in row.items() if name not in gone} for row in filled()]
        with pytest.raises(TableError, match=f"{says} from the table. Copy what is missing"):
            sheet_of(table_of(rows).encode())

    def test_one_with_a_column_twice(self) -> None:
        lines = table_of(filled()).split("\r\n")
        with pytest.raises(TableError, match="Column answer stands twice"):
            sheet_of("\r\n".join([lines[0] + ",answer", *(line + "," for line in lines[1:])]).encode())

    @pytest.mark.parametrize("inner", [",", ";", "\t"])
    def test_one_whose_rows_stand_in_one_cell(self, inner: str) -> None:
        lines = table_of(filled(), inner).rstrip().split("\r\n")
        data = "\r\n".join('"' + line.replace('"', '""') + '"' for line in lines)
        with pytest.raises(TableError, match="Several columns stand in one cell"):
            sheet_of(data.encode())

    def test_one_that_was_filled_in_beside_such_cells(self) -> None:
        lines = table_of(filled()).rstrip().split("\r\n")
        data = "\r\n".join([lines[0] + ";answer", *(line + ";insect" for line in lines[1:])])
        with pytest.raises(TableError, match="Several columns stand in one cell"):
            sheet_of(data.encode())

    def test_one_whose_quotation_marks_do_not_match(self) -> None:
        lines = table_of(filled()).split("\r\n")
        lines[2] = '"' + lines[2]
        with pytest.raises(TableError, match="quotation marks of row 3 do not match"):
            sheet_of("\r\n".join(lines).encode())

    @given(data=st.binary(max_size=200) | NOTES.map(str.encode))
    @settings(max_examples=100)
    def test_anything_else_is_refused_in_a_sentence(self, data: bytes) -> None:
        with pytest.raises(TableError, match=r"(?s)^[A-Z].*\.$"):
            sheet_of(data)

    def test_how_to_save_names_the_three(self) -> None:
        assert all(name in HOW_TO_SAVE for name in ("Excel", "LibreOffice", "Google Sheets"))


def test_rows_of_an_empty_table() -> None:
    assert take(sheet_of(table_of([]).encode()), SHELF, "Ida").answers == ()
