"""What a calibration says to the person at the panel: sentences, and a picture of the marks they are asked about."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from calib.marks import as_bytes
from calib.panel import PanelMeasurement
from calib.profile import Profile
from vision.text import font, write
from vision.types import FixedMark, Shot

_TILE, _GAP, _CAPTION, _ACROSS = 200, 12, 26, 5
_CAP = 11.0
_INK, _PAPER = "#141414", "#ffffff"


def mark_crops(shot: Shot, marks: Sequence[FixedMark], px_per_mm: float | None) -> NDArray[np.uint8]:
    """Each doubtful mark without an answer once, at one scale, numbered as in the profile: (h, w, 3) uint8, or (0, 0, 3) if none.

    `marks` in the order of the profile; `shot` is a blank that shows them.
    """
    asked = _asked(marks)
    if not asked:
        return np.zeros((0, 0, 3), dtype=np.uint8)
    half = math.ceil(min(max(24.0, 1.6 * max(mark.radius_px for _, mark in asked)), 400.0))
    across = min(_ACROSS, len(asked))
    rows = math.ceil(len(asked) / across)
    size = (across * (_TILE + _GAP) + _GAP, rows * (_TILE + _CAPTION + _GAP) + _GAP + _CAPTION)
    sheet = Image.new("RGB", size, _PAPER)
    draw = ImageDraw.Draw(sheet)
    face = font(_CAP)
    for place, (number, mark) in enumerate(asked):
        left = _GAP + place % across * (_TILE + _GAP)
        top = _GAP + place // across * (_TILE + _CAPTION + _GAP)
        sheet.paste(_crop(shot, mark, half), (left, top))
        draw.rectangle((left, top, left + _TILE - 1, top + _TILE - 1), outline="#787878")
        write(draw, (left, top + _TILE + _CAPTION - 7), f"{number}   x {mark.x_px:.0f}  y {mark.y_px:.0f}", face, _INK)
    _scale_bar(draw, size[1] - _GAP, _TILE / (2 * half + 1), px_per_mm)
    return np.asarray(sheet, dtype=np.uint8)


def _asked(marks: Sequence[FixedMark]) -> list[tuple[int, FixedMark]]:
    return [(n, mark) for n, mark in enumerate(marks, start=1) if mark.doubtful and not mark.answer]


def _crop(shot: Shot, mark: FixedMark, half: int) -> Image.Image:
    x, y = round(mark.x_px), round(mark.y_px)
    # Beyond the picture's edge its last pixels go on, so that every crop has the same scale.
    rows = np.clip(np.arange(y - half, y + half + 1), 0, shot.height_px - 1)
    columns = np.clip(np.arange(x - half, x + half + 1), 0, shot.width_px - 1)
    crop = Image.fromarray(as_bytes(shot.pixels[np.ix_(rows, columns)]))
    return crop.resize((_TILE, _TILE), Image.Resampling.BICUBIC)


def _scale_bar(draw: ImageDraw.ImageDraw, bottom: int, zoom: float, px_per_mm: float | None) -> None:
    unit, name = (px_per_mm, "mm") if px_per_mm else (1.0, "px of the shot")
    # The longest of 0.1, 0.2, 0.5, 1, ... that is no wider than a crop.
    fits = [m * 10.0**e for e in range(-1, 4) for m in (1, 2, 5) if m * 10.0**e * unit * zoom <= _TILE]
    length = max(fits, default=0.1)
    right = _GAP + length * unit * zoom
    draw.line((_GAP, bottom - 5, right, bottom - 5), fill=_INK, width=3)
    write(draw, (right + _GAP, bottom), f"{length:g} {name}", font(_CAP), _INK)


def calibration_lines(
    profile: Profile, measured: PanelMeasurement, profile_name: str, crops_name: str
) -> tuple[str, ...]:
    """Sentences for the person who calibrated: the light, the marks, what to answer, what is still missing."""
    blanks = len(profile.shot_sha256)
    lines = [
        f"{_count(blanks, 'blank')} of {profile.even_light.width_px} x {profile.even_light.height_px} pixels; the panel reads "
        f"{100 * profile.level:.0f}% of full scale.",
        f"From its brightest to its darkest part the light falls by {100 * profile.uneven:.0f}%; `score --panel` divides by it.",
    ]
    if measured.panel_share < 1:
        lines.append(
            f"The panel fills {100 * measured.panel_share:.0f}% of the picture; nothing is searched for marks beyond it."
        )
    lines += _mark_lines(profile, profile_name, crops_name)
    if measured.moved:
        places = ", ".join(f"x {m.x_px:.0f} y {m.y_px:.0f}" for m in measured.moved[:5])
        more = " and elsewhere" if len(measured.moved) > 5 else ""
        lines.append(
            f"{_count(len(measured.moved), 'speck')} in some of the blanks only ({places}{more}): dust that moved, an insect, or "
            "a camera that moved. Not taken for a mark. Wipe the panel, fix the camera and take the blanks again."
        )
    if measured.exposure_spread > 1.2:
        lines.append(
            f"The blanks differ in exposure by a factor of {measured.exposure_spread:.2f}: lock exposure and white balance."
        )
    if measured.flicker > 0:
        rest = (
            "they were taken out of the map"
            if blanks >= 3
            else "three blanks or more tell them from the panel's own light"
        )
        lines.append(
            f"The panel flickers: bands of {100 * measured.flicker:.1f}% lie elsewhere in each blank; {rest}. A longer exposure or "
            "another supply is better."
        )
    if blanks < 3:
        lines.append(
            f"{'One blank' if blanks == 1 else 'Two blanks'} only: three or more tell fixed marks from dust that moves, and the "
            "map's noise falls with the square root of their number."
        )
    if profile.px_per_mm is None:
        lines.append("No scale in this profile: give --px-per-mm N, or sizes stay empty.")
    return tuple(lines)


def _mark_lines(profile: Profile, profile_name: str, crops_name: str) -> list[str]:
    asked = [number for number, _ in _asked(profile.marks)]
    found = _count(len(profile.marks), "fixed mark")
    lines = [f"{found} found (a winding one counts piece by piece), {len(asked)} of which could be an insect."]
    if asked:
        numbers = ", ".join(map(str, asked))
        lines.append(
            f'Look at {crops_name} and at the panel, then open {profile_name} and write "scratch" or "insect" as the answer of '
            f"mark {numbers}. Until then these places are flagged like any other."
        )
    insects = sum(mark.answer == "insect" for mark in profile.marks)
    if insects:
        lines.append(f'{_count(insects, "mark")} answered "insect": wipe the panel and take the blanks again.')
    return lines


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
