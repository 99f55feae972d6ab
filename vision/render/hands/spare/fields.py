"""Fields over a whole picture or a window: smooth noise, domes from distances, and gradients of light."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Rng = np.random.Generator
Points = NDArray[np.float64]
"""Points (n, 2) as x, y."""
Mask = NDArray[np.bool_]
Colour = tuple[float, float, float]
"""Red, green, blue as linear light 0..1, or as densities."""


def between(rng: Rng, low: float, high: float) -> float:
    """Any number between the two."""
    return float(rng.uniform(low, high))


def cloud(rng: Rng, height_px: int, width_px: int, grain_px: float, stretch: float = 1.0) -> FloatArray:
    """Smooth noise (h, w) float32 of mean near 0 and spread near 1, its lumps about `grain_px` high and `stretch` times as wide."""
    rows = max(round(height_px / grain_px) + 3, 4)
    columns = max(round(width_px / (grain_px * stretch)) + 3, 4)
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    # Cubic enlargement of a coarse lattice is filtered noise at the cost of one resize, whatever the grain.
    return np.asarray(cv2.resize(coarse, (width_px, height_px), interpolation=cv2.INTER_CUBIC), np.float32) * 1.3


def dome(cover: FloatArray, round_px: float = 0.0) -> FloatArray:
    """Thickness (h, w) float32 0..1 of a body with round section whose outline `cover` (h, w) shows.

    It reaches 1 at `round_px` from the edge; 0 means where the cover is widest, so narrow parts of a body come out thinner."""
    far = np.asarray(cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3), np.float32)
    reach = round_px if round_px > 0 else max(float(far.max()), 1.0)
    inward = 1.0 - np.minimum(far / np.float32(reach), 1.0)
    return np.asarray(np.sqrt(np.maximum(1.0 - inward * inward, 0.0)), np.float32)


def blurred(field: FloatArray, sigma_px: float) -> FloatArray:
    """The field (h, w) or (h, w, 3) under a gaussian of that width; a wide one is worked out on a field made four times smaller."""
    if sigma_px < 6:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma_px), np.float32)
    h, w = field.shape[:2]
    small = cv2.resize(field, (max(w // 4, 1), max(h // 4, 1)), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(cv2.GaussianBlur(small, (0, 0), sigma_px / 4), (w, h)), np.float32)


def lit(relief: FloatArray, towards_rad: float, steepness: float) -> FloatArray:
    """Shading (h, w) about 1 of a relief (pixels high) under light that comes from the direction `towards_rad` in the picture plane."""
    across = np.asarray(cv2.Sobel(relief, cv2.CV_32F, 1, 0, ksize=3, scale=0.125))
    down = np.asarray(cv2.Sobel(relief, cv2.CV_32F, 0, 1, ksize=3, scale=0.125))
    slope = across * np.float32(np.cos(towards_rad)) + down * np.float32(np.sin(towards_rad))
    steep = np.asarray(cv2.sqrt(1.0 + steepness * steepness * (across * across + down * down)), np.float32)
    return np.asarray(np.maximum((1.0 - 0.7 * steepness * slope) / steep, 0.12), np.float32)


def jittered(rng: Rng, height_px: int, width_px: int, pitch_px: float, jitter: float = 0.35) -> NDArray[np.int64]:
    """Points (n, 2) as x, y inside the picture on a staggered lattice of that pitch, each moved by up to `jitter` of it."""
    rows, columns = int(height_px / (pitch_px * 0.87)) + 3, int(width_px / pitch_px) + 3
    row, column = np.mgrid[0:rows, 0:columns].astype(float)
    x = (column - 0.5 + 0.5 * (row % 2)) * pitch_px + rng.uniform(-jitter, jitter, row.shape) * pitch_px
    y = (row - 0.5) * pitch_px * 0.87 + rng.uniform(-jitter, jitter, row.shape) * pitch_px
    points = np.stack([x.ravel(), y.ravel()], axis=1).round().astype(np.int64)
    inside = (points >= 0).all(axis=1) & (points[:, 0] < width_px) & (points[:, 1] < height_px)
    return np.asarray(points[inside])


def nearest(points: NDArray[np.int64], height_px: int, width_px: int) -> tuple[FloatArray, NDArray[np.int32]]:
    """Distance in pixels to the nearest of the points, and a number of that point (1 on, any order), both (h, w)."""
    if not len(points):
        return np.full((height_px, width_px), 1e4, np.float32), np.ones((height_px, width_px), np.int32)
    marks = np.ones((height_px, width_px), np.uint8)
    marks[points[:, 1], points[:, 0]] = 0
    far, labels = cv2.distanceTransformWithLabels(marks, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    return np.asarray(far, np.float32), np.asarray(labels, np.int32)


def colour(*linear: float) -> FloatArray:
    """(3,) float32 from red, green, blue as linear light or as densities."""
    return np.array(linear, np.float32)
