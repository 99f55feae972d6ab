"""The confirmed insects of a run as marks that can be compared, and flags that may be the same on two photographs."""

from __future__ import annotations

from dataclasses import replace

from cli.lots.compared import compared
from cli.lots.marks import Mark, in_order
from cli.review.lot_book import LotBook


def marks_of(book: LotBook) -> list[Mark]:
    """Every flag that is settled as an insect, in all lots.

    What waits for a second reading is not there: its readers are not to see what the first one said.
    """
    settled = (mark for lot in book.stands for mark in lot.marks if mark.is_insect and not mark.is_open)
    return in_order(compared(mark) for mark in settled)


def flags_of(book: LotBook, lot: str, view: str) -> list[Mark]:
    """Every flag of the tool's on a lot's photographs of one view, whatever was answered on it and without the answer."""
    flags = (mark for mark in book.lot(lot).marks if mark.flag is not None and mark.photo.get("view") == view)
    return in_order(replace(compared(mark), kind="", body="", least=None, most=None) for mark in flags)
