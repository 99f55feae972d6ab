"""Tables as Parquet: what pyarrow and pandas read is what pandas reads from the CSV, types included; whole or not at all."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.batch import parquet
from cli.batch.parquet import parquet_is_there, parquet_pieces, write_parquet
from vision.errors import DiskFull, OutputNotWritable, TableError
from vision.table import CANDIDATES, SHOTS, Column, format_cell, to_csv, to_frame

pa = pytest.importorskip("pyarrow", reason="needs the package pyarrow from PyPI")
pq = pytest.importorskip("pyarrow.parquet", reason="needs the package pyarrow from PyPI")

COLUMNS = (
    Column("word", "text", "what it is called"),
    Column("count", "integer", "how many", "px"),
    Column("size", "number", "how large", "mm²", 3),
)
ARROW = {"text": pa.string(), "integer": pa.int64(), "number": pa.float64()}
# pandas' readers of CSV before 3 may miss a double by its last bit.
LAST_BIT = 2.0**-52
PANDAS = {"text": "string", "integer": "Int64", "number": "Float64"}


def cells_of(columns: Sequence[Column], *values: object) -> list[str]:
    return [format_cell(column, value) for column, value in zip(columns, values, strict=True)]  # type: ignore[arg-type]


def file_of(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> Any:
    return pq.ParquetFile(io.BytesIO(b"".join(parquet_pieces(columns, rows))))


def frame_of_csv(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> pd.DataFrame:
    """The CSV as pandas alone reads it, knowing of us only that one leading apostrophe is taken away from text."""
    frame = pd.read_csv(
        io.BytesIO(to_csv(columns, rows)),
        dtype={column.name: PANDAS[column.kind] for column in columns},
        keep_default_na=False,
        na_values={column.name: [""] for column in columns if column.kind != "text"},
        skip_blank_lines=False,
        encoding="utf-8-sig",
    )
    for column in columns:
        if column.kind == "text":
            frame[column.name] = frame[column.name].str.removeprefix("'")
    return frame


def frame_of_parquet(data: bytes) -> pd.DataFrame:
    return pd.read_parquet(io.BytesIO(data), dtype_backend="numpy_nullable")


# A NUL is left out, at which pandas' reader of CSV ends a cell, and halves of pairs, which no table holds.
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
ROWS = st.lists(
    st.tuples(
        st.one_of(TEXTS, st.sampled_from(["=1+1", "'", "''x", "-", "@a", "\tb", "a,b", 'q"q', "NA", "nan", "1", "🐛"])),
        st.none() | st.integers(-(2**63), 2**63 - 1),
        st.none() | st.floats(-1e12, 1e12),
    ).map(lambda values: cells_of(COLUMNS, *values)),
    max_size=12,
)


class TestValues:
    @given(ROWS)
    @settings(max_examples=150, deadline=None)
    def test_are_those_pandas_reads_from_the_csv(self, rows: list[list[str]]) -> None:
        """pandas.read_csv is the outside reference, for values and types."""
        read = frame_of_parquet(b"".join(parquet_pieces(COLUMNS, rows)))
        pd.testing.assert_frame_equal(read, frame_of_csv(COLUMNS, rows), rtol=LAST_BIT, atol=0)
        pd.testing.assert_frame_equal(read, to_frame(COLUMNS, rows), check_exact=True)

    @pytest.mark.parametrize("columns", [CANDIDATES, SHOTS], ids=["candidates", "shots"])
    def test_of_the_two_tables(self, columns: tuple[Column, ...]) -> None:
        told = {"text": "=not a formula", "integer": 7, "number": 1234.5678}
        rows = [
            [format_cell(c, told[c.kind] if (k + n) % 3 else None) for k, c in enumerate(columns)] for n in range(5)
        ]
        read = frame_of_parquet(b"".join(parquet_pieces(columns, rows)))
        pd.testing.assert_frame_equal(read, frame_of_csv(columns, rows), rtol=LAST_BIT, atol=0)
        assert read.isna().sum().sum() > 0

    def test_empty_text_is_text_and_an_empty_number_is_none(self) -> None:
        table = file_of(COLUMNS, [["", "", ""], ["'=1", "0", "0.000"]]).read()
        assert table.to_pylist() == [
            {"word": "", "count": None, "size": None},
            {"word": "=1", "count": 0, "size": 0.0},
        ]

    @pytest.mark.parametrize("row", [["a", "1.5", ""], ["a", "", "wide"], ["a", str(2**63), ""], ["\ud800", "", ""]])
    def test_a_cell_of_another_kind_is_refused_by_its_column(self, row: list[str]) -> None:
        with pytest.raises(TableError, match=r"column (word|count|size) can't be taken for"):
            list(parquet_pieces(COLUMNS, [row]))


class TestSchema:
    @pytest.mark.parametrize("columns", [CANDIDATES, SHOTS], ids=["candidates", "shots"])
    def test_is_the_csvs_with_units_and_meanings(self, columns: tuple[Column, ...]) -> None:
        schema = file_of(columns, []).schema_arrow
        assert schema.names == [column.name for column in columns]
        assert list(schema.types) == [ARROW[column.kind] for column in columns]
        for column in columns:
            told = schema.field(column.name).metadata
            assert told[b"unit"].decode() == column.unit
            assert told[b"meaning"].decode() == column.meaning

    def test_of_a_table_without_rows_has_its_types(self) -> None:
        read = frame_of_parquet(b"".join(parquet_pieces(COLUMNS, [])))
        assert len(read) == 0
        assert [str(each) for each in read.dtypes] == ["string", "Int64", "Float64"]


class TestFile:
    def test_is_packed_with_zstandard(self) -> None:
        group = file_of(COLUMNS, [["a", "1", "2.000"]]).metadata.row_group(0)
        assert {group.column(k).compression for k in range(3)} == {"ZSTD"}

    def test_groups_are_bounded_and_rows_are_asked_for_as_they_come(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(parquet, "_GROUP_BYTES", 50_000)
        monkeypatch.setattr(parquet, "_ROWS_AT_ONCE", 100)
        asked = 0

        def rows() -> Iterator[list[str]]:
            nonlocal asked
            for asked in range(1, 3001):
                yield ["w" * 80, str(asked), "0.500"]

        pieces = parquet_pieces(COLUMNS, rows())
        first = next(pieces)
        assert asked == 500
        file = pq.ParquetFile(io.BytesIO(first + b"".join(pieces)))
        groups = [file.metadata.row_group(k) for k in range(file.num_row_groups)]
        assert [group.num_rows for group in groups] == [500] * 6
        assert file.read(["count"]).column("count").to_pylist() == list(range(1, 3001))

    def test_of_the_same_rows_has_the_same_bytes(self, tmp_path: Path) -> None:
        rows = [cells_of(COLUMNS, f"shot {n % 7}", n, n / 7) for n in range(5000)]
        write_parquet(tmp_path / "a", COLUMNS, rows)
        write_parquet(tmp_path / "b", COLUMNS, iter(rows))
        assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
        assert (tmp_path / "a").read_bytes() == b"".join(parquet_pieces(COLUMNS, rows))


class TestWriting:
    def test_replaces_what_stood_there(self, tmp_path: Path) -> None:
        path = tmp_path / "candidates.parquet"
        write_parquet(path, COLUMNS, [["old", "1", ""]])
        write_parquet(path, COLUMNS, [["new", "2", ""]])
        assert pq.read_table(path).column("word").to_pylist() == ["new"]
        assert os.listdir(tmp_path) == [path.name]

    def test_leaves_what_stood_there_when_rows_end_badly(self, tmp_path: Path) -> None:
        def rows() -> Iterator[list[str]]:
            yield ["a", "1", ""]
            raise KeyboardInterrupt

        path = tmp_path / "candidates.parquet"
        path.write_bytes(b"as it was")
        with pytest.raises(KeyboardInterrupt):
            write_parquet(path, COLUMNS, rows())
        with pytest.raises(TableError):
            write_parquet(path, COLUMNS, [["a", "many", ""]])
        assert path.read_bytes() == b"as it was"
        assert os.listdir(tmp_path) == [path.name]

    def test_says_where_it_cannot_write(self, tmp_path: Path) -> None:
        with pytest.raises(OutputNotWritable, match="its folder is not there"):
            write_parquet(tmp_path / "away" / "shots.parquet", COLUMNS, [])

    def test_says_that_the_disk_is_full(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def full(_: int) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(DiskFull):
            write_parquet(tmp_path / "shots.parquet", COLUMNS, [["a", "1", ""]])
        assert os.listdir(tmp_path) == []


class TestPyarrow:
    def test_is_seen_where_it_is(self) -> None:
        assert parquet_is_there()

    def test_is_missed_where_it_is_not(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
        assert not parquet_is_there()

    def test_is_loaded_only_when_asked_for(self) -> None:
        code = "import sys, cli.batch.parquet; print({'pyarrow', 'pandas'} & set(sys.modules))"
        root = Path(__file__).parent.parent
        told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
        assert told.stdout.strip() == "set()"
