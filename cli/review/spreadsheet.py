"""Bytes of a table that may have gone through a spreadsheet -> rows of named cells, each with the number the spreadsheet shows.

UTF-8 or UTF-16; commas, semicolons or tabs; any line ends; columns in any order, with others between them. What can't be known is
refused in a sentence that says what to do next: no letter and no cell is guessed.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from cli.words import printable
from vision.errors import TableError

HOW_TO_SAVE = (
    "Save it again as CSV in UTF-8. In Excel: Save As, file type “CSV UTF-8”. In LibreOffice: Save As, file type “Text CSV”, "
    "character set “Unicode (UTF-8)”. In Google Sheets: File, Download, “Comma-separated values”."
)
_WORKBOOKS = {
    b"PK\x03\x04": "a workbook (.xlsx, .ods or .numbers)",
    b"PK\x05\x06": "an empty archive",
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1": "a workbook (.xls)",
    b"%PDF": "a PDF",
    b"{\\rtf": "a text document (.rtf)",
}
_LONGEST_SHOWN = 60
_SEPARATORS = (",", ";", "\t")
_SEP_LINE = re.compile(r"sep=.?", re.IGNORECASE)
"""What Excel is told on a first line of its own: which separator follows."""
_INNER_SEPARATOR = re.compile(r"[,;\t](?! )")


@dataclass(frozen=True)
class Asked:
    """Which columns a reader asks for."""

    needed: tuple[str, ...]
    """Without one of these the table can't be read."""
    wanted: tuple[str, ...]
    """Read where they stand; their cells are '' where they do not."""
    unread: tuple[str, ...] = ()
    """May stand there without a word; they are not read."""

    @property
    def read(self) -> tuple[str, ...]:
        return (*self.needed, *self.wanted)


@dataclass(frozen=True)
class Row:
    """One row. `cells` are the cells of every column asked for, as they stand, with line breaks as `\\n`."""

    number: int
    """As a spreadsheet counts: the column names stand in row 1."""
    cells: Mapping[str, str]
    fault: str = ""
    """A sentence where the row's cells can't be told apart; ''."""


@dataclass(frozen=True)
class Sheet:
    """A table as it was read."""

    rows: tuple[Row, ...]
    missing: tuple[str, ...]
    """Columns that were wanted and are not there."""
    notices: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    """Names of columns that nobody asked for, as they stand, cut where they are long."""
    unnamed: tuple[str, ...] = ()
    """Letters of columns without a name in which something stands."""


@dataclass(frozen=True)
class _Header:
    names: tuple[str, ...]
    """As columns are called here, whatever their case; what is unknown stays as it was written."""
    separator: str
    skipped: int
    """Records up to and with the header."""
    uncounted: int
    """Of these the ones that a spreadsheet does not show."""


def read_sheet(data: bytes, asked: Asked) -> Sheet:
    """The rows of a table. Raises TableError, with a sentence that says what to do, where it can't be read."""
    text, known_letters = _decoded(data)
    if not text.strip():
        raise TableError("The table is empty: save it again with its first row of column names.")
    header = _header(text, asked)
    places = _places(header, asked)
    if not known_letters:
        _refuse_unknown_letters(text, header, places)
    rows: list[Row] = []
    crowded: set[int] = set()
    for number, record in _body(text, header):
        if any(record):
            rows.append(_row(number, record, places, asked, len(header.names)))
            crowded |= {k for k, cell in enumerate(record) if cell.strip()}
    missing = tuple(name for name in asked.wanted if name not in places)
    unknown, unnamed = _unknown(header, asked), _unnamed(header, crowded)
    return Sheet(tuple(rows), missing, tuple(_notices(unknown, unnamed)), unknown, unnamed)


def folded(text: str) -> str:
    """A word as it is compared: case, outer spaces, and a space or hyphen for an underscore do not matter."""
    return re.sub(r"[\s_\-‐‑‒–—]+", "_", unicodedata.normalize("NFKC", text).strip().casefold())


def _decoded(data: bytes) -> tuple[str, bool]:
    """The text, and whether its letters are known. Where they are not, each byte stands as one letter of the same number: separators
    and quotation marks are the same in every encoding that is not UTF-16, and cells without other bytes can be read."""
    for magic, what in _WORKBOOKS.items():
        if data.startswith(magic):
            raise TableError(f"This is {what}, not a CSV table. {HOW_TO_SAVE}")
    encoding = _wide_encoding(data) or "utf-8-sig"
    try:
        text, known = data.decode(encoding), True
    except UnicodeDecodeError as error:
        if encoding != "utf-8-sig":
            raise TableError(f"The table breaks off or is damaged (it is {encoding.upper()}). {HOW_TO_SAVE}") from error
        text, known = data.removeprefix(codecs.BOM_UTF8).decode("latin-1"), False
    if "\0" in text:
        raise TableError(f"This is not the text of a table. {HOW_TO_SAVE}")
    return text.removeprefix("\ufeff"), known


def _wide_encoding(data: bytes) -> str:
    """UTF-16 or UTF-32 by its mark, or UTF-16 by the zeros of its Latin letters; else ''."""
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        return "utf-32"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    start = data[:2000]
    even, odd = start[::2].count(0), start[1::2].count(0)
    if even == 0 and odd > len(start) // 5:
        return "utf-16-le"
    return "utf-16-be" if odd == 0 and even > len(start) // 5 else ""


def _records(text: str, separator: str) -> Iterator[list[str]]:
    """Raises TableError where quotation marks do not match."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    try:
        for number, record in enumerate(reader, start=1):  # noqa: B007 (told of when the next one fails)
            yield [re.sub(r"\r\n?", "\n", cell) for cell in record]
    except csv.Error as error:
        raise TableError(
            f"The quotation marks of row {number + 1} do not match. Open the table in a spreadsheet and look at that row. {HOW_TO_SAVE}"
        ) from error


def _header(text: str, asked: Asked) -> _Header:
    """The first row that says anything, split by the separator that gives the most known names. Raises TableError."""
    best = max((_header_by(text, separator, asked) for separator in _SEPARATORS), key=lambda h: _known_in(h, asked))
    if any(_holds_several(name, asked) for name in best.names):
        raise TableError(
            "Several columns stand in one cell: the spreadsheet has not split the table where it should. Open the table again with "
            "“Data, From Text/CSV” (Excel) or with the comma as the only separator (LibreOffice), then fill it in and save it."
        )
    if not _known_in(best, asked):
        raise TableError(
            f"The first row holds no column names of this table: they are {', '.join(asked.needed)} and others. "
            "Put that row back on top, or start from the table that was given out."
        )
    return best


def _header_by(text: str, separator: str, asked: Asked) -> _Header:
    names = {folded(name): name for name in (*asked.read, *asked.unread)}
    uncounted = skipped = 0
    try:
        for skipped, record in enumerate(_records(text, separator), start=1):
            said = [cell for cell in record if cell.strip()]
            if len(said) == 1 and _SEP_LINE.fullmatch(said[0].strip()):
                # Alone on its line a spreadsheet hides it; with empty cells after it, it was shown and saved as a row.
                uncounted += len(record) <= 2
            elif said:
                cells = (cell.strip().removeprefix("'") for cell in record)
                return _Header(tuple(names.get(folded(cell), cell) for cell in cells), separator, skipped, uncounted)
    except TableError:
        # Under another separator the same marks may well match; where none does, the first row names no columns.
        pass
    return _Header((), separator, skipped, uncounted)


def _known_in(header: _Header, asked: Asked) -> int:
    return len({*header.names} & {*asked.read, *asked.unread})


def _holds_several(name: str, asked: Asked) -> bool:
    parts = [folded(part) for part in _INNER_SEPARATOR.split(name)]
    return len(parts) > 1 and not {*map(folded, (*asked.read, *asked.unread))}.isdisjoint(parts)


def _places(header: _Header, asked: Asked) -> dict[str, int]:
    """Where each column that is read stands. Raises TableError where one that is needed is missing, or one stands twice."""
    missing = [name for name in asked.needed if name not in header.names]
    if missing:
        which = f"Column {missing[0]} is" if len(missing) == 1 else f"Columns {', '.join(missing)} are"
        raise TableError(
            f"{which} missing from the table. Copy what is missing from the table that was given out, or start from that one."
        )
    twice = [name for name in asked.read if header.names.count(name) > 1]
    if twice:
        raise TableError(f"Column {twice[0]} stands twice in the table: delete or rename the one that does not count.")
    return {name: header.names.index(name) for name in asked.read if name in header.names}


def _body(text: str, header: _Header) -> Iterator[tuple[int, list[str]]]:
    for place, record in enumerate(_records(text, header.separator), start=1):
        if place > header.skipped:
            yield place - header.uncounted, record


def _refuse_unknown_letters(text: str, header: _Header, places: Mapping[str, int]) -> None:
    for number, record in _body(text, header):
        for name, place in places.items():
            if place < len(record) and not record[place].isascii():
                raise TableError(
                    f"The table is not UTF-8, so the letters of {name} in row {number} can't be known. Correct them in the "
                    f"spreadsheet if they look wrong there. {HOW_TO_SAVE}"
                )


def _row(number: int, record: Sequence[str], places: Mapping[str, int], asked: Asked, width: int) -> Row:
    def cell(name: str) -> str:
        # Excel leaves out empty cells at a row's end.
        return record[places[name]] if name in places and places[name] < len(record) else ""

    fault = ""
    if any(surplus.strip() for surplus in record[width:]):
        fault = (
            "This row has more cells than there are columns: text with a separator in it may have lost its quotation marks. "
            "Move the cells back under their columns in a spreadsheet and save the table again."
        )
    return Row(number, {name: cell(name) for name in asked.read}, fault)


def _unknown(header: _Header, asked: Asked) -> tuple[str, ...]:
    known = {*asked.read, *asked.unread, ""}
    return tuple(printable(name)[:_LONGEST_SHOWN] for name in header.names if name not in known)


def _unnamed(header: _Header, crowded: Collection[int]) -> tuple[str, ...]:
    return tuple(column_letters(k) for k, name in enumerate(header.names) if not name and k in crowded)


def _notices(unknown: Sequence[str], unnamed: Sequence[str]) -> Iterator[str]:
    if unknown:
        yield f"Not read, because this table has no such column: {', '.join(unknown)}."
    for letters in unnamed:
        yield f"Column {letters} has no name in the first row: what stands in it is not read."


def column_letters(place: int) -> str:
    """How a spreadsheet calls a column: 0 is A, 26 is AA."""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
