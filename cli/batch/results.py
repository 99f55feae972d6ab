"""Ledger -> tables, pages and the counts of the record. Rows are read shot by shot, so that a season fits in memory as a day does."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from cli.batch.output import OutputFolder
from cli.batch.parquet import parquet_is_there, write_parquet
from cli.batch.record import now
from cli.batch.told import Tally
from cli.batch.work import Work
from vision.table import CANDIDATES, SHOTS, csv_pieces

MakePages = Callable[[OutputFolder], Iterable[tuple[str, str]]]

PARQUET_FROM = 10_000
"""From so many shots on, the tables stand beside the CSV files as Parquet too, which is read many times faster."""


def write_results(folder: OutputFolder, work: Work, make_pages: MakePages, stood: bool, told: dict[str, Any]) -> None:
    """Writes what has changed. `stood`: all of it stood whole when the call began; `told` goes into the record."""
    if work.changed or not stood:
        folder.write_tables(
            {"candidates": csv_pieces(CANDIDATES, _candidates(folder)), "shots": csv_pieces(SHOTS, _shots(folder))}
        )
        _write_parquet(folder)
        for name, text in make_pages(folder):
            folder.write_files({name: text.encode()})
    finished = told["finished"]
    whole = Tally(folder.ledger.told())
    whole.kept = work.tally.kept
    folder.write_record(
        **told,
        finished_at=now() if finished else None,
        counts=whole.counts(),
        failures=[{"shot": shot, "error": error} for shot, error in folder.ledger.failures()],
        not_looked_into=work.tally.unlisted,
    )


def _candidates(folder: OutputFolder) -> Iterator[Sequence[str]]:
    return (row for entry in folder.ledger for row in entry.candidates)


def _shots(folder: OutputFolder) -> Iterator[Sequence[str]]:
    return (entry.row for entry in folder.ledger)


def _write_parquet(folder: OutputFolder) -> None:
    if len(folder.ledger) < PARQUET_FROM:
        return
    if not parquet_is_there():
        folder.notices.append("For tables of this size there is Parquet as well: pip install 'speckwise[parquet]'.")
        return
    write_parquet(folder.path / "candidates.parquet", CANDIDATES, _candidates(folder))
    write_parquet(folder.path / "shots.parquet", SHOTS, _shots(folder))
