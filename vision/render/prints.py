"""Printed pieces on the ground: paper or clear film, laid flat at a place and an angle. Never drawn by chance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.types import FloatArray

_THROUGH_PAPER = 0.1
"""Share of the panel's light that comes through office paper (common practice, no source)."""
_PAPER_WHITE = 0.85
_FOLD = 3
"""Sub-pixels along a pixel over which the print is averaged."""


@dataclass(frozen=True, eq=False)
class Print:
    """A printed piece: its light (h, w, 3) float32, 1 where nothing is printed, and where its middle lies."""

    light: FloatArray
    px_per_mm: float
    """Pixels of `light` in a millimetre."""
    x_mm: float
    y_mm: float
    angle_deg: float = 0.0
    """Direction of its long side, 0 along x, clockwise as seen."""
    film: bool = False
    """Clear film: what lies under it is seen through it."""

    @property
    def corners_mm(self) -> FloatArray:
        """(4, 2) in millimetres of the scene, clockwise from its own top left."""
        h, w = (side / self.px_per_mm / 2 for side in self.light.shape[:2])
        a = np.deg2rad(self.angle_deg)
        turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) @ turn + (self.x_mm, self.y_mm)
        return np.asarray(corners, dtype=np.float32)


def lay_print(light: FloatArray, piece: Print, px_per_mm: float, room_light: float, lamp: FloatArray | None) -> None:
    """Lays the piece over `light` (h, w, 3) in place. `lamp` (h, w, 3): the light from above; None where it comes from below, and
    `room_light` is then all that falls on the print, relative to the panel. A millimetre (x, y) is pixel (x, y) px_per_mm."""
    # The same convention as for all bodies: pixel (0, 0) has its centre at 0 mm.
    corners = piece.corners_mm * px_per_mm
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)) - 1, 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0)) + 2, light.shape[1::-1]).astype(int)
    if x0 >= x1 or y0 >= y1:
        return
    h, w = piece.light.shape[:2]
    inside = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - np.float32(0.5)
    fine = (corners - (x0, y0) + 0.5) * _FOLD - 0.5
    warp = cv2.getPerspectiveTransform(inside, fine.astype(np.float32))
    size = ((x1 - x0) * _FOLD, (y1 - y0) * _FOLD)
    ink = cv2.warpPerspective(piece.light, warp, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpPerspective(np.ones((h, w), np.float32), warp, size, flags=cv2.INTER_LINEAR)
    part = (x1 - x0, y1 - y0)
    ink = cv2.resize(ink, part, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(cover, part, interpolation=cv2.INTER_AREA)[..., None]
    under = light[y0:y1, x0:x1]
    if piece.film:
        shown = under * ink
    elif lamp is None:
        shown = (under * _THROUGH_PAPER + room_light * _PAPER_WHITE) * ink
    else:
        shown = lamp[y0:y1, x0:x1] * _PAPER_WHITE * ink
    under *= 1 - cover
    under += cover * shown
