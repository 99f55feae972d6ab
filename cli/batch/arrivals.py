"""Photographs as they arrive in a folder: each is given once it is whole.

The folder is looked at again and again, and no events of the system are waited for: these do not cross network shares. A look
lists names; of the files behind them it asks after those that are not whole yet, and after the others in turn.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from cli.batch.folder import pictures_in, shot_text
from cli.batch.ledger import Ledger
from cli.batch.names import Changed, Names
from cli.batch.sources import FileFacts, LocalFile, Source
from cli.batch.standing import LEDGER, look
from cli.words import printable
from vision.complete import Complete, completeness
from vision.errors import SpeckwiseError

CALM_S = 0.5
"""A file that is being written changes more often than this."""
UNSURE_S = 3.0
"""So long a file must stand unchanged where its structure does not tell for sure that it is whole."""
PATIENCE_S = 20.0
"""So long a file that breaks off, or can't be read, may stand unchanged before it is taken for one that will stay so."""
LOOK_EVERY_S = 0.3
SHARE_OF_TIME = 0.1
"""Listing names takes no more of the time than this, however large the folder; on a very slow disk it is looked every 5 s all the same."""
LOOK_AT_LEAST_EVERY_S = 5.0
_STANDS_S = {Complete.YES: CALM_S, Complete.UNSURE: UNSURE_S, Complete.NO: PATIENCE_S}
_OLD_ONES_S = 0.01
"""Of each look, for asking after files that have been given already."""
_READING_S = 0.2
"""Of each look, for reading files, or one file: what is whole by then is handed on before the next is read."""
_AGAIN = 0.1
"""A file that is not whole is read again after this share of the time that it has stood so."""
_ANY = 1 << 30


class _Marks(NamedTuple):
    """What the system tells of a file without opening it. A program may set back the time of writing, but not that of the last change."""

    size_bytes: int
    written_ns: int
    changed_ns: int


@dataclass
class _Seen:
    """What is known of a file."""

    marks: _Marks
    stood_here: bool
    """It was there when watching began, or when the folder came back: nobody stands at the panel and waits for it."""
    since: float
    """When anything of it was last seen to change."""
    due: float
    """When it is to be read next."""
    was_read: bool = False
    digest: bytes | None = None
    """Of its bytes as they were read last; None where they could not be."""
    is_given: bool = False
    """It has been given as it is now."""
    given_marks: _Marks | None = None
    """With what marks it was given last, as it is now or before."""


class Arrived:
    """The place of a photograph that has arrived: its facts and bytes are those that were found whole, whatever comes after."""

    def __init__(self, file: LocalFile, facts: FileFacts, data: bytes = b"") -> None:
        self._file, self._facts, self._data = file, facts, data

    @property
    def name(self) -> str:
        return self._file.name

    def facts(self) -> FileFacts:
        """Never raises."""
        return self._facts

    def read(self) -> bytes:
        """Raises UnreadableShot. Bytes that are held are let go."""
        data, self._data = self._data, b""
        return data or self._file.read()


class Arrivals:
    """The photographs of one folder and all below it, each given when it is whole, and again when it has been replaced."""

    def __init__(
        self, folder: Path, out: Path, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._folder, self._out, self._say, self._clock = folder, out, say, clock
        self._names = Names(folder, out)
        self._there: dict[str, LocalFile] = {}
        self._seen: dict[str, _Seen] = {}
        self._waiting: set[str] = set()
        """Those that were not whole when they were asked after last."""
        self._old: list[str] = []
        self._is_first = True
        self._is_away = False
        self._complaints: set[str] = set()
        self._listing_s = self._next = 0.0

    @property
    def wait_s(self) -> float:
        """Until the next look is due."""
        return max(self._next - self._clock(), 0.0)

    @property
    def half_there(self) -> int:
        """How many photographs have been seen and not been given."""
        return sum(not self._seen[name].is_given for name in self._waiting)

    def look(self, room: int = _ANY) -> list[Source]:
        """Those that have become whole since the last look, no more than `room`: first what came since watching began.

        What the run's ledger has already takes no room, since it need not be read.
        """
        if not self._list():
            self._next = self._clock() + LOOK_EVERY_S
            return []
        for name in [name for name in self._there if name in self._waiting or name not in self._seen]:
            self._ask_after(name)
        self._ask_after_old()
        given = self._standing() if self._is_first else []
        self._is_first = False
        whole, has_more = self._whole(room)
        now = self._clock()
        dues = (self._seen[name].due - now for name in self._waiting)
        wait_s = 0.0 if has_more else min((due for due in dues if due > 0), default=LOOK_EVERY_S)
        self._next = now + max(min(LOOK_EVERY_S, wait_s), min(self._listing_s / SHARE_OF_TIME, LOOK_AT_LEAST_EVERY_S))
        return given + whole

    def give_again(self, names: Iterable[str]) -> None:
        """Has those of them that have been given be given once more, since something else is said of them now."""
        for name in names:
            seen = self._seen.get(name)
            if seen is not None and seen.is_given:
                seen.is_given, seen.given_marks, seen.due = False, None, self._clock()
                self._waiting.add(name)

    def _list(self) -> bool:
        """Whether the folder can be looked into; then `_there` is what it holds."""
        complaints: set[str] = set()
        folder = printable(shot_text(os.fspath(self._folder)))
        begun = self._clock()
        try:
            changed = self._names.look()
            self._listing_s = self._clock() - begun
        except OSError as error:
            self._complain(
                {f"{folder} can't be looked into ({error.strerror}). It is looked for again until it is back."}
            )
            self._begin_again()
            self._names, self._is_away = Names(self._folder, self._out), True
            return False
        if self._is_away:
            self._say(f"{folder} is back.")
            self._is_away = False
        elif changed is Changed.DISK:
            self._say(f"{folder} is another disk or share than it was. Watching goes on with what it holds now.")
            self._begin_again()
        if changed is not Changed.NOTHING:
            self._there = {name: place for place, name in pictures_in(self._folder, self._out, complaints.add)}
            self._complain(complaints)
            if len(complaints) > self._names.troubles:
                self._names = Names(self._folder, self._out)  # a folder went away just now: all is listed once more
            for name in self._seen.keys() - self._there.keys():
                self._forget(name)
        return True

    def _begin_again(self) -> None:
        """As if watching began now: the ledger tells what is done already."""
        self._there, self._seen, self._waiting, self._old, self._is_first = {}, {}, set(), [], True

    def _complain(self, sentences: set[str]) -> None:
        """Each is said once for as long as it holds."""
        for sentence in sorted(sentences - self._complaints):
            self._say(sentence)
        self._complaints = sentences

    def _ask_after(self, name: str) -> None:
        try:
            marks = _marks_of(self._there[name])
        except OSError:
            self._forget(name)  # gone since it was listed, or a link that leads nowhere yet
            return
        seen, now = self._seen.get(name), self._clock()
        if seen is None:
            self._seen[name] = _Seen(marks, self._is_first, now, now + CALM_S)
        elif seen.marks != marks:
            self._seen[name] = _Seen(marks, False, now, now + CALM_S, given_marks=seen.given_marks)
        else:
            return
        self._waiting.add(name)

    def _ask_after_old(self) -> None:
        until = self._clock() + _OLD_ONES_S
        for _ in range(len(self._seen) - len(self._waiting)):
            if not self._old:
                self._old = list(self._seen.keys() - self._waiting)
            name = self._old.pop()
            if name in self._seen:
                self._ask_after(name)
            if self._clock() > until:
                return

    def _forget(self, name: str) -> None:
        self._seen.pop(name, None)
        self._waiting.discard(name)

    def _standing(self) -> list[Source]:
        """What the run's ledger has already, as far as the files' own facts tell."""
        if not self._waiting or not (self._out / LEDGER).exists():
            return []
        ledger = Ledger(self._out / LEDGER, look(self._out).run)
        try:
            found = [name for name in sorted(self._waiting) if self._stands(ledger, name)]
        finally:
            ledger.close()
        return [self._given(name) for name in found]

    def _stands(self, ledger: Ledger, name: str) -> bool:
        stood = ledger.of_file(name, self._there[name].name)
        return stood is not None and not stood.told.error and stood.facts == _facts(self._seen[name].marks)

    def _whole(self, room: int) -> tuple[list[Source], bool]:
        """Those that are, and whether there may be more of them at once."""
        until = self._clock() + _READING_S
        given: list[Source] = []
        for name in sorted((n for n in self._waiting if self._seen[n].due <= self._clock()), key=self._turn):
            if len(given) >= room:
                return given, False
            if self._clock() > until:
                return given, True
            if (source := self._read(name)) is not None:
                given.append(source)
        return given, False

    def _turn(self, name: str) -> tuple[bool, bool, float, str]:
        seen = self._seen[name]
        return seen.stood_here, seen.was_read, seen.since, name

    def _read(self, name: str) -> Source | None:
        """The photograph, where it is to be given."""
        seen, begun = self._seen[name], self._clock()
        data, complete = b"", Complete.NO
        with suppress(SpeckwiseError):  # held by whoever writes it, or empty as yet
            data = self._there[name].read()
            complete = completeness(data)
        self._ask_after(name)
        if self._seen.get(name) is not seen:
            return None  # it has changed while it was read
        now, digest = self._clock(), hashlib.sha256(data).digest() if data else None
        if seen.was_read and digest != seen.digest:
            # The system told of no change: room that was kept is being filled, or what held the file has let it go.
            seen.since, seen.is_given = now, False
        seen.was_read, seen.digest = True, digest
        stands_s = now - seen.since
        seen.due = now + max(CALM_S, _AGAIN * stands_s, (now - begun) / SHARE_OF_TIME)
        if seen.is_given or stands_s < _STANDS_S[complete]:
            return None
        return self._given(name, data, complete is Complete.YES)

    def _given(self, name: str, data: bytes = b"", is_whole: bool = True) -> Source:
        seen = self._seen[name]
        facts = _facts(seen.marks)
        if seen.given_marks is not None and facts == _facts(seen.given_marks):
            facts = FileFacts(
                facts.size_bytes, ""
            )  # they did not tell of the change, and must not be taken for the same
        seen.is_given, seen.given_marks = True, seen.marks
        if is_whole:
            self._waiting.discard(name)
        return Source(Arrived(self._there[name], facts, data), name)


def _marks_of(file: LocalFile) -> _Marks:
    """Raises OSError."""
    about = os.stat(file.path)
    return _Marks(about.st_size, about.st_mtime_ns, about.st_ctime_ns)


def _facts(marks: _Marks) -> FileFacts:
    """As LocalFile has them."""
    return FileFacts(marks.size_bytes, str(marks.written_ns))
