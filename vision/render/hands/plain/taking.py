"""From a drawn sheet to the picture taken of it: the light's fall-off and cast, blur, noise, and packing as JPEG."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.plain.canvas import PAD_PX


def taken(sheet: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.uint8]:
    """The picture (h, w, 3) uint8 sRGB of a sheet (h + 2 PAD_PX, w + 2 PAD_PX, 3) 0..1."""
    blur_px = float(rng.uniform(0.5, 1.5))
    picture = np.asarray(cv2.GaussianBlur(sheet, (0, 0), blur_px), np.float32)[PAD_PX:-PAD_PX, PAD_PX:-PAD_PX]
    h, w = picture.shape[:2]
    x, y = np.linspace(-1, 1, w, dtype=np.float32)[None, :], np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    slope = rng.normal(0, 0.04, 2).astype(np.float32)
    light = np.float32(rng.uniform(0.78, 1.04)) * (1 + slope[0] * x + slope[1] * y)
    light *= 1 - np.float32(rng.uniform(0, 0.09)) * (x * x + y * y)
    cast = np.array([1.0, 1.0, 1.0]) + rng.normal(0, 0.025, 3)
    picture = picture * light[..., None] * cast.astype(np.float32)
    grain = rng.standard_normal((h, w), dtype=np.float32)[..., None] + rng.standard_normal((h, w, 3), dtype=np.float32)
    strength = np.float32(rng.uniform(0.003, 0.014))
    picture += strength * (np.float32(0.5) + np.float32(0.4) * picture) * grain
    pixels = np.clip(picture * np.float32(255) + np.float32(0.5), 0, 255).astype(np.uint8)
    # Packed and unpacked as a camera would: what is measured of a body is measured after this.
    _, packed = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(78, 97))])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
