"""From the light of a scene to the picture: the lens, the sensor, and what is done to a picture before it is kept."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.grown.fields import Rng, blurred, colour
from vision.types import FloatArray

_TOP = 1.5
"""The brightest light that is still told apart, of full white."""


def panel_light(rng: Rng, h: int, w: int) -> FloatArray:
    """(h, w, 3) linear light of a bare lit panel: uneven, tinted, darker to one side or to the corners."""
    small_h, small_w = max(h // 16, 4), max(w // 16, 4)
    y, x = np.mgrid[-1 : 1 : small_h * 1j, -1 : 1 : small_w * 1j].astype(np.float32)
    level = np.exp(rng.uniform(np.log(0.5), np.log(0.95)))
    lean = rng.normal(0, 0.06, 2)
    fall = rng.uniform(0, 0.22)
    shape = 1 + lean[0] * x + lean[1] * y - fall * (x**2 + y**2) / 2
    if rng.random() < 0.4:
        # Rows of lamps behind a thin diffuser show as faint bands.
        pitch, way = rng.uniform(5, 14), rng.uniform(0, np.pi)
        shape = shape + rng.uniform(0.005, 0.03) * np.sin(pitch * (x * np.cos(way) + y * np.sin(way)))
    warm = rng.normal(0, 0.035)
    cast = np.clip(colour(1, 1, 1) * (1 + np.array([warm, rng.normal(0, 0.012), -warm])), 0.75, 1.12)
    side = 1 + np.float32(rng.normal(0, 0.02)) * x[..., None] * np.array([1, 0, -1], np.float32)
    small = (level * shape[..., None] * cast * side).astype(np.float32)
    return np.maximum(np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC), np.float32), 0.02)


def top_light(rng: Rng, low: float, high: float) -> FloatArray:
    """(3,) the room's light from above, as a share of full white."""
    warm = rng.normal(0.03, 0.045)
    tint = np.clip(np.array([1 + warm, 1.0, 1 - warm]), 0.6, 1.3)
    return np.asarray(rng.uniform(low, high) * tint, np.float32)


def encoded(light: FloatArray) -> FloatArray:
    """sRGB 0..1 of linear light, its bright parts rolled off; looked up, since a power of every sample is slow."""
    stops = np.linspace(0, _TOP, 6001)
    stops = np.where(stops > 0.8, 0.8 + 0.2 * np.tanh((stops - 0.8) / 0.25), stops)
    curve = np.where(stops <= 0.0031308, 12.92 * stops, 1.055 * stops ** (1 / 2.4) - 0.055).astype(np.float32)
    return np.asarray(curve[(np.clip(light, 0, _TOP) * (6000 / _TOP)).astype(np.uint16)], np.float32)


def developed(light: FloatArray, rng: Rng) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 sRGB of the scene's linear light."""
    h, w = light.shape[:2]
    seen = blurred(light, rng.uniform(0.35, 1.15) if rng.random() < 0.8 else rng.uniform(1.1, 1.7))
    if rng.random() < 0.6:
        # Light that strays in the lens lifts the dark parts.
        seen = seen * np.float32(0.97) + np.float32(rng.uniform(0.005, 0.05)) * blurred(light, 60.0)
    grey = rng.standard_normal((h, w), dtype=np.float32)
    if rng.random() < 0.7:
        grey = blurred(grey, 0.6) * np.float32(1.9)
    # Colour noise is coarser: the sensor sees each colour at only some of its places.
    hues = rng.standard_normal((h // 2 + 1, w // 2 + 1, 3), dtype=np.float32)
    hues = np.asarray(cv2.resize(hues, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)
    grain = grey[..., None] + np.float32(rng.uniform(0.1, 0.8)) * hues
    strength = float(np.exp(rng.uniform(np.log(0.0008), np.log(0.009))))
    grain *= np.sqrt(np.maximum(seen, 0) + np.float32(0.01)) * np.float32(strength * 1.4)
    picture = encoded(seen + grain)
    if rng.random() < 0.6:
        # Phones sharpen: bright and dark rims along edges.
        picture = picture + np.float32(rng.uniform(0.15, 0.8)) * (picture - blurred(picture, rng.uniform(0.9, 1.6)))
    contrast = np.float32(rng.normal(1.0, 0.06))
    levels = np.clip(((picture - 0.5) * contrast + 0.5) * 255 + 0.5, 0, 255)
    pixels: NDArray[np.uint8] = np.asarray(levels, np.float32).astype(np.uint8)
    quality = int(rng.integers(72, 98))
    done, packed = cv2.imencode(".jpg", np.ascontiguousarray(pixels[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        return pixels
    kept: NDArray[np.uint8] = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)
    return np.ascontiguousarray(kept[..., ::-1])
