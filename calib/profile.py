"""A panel's profile: what blank shots said of it, kept with the answers a person gave, and made part of a set-up.

Only `write_profile` and `load_profile` touch the disk, through vision/files.py; calib/profile_text.py holds the file format.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from calib.panel import PanelMeasurement
from calib.profile_text import FORMAT, MAP_SCALE, Profile, coded_level, map_png, parse_profile, profile_text
from vision.errors import ProfileError, SpeckwiseError
from vision.files import read_bytes, sha256_of, write_bytes, write_text
from vision.types import FixedMark, ScaleFrom, Setup

__all__ = [
    "Profile",
    "carry_answers",
    "load_profile",
    "masked_marks",
    "profile_digest",
    "profile_of",
    "setup_for",
    "write_profile",
]

_MOST_BYTES = 5 << 20
_MOST_MAP_BYTES = 64 << 20


def profile_of(measured: PanelMeasurement, made_at: datetime) -> Profile:
    """The profile of a measurement; `made_at` with its time zone."""
    light = measured.even_light
    coded = coded_level(light.level)
    return Profile(
        even_light=replace(light, level=(coded / MAP_SCALE).astype(np.float32)),
        marks=measured.marks,
        px_per_mm=measured.px_per_mm,
        level=round(measured.level, 4),
        uneven=round(measured.uneven, 4),
        noise=(round(measured.noise[0], 5), round(measured.noise[1], 5), round(measured.noise[2], 5)),
        noise_from=measured.noise_from,
        shot_sha256=measured.shot_sha256,
        made_at=made_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
    )


def carry_answers(earlier: Profile, new: Profile) -> Profile:
    """`new` with the answers a person gave in `earlier` to marks that are still in the same place and look the same."""
    if (earlier.even_light.width_px, earlier.even_light.height_px) != (
        new.even_light.width_px,
        new.even_light.height_px,
    ):
        return new
    answered = [mark for mark in earlier.marks if mark.answer]

    def answer_for(mark: FixedMark) -> str:
        for old in answered:
            away = np.hypot(old.x_px - mark.x_px, old.y_px - mark.y_px)
            alike = 0.7 <= mark.density / (old.density or 1.0) <= 1.4 and 0.7 <= mark.radius_px / old.radius_px <= 1.4
            if alike and away <= max(3.0, 0.5 * old.radius_px):
                return old.answer
        return mark.answer

    return replace(new, marks=tuple(replace(mark, answer=answer_for(mark)) for mark in new.marks))


def masked_marks(profile: Profile) -> tuple[FixedMark, ...]:
    """Marks that are not flagged unless something changes there: not doubtful, or called a scratch by a person."""
    return tuple(m for m in profile.marks if m.answer == "scratch" or (not m.doubtful and m.answer != "insect"))


def setup_for(profile: Profile, width_px: int, height_px: int) -> Setup:
    """The profile's part of the set-up for a shot of this size; another size raises ProfileError with a sentence."""
    own = (profile.even_light.width_px, profile.even_light.height_px)
    if own != (width_px, height_px):
        turned = " The shot is turned by a quarter against the blanks." if own == (height_px, width_px) else ""
        raise ProfileError(
            f"The panel profile is for shots of {own[0]} x {own[1]} pixels and this one is {width_px} x {height_px}.{turned} "
            "Score it without the profile, or make one from blanks of this size."
        )
    return Setup(
        px_per_mm=profile.px_per_mm,
        scale_from=ScaleFrom.NONE if profile.px_per_mm is None else ScaleFrom.PROFILE,
        even_light=profile.even_light,
        fixed_marks=masked_marks(profile),
    )


def profile_digest(profile: Profile) -> str:
    """SHA-256 (hex) of what changes a result: size, map, scale, marks with their answers; not of times, names or hashes."""
    light = profile.even_light
    marks = [
        [m.x_px, m.y_px, m.radius_px, m.density, m.length_px, m.width_px, m.angle_deg] for m in masked_marks(profile)
    ]
    words = json.dumps([FORMAT, light.width_px, light.height_px, light.level.shape, profile.px_per_mm, marks])
    return hashlib.sha256(words.encode() + coded_level(light.level).astype("<u2").tobytes()).hexdigest()


def write_profile(profile: Profile, path: Path) -> tuple[Path, Path]:
    """Writes the map (NAME-level.png) and then the profile that names it, each whole or not at all; returns both paths."""
    map_path = path.with_name(f"{path.stem}-level.png")
    try:
        map_path.name.encode()
    except UnicodeEncodeError:
        raise ProfileError("The name of the profile can't be written as UTF-8: choose a plainer one.") from None
    data = map_png(profile.even_light.level)
    write_bytes(map_path, data)
    write_text(path, profile_text(profile, map_path.name, sha256_of(data)))
    return path, map_path


def load_profile(path: Path) -> Profile:
    """Reads a profile and its map; anything missing, foreign, newer, damaged or wrongly edited raises ProfileError."""
    try:
        data = read_bytes(path, max_bytes=_MOST_BYTES)
    except SpeckwiseError as error:
        raise ProfileError(f"The panel profile {path.name} could not be read. {error}") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ProfileError(f"{path.name} is not a panel profile: it is no text.") from None

    def read_map(name: str) -> bytes:
        try:
            return read_bytes(path.with_name(name), max_bytes=_MOST_MAP_BYTES)
        except SpeckwiseError as error:
            raise ProfileError(
                f"{path.name} needs its map {name} beside it, which could not be read. {error}"
            ) from error

    return parse_profile(text, read_map, path.name)
