"""A table in pieces: the same bytes as in one, whatever the cells, with few rows in memory."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import table
from vision.table import SHOTS, Column, csv_pieces, from_csv, to_csv

COLUMNS = (Column("word", "text", "a word"), Column("size", "number", "a size", "mm", 2))
CELLS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


@given(st.lists(st.tuples(CELLS, CELLS), max_size=30), st.integers(1, 60))
@settings(max_examples=150, deadline=None)
def test_joined_they_are_the_table(rows: list[tuple[str, str]], characters: int) -> None:
    """The writer of Python's csv module, in one go, is the reference."""
    whole = io.StringIO(newline="")
    csv.writer(whole, lineterminator="\r\n").writerows([["word", "size"], *rows])
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(table, "_PIECE_CHARACTERS", characters)
        pieces = list(csv_pieces(COLUMNS, rows))
        assert b"".join(pieces) == to_csv(COLUMNS, rows) == b"\xef\xbb\xbf" + whole.getvalue().encode("utf-8")


def test_a_large_table_comes_in_pieces_of_a_mebibyte() -> None:
    row = ["x" * 100 for _ in SHOTS]
    pieces = list(csv_pieces(SHOTS, (row for _ in range(1500))))
    assert len(pieces) == 5
    assert all(1 << 20 <= len(piece) <= (1 << 20) + 4096 for piece in pieces[:-1])
    assert from_csv(SHOTS, b"".join(pieces)) == [row] * 1500


def test_a_table_without_rows_is_its_header() -> None:
    assert list(csv_pieces(COLUMNS, [])) == [b"\xef\xbb\xbfword,size\r\n"]


def test_rows_are_asked_for_as_they_are_written() -> None:
    asked = 0

    def rows() -> Iterator[list[str]]:
        nonlocal asked
        for asked in range(1, 100_001):  # noqa: B007
            yield ["x" * 1000, ""]

    pieces = csv_pieces(COLUMNS, rows())
    assert asked == 0
    next(pieces)
    assert asked == pytest.approx(1046, abs=3)
