"""A stand-in for the scoring of a shot, for tests of what is round it: quick, and its flags are told from the file's bytes."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cli.batch.belonging import belonging_of
from cli.batch.engines.here import Here
from cli.batch.folder import find_sources
from cli.batch.manifests import read_manifests
from cli.batch.output import LOCK
from cli.batch.record import RunFacts
from cli.batch.run import Call, score_into
from cli.batch.sources import Photograph
from cli.batch.standing import LEDGER, LOG
from cli.batch.tell import Quiet
from cli.batch.told import Tally
from cli.options import ScoreOptions
from cli.shot import Outcome
from vision.table import CANDIDATES, SHOTS, ShotFacts, from_csv, shot_row

FACTS = RunFacts(options={"px_per_mm": 20.0})
OTHER_FACTS = RunFacts(options={"px_per_mm": 10.0})
RUN = FACTS.run


def scorer(run: str = RUN, seconds: float = 0.0, scored: list[str] | None = None) -> Callable[[Photograph], Outcome]:
    """A score function: as many flags as the file has bytes `x`; one that starts with `bad` can't be read, with `dim` is of no use."""

    def score(photograph: Photograph) -> Outcome:
        time.sleep(seconds)
        shot, data, sha256 = photograph.shot, photograph.data, photograph.sha256
        if scored is not None:
            scored.append(shot)
        error = "This is not a picture." if data.startswith(b"bad") else ""
        rows = [
            [
                {"shot": shot, "shot_sha256": sha256, "run": run, "candidate": str(n + 1), "found_by": "tool"}.get(
                    c.name, ""
                )
                for c in CANDIDATES
            ]
            for n in range(0 if error else data.count(b"x"))
        ]
        belongs = belonging_of(shot, run, photograph.claims)
        row = shot_row(ShotFacts(belongs.belonging, sha256, None, error=error))
        if not error:
            row[[column.name for column in SHOTS].index("usable")] = "no" if data.startswith(b"dim") else "yes"
        files = {} if error else {f"pictures/{sha256[:8]}.jpg": data}
        return Outcome(row, rows, files, 0.1, error, facts=belongs.facts, said=belongs.said)

    return score


def no_pages(folder: Any) -> list[tuple[str, str]]:
    """A page of one line."""
    return [("index.html", "<p>page</p>")]


def photographs(folder: Path, **contents: bytes) -> Path:
    """A folder with files named like the keywords, `.jpg` added."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in contents.items():
        (folder / f"{name}.jpg").write_bytes(data)
    return folder


def call(score: Callable[[Photograph], Any], force: bool = False, **more: Any) -> Call:
    """A call whose work is done by `score`, in this process."""
    said: dict[str, Any] = {"make_engine": Here, "make_pages": no_pages, "teller": Quiet(), "told": {"x": 1}}
    return Call(make_score=lambda: score, force=force, **(said | more))


def go(
    out: Path,
    *paths: Path | str,
    facts: RunFacts = FACTS,
    score: Callable[[Photograph], Any] | None = None,
    force: bool = False,
    **more: Any,
) -> tuple[Tally, list[str]]:
    """One call into `out`."""
    unlisted: list[str] = []
    sources = find_sources(paths, out, unlisted.append)
    manifests = read_manifests(paths)
    doing = call(score or scorer(facts.run), force, unlisted=unlisted, manifests=manifests, **more)
    return score_into(out, manifests.told(sources), facts, doing)


def fake_scoring(monkeypatch: pytest.MonkeyPatch) -> list[ScoreOptions]:
    """Has the commands score by `scorer`, in this process; what options they were given is put into the list."""
    asked: list[ScoreOptions] = []

    def prepare(options: ScoreOptions) -> Any:
        asked.append(options)
        facts = RunFacts(options={"px_per_mm": options.px_per_mm, "min_score": options.min_score or 0.0})
        return facts, lambda: scorer(facts.run)

    monkeypatch.setattr("cli.scoring.prepare", prepare)
    monkeypatch.setattr("cli.scoring.make_pages", no_pages)
    monkeypatch.setattr("cli.batch.engines.choose.engine_for", lambda named, workers: Here)
    return asked


def everything(folder: Path) -> dict[str, bytes]:
    """All that must be the same after the same work, by its place in the folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in {LOCK, "run.json", LEDGER, f"{LEDGER}-journal", LOG}
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
