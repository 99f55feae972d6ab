"""One call's work in an output folder, from the lock to the run record, however it ends."""

from __future__ import annotations

import queue
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cli.batch.engines.engine import Bell, Done, Engine, MakeScore
from cli.batch.log import Log
from cli.batch.manifests import Manifests, Told
from cli.batch.output import OutputFolder, writing
from cli.batch.record import RunFacts, machine, now
from cli.batch.results import MakePages, write_results
from cli.batch.sources import Source
from cli.batch.standing import LOG
from cli.batch.tell import Teller
from cli.batch.told import Tally
from cli.batch.work import Work
from cli.exits import StoppedByUser, StoppedHalfWay, why_stopped
from cli.words import count

_TOLD_TO_END = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))

MakeEngine = Callable[[MakeScore, Bell], Engine]


@dataclass(frozen=True)
class Call:
    """How one call does its work. Nothing of this changes a result."""

    make_score: MakeScore
    make_engine: MakeEngine
    make_pages: MakePages
    teller: Teller
    force: bool = False
    """Another run that stands in the folder is moved to earlier/ first."""
    rehash: bool = False
    """Every file is read, also one that has not been touched since it was scored."""
    keep_replaced: bool = False
    """A shot whose file was written over by another photograph stays beside the new one."""
    aloud: bool = False
    """What goes into the log is said as well."""
    told: Mapping[str, Any] = field(default_factory=dict)
    """For the record, as it is."""
    unlisted: Sequence[str] = ()
    """Sentences about folders that can't be looked into; may grow while sources are found."""
    manifests: Told = field(default_factory=Manifests)
    """Where it is said what the sources belong to."""


@dataclass(frozen=True)
class Running:
    """What whoever drives the work may use."""

    work: Work
    write: Callable[[], None]
    """Writes tables and pages of what is done so far."""


def score_into(out: Path, sources: Iterable[Source], facts: RunFacts, call: Call) -> tuple[Tally, list[str]]:
    """Scores what `out` does not hold yet, and writes tables, pages and record.

    Returns the tally of this call and sentences about files that were left alone. Raises CallError, OutputInUse and
    OutputNotWritable with nothing written; StoppedHalfWay and StoppedByUser with whole tables of what is done.
    """

    def drive(running: Running) -> None:
        work = running.work
        for source in sources:
            while not work.has_room:
                work.step()
            work.offer(source)
            work.step(0)
        work.finish()

    return work_in(out, facts, call, drive)


def work_in(out: Path, facts: RunFacts, call: Call, drive: Callable[[Running], None]) -> tuple[Tally, list[str]]:
    """Has `drive` do its work in the output folder; raises and returns as `score_into` does."""
    bell: queue.SimpleQueue[Done | None] = queue.SimpleQueue()
    engine = call.make_engine(call.make_score, bell.put)
    try:
        with writing(out, facts, call.force) as folder, _logged(folder, call) as log, _told_to_end():
            work = Work(folder, engine, bell, call.teller, log, call.rehash, call.keep_replaced)
            with _stopping(folder):
                _drive(folder, work, call, log, drive)
            return work.tally, folder.notices
    finally:
        engine.close()


def _drive(folder: OutputFolder, work: Work, call: Call, log: Log, drive: Callable[[Running], None]) -> None:
    begun, clock = now(), time.monotonic()
    log.note("begun", run=folder.run, version=folder.facts.version, workers=work.workers)
    stood = folder.was_finished and folder.tables_stand()
    folder.write_record(
        **call.told,
        **_told_by(call, finished=False),
        machine=machine(),
        workers=work.workers,
        started_at=begun,
        finished_at=None,
        finished=False,
    )

    def write(finished: bool) -> None:
        work.tally.unlisted = list(call.unlisted)
        work.tally.manifest = call.manifests.lines() if finished else []
        for line in work.tally.manifest:
            log.note("manifest", said=line)
        times = {"scoring_s": round(work.scoring_s, 3), "elapsed_s": round(time.monotonic() - clock, 3)}
        write_results(
            folder, work, call.make_pages, stood, {"finished": finished, "times": times} | _told_by(call, finished)
        )
        log.note("written", finished=finished, shots=len(folder.ledger), put_down=work.changed, **times)

    try:
        drive(Running(work, lambda: write(finished=False)))
    except BaseException:
        call.teller.end()
        # What ended the work is what the person should hear of, not that the disk was still full afterwards.
        with _undisturbed(), suppress(Exception):
            write(finished=False)
        raise
    call.teller.end()
    with _undisturbed():
        write(finished=True)


def _told_by(call: Call, finished: bool) -> dict[str, Any]:
    """For the record, as it is by now: the manifest of a watched folder may have come after the call began.

    Which photographs of a manifest are not there is known only at the end.
    """
    lost = call.manifests.lost() if finished else None
    told: dict[str, Any] = {"manifests_sha256": call.manifests.digests}
    return told if lost is None else told | {"not_found": lost}


@contextmanager
def _logged(folder: OutputFolder, call: Call) -> Iterator[Log]:
    log = Log(folder.path / LOG, call.aloud)
    try:
        yield log
    finally:
        log.close()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Ctrl-C waits: the tables are written whole or not at all, and it takes a moment."""
    with ExitStack() as held:
        for number in (signal.SIGINT, *_TOLD_TO_END):
            held.enter_context(_handling(number, signal.SIG_IGN))
        yield


@contextmanager
def _told_to_end() -> Iterator[None]:
    """Being told to end (a service is stopped, the machine goes down, the terminal is closed) is the same as Ctrl-C."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    with ExitStack() as held:
        for number in _TOLD_TO_END:
            # Whoever started us deaf to one (nohup) meant it.
            if signal.getsignal(number) is not signal.SIG_IGN:
                held.enter_context(_handling(number, stop))
        yield


@contextmanager
def _handling(number: signal.Signals, handler: Any) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(number, handler)
    try:
        yield
    finally:
        signal.signal(number, before)


@contextmanager
def _stopping(folder: OutputFolder) -> Iterator[None]:
    """Whatever ends the work before its time, as one of the two ways to stop."""
    try:
        yield
    except KeyboardInterrupt:
        raise StoppedByUser(f"Stopped. {_stands(folder)}") from None
    except Exception as error:
        raise StoppedHalfWay(f"{why_stopped(error)} {_stands(folder)}") from error


def _stands(folder: OutputFolder) -> str:
    return f"What is done stands whole, {count(len(folder.ledger), 'shot')} in all; the same call goes on from there."
