"""The shots of a call on their way: read, decided on, scored, put down. Decides in the order in which they are found, so that
what comes of it is the same however many work at it, and waits for whatever is done first.
"""

from __future__ import annotations

import hashlib
import os
import queue
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from cli.batch.belonging import Belongs, belonging_of
from cli.batch.engines.engine import Done, Engine
from cli.batch.ledger import Entry, Stood
from cli.batch.log import Log
from cli.batch.output import OutputFolder
from cli.batch.reading import Read, Reading
from cli.batch.sources import FileFacts, Photograph, Source
from cli.batch.tell import Teller
from cli.batch.told import Tally
from cli.words import printable
from vision.table import ShotFacts, shot_row

_AHEAD_BYTES = 256 << 20
"""Photographs read before a worker asks for them are held in memory: no more than this, or one."""
_TICK_S = 0.5


@dataclass
class _Scoring:
    """A photograph in the engine, and the sources with the same bytes that wait for it."""

    read: Read
    twins: list[Read] = field(default_factory=list)


class Work:
    """One call's work in an output folder. Used by one thread."""

    def __init__(
        self,
        folder: OutputFolder,
        engine: Engine,
        bell: queue.SimpleQueue[Done | None],
        teller: Teller,
        log: Log,
        rehash: bool = False,
        keep_replaced: bool = False,
    ) -> None:
        """`bell` is what the engine tells of photographs that are done; the last two as in run.Call."""
        self.tally = Tally()
        self.changed = 0
        """How many entries this call has put down."""
        self.scoring_s = 0.0
        """What scoring has taken, all workers together."""
        self._folder, self._ledger = folder, folder.ledger
        self._engine, self._bell = engine, bell
        self._teller, self._log = teller, log
        self._rehash, self._keep_replaced = rehash, keep_replaced
        self._reading: deque[Reading] = deque()
        self._scoring: dict[str, _Scoring] = {}
        self._twins: dict[str, Source] = {}
        self._failed: dict[str, tuple[str, str]] = {}

    @property
    def workers(self) -> int:
        """How many photographs are scored at once."""
        return self._engine.workers

    @property
    def has_room(self) -> bool:
        """Whether another source may be offered. Enough are on their way to keep every worker busy, and not more."""
        in_hand = len(self._scoring) + len(self._reading)
        ahead = sum(max(each.facts.size_bytes, 0) for each in self._reading)
        return in_hand < 2 * self.workers + 2 and (ahead < _AHEAD_BYTES or not self._reading)

    @property
    def is_busy(self) -> bool:
        """Whether anything is on its way."""
        return bool(self._reading or self._scoring)

    def get_ready(self) -> None:
        """Starts what scores before there is anything to score."""
        self._engine.start()

    def has_in_hand(self, shot: str) -> bool:
        """Whether a photograph of that name is on its way."""
        return any(each.source.shot == shot for each in self._reading) or any(
            each.read.source.shot == shot or any(twin.source.shot == shot for twin in each.twins)
            for each in self._scoring.values()
        )

    def offer(self, source: Source) -> None:
        """Takes one more source on. What stands already, of a file that has not been touched, is not read again."""
        try:
            facts = source.place.facts()
        except Exception:  # whatever it is, the reading says it in a sentence
            facts = FileFacts(-1, "")
        stood = None if self._rehash else self._ledger.of_file(source.shot, source.place.name)
        if stood and facts.tells and stood.facts == facts and self._still_good(stood, source):
            self._keep(stood, source)
        else:
            self._reading.append(Reading(source, facts, lambda: self._bell.put(None)))

    def step(self, wait_s: float = _TICK_S) -> None:
        """Goes on with whatever is done, or waits for it, at most so long. Raises EngineLost, DiskFull, OutputNotWritable."""
        self._take_read()
        try:
            done = self._bell.get(timeout=wait_s) if wait_s else self._bell.get_nowait()
        except queue.Empty:
            done = None
        if done is not None:
            self._take_done(done)
        self._take_read()
        self._engine.look_after()

    def finish(self) -> None:
        """Until nothing is on its way, and every shot that was said to be another's twin still is."""
        while True:
            while self.is_busy:
                self.step()
            left_alone = [source for source in self._twins.values() if not self._is_still_twin(source)]
            if not left_alone:
                return
            for source in left_alone:
                del self._twins[source.shot]
                self._ledger.forget(source.shot, source.place.name)
                self.offer(source)

    def _is_still_twin(self, source: Source) -> bool:
        stood = self._ledger.of_file(source.shot, source.place.name)
        if stood is None or not stood.duplicate_of or stood.told.error:
            return True
        return self._ledger.of_bytes(stood.duplicate_of, stood.sha256) is not None

    def _take_read(self) -> None:
        while self._reading and (read := self._reading[0].result) is not None:
            self._reading.popleft()
            self._decide(read)

    def _decide(self, read: Read) -> None:
        shot, sha256 = read.source.shot, read.sha256
        if read.error:
            self._put_down(self._failed_entry(read, read.error))
            return
        if sha256 in self._scoring:
            self._scoring[sha256].twins.append(replace(read, data=b""))
            return
        failed = self._failed.get(sha256)
        if failed and failed[0] != shot:
            self._put_twin(read, *failed)
            return
        first = self._ledger.first_with(sha256)
        stood = self._ledger.of_bytes(shot, sha256)
        if stood and stood.duplicate_of in {"", first and first.shot} and self._still_good(stood, read.source):
            self._ledger.touch(shot, sha256, read.source.place.name, read.facts)
            self._keep(stood, read.source)
        elif first and first.shot != shot and self._still_good(first):
            self._put_twin(read, first.shot)
        else:
            self._scoring[sha256] = _Scoring(replace(read, data=b""))
            self._engine.submit(Photograph(shot, sha256, read.data, read.source.claims))

    def _take_done(self, done: Done) -> None:
        scoring = self._scoring.pop(done.sha256)
        shot = scoring.read.source.shot
        if done.retried:
            self._log.note("scored again", shot=shot, why=done.retried, by=done.worker)
        for sentence in done.tell:
            self._folder.notices.append(sentence)
        self._put_down(self._entry(scoring.read, done), done.worker)
        error = done.outcome.error if done.outcome else done.why
        if error:
            self._failed[done.sha256] = shot, error
        for twin in scoring.twins:
            self._put_twin(twin, shot, error)

    def _still_good(self, stood: Stood, source: Source | None = None) -> bool:
        """Whether an entry stands as it is: of `source`, where it is given, also with what is said of it now."""
        if not stood.sha256 or stood.told.error:
            return False
        if source is not None and stood.belongs != source.claims.digest:
            return False
        if stood.duplicate_of and self._ledger.of_bytes(stood.duplicate_of, stood.sha256) is None:
            return False
        return all(os.path.isfile(os.path.join(self._folder.path, name)) for name in stood.files)

    def _keep(self, stood: Stood, source: Source) -> None:
        self.tally.add(stood.told, kept=True)
        self._teller.kept()
        if stood.duplicate_of:
            self._twins[source.shot] = source

    def _put_twin(self, read: Read, first: str, error: str = "") -> None:
        # Its slip is the same, for it is the same picture; what else is said may be something else.
        scored = self._ledger.get(first, read.sha256)
        belongs = self._belongs(read, scored.code if scored else None)
        facts = ShotFacts(belongs.belonging, read.sha256, None, error=error, duplicate_of=first)
        self._twins[read.source.shot] = read.source
        self._put_down(self._plain_entry(read, shot_row(facts), belongs, error, first))

    def _put_down(self, entry: Entry, worker: str = "") -> None:
        if self._keep_replaced:
            self._set_aside(entry)
        told = self._ledger.add(entry)
        self.changed += 1
        self.scoring_s += entry.seconds
        self.tally.add(told)
        self._teller.shot(told)
        self._log.note(
            "shot",
            shot=entry.shot,
            flags=told.flags,
            seconds=entry.seconds,
            by=worker,
            error=entry.error,
            duplicate_of=entry.duplicate_of,
            said=told.said,
        )

    def _set_aside(self, entry: Entry) -> None:
        """Has what its file held before stand on by itself, unless that was to be taken again."""
        stood = self._ledger.of_file(entry.shot, entry.path)
        told = stood and stood.told
        is_good = told and told.usable and not told.error and not told.duplicate_of
        if stood and is_good and stood.sha256 != entry.sha256:
            self._ledger.set_aside(stood.shot, stood.sha256)
            self._teller.also(f"An earlier photograph called {printable(stood.shot)} stays as well.")
            self._log.note("set aside", shot=stood.shot, sha256=stood.sha256)

    def _entry(self, read: Read, done: Done) -> Entry:
        outcome = done.outcome
        if outcome is None:
            return self._failed_entry(read, done.why)
        files = self._folder.put_pictures(outcome.files)
        return replace(
            self._plain_entry(read, outcome.shot_row, self._belongs(read), outcome.error),
            candidates=outcome.candidate_rows,
            files=sorted(files),
            digests={name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)},
            seconds=round(float(outcome.seconds), 3),
            left_out=outcome.left_out,
            instruction=outcome.instruction,
            facts=dict(outcome.facts),
            said=list(outcome.said),
            code=dict(outcome.code),
        )

    def _failed_entry(self, read: Read, why: str) -> Entry:
        belongs = self._belongs(read)
        return self._plain_entry(
            read, shot_row(ShotFacts(belongs.belonging, read.sha256, None, error=why)), belongs, why
        )

    def _belongs(self, read: Read, code: Mapping[str, str] | None = None) -> Belongs:
        return belonging_of(read.source.shot, self._folder.run, read.source.claims, code)

    def _plain_entry(self, read: Read, row: list[str], belongs: Belongs, error: str, duplicate_of: str = "") -> Entry:
        return Entry(
            run=self._folder.run,
            shot=read.source.shot,
            sha256=read.sha256,
            size_bytes=read.facts.size_bytes,
            path=read.source.place.name,
            row=row,
            candidates=[],
            files=[],
            seconds=0.0,
            error=error,
            duplicate_of=duplicate_of,
            changed=read.facts.changed,
            facts=dict(belongs.facts),
            said=list(belongs.said),
            belongs=read.source.claims.digest,
        )
