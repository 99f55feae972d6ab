"""The confirmed insects of a run as marks that can be compared: what was measured, what was answered, what the photograph belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cli.lots.marks import Mark, in_order
from cli.review.answers import INSECT, Added, Said
from cli.review.desk import Desk
from cli.review.lot_book import SETTLED, LotBook
from cli.review.shelf import DeskShot, Flag

_BELONGS = ("lot", "sample", "piece", "view", "head", "card")
_NUMBERS = ("x_mm", "y_mm", "length_mm", "width_mm", "size_uncertainty", "density", "delta_e")


def marks_of(desk: Desk, book: LotBook) -> list[Mark]:
    """Every flag of the desk's run that is settled as an insect. `book`: its lots at that moment.

    What waits for a second reading is not there: its readers are not to see what the first one said.
    """
    added = {each.speck: each for each in desk.store.added(desk.shelf.run)}
    marks = []
    for word in _insects(book):
        speck = word.answer.speck
        flag = desk.shelf.flags.get(speck)
        shot = desk.shelf.by_sha256[speck.shot_sha256]
        measured = _measured(flag) if flag else _drawn(added[speck], shot)
        marks.append(_mark(shot, word, measured | belonging(shot, book, flag)))
    return in_order(marks)


def flags_of(desk: Desk, book: LotBook, lot: str, view: str) -> list[Mark]:
    """Every flag of the tool's on a lot's photographs of one view, whatever was answered on it and without the answer."""
    return in_order(
        Mark(flag.speck, shot.name, **_measured(flag), **known)
        for shot in book.shots_of(lot)
        for flag in shot.flags
        if (known := belonging(shot, book, flag))["view"] == view
    )


def belonging(shot: DeskShot, book: LotBook, flag: Flag | None = None) -> dict[str, str]:
    """What a photograph, or a flag on it, belongs to, put right; '' where it is not known."""
    known = {name: book.belongs[shot.sha256].get(name, "") for name in _BELONGS}
    if flag is not None and not shot.cells.get("piece", ""):
        # A shot of several pieces says of each flag on which it lies.
        known["piece"] = known["piece"] or flag.cells.get("piece", "")
    return known


def _insects(book: LotBook) -> Iterator[Said]:
    for standings in book.standings.values():
        for each in standings:
            if each.state in SETTLED and each.word is not None and each.word.answer.answer == INSECT:
                yield each.word


def _mark(shot: DeskShot, word: Said, known: Mapping[str, Any]) -> Mark:
    answer = word.answer
    said = {"kind": answer.kind, "body": answer.body, "least": answer.least, "most": answer.most}
    return Mark(answer.speck, shot.name, **known, **said)


def _measured(flag: Flag) -> dict[str, Any]:
    numbers = {name: float(flag.cells[name]) if flag.cells.get(name) else None for name in _NUMBERS}
    return numbers | {"x_px": flag.x_px, "y_px": flag.y_px, "tone": flag.cells.get("tone", "")}


def _drawn(added: Added, shot: DeskShot) -> dict[str, Any]:
    """What is known of a speck that a person added: where it lies, and its length where a line was drawn on a shot with a scale."""
    scale = shot.px_per_mm
    length = added.length_px / scale if scale and added.length_px else None
    return {"x_px": added.x_px, "y_px": added.y_px, "length_mm": length}
