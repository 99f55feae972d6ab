"""Scoring the sources of one call into an output folder, from the lock to the run record."""

from __future__ import annotations

import hashlib
import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.batch.belonging import BLANK
from cli.batch.folder import Source
from cli.batch.ledger import Entry, Ledger
from cli.batch.output import OutputFolder, writing
from cli.batch.plan import Looked, Twin, make_plan
from cli.batch.record import RunFacts, machine, now
from cli.batch.standing import digest_of
from cli.batch.tell import ShotTold, Tally, Teller
from cli.exits import StoppedByUser, StoppedHalfWay, why_stopped
from cli.words import count
from vision.table import CANDIDATES, SHOTS, Belonging, ShotFacts, shot_row, to_csv, unescape

if TYPE_CHECKING:
    from cli.shot import Outcome

Score = Callable[[Source], "Outcome"]
MakePages = Callable[[OutputFolder], Mapping[str, bytes]]

_COLUMN = {column.name: number for number, column in enumerate(SHOTS)}


def score_all(sources: Iterable[Source], score: Score) -> Iterator[Outcome]:
    """The outcomes of all sources, in any order: the one place that knows what the work is done by."""
    return map(score, sources)


def score_into(
    out: Path,
    sources: Sequence[Source],
    score: Score,
    facts: RunFacts,
    teller: Teller,
    make_pages: MakePages,
    force: bool = False,
    told: Mapping[str, Any] | None = None,
) -> tuple[Tally, list[str]]:
    """Scores what `out` does not hold yet, and writes tables, pages and record.

    `told` goes into the record as it is. Returns the tally of this call and sentences about files that were left alone. Raises
    OutputInUse and OutputNotWritable with nothing written; StoppedHalfWay and StoppedByUser with whole tables of what is done.
    """
    tally = Tally()
    begun = now()
    with writing(out, facts, force) as folder, _stopping(len(sources), tally):
        folder.write_record(**(told or {}), machine=machine(), started_at=begun, finished_at=None, finished=False)
        try:
            _work(folder, sources, score, teller, tally)
        except BaseException:
            teller.end()
            # What ended the work is what the person should hear of, not that the disk was still full afterwards.
            with _undisturbed(), suppress(Exception):
                _write_results(folder, tally, make_pages, finished=False)
            raise
        teller.end()
        with _undisturbed():
            _write_results(folder, tally, make_pages, finished=True)
        return tally, folder.notices


def _work(folder: OutputFolder, sources: Sequence[Source], score: Score, teller: Teller, tally: Tally) -> None:
    looked = look_at(sources, folder.ledger)
    plan = make_plan(looked, folder.ledger, lambda entry: all((folder.path / name).is_file() for name in entry.files))
    for entry in plan.keep:
        tally.told.append(told_of(entry))
    tally.kept = len(plan.keep)
    teller.begin(len(plan.score) + len(plan.twins))
    by_shot = {each.source.shot: each for each in plan.score}
    done: dict[str, Entry] = {}
    for outcome in score_all([each.source for each in plan.score], score):
        each = by_shot[outcome.facts.belonging.shot]
        folder.write_files(outcome.files)
        entry = _entry(folder.run, each, outcome)
        done[entry.shot] = entry
        _keep(folder.ledger, entry, teller, tally)
    for twin in plan.twins:
        _keep(folder.ledger, _twin_entry(folder.run, twin, done.get(twin.first)), teller, tally)


def _keep(ledger: Ledger, entry: Entry, teller: Teller, tally: Tally) -> None:
    ledger.add(entry)
    told = told_of(entry)
    tally.told.append(told)
    teller.shot(told)


def look_at(sources: Sequence[Source], ledger: Ledger) -> list[Looked]:
    """Sizes of all sources, and digests of those that may be a shot that stands already or another's twin.

    Two files of different sizes are not the same, so most files of a first call are read only once, when they are scored.
    """
    sizes = {source.shot: _size(source.path) for source in sources}
    common = Counter(sizes.values()) + Counter(entry.size_bytes for entry in ledger)
    return [
        Looked(source, size, _digest(source.path) if common[size] > 1 else "")
        for source, size in ((source, sizes[source.shot]) for source in sources)
    ]


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1


def _digest(path: Path) -> str:
    try:
        return digest_of(path)
    except OSError:
        # The scoring says why it can't be read.
        return ""


def _entry(run: str, each: Looked, outcome: Outcome) -> Entry:
    return Entry(
        run=run,
        shot=each.source.shot,
        sha256=outcome.facts.shot_sha256,
        size_bytes=each.size_bytes,
        path=os.path.abspath(each.source.path),
        row=outcome.shot_row,
        candidates=outcome.candidate_rows,
        files=sorted(outcome.files),
        digests={name: hashlib.sha256(outcome.files[name]).hexdigest() for name in sorted(outcome.files)},
        seconds=round(float(outcome.seconds), 3),
        error=outcome.facts.error,
        left_out=outcome.facts.inspection.left_out if outcome.facts.inspection else 0,
    )


def _twin_entry(run: str, twin: Twin, first: Entry | None) -> Entry:
    shot, sha256 = twin.looked.source.shot, twin.looked.sha256
    error = first.error if first else ""
    facts = ShotFacts(Belonging(shot, run), sha256, None, error=error, duplicate_of=twin.first)
    path = os.path.abspath(twin.looked.source.path)
    return Entry(run, shot, sha256, twin.looked.size_bytes, path, shot_row(facts), [], [], 0.0, error, twin.first)


def told_of(entry: Entry) -> ShotTold:
    """What is worth saying of an entry."""
    return ShotTold(
        shot=entry.shot,
        flags=len(entry.candidates),
        usable=entry.row[_COLUMN["usable"]] != "no",
        reasons=unescape(entry.row[_COLUMN["reasons"]]),
        error=entry.error,
        duplicate_of=entry.duplicate_of,
        blank=entry.row[_COLUMN["view"]] == BLANK,
        left_out=entry.left_out,
    )


def _write_results(folder: OutputFolder, tally: Tally, make_pages: MakePages, finished: bool) -> None:
    entries = list(folder.ledger)
    tables = {
        "candidates": to_csv(CANDIDATES, [row for entry in entries for row in entry.candidates]),
        "shots": to_csv(SHOTS, [entry.row for entry in entries]),
    }
    folder.write_tables(tables)
    whole = Tally([told_of(entry) for entry in entries], tally.kept)
    folder.write_files(make_pages(folder))
    folder.write_record(
        finished=finished,
        finished_at=now() if finished else None,
        counts=whole.counts(),
        failures=[{"shot": shot.shot, "error": shot.error} for shot in whole.failed],
        seconds={entry.shot: entry.seconds for entry in entries},
    )


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Ctrl-C waits: the tables are written whole or not at all, and it takes a moment."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _stopping(total: int, tally: Tally) -> Iterator[None]:
    """Whatever ends the work before its time, as one of the two ways to stop."""
    try:
        yield
    except KeyboardInterrupt:
        raise StoppedByUser(f"Stopped. {_stands(total, tally)}") from None
    except Exception as error:
        raise StoppedHalfWay(f"{why_stopped(error)} {_stands(total, tally)}") from error


def _stands(total: int, tally: Tally) -> str:
    return f"{len(tally.told)} of {count(total, 'shot')} stand whole; the same call goes on from there."
