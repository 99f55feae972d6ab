"""The camera: uneven light, blur, noise that grows with light, sRGB, sharpening in some, JPEG. Strengths: common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.layered.colour import Rng, encoded
from vision.render.hands.layered.laying import half_diagonal_px
from vision.types import FloatArray

_LEVELS = 4096


def seen(rng: Rng, scene: FloatArray) -> FloatArray:
    """The scene (h, w, 3) as linear light on the sensor, before noise."""
    height, width = scene.shape[:2]
    y, x = np.mgrid[0:height:8, 0:width:8].astype(np.float32)
    middle_x, middle_y = width * (0.5 + rng.normal(0, 0.1)), height * (0.5 + rng.normal(0, 0.1))
    out = ((x - middle_x) ** 2 + (y - middle_y) ** 2) / half_diagonal_px(scene) ** 2
    level = 1 - rng.uniform(0.06, 0.26) * out
    level += rng.normal(0, 0.05) * (x / width - 0.5) + rng.normal(0, 0.05) * (y / height - 0.5)
    level = cv2.resize(level.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    blurred = cv2.GaussianBlur(scene * level[..., None], (0, 0), rng.uniform(0.9, 1.3))
    return np.asarray(np.clip(blurred, 0, 1.15), np.float32)


def coded(light: FloatArray) -> NDArray[np.uint16]:
    """Linear light as one of as many levels as the sensor tells apart."""
    return np.asarray(np.clip(light * (_LEVELS - 1), 0, _LEVELS - 1), np.uint16)


def tones() -> FloatArray:
    """sRGB 0..1 of each of those levels."""
    return encoded(np.arange(_LEVELS) / (_LEVELS - 1))


def taken(rng: Rng, light: FloatArray) -> NDArray[np.uint8]:
    """The finished photograph (h, w, 3) of light on the sensor, sRGB."""
    shot_noise, read_noise = rng.uniform(4e-5, 3e-4), rng.uniform(0.0006, 0.002)
    alike = rng.uniform(0, 0.6)
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    noise = cv2.GaussianBlur(noise, (3, 3), 0.35 + 0.35 * alike) * np.float32(1 + 0.8 * alike)
    noisy = light + noise * np.sqrt(np.float32(shot_noise) * light + np.float32(read_noise**2))
    picture = (tones() * 255)[coded(np.asarray(noisy, np.float32))]
    if rng.random() < 0.55:
        strength, reach = np.float32(rng.uniform(0.25, 0.7)), rng.uniform(1.0, 1.8)
        picture += strength * (picture - cv2.GaussianBlur(picture, (0, 0), reach))
    pixels = np.clip(picture + 0.5, 0, 255).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(85, 96))]
    _, packed = cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), quality)
    opened = cv2.imdecode(packed, cv2.IMREAD_COLOR)
    return np.asarray(cv2.cvtColor(np.asarray(opened), cv2.COLOR_BGR2RGB), np.uint8)
