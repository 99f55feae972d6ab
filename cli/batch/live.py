"""What is told of shots as they arrive: a line each, and a page for a screen beside the panel."""

from __future__ import annotations

import sys
import time
from collections import deque
from datetime import datetime
from pathlib import Path

from cli.batch.standing import NOW
from cli.batch.told import ShotTold
from cli.pages.now import Counted, Kind, Shown, build_now
from cli.words import printable
from vision.errors import SpeckwiseError
from vision.files import write_text
from vision.words import NONE_FLAGGED

_BEAT_S = 4.0
"""So often the page is written also when there is no news: it shows that somebody still watches."""
_LATEST = 8


class Live:
    """A teller for a person who stands at the panel with wet hands."""

    def __init__(self, out: Path, quiet: bool) -> None:
        self._page, self._quiet = out / NOW, quiet
        self._latest: deque[Shown] = deque(maxlen=_LATEST)
        self._shots = self._flags = self._kept = 0
        self._busy = False
        self._written = float("-inf")

    def total(self, shots: int) -> None:
        """Nobody knows how many will come."""

    def kept(self) -> None:
        """One that stood already: not news."""
        self._kept += 1

    def shot(self, shot: ShotTold) -> None:
        """A line, and the page."""
        shown = shown_of(shot)
        self._latest.appendleft(shown)
        self._shots += 1
        self._flags += 0 if shot.blank else shot.flags
        if shot.error or not self._quiet:
            print(line_of(shown), file=sys.stderr if shot.error else sys.stdout, flush=True)
        if shot.said:
            self.say(f"{shown.name}: {printable(shot.said)}")
        self._write()

    def also(self, sentence: str) -> None:
        """A line."""
        if not self._quiet:
            print(sentence, flush=True)

    def say(self, sentence: str) -> None:
        """Something about the folder itself."""
        print(f"speckwise: {sentence}", file=sys.stderr, flush=True)

    def look(self, busy: bool) -> None:
        """The folder has been looked at."""
        if busy != self._busy or time.monotonic() - self._written >= _BEAT_S:
            self._busy = busy
            self._write()

    def end(self) -> None:
        """The page says that nobody looks any more."""
        self._write(ended=True)

    def _write(self, ended: bool = False) -> None:
        self._written = time.monotonic()
        counted = Counted(self._shots, self._flags, self._kept)
        page = build_now(tuple(self._latest), counted, self._busy, ended, datetime.now().astimezone())
        try:
            write_text(self._page, page)
        except SpeckwiseError:
            return  # a screen that can't be written to must not end the scoring; a full disk is said by what needs it


def line_of(shown: Shown) -> str:
    """The same in one line."""
    said = (shown.change, shown.flags, shown.limits)
    return f"{shown.at}  {shown.name}: {shown.verdict}. {' '.join(filter(None, said))}"


def shown_of(shot: ShotTold) -> Shown:
    """A shot in large letters: keep it or take it again, the one thing to change, flags, what it could show."""
    at = datetime.now().astimezone().strftime("%H:%M:%S")
    name = printable(shot.shot)
    if shot.error:
        return Shown(at, name, Kind.UNREAD, "Not scored", shot.error)
    if shot.duplicate_of:
        same = f"It is the same photograph, byte for byte, as {printable(shot.duplicate_of)}."
        return Shown(at, name, Kind.TWIN, "Already here", same)
    if shot.usable:
        return Shown(at, name, Kind.KEEP, "Keep this shot", shot.instruction, _flags(shot), _limits(shot))
    return Shown(at, name, Kind.AGAIN, "Take it again", shot.instruction or shot.reasons, _flags(shot))


def _flags(shot: ShotTold) -> str:
    if not shot.flags:
        return NONE_FLAGGED
    where = " on the blank panel, before any produce" if shot.blank else ""
    left_out = f" {shot.left_out} more left out by --max-flags." if shot.left_out else ""
    return f"{shot.flags} flagged{where}.{left_out}"


def _limits(shot: ShotTold) -> str:
    parts = []
    if shot.limit_round_mm:
        parts.append(f"round specks from {shot.limit_round_mm} mm")
    if shot.limit_linear_mm:
        parts.append(f"thin ones from {shot.limit_linear_mm} mm wide")
    said = f"It could have shown {' and '.join(parts)}." if parts else "How small a speck it could show is not known."
    return f"{said} {shot.unsearched_pct}% of it could not be searched." if _is_much(shot.unsearched_pct) else said


def _is_much(percent: str) -> bool:
    """Whether a share is more than nothing, as far as the table tells."""
    return bool(percent) and float(percent) > 0
