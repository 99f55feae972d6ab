"""Smooth noise, blur and sizes: what every part of this hand draws from."""

from __future__ import annotations

import cv2
import numpy as np

from vision.types import FloatArray

Rng = np.random.Generator

LAMP = np.array([-0.45, -0.55, 0.70]) / np.linalg.norm([-0.45, -0.55, 0.70])
"""Unit vector (x, y, up) towards the lamp above: from the upper left."""
BETWEEN = (LAMP + np.array([0, 0, 1])) / np.linalg.norm(LAMP + np.array([0, 0, 1]))
"""Halfway between lamp and camera, where a gloss is brightest (Blinn 1977)."""

_FULL_PX2 = 2000 * 1500
"""The picture area that counts of loose things are meant for."""


def smooth_noise(rng: Rng, shape: tuple[int, ...], scale_px: float, octaves: int = 3, fall: float = 0.55) -> FloatArray:
    """float32 of `shape` (h, w), of about unit deviation; `scale_px` is the grain of the coarsest octave."""
    height_px, width_px = shape
    out = np.zeros((height_px, width_px), np.float32)
    weight, power = 1.0, 0.0
    for _ in range(octaves):
        out += np.float32(weight) * _octave(rng, height_px, width_px, scale_px)
        power += weight * weight * 0.55
        weight *= fall
        scale_px = max(1.2, scale_px / 2.1)
    out *= np.float32(1 / np.sqrt(power))
    return out


def _octave(rng: Rng, height_px: int, width_px: int, scale_px: float) -> FloatArray:
    if scale_px <= 1.3:
        return rng.standard_normal((height_px, width_px), dtype=np.float32)
    rows, columns = (max(3, int(side / scale_px) + 3) for side in (height_px, width_px))
    grid = rng.standard_normal((rows, columns), dtype=np.float32)
    fine = enlarged(grid, int(rows * scale_px) + 1, int(columns * scale_px) + 1, smooth=True)
    top, left = (fine.shape[0] - height_px) // 2, (fine.shape[1] - width_px) // 2
    return fine[top : top + height_px, left : left + width_px]


def enlarged(plane: FloatArray, height_px: int, width_px: int, smooth: bool = False) -> FloatArray:
    """`plane` brought to (height_px, width_px), linearly or, where `smooth`, by cubics."""
    how = cv2.INTER_CUBIC if smooth else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(plane, (width_px, height_px), interpolation=how), np.float32)


def coarse_noise(rng: Rng, shape: tuple[int, ...], step: int, scale: float, octaves: int) -> FloatArray:
    """Noise worked out on every `step`-th pixel with grain `scale` there, and enlarged: cheap where it is broad."""
    height_px, width_px = shape
    rough = smooth_noise(rng, (height_px // step + 1, width_px // step + 1), scale, octaves)
    return enlarged(rough, height_px, width_px, smooth=True)


def blurred(plane: FloatArray, sigma_px: float) -> FloatArray:
    """Gaussian blur; below 0.15 px nothing happens."""
    return plane if sigma_px < 0.15 else np.asarray(cv2.GaussianBlur(plane, (0, 0), float(sigma_px)), np.float32)


def slopes(height: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rise a pixel along x and along y (Sobel)."""
    along_x = cv2.Sobel(height, cv2.CV_32F, 1, 0, scale=0.125)
    return np.asarray(along_x, np.float32), np.asarray(cv2.Sobel(height, cv2.CV_32F, 0, 1, scale=0.125), np.float32)


def shifted(plane: FloatArray, right_px: float, down_px: float) -> FloatArray:
    """`plane` moved; what comes in at the border repeats it."""
    size = (plane.shape[1], plane.shape[0])
    move = np.array([[1, 0, right_px], [0, 1, down_px]], np.float32)
    return np.asarray(cv2.warpAffine(plane, move, size, borderMode=cv2.BORDER_REPLICATE), np.float32)


def offsets(x_px: float, y_px: float, box: tuple[slice, slice]) -> tuple[FloatArray, FloatArray]:
    """A row of x (1, w) and a column of y (h, 1) of a box's pixels, counted from a place."""
    x = np.arange(box[1].start, box[1].stop, dtype=np.float32)[None] - np.float32(x_px)
    return x, np.arange(box[0].start, box[0].stop, dtype=np.float32)[:, None] - np.float32(y_px)


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """A size between `low` and `high`, small ones as likely a factor as large ones."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def how_many(rng: Rng, low: int, high: int, picture: FloatArray) -> int:
    """A count between `low` and `high` on a full picture, less on a smaller one."""
    height_px, width_px = picture.shape[:2]
    return round(int(rng.integers(low, high)) * int(height_px) * int(width_px) / _FULL_PX2)


def anywhere(rng: Rng, picture: FloatArray) -> tuple[int, int]:
    """A pixel (x, y) of the picture."""
    return int(rng.integers(0, picture.shape[1])), int(rng.integers(0, picture.shape[0]))
