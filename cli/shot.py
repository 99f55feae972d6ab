"""One photograph -> one outcome: decode, inspect, rows, pictures. The only caller of `inspect` for whole shots.

A photograph that can't be used never stops the others: its outcome carries the sentence that says why.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import cv2

from calib.check import check
from calib.profile import Profile
from calib.reading import Told, read_setup
from cli.batch.belonging import Belongs, belonging_of, code_says
from cli.batch.sources import Photograph
from cli.pages.names import shot_files
from vision.annotate import annotate, thumbnail, unmarked
from vision.crops import crop_sheet
from vision.decode import decode_shot
from vision.errors import ProfileError, ShotError
from vision.files import encode_jpeg
from vision.guides import Guide, guide_called
from vision.pieces import tells_pieces
from vision.pipeline import inspect
from vision.rank import Ranker
from vision.table import ShotFacts, candidate_rows, shot_row
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
    """The user's own, for a slip or a manifest that names one."""


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
    facts: Mapping[str, str] = field(default_factory=dict)
    """As Entry has it; so are the next two."""
    said: tuple[str, ...] = ()
    code: Mapping[str, str] = field(default_factory=dict)


def scorer(settings: Settings) -> Callable[[Photograph], Outcome]:
    """What scores photographs in a process of its own: one thread, since every processor has such a process."""
    cv2.setNumThreads(1)
    return lambda photograph: score_shot(photograph, settings)


def score_shot(photograph: Photograph, settings: Settings) -> Outcome:
    """The outcome of one photograph; never raises for a picture that can't be used."""
    begun = time.perf_counter()
    name = photograph.shot
    belongs = belonging_of(name, settings.run, photograph.claims)
    # A slip says nothing of the view, so what is known of it before the shot is opened is all there will be.
    view = belongs.belonging.view
    try:
        shot = decode_shot(photograph.data, name)
        reading = read_setup(shot, settings.told, settings.profile, view)
        code = code_says(reading.text)
        belongs = belonging_of(name, settings.run, photograph.claims, code)
        guide = settings.guide or guide_called(belongs.facts.get("produce", ""), settings.own_guides)
        inspection = inspect(shot, reading.setup, guide, settings.ranker, settings.cut)
        inspection = replace(inspection, by_piece=tells_pieces(inspection, view, belongs.is_said("piece")))
        checked = check(shot, inspection, reading, guide, view, settings.profile)
    except (ShotError, ProfileError) as error:
        return _failed(belongs, photograph.sha256, str(error), begun)
    except MemoryError:
        return _failed(belongs, photograph.sha256, NO_MEMORY, begun)
    except cv2.error as error:
        if error.code != cv2.Error.StsNoMem:
            raise
        return _failed(belongs, photograph.sha256, NO_MEMORY, begun)
    facts = ShotFacts(belongs.belonging, photograph.sha256, checked.inspection, drift=checked.drift)
    return Outcome(
        shot_row(facts),
        candidate_rows(belongs.belonging, checked.inspection),
        _pictures(shot, checked.inspection, name, settings.run),
        time.perf_counter() - begun,
        left_out=checked.inspection.left_out,
        instruction=checked.inspection.instruction,
        facts={**belongs.facts, "pieces_seen": str(len(inspection.pieces))},
        said=belongs.said,
        code=code,
    )


def _failed(belongs: Belongs, sha256: str, sentence: str, begun: float) -> Outcome:
    row = shot_row(ShotFacts(belongs.belonging, sha256, None, error=sentence))
    seconds = time.perf_counter() - begun
    return Outcome(row, [], {}, seconds, error=sentence, facts=belongs.facts, said=belongs.said)


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
