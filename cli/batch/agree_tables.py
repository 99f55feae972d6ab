"""Both tables of a run, a shot at a time: as values, or read from the folder of a run that is recorded."""

from __future__ import annotations

import csv
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from cli.batch.agree_rows import CANDIDATE_AT, SHOT_AT, Row
from cli.batch.standing import RECORD, TABLES, digest_of
from cli.words import printable
from vision import __version__
from vision.errors import CallError, TableError
from vision.table import CANDIDATES, SHOTS, Column, unescape


@dataclass(frozen=True)
class ShotRows:
    """A row of shots.csv and the rows of candidates.csv that belong to it, cells as they stand in the tables."""

    row: Row
    candidates: Sequence[Row] = ()

    @property
    def shot(self) -> str:
        return unescape(self.row[SHOT_AT["shot"]])

    @property
    def shot_sha256(self) -> str:
        return self.row[SHOT_AT["shot_sha256"]]

    @property
    def scored(self) -> bool:
        return not self.row[SHOT_AT["error"]] and not self.row[SHOT_AT["duplicate_of"]]


@dataclass(frozen=True)
class Tables:
    """Both tables of a run. `shots` may be read from disk as it is gone through; so it may raise what `read_tables` raises."""

    run: str
    sha256: Mapping[str, str]
    """Digest of each table's bytes, by the stem of its name."""
    shots: Iterable[ShotRows]
    """In the order of shots.csv: by shot, then by digest."""


def by_shot(shots: Iterable[Row], candidates: Iterable[Row]) -> Iterator[ShotRows]:
    """The rows of both tables, put together a shot at a time. Raises TableError where the two don't belong together."""
    groups = groupby(candidates, lambda row: (row[CANDIDATE_AT["shot"]], row[CANDIDATE_AT["shot_sha256"]]))
    nothing: tuple[tuple[str, str], Iterable[Row]] = ("", ""), ()
    key, rows = next(groups, nothing)
    for row in shots:
        if (row[SHOT_AT["shot"]], row[SHOT_AT["shot_sha256"]]) == key:
            yield ShotRows(row, list(rows))
            key, rows = next(groups, nothing)
        else:
            yield ShotRows(row)
    if key != nothing[0]:
        raise TableError(f"There are candidates of {printable(unescape(key[0]))}, and no such shot at that place.")


def read_tables(folder: Path, record: Mapping[str, Any]) -> Tables:
    """The tables that a run's `record` tells of, beside it in `folder`; their rows are read when they are gone through.

    Raises CallError where one is not there, is no longer the one that was recorded, or has other columns than this version's.
    """
    told = record.get("tables")
    paths, digests = {}, {}
    for stem in TABLES:
        recorded = told.get(stem) if isinstance(told, Mapping) else None
        if not isinstance(recorded, Mapping) or not recorded.get("file"):
            raise CallError(f"{folder / RECORD} tells of no table {stem}: there is nothing to compare with.")
        paths[stem] = folder / str(recorded["file"])
        digests[stem] = _recorded_digest(paths[stem], recorded)
    rows = _TablesOnDisk(paths["shots"], paths["candidates"], str(record.get("version", "")))
    rows.check()
    return Tables(str(record.get("run", "")), digests, rows)


def _recorded_digest(path: Path, recorded: Mapping[str, Any]) -> str:
    try:
        digest = digest_of(path)
    except FileNotFoundError:
        raise CallError(f"{path}, which {RECORD} tells of, is missing: there is nothing to compare with.") from None
    except OSError as error:
        raise CallError(f"{path} can't be read: {error.strerror}.") from error
    if digest == recorded.get("sha256"):
        return digest
    if digest == recorded.get("sha256_before"):
        raise CallError(f"{path} is older than {RECORD}: the run was cut off. Make the same call again, then compare.")
    raise CallError(
        f"{path} is no longer the table that {RECORD} tells of: someone has written in it, so nothing can be compared with it."
    )


@dataclass(frozen=True)
class _TablesOnDisk:
    shots: Path
    candidates: Path
    version: str

    def check(self) -> None:
        """Raises CallError unless both can be opened and have the columns of this version."""
        for path, columns in ((self.shots, SHOTS), (self.candidates, CANDIDATES)):
            with closing(self._rows(path, columns)) as rows:
                next(rows, None)

    def __iter__(self) -> Iterator[ShotRows]:
        try:
            yield from by_shot(self._rows(self.shots, SHOTS), self._rows(self.candidates, CANDIDATES))
        except TableError as error:
            raise CallError(f"{self.shots} and {self.candidates.name} don't belong together: {error}") from error

    def _rows(self, path: Path, columns: Sequence[Column]) -> Generator[Row]:
        names = [column.name for column in columns]
        try:
            with path.open(encoding="utf-8-sig", newline="") as file:
                reader = csv.reader(file, strict=True)
                if next(reader, None) != names:
                    raise CallError(
                        f"{path} has other columns than the tables of this version, {__version__}: it was written by "
                        f"{self.version or 'another'}. Compare with that version."
                    )
                for row in reader:
                    if len(row) != len(names):
                        raise CallError(f"{path}: a row has too many or too few cells.")
                    yield row
        except OSError as error:
            raise CallError(f"{path} can't be read: {error.strerror}.") from error
        except (UnicodeDecodeError, csv.Error) as error:
            raise CallError(f"{path} is not UTF-8 text with commas.") from error
