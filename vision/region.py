"""A part of a photograph, as large as it is or shrunk by a whole number."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks import Picture


def region(pixels: NDArray[Any], left_px: int, top_px: int, wide_px: int, high_px: int, shrink: int = 1) -> Picture:
    """A box of an (h, w, 3) picture, uint8 or uint16 over its full scale, as uint8 with 1/`shrink` of its pixels a side.

    The box is cut at the picture's edge. Shrinking takes means, so that a dark speck grows pale but does not vanish between samples.
    Raises ValueError where nothing of the box lies in the picture, or `shrink` is below 1.
    """
    if shrink < 1:
        raise ValueError("a picture is shrunk by a whole number from 1 up")
    high, wide = pixels.shape[:2]
    left, top = max(0, left_px), max(0, top_px)
    right, bottom = min(wide, left_px + wide_px), min(high, top_px + high_px)
    if left >= right or top >= bottom:
        raise ValueError("the box lies outside the picture")
    part = pixels[top:bottom, left:right]
    if part.dtype == np.uint16:
        part = cv2.convertScaleAbs(part, alpha=255 / 65535)
    if shrink == 1:
        return np.ascontiguousarray(part, dtype=np.uint8)
    size = (max(1, round((right - left) / shrink)), max(1, round((bottom - top) / shrink)))
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
