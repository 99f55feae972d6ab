"""How a panel's profile is written: TOML text a person can read, compare and answer in, and its map as a 16-bit PNG.

Pure: values in, text and bytes out. calib/profile_read.py is the way back, calib/profile.py touches the disk.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.panel import Triple
from vision import __version__
from vision.errors import ProfileError
from vision.types import CameraFacts, EvenLight, FixedMark, FloatArray, GroundMap, Lens, ScaleFrom, Sharpness

FORMAT = "speckwise panel profile"
VERSION = 2
"""1 knew neither camera, plane nor sharpness; it is still read."""
MAP_SCALE = 65535
ANSWERS = ("", "scratch", "insect")
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
#
# [camera]: as the blanks' files say; a shot from another camera or lens is scored without this profile. [lens]: distortion after
# Brown (1971): with x = (px - centre) / focal, r^2 = x^2 + y^2, a point is seen at x (1 + k1 r^2 + k2 r^4). [ground]: to_mm (3 x 3, row
# by row) takes straightened pixels (x, y, 1) to millimetres on the panel up to a factor, covariance (8 x 8, row by row) is that of its
# first eight entries, and the scale is quoted at x_px, y_px. [sharpness]: of the blanks' set-up, at the slip, cycles per pixel.
"""
_TOLD = {
    "made_at": "RFC 3339, UTC",
    "height_px": "width and height of the blanks; shots of another size can't be divided by this map",
    "px_per_mm": "shot pixels to a millimetre on the panel",
    "scale_from": "slip, ruler or option: who gave the scale",
    "focal_mm": "mm",
    "focal_35mm": "mm, of the same field of view on 36 x 24 mm film",
    "digital_zoom": "times",
    "colour": "median light of the panel: red, green, blue",
    "flicker": "amplitude of the bands a flickering panel leaves in a shot, as a share of its light; 0: none seen",
    "pattern": "how much of its light and marks, drawn from this file, the first blank shows; 0: nothing to be seen",
    "straightened": "true: [lens] is undone before to_mm",
    "blur_px": "standard deviation of the blur, camera and print together, the camera's sharpening undone",
    "mtf50_cy_px": "ISO 12233 e-SFR of the picture as it is",
    "overshoot": "of an edge over its level, as a share of its step",
    "sharpened": "by the camera",
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
    scale_from: ScaleFrom = ScaleFrom.NONE
    """Who gave the scale when the profile was made; NONE where there is none, or where an older profile does not say."""
    camera: CameraFacts = field(default_factory=CameraFacts)
    lens: Lens | None = None
    ground_map: GroundMap | None = None
    sharpness: Sharpness | None = None
    colour: Triple = (0.0, 0.0, 0.0)
    """Median linear light of the panel: red, green, blue; zeros where an older profile does not say."""
    flicker: float = 0.0
    pattern: float = 0.0
    """How much of the pattern of light and marks, as calib/registration.py draws it, the first blank shows; 0 where not known."""


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
        "[picture]\n"
        + _lines(width_px=light.width_px, height_px=light.height_px, px_per_mm=profile.px_per_mm)
        + _lines(scale_from=None if profile.px_per_mm is None else str(profile.scale_from)),
        *_set_up_parts(profile),
        "[blanks]\n" + _lines(sha256=profile.shot_sha256),
        "[light]\n"
        + _lines(level=profile.level, colour=profile.colour, uneven=profile.uneven)
        + _lines(flicker=profile.flicker, pattern=profile.pattern)
        + _lines(noise=profile.noise, noise_from=profile.noise_from)
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


def _set_up_parts(profile: Profile) -> list[str]:
    """The tables of camera, lens, plane and sharpness, as far as they are known."""
    c, lens, ground, sharp = profile.camera, profile.lens, profile.ground_map, profile.sharpness
    named = _lines(make=c.make or None, model=c.model or None, lens=c.lens or None)
    named += _lines(focal_mm=c.focal_mm, focal_35mm=c.focal_35mm, digital_zoom=c.digital_zoom)
    parts = ["[camera]\n" + named] if named else []
    if lens is not None:
        places = _lines(focal_px=lens.focal_px, centre_x_px=lens.centre_x_px, centre_y_px=lens.centre_y_px)
        parts.append("[lens]\n" + places + _lines(k1=lens.k1, k2=lens.k2))
    if ground is not None:
        parts.append(
            "[ground]\n"
            + _lines(x_px=ground.x_px, y_px=ground.y_px, straightened=ground.lens is not None)
            + _lines(to_mm=tuple(map(float, ground.to_mm.ravel())))
            + _lines(covariance=tuple(map(float, ground.covariance.ravel())))
        )
    if sharp is not None:
        parts.append(
            "[sharpness]\n"
            + _lines(blur_px=sharp.blur_px, mtf50_cy_px=sharp.mtf50_cy_px, mtf10_cy_px=sharp.mtf10_cy_px)
            + _lines(overshoot=sharp.overshoot, sharpened=sharp.sharpened)
        )
    return parts


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
