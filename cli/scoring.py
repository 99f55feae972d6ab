"""What `score` and `demo` share: options, checked; the run they make; the call, from finding pictures to the closing lines."""

from __future__ import annotations

import math
import os
import shlex
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from cli.batch.folder import find_sources, shot_text
from cli.batch.standing import INDEX, PICTURES
from cli.entry import warn_of_two_opencvs
from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from vision import __version__
from vision.errors import CallError, RankerError, SpeckwiseError

if TYPE_CHECKING:
    from cli.batch.output import OutputFolder
    from cli.batch.record import RunFacts
    from cli.batch.run import Score
    from vision.rank import Ranker

GROUNDS = ("panel", "water", "cloth")
LIGHTS = ("below", "above", "both")


@dataclass(frozen=True)
class ScoreOptions:
    """What a person may say of the shots and the list. Making one raises CallError where a value can't be meant."""

    panel: Path | None = None
    px_per_mm: float | None = None
    ruler: str | None = None
    produce: str | None = None
    ground: str | None = None
    lit: str | None = None
    min_score: float | None = None
    max_flags: int | None = None
    ranker: Path | None = None

    def __post_init__(self) -> None:
        check_px_per_mm(self.px_per_mm)
        ruler_px_per_mm(self.ruler)
        if self.ruler is not None and self.px_per_mm is not None:
            raise CallError("--px-per-mm and --ruler both give the scale: leave one out.")
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


def ruler_px_per_mm(ruler: str | None) -> float | None:
    """The scale that `X1,Y1,X2,Y2,MM` gives: two points of the shot in pixels, and the length between them.

    Raises CallError where it is anything else.
    """
    if ruler is None:
        return None
    try:
        x1, y1, x2, y2, length_mm = (float(part) for part in ruler.split(","))
    except ValueError:
        raise CallError(
            f"--ruler is X1,Y1,X2,Y2,MM: two points in pixels and the length between them, not {ruler!r}."
        ) from None
    scale = math.hypot(x2 - x1, y2 - y1) / length_mm if length_mm > 0 else math.nan
    if not (math.isfinite(scale) and scale > 0):
        raise CallError("--ruler needs two different points and a length above 0 mm.")
    return scale


def prepare(options: ScoreOptions) -> tuple[RunFacts, Score]:
    """The run that `options` make, and what scores one source in it. Raises ProfileError, GuideError and RankerError."""
    from calib.profile import load_profile, profile_digest
    from calib.reading import Told
    from cli.batch.record import RunFacts
    from cli.shot import Settings, score_shot
    from vision.guides import load_guide
    from vision.rank import shipped_ranker
    from vision.types import Cut, Ground, LitFrom, ScaleFrom

    profile = load_profile(options.panel) if options.panel else None
    guide = load_guide(options.produce) if options.produce else None
    ranker = _read_ranker(options.ranker) if options.ranker else shipped_ranker()
    cut = Cut() if options.min_score is None else Cut(min_score=options.min_score)
    cut = replace(cut, max_flags=options.max_flags)
    facts = RunFacts(
        options={
            "px_per_mm": options.px_per_mm,
            "ruler": ruler_px_per_mm(options.ruler),
            "produce": options.produce,
            "ground": options.ground,
            "lit": options.lit,
            "min_score": cut.min_score,
            "max_flags": cut.max_flags,
        },
        profile_sha256=profile_digest(profile) if profile else None,
        guide_sha256=guide.digest if guide else None,
        ranker_sha256=ranker.digest,
    )
    told = Told(
        px_per_mm=options.px_per_mm or ruler_px_per_mm(options.ruler),
        scale_from=ScaleFrom.RULER if options.ruler else ScaleFrom.OPTION,
        ground=Ground(options.ground) if options.ground else None,
        lit_from=LitFrom(options.lit) if options.lit else None,
    )
    settings = Settings(
        run=facts.run,
        ranker=ranker,
        cut=cut,
        told=told,
        profile=profile,
        guide=guide,
    )
    return facts, lambda source: score_shot(source, settings)


def _read_ranker(path: Path) -> Ranker:
    from vision.files import read_bytes
    from vision.rank import parse_ranker

    try:
        return parse_ranker(read_bytes(path))
    except SpeckwiseError as error:
        raise RankerError(f"{path}: {error}") from error


def make_pages(folder: OutputFolder) -> dict[str, bytes]:
    """The results pages of all that stands in the folder."""
    from cli.pages.index import build_pages

    entries = list(folder.ledger)
    pages = build_pages(
        [entry.row for entry in entries],
        [row for entry in entries for row in entry.candidates],
        run=folder.run,
        version=__version__,
        files=[name for entry in entries for name in entry.files],
    )
    return {name: text.encode() for name, text in pages.items()}


def score_call(
    paths: Sequence[Path], out: Path, options: ScoreOptions, force: bool = False, quiet: bool = False
) -> int:
    """Scores `paths` into `out` and says what came of it; the exit code."""
    sources = find_sources(paths, out)
    warn_of_two_opencvs()
    from cli.batch.run import score_into
    from cli.batch.tell import teller

    facts, score = prepare(options)
    told = {
        "paths": [shot_text(os.path.abspath(path)) for path in paths],
        "panel": options.panel and str(options.panel),
    }
    tally, notices = score_into(out, sources, score, facts, teller(quiet), make_pages, force=force, told=told)
    for notice in notices:
        print(f"speckwise: {notice}", file=sys.stderr)
    for line in tally.closing_lines():
        print(line)
    print(f"Look at {out / INDEX}")
    print(f"Answer for every flag: speckwise review {shlex.quote(str(out))}")
    return SOME_SHOTS_FAILED if tally.failed else ALL_DONE


def score_samples(out: Path, quiet: bool = False) -> int:
    """Scores the photographs that come with the program; an earlier version's demo in the same place goes to earlier/."""
    scenario = tomllib.loads(resources.files("sample_images").joinpath("scenario.toml").read_text(encoding="utf-8"))
    samples = Path(str(resources.files("sample_images").joinpath("scenario.toml"))).parent
    print(f"The photographs are in {samples}")
    code = score_call([samples], out, ScoreOptions(px_per_mm=scenario["px_per_mm"]), force=True, quiet=quiet)
    if code in {ALL_DONE, SOME_SHOTS_FAILED}:
        print(
            f"Annotated pictures are in {out / PICTURES}, the tables are {out / 'candidates.csv'} and {out / 'shots.csv'}."
        )
    return code
