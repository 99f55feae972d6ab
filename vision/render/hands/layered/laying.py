"""Laying reduced layers into a picture of linear light (h, w, 3) float32, changed in place."""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.layered.sheet import Layers, Light, Window
from vision.types import FloatArray

STANDARD_PX2 = 2000 * 1500
"""Counts of loose things are given for a picture of this many pixels."""


def share_of_standard(scene: FloatArray) -> float:
    """How much of a standard picture's area this one has."""
    return float(scene.shape[0] * scene.shape[1] / STANDARD_PX2)


def windows(shape: tuple[int, ...], x: int, y: int, side: int) -> tuple[Window, Window] | None:
    """The part of a picture under a square of an odd side about a pixel, and the square's own part; None where they miss."""
    left, top = x - side // 2, y - side // 2
    x0, x1 = max(0, -left), min(side, shape[1] - left)
    y0, y1 = max(0, -top), min(side, shape[0] - top)
    if x1 <= x0 or y1 <= y0:
        return None
    return (slice(top + y0, top + y1), slice(left + x0, left + x1)), (slice(y0, y1), slice(x0, x1))


def moved(mask: FloatArray, right_px: int, down_px: int) -> FloatArray:
    """A mask moved by whole pixels; nothing comes round from the other side."""
    shift = np.array([[1, 0, right_px], [0, 1, down_px]], np.float32)
    return np.asarray(cv2.warpAffine(mask, shift, mask.shape[::-1], flags=cv2.INTER_NEAREST), np.float32)


def lay(scene: FloatArray, layers: Layers, x: int, y: int, opacity: float = 1.0) -> None:
    """Lays layers with their middle on a pixel; nothing happens outside the picture."""
    both = windows(scene.shape, x, y, layers.alpha.shape[0])
    if both is None:
        return
    here, own = both
    strength = np.float32(opacity)
    scene[here] = scene[here] * (1 - strength * layers.alpha[own])[..., None] + strength * layers.colour[own]


def shade(
    scene: FloatArray, layers: Layers, x: int, y: int, light: Light, strength: float, far_px: float, blur_px: float
) -> None:
    """The soft shadow of layers about to be laid, `far_px` away from the light."""
    both = windows(scene.shape, x, y, layers.alpha.shape[0])
    if both is None:
        return
    here, own = both
    shadow = moved(layers.alpha, round(-light.x * far_px), round(-light.y * far_px))
    shadow = np.asarray(cv2.GaussianBlur(shadow, (0, 0), blur_px), np.float32)
    scene[here] *= (1 - np.float32(strength) * shadow[own])[..., None]


def half_diagonal_px(scene: FloatArray) -> float:
    """From the picture's middle to a corner."""
    return math.hypot(scene.shape[1], scene.shape[0]) / 2


def px(mm: float) -> float:
    """Millimetres as pixels."""
    return mm * PX_PER_MM
