"""What spreadsheets do to a cell, undone where only one thing can have stood there; else a sentence says what to do.

Functions raise TableError with a whole sentence that names the column.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from cli.review.spreadsheet import folded
from cli.words import printable
from vision.errors import TableError
from vision.table import unescape

_HASH_DIGITS = 64
_SPACES = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "’": "'", "−": "-"})
_DECIMAL = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?P<by>[ '.,])\d{3}(?:(?P=by)\d{3})*(?P<rest>(?!(?P=by))[.,]\d+)?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
"""One thousand or one and a bit: which one depends on the country."""
_SHORTENED = re.compile(r"[+-]?\d(?:[.,]\d+)?e[+-]?\d+", re.IGNORECASE)
_LONGEST_NUMBER = 40
_LONGEST_SHOWN = 40


def text_in(cell: str) -> str:
    """A text cell without outer spaces and without the apostrophe that kept it from running as a formula."""
    return unescape(cell.strip()).strip()


_SAID_OTHERWISE = {"not_an_insect": "not_insect"}
"""Words as the desk's buttons say them -> as tables hold them."""


def word_in(column: str, cell: str, known: Sequence[str]) -> str:
    """Which of the known words stands in a cell; '' for an empty one."""
    word = folded(text_in(cell))
    word = _SAID_OTHERWISE.get(word, word)
    if word and word not in known:
        raise TableError(f"{column} holds {shown(cell)}, which is not understood here. Write {one_of(known)}.")
    return word


def number_in(column: str, cell: str) -> float:
    """A number with a decimal point or comma, and with thousands separators where there can be no doubt about them."""
    text = text_in(cell).translate(_SPACES)
    if len(text) <= _LONGEST_NUMBER:
        if _EITHER.fullmatch(text):
            raise TableError(
                f"{column} holds {shown(cell)}: its mark may separate thousands or decimals. "
                "Show this column as plain numbers, without thousands separators, and save the table again."
            )
        if _DECIMAL.fullmatch(text):
            return float(text.replace(",", "."))
        grouped = _GROUPED.fullmatch(text)
        if grouped:
            rest = grouped["rest"] or ""
            return float(text.removesuffix(rest).replace(grouped["by"], "") + rest.replace(",", "."))
        if _SHORTENED.fullmatch(text):
            raise TableError(
                f"{column} holds {shown(cell)}: the spreadsheet has shortened this number. "
                "Show this column as plain numbers with all their digits and save the table again."
            )
    raise TableError(
        f"{column} holds {shown(cell)}, which is no number: a spreadsheet may have made it a date. "
        "Put back what stood there, or start from the table that was given out and read its columns in as text."
    )


def whole_in(column: str, cell: str) -> int:
    """A whole number, also where a spreadsheet wrote it with decimals: 1.0 or 1,0 is 1."""
    number = number_in(column, cell)
    if number != int(number):
        raise TableError(f"{column} holds {shown(cell)}, but only a whole number can stand there.")
    return int(number)


def hash_in(column: str, cell: str, known: Collection[str]) -> str:
    """Which of the known hashes stands in a cell. Lost zeros at its start are put back: they can only have stood there."""
    text = text_in(cell).lower()
    if text in known:
        return text
    digits = re.fullmatch(r"[0-9a-f]+", text) is not None
    if digits and text.zfill(_HASH_DIGITS) in known:
        return text.zfill(_HASH_DIGITS)
    if digits and len(text) == _HASH_DIGITS:
        raise TableError(
            f"No photograph of this run has the {column} {text[:8]}…: this row is from another folder, or the hash was changed."
        )
    what = f"{column} holds {shown(cell)}: "
    if _SHORTENED.fullmatch(text) or digits:
        what += "the spreadsheet has changed this hash. "
    else:
        what += f"a hash is {_HASH_DIGITS} letters and digits (0-9, a-f). "
    raise TableError(what + "Copy it from the table that was given out, into a cell that is formatted as text.")


def one_of(words: Sequence[str]) -> str:
    """Words as a choice: 'a, b or c'."""
    return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def shown(cell: str) -> str:
    """The beginning of a cell in quotation marks, as a sentence can hold it. Raises nothing."""
    text = printable(cell.strip())
    return f"“{text[:_LONGEST_SHOWN]}{'…' if len(text) > _LONGEST_SHOWN else ''}”"
