"""What happened while a run was written, one JSON object a line (`log.jsonl`), and the same in words for --verbose.

Lines are short and only ever added. The log explains; nothing is read back from it.
"""

from __future__ import annotations

import json
import sys
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from cli.words import printable


class Log:
    """Writes to `path`, and with `aloud` to stderr as well. A disk that takes no more lines is not the log's to complain of."""

    def __init__(self, path: Path, aloud: bool) -> None:
        self._aloud = aloud
        self._file: IO[str] | None
        try:
            self._file = path.open("a", encoding="utf-8", newline="\n")
        except OSError:
            self._file = None

    def note(self, event: str, **facts: object) -> None:
        """One line; facts that say nothing ('' and None) are left out."""
        said = {name: value for name, value in facts.items() if value not in ("", None)}
        if self._aloud:
            words = ", ".join(f"{name} {printable(str(value))}" for name, value in said.items())
            print(f"  {event}: {words}" if words else f"  {event}", file=sys.stderr, flush=True)
        if self._file is None:
            return
        try:
            self._file.write(json.dumps({"at": _now(), "event": event, **said}, ensure_ascii=True) + "\n")
            self._file.flush()
        except OSError:
            self._file = None

    def close(self) -> None:
        """No more lines."""
        if self._file is not None:
            with suppress(OSError):
                self._file.close()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
