"""A few steps over arrays that are done so often that what they cost counts: the very values NumPy gives, several times as fast."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, MaskArray

_FEW = 400
_MOST_OF_HALF = np.float32(np.finfo(np.float16).max)


def copy_where(values: FloatArray, mask: MaskArray, into: FloatArray) -> None:
    """Writes `values` (h, w) into `into` (h, w), both float32, where `mask` is set; all three may be parts of larger arrays."""
    cv2.copyTo(values, mask.view(np.uint8), into)


def to_half(values: FloatArray) -> NDArray[np.float16]:
    """Float32 (h, w) rounded to half precision; what is too large for it becomes the largest number it has."""
    largest = cv2.norm(values, cv2.NORM_INF)
    if largest > _MOST_OF_HALF:
        values = np.minimum(values, _MOST_OF_HALF)
        largest = cv2.norm(values, cv2.NORM_INF)
    # Scaled to the largest value it has already: all that OpenCV then does is to round.
    half = cv2.normalize(values, None, largest, 0, cv2.NORM_INF, cv2.CV_16F)  # type: ignore[call-overload]
    return np.asarray(half, dtype=np.float16).reshape(values.shape)


def median(values: NDArray[Any]) -> float:
    """Median of numbers (n,), n >= 1, none of them NaN; of an even number of float32 it is rounded to float32 as NumPy's is."""
    half = len(values) // 2
    # Few are sorted as fast as they are parted.
    ordered = np.sort(values) if len(values) < _FEW else np.partition(values, (half - 1, half))
    return float(ordered[half]) if len(ordered) % 2 else float((ordered[half - 1] + ordered[half]) / 2)


def medians(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same of each column of (n, m) float32, n >= 1: (m,)."""
    ordered = np.sort(values, axis=0)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else np.asarray((ordered[half - 1] + ordered[half]) / 2)


def medians_of_known(values: NDArray[Any], axis: int) -> NDArray[Any]:
    """Medians along an axis of what is not NaN there; NaN where all is."""
    ordered = np.sort(values, axis=axis)  # NaN last
    known = (~np.isnan(values)).sum(axis=axis, keepdims=True)
    low, high = np.maximum(known - 1, 0) // 2, np.minimum(known // 2, values.shape[axis] - 1)
    middle = np.take_along_axis(ordered, low, axis) + np.take_along_axis(ordered, high, axis)
    return np.asarray((middle / 2).squeeze(axis))


def depth_within(mask: MaskArray, size: int = 5) -> FloatArray:
    """Distance of each pixel of a mask (h, w) from what is not in it, in pixels, (h, w) float32, by steps over `size` x `size`
    pixels; what lies outside the array is not in it."""
    padded = cv2.copyMakeBorder(mask.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=(0,))
    return np.asarray(cv2.distanceTransform(padded, cv2.DIST_L2, size)[1:-1, 1:-1], dtype=np.float32)


def mean_of_channels(values: FloatArray) -> FloatArray:
    """Mean of the three channels of (..., 3) float32, (...) float32."""
    total = values[..., 0] + values[..., 1]
    total += values[..., 2]
    total /= np.float32(3)
    return np.asarray(total, dtype=np.float32)
