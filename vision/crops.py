"""Each candidate cut out of the photograph, unmarked and at one real scale, on one sheet."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks import Picture
from vision.sheet import Box, Place, Sheet, lay_out
from vision.types import Inspection, Shot

_PAD = 214
"""Grey of what lies beyond the photograph's edge."""


def boxes(inspection: Inspection) -> list[Box]:
    """The upright boxes of an inspection's candidates."""
    return [
        Box(c.number, c.measures.left_px, c.measures.top_px, c.measures.wide_px, c.measures.high_px)
        for c in inspection.candidates
    ]


def _window(pixels: NDArray[Any], place: Place, sheet: Sheet) -> Picture:
    """One crop in the sheet's pixels. Windows are cut at whole shot pixels: the scale is off by at most half of one in a window."""
    wide, high = (max(1, round(n * sheet.window_px)) for n in (place.across, place.down))
    left, top = round(place.box.x_px - (wide - 1) / 2), round(place.box.y_px - (high - 1) / 2)
    h, w = pixels.shape[:2]
    x0, y0, x1, y1 = max(0, left), max(0, top), min(w, left + wide), min(h, top + high)
    cut = np.full((high, wide, 3), _PAD, dtype=np.uint8)
    if x0 < x1 and y0 < y1:
        part = pixels[y0:y1, x0:x1]
        if part.dtype == np.uint16:
            part = cv2.convertScaleAbs(part, alpha=255 / 65535)
        cut[y0 - top : y1 - top, x0 - left : x1 - left] = part
    size = (place.across * sheet.cell_px, place.down * sheet.cell_px)
    how = cv2.INTER_AREA if size[0] < wide else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(cut, size, interpolation=how), dtype=np.uint8)


def crop_sheet(shot: Shot, inspection: Inspection) -> Picture | None:
    """The crop sheet as an (h, w, 3) uint8 picture laid out by `sheet.lay_out`; None where nothing was flagged."""
    sheet = lay_out(boxes(inspection), inspection.px_per_mm)
    if not sheet.places:
        return None
    c = sheet.cell_px
    picture = np.full((sheet.rows * c, sheet.columns * c, 3), _PAD, dtype=np.uint8)
    for place in sheet.places:
        left, top = place.x * c, place.y * c
        picture[top : top + place.down * c, left : left + place.across * c] = _window(shot.pixels, place, sheet)
    return picture
