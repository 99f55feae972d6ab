"""One file -> one outcome: read, inspect, rows, pictures. The only caller of `inspect` for whole shots.

A photograph that can't be used never stops the others: its outcome carries the sentence that says why.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from dataclasses import dataclass, field

from calib.check import check
from calib.profile import Profile
from calib.reading import Reading, Told, read_setup
from cli.batch.belonging import belonging_of
from cli.batch.folder import Source
from cli.pages.names import shot_files
from vision.annotate import annotate, thumbnail, unmarked
from vision.crops import crop_sheet
from vision.decode import decode_shot
from vision.errors import ProfileError, ShotError
from vision.files import encode_jpeg, read_bytes
from vision.guides import Guide, guide_names, load_guide
from vision.pipeline import inspect
from vision.rank import Ranker
from vision.table import Belonging, ShotFacts, candidate_rows, shot_row
from vision.types import Cut, Inspection, Shot

_PICTURE_QUALITY = 90
_SMALL_QUALITY = 85


@dataclass(frozen=True)
class Settings:
    """Everything that is the same for all shots of a call."""

    run: str
    ranker: Ranker
    cut: Cut
    told: Told = field(default_factory=Told)
    profile: Profile | None = None
    guide: Guide | None = None


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
    belonging = belonging_of(source.shot, settings.run)
    sha256 = ""
    try:
        data = read_bytes(source.path)
        sha256 = hashlib.sha256(data).hexdigest()
        shot = decode_shot(data, source.shot)
        reading = read_setup(shot, settings.told, settings.profile, belonging.view)
        belonging = belonging_of(source.shot, settings.run, reading.text)
        guide = settings.guide or _guide_named(reading)
        inspection = inspect(shot, reading.setup, guide, settings.ranker, settings.cut)
        checked = check(shot, inspection, reading, guide, belonging.view, settings.profile)
    except (ShotError, ProfileError) as error:
        return _failed(belonging, sha256, str(error), begun)
    except MemoryError:
        return _failed(belonging, sha256, "There is not enough memory for a picture of this size.", begun)
    facts = ShotFacts(belonging, sha256, checked.inspection, drift=checked.drift)
    rows = candidate_rows(belonging, checked.inspection)
    files = _pictures(shot, checked.inspection, source.shot, settings.run)
    return Outcome(facts, rows, shot_row(facts), files, time.perf_counter() - begun)


def _failed(belonging: Belonging, sha256: str, sentence: str, begun: float) -> Outcome:
    facts = ShotFacts(belonging, sha256, None, error=sentence)
    return Outcome(facts, [], shot_row(facts), {}, time.perf_counter() - begun)


def _guide_named(reading: Reading) -> Guide | None:
    """The guide the slip's code names, where it names one of ours."""
    named = "" if reading.text is None else reading.text.produce.strip().lower().replace(" ", "_")
    return load_guide(named) if named in guide_names() else None


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
