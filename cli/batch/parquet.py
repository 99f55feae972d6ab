"""Tables as Parquet files, for those who read them by program: the columns of the CSV, with their types, units and meanings.

Needs pyarrow, which comes with `speckwise[parquet]`. Rows are taken as they come and written in groups, so that the memory this
takes does not grow with their number.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from vision.errors import TableError
from vision.files import Staged
from vision.table import Cell, Column, Kind, unescape

_GROUP_BYTES = 16 << 20
"""Of columns in memory, before they are packed: what a reader has to hold at once."""
_ROWS_AT_ONCE = 1000

_VALUES: Mapping[Kind, Callable[[str], Cell]] = {
    "text": unescape,
    "integer": lambda cell: int(cell) if cell else None,
    "number": lambda cell: float(cell) if cell else None,
}
_KINDS: Mapping[Kind, str] = {"text": "text", "integer": "a whole number", "number": "a number"}


def parquet_is_there() -> bool:
    """Whether pyarrow can be used here. Found out by loading it, a quarter of a second: ask only where Parquet is wanted."""
    try:
        import pyarrow.parquet  # type: ignore[import-untyped] # noqa: F401
    except ImportError:
        return False
    return True


def parquet_pieces(columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """Rows of cells, as the CSV holds them, as the bytes of a Parquet file (Zstandard), in pieces that are joined as they come.

    Text is as it was before it was kept from running as a formula: `string`, '' where the cell is empty. Whole numbers are
    `int64`, numbers `double`, null where the cell is empty. Each field's metadata holds `unit` and `meaning`. The same rows give
    the same bytes, with one version of pyarrow. Raises TableError for a cell that is not of its column's kind.
    """
    import pyarrow.parquet

    kept = _Kept()
    with pyarrow.parquet.ParquetWriter(kept, _schema(columns), compression="zstd") as writer:
        for group in _groups(columns, rows):
            writer.write_table(group, row_group_size=group.num_rows)
            yield kept.take()
    yield kept.take()


def write_parquet(path: Path, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> None:
    """Writes a Parquet file whole or not at all; an older one of that name is replaced.

    Raises OutputNotWritable where the place can't be written to, DiskFull where there is no room, and TableError as
    `parquet_pieces`; what stood there stays.
    """
    Staged(path, parquet_pieces(columns, rows)).put()


class _Kept(io.RawIOBase):
    """Where the writer writes to: memory that is emptied again and again."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: Any, /) -> int:
        self._bytes += data
        return len(data)

    def take(self) -> bytes:
        taken = bytes(self._bytes)
        self._bytes.clear()
        return taken


def _schema(columns: Sequence[Column]) -> Any:
    import pyarrow as pa

    types = {"text": pa.string(), "integer": pa.int64(), "number": pa.float64()}
    return pa.schema(
        [pa.field(c.name, types[c.kind], metadata={"unit": c.unit, "meaning": c.meaning}) for c in columns]
    )


def _groups(columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> Iterator[Any]:
    """The rows as tables of about _GROUP_BYTES."""
    import pyarrow as pa

    schema = _schema(columns)
    coming = iter(rows)
    batches: list[Any] = []
    while some := list(islice(coming, _ROWS_AT_ONCE)):
        arrays = [
            _array(column, cells, field.type)
            for column, field, cells in zip(columns, schema, zip(*some, strict=True), strict=True)
        ]
        batches.append(pa.record_batch(arrays, schema=schema))
        if sum(batch.nbytes for batch in batches) >= _GROUP_BYTES:
            yield pa.Table.from_batches(batches)
            batches = []
    if batches:
        yield pa.Table.from_batches(batches)


def _array(column: Column, cells: Sequence[str], type_: Any) -> Any:
    import pyarrow as pa

    value = _VALUES[column.kind]
    try:
        return pa.array([value(cell) for cell in cells], type_)
    except (ValueError, OverflowError) as error:
        raise TableError(f"A cell of the column {column.name} can't be taken for {_KINDS[column.kind]}.") from error
