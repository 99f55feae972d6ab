"""A stand-in for the scoring of a shot, for tests of what is round it: quick, and its flags are told from the file's bytes."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cli.batch.folder import Source
from cli.batch.record import RunFacts
from vision.table import CANDIDATES, SHOTS, Belonging, ShotFacts

FACTS = RunFacts(options={"px_per_mm": 20.0})
OTHER_FACTS = RunFacts(options={"px_per_mm": 10.0})
RUN = FACTS.run


@dataclass(frozen=True)
class Outcome:
    """Has the fields of the real one."""

    facts: ShotFacts
    candidate_rows: list[list[str]]
    shot_row: list[str]
    files: Mapping[str, bytes] = field(default_factory=dict)
    seconds: float = 0.1


def scorer(run: str = RUN, seconds: float = 0.0, scored: list[str] | None = None) -> Callable[[Source], Any]:
    """A score function: a file gives as many flags as it has bytes `x`; one that starts with `bad` can't be read."""

    def score(source: Source) -> Outcome:
        time.sleep(seconds)
        if scored is not None:
            scored.append(source.shot)
        try:
            data = source.path.read_bytes()
        except OSError:
            data = b"bad"
        sha256 = hashlib.sha256(data).hexdigest()
        error = "This is not a picture." if data.startswith(b"bad") else ""
        told = {
            "shot": source.shot,
            "shot_sha256": sha256,
            "run": run,
            "error": error,
            "usable": "" if error else "yes",
        }
        rows = [
            [{**told, "candidate": str(n + 1), "found_by": "tool"}.get(column.name, "") for column in CANDIDATES]
            for n in range(0 if error else data.count(b"x"))
        ]
        facts = ShotFacts(Belonging(source.shot, run), sha256, None, error=error)
        files = {} if error else {f"pictures/{sha256[:8]}.jpg": data}
        return Outcome(facts, rows, [told.get(column.name, "") for column in SHOTS], files)

    return score


def no_pages(folder: Any) -> dict[str, bytes]:
    """A page of one line."""
    return {"index.html": b"<p>page</p>"}


def photographs(folder: Path, **contents: bytes) -> Path:
    """A folder with files named like the keywords, `.jpg` added."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in contents.items():
        (folder / f"{name}.jpg").write_bytes(data)
    return folder
