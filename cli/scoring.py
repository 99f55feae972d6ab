"""What `score` and `demo` share: options, checked; the run they make; the call, from finding pictures to the closing lines."""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cli.batch.folder import find_sources, shot_text
from cli.batch.standing import INDEX
from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from vision.errors import CallError

GROUNDS = ("panel", "water", "cloth")
LIGHTS = ("below", "above", "both")


@dataclass(frozen=True)
class ScoreOptions:
    """What a person may say of the shots and the list. Making one raises CallError where a value can't be meant."""

    panel: Path | None = None
    px_per_mm: float | None = None
    produce: str | None = None
    ground: str | None = None
    lit: str | None = None
    min_score: float | None = None
    max_flags: int | None = None
    ranker: Path | None = None

    def __post_init__(self) -> None:
        check_px_per_mm(self.px_per_mm)
        if self.min_score is not None and not 0 <= self.min_score <= 1:
            raise CallError(f"--min-score is a number from 0 to 1, not {self.min_score:g}.")
        if self.max_flags is not None and self.max_flags < 1:
            raise CallError(f"--max-flags is a whole number from 1 up, not {self.max_flags}.")
        for option, value, known in (("--ground", self.ground, GROUNDS), ("--lit", self.lit, LIGHTS)):
            if value is not None and value not in known:
                raise CallError(f"{option} is {', '.join(known[:-1])} or {known[-1]}, not {value!r}.")
        for option, path in (("--panel", self.panel), ("--ranker", self.ranker)):
            if path is not None and not path.is_file():
                raise CallError(f"{option}: there is no file {path}.")


def check_px_per_mm(px_per_mm: float | None) -> None:
    """Raises CallError unless it is a scale, or None."""
    if px_per_mm is not None and not (math.isfinite(px_per_mm) and px_per_mm > 0):
        raise CallError(f"--px-per-mm is a number above 0, not {px_per_mm:g}.")


def score_call(paths: Sequence[Path], out: Path, options: ScoreOptions, force: bool = False, quiet: bool = False) -> int:
    """Scores `paths` into `out` and says what came of it; the exit code."""
    from cli.entry import two_opencvs

    sources = find_sources(paths, out)
    warning = two_opencvs()
    if warning:
        print(f"speckwise: {warning}", file=sys.stderr)
    from cli.batch.run import score_into
    from cli.batch.tell import teller

    facts, score = prepare(options)
    told = {"paths": [shot_text(os.path.abspath(path)) for path in paths], "panel": options.panel and str(options.panel)}
    tally, notices = score_into(out, sources, score, facts, teller(quiet), make_pages, force=force, told=told)
    for notice in notices:
        print(f"speckwise: {notice}", file=sys.stderr)
    for line in tally.closing_lines():
        print(line)
    print(f"Look at {out / INDEX}")
    return SOME_SHOTS_FAILED if tally.failed else ALL_DONE
