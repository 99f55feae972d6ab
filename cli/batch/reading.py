"""Photographs read ahead of the work, several at a time, so that a slow disk or network keeps no worker waiting."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from cli.batch.sources import FileFacts, Source
from vision.errors import SpeckwiseError

READING_LIMIT_S = 120.0
"""A file that is not there after so long is given up: a lost mount never answers."""
NOT_READ = "The file can't be read: the disk or the network reports an error."
TOO_SLOW = f"The file could not be read within {READING_LIMIT_S:.0f} seconds: is the disk or the network still there?"


@dataclass(frozen=True)
class Read:
    """What came of reading one source: its bytes, or a sentence."""

    source: Source
    facts: FileFacts
    data: bytes = b""
    sha256: str = ""
    error: str = ""


class Reading:
    """One source being read. `done` is called from another thread, once."""

    def __init__(self, source: Source, facts: FileFacts, done: Callable[[], None]) -> None:
        self.source, self.facts = source, facts
        self._since = time.monotonic()
        self._done = done
        self._read: Read | None = None
        # Of its own and not of a pool: a pool waits for all its threads at the end, and this one may hang for ever.
        threading.Thread(target=self._work, daemon=True).start()

    @property
    def result(self) -> Read | None:
        """None while it is not done."""
        if self._read is None and time.monotonic() - self._since > READING_LIMIT_S:
            return Read(self.source, self.facts, error=TOO_SLOW)
        return self._read

    def _work(self) -> None:
        try:
            data = self.source.place.read()
            self._read = Read(self.source, self.facts, data, hashlib.sha256(data).hexdigest())
        except SpeckwiseError as error:
            self._read = Read(self.source, self.facts, error=str(error))
        except MemoryError:
            self._read = Read(self.source, self.facts, error="There is not enough memory to open this file.")
        except Exception:  # a file system of somebody else's making may raise what it likes
            self._read = Read(self.source, self.facts, error=NOT_READ)
        self._done()
