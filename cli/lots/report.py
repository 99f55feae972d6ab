"""`speckwise report`: a lot's record from a scored folder and what people said of it; and whether a record still says what they do."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from cli.batch.standing import INDEX, NOW, TABLES, is_output_folder
from cli.exits import ALL_DONE
from cli.lots.blocks import Cut
from cli.lots.gather import Heard, LotStands, lots_of
from cli.lots.record import Sources, Wanted, record_of
from cli.lots.record_gaps import gaps_of
from cli.lots.record_page import PAPERS, record_html
from cli.review.shelf import Shelf, read_shelf, store_beside
from cli.words import count, printable
from vision.errors import CallError
from vision.files import write_bytes
from vision.words import WHO_DECIDES

ENDINGS = (".html", ".pdf", ".csv")
_NAMED = 10
_SAID_OF_GAPS = 5


@dataclass(frozen=True)
class ReportOptions:
    """What a person may say of a report."""

    lot: str | None = None
    store: str | None = None
    for_supplier: bool = False
    levels_of: str = ""
    paper: str = "a4"

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise CallError(f"--paper is {' or '.join(PAPERS)}, not {self.paper}.")
        if self.store == "":
            raise CallError("--store is empty; leave it out for answers that are kept beside the results.")


def report_call(folder: Path, out: Path, options: ReportOptions, on_day: date) -> int:
    """Writes the record of one lot of a scored folder to `out`, by its ending. Returns the exit code."""
    if out.suffix.lower() not in ENDINGS:
        raise CallError(f"--out ends in {', '.join(ENDINGS)}, not in {out.suffix or 'nothing'}.")
    if options.levels_of and out.suffix.lower() == ".csv":
        raise CallError("--defect-levels goes with a page, an .html or .pdf, and not with a .csv.")
    _refuse_place(out)
    shelf = read_shelf(folder)
    heard = heard_on(shelf, options.store)
    lot = chosen(lots_of(shelf, heard), options.lot)
    wanted = Wanted(on_day, options.for_supplier, options.levels_of)
    sources = sources_of(shelf, heard)
    write_bytes(out, _made(out.suffix.lower(), lot, shelf, heard, wanted, sources, options.paper))
    print(f"{printable(str(out))}: the record of {lot_called(lot)}.")
    for line in _what_is_open(lot, sources):
        print(line)
    print(WHO_DECIDES)
    return ALL_DONE


def blank_call(out: Path, paper: str) -> int:
    """Writes the empty page that is filled in by hand. Returns the exit code."""
    from cli.lots.record_blank import blank_record

    _refuse_page(out)
    _write_page(out, record_html(blank_record(), lambda cut: None, paper))
    print(f"{printable(str(out))}: an empty page for a lot, to be filled in by hand.")
    return ALL_DONE


def season_call(
    folders: Sequence[Path], out: Path, options: ReportOptions, days: tuple[date, date], on_day: date
) -> int:
    """Writes the page over all lots of some folders that were first checked between two days. Returns the exit code."""
    from cli.lots.season import joined, line_of, season_of

    _refuse_page(out)
    if days[1] < days[0]:
        raise CallError(f"--until, {days[1]}, comes before --since, {days[0]}: exchange them.")
    of_store: dict[str, list[tuple[LotStands, Sources]]] = {}
    for folder in folders:
        shelf = read_shelf(folder)
        heard = heard_on(shelf, options.store)
        sources = sources_of(shelf, heard)
        kept = options.store or str(store_beside(folder).resolve())
        of_store.setdefault(kept, []).extend((lot, sources) for lot in lots_of(shelf, heard))
    lines = [line_of(lot, sources, on_day) for lots in of_store.values() for lot, sources in joined(lots)]
    document = season_of(lines, *days)
    _write_page(out, record_html(document, lambda cut: None, options.paper))
    print(f"{printable(str(out))}: {document.lines[0]}")
    print(WHO_DECIDES)
    return ALL_DONE


def _refuse_page(out: Path) -> None:
    if out.suffix.lower() not in (".html", ".pdf"):
        raise CallError(f"--out ends in .html or .pdf for a page, not in {out.suffix or 'nothing'}.")
    _refuse_place(out)


def _refuse_place(out: Path) -> None:
    """Raises CallError where nothing can be written, before anything is made; and where the run's own files stand."""
    if out.is_dir():
        raise CallError(f"{out} is a folder; --out takes a file.")
    if not out.parent.is_dir():
        raise CallError(f"The folder {out.parent} is not there.")
    if is_output_folder(out.parent) and (out.name in (INDEX, NOW) or out.name.startswith(TABLES)):
        raise CallError(f"{out} is a file of the run that stands there: give --out another name.")


def _write_page(out: Path, page: str) -> None:
    write_bytes(out, _printed(out.suffix.lower(), page))


def _printed(ending: str, page: str) -> bytes:
    if ending == ".html":
        return page.encode("utf-8")
    from cli.lots.print_page import as_pdf

    return as_pdf(page)


def _made(
    ending: str, lot: LotStands, shelf: Shelf, heard: Heard, wanted: Wanted, sources: Sources, paper: str
) -> bytes:
    if ending == ".csv":
        from cli.lots.record_table import record_table

        return record_table(lot, wanted, sources)
    return _printed(ending, page_of(lot, shelf, heard, wanted, sources, paper))


def page_of(lot: LotStands, shelf: Shelf, heard: Heard, wanted: Wanted, sources: Sources, paper: str) -> str:
    """The record as a page that tells from what it was made."""
    from cli.lots.hear import rows_of

    basis: dict[str, str | int] = {
        "run": shelf.run,
        "lot": lot.name,
        "on_day": wanted.on_day.isoformat(),
        "for_supplier": int(wanted.for_supplier),
        "levels_of": wanted.levels_of,
        "paper": paper,
        **rows_of(heard),
    }
    document = replace(record_of(lot, wanted, sources), basis=basis)
    return record_html(document, cutter(shelf), paper)


def heard_on(shelf: Shelf, store: str | None) -> Heard:
    """What people said of a run; nothing where nobody has opened a record yet, and none is made.

    Raises CallError for a store that was named and is not there.
    """
    from cli.lots.hear import hear
    from cli.review.database import parsed, place_of
    from cli.review.store import Store, sqlite_url

    beside = store_beside(shelf.folder)
    if store is None and not beside.exists():
        return Heard()
    url = parsed(store or sqlite_url(beside))
    if url.get_backend_name() == "sqlite" and url.database and not Path(url.database).is_file():
        raise CallError(f"--store: {place_of(url)} is not there: no answer has been kept in it.")
    opened = Store(store or sqlite_url(beside))
    try:
        return hear(opened, shelf.run)
    finally:
        opened.close()


def chosen(lots: Sequence[LotStands], name: str | None) -> LotStands:
    """The lot that is asked for, or the only one. Raises CallError, naming those there are, where that is not one."""
    if not lots:
        raise CallError("No photograph here could be read, and nothing was entered: there is no lot to tell of.")
    if name is None:
        # One record may hold the entries of many folders: lots without a photograph here are asked for by their names.
        likely = [lot for lot in lots if lot.photos] or list(lots)
        if len(likely) == 1:
            return likely[0]
        raise CallError(f"There are {len(likely)} lots here, so say which: --lot {_listed(likely)}.")
    found = next((lot for lot in lots if lot.name == name), None)
    if found is None:
        raise CallError(f"There is no lot {name!r} here, but {_listed(lots)}.")
    return found


def _listed(lots: Sequence[LotStands]) -> str:
    names = [repr(lot.name) for lot in lots]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def lot_called(lot: LotStands) -> str:
    """A lot as a sentence calls it."""
    return f"lot {printable(lot.name)}" if lot.name else "what names no lot"


def sources_of(shelf: Shelf, heard: Heard) -> Sources:
    """What a record of this folder needs beside its lot."""
    from cli.lots.bare_sources import bare_sources

    return replace(bare_sources(shelf), hashes=hashes(shelf, heard))


def hashes(shelf: Shelf, heard: Heard) -> dict[str, str]:
    """SHA-256 of what a record is made from: the photographs, and every answer and entry that was read."""
    photographs = "\n".join(sorted(shelf.by_sha256)).encode()
    said = [row for rows in vars(heard).values() for row in rows]
    kept = json.dumps(said, sort_keys=True, ensure_ascii=False, default=vars).encode("utf-8", "surrogatepass")
    return {
        f"{count(len(shelf.shots), 'photograph')}, by their own SHA-256": hashlib.sha256(photographs).hexdigest(),
        f"{count(len(said), 'row')} of answers, looks and entries": hashlib.sha256(kept).hexdigest(),
    }


def cutter(shelf: Shelf) -> Callable[[Cut], bytes | None]:
    """Cuts parts out of a folder's photographs; None where the copy is missing, or is another one than was scored."""
    from cli.review.pictures import Pictures, PictureTrouble

    pictures = Pictures(shelf.folder)

    def cut_out(cut: Cut) -> bytes | None:
        try:
            return pictures.part(shelf.by_sha256[cut.shot_sha256], cut.left_px, cut.top_px, cut.wide_px, cut.high_px, 1)
        except PictureTrouble:
            return None

    return cut_out


def _what_is_open(lot: LotStands, sources: Sources) -> list[str]:
    """The first things that keep the record from being whole."""
    blocking = gaps_of(lot, sources.guide_of).blocking
    more = len(blocking) - _SAID_OF_GAPS
    return [*blocking[:_SAID_OF_GAPS], *([f"And {more} more (see the record)."] if more > 0 else [])]
