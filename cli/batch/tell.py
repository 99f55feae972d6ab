"""What a person is told while shots are scored: a bar on a terminal, plain lines elsewhere, little with --quiet."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING, Protocol

from cli.batch.told import ShotTold
from cli.words import count

if TYPE_CHECKING:
    from rich.progress import Progress

_LINE_EVERY_S = 30.0


class Teller(Protocol):
    """Who is told of the work. Everything is said through it, so that a bar and lines never write over each other."""

    def total(self, shots: int) -> None:
        """So many shots are there in all; said once they have been counted, perhaps from another thread."""

    def kept(self) -> None:
        """One of them stood already."""

    def shot(self, shot: ShotTold) -> None:
        """One of them is done."""

    def also(self, sentence: str) -> None:
        """Something that happened beside it, of which a person should know."""

    def end(self) -> None:
        """No more will be."""


class Pace:
    """How far the work is and how fast it goes."""

    def __init__(self) -> None:
        self.total: int | None = None
        self.kept = self.done = self.flags = self.failed = 0
        self._begun = time.monotonic()

    def shot(self, shot: ShotTold) -> None:
        """One more is done."""
        self.done += 1
        self.flags += shot.flags
        self.failed += bool(shot.error)

    @property
    def words(self) -> str:
        """Flags, failures, shots a second, and the time left where the total is known."""
        a_second = self.done / max(time.monotonic() - self._begun, 1e-3)
        said = f"{self.flags} flagged, {self.failed} failed"
        if not self.done:
            return said
        said += f", {a_second:.1f} shots a second" if a_second >= 0.95 else f", {1 / a_second:.1f} s a shot"
        if self.total is None:
            return said
        return f"{said}, {_time((self.total - self.kept - self.done) / a_second)} left"


def _time(seconds: float) -> str:
    minutes = round(max(seconds, 0) / 60)
    if minutes < 1:
        return "less than a minute"
    return f"about {minutes} min" if minutes < 120 else f"about {minutes / 60:.0f} h"


class Quiet:
    """Says only what went wrong."""

    def also(self, sentence: str) -> None:
        """Says nothing."""

    def total(self, shots: int) -> None:
        """Says nothing."""

    def kept(self) -> None:
        """Says nothing."""

    def shot(self, shot: ShotTold) -> None:
        """Says why a shot could not be scored."""
        if shot.error:
            print(shot.line, file=sys.stderr, flush=True)

    def end(self) -> None:
        """Says nothing."""


class Lines:
    """One plain line a shot, and now and then how far it is."""

    def __init__(self) -> None:
        self._pace = Pace()
        self._said = time.monotonic()

    def total(self, shots: int) -> None:
        """Says how many there are."""
        self._pace.total = shots
        print(f"{count(shots, 'photograph')} found.", flush=True)

    def kept(self) -> None:
        """Counts it."""
        self._pace.kept += 1

    def shot(self, shot: ShotTold) -> None:
        """Says what it gave."""
        self._pace.shot(shot)
        print(shot.line, file=sys.stderr if shot.error else sys.stdout, flush=True)
        if time.monotonic() - self._said > _LINE_EVERY_S:
            self._said = time.monotonic()
            of = "" if self._pace.total is None else f" of {self._pace.total}"
            print(f"{self._pace.kept + self._pace.done}{of} shots: {self._pace.words}.", flush=True)

    def also(self, sentence: str) -> None:
        """Says it."""
        print(sentence, flush=True)

    def end(self) -> None:
        """Says nothing."""


class Bar:
    """A progress bar with how far it is; lines above it for what a person should see."""

    def __init__(self) -> None:
        self._pace = Pace()
        self._progress: Progress | None = None

    def total(self, shots: int) -> None:
        """The bar has an end from now on."""
        self._pace.total = shots  # drawn with the next shot: another thread may be drawing

    def kept(self) -> None:
        """Moves the bar on."""
        self._pace.kept += 1
        self._draw()

    def shot(self, shot: ShotTold) -> None:
        """Moves the bar on."""
        self._pace.shot(shot)
        self._draw()
        if self._progress is not None and (shot.error or not shot.usable):
            self._progress.console.print(shot.line, markup=False, highlight=False)

    def also(self, sentence: str) -> None:
        """Says it above the bar."""
        if self._progress is not None:
            self._progress.console.print(sentence, markup=False, highlight=False)

    def end(self) -> None:
        """Takes the bar down."""
        if self._progress is not None:
            self._progress.stop()

    def _draw(self) -> None:
        if self._progress is None:
            from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

            self._progress = Progress(
                TextColumn("Scoring"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[words]}")
            )
            self._progress.add_task("", total=None, words="")
            self._progress.start()
        self._progress.update(
            self._progress.task_ids[0],
            total=self._pace.total,
            completed=self._pace.kept + self._pace.done,
            words=self._pace.words,
        )


def teller(quiet: bool) -> Teller:
    """The one that fits where the words go."""
    if quiet:
        return Quiet()
    return Bar() if sys.stdout.isatty() else Lines()
