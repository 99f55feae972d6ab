"""From light to a picture: point-spread function, shot noise, tone curve, and the rounding of a compressed file."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.spare.fields import Rng, between, blurred
from vision.types import FloatArray


def photographed(rng: Rng, light: FloatArray) -> NDArray[np.uint8]:
    """The picture (h, w, 3) uint8 sRGB of that light (h, w, 3), 1 where the sensor is full."""
    sharp = blurred(light, float(rng.choice([0.5, 0.7, 0.9, 1.2, 1.5], p=[0.25, 0.3, 0.25, 0.13, 0.07])))
    # A lens spreads a few percent of the light widely: dark bodies on a bright panel come out a little grey.
    veil = between(rng, 0.01, 0.06)
    seen = sharp * (1 - veil) + blurred(light, between(rng, 8, 24)) * veil
    noise = rng.standard_normal(seen.shape[:2], dtype=np.float32)
    chroma = rng.standard_normal((seen.shape[0] // 2 + 1, seen.shape[1] // 2 + 1, 3), dtype=np.float32)
    full_well = float(np.exp(rng.uniform(np.log(1500), np.log(20000))))
    grain = np.asarray(cv2.resize(chroma, (seen.shape[1], seen.shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)
    grain += noise[..., None]
    seen = np.maximum(seen, 0)
    seen += grain * np.asarray(cv2.sqrt(seen + np.float32(0.004)), np.float32) * np.float32(full_well**-0.5)
    tone = _encoded(seen, between(rng, 0.94, 1.08))
    pixels = np.asarray(np.rint(tone * 255), np.uint8)
    if rng.random() < 0.4:
        return pixels
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(78, 98))])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])


def _encoded(light: FloatArray, contrast: float) -> FloatArray:
    """sRGB 0..1 of linear light, a little flatter or steeper than the standard, bright light running softly into full."""
    knee = np.where(light > 0.85, 0.85 + 0.15 * np.tanh((light - 0.85) / 0.15), light)
    knee = np.clip(knee, 0, 1).astype(np.float32)
    bent = 1.055 * np.asarray(cv2.pow(knee, contrast / 2.4), np.float32) - 0.055
    return np.asarray(np.clip(np.where(knee <= 0.0031308, 12.92 * knee, bent), 0, 1), np.float32)
