"""Whether a record still is what a scored folder and its answers give: made again from what stood when it was made, and compared."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from cli.batch.standing import TABLES, digest_of, look
from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from cli.lots.gather import Heard, LotStands, lots_of
from cli.lots.hear import SORTS, rows_of
from cli.lots.record import Wanted
from cli.lots.record_page import PAPERS, basis_of, what_differs
from cli.lots.report import ReportOptions, heard_on, lot_called, page_of, sources_of
from cli.review.shelf import Shelf, read_shelf
from cli.words import count, printable
from vision.errors import CallError, UnreadableShot
from vision.files import read_bytes
from vision.words import WHO_DECIDES

_NAMED = 10
_ROWS = {
    "said": "answers",
    "added": "added specks",
    "looks": "looks at whole photographs",
    "readings": "readings asked for",
    "entries": "entries",
}
"""Rows of each of SORTS, as a sentence calls them."""
_CHANGED = "What this record says of how it was made can't be read: it has been changed."


def verify_call(folder: Path, out: Path, options: ReportOptions) -> int:
    """Says whether the record `out` is what the folder gives. Exit code 1 says that it is not."""
    if out.suffix.lower() != ".html":
        raise CallError(f"--verify reads a record that is an .html file, not {out.name}.")
    try:
        page = read_bytes(out).decode("utf-8")
    except UnreadableShot as error:
        raise CallError(f"{printable(str(out))}: {error}") from None
    except UnicodeDecodeError:
        raise CallError(f"{out} is no record of a lot that `speckwise report` has written.") from None
    basis = basis_of(page)
    shelf = read_shelf(folder)
    heard = heard_on(shelf, options.store)
    faults = [*_faults(page, basis, shelf, heard), *_of_files(shelf)]
    for fault in faults:
        print(fault)
    if not faults:
        print(
            f"{printable(out.name)} is what {printable(str(folder))} gives, by the answers and entries it was made from."
        )
    for line in _since(basis, shelf, heard):
        print(line)
    print(WHO_DECIDES)
    return SOME_SHOTS_FAILED if faults else ALL_DONE


def _faults(page: str, basis: Mapping[str, Any], shelf: Shelf, heard: Heard) -> list[str]:
    wanted, paper, lot_name, rows = _asked(basis)
    if basis["run"] != shelf.run:
        return [f"The record is of run {printable(str(basis['run']))}, and this folder holds run {shelf.run}."]
    then = heard.first(rows)
    fewer = {name: rows[name] - there for name, there in rows_of(then).items() if there < rows[name]}
    if fewer:
        return [f"The record was made from more than is kept now. Not there any more: {_listed(fewer)}."]
    lot = next((lot for lot in lots_of(shelf, then) if lot.name == lot_name), None)
    if lot is None:
        return [f"Nothing here belongs to lot {printable(lot_name)} any more."]
    try:
        again = page_of(lot, shelf, then, wanted, sources_of(shelf, then), paper)
    except CallError:
        # Nobody could have made a record that asks for what can't be had.
        raise CallError(_CHANGED) from None
    return [_differs(name, lot) for name in what_differs(page, again)]


def _differs(name: str, lot: LotStands) -> str:
    if name == "pictures":
        return "The cut pictures are not those that the photographs give; all words are."
    return f"Of the record of {lot_called(lot)}, this part is not what the folder gives: {name}."


def _asked(basis: Mapping[str, Any]) -> tuple[Wanted, str, str, dict[str, int]]:
    """What was asked of a record, its paper, its lot, and the rows it was made from. Raises CallError where its basis is broken."""
    try:
        wanted = Wanted(date.fromisoformat(basis["on_day"]), bool(basis["for_supplier"]), basis["levels_of"])
        rows = {name: int(basis[name]) for name in SORTS}
        texts = (basis["lot"], basis["run"], basis["levels_of"])
        if basis["paper"] not in PAPERS or min(rows.values()) < 0 or not all(isinstance(text, str) for text in texts):
            raise ValueError
    except (KeyError, TypeError, ValueError, OverflowError):
        raise CallError(_CHANGED) from None
    return wanted, basis["paper"], basis["lot"], rows


def _of_files(shelf: Shelf) -> list[str]:
    """Copies of photographs and tables that are not what the run noted of them."""
    faults = []
    lost = [
        shot.name
        for shot in shelf.shots
        if shot.picture_sha256 and not _is(shelf.folder / shot.picture, shot.picture_sha256)
    ]
    if lost:
        more = f" and {len(lost) - _NAMED} more" if len(lost) > _NAMED else ""
        names = ", ".join(printable(name) for name in lost[:_NAMED])
        faults.append(
            f"{count(len(lost), 'copy').replace('copys', 'copies')} of photographs missing or not as written: {names}{more}."
        )
    told = look(shelf.folder).record.get("tables", {})
    for stem in TABLES:
        about = told.get(stem, {})
        name, digest = about.get("file"), about.get("sha256")
        if name and digest and not _is(shelf.folder / str(name), str(digest)):
            faults.append(
                f"{name} is missing or not as the run wrote it; the record is made from the run's own ledger."
            )
    return faults


def _is(path: Path, sha256: str) -> bool:
    try:
        return digest_of(path) == sha256
    except OSError:
        return False


def _since(basis: Mapping[str, Any], shelf: Shelf, heard: Heard) -> list[str]:
    """What people said after the record was made, and whether it is about this lot."""
    rows = {name: int(basis[name]) for name in SORTS}
    came = {name: now - rows[name] for name, now in rows_of(heard).items() if now > rows[name]}
    if not came:
        return []
    then, now = (
        next((lot for lot in lots_of(shelf, each) if lot.name == basis["lot"]), None)
        for each in (heard.first(rows), heard)
    )
    end = "Nothing of that is about this lot." if then == now else "Make it again to have that in it."
    return [f"Since it was made there came more: {_listed(came)}. {end}"]


def _listed(rows: Mapping[str, int]) -> str:
    return ", ".join(f"{_ROWS[name]} {number}" for name, number in rows.items())
