"""One file -> one outcome: read, inspect, rows, pictures. The only caller of `inspect` for whole shots.

A photograph that can't be used never stops the others: its outcome carries the sentence that says why.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace

from calib.profile import Profile, setup_for
from cli.batch.folder import Source
from cli.pages.names import shot_files
from vision.annotate import annotate, thumbnail, unmarked
from vision.crops import crop_sheet
from vision.decode import decode_shot
from vision.errors import ProfileError, ShotError
from vision.files import encode_jpeg, read_bytes
from vision.guides import Guide
from vision.pipeline import inspect
from vision.rank import Ranker
from vision.table import Belonging, ShotFacts, candidate_rows, shot_row
from vision.types import Cut, Ground, Inspection, LitFrom, ScaleFrom, Setup, Shot

_PICTURE_QUALITY = 90
_SMALL_QUALITY = 85


@dataclass(frozen=True)
class Settings:
    """Everything that is the same for all shots of a call."""

    run: str
    ranker: Ranker
    cut: Cut
    px_per_mm: float | None = None
    profile: Profile | None = None
    guide: Guide | None = None
    ground: Ground | None = None
    lit_from: LitFrom | None = None


@dataclass(frozen=True)
class Outcome:
    """What one shot gave, ready to be written. `files` maps paths relative to the output folder to bytes."""

    facts: ShotFacts
    candidate_rows: list[list[str]]
    shot_row: list[str]
    files: Mapping[str, bytes]
    seconds: float


def score_shot(source: Source, settings: Settings) -> Outcome:
    """The outcome of one file; never raises for a picture that can't be used."""
    begun = time.perf_counter()
    belonging = Belonging(shot=source.shot, run=settings.run)
    sha256 = ""
    try:
        data = read_bytes(source.path)
        sha256 = hashlib.sha256(data).hexdigest()
        shot = decode_shot(data, source.shot)
        inspection = inspect(shot, _setup(shot, settings), settings.guide, settings.ranker, settings.cut)
    except (ShotError, ProfileError) as error:
        return _failed(belonging, sha256, str(error), begun)
    except MemoryError:
        return _failed(belonging, sha256, "There is not enough memory for a picture of this size.", begun)
    facts = ShotFacts(belonging, sha256, inspection)
    rows = candidate_rows(belonging, inspection)
    files = _pictures(shot, inspection, source.shot, settings.run)
    return Outcome(facts, rows, shot_row(facts), files, time.perf_counter() - begun)


def _failed(belonging: Belonging, sha256: str, sentence: str, begun: float) -> Outcome:
    facts = ShotFacts(belonging, sha256, None, error=sentence)
    return Outcome(facts, [], shot_row(facts), {}, time.perf_counter() - begun)


def _setup(shot: Shot, settings: Settings) -> Setup:
    """What is known of the stand; what a person said goes before what the profile holds."""
    setup = Setup()
    if settings.profile is not None:
        setup = setup_for(settings.profile, shot.width_px, shot.height_px)
    if settings.px_per_mm is not None:
        setup = replace(setup, px_per_mm=settings.px_per_mm, scale_from=ScaleFrom.OPTION)
    return replace(setup, ground=settings.ground, lit_from=settings.lit_from)


def _pictures(shot: Shot, inspection: Inspection, name: str, run: str) -> dict[str, bytes]:
    at = shot_files(name, shot.sha256)
    files = {
        at.annotated: encode_jpeg(annotate(shot, inspection, run=run), _PICTURE_QUALITY),
        at.unmarked: encode_jpeg(unmarked(shot), _PICTURE_QUALITY),
        at.small: encode_jpeg(thumbnail(shot, inspection), _SMALL_QUALITY),
    }
    crops = crop_sheet(shot, inspection)
    if crops is not None:
        files[at.crops] = encode_jpeg(crops, _SMALL_QUALITY)
    return files
