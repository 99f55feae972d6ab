"""What a person is told while shots are scored: a bar on a terminal, plain lines elsewhere, little with --quiet."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from cli.words import count, printable
from vision.words import NONE_FLAGGED, WHO_DECIDES

if TYPE_CHECKING:
    from rich.progress import Progress


@dataclass(frozen=True)
class ShotTold:
    """What is worth saying of one shot when it is done."""

    shot: str
    flags: int
    usable: bool = True
    reasons: str = ""
    error: str = ""
    duplicate_of: str = ""
    blank: bool = False
    """A shot of the wiped tray: what is on it is counted apart."""
    left_out: int = 0
    """How many more the limit on flags left out."""

    @property
    def line(self) -> str:
        """One line for it."""
        shot = printable(self.shot)
        if self.error:
            return f"{shot}: {self.error}"
        if self.duplicate_of:
            return f"{shot}: the same picture as {printable(self.duplicate_of)}, not scored again"
        more = f", {self.left_out} more left out by --max-flags" if self.left_out else ""
        return f"{shot}: {self.flags} flagged{more}" + ("" if self.usable else f"; take again: {self.reasons}")


@dataclass
class Tally:
    """The shots of a call, counted as they are done."""

    told: list[ShotTold] = field(default_factory=list)
    kept: int = 0
    """How many of them stood already."""

    @property
    def flags(self) -> int:
        return sum(shot.flags for shot in self.told if not shot.blank)

    @property
    def flags_on_blanks(self) -> int:
        return sum(shot.flags for shot in self.told if shot.blank)

    @property
    def failed(self) -> list[ShotTold]:
        return [shot for shot in self.told if shot.error]

    @property
    def take_again(self) -> list[ShotTold]:
        return [shot for shot in self.told if not shot.usable]

    @property
    def scored(self) -> int:
        """Shots that gave a result, now or in an earlier call."""
        return sum(not shot.error and not shot.duplicate_of for shot in self.told)

    @property
    def for_ten(self) -> float | None:
        """Flags on ten shots of produce or of what came off it, on average: on a sample."""
        shots = sum(not shot.error and not shot.duplicate_of and not shot.blank for shot in self.told)
        return 10 * self.flags / shots if shots else None

    @property
    def left_out(self) -> list[ShotTold]:
        return [shot for shot in self.told if shot.left_out]

    @property
    def duplicates(self) -> int:
        return sum(bool(shot.duplicate_of) for shot in self.told)

    def counts(self) -> dict[str, int]:
        """The numbers, for the run record."""
        return {
            "shots": len(self.told),
            "scored": self.scored,
            "kept": self.kept,
            "flagged": self.flags,
            "flagged_on_blanks": self.flags_on_blanks,
            "failed": len(self.failed),
            "duplicates": self.duplicates,
            "take_again": len(self.take_again),
            "left_out": sum(shot.left_out for shot in self.told),
        }

    def closing_lines(self) -> list[str]:
        """What stands at the end of every call."""
        flagged = sum(shot.flags > 0 for shot in self.told if not shot.blank)
        lines = [f"{count(self.scored, 'shot')} scored, {count(self.flags, 'speck')} flagged on {flagged} of them."]
        if not self.flags:
            lines[0] = f"{count(self.scored, 'shot')} scored. {NONE_FLAGGED}"
        elif self.for_ten is not None:
            lines.append(f"On average {count(round(self.for_ten), 'flag')} for a sample of ten shots.")
        if self.left_out:
            more = sum(shot.left_out for shot in self.left_out)
            lines.append(
                f"Left out by --max-flags: {more} more, on {_names(self.left_out)}. No table and no picture shows these."
            )
        if self.flags_on_blanks:
            lines.append(
                f"Apart from these: {count(self.flags_on_blanks, 'speck')} on blank shots, before any produce."
            )
        if self.kept:
            lines.append(f"{self.kept} of the {count(len(self.told), 'file')} stood here from an earlier call.")
        if self.duplicates:
            lines.append(f"{count(self.duplicates, 'file')} not scored again: the same bytes as another.")
        if self.failed:
            lines.append(f"{count(len(self.failed), 'shot')} could not be scored: {_names(self.failed)}.")
        if self.take_again:
            lines.append(f"{count(len(self.take_again), 'shot')} should be taken again: {_names(self.take_again)}.")
        return [*lines, WHO_DECIDES]


def _names(shots: list[ShotTold], at_most: int = 10) -> str:
    names = [printable(shot.shot) for shot in shots[:at_most]]
    return ", ".join(names) + (f" and {len(shots) - at_most} more (see shots.csv)" if len(shots) > at_most else "")


class Teller(Protocol):
    """Who is told of the work. Everything is said through it, so that a bar and lines never write over each other."""

    def begin(self, total: int) -> None:
        """So many shots are to be scored."""

    def shot(self, shot: ShotTold) -> None:
        """One of them is done."""

    def end(self) -> None:
        """No more will be."""


class Quiet:
    """Says only what went wrong."""

    def begin(self, total: int) -> None:
        """Says nothing."""

    def shot(self, shot: ShotTold) -> None:
        """Says why a shot could not be scored."""
        if shot.error:
            print(shot.line, file=sys.stderr, flush=True)

    def end(self) -> None:
        """Says nothing."""


class Lines:
    """One plain line a shot."""

    def begin(self, total: int) -> None:
        """Says how many there are."""
        if total:
            print(f"{count(total, 'shot')} to score.", flush=True)

    def shot(self, shot: ShotTold) -> None:
        """Says what it gave."""
        print(shot.line, file=sys.stderr if shot.error else sys.stdout, flush=True)

    def end(self) -> None:
        """Says nothing."""


class Bar:
    """A progress bar with shots done, flags, failures and the time left; lines above it for what a person should see."""

    def __init__(self) -> None:
        self._flags = self._failed = 0
        self._progress: Progress | None = None

    def begin(self, total: int) -> None:
        """Draws the bar."""
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        self._progress = Progress(
            TextColumn("Scoring"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("{task.fields[flags]} flagged, {task.fields[failed]} failed,"),
            TimeRemainingColumn(),
            TextColumn("left"),
        )
        self._progress.add_task("", total=total, flags=0, failed=0)
        self._progress.start()

    def shot(self, shot: ShotTold) -> None:
        """Moves the bar on."""
        if self._progress is None:
            return
        self._flags += shot.flags
        self._failed += bool(shot.error)
        if shot.error or not shot.usable:
            self._progress.console.print(shot.line, markup=False, highlight=False)
        self._progress.update(self._progress.task_ids[0], advance=1, flags=self._flags, failed=self._failed)

    def end(self) -> None:
        """Takes the bar down."""
        if self._progress is not None:
            self._progress.stop()


def teller(quiet: bool) -> Teller:
    """The one that fits where the words go."""
    if quiet:
        return Quiet()
    return Bar() if sys.stdout.isatty() else Lines()
