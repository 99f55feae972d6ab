"""A review desk on a scored folder of made shots, without a socket; and folders that were scored again, or whose shots failed."""

from __future__ import annotations

import functools
import itertools
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from scored_folder import RUN, Made, entry_of, write_folder

from cli.batch.ledger import Entry, Ledger
from cli.batch.standing import LEDGER
from cli.review.answers import SpeckId
from cli.review.desk import Desk
from cli.review.shelf import DeskShot, read_shelf, store_beside
from cli.review.store import Store, sqlite_url
from vision.table import CANDIDATES, Column

SHOTS = (Made("tray 1.jpg", 4), Made("tray 2.jpg", 3, sample="2", seed=5), Made("tray 3.jpg", 0, sample="2", seed=9))
_TOKENS = (f"act-{n}" for n in itertools.count())
Fields = dict[str, Any]


@contextmanager
def desk_of(folder: Path, store: Path | None = None) -> Iterator[Desk]:
    """A desk for the length of a block; its record beside the folder's results, or in `store`."""
    opened = Store(sqlite_url(store or store_beside(folder)))
    try:
        yield Desk(read_shelf(folder), opened)
    finally:
        opened.close()


def made_folder(tmp_path: Path, shots: Sequence[Made] = SHOTS, run: str = RUN, name: str = "out") -> Path:
    """A scored folder of made shots. What stands there is replaced."""
    for path, data in _files(tuple(shots), run).items():
        (tmp_path / name / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name / path).write_bytes(data)
    return tmp_path / name


@functools.cache
def _files(shots: tuple[Made, ...], run: str) -> dict[str, bytes]:
    """Writing a folder waits for the disk, file by file: each is made once."""
    with tempfile.TemporaryDirectory() as place:
        folder = write_folder(Path(place) / "out", shots, run)
        return {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }


def shot_of(desk: Desk, name: str = "tray 1.jpg") -> DeskShot:
    return next(shot for shot in desk.shelf.shots if shot.name == name)


def speck(desk: Desk, candidate: int = 1, name: str = "tray 1.jpg") -> SpeckId:
    return SpeckId(shot_of(desk, name).sha256, desk.shelf.run, candidate)


def act(of: SpeckId, answer: str = "insect", reviewer: str = "Ida", **more: object) -> Fields:
    """What a page sends for an answer."""
    return {**vars(of), "answer": answer, "reviewer": reviewer, "token": next(_TOKENS), **more}


def drawn_line(shot: DeskShot, x: float = 50.0, y: float = 60.0, by: str = "Ida", **more: object) -> Fields:
    """What a page sends for a speck that the tool missed."""
    where = {"x_px": x, "y_px": y, "length_px": 20.0, "angle_deg": -30.5}
    return {"shot_sha256": shot.sha256, "run": RUN, **where, "reviewer": by, "token": next(_TOKENS), **more}


def flags_of(told: dict[str, Any], name: str = "tray 1.jpg") -> dict[int, dict[str, Any]]:
    """Flags of a shot by number, as a page is told of them."""
    shot = next((each for each in told["shots"] if each["name"] == name), {"flags": []})
    return {flag["candidate"]: flag for flag in shot["flags"]}


def add_entries(folder: Path, *entries: Entry, run: str = RUN) -> None:
    """Puts more into a folder's ledger, in the place of what they replace."""
    ledger = Ledger(folder / LEDGER, run)
    for entry in entries:
        ledger.add(entry)


def failed(made: Made, why: str) -> Entry:
    """What the ledger says of a shot that could not be scored."""
    entry, _ = entry_of(made)
    return replace(entry, error=why, candidates=[], files=[], digests={})


def twin(made: Made, of: Made) -> Entry:
    """What the ledger says of the bytes of `of` under another name."""
    entry, _ = entry_of(of)
    return replace(entry, shot=made.name, path=f"/shots/{made.name}", duplicate_of=of.name, candidates=[], files=[])


def moved(entry: Entry, dx: float, dy: float) -> Entry:
    """The same shot with every flag found elsewhere by so much."""
    columns = {column.name: k for k, column in enumerate(CANDIDATES)}
    rows = [list(row) for row in entry.candidates]
    for row in rows:
        for name, by in (("x_px", dx), ("y_px", dy)):
            row[columns[name]] = f"{float(row[columns[name]]) + by:.1f}"
    return replace(entry, candidates=rows)


def cell(row: Sequence[str], name: str, columns: Sequence[Column] = CANDIDATES) -> str:
    return row[[column.name for column in columns].index(name)]
