"""What has been scored into an output folder, one line a shot, kept as the work goes on.

The tables are made from it. It exists because a table is written whole, at the end or when the work is stopped, while a shot that
is done should stay done even if the machine is switched off; and because its rows stay ours when a person writes in the table.
A line is only ever added. One that was cut short by a power cut is passed over: its shot is scored again.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path


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


class Ledger:
    """The entries of one run, read from `path` and added to it."""

    def __init__(self, path: Path, run: str) -> None:
        """Reads what stands. Raises OSError."""
        self._path = path
        self._shots: dict[str, list[Entry]] = {}
        self._torn = False
        if path.exists():
            text = path.read_text(encoding="utf-8", errors="replace")
            self._torn = bool(text) and not text.endswith("\n")
            for entry in filter(None, map(_read, text.split("\n"))):
                if entry.run == run:
                    self._put(entry)

    def add(self, entry: Entry) -> None:
        """Puts `entry` in the place of what it replaces, and on disk. Raises OSError."""
        line = json.dumps(asdict(entry)) + "\n"
        with self._path.open("a", encoding="utf-8") as file:
            file.write("\n" + line if self._torn else line)
            self._torn = True
        self._torn = False
        self._put(entry)

    def get(self, shot: str, sha256: str) -> Entry | None:
        """The entry of that shot with those bytes."""
        return next((entry for entry in self._shots.get(shot, ()) if entry.sha256 == sha256), None)

    def __iter__(self) -> Iterator[Entry]:
        """Entries in the order of the tables."""
        for shot in sorted(self._shots):
            yield from sorted(self._shots[shot], key=lambda entry: entry.sha256)

    def _put(self, entry: Entry) -> None:
        # The same bytes, and the same file with other bytes than before, give way; another file of the same name does not:
        # two calls may each bring their own 1.jpg.
        kept = [
            old
            for old in self._shots.get(entry.shot, ())
            if old.path != entry.path and not (old.sha256 and old.sha256 == entry.sha256)
        ]
        self._shots[entry.shot] = [*kept, entry]


def _read(line: str) -> Entry | None:
    try:
        return Entry(**json.loads(line))
    except (ValueError, TypeError):
        return None
