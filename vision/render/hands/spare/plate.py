"""The scene in work: light that leaves it towards the camera, and whose body is on top at every pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.spare.fields import Mask, blurred
from vision.render.hands.spare.stamps import Stamp
from vision.types import FloatArray

Box = tuple[slice, slice]
Owner = NDArray[np.int16]


@dataclass(frozen=True)
class Ground:
    """What bodies are laid on: `light` (h, w, 3) linear, 1 where the sensor is full; `above` (3,) the light that falls from above.

    `relief` (h, w) 0..1 is how high produce stands there, 0 on what is flat; `produce` (h, w) says where it is; `shade` 0..1 how dark a
    body's shadow falls; `surface` what there is beside produce, in the words of the truth; `hiding` 0..1 how much of the light from
    under a solid body is lost over produce or cloth, a third of that over a panel or water, whose light is strong."""

    light: FloatArray
    above: FloatArray
    relief: FloatArray
    produce: Mask
    shade: float
    surface: str
    hiding: float


def flat_ground(light: FloatArray, above: FloatArray, shade: float, surface: str, hiding: float) -> Ground:
    """A ground with no produce on it."""
    flat = np.zeros(light.shape[:2], np.float32)
    return Ground(light, above, flat, flat > 1, shade, surface, hiding)


def window(side_px: int, x_px: int, y_px: int, shape: tuple[int, ...]) -> tuple[Box, Box]:
    """Where a square window about a pixel (x, y) of a picture (h, w) overlaps it: rows and columns of the picture, and of the window."""
    top, left = y_px - side_px // 2, x_px - side_px // 2
    rows = slice(max(top, 0), min(top + side_px, shape[0]))
    columns = slice(max(left, 0), min(left + side_px, shape[1]))
    inner = slice(rows.start - top, rows.stop - top), slice(columns.start - left, columns.stop - left)
    return (rows, columns), inner


def lay(ground: Ground, owner: Owner, stamp: Stamp, x_px: int, y_px: int, number: int, level: float) -> None:
    """Lay a stamp about (x, y) on the ground's light, in place, and note `number` in `owner` (h, w) where its body hides what is under it.

    Where produce stands higher than `level` it stays in front."""
    there, inner = window(stamp.body.shape[0], x_px, y_px, owner.shape)
    # The edge of what stands in front is as soft as produce is steep there, about a pixel.
    front = np.clip((level - ground.relief[there]) * 12 + 0.5, 0, 1).astype(np.float32)
    through, glow = stamp.through[inner], stamp.glow[inner]
    light = ground.light[there]
    if ground.shade > 0:
        fall = blurred(np.roll(stamp.solid, (2, 1), (0, 1)), 2.0)[inner]
        light *= (1.0 - ground.shade * fall * front)[..., None]
    lost = ground.hiding * np.where(ground.produce[there] | (ground.surface == "cloth"), 1.0, 0.35)
    kept = through * (1.0 - lost * stamp.solid[inner])[..., None]
    light *= 1.0 - (1.0 - kept) * front[..., None]
    light += glow * ground.above * front[..., None]
    hiding = (stamp.body[inner] > 0.5) & (front > 0.5) & ((number > 0) | (through.mean(axis=2) < 0.6))
    owner[there][hiding] = number
