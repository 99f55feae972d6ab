"""The file format of a panel's profile: TOML text a person can read, compare and answer in, and its map as a 16-bit PNG.

Pure: text and bytes in and out; calib/profile.py reads and writes them.
"""

from __future__ import annotations

import hashlib
import json
import re
import struct
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.panel import Triple
from vision import __version__
from vision.errors import ProfileError
from vision.types import EvenLight, FixedMark, FloatArray

FORMAT = "speckwise panel profile"
VERSION = 1
MAP_SCALE = 65535
ANSWERS = ("", "scratch", "insect")
_MOST_MAP_SIDE = 2000

_HEAD = """\
# A light panel as blank shots showed it. `score --panel` divides its shots by the map named below.
#
# TO ANSWER: each [[mark]] with `doubtful = true` could be an insect that lay on the panel. Look at the panel, then write between
# the quotes of its `answer`:
#   "scratch"  it belongs to the panel (a scratch, stuck dust): it is not flagged unless something changes there
#   "insect"   something lay there: it is always flagged; wipe the panel and take the blanks again
# While the answer is empty the place is flagged like any other. Nothing else here is meant to be edited.
#
# Pixels are those of the upright shot: x to the right, y down, from the centre of the top-left pixel. Optical density is -log10 of
# the share of light that comes through. Light is linear, 1 at the camera's full scale (sRGB decoded by IEC 61966-2-1).
#
# [[mark]]: x_px and y_px are its centre, radius_px the circle round it; length_px, width_px and angle_deg (0 along x, clockwise as
# seen) the straight strip that holds it, a winding scratch being several; density is its peak, negative where it is lighter.
"""
_TOLD = {
    "made_at": "RFC 3339, UTC",
    "height_px": "width and height of the blanks; shots of another size can't be divided by this map",
    "px_per_mm": "shot pixels to a millimetre on the panel",
    "sha256": "the blank shots",
    "level": "median light of the panel, mean of the channels",
    "uneven": "(max - min) / max of the light, 5th to 95th percentile",
    "noise": "standard deviation of density from pixel to pixel: red, green, blue",
    "noise_from": '"time": between shots; "place": within the only shot',
    "map": "one pixel a cell of the picture: red, green, blue light",
    "map_sha256": "of the map file; a map that was changed is refused",
    "map_scale": "value in the map at light 1",
}


@dataclass(frozen=True)
class Profile:
    """What the profile file and its map hold; numbers as `PanelMeasurement` gives them, rounded as they are written."""

    even_light: EvenLight
    marks: tuple[FixedMark, ...]
    px_per_mm: float | None
    level: float
    uneven: float
    noise: Triple
    noise_from: str
    shot_sha256: tuple[str, ...]
    made_at: str
    made_by: str = f"speckwise {__version__}"


def coded_level(level: FloatArray) -> NDArray[np.uint16]:
    """The map as whole numbers, (gh, gw, 3) uint16, as the file holds it."""
    # No cell may be 0: shots are divided by it.
    return np.clip(np.rint(level.astype(np.float64) * MAP_SCALE), 1, MAP_SCALE).astype(np.uint16)


def map_png(level: FloatArray) -> bytes:
    """The map (gh, gw, 3), linear light 0..1, as a 16-bit RGB PNG."""
    good, data = cv2.imencode(".png", np.ascontiguousarray(coded_level(level)[..., ::-1]))
    if not good:
        raise ProfileError("The even-light map could not be written as a PNG.")
    return data.tobytes()


def profile_text(profile: Profile, map_name: str, map_sha256: str) -> str:
    """The profile as TOML; every float is written so that it is read back exactly."""
    light = profile.even_light
    parts = [
        _HEAD,
        _lines(format=FORMAT, version=VERSION, made_by=profile.made_by, made_at=profile.made_at),
        "[picture]\n" + _lines(width_px=light.width_px, height_px=light.height_px, px_per_mm=profile.px_per_mm),
        "[blanks]\n" + _lines(sha256=profile.shot_sha256),
        "[light]\n"
        + _lines(level=profile.level, uneven=profile.uneven, noise=profile.noise, noise_from=profile.noise_from)
        + _lines(map=map_name, map_sha256=map_sha256, map_scale=MAP_SCALE),
    ]
    for number, m in enumerate(profile.marks, start=1):
        parts.append(
            f"[[mark]]  # {number}\n"
            + _lines(x_px=m.x_px, y_px=m.y_px, radius_px=m.radius_px, density=m.density)
            + _lines(length_px=m.length_px, width_px=m.width_px, angle_deg=m.angle_deg)
            + _lines(doubtful=m.doubtful, answer=m.answer)
        )
    return "\n".join(parts)


def _lines(**values: Any) -> str:
    rows = []
    for key, value in values.items():
        if value is not None:
            told = _TOLD.get(key)
            rows.append(f"{key} = {_toml(value)}" + (f"  # {told}" if told else "") + "\n")
    return "".join(rows)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        long = any(isinstance(item, str) for item in value)
        return "[\n" + "".join(f"  {_toml(i)},\n" for i in value) + "]" if long else f"[{', '.join(map(_toml, value))}]"
    # A JSON string is a TOML string, but for the one control character that JSON lets through.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f") if isinstance(value, str) else repr(value)


class _Table:
    """One table of the file; each `take` checks a value, `finish` refuses what nobody took (a misspelt key)."""

    def __init__(self, values: Any, where: str, name: str) -> None:
        self.where, self.name = where, name
        if not isinstance(values, dict):
            raise self.wrong(f"{where} is missing or is no table")
        self.rest = dict(values)

    def wrong(self, what: str) -> ProfileError:
        return ProfileError(f"{self.name} can't be used: {what}. Restore it or calibrate again.")

    def take(self, key: str, kind: type, told: str) -> Any:
        value = self.rest.pop(key, None)
        # In Python true is a number; in a profile it is not.
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise self.wrong(f"{key} in {self.where} is missing or is not {told}")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        return self.check(self.rest.pop(key, None), key, low, high)

    def check(self, value: Any, key: str, low: float, high: float) -> float:
        # Not-a-number fails the comparison, as it should.
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.wrong(f"{key} in {self.where} is not a number from {low:g} to {high:g}")
        return float(value)

    def finish(self) -> None:
        if self.rest:
            raise self.wrong(f"{self.where} has an entry '{next(iter(self.rest))}' that is not known")


def parse_profile(text: str, read_map: Callable[[str], bytes], name: str) -> Profile:
    """The profile in `text`; `read_map` gives the bytes of the map by its name, `name` is how errors call the profile.

    Raises ProfileError with a sentence for whatever is not a profile that this version wrote or a person answered in.
    """
    top = _opened(text, name)
    made_by, made_at = top.take("made_by", str, "a text"), top.take("made_at", str, "a text")
    picture, blanks, light = (_Table(top.rest.pop(k, None), f"[{k}]", name) for k in ("picture", "blanks", "light"))
    listed = top.rest.pop("mark", [])
    top.finish()
    if not isinstance(listed, list):
        raise top.wrong("[[mark]] is no list")
    width, height = (_side(picture, key) for key in ("width_px", "height_px"))
    scale = picture.number("px_per_mm", 0.1, 10_000) if "px_per_mm" in picture.rest else None
    picture.finish()
    hashes = blanks.take("sha256", list, "a list")
    if not hashes or not all(isinstance(h, str) for h in hashes):
        raise blanks.wrong("sha256 in [blanks] is not a list of texts")
    blanks.finish()
    level, uneven = light.number("level", 0, 1), light.number("uneven", 0, 1)
    noise, noise_from = _noise_of(light), light.take("noise_from", str, "a text")
    return Profile(
        even_light=EvenLight(_map_of(light, read_map), width, height),
        marks=tuple(_mark_of(_Table(m, f"mark {n}", name), width, height) for n, m in enumerate(listed, start=1)),
        px_per_mm=scale,
        level=level,
        uneven=uneven,
        noise=noise,
        noise_from=noise_from,
        shot_sha256=tuple(hashes),
        made_at=made_at,
        made_by=made_by,
    )


def _opened(text: str, name: str) -> _Table:
    """The outermost table of a profile of our format and of a version that is read."""
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise ProfileError(f"{name} is not a panel profile, or was damaged: {str(error) or 'too deep'}.") from None
    if values.get("format") != FORMAT:
        raise ProfileError(f"{name} is not a panel profile: its format is not '{FORMAT}'.")
    top = _Table(values, "the file", name)
    top.take("format", str, "a text")
    version = top.take("version", int, "a whole number")
    if version > VERSION:
        raise ProfileError(
            f"{name} is a panel profile of version {version}; this program reads up to {VERSION}. "
            "Use the newer program, or calibrate again."
        )
    if version < 1:
        raise top.wrong("its version is below 1")
    return top


def _side(picture: _Table, key: str) -> int:
    value = picture.take(key, int, "a whole number")
    if not 1 <= value <= 1_000_000:
        raise picture.wrong(f"{key} in [picture] is not a number from 1 to 1000000")
    return int(value)


def _noise_of(light: _Table) -> Triple:
    values = light.take("noise", list, "a list of three numbers")
    if len(values) != 3:
        raise light.wrong("noise in [light] is not a list of three numbers")
    red, green, blue = (light.check(value, "noise", 0, 10) for value in values)
    return red, green, blue


def _map_of(light: _Table, read_map: Callable[[str], bytes]) -> FloatArray:
    map_name = light.take("map", str, "a text")
    digest = light.take("map_sha256", str, "a text")
    scale = light.number("map_scale", 1, 65535)
    light.finish()
    if not map_name or map_name in (".", "..") or re.search(r"[/\\:\x00-\x1f]", map_name):
        raise light.wrong("map in [light] is not the plain name of a file beside the profile")
    data = read_map(map_name)
    if hashlib.sha256(data).hexdigest() != digest.lower():
        raise light.wrong(f"its map {map_name} was changed since, or belongs to another profile")
    # The size stands in the first bytes of a PNG: a bad one is refused before memory is asked for.
    sides = struct.unpack(">II", data[16:24]) if data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 24 else (0, 0)
    coded = (
        cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED) if 0 < max(sides) <= _MOST_MAP_SIDE else None
    )
    if coded is None or coded.dtype != np.uint16 or coded.ndim != 3 or coded.shape[2] != 3:
        raise light.wrong(f"its map {map_name} is not a 16-bit PNG of three channels")
    level = (coded[..., ::-1] / scale).astype(np.float32)
    if not 0 < level.min() <= level.max() <= 1:
        raise light.wrong(f"its map {map_name} holds light outside 0..1")
    return np.asarray(level)


def _mark_of(table: _Table, width: int, height: int) -> FixedMark:
    far = float(np.hypot(width, height))
    answer = table.take("answer", str, "a text").strip().lower()
    if answer not in ANSWERS:
        raise table.wrong(f'the answer of {table.where} is \'{answer}\' and not "scratch", "insect" or empty')
    mark = FixedMark(
        x_px=table.number("x_px", -0.5, width - 0.5),
        y_px=table.number("y_px", -0.5, height - 0.5),
        radius_px=table.number("radius_px", 0.1, far),
        density=table.number("density", -5, 5),
        answer=answer,
        length_px=table.number("length_px", 0, far),
        width_px=table.number("width_px", 0, far),
        angle_deg=table.number("angle_deg", 0, 180),
        doubtful=table.take("doubtful", bool, "true or false"),
    )
    table.finish()
    return mark
