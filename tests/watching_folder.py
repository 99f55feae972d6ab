"""Somebody who watches a folder and scores by a stand-in, in this process with a script of what happens meanwhile, or in one of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cli.batch.arrivals import Arrivals
from cli.batch.engines.engine import Bell, Done, MakeScore, Score
from cli.batch.engines.here import Here
from cli.batch.live import Live
from cli.batch.manifests import WatchedManifest
from cli.batch.run import work_in
from cli.batch.sources import Photograph, Source
from cli.batch.told import ShotTold
from cli.batch.watching import watch
from faked import FACTS, call, no_pages

ROOT = Path(__file__).parent.parent


def data(flags: int, salt: str = "") -> bytes:
    """A file for the stand-in: so many flags, and no picture of any kind, so that it is whole as it is."""
    return b"x" * flags + f" {salt} ".encode() + b"." * 80


BROKEN = b"bad" + b"." * 80


class ByHand:
    """An engine whose work is done when the test says so."""

    workers = 1

    def __init__(self, make_score: MakeScore, bell: Bell) -> None:
        self._score, self._bell = make_score(), bell
        self.in_hand: list[Photograph] = []

    def start(self) -> None:
        """Nothing is to be got ready."""

    def submit(self, photograph: Photograph) -> None:
        """Keeps it."""
        self.in_hand.append(photograph)

    def end_one(self) -> None:
        """The first in hand is done."""
        photograph = self.in_hand.pop(0)
        self._bell(Done(photograph.sha256, self._score(photograph)))

    def look_after(self) -> None:
        """Nothing hangs."""

    def close(self) -> None:
        """Nothing is left."""


class Noted(Live):
    """Keeps the names of the shots that have been told."""

    def __init__(self, out: Path) -> None:
        super().__init__(out, quiet=False)
        self.names: list[str] = []

    def shot(self, shot: ShotTold) -> None:
        super().shot(shot)
        self.names.append(shot.shot)


class NotedArrivals(Arrivals):
    """Keeps the names of the photographs that have been given."""

    given: list[str]

    def look(self, *room: int) -> list[Source]:
        found = super().look(*room)
        self.given = [*getattr(self, "given", []), *(source.shot for source in found)]
        return found


Script = Callable[["Watching"], Iterator[None]]


@dataclass
class Watching:
    """Someone who watches `arriving`; a script says what happens meanwhile and ends it with its own end."""

    arriving: Path
    out: Path
    score: Score
    make_engine: Any = Here
    scored: list[str] = field(default_factory=list)
    engine: ByHand | None = None
    told: list[str] = field(default_factory=list)
    arrivals: NotedArrivals | None = None
    pages: int = 0

    def run(self, script: Script) -> None:
        """Until the script is over."""
        live = Noted(self.out)
        self.told = live.names
        steps = script(self)

        def is_over() -> bool:
            return next(steps, steps) is steps

        def make_pages(folder: Any) -> list[tuple[str, str]]:
            self.pages += 1
            return no_pages(folder)

        manifest = WatchedManifest(self.arriving, live.say)
        said: dict[str, Any] = {"make_engine": self._make, "make_pages": make_pages, "teller": live}
        doing = call(self.score, keep_replaced=True, manifests=manifest, **said)
        self.arrivals = arrivals = NotedArrivals(self.arriving, self.out, live.say)
        work_in(self.out, FACTS, doing, lambda running: watch(running, arrivals, live, manifest, is_over))

    def _make(self, make_score: MakeScore, bell: Bell) -> Any:
        engine = self.make_engine(make_score, bell)
        self.engine = engine if isinstance(engine, ByHand) else None
        return engine

    def put(self, name: str, content: bytes) -> None:
        """A photograph arrives."""
        (self.arriving / name).parent.mkdir(exist_ok=True)
        (self.arriving / name).write_bytes(content)

    def until(self, happened: Callable[[], bool], within_s: float = 30.0) -> Iterator[None]:
        """Waits for it."""
        end = time.monotonic() + within_s
        while not happened():
            assert time.monotonic() < end, "it did not happen"
            yield

    def until_given(self, name: str, times: int) -> Iterator[None]:
        """Waits until the photograph of that name was found whole so many times."""
        yield from self.until(lambda: self.arrivals is not None and self.arrivals.given.count(name) == times)

    def until_told(self, *names: str) -> Iterator[None]:
        """Waits until all of them have been told, in whatever order."""
        yield from self.until(lambda: set(names) <= set(self.told))

    def for_some_time(self, seconds: float = 0.4) -> Iterator[None]:
        """Lets it be."""
        end = time.monotonic() + seconds
        yield from self.until(lambda: time.monotonic() > end)

    def until_calm(self) -> Iterator[None]:
        """Waits until tables and pages have been written once more."""
        before = self.pages
        yield from self.until(lambda: self.pages > before)


# A shell starts what it runs in the background deaf to Ctrl-C, and children inherit that; a person's terminal does not.
RUNNER = """
import signal
import sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from pathlib import Path
from cli.batch.arrivals import Arrivals
from cli.batch.live import Live
from cli.batch.manifests import WatchedManifest
from cli.batch.run import work_in
from cli.batch.watching import watch
from cli.entry import guarded
from faked import FACTS, call, scorer
folder, out, seconds = Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])
live = Live(out, False)
guard = lambda: work_in(out, FACTS, call(scorer(seconds=seconds), teller=live),
    lambda running: watch(running, Arrivals(folder, out, live.say), live, WatchedManifest(folder, live.say))) and 0
sys.exit(guarded(guard))
"""


def start(folder: Path, out: Path, seconds: float = 0.0) -> subprocess.Popen[str]:
    """Somebody who watches as a service does: without a terminal, and without being told to write at once."""
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    return subprocess.Popen(
        [sys.executable, "-c", RUNNER, str(folder), str(out), str(seconds)],
        env=environment | {"PYTHONPATH": paths},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def next_line(process: subprocess.Popen[str], within_s: float = 30.0) -> str:
    """Its next line; one that does not come in time ends the process, and is empty."""
    assert process.stdout is not None
    ending = threading.Timer(within_s, process.kill)
    ending.start()
    line = process.stdout.readline()
    ending.cancel()
    return line
