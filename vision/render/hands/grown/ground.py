"""What insects and debris are laid on, and how a stamp is laid there."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.grown.clay import Stamp
from vision.render.hands.grown.fields import levels
from vision.types import FloatArray, MaskArray


@dataclass(frozen=True)
class Veil:
    """Matter over part of the scene: (h, w, 3) share it lets through and light it sends, (h, w) where it hides what is under."""

    keep: FloatArray
    add: FloatArray
    hides: FloatArray


@dataclass(frozen=True)
class Ground:
    """A scene before anything lies on it. `light` (h, w, 3) linear; `relief` (h, w) height over the panel in px; `open`
    (h, w) 0..1 how much of the light from above gets there; `top` (3,) that light; `produce` (h, w) where produce is."""

    light: FloatArray
    relief: FloatArray
    open: FloatArray
    top: FloatArray
    produce: MaskArray
    under: str
    """Name of the surface where there is no produce."""
    veil: Veil | None
    tints: tuple[FloatArray, ...]
    """Colours that bits of this scene's plants have."""


@dataclass(frozen=True)
class Spot:
    """A stamp's window in the picture: `rows`, `columns` of the picture, and `own` the same window in the stamp."""

    rows: slice
    columns: slice
    own: tuple[slice, slice]


def spot(stamp: Stamp, x_px: float, y_px: float, h: int, w: int) -> Spot | None:
    """Where a stamp centred at x, y falls in an h x w picture; None if outside."""
    n = stamp.body.shape[0]
    left, top = round(x_px) - n // 2, round(y_px) - n // 2
    x0, x1, y0, y1 = max(left, 0), min(left + n, w), max(top, 0), min(top + n, h)
    if x0 >= x1 or y0 >= y1:
        return None
    return Spot(slice(y0, y1), slice(x0, x1), (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left)))


def lay(light: FloatArray, stamp: Stamp, at: Spot, top: FloatArray, shown: FloatArray | float, shadow: float) -> None:
    """Lays the stamp into `light` in place where it is `shown` (0..1); round it the ground is darkened by `shadow`."""
    here = at.rows, at.columns
    keep, add = stamp.keep[at.own], stamp.add[at.own]
    share = np.broadcast_to(np.asarray(shown, np.float32), keep.shape[:2])[..., None]
    under = light[here]
    if shadow > 0:
        solid = 1 - levels(stamp.keep)
        # Shade falls a little to one side and is wider than the thing.
        wide = _spread(solid, max(2, stamp.body.shape[0] // 16))
        under = under * (1 - np.float32(shadow) * wide[at.own])[..., None]
    light[here] = under * (1 - share * (1 - keep)) + share * add * top


def _spread(field: FloatArray, by: int) -> FloatArray:
    return np.asarray(cv2.blur(np.roll(field, by // 2, (0, 1)), (2 * by + 1, 2 * by + 1)), np.float32)
