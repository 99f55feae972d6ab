"""A stand-in for the scoring of a shot, for tests of what is round it: quick, and its flags are told from the file's bytes."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cli.batch.folder import Source, find_sources
from cli.batch.output import LOCK
from cli.batch.record import RunFacts
from cli.batch.run import score_into
from cli.batch.tell import Quiet, Tally
from vision.table import CANDIDATES, SHOTS, Belonging, ShotFacts, from_csv

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


def go(
    out: Path, *paths: Path, facts: RunFacts = FACTS, score: Callable[[Source], Any] | None = None, force: bool = False
) -> tuple[Tally, list[str]]:
    """One call into `out`."""
    return score_into(
        out, find_sources(paths, out), score or scorer(facts.run), facts, Quiet(), no_pages, force=force, told={"x": 1}
    )


def everything(folder: Path) -> dict[str, bytes]:
    """All that must be the same after the same work, by its place in the folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in {LOCK, "run.json", ".ledger.jsonl"}
    }


def tables(folder: Path) -> tuple[bytes, bytes]:
    """The bytes of both tables."""
    return (folder / "candidates.csv").read_bytes(), (folder / "shots.csv").read_bytes()


def record(folder: Path) -> dict[str, Any]:
    """What run.json holds."""
    return dict(json.loads((folder / "run.json").read_text()))


def shot_cells(folder: Path, column: str) -> dict[str, str]:
    """One column of shots.csv, by shot."""
    names = [each.name for each in SHOTS]
    rows = from_csv(SHOTS, (folder / "shots.csv").read_bytes())
    return {row[0]: row[names.index(column)] for row in rows}
