"""The scene in work: light that leaves it towards the camera, and whose body is on top at every pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.spare.fields import blurred
from vision.render.hands.spare.stamps import Stamp
from vision.types import FloatArray

_SHADOW_PX = 2.0


@dataclass(frozen=True)
class Ground:
    """What bodies are laid on: `light` (h, w, 3) linear, 1 where the sensor is full; `above` (3,) the light that falls from above.

    `relief` (h, w) 0..1 is how high produce stands there, 0 on what is flat; `produce` (h, w) says where it is; `shade` 0..1 how dark a
    body's shadow falls; `surface` what there is beside produce, in the words of the truth; `hiding` 0..1 how much of the light from
    under a solid body is lost: all but none over a panel, most over produce, whose light comes from above in the first place."""

    light: FloatArray
    above: FloatArray
    relief: FloatArray
    produce: NDArray[np.bool_]
    shade: float
    surface: str
    hiding: float


@dataclass(frozen=True)
class Window:
    """Where a stamp's window and the picture overlap: rows and columns of each."""

    picture: tuple[slice, slice]
    stamp: tuple[slice, slice]


def window(side_px: int, x_px: int, y_px: int, height_px: int, width_px: int) -> Window | None:
    """The overlap of a square window about (x, y) with the picture, None where there is none."""
    half = side_px // 2
    top, left = y_px - half, x_px - half
    rows = slice(max(top, 0), min(top + side_px, height_px))
    columns = slice(max(left, 0), min(left + side_px, width_px))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return None
    inner = slice(rows.start - top, rows.stop - top), slice(columns.start - left, columns.stop - left)
    return Window((rows, columns), inner)


def lay(
    ground: Ground, owner: NDArray[np.int16], stamp: Stamp, x_px: int, y_px: int, number: int, level: float
) -> None:
    """Lay a stamp about (x, y) on the ground's light, in place, and note `number` in `owner` (h, w) where its body hides what is under it.

    Where produce stands higher than `level` it stays in front."""
    h, w = owner.shape
    place = window(stamp.body.shape[0], x_px, y_px, h, w)
    if place is None:
        return
    # The edge of what stands in front is as soft as produce is steep there, about a pixel.
    front = np.clip((level - ground.relief[place.picture]) * 12 + 0.5, 0, 1).astype(np.float32)
    through, glow = stamp.through[place.stamp], stamp.glow[place.stamp]
    light = ground.light[place.picture]
    if ground.shade > 0:
        fall = blurred(np.roll(stamp.solid, (2, 1), (0, 1)), _SHADOW_PX)[place.stamp]
        light *= (1.0 - ground.shade * fall * front)[..., None]
    lost = ground.hiding * np.where(ground.produce[place.picture] | (ground.surface == "cloth"), 1.0, 0.35)
    kept = through * (1.0 - lost * stamp.solid[place.stamp])[..., None]
    light *= 1.0 - (1.0 - kept) * front[..., None]
    light += glow * ground.above * front[..., None]
    hiding = (stamp.body[place.stamp] > 0.5) & (front > 0.5) & ((number > 0) | (through.mean(axis=2) < 0.6))
    owner[place.picture][hiding] = number
