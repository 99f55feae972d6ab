"""A panel's profile read back from its text and map; whatever is not sound is answered with a sentence.

Pure: text and bytes in, a Profile out.
"""

from __future__ import annotations

import hashlib
import re
import struct
import tomllib
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from calib.panel import Triple
from calib.profile_text import ANSWERS, FORMAT, VERSION, Profile
from vision.errors import ProfileError
from vision.geometry import px_per_mm_at
from vision.types import CameraFacts, EvenLight, FixedMark, FloatArray, GroundMap, Lens, ScaleFrom, Sharpness

_MOST_MAP_SIDE = 2000
_MOST_CHARACTERS = 80
_SCALES = {ScaleFrom.OPTION: "option", ScaleFrom.RULER: "ruler", ScaleFrom.SLIP: "slip"}
_SAME_SCALE = 0.02
"""How far the plane's scale may be from the one that is quoted before one of the two was edited."""


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

    def numbers(self, key: str, count: int, low: float, high: float) -> list[float]:
        values = self.take(key, list, f"a list of {count} numbers")
        if len(values) != count:
            raise self.wrong(f"{key} in {self.where} is not a list of {count} numbers")
        return [self.check(value, key, low, high) for value in values]

    def inner(self, key: str) -> _Table | None:
        """The table of that name inside this one; None where it is not there."""
        return _Table(self.rest.pop(key), f"[{key}]", self.name) if key in self.rest else None

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
    width, height = (_side(picture, key) for key in ("width_px", "height_px"))
    scale, scale_from = _scale_of(picture)
    camera, lens = _camera_of(top), _lens_of(top, width, height)
    ground_map, sharpness = _ground_of(top, width, height, lens, scale), _sharpness_of(top)
    listed = top.rest.pop("mark", [])
    top.finish()
    if not isinstance(listed, list):
        raise top.wrong("[[mark]] is no list")
    hashes = blanks.take("sha256", list, "a list")
    if not hashes or not all(isinstance(h, str) for h in hashes):
        raise blanks.wrong("sha256 in [blanks] is not a list of texts")
    blanks.finish()
    level, uneven = light.number("level", 0, 1), light.number("uneven", 0, 1)
    noise, noise_from = _triple(light, "noise", 10), light.take("noise_from", str, "a text")
    colour = _triple(light, "colour", 1) if "colour" in light.rest else (0.0, 0.0, 0.0)
    flicker = light.number("flicker", 0, 1) if "flicker" in light.rest else 0.0
    pattern = light.number("pattern", 0, 10) if "pattern" in light.rest else 0.0
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
        scale_from=scale_from,
        camera=camera,
        lens=lens,
        ground_map=ground_map,
        sharpness=sharpness,
        colour=colour,
        flicker=flicker,
        pattern=pattern,
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


def _triple(light: _Table, key: str, most: float) -> Triple:
    red, green, blue = light.numbers(key, 3, 0, most)
    return red, green, blue


def _scale_of(picture: _Table) -> tuple[float | None, ScaleFrom]:
    """The scale and who gave it; an older profile does not say who."""
    scale = picture.number("px_per_mm", 0.1, 10_000) if "px_per_mm" in picture.rest else None
    said = picture.take("scale_from", str, "a text") if "scale_from" in picture.rest else ""
    picture.finish()
    named = {text: kind for kind, text in _SCALES.items()}
    if said and (said not in named or scale is None):
        raise picture.wrong("scale_from in [picture] is not option, ruler or slip beside a px_per_mm")
    return scale, named.get(said, ScaleFrom.NONE)


def _camera_of(top: _Table) -> CameraFacts:
    table = top.inner("camera")
    if table is None:
        return CameraFacts()
    words: dict[str, str] = {}
    numbers: dict[str, float | None] = {}
    for key in ("make", "model", "lens"):
        text = table.take(key, str, "a text") if key in table.rest else ""
        if len(text) > _MOST_CHARACTERS or not text.isprintable():
            raise table.wrong(f"{key} in [camera] is no name of up to {_MOST_CHARACTERS} characters")
        words[key] = text
    for key in ("focal_mm", "focal_35mm", "digital_zoom"):
        numbers[key] = table.number(key, 1e-3, 5000) if key in table.rest else None
    table.finish()
    return CameraFacts(
        words["make"],
        words["model"],
        words["lens"],
        numbers["focal_mm"],
        numbers["focal_35mm"],
        numbers["digital_zoom"],
    )


def _lens_of(top: _Table, width: int, height: int) -> Lens | None:
    table = top.inner("lens")
    if table is None:
        return None
    long = max(width, height)
    lens = Lens(
        focal_px=table.number("focal_px", 0.05 * long, 100 * long),
        centre_x_px=table.number("centre_x_px", 0, width),
        centre_y_px=table.number("centre_y_px", 0, height),
        k1=table.number("k1", -10, 10),
        k2=table.number("k2", -100, 100),
        width_px=width,
        height_px=height,
    )
    table.finish()
    return lens


def _ground_of(top: _Table, width: int, height: int, lens: Lens | None, scale: float | None) -> GroundMap | None:
    """The plane's map, checked so far that no arithmetic with it can fail or put the panel behind the camera."""
    table = top.inner("ground")
    if table is None:
        return None
    straightened = table.take("straightened", bool, "true or false")
    x_px, y_px = table.number("x_px", -0.5, width - 0.5), table.number("y_px", -0.5, height - 0.5)
    to_mm = np.array(table.numbers("to_mm", 9, -1e9, 1e9)).reshape(3, 3)
    covariance = np.array(table.numbers("covariance", 64, -1e15, 1e15)).reshape(8, 8)
    table.finish()
    if straightened and lens is None:
        raise table.wrong("[ground] wants its [lens], which is missing")
    if scale is None:
        raise table.wrong("[ground] wants px_per_mm in [picture], which is missing")
    if to_mm[2, 2] != 1 or not abs(np.linalg.det(to_mm)) > 1e-12:
        raise table.wrong("to_mm in [ground] is no view of a plane")
    spread = np.linalg.eigvalsh((covariance + covariance.T) / 2)
    if not np.allclose(covariance, covariance.T, rtol=1e-6, atol=1e-30) or spread.min() < -1e-6 * abs(spread).max():
        raise table.wrong("covariance in [ground] is no covariance")
    ground_map = GroundMap(to_mm, covariance, x_px, y_px, lens if straightened else None)
    places = np.array([[x_px, y_px], [0, 0], [width, 0], [0, height], [width, height]], dtype=np.float64)
    with np.errstate(all="ignore"):
        own = px_per_mm_at(ground_map, places)
    # Not-a-number, which is what a place behind the camera has, fails both comparisons.
    if not (own.min() > 0.05 and own.max() < 20_000):
        raise table.wrong("to_mm in [ground] is no view of a plane that fills the picture")
    if not abs(own[0] / scale - 1) <= _SAME_SCALE:
        raise table.wrong(f"to_mm in [ground] says {own[0]:.4g} px/mm and px_per_mm in [picture] {scale:.4g}")
    return ground_map


def _sharpness_of(top: _Table) -> Sharpness | None:
    table = top.inner("sharpness")
    if table is None:
        return None
    sharpness = Sharpness(
        blur_px=table.number("blur_px", 0.01, 1000),
        mtf50_cy_px=table.number("mtf50_cy_px", 1e-4, 10),
        mtf10_cy_px=table.number("mtf10_cy_px", 0, 10) if "mtf10_cy_px" in table.rest else None,
        overshoot=table.number("overshoot", -10, 10),
        sharpened=table.take("sharpened", bool, "true or false"),
        from_slip=True,
    )
    table.finish()
    return sharpness


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
