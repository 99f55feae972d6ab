"""What runs in a Dask worker: for each run a station, whose child processes of our own (`Cores`) do the scoring.

So a decoder that crashes or hangs takes one child with it, and never the Dask worker. A station is opened before a photograph
comes, by a call that compares versions; without one, nothing is scored.
"""

from __future__ import annotations

import pickle
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from queue import Empty, SimpleQueue
from typing import Any

from cli.batch.engines.cores import Cores
from cli.batch.engines.engine import Done, EngineLost
from cli.batch.engines.likeness import Likeness, likeness_here
from cli.batch.sources import Photograph
from cli.exits import why_stopped

TOPIC = "speckwise"
"""Under which Dask's events tell what a worker has in hand."""
_OPEN_WAIT_S = 5.0
"""A photograph may come to a worker that has just joined before its station is opened."""
_TELL_LIMIT_S = 5.0
_LOOK_AFTER_S = 1.0
_IDLE_LIMIT_S = 600.0
"""A station without work for so long is taken for left behind, by a run that could not end it, and ends."""


@dataclass(frozen=True)
class Reply:
    """What a Dask worker answers for one photograph."""

    worker: str
    """Its address."""
    done: Done | None = None
    trouble: str = ""
    """Why nothing can be scored there."""

    @property
    def was_not_open(self) -> bool:
        """Whether the run has no station there."""
        return self.done is None and not self.trouble


class Carried:
    """A call that is made where it is unpickled.

    Dask's scheduler looks into functions and arguments that it hands on. Of these it sees `pickle.loads` and bytes, so it needs
    nothing of ours; and a worker that lacks us says so by an ordinary ImportError.
    """

    def __init__(self, function: Callable[..., Any], *args: Any) -> None:
        self._call = function, args

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[Any, ...]]:
        return self._call


def carried(function: Callable[..., Any], *args: Any) -> bytes:
    """For `pickle.loads` elsewhere, which makes the call and returns what it returns."""
    return pickle.dumps(Carried(function, *args), protocol=pickle.HIGHEST_PROTOCOL)


class _Station:
    """One run's work on one Dask worker."""

    def __init__(self, run: str, make_score: bytes) -> None:
        self._run, self._make_score = run, pickle.loads(make_score)
        self._waiting: dict[str, list[SimpleQueue[Done | None]]] = {}
        self._lock = threading.Lock()
        self._used = time.monotonic()
        self._ended = threading.Event()
        self._cores: Cores | None = None
        threading.Thread(target=self._end_when_left, daemon=True).start()

    def score(self, photograph: Photograph, children: int) -> Done | None:
        """Returns when it is done, by one of so many children; None where the station has been ended. Raises EngineLost."""
        answer: SimpleQueue[Done | None] = SimpleQueue()
        with self._lock:
            if self._ended.is_set():
                return None
            cores = self._cores = self._cores or Cores(self._make_score, self._is_done, children)
            # Dask may send one a second time while the first is still under way.
            is_first = photograph.sha256 not in self._waiting
            self._waiting.setdefault(photograph.sha256, []).append(answer)
        if is_first:
            cores.submit(photograph)
        while not self._ended.is_set():
            try:
                return answer.get(timeout=_LOOK_AFTER_S)
            except Empty:
                cores.look_after()
        return None

    def end(self) -> None:
        """Ends its children at once."""
        with self._lock:
            self._ended.set()
            waiting, self._waiting = self._waiting, {}
        if self._cores is not None:
            self._cores.close()
        for answer in (each for answers in waiting.values() for each in answers):
            answer.put(None)

    def _is_done(self, done: Done) -> None:
        self._used = time.monotonic()
        with self._lock:
            answers = self._waiting.pop(done.sha256, [])
        for answer in answers:
            answer.put(done)

    def _end_when_left(self) -> None:
        while not self._ended.wait(_IDLE_LIMIT_S / 10):
            if not self._waiting and time.monotonic() - self._used > _IDLE_LIMIT_S:
                end_run(self._run)


_stations: dict[str, _Station] = {}
_changed = threading.Condition()


def open_run(run: str, make_score: bytes, ours: Likeness) -> Likeness:
    """Makes the station of a run, unless this process has other versions than `ours`; returns what it has."""
    here = likeness_here()
    if not here.other_than(ours):
        with _changed:
            if run not in _stations:
                _stations[run] = _Station(run, make_score)
            _changed.notify_all()
    return here


def end_run(run: str) -> None:
    """Ends its station, where there is one."""
    with _changed:
        station = _stations.pop(run, None)
    if station is not None:
        station.end()


def score_there(run: str, photograph: Photograph) -> Reply:
    """Has a photograph scored by the run's station in this Dask worker."""
    from distributed import get_worker
    from distributed.utils import sync

    worker = get_worker()
    with _changed:
        _changed.wait_for(lambda: run in _stations, _OPEN_WAIT_S)
        station = _stations.get(run)
    if station is None:
        return Reply(worker.address)
    told = {"run": run, "sha256": photograph.sha256, "worker": worker.address}
    with suppress(Exception):
        # Waited for: a photograph that takes this process with it may do so at once.
        begun = {**told, "in_hand": True}
        sync(worker.loop, worker.scheduler.log_event, topic=TOPIC, msg=begun, callback_timeout=_TELL_LIMIT_S)
    try:
        done = station.score(photograph, worker.state.nthreads)
    except (EngineLost, OSError) as error:
        return Reply(worker.address, trouble=f"{worker.address}: {why_stopped(error)}")
    finally:
        worker.log_event(TOPIC, {**told, "in_hand": False})
    return Reply(worker.address, done and replace(done, worker=f"{worker.address}, {done.worker}"))
