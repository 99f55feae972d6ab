"""The output folder while one run writes in it: the lock, the tables' places, and what goes to earlier/."""

from __future__ import annotations

import json
import os
import shutil
import socket
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from cli.batch.ledger import Ledger
from cli.batch.record import RunFacts, now
from cli.batch.standing import (
    EARLIER,
    INDEX,
    LEDGER,
    LOG,
    NOW,
    PAGES,
    PARQUET,
    PICTURES,
    RECORD,
    TABLES,
    Standing,
    digest_of,
    is_ours,
    look,
    refuse_unless_ours,
)
from cli.pages.names import in_shard, shard_at
from vision.errors import OutputInUse, OutputNotWritable, SpeckwiseError
from vision.files import PASSING, Staged, write_bytes, write_json

LOCK = ".writing.lock"
WRITER = ".writing.json"
_MOVING = ".moving"


class OutputFolder:
    """A folder that this process alone writes in, for one run. Made by `writing`; methods raise as vision.files.write_bytes does."""

    def __init__(self, standing: Standing, facts: RunFacts) -> None:
        self.path = standing.folder
        self.run = facts.run
        self.notices: list[str] = []
        """Sentences for the person about files that were left as they stand."""
        self._tables: dict[str, dict[str, str]] = dict(standing.record.get("tables", {}))
        self.facts = facts
        self.was_finished = bool(standing.record.get("finished"))
        """Whether the call before this one came to its end."""
        # What an earlier call could not find stands until a call that looks for all of it says otherwise.
        self._this_call: dict[str, Any] = {"not_found": dict(standing.record.get("not_found", {}))}
        self.ledger = Ledger(self.path / LEDGER, self.run)

    def write_record(self, **this_call: Any) -> None:
        """run.json: the run's facts, the tables, and what is told of this call."""
        self._this_call |= this_call
        write_json(self.path / RECORD, self.facts.as_record() | self._this_call | {"tables": self._tables})

    def write_files(self, files: Mapping[str, bytes]) -> None:
        """Pictures and pages, by their place relative to the folder."""
        for name, data in files.items():
            path = self.path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            write_bytes(path, data)

    def put_pictures(self, files: Mapping[str, bytes]) -> dict[str, bytes]:
        """Writes what was made of one shot, and gives it by the places it has got, relative to the folder.

        Past 10,000 shots they stand in folders of their own: no disk and no person likes more in one.
        """
        shard = shard_at(len(self.ledger))
        placed = {in_shard(name, shard): data for name, data in files.items()}
        self.write_files(placed)
        return placed

    def tables_stand(self) -> bool:
        """Whether all that a run leaves behind stands as the record tells of it."""
        standing = Standing(self.path, {"tables": self._tables})
        return (self.path / INDEX).is_file() and all(
            is_ours(standing, stem, self._tables.get(stem, {}).get("file", "")) for stem in TABLES
        )

    def write_tables(self, tables: Mapping[str, Iterable[bytes]]) -> None:
        """Tables by their stem, in pieces, each beside whatever a person has made of it.

        The record is written before they take their places, with the digests before and after: whenever the work may be cut
        off, a table that is ours is known as ours, and one that is not is a person's.
        """
        standing = Standing(self.path, {"tables": self._tables})
        places = {stem: self._place(standing, stem) for stem in tables}
        staged: dict[str, Staged] = {}
        try:
            for stem, pieces in tables.items():
                staged[stem] = Staged(self.path / places[stem], pieces)
            self._put_tables(staged)
        except BaseException:
            for each in staged.values():
                each.drop()
            raise

    def _put_tables(self, staged: Mapping[str, Staged]) -> None:
        for stem, each in staged.items():
            path = each.path
            told = {"file": path.name, "sha256": each.sha256}
            if path.exists():
                told["sha256_before"] = digest_of(path)
            self._tables[stem] = told
            if path.name != f"{stem}.csv" and (self.path / f"{stem}.csv").exists():
                self.notices.append(
                    f"{self.path / f'{stem}.csv'} is not as this program left it, so it stays as it is; "
                    f"the new table is {path.name} beside it."
                )
        self.write_record()
        for stem, each in staged.items():
            each.put()
            self._tables[stem].pop("sha256_before", None)

    def table_names(self) -> dict[str, str]:
        """File name of each table, by its stem."""
        return {stem: told["file"] for stem, told in self._tables.items()}

    def _place(self, standing: Standing, stem: str) -> str:
        told = standing.record["tables"].get(stem, {}).get("file", "")
        if told and is_ours(standing, stem, told):
            return str(told)
        return next(name for name in _names(stem, self.run) if not (self.path / name).exists())


@contextmanager
def writing(folder: Path, facts: RunFacts, force: bool = False) -> Iterator[OutputFolder]:
    """The output folder, made if need be, for as long as this process writes in it.

    With `force` another run that stands there is first moved whole to earlier/. Raises OutputInUse and OutputNotWritable,
    then with nothing written.
    """
    refuse_unless_ours(look(folder), facts.run, force)
    with _locked(folder):
        # Looked at again: another process may have written between the first look and the lock.
        standing = look(folder)
        refuse_unless_ours(standing, facts.run, force)
        if standing.run and standing.run != facts.run:
            _move_to_earlier(standing)
            standing = Standing(folder)
        elif (folder / EARLIER / _MOVING).exists():
            _end_move(folder)
        if not standing.record.get("finished"):
            _sweep(folder)
        output = OutputFolder(standing, facts)
        try:
            yield output
        finally:
            output.ledger.close()


def _sweep(folder: Path) -> None:
    """Takes away files that a writer who was killed had under passing names."""
    for place in (folder, folder / PICTURES, folder / PAGES):
        for path in place.rglob(f".*{PASSING}") if place != folder else place.glob(f".*{PASSING}"):
            with suppress(OSError):
                path.unlink()


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    made = not folder.exists()
    lock = FileLock(folder / LOCK, timeout=0)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock.acquire()
        write_json(folder / WRITER, {"host": socket.gethostname(), "process": os.getpid(), "since": now()})
    except Timeout:
        raise OutputInUse(
            f"{folder} is being written by {_writer(folder)}. Wait for it, or give another --out."
        ) from None
    except (OSError, SpeckwiseError) as error:
        lock.release()
        if made:
            with suppress(OSError):
                (folder / LOCK).unlink(missing_ok=True)
                folder.rmdir()
        if isinstance(error, SpeckwiseError):
            raise
        raise OutputNotWritable(f"{folder} can't be written to: {error.strerror or error}.") from error
    try:
        yield
    finally:
        # The lock file itself stays: taking it away while another process waits on it would let two in.
        with suppress(OSError):
            (folder / WRITER).unlink()
        lock.release()


def _writer(folder: Path) -> str:
    try:
        writer = json.loads((folder / WRITER).read_bytes())
        return f"process {writer['process']} on {writer['host']} since {writer['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"


def _names(stem: str, run: str) -> Iterator[str]:
    yield f"{stem}.csv"
    yield f"{stem}-{run}.csv"
    number = 2
    while True:
        yield f"{stem}-{run}-{number}.csv"
        number += 1


def _move_to_earlier(standing: Standing) -> None:
    """Moves a run whole, by way of a folder of which only the last step takes the run's name.

    run.json goes last, so that a move that was cut off is known as one and goes on. What a person wrote is copied and stays.
    """
    folder = standing.folder
    if (folder / LEDGER).exists():
        # What a writer that was killed left half done is settled by opening it, while its journal still lies beside it.
        Ledger(folder / LEDGER, standing.run).close()
    moving = folder / EARLIER / _MOVING
    moving.mkdir(parents=True, exist_ok=True)
    for stem in TABLES:
        for path in [*folder.glob(f"{stem}.csv"), *folder.glob(f"{stem}-*.csv")]:
            if is_ours(standing, stem, path.name):
                os.replace(path, moving / path.name)
            else:
                shutil.copy2(path, moving / path.name)
    for name in (PICTURES, PAGES, INDEX, NOW, *PARQUET, LOG, LEDGER, RECORD):
        if (folder / name).exists():
            os.replace(folder / name, moving / name)
    _end_move(folder)


def _end_move(folder: Path) -> None:
    earlier = folder / EARLIER
    run = look(earlier / _MOVING).run or look(folder).run or "unnamed"
    names = (f"{run}-{number}" if number > 1 else run for number in range(1, 1_000_000))
    os.replace(earlier / _MOVING, next(earlier / name for name in names if not (earlier / name).exists()))
