"""A finished little thing and how it is laid into a picture of linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import blurred, shifted
from vision.types import FloatArray


@dataclass(frozen=True)
class Light:
    """Light where something lies. `below` 0..1: share of what is seen behind it that came through it; `above` (3,): the light on it."""

    below: float
    above: NDArray[Any]
    shadow: float
    """How dark the soft shadow beside it is, 0..1."""
    hiding: float
    """How much more of what lies behind a body hides than light from below alone would make it."""


@dataclass(frozen=True)
class Stamp:
    """Square arrays of side 2 `radius_px` + 1: `through` and `back` (n, n, 3) linear light, the rest (n, n)."""

    through: FloatArray
    back: FloatArray
    cover: FloatArray
    body: FloatArray
    """0..1: the body without its limbs."""
    height_mm: FloatArray
    radius_px: int


@dataclass(frozen=True)
class Window:
    """The part of a stamp that lies in the picture: the same box in both."""

    picture: tuple[slice, slice]
    stamp: tuple[slice, slice]


def window(stamp: Stamp, x_px: int, y_px: int, height_px: int, width_px: int) -> Window | None:
    """Where a stamp with its middle at (x, y) falls; None where it lies outside."""
    r = stamp.radius_px
    left, top = max(0, x_px - r), max(0, y_px - r)
    right, bottom = min(width_px, x_px + r + 1), min(height_px, y_px + r + 1)
    if right <= left or bottom <= top:
        return None
    of_stamp = (slice(top - y_px + r, bottom - y_px + r), slice(left - x_px + r, right - x_px + r))
    return Window((slice(top, bottom), slice(left, right)), of_stamp)


def lay(
    picture: FloatArray,
    stamp: Stamp,
    x_px: int,
    y_px: int,
    light: Light,
    blur_px: float,
    seen: FloatArray | None = None,
) -> None:
    """Lays a stamp over `picture` (h, w, 3) in place; `seen` (n, n) 0..1 is what nothing hides of it."""
    box = window(stamp, x_px, y_px, picture.shape[0], picture.shape[1])
    if box is None:
        return
    through, back, cover = stamp.through, stamp.back, stamp.cover
    if seen is not None:
        through, back, cover = 1 - (1 - through) * seen[..., None], back * seen[..., None], cover * seen
    through, back, cover = (blurred(plane, blur_px) for plane in (through, back, cover))
    part = picture[box.picture]
    if light.shadow > 0:
        dim = shifted(blurred(cover, 2.5 + blur_px), 2.2, 2.6)
        part *= (1 - np.float32(light.shadow) * dim[box.stamp])[..., None]
    if light.below < 1:
        # Light from above that the ground throws back hardly comes up through a body that scatters.
        through = through * (1 - np.float32((1 - light.below) * 0.85) * cover[..., None])
    part *= through[box.stamp]
    part += back[box.stamp] * np.asarray(light.above, np.float32)
