"""What a file's own tags say of the shot and its camera. The place is never read, and broken tags count as none."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
from PIL import Image

from vision.types import CameraFacts

# Exif 2.3 (JEITA CP-3451C) and TIFF 6.0 tag numbers.
_MAKE, _MODEL, _ORIENTATION, _DETAILS = 271, 272, 274, 0x8769
_TAKEN, _TAKEN_ZONE = 36867, 36881
_FOCAL, _ZOOM, _FOCAL_35MM, _LENS = 37386, 41988, 41989, 42036
_FIRST_EXIF_YEAR = 1995  # the Exif format's first edition: an earlier date is a clock that was never set
_MOST_CHARACTERS = 80
_MOST_FOCAL_MM, _MOST_ZOOM = 5000.0, 1000.0

# Luminance table of ITU-T T.81, annex K.1, row by row; the IJG scale multiplies it.
_PLAIN_TABLE = np.array(
    [
        16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,
        18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101,
        72, 92, 95, 98, 112, 100, 103, 99,
    ],
    dtype=np.float64,
)  # fmt: skip


@dataclass(frozen=True)
class Tags:
    """The tags that are used; `orientation` is TIFF's tag 274, 1 to 8, 1 where it is missing or nonsense."""

    orientation: int = 1
    taken_at: str | None = None
    camera: CameraFacts = field(default_factory=CameraFacts)


def read_exif(exif: Image.Exif | bytes | None) -> Tags:
    """The tags of Exif data, each by itself: one that is broken does not take the others along. Never raises."""
    try:
        if isinstance(exif, bytes):
            found = Image.Exif()
            found.load(exif)
        elif exif is None:
            return Tags()
        else:
            found = exif
        top = dict(found)
        details = dict(found.get_ifd(_DETAILS))
    except Exception:
        # Pillow raises whatever the damage leads to (struct, key, type, value errors); a picture is worth more than its tags.
        return Tags()
    orientation = top.get(_ORIENTATION)
    camera = CameraFacts(
        make=_text(top.get(_MAKE)),
        model=_text(top.get(_MODEL)),
        lens=_text(details.get(_LENS)),
        focal_mm=_number(details.get(_FOCAL), _MOST_FOCAL_MM),
        focal_35mm=_number(details.get(_FOCAL_35MM), _MOST_FOCAL_MM),
        digital_zoom=_number(details.get(_ZOOM), _MOST_ZOOM),
    )
    upright = orientation if type(orientation) is int and 1 <= orientation <= 8 else 1
    return Tags(upright, taken_at(details.get(_TAKEN), details.get(_TAKEN_ZONE)), camera)


def _text(value: Any) -> str:
    """A name as one line of printable characters; '' for anything else."""
    if not isinstance(value, str):
        return ""
    shown = "".join(c if c.isprintable() else " " for c in value.split("\0")[0][: 4 * _MOST_CHARACTERS])
    return " ".join(shown.split())[:_MOST_CHARACTERS]


def _number(value: Any, most: float) -> float | None:
    """A number above 0 and up to `most`; 0 is how Exif says that it does not know."""
    try:
        number = float(value)
    except Exception:
        # Rationals of Pillow raise what their broken parts lead to.
        return None
    return round(number, 4) if math.isfinite(number) and 0 < number <= most else None


def taken_at(when: Any, offset: Any) -> str | None:
    """Exif DateTimeOriginal and OffsetTimeOriginal as `YYYY-MM-DDTHH:MM:SS`, with `+hh:mm` if known; None for nonsense."""
    if not isinstance(when, str):
        return None
    try:
        moment = datetime.strptime(when.strip(" \0"), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    if moment.year < _FIRST_EXIF_YEAR:
        return None
    zone = offset.strip(" \0") if isinstance(offset, str) else ""
    return moment.isoformat() + (zone if re.fullmatch(r"[+-](0\d|1[0-4]):[0-5]\d", zone) else "")


def with_quality(camera: CameraFacts, tables: Any) -> CameraFacts:
    """The facts with the JPEG quality that the file's quantisation tables (Pillow's `quantization`) stand for."""
    try:
        return replace(camera, jpeg_quality=ijg_quality(list(tables[0])))
    except Exception:
        # A damaged header may hold no table, or half of one.
        return camera


def ijg_quality(table: Sequence[int]) -> int | None:
    """Quality 1..100 on the scale of the Independent JPEG Group whose luminance table (64 numbers, row by row) is nearest.

    None where the numbers are no table. Cameras have tables of their own: for those it is the quality that is as coarse.
    """
    own = np.asarray(table, dtype=np.float64)
    if own.shape != (64,) or not (own >= 1).all():
        return None
    qualities = np.arange(1, 101)
    scale = np.where(qualities < 50, 5000 // qualities, 200 - 2 * qualities)
    tables = np.clip((_PLAIN_TABLE * scale[:, None] + 50) // 100, 1, 255)
    away = np.abs(np.log(tables) - np.log(np.minimum(own, 255))).sum(axis=1)
    return int(qualities[int(np.argmin(away))])
