"""Text as outlines in millimetres, so that it prints alike everywhere, in every script the program's own font has."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw
from skimage.measure import approximate_polygon, find_contours

from calib.slip.view import Points
from vision.text import font, in_display_order, wide_px

_CAP_PX = 96.0
"""Height of a capital in the drawing the outlines are taken from: a pixel is a hundredth of a millimetre on the print."""
_ROOM_PX = 60
_OFF_PX = 0.25
"""How far a simplified outline may run beside the letter's own."""


def wide_mm(line: str, cap_mm: float, bold: bool = False) -> float:
    """Width of a line in reading order whose capitals are `cap_mm` high."""
    return wide_px(line, font(_CAP_PX, bold)) * cap_mm / _CAP_PX


def shortened(line: str, cap_mm: float, limit_mm: float, bold: bool = False) -> str:
    """The line, or its start and an ellipsis where it is wider than `limit_mm`; '' where not even that has room."""
    if wide_mm(line, cap_mm, bold) <= limit_mm:
        return line
    for keep in range(len(line) - 1, 0, -1):
        start = line[:keep].rstrip() + "…"
        if wide_mm(start, cap_mm, bold) <= limit_mm:
            return start
    return ""


def outlines(line: str, left_mm: float, baseline_mm: float, cap_mm: float, bold: bool = False) -> list[Points]:
    """The letters of a line in reading order as closed polygons (n, 2) in mm; counters run the other way round.

    `left_mm`, `baseline_mm`: where the line's baseline begins.
    """
    scale = cap_mm / _CAP_PX
    return [ring * scale + np.array([left_mm, baseline_mm]) for ring in _rings(line, bold)]


@lru_cache(maxsize=256)
def _rings(line: str, bold: bool) -> tuple[Points, ...]:
    """In pixels of a drawing with capitals _CAP_PX high; (0, 0) is the baseline's left end."""
    shown = in_display_order(line)
    face = font(_CAP_PX, bold)
    left, top, right, bottom = face.getbbox(shown, anchor="ls")
    size = (math.ceil(right - left) + 2 * _ROOM_PX, math.ceil(bottom - top) + 2 * _ROOM_PX)
    x, y = _ROOM_PX - math.floor(left), _ROOM_PX - math.floor(top)
    image = Image.new("L", size, 0)
    ImageDraw.Draw(image).text((x, y), shown, font=face, fill=255, anchor="ls")
    found = find_contours(np.asarray(image, dtype=np.float32), 127.5)  # type: ignore[no-untyped-call]
    rings = [approximate_polygon(each, _OFF_PX)[:-1, ::-1] for each in found]  # type: ignore[no-untyped-call]
    # find_contours speaks of pixel centres; the drawing's own zero is the outer corner of a pixel.
    return tuple(ring + 0.5 - np.array([x, y]) for ring in rings if len(ring) >= 3)
