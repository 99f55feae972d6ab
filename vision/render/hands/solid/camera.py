"""The camera: focus, blur, exposure, then noise, sharpening and JPEG. Amounts: common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng, blurred, enlarged
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.scene import Scene
from vision.types import FloatArray


def through_lens(rng: Rng, scene: Scene) -> FloatArray:
    """(h, w, 3) linear light as it falls on the sensor."""
    picture = scene.picture
    soft = _out_of_focus(rng, scene)
    if soft is not None:
        picture = picture + (blurred(picture, 1.7) - picture) * soft[..., None]
    return blurred(picture, rng.uniform(0.75, 1.15)) * np.float32(rng.uniform(0.94, 1.06))


def encoded(linear: FloatArray) -> FloatArray:
    """sRGB 0..1 (IEC 61966-2-1) of linear light, clipped at full scale."""
    v = np.clip(linear, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.power(v, np.float32(1 / 2.4)) - 0.055).astype(np.float32)


def photographed(rng: Rng, linear: FloatArray) -> NDArray[np.uint8]:
    """(h, w, 3) sRGB with shot and read noise, at times sharpened, through JPEG."""
    grain = blurred(rng.standard_normal(linear.shape, dtype=np.float32), 0.55) * np.float32(1.5)
    gain = rng.uniform(0.5, 1.4)
    sigma = np.sqrt(np.maximum(linear, 0) * np.float32(1.5e-4 * gain) + np.float32(6e-6 * gain))
    shown = encoded(linear + grain * sigma)
    if rng.random() < 0.55:
        amount, radius_px = rng.uniform(0.2, 0.7), rng.uniform(1.0, 1.7)
        shown = shown + np.float32(amount) * (shown - blurred(shown, radius_px))
    pixels = np.clip(shown * 255 + 0.5, 0, 255).astype(np.uint8)
    quality = int(rng.integers(85, 96))
    _, file = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(file, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])


def _out_of_focus(rng: Rng, scene: Scene) -> FloatArray | None:
    """(h, w) 0..1, how far out of focus: florets by their height; flat scenes, one in two, by a tilt of the camera."""
    rows, columns = scene.picture.shape[:2]
    if scene.produce is not None and scene.produce.height_px is not None:
        height = scene.produce.height_px[::4, ::4]
        there = scene.produce.there[::4, ::4]
        sharp_at = np.percentile(height[there], rng.uniform(45, 85)) if there.any() else 0.0
        off = blurred(np.abs(height - np.float32(sharp_at)), 3) * np.float32(rng.uniform(0.005, 0.0125))
        return np.clip(enlarged(off, rows, columns), 0, 1)
    if rng.random() < 0.5:
        return None
    x, y = unit(rng.uniform(0, 6.28))
    across = (
        np.linspace(-1, 1, columns, dtype=np.float32)[None] * x
        + np.linspace(-1, 1, rows, dtype=np.float32)[:, None] * y
    )
    return np.asarray(np.clip((across - 0.2) * rng.uniform(0.2, 0.7), 0, 0.8), np.float32)
