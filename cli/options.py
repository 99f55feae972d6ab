"""What a person may say of shots and of how they are scored, checked, and the run it makes."""

from __future__ import annotations

import hashlib
import math
import os
import pickle
import sys
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from cli.batch.engines.engine import CORES
from vision.errors import CallError, RankerError, SpeckwiseError
from vision.rankers import shipped_bytes

if TYPE_CHECKING:
    from calib.profile import Profile
    from cli.batch.engines.engine import MakeScore, Score
    from cli.batch.record import RunFacts
    from vision.guides import Guide
    from vision.types import Cut

T = TypeVar("T")

FINEST_PX_PER_MM = 1000
"""Finer than any lens on a stand: an aphid as wide as a photograph."""
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

    def as_given(self) -> dict[str, str | float | int | None]:
        """For the record, so that the same can be given again from anywhere; files by their whole paths."""
        given = {each.name: getattr(self, each.name) for each in fields(self)}
        return {name: os.path.abspath(value) if isinstance(value, Path) else value for name, value in given.items()}


def as_given_before(given: Mapping[str, Any]) -> ScoreOptions:
    """The options that a record tells of. Raises CallError where it tells of others, or their files are not there any more."""
    try:
        return ScoreOptions(
            **{n: Path(v) if n in {"panel", "ranker"} and v is not None else v for n, v in given.items()}
        )
    except TypeError:
        raise CallError("The record is of another version, which had other options: it can't be repeated.") from None


def needed(value: T | None, name: str, what: str) -> T:
    """What only --again can do without. Raises CallError where it is missing."""
    if value is None:
        raise CallError(f"{name} is missing: {what}.")
    return value


@dataclass(frozen=True)
class Doing:
    """How a call does its work; nothing of it changes a result. Making one raises CallError where a value can't be meant."""

    engine: str = CORES
    workers: int | None = None
    force: bool = False
    rehash: bool = False
    quiet: bool = False
    verbose: bool = False

    def __post_init__(self) -> None:
        if self.workers is not None and self.workers < 1:
            raise CallError(f"--workers is a whole number from 1 up, not {self.workers}.")
        if self.quiet and self.verbose:
            raise CallError("--quiet and --verbose say the opposite: leave one out.")


def check_px_per_mm(px_per_mm: float | None) -> None:
    """Raises CallError unless it is a scale, or None."""
    if px_per_mm is not None and not 0 < px_per_mm <= FINEST_PX_PER_MM:
        raise CallError(f"--px-per-mm is a number above 0 and at most {FINEST_PX_PER_MM}, not {px_per_mm:g}.")


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
    if scale > FINEST_PX_PER_MM:
        raise CallError(f"--ruler gives {scale:g} pixels in one millimetre, and {FINEST_PX_PER_MM} are the most.")
    return scale


@dataclass(frozen=True)
class Prepared:
    """All that scoring needs to know, read from disk, and light: what is heavy to load is loaded where the work is done."""

    run: str
    options: ScoreOptions
    cut: Cut
    ranker: bytes
    """The ranker's file."""
    profile: Profile | None
    guide: Guide | None
    own_guides: Mapping[str, Guide]
    """The user's own, for a slip or a manifest that names one."""


def prepare(options: ScoreOptions) -> tuple[RunFacts, MakeScore]:
    """The run that `options` make, and what makes its scoring ready. Raises ProfileError, GuideError and RankerError."""
    from cli.batch.record import RunFacts
    from cli.guides import OwnGuides, find_guide, own_guides
    from vision.types import Cut

    profile, profile_sha256 = _read_profile(options.panel)
    guide = find_guide(options.produce) if options.produce else None
    # Where a guide is named, what a slip's code or a manifest calls is never asked.
    own = OwnGuides() if guide else own_guides()
    for trouble in own.troubles.values():
        print(f"speckwise: {trouble}", file=sys.stderr)
    ranker = _read_ranker(options.ranker) if options.ranker else shipped_bytes()
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
        profile_sha256=profile_sha256,
        guide_sha256=guide.digest if guide else own.digest,
        ranker_sha256=hashlib.sha256(ranker).hexdigest(),
    )
    prepared = Prepared(facts.run, options, cut, ranker, profile, guide, own.guides)
    return facts, partial(make_score, pickle.dumps(prepared))


def make_score(prepared: bytes) -> Score:
    """What scores a photograph by a pickled `Prepared`, wherever that is to be done."""
    # Unpickled as late as here: it loads what the numbers of threads have to be set before.
    from calib.reading import Told
    from cli.shot import Settings, scorer
    from vision.rank import parse_ranker
    from vision.types import Ground, LitFrom, ScaleFrom

    what: Prepared = pickle.loads(prepared)
    options = what.options
    told = Told(
        px_per_mm=options.px_per_mm or ruler_px_per_mm(options.ruler),
        scale_from=ScaleFrom.RULER if options.ruler else ScaleFrom.OPTION,
        ground=Ground(options.ground) if options.ground else None,
        lit_from=LitFrom(options.lit) if options.lit else None,
    )
    return scorer(
        Settings(what.run, parse_ranker(what.ranker), what.cut, told, what.profile, what.guide, what.own_guides)
    )


def _read_profile(path: Path | None) -> tuple[Profile | None, str | None]:
    if path is None:
        return None, None
    from calib.profile import load_profile, profile_digest

    profile = load_profile(path)
    return profile, profile_digest(profile)


def _read_ranker(path: Path) -> bytes:
    """The file's bytes, of which it is known that they are a ranker."""
    from vision.files import read_bytes
    from vision.rank import parse_ranker

    try:
        data = read_bytes(path)
        parse_ranker(data)
    except SpeckwiseError as error:
        raise RankerError(f"{path}: {error}") from error
    return data
