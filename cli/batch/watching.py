"""Scoring photographs as they arrive, until somebody ends it."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from cli.batch.addresses import is_address
from cli.batch.arrivals import Arrivals
from cli.batch.live import Live
from cli.batch.manifests import WatchedManifest
from cli.batch.run import Running
from cli.batch.sources import Source
from cli.batch.work import Work
from vision.errors import CallError

_TICK_S = 1.0
"""The page and the workers are seen to so often, however seldom the folder is looked at."""
_CALM_BEFORE_TABLES_S = 2.0
_CALM_BEFORE_LONG_TABLES = 5
"""Tables of a long day take long to write, and a photograph that arrives meanwhile waits: calm must have lasted so many times as long."""
_TABLES_SHARE_OF_TIME = 0.05
"""While shots keep coming they are written no more often than this allows."""
_LONGEST_WITHOUT_TABLES_S = 60.0


def watch(
    running: Running,
    arrivals: Arrivals,
    live: Live,
    manifest: WatchedManifest,
    is_over: Callable[[], bool] = lambda: False,
) -> None:
    """Scores what arrives, for ever, or until `is_over`. Raises what the work raises; KeyboardInterrupt ends it.

    What `manifest` says something else of is scored again.
    """
    work = running.work
    work.get_ready()
    on_their_way, tables = _OnTheirWay(work), _Tables(running)
    while not is_over():
        if arrivals.wait_s <= 0:
            arrivals.give_again(manifest.look())
            on_their_way.add(manifest.told(source) for source in arrivals.look(on_their_way.room))
        is_idle = not work.is_busy and not on_their_way.waiting
        live.look(busy=not is_idle or arrivals.half_there > 0)
        on_their_way.offer()
        work.step(min(arrivals.wait_s, _TICK_S))
        tables.write_if_due(is_idle and not work.is_busy)


class _OnTheirWay:
    """Photographs between the folder and the work: no more than keep the workers busy, so that the next to arrive is soon scored."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._offered: set[str] = set()
        self.waiting: dict[str, Source] = {}
        """By their shots' names: of one that is taken again and again, the last."""

    @property
    def room(self) -> int:
        """For how many more."""
        self._offered = {shot for shot in self._offered if self._work.has_in_hand(shot)}
        on_their_way = len(self._offered | self.waiting.keys())
        return max(self._work.workers + 1 - on_their_way, 0) if self._work.has_room else 0

    def add(self, sources: Iterable[Source]) -> None:
        """Offers them as soon as may be."""
        self.waiting |= {source.shot: source for source in sources}

    def offer(self) -> None:
        """One that has been taken again while the old one is scored waits for that."""
        for shot, source in list(self.waiting.items()):
            if not self._work.has_room:
                return
            if not self._work.has_in_hand(shot):
                del self.waiting[shot]
                self._offered.add(shot)
                self._work.offer(source)


class _Tables:
    """Tables and pages are written when there is something new and time for it."""

    def __init__(self, running: Running) -> None:
        self._running = running
        self._written: int | None = None
        """None: what stood when watching began may not be in the tables, where it was killed before."""
        self._seen = running.work.changed
        self._last_change = self._next = time.monotonic()
        self._calm_s = _CALM_BEFORE_TABLES_S

    def write_if_due(self, is_idle: bool) -> None:
        """Writes them, or lets it be."""
        work, now = self._running.work, time.monotonic()
        if work.changed != self._seen:
            self._seen, self._last_change = work.changed, now
        is_calm = is_idle and now - self._last_change >= self._calm_s
        is_late = now - self._next >= _LONGEST_WITHOUT_TABLES_S
        if self._seen == self._written or now < self._next or not (is_calm or is_late):
            return
        if is_calm:
            work.finish()
        self._running.write()
        self._written = self._seen = work.changed
        end = time.monotonic()
        self._next = end + (end - now) / _TABLES_SHARE_OF_TIME
        self._calm_s = max(_CALM_BEFORE_TABLES_S, _CALM_BEFORE_LONG_TABLES * (end - now))


def folder_to_watch(folder: Path, out: Path) -> None:
    """Raises CallError unless it is a folder that can be listed, and another than the one that is written."""
    if is_address(os.fspath(folder)) or re.match(r"[a-z][a-z0-9+.-]+:/[^/]", os.fspath(folder)):
        raise CallError(f"{folder} is an address: watch looks at a folder of this machine, or one mounted on it.")
    try:
        next(folder.iterdir(), None)
    except OSError as error:
        raise CallError(f"{folder} can't be watched: {error.strerror}.") from error
    if os.path.realpath(folder) == os.path.realpath(out):
        raise CallError(f"The photographs arrive in {folder} itself: give another folder for --out.")
