"""What has been scored into an output folder, one row a shot, on disk before it counts as done.

The tables are made from it. It exists because a table is written whole, at the end or when the work is stopped, while a shot that
is done should stay done even if the machine is switched off; because its rows stay ours when a person writes in the table; and
because a season's shots are more than memory holds. It is an SQLite file (sqlite3 of the standard library): an entry is there whole
or not at all, whenever the power goes.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from cli.batch.sources import FileFacts
from cli.batch.told import ShotTold, told_of
from vision.errors import DiskFull, OutputNotWritable

_WAIT_S = 30.0
"""So long a reader waits for a writer who is just putting an entry down, and the other way round."""
_LAYOUT = """
CREATE TABLE IF NOT EXISTS shots (
    run TEXT NOT NULL, shot TEXT NOT NULL, sha256 TEXT NOT NULL, path TEXT NOT NULL,
    size_bytes INTEGER NOT NULL, changed TEXT NOT NULL, error TEXT NOT NULL, duplicate_of TEXT NOT NULL,
    files TEXT NOT NULL, told TEXT NOT NULL, rest TEXT NOT NULL, belongs TEXT NOT NULL DEFAULT '');
CREATE INDEX IF NOT EXISTS shots_by_name ON shots (run, shot, sha256);
CREATE INDEX IF NOT EXISTS shots_by_path ON shots (run, path);
CREATE INDEX IF NOT EXISTS shots_by_bytes ON shots (run, sha256, shot);
"""
_COLUMNS = "run, shot, sha256, path, size_bytes, changed, error, duplicate_of, files, told, rest, belongs"
_IN_REST = ("row", "candidates", "seconds", "left_out", "digests", "instruction", "facts", "said", "code")


@dataclass(frozen=True)
class Entry:
    """What one shot gave, ready for the tables."""

    run: str
    shot: str
    sha256: str
    """Of the file's bytes; '' where they could not be read."""
    size_bytes: int
    path: str
    row: list[str]
    """Its cells in shots.csv, in the order of vision.table.SHOTS."""
    candidates: list[list[str]]
    """Its rows in candidates.csv, in the order of vision.table.CANDIDATES."""
    files: list[str]
    """What was written for it, relative to the output folder."""
    seconds: float
    error: str = ""
    duplicate_of: str = ""
    left_out: int = 0
    """How many more the limit on flags left out."""
    digests: dict[str, str] = field(default_factory=dict)
    """SHA-256 of each of those files as it was written."""
    instruction: str = ""
    """The one thing to change first; '' where there is none."""
    changed: str = ""
    """When the file was last written, as FileFacts has it."""
    facts: dict[str, str] = field(default_factory=dict)
    """What it belongs to beside lot, sample, piece and view, by the fields of belonging.BELONGS, and how many pieces were seen."""
    said: list[str] = field(default_factory=list)
    """A sentence for each field that is left empty because its sources say different things."""
    code: dict[str, str] = field(default_factory=dict)
    """What the code on its slip says, by field."""
    belongs: str = ""
    """Digest of what was said of it beside its slip: where that changes, it is scored again."""


@dataclass(frozen=True)
class Stood:
    """As much of an entry as it takes to see whether it still stands."""

    shot: str
    sha256: str
    path: str
    facts: FileFacts
    files: tuple[str, ...]
    told: ShotTold
    belongs: str = ""

    @property
    def duplicate_of(self) -> str:
        return self.told.duplicate_of


_STOOD = "shot, sha256, path, size_bytes, changed, files, told, belongs"


class Ledger:
    """The entries of one run, read from `path` and added to it. A file that is not there is made with the first entry.

    Methods raise OutputNotWritable and DiskFull.
    """

    def __init__(self, path: Path, run: str) -> None:
        self._path, self._run = path, run
        self._db: sqlite3.Connection | None = None
        self._count: int | None = None
        if path.exists():
            self._open()

    def close(self) -> None:
        """Lets the file go; what was added stands."""
        if self._db is not None:
            self._db.close()
            self._db = None

    def add(self, entry: Entry) -> ShotTold:
        """Puts `entry` in the place of what it replaces, and on disk."""
        told = told_of(entry.row, len(entry.candidates), entry.left_out, entry.instruction, " ".join(entry.said))
        rest = {name: getattr(entry, name) for name in _IN_REST}
        facts = (entry.run, entry.shot, entry.sha256, entry.path, entry.size_bytes, entry.changed)
        texts = tuple(json.dumps(value) for value in (sorted(entry.files), asdict(told), rest))
        before = len(self)
        with self._writing() as db:
            # The same bytes, and the same file with other bytes than before, give way; another file of the same name does
            # not: two calls may each bring their own 1.jpg.
            replaced = db.execute(
                "DELETE FROM shots WHERE run = ? AND shot = ? AND (path = ? OR (sha256 = ? AND sha256 != ''))",
                (entry.run, entry.shot, entry.path, entry.sha256),
            ).rowcount
            db.execute(
                f"INSERT INTO shots ({_COLUMNS}) VALUES ({', '.join('?' * 12)})",
                (*facts, entry.error, entry.duplicate_of, *texts, entry.belongs),
            )
        self._count = before + 1 - replaced
        return told

    def forget(self, shot: str, path: str) -> None:
        """Takes away what stands for that file under that name."""
        with self._writing() as db:
            db.execute("DELETE FROM shots WHERE run = ? AND shot = ? AND path = ?", (self._run, shot, path))
        self._count = None

    def touch(self, shot: str, sha256: str, path: str, facts: FileFacts) -> None:
        """Notes that the bytes of an entry were found the same in a file of other facts."""
        with self._writing() as db:
            db.execute(
                "UPDATE shots SET path = ?, size_bytes = ?, changed = ? WHERE run = ? AND shot = ? AND sha256 = ?",
                (path, facts.size_bytes, facts.changed, self._run, shot, sha256),
            )

    def set_aside(self, shot: str, sha256: str) -> None:
        """Has an entry stand on after its file has got other bytes: it belongs to no file from now on."""
        with self._writing() as db:
            db.execute(
                "UPDATE shots SET path = '' WHERE run = ? AND shot = ? AND sha256 = ?", (self._run, shot, sha256)
            )

    def of_file(self, shot: str, path: str) -> Stood | None:
        """What stands for that file under that name."""
        return self._one("shot = ? AND path = ?", shot, path)

    def of_bytes(self, shot: str, sha256: str) -> Stood | None:
        """What stands for that shot with those bytes."""
        return self._one("shot = ? AND sha256 = ?", shot, sha256)

    def first_with(self, sha256: str) -> Stood | None:
        """The first shot, in the order of the tables, that was scored from those bytes."""
        return self._one("sha256 = ? AND duplicate_of = '' AND error = ''", sha256)

    def get(self, shot: str, sha256: str) -> Entry | None:
        """The entry of that shot with those bytes."""
        return next(self._entries("AND shot = ? AND sha256 = ?", shot, sha256), None)

    def __iter__(self) -> Iterator[Entry]:
        """Entries in the order of the tables, read as they are asked for."""
        return self._entries("")

    def __len__(self) -> int:
        if self._count is None:
            counted = self._ask("SELECT count(*) FROM shots WHERE run = ?", self._run)
            self._count = int(counted[0][0]) if counted else 0
        return self._count

    def told(self) -> Iterator[ShotTold]:
        """What is worth saying of each, in the order of the tables."""
        for (text,) in self._rows("SELECT told FROM shots WHERE run = ? ORDER BY shot, sha256", self._run):
            yield ShotTold(**json.loads(text))

    def failures(self) -> list[tuple[str, str]]:
        """Shot and sentence of all that failed."""
        return self._ask("SELECT shot, error FROM shots WHERE run = ? AND error != '' ORDER BY shot, sha256", self._run)

    def _one(self, where: str, *values: str) -> Stood | None:
        asked = f"SELECT {_STOOD} FROM shots WHERE run = ? AND {where} ORDER BY shot, sha256 LIMIT 1"
        for shot, sha256, path, size, changed, files, told, belongs in self._ask(asked, self._run, *values):
            facts = FileFacts(size, changed)
            return Stood(shot, sha256, path, facts, tuple(json.loads(files)), ShotTold(**json.loads(told)), belongs)
        return None

    def _entries(self, where: str, *values: str) -> Iterator[Entry]:
        asked = f"SELECT {_COLUMNS} FROM shots WHERE run = ? {where} ORDER BY shot, sha256"
        for run, shot, sha256, path, size, changed, error, duplicate_of, files, _, rest, belongs in self._rows(
            asked, self._run, *values
        ):
            yield Entry(
                run=run,
                shot=shot,
                sha256=sha256,
                size_bytes=size,
                path=path,
                files=json.loads(files),
                error=error,
                duplicate_of=duplicate_of,
                changed=changed,
                belongs=belongs,
                **json.loads(rest),
            )

    def _ask(self, asked: str, *values: object) -> list[Any]:
        return list(self._rows(asked, *values))

    def _rows(self, asked: str, *values: object) -> Iterator[Any]:
        if self._db is None:
            return
        with self._guarded():
            yield from self._db.execute(asked, values)

    def _open(self) -> sqlite3.Connection:
        with self._guarded():
            db = sqlite3.connect(self._path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
            # Every entry is flushed to the disk; the journal is cut back and not taken away, which costs fewer flushes.
            db.executescript("PRAGMA journal_mode = TRUNCATE; PRAGMA synchronous = FULL;" + _LAYOUT)
            if "belongs" not in {column[1] for column in db.execute("PRAGMA table_info(shots)")}:
                # Written before there were manifests, when nothing was said of any shot beside its slip.
                db.execute("ALTER TABLE shots ADD COLUMN belongs TEXT NOT NULL DEFAULT ''")
        self._db = db
        return db

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        db = self._db or self._open()
        with self._guarded():
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code == sqlite3.SQLITE_FULL:
                raise DiskFull(f"The disk is full: {self._path.name} could not be written.") from error
            if code in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}:
                raise OutputNotWritable(
                    f"{self._path}, which tells what was scored here, is damaged: score the photographs into another folder."
                ) from error
            raise OutputNotWritable(f"{self._path} can't be read or written: {error}.") from error
