"""The camera: uneven light, white balance, blur, the curve to sRGB, noise that grows with light, sharpening in some, JPEG.

Amounts are common practice, no source.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.textures import cloud, enlarged
from vision.types import FloatArray

_STEPS, _MOST = 8192, 1.25
"""Steps of the curve to sRGB, and the linear light where it ends."""


def exposed(light: FloatArray, rng: np.random.Generator) -> FloatArray:
    """(h, w, 3) float32 linear light as it falls onto the sensor: lit unevenly, in the camera's white, blurred."""
    h, w = light.shape[:2]
    y, x = np.mgrid[0 : -(-h // 10), 0 : -(-w // 10)].astype(np.float32)
    off = (
        ((x - rng.uniform(0.3, 0.7) * w / 10) ** 2 + (y - rng.uniform(0.3, 0.7) * h / 10) ** 2) / (w * w + h * h) * 400
    )
    way = rng.uniform(0, 6.3)
    even = 1 - rng.uniform(0.05, 0.28) * off / (1 + 0.5 * off)
    even += rng.uniform(0, 0.08) * (np.cos(way) * (x - w / 20) + np.sin(way) * (y - h / 20)) * 20 / max(w, h)
    even += 0.02 * cloud(even.shape, rng, max(w, h) / 40, 2)
    warm = rng.normal(0, 0.035)
    white = np.array([1 + warm, 1, 1 - warm * 1.2], np.float32) * np.float32(rng.uniform(0.85, 1.08))
    sharp = cv2.GaussianBlur(light * (enlarged(even, (h, w))[..., None] * white), (0, 0), rng.uniform(0.95, 1.4))
    soft = cv2.GaussianBlur(sharp, (0, 0), 0.7)
    corners = np.clip(enlarged(off, (h, w)) * 0.6 - 0.1, 0, 1)[..., None]
    return np.asarray(np.maximum(sharp + (soft - sharp) * corners, 0), np.float32)


def _curve() -> FloatArray:
    """sRGB 0..255 of evenly spaced linear light, highlights rolled off."""
    x = np.arange(_STEPS + 1) / _STEPS * _MOST
    x = np.where(x > 0.92, 0.92 + 0.08 * np.tanh((x - 0.92) / 0.08), x)
    bright = 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055
    return (255 * np.where(x <= 0.0031308, 12.92 * x, bright)).astype(np.float32)


def encoded(light: FloatArray) -> FloatArray:
    """sRGB 0..255, float32, of linear light."""
    step = np.clip(light * np.float32(_STEPS / _MOST), 0, _STEPS).astype(np.int32)
    return np.asarray(np.take(_curve(), step), np.float32)


def taken(light: FloatArray, rng: np.random.Generator) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 sRGB: the exposed light with noise, sharpened in half of the shots, through a JPEG."""
    h, w = light.shape[:2]
    grey = rng.standard_normal((h, w), dtype=np.float32)
    grey = 0.6 * grey + 0.75 * cv2.GaussianBlur(grey, (0, 0), 0.6)
    blotches = enlarged(rng.standard_normal((-(-h // 2), -(-w // 2), 3), dtype=np.float32), (h, w))
    noise = np.sqrt(np.float32(rng.uniform(1e-5, 9e-5)) * light + np.float32(rng.uniform(1e-6, 6e-6)))
    picture = encoded(light + noise * (grey[..., None] + np.float32(0.7) * blotches))
    if rng.random() < 0.5:
        picture = picture + np.float32(rng.uniform(0.3, 0.9)) * (
            picture - cv2.GaussianBlur(picture, (0, 0), rng.uniform(1.0, 1.6))
        )
    pixels = np.clip(np.round(picture), 0, 255).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(85, 96))]
    _, written = cv2.imencode(".jpg", pixels[:, :, ::-1], quality)
    return np.ascontiguousarray(np.asarray(cv2.imdecode(written, cv2.IMREAD_COLOR), np.uint8)[:, :, ::-1])
