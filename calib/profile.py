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
from calib.profile_read import parse_profile
from calib.profile_text import FORMAT, MAP_SCALE, Profile, coded_level, map_png, profile_text
from calib.realign import Kind, moved_light, moved_marks, realign
from vision.errors import ProfileError, SpeckwiseError
from vision.files import read_bytes, sha256_of, write_bytes, write_text
from vision.types import EvenLight, FixedMark, ScaleFrom, Setup, Shot

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
        scale_from=ScaleFrom.NONE if measured.px_per_mm is None else ScaleFrom.OPTION,
        camera=measured.camera,
        colour=(round(measured.colour[0], 4), round(measured.colour[1], 4), round(measured.colour[2], 4)),
        flicker=round(measured.flicker, 4),
        pattern=round(measured.pattern, 3),
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


def setup_for(profile: Profile, shot: Shot) -> tuple[Setup, tuple[str, ...]]:
    """The profile's part of the set-up for a shot, and sentences about what of it could not be used, or only moved.

    On the stand as it was: all of it. A little moved: light and marks moved along. Another camera, lens, place or light: what no
    longer holds is left out, and the shot's own ground takes its place.
    """
    found = realign(profile, shot)
    said = (found.sentence,) if found.sentence else ()
    if found.kind is Kind.OTHER_SIZE:
        # Without the profile a folder of such shots would be scored in another way than the person asked for.
        raise ProfileError(found.sentence)
    if not found.same_stand:
        return Setup(), said
    marks = masked_marks(profile)
    light: EvenLight | None = profile.even_light
    if found.shift_px != (0.0, 0.0):
        light = moved_light(profile.even_light, found.shift_px)
        marks = moved_marks(marks, found.shift_px, shot.width_px, shot.height_px)
    setup = Setup(
        px_per_mm=profile.px_per_mm,
        scale_from=ScaleFrom.NONE if profile.px_per_mm is None else ScaleFrom.PROFILE,
        # The camera stands over the same plane, wherever the panel lies on it.
        ground_map=profile.ground_map,
        even_light=light if found.same_light else None,
        fixed_marks=marks,
    )
    return setup, said


def profile_digest(profile: Profile) -> str:
    """SHA-256 (hex) of what changes a result: size, map, scale, marks with their answers; not of times, names or hashes."""
    light = profile.even_light
    marks = [
        [m.x_px, m.y_px, m.radius_px, m.density, m.length_px, m.width_px, m.angle_deg] for m in masked_marks(profile)
    ]
    c, lens, ground = profile.camera, profile.lens, profile.ground_map
    camera = [c.make, c.model, c.lens, c.focal_mm, c.focal_35mm, c.digital_zoom]
    plane = None if ground is None else [*ground.to_mm.ravel(), *ground.covariance.ravel(), ground.x_px, ground.y_px]
    bent = (
        None
        if ground is None or lens is None
        else [lens.focal_px, lens.centre_x_px, lens.centre_y_px, lens.k1, lens.k2]
    )
    size = [light.width_px, light.height_px, light.level.shape]
    words = json.dumps([FORMAT, *size, profile.px_per_mm, marks, camera, plane, bent, profile.pattern])
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
