"""The engine of this machine's processors: worker processes of our own, each with its own pipe and its own watcher.

A process that dies, or hangs, holds nothing that another one needs, so it costs its own photograph one more try in a fresh process
and nobody else anything. (The standard library's pool loses all that is pending when one process dies.) Each is a fresh interpreter
and never a fork: a fork after OpenCV has used its threads hangs for ever.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
import time
from collections import deque
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from cli.batch.engines.engine import LOST_TWICE, SHOT_LIMIT_S, Bell, Done, EngineLost, MakeScore, processors
from cli.batch.engines.pipe import Closed, receive, send
from cli.batch.engines.worker import MEMORY, ONE_THREAD, READY, START, TAKEN
from cli.batch.sources import Photograph

_START_LIMIT_S = 120.0
_STARTS_IN_VAIN = 3
"""So many workers in a row that end before they are ready: no work can be done."""


@dataclass
class _Task:
    photograph: Photograph
    lost: list[str] = field(default_factory=list)
    """Why each try so far came to nothing."""


class Cores:
    """So many worker processes, started as they are needed."""

    def __init__(
        self, make_score: MakeScore, bell: Bell, workers: int | None = None, limit_s: float = SHOT_LIMIT_S
    ) -> None:
        self.workers = workers or processors()
        self._bell, self._limit_s = bell, limit_s
        self.make_score = pickle.dumps(make_score)
        self._waiting: deque[_Task] = deque()
        self._all: list[_Worker] = []
        self._free: list[_Worker] = []
        self._in_vain: list[str] = []
        self._numbers = iter(range(1, 1 << 31))
        self._closed = False
        self._lock = threading.RLock()

    def start(self) -> None:
        """Starts all workers."""
        with self._lock:
            while len(self._all) < self.workers and len(self._in_vain) < _STARTS_IN_VAIN:
                self._start_one()

    def submit(self, photograph: Photograph) -> None:
        """Hands one in."""
        with self._lock:
            self._waiting.append(_Task(photograph))
            self._hand_out()

    def look_after(self) -> None:
        """Ends workers whose photograph takes too long, or that never got ready. Raises EngineLost."""
        with self._lock:
            for worker in self._all:
                worker.end_if_over(self._limit_s)
            if len(self._in_vain) >= _STARTS_IN_VAIN and not self._all:
                raise EngineLost(f"No worker process could be started: {self._in_vain[-1]}")

    def close(self) -> None:
        """Ends all workers at once."""
        with self._lock:
            self._closed = True
            workers, self._all = list(self._all), []
        for worker in workers:
            worker.end()

    def _hand_out(self) -> None:
        while self._waiting and not self._closed:
            if self._free:
                self._free.pop().take(self._waiting.popleft())
            elif len(self._all) < self.workers and len(self._in_vain) < _STARTS_IN_VAIN:
                starting = sum(worker.task is None for worker in self._all)
                if starting >= len(self._waiting):
                    return
                self._start_one()
            else:
                return

    def _start_one(self) -> None:
        try:
            self._all.append(_Worker(self, next(self._numbers)))
        except OSError as error:
            self._in_vain.append(f"The system starts no process ({error.strerror}).")

    def is_ready(self, worker: _Worker) -> None:
        """Told by a worker's watcher: it can take a photograph."""
        with self._lock:
            self._in_vain.clear()
            self._free.append(worker)
            self._hand_out()

    def has_done(self, worker: _Worker, task: _Task, reply: tuple[Any, str]) -> None:
        """Told by a worker's watcher."""
        outcome, why = reply
        retried = task.lost[0] if task.lost else ""
        self._bell(Done(task.photograph.sha256, outcome, why, worker.name, retried))
        with self._lock:
            self._free.append(worker)
            self._hand_out()

    def is_gone(self, worker: _Worker, task: _Task | None, why: str, had_it: bool) -> None:
        """Told by a worker's watcher: the process has ended; `task` is what it was given, and `had_it` whether that had reached it."""
        with self._lock:
            if self._closed:
                return
            self._all.remove(worker)
            if worker in self._free:
                self._free.remove(worker)
            if not worker.was_ready:
                self._in_vain.append(why)
            given_up = None
            if task is not None:
                # A worker that was gone before says nothing of the photograph.
                task.lost += [why] * had_it
                if len(task.lost) > 1:
                    given_up = task
                else:
                    self._waiting.appendleft(task)
            self._hand_out()
        if given_up is not None:
            sentence = "Not scored: " + LOST_TWICE.format(why=why)
            self._bell(Done(given_up.photograph.sha256, None, sentence, worker.name, given_up.lost[0]))


class _Worker:
    """A process, and the thread that talks with it."""

    def __init__(self, cores: Cores, number: int) -> None:
        self.name = f"worker {number}"
        self.task: _Task | None = None
        self.was_ready = False
        self._cores = cores
        self._tasks: queue.SimpleQueue[_Task | None] = queue.SimpleQueue()
        """None: no more will come."""
        self._since = time.monotonic()
        self._over = self._sent = False
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", START], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=_environment()
        )
        threading.Thread(target=self._watch, daemon=True).start()

    def take(self, task: _Task) -> None:
        """Only while it is free."""
        self.task, self._since = task, time.monotonic()
        self._tasks.put(task)

    def end_if_over(self, limit_s: float) -> None:
        """Ends it where what it has in hand takes too long."""
        taken = time.monotonic() - self._since
        if (self.task is not None and taken > limit_s) or (not self.was_ready and taken > _START_LIMIT_S):
            self._over = True
            self.end()

    def end(self) -> None:
        """At once; its watcher finds the pipe closed, or is woken where it waits for work."""
        self._process.kill()
        self._tasks.put(None)

    def _watch(self) -> None:
        why = ""
        try:
            why = self._talk()
        except Closed:
            pass
        except Exception as error:  # whatever it answered: nobody may wait for this photograph for ever
            why = f"answered what can't be read ({type(error).__name__})"
        self._process.kill()
        self._process.wait()
        self._cores.is_gone(self, self.task, why or self._how_it_ended(), self._sent or self._over)

    def _talk(self) -> str:
        """Until the process is gone (Closed), or says why it can't work."""
        orders, answers = self._process.stdin, self._process.stdout
        assert orders is not None
        assert answers is not None
        with suppress(OSError), orders, answers:
            send(orders, self._cores.make_score)
            first = receive(answers)
            if first != READY:
                return str(first)
            self.was_ready = True
            self._cores.is_ready(self)
            while True:
                task = self._tasks.get()
                if task is None:
                    return ""
                self._sent = False
                send(orders, task.photograph)
                # A pipe takes what nobody reads any more: only an answer shows that the photograph has come.
                self._sent = receive(answers) == TAKEN
                reply = receive(answers)
                self.task = None
                self._cores.has_done(self, task, reply)
        return ""

    def _how_it_ended(self) -> str:
        if self._over:
            return "did not come to an end"
        code = self._process.returncode
        return f"was ended by the system (signal {-code})" if code < 0 else f"ended by itself (code {code})"


def _environment() -> dict[str, str]:
    """Ours, with one thread, and with modules from where ours come from."""
    return {**MEMORY, **os.environ, **ONE_THREAD, "PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
