"""One photograph -> one outcome: decode, inspect, rows, pictures. The only caller of `inspect` for whole shots.

A photograph that can't be used never stops the others: its outcome carries the sentence that says why.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import cv2

from calib.check import check
from calib.profile import Profile
from calib.reading import Reading, Told, read_setup
from cli.batch.belonging import belonging_of
from cli.batch.sources import Photograph
from cli.pages.names import shot_files
from vision.annotate import annotate, thumbnail, unmarked
from vision.crops import crop_sheet
from vision.decode import decode_shot
from vision.errors import ProfileError, ShotError
from vision.files import encode_jpeg
from vision.guides import Guide, guide_called
from vision.pipeline import inspect
from vision.rank import Ranker
from vision.table import Belonging, ShotFacts, candidate_rows, shot_row
from vision.types import Cut, Inspection, Shot

NO_MEMORY = "There is not enough memory for a picture of this size."
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
    own_guides: Mapping[str, Guide] = field(default_factory=dict)
    """The user's own, for a slip whose code names one."""


@dataclass(frozen=True)
class Outcome:
    """What one shot gave, ready to be put down, and small enough to travel. `files` maps paths relative to the output folder to bytes."""

    shot_row: list[str]
    candidate_rows: list[list[str]]
    files: Mapping[str, bytes]
    seconds: float
    error: str = ""
    left_out: int = 0
    """How many more flags the limit left out."""
    instruction: str = ""
    """The one thing to change first; '' where there is none."""


def scorer(settings: Settings) -> Callable[[Photograph], Outcome]:
    """What scores photographs in a process of its own: one thread, since every processor has such a process."""
    cv2.setNumThreads(1)
    return lambda photograph: score_shot(photograph, settings)


def score_shot(photograph: Photograph, settings: Settings) -> Outcome:
    """The outcome of one photograph; never raises for a picture that can't be used."""
    begun = time.perf_counter()
    name = photograph.shot
    belonging = belonging_of(name, settings.run)
    try:
        shot = decode_shot(photograph.data, name)
        reading = read_setup(shot, settings.told, settings.profile, belonging.view)
        belonging = belonging_of(name, settings.run, reading.text)
        guide = settings.guide or _guide_named(reading, settings.own_guides)
        inspection = inspect(shot, reading.setup, guide, settings.ranker, settings.cut)
        checked = check(shot, inspection, reading, guide, belonging.view, settings.profile)
    except (ShotError, ProfileError) as error:
        return _failed(belonging, photograph.sha256, str(error), begun)
    except MemoryError:
        return _failed(belonging, photograph.sha256, NO_MEMORY, begun)
    except cv2.error as error:
        if error.code != cv2.Error.StsNoMem:
            raise
        return _failed(belonging, photograph.sha256, NO_MEMORY, begun)
    facts = ShotFacts(belonging, photograph.sha256, checked.inspection, drift=checked.drift)
    rows = candidate_rows(belonging, checked.inspection)
    files = _pictures(shot, checked.inspection, name, settings.run)
    seconds = time.perf_counter() - begun
    said = checked.inspection
    return Outcome(shot_row(facts), rows, files, seconds, left_out=said.left_out, instruction=said.instruction)


def _failed(belonging: Belonging, sha256: str, sentence: str, begun: float) -> Outcome:
    facts = ShotFacts(belonging, sha256, None, error=sentence)
    return Outcome(shot_row(facts), [], {}, time.perf_counter() - begun, error=sentence)


def _guide_named(reading: Reading, own: Mapping[str, Guide]) -> Guide | None:
    """The guide the slip's code names, where it names one of ours or of the user's own."""
    return None if reading.text is None else guide_called(reading.text.produce, own)


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
