"""Bubbles on the water of a tray: what lies under a raft of them is not seen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.conditions.rings import Rings
from vision.types import Ground, LitFrom, MaskArray, Surfaces

_TOO_MANY = 0.1
"""Share of the tray from which one taps it and waits."""
_ALL_OVER = 0.4
"""Share of the tray at which severity is 1."""
_LEAST_TOUCHING = 1.5
"""Bright middles for each outline from which rings on a ground that nobody named are bubbles: drops that touch become one."""


@dataclass(frozen=True)
class Bubbles:
    """`share` (0..1) of the tray that `count` bubbles cover; `mask` (h, w) bool, working pixels; `severity` 0: nothing to say."""

    count: int
    share: float
    severity: float
    mask: MaskArray


def find_bubbles(rings: Rings, surfaces: Surfaces, ground: Ground | None, lit_from: LitFrom) -> Bubbles:
    """Bubbles in a water shot; none where the ground is said to be something else or the light comes from above."""
    h, w = surfaces.ground.shape
    count = sum(max(r.holes, 1) for r in rings.rings)
    nothing = lit_from == LitFrom.ABOVE or ground not in (None, Ground.WATER) or not rings.rings
    if nothing or (ground is None and count < _LEAST_TOUCHING * len(rings.rings)):
        return Bubbles(0, 0.0, 0.0, np.zeros((h, w), bool))
    mask = rings.covered
    if mask.shape != (h, w):
        mask = cv2.resize(mask.view(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST).view(bool)
    # A raft at the picture's edge may have been taken for the tray's wall.
    tray = h * w - cv2.countNonZero((surfaces.outside & ~mask).view(np.uint8))
    share = cv2.countNonZero(mask.view(np.uint8)) / max(tray, 1)
    return Bubbles(count, share, min(1.0, share / _ALL_OVER) if share > _TOO_MANY else 0.0, mask)
