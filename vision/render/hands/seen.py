"""A body as it is seen in a finished picture: its place in the truth, with its contrast measured there."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, rgb2lab

from vision.render.truth import ALIKE_DELTA_E, TrueBody
from vision.types import FloatArray

_ROUND_PX, _GAP_PX = 6, 2
"""How wide what counts as round a body is, and how far off it begins: beside it lies its blur."""
_MARGIN_PX = 12


@dataclass(frozen=True)
class HandDrawn:
    """A drawn shot: `pixels` (h, w, 3) uint8 sRGB, and the insects in it."""

    pixels: NDArray[np.uint8]
    truth: tuple[TrueBody, ...]
    px_per_mm: float


@dataclass(frozen=True)
class Body:
    """A body that was drawn: centre and angle as in TrueBody, `visible` 0..1."""

    kind: str
    x_px: float
    y_px: float
    length_mm: float
    width_mm: float
    angle_deg: float
    visible: float
    curved: bool


def true_body(body: Body, mask: FloatArray, picture: FloatArray, px_per_mm: float, surface: str) -> TrueBody:
    """The row of a body whose visible part, without limbs, `mask` (h, w) 0..1 shows in `picture` (h, w, 3) sRGB 0..1."""
    rows, columns = np.nonzero(mask > 0.5)
    delta_e, tone = 0.0, "like"
    if len(rows):
        top, left = (max(int(v.min()) - _MARGIN_PX, 0) for v in (rows, columns))
        box = slice(top, int(rows.max()) + _MARGIN_PX), slice(left, int(columns.max()) + _MARGIN_PX)
        delta_e, tone = _contrast(mask[box] > 0.5, picture[box])
    return TrueBody(
        kind=body.kind, form="", insect=True, x_px=body.x_px, y_px=body.y_px, x_mm=body.x_px / px_per_mm,
        y_mm=body.y_px / px_per_mm, length_mm=body.length_mm, width_mm=body.width_mm, angle_deg=body.angle_deg % 180.0,
        curved=body.curved, surface=surface, tone=tone, heated=False, visible=body.visible, delta_e=delta_e, defocus_px=0.0,
    )  # fmt: skip


def _contrast(inside: NDArray[np.bool_], picture: FloatArray) -> tuple[float, str]:
    """CIEDE2000 of the mean colours inside and round it, and which is darker."""

    def grown(by: int) -> NDArray[np.bool_]:
        side = 2 * by + 1
        wide = cv2.dilate(inside.astype(np.uint8), np.ones((side, side), np.uint8))
        return np.asarray(np.asarray(wide) > 0)

    around = grown(_GAP_PX + _ROUND_PX) & ~grown(_GAP_PX)
    if not around.any():
        return 0.0, "like"
    own, other = (rgb2lab(np.clip(picture[some], 0, 1).mean(axis=0)[None, None])[0, 0] for some in (inside, around))
    delta_e = float(deltaE_ciede2000(own, other))  # type: ignore[no-untyped-call]
    if delta_e < ALIKE_DELTA_E:
        return delta_e, "like"
    return delta_e, "darker" if own[0] < other[0] else "lighter"
