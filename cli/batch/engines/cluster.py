"""The engine of a running Dask scheduler: photographs go to its workers as bytes inside tasks, so that it hands them on to
another worker where one is lost. What is done on a worker stands in `station.py`.

All that follows a photograph runs in one event loop, one thing at a time; `submit` and `look_after` never wait.
"""

from __future__ import annotations

import asyncio
import pickle
import time
import uuid
from collections.abc import Mapping, Set
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from cli.batch.engines.engine import LOST_TWICE, Bell, Done, EngineLost, MakeScore
from cli.batch.engines.likeness import Likeness, among, likeness_here, mixed_families, mixed_versions
from cli.batch.engines.link import Link
from cli.batch.engines.station import TOPIC, Reply, carried, end_run, open_run, score_there
from cli.batch.sources import Photograph
from cli.exits import why_stopped
from vision.errors import CallError

_WORKERS_WAIT_S = 10.0
_OPEN_LIMIT_S = 20.0
_LOOK_S = 1.0
_SILENT_S = 20.0
"""A scheduler that answers no question for so long is gone."""
_NO_WORKERS_S = 120.0
_SENDINGS = 60
"""A photograph that came back unscored so often will not be scored there."""
_ANY_SIZE = "1 PiB"


@dataclass
class _Trip:
    """A photograph on its way."""

    sha256: str
    order: bytes
    begun_on: list[str] = field(default_factory=list)
    """The workers that have begun it and not told an end, by address: all but the last were lost."""
    future: Any = None
    """Dask's, of the Reply."""
    is_given_up: bool = False

    @property
    def retried(self) -> str:
        """Why it had to be begun again; to be asked at the end."""
        return f"the Dask worker {self.begun_on[0]} was lost" if self.begun_on else ""


class Cluster:
    """Hands photographs to the workers of a Dask scheduler."""

    def __init__(self, address: str, make_score: MakeScore, bell: Bell) -> None:
        """Raises CallError where no work can be done there."""
        self.workers = 1
        self._address, self._bell = address, bell
        self._run = uuid.uuid4().hex
        self._opening_call = carried(open_run, self._run, pickle.dumps(make_score), likeness_here())
        self._numbers = iter(range(1, 1 << 62))
        self._trips: dict[str, _Trip] = {}
        self._opened: set[str] = set()
        self._asked: set[str] = set()
        self._to_tell: tuple[str, ...] | None = None
        """Of the processors; None as long as all are of one family."""
        self._lost = ""
        self._is_closed = False
        self._had_workers = self._seen = time.monotonic()
        self._link = Link(address)
        try:
            self._link.do(self._begin())
        except OSError as error:
            self.close()
            raise CallError(self._gone) from error
        except BaseException:
            self.close()
            raise
        self._link.start(self._watch())

    def start(self) -> None:
        """Nothing more: each worker starts its children when photographs reach it."""

    def submit(self, photograph: Photograph) -> None:
        """Hands one in."""
        order = carried(score_there, self._run, photograph)
        self._link.start(self._follow(_Trip(photograph.sha256, order)))

    def look_after(self) -> None:
        """Raises EngineLost where the scheduler is gone, or no work can be done on a worker."""
        if not self._lost and time.monotonic() - self._seen > _SILENT_S + 5 * _LOOK_S:
            self._lose(self._gone)
        if self._lost:
            raise EngineLost(self._lost)

    def close(self) -> None:
        """Cancels what is not done and ends what this run has on the workers."""
        self._is_closed = True
        self._link.close(self._end)

    @property
    def _gone(self) -> str:
        return f"The Dask scheduler at {self._address} does not answer any more."

    def _lose(self, sentence: str) -> None:
        self._lost = self._lost or sentence

    async def _begin(self) -> None:
        client = self._link.client
        client.subscribe_topic(TOPIC, self._hear)
        until = time.monotonic() + _WORKERS_WAIT_S
        while not (threads := await asyncio.wait_for(client.nthreads(), _SILENT_S)):
            if time.monotonic() > until:
                raise CallError(
                    f"The Dask scheduler at {self._address} has no workers: start some with `dask worker {self._address}`."
                )
            await asyncio.sleep(_LOOK_S / 2)
        self.workers = sum(threads.values())
        if sentence := await self._open(threads.keys()):
            raise CallError(sentence)
        if not self._opened:
            raise CallError(f"No worker of the Dask scheduler at {self._address} answers: start them again.")
        self._had_workers = self._seen = time.monotonic()

    async def _end(self) -> None:
        client = self._link.client
        if client.status == "running" and self._lost != self._gone:
            await client.cancel([trip.future for trip in self._trips.values() if trip.future is not None])
            await client.run(pickle.loads, carried(end_run, self._run), on_error="ignore")

    async def _watch(self) -> None:
        """Every second: is the scheduler there, how many threads has it, and who is new?"""
        client = self._link.client
        while not self._lost:
            await asyncio.sleep(_LOOK_S)
            try:
                threads = await asyncio.wait_for(client.nthreads(), _SILENT_S)
            except Exception:
                self._lose(self._gone)
                return
            if client.status != "running":
                self._lose(self._gone)
                return
            self._seen = time.monotonic()
            self.workers = max(sum(threads.values()), 1)
            if threads:
                self._had_workers = self._seen
            elif self._seen - self._had_workers > _NO_WORKERS_S:
                self._lose(f"The Dask scheduler at {self._address} has had no workers for two minutes.")
            self._opened &= threads.keys()
            if new := threads.keys() - self._opened - self._asked:
                self._link.start(self._open_new(new))

    async def _open_new(self, new: Set[str]) -> None:
        try:
            sentence = await self._open(new)
        except OSError:
            return  # where the scheduler is gone, _watch says so
        except Exception as error:
            sentence = why_stopped(error)
        if sentence:
            self._lose(sentence)

    async def _open(self, workers: Set[str]) -> str:
        """Has them take this run on; why some can't, '' where all can. Those that don't answer are asked again by _watch."""
        self._asked |= workers
        try:
            answers = await self._answers(workers)
        finally:
            self._asked -= workers
        likenesses = {worker: answer for worker, answer in answers.items() if isinstance(answer, Likeness)}
        if self._to_tell is None and (told := mixed_families(likeness_here(), likenesses)):
            self._to_tell = (told,)
        sentence = _without_us(answers) or mixed_versions(likeness_here(), likenesses)
        if not sentence:
            self._opened |= likenesses.keys()
        return sentence

    async def _answers(self, workers: Set[str]) -> Mapping[str, Likeness | Exception]:
        ask = self._link.client.run(pickle.loads, self._opening_call, workers=sorted(workers), on_error="return")
        try:
            answers: Mapping[str, Likeness | Exception] = await asyncio.wait_for(ask, _OPEN_LIMIT_S)
        except TimeoutError:
            # One that hangs keeps the answers of all others.
            if len(workers) == 1:
                return {}
            each = await asyncio.gather(*(self._answers({worker}) for worker in workers))
            return {worker: answer for answers in each for worker, answer in answers.items()}
        return answers

    async def _follow(self, trip: _Trip) -> None:
        """Until it is known what came of a photograph."""
        self._trips[trip.sha256] = trip
        try:
            done = await self._travel(trip)
        except EngineLost as error:
            self._lose(str(error))
            return
        except Exception as error:
            await asyncio.sleep(3 * _LOOK_S)  # _watch may find out more: on which worker, and what is to be done
            self._lose(why_stopped(error))
            return
        finally:
            del self._trips[trip.sha256]
        if not self._is_closed:
            self._bell(replace(done, retried=done.retried or trip.retried, tell=self._told_once()))

    def _told_once(self) -> tuple[str, ...]:
        tell, self._to_tell = self._to_tell, self._to_tell and ()
        return tell or ()

    async def _travel(self, trip: _Trip) -> Done:
        from distributed import CancelledError, KilledWorker

        for _ in range(_SENDINGS):
            trip.future = self._sent(trip.order)
            try:
                reply: Reply = await trip.future
            except KilledWorker:
                # Dask blames all that a lost worker held for it, also what it had not begun.
                if len(trip.begun_on) > 1:
                    return _given_up(trip)
                continue
            except CancelledError:
                if trip.is_given_up:
                    return _given_up(trip)
                raise EngineLost(self._gone) from None
            if reply.done is not None:
                return reply.done
            if reply.trouble:
                raise EngineLost(reply.trouble)
            self._opened.discard(reply.worker)
            await asyncio.sleep(_LOOK_S)
        raise EngineLost(
            "The Dask workers hand a photograph back unscored, or are lost, again and again: start them again."
        )

    def _sent(self, order: bytes) -> Any:
        import dask.config

        # Dask warns of large tasks; these have to hold a photograph.
        with dask.config.set({"distributed.admin.large-graph-warning-threshold": _ANY_SIZE}):
            key = f"speckwise-score-{self._run}{next(self._numbers)}"
            return self._link.client.submit(pickle.loads, order, key=key, pure=False)

    async def _hear(self, event: tuple[float, Mapping[str, Any]]) -> None:
        """Of a worker that begins a photograph, or is done with it. Two lost workers are enough: a third is not waited for."""
        _, told = event
        trip = self._trips.get(told["sha256"]) if told["run"] == self._run else None
        if trip is None:
            return
        if not told["in_hand"]:
            with suppress(ValueError):
                trip.begun_on.remove(told["worker"])
            return
        trip.begun_on.append(told["worker"])
        if len(trip.begun_on) > 2:
            trip.is_given_up = True
            await trip.future.cancel()


def _given_up(trip: _Trip) -> Done:
    sentence = "Not scored: " + LOST_TWICE.format(why="went down with its Dask worker")
    return Done(trip.sha256, None, sentence, "".join(trip.begun_on[1:2]), trip.retried)


def _without_us(answers: Mapping[str, Likeness | Exception]) -> str:
    """What keeps workers from taking a run on; '' where nothing does. One that has left in the meantime is no trouble."""
    lacking = [worker for worker, answer in answers.items() if isinstance(answer, ImportError | AttributeError)]
    if lacking:
        return f"Speckwise is not installed, or is another version, on {among(lacking)}: install the same version there as here."
    for worker, answer in answers.items():
        if isinstance(answer, Exception) and not isinstance(answer, OSError):
            return f"{worker}: {why_stopped(answer)}"
    return ""
