"""What stands in an output folder, read without touching anything, and whether a run may write there."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vision.errors import OutputInUse, OutputNotWritable

APP = "speckwise"
RECORD = "run.json"
LEDGER = ".ledger.sqlite"
LOG = "log.jsonl"
NOW = "now.html"
INDEX = "index.html"
PICTURES = "pictures"
PAGES = "pages"
EARLIER = "earlier"
PARQUET = ("candidates.parquet", "shots.parquet")
TABLES = ("candidates", "shots")
"""The two tables by the stem of their file names."""

_OURS = (RECORD, "shots.csv", INDEX, PICTURES, PAGES, LEDGER, LOG, NOW, *PARQUET)
# candidates.csv is not among them: without a record beside it, it is taken for a person's words, and left alone.


@dataclass(frozen=True)
class Standing:
    """An output folder as it is found."""

    folder: Path
    record: Mapping[str, Any] = field(default_factory=dict)
    """The run record that stands there; empty when there is none of ours."""
    foreign: tuple[str, ...] = ()
    """Names that this program would write and that something else has taken."""

    @property
    def run(self) -> str:
        return str(self.record.get("run", ""))


def is_output_folder(folder: Path) -> bool:
    """Whether a run of this program stands in `folder`."""
    return bool(_record_in(folder))


def look(folder: Path) -> Standing:
    """What stands in `folder`; an empty Standing when it does not exist yet.

    Raises OutputNotWritable when it, or something above it, is not a folder or can't be looked into.
    """
    try:
        if not folder.exists():
            if folder.is_symlink():
                raise OutputNotWritable(f"{folder} is a link that leads nowhere.")
            return Standing(folder)
        if not folder.is_dir():
            raise OutputNotWritable(f"{folder} is a file; --out takes a folder.")
        record = _record_in(folder)
        return Standing(folder, record) if record else Standing(folder, foreign=tuple(_foreign(folder)))
    except OSError as error:
        raise OutputNotWritable(f"{folder} can't be used as the output folder: {error.strerror}.") from error


def refuse_unless_ours(standing: Standing, run: str, force: bool) -> None:
    """Raises OutputInUse where the folder holds another run (unless `force`), or files that are not ours under our names."""
    if standing.foreign:
        names = ", ".join(standing.foreign)
        raise OutputInUse(f"{standing.folder} holds {names}, and no run record that tells of it. Give another --out.")
    if standing.run and standing.run != run and not force:
        raise OutputInUse(
            f"{standing.folder} holds run {standing.run}; this call is run {run}, because the version, an option, the "
            f"profile, the guide or the ranker differs. Give another --out, or --force to move the old run to earlier/."
        )


def is_ours(standing: Standing, stem: str, name: str) -> bool:
    """Whether the table file `name` is, byte for byte, one that the record tells of; if not, a person has changed it."""
    told = standing.record.get("tables", {}).get(stem, {})
    path = standing.folder / name
    return (
        told.get("file") == name
        and path.is_file()
        and digest_of(path) in {told.get("sha256"), told.get("sha256_before")} - {None}
    )


def digest_of(path: Path) -> str:
    """SHA-256 of a file's bytes, read in pieces. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _record_in(folder: Path) -> dict[str, Any]:
    try:
        record = json.loads((folder / RECORD).read_bytes())
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) and record.get("app") == APP and record.get("run") else {}


def _foreign(folder: Path) -> list[str]:
    # An empty folder of the right name holds nothing that could be overwritten.
    return [
        name for name in _OURS if (path := folder / name).exists() and not (path.is_dir() and not any(path.iterdir()))
    ]
