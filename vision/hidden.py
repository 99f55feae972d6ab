"""What is printed for us in the shot: never searched, and no part of the ground's light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.ground import Cells
from vision.types import MaskArray, Surfaces

_MARGIN = 0.005
"""How far round the print its cut edge and its shadow reach, as a share of the print's own circumference: about a millimetre
round a strip of 20 x 85 mm."""
_NO_GROUND = 9.0
"""A texture (spread of log light) no ground has."""


def hidden_mask(outlines_px: Sequence[NDArray[np.float64]], shape: tuple[int, int], step: int) -> MaskArray | None:
    """The working pixels, (h, w) bool, under the print and a narrow margin round it; None where nothing is printed."""
    if not outlines_px:
        return None
    mask = np.zeros(shape, np.uint8)
    for outline in outlines_px:
        points = (np.asarray(outline) - (step - 1) / 2) / step
        around = float(np.hypot(*np.diff(points, axis=0, append=points[:1]).T).sum())
        polygon = [np.rint(np.clip(points, -1e5, 1e5) * 16).astype(np.int32)]
        cv2.fillPoly(mask, polygon, 1, cv2.LINE_8, 4)
        cv2.polylines(mask, polygon, True, 1, max(1, round(2 * _MARGIN * around)), cv2.LINE_8, 4)
    return np.asarray(mask > 0)


def without_cells(cells: Cells, hidden: MaskArray | None) -> Cells:
    """The cells such that none that holds print is taken for ground."""
    if hidden is None:
        return cells
    high, wide = cells.texture.shape
    share = cv2.resize(hidden.astype(np.float32), (wide, high), interpolation=cv2.INTER_AREA).reshape(high, wide)
    return replace(cells, texture=np.where(share > 0, np.float32(_NO_GROUND), cells.texture))


def without_hidden(surfaces: Surfaces, hidden: MaskArray | None) -> Surfaces:
    """The surfaces with the print outside of what is searched."""
    if hidden is None:
        return surfaces
    return Surfaces(surfaces.ground & ~hidden, surfaces.produce & ~hidden, surfaces.outside | hidden)
