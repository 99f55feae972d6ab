"""`manifest.csv`, in which a person says what each photograph belongs to: its bytes -> what it says, or all that is wrong with it.

It holds a column `shot`, the path of a photograph relative to the table's folder, and any of the fields of BELONGS. It is read as
tolerantly as the tables that people answer in, and checked row by row: what can't be meant is named and never guessed.
"""

from __future__ import annotations

import difflib
import hashlib
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from cli.batch.belonging import BELONGS, view_named
from cli.review.answers import AnswerError, check_line
from cli.review.cells import number_in, one_of, shown, text_in, whole_in
from cli.review.spreadsheet import Asked, Row, Sheet, folded, read_sheet
from cli.words import count
from vision.errors import CallError, TableError
from vision.guides.views import VIEWS

MANIFEST = "manifest.csv"
COLUMNS = ("shot", *BELONGS)
ASKED = Asked(needed=("shot",), wanted=tuple(BELONGS))
GRAMS_ARE = ("raw", "drained")
_LONGEST_TEXT, _LONGEST_PATH = 80, 1000
_PATHS = ("shot", "delivery_photo")
_MOST_NAMED = 20
"""So many faults are named in one call; a table with more has the same one in every row."""


@dataclass(frozen=True)
class Manifest:
    """What a manifest says: of each shot, by its path relative to the table's folder, the fields that are not empty."""

    rows: Mapping[str, Mapping[str, str]]
    sha256: str
    """Of the table's bytes."""
    name: str = MANIFEST
    """As sentences call it: after its PATH's number and a colon when several were given."""


class ManifestFaults(CallError):
    """A manifest can't be used. `faults` are whole sentences that begin with its name, one for each thing that is wrong."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        named = self.faults[:_MOST_NAMED]
        more = len(self.faults) - len(named)
        lines = [f"{count(len(self.faults), 'fault')} in {MANIFEST}, so it is not used.", *named]
        super().__init__("\n".join(lines + [f"… and {more} more"] * (more > 0)))


def read_manifest(data: bytes, name: str = MANIFEST) -> Manifest:
    """What the bytes of a manifest say; faults call it `name`. Raises ManifestFaults with all of them."""
    try:
        sheet = read_sheet(data, ASKED)
    except TableError as error:
        raise ManifestFaults([f"{name}: {error}"]) from error
    faults = [f"{name}: {fault}" for fault in _column_faults(sheet)]
    rows: dict[str, Mapping[str, str]] = {}
    stands: dict[str, int] = {}
    for row in sheet.rows:
        if not row.fault and not any(cell.strip() for cell in row.cells.values()):
            continue
        wrong: list[str] = [row.fault] if row.fault else []
        shot = _shot(row.cells["shot"], wrong)
        if shot in stands:
            wrong.append(f"the shot {shown(shot)} stands in row {stands[shot]} already.")
        elif shot:
            stands[shot] = row.number
            rows[shot] = _fields(row, wrong)
        faults += [f"{name}, row {row.number}: {fault}" for fault in wrong]
    if faults:
        raise ManifestFaults(faults)
    return Manifest(rows, hashlib.sha256(data).hexdigest(), name)


def _column_faults(sheet: Sheet) -> Iterator[str]:
    for name in sheet.unknown:
        near = difflib.get_close_matches(folded(name), COLUMNS, 1)
        hint = f"Is {near[0]} meant? " if near else ""
        yield f"there is no column {shown(name)}. {hint}Its columns are {', '.join(COLUMNS)}."
    for letters in sheet.unnamed:
        yield f"column {letters} has no name in the first row, and something stands in it."


def _shot(cell: str, wrong: list[str]) -> str:
    """The path as shots are called: NFC, with the case it has."""
    shot = _text("shot", cell, wrong)
    if not shot and not wrong:
        wrong.append("the shot is empty: say which photograph the row is about.")
    return shot


def _fields(row: Row, wrong: list[str]) -> dict[str, str]:
    """The fields of a row that say something. What is wrong with it is added to `wrong`."""
    said = {name: _text(name, row.cells[name], wrong) for name in BELONGS}
    if said["view"]:
        view = view_named(said["view"])
        if not view:
            wrong.append(f"there is no view {shown(said['view'])}: it is {one_of(tuple(VIEWS))}.")
        said["view"] = view
    for name in ("card", "check"):
        said[name] = _counted(name, said[name], wrong)
    said["grams"] = _grams(said["grams"], wrong)
    said["grams_are"] = _grams_are(said["grams"], said["grams_are"], wrong)
    return {name: value for name, value in said.items() if value}


def _text(name: str, cell: str, wrong: list[str]) -> str:
    text = unicodedata.normalize("NFC", text_in(cell))
    try:
        check_line(name, text, _LONGEST_PATH if name in _PATHS else _LONGEST_TEXT)
    except AnswerError as error:
        wrong.append(f"{error}")
        return ""
    return text


def _counted(name: str, text: str, wrong: list[str]) -> str:
    """A whole number from 1 up; '' for an empty cell."""
    if not text:
        return ""
    try:
        number = whole_in(name, text)
    except TableError as error:
        wrong.append(str(error))
        return ""
    if number < 1:
        wrong.append(f"{name} holds {shown(text)}, but it is a whole number from 1 up.")
    return str(number)


def _grams(text: str, wrong: list[str]) -> str:
    """A number above 0, to the milligram; '' for an empty cell."""
    if not text:
        return ""
    try:
        grams = f"{number_in('grams', text):.3f}".rstrip("0").rstrip(".")
    except TableError as error:
        wrong.append(str(error))
        return text
    if float(grams) <= 0:
        wrong.append(f"grams holds {shown(text)}, but it is a number above 0.")
    return grams


def _grams_are(grams: str, text: str, wrong: list[str]) -> str:
    """raw or drained, where there are grams; '' for an empty cell."""
    word = folded(text)
    if word and word not in GRAMS_ARE:
        wrong.append(f"grams_are holds {shown(text)}, but it is {one_of(GRAMS_ARE)}.")
    elif grams and not word:
        wrong.append(f"grams stand without a word in grams_are: write {one_of(GRAMS_ARE)}.")
    elif word and not grams:
        wrong.append(f"grams_are says {word}, but grams is empty.")
    return word
