"""Halvings of a picture."""

from __future__ import annotations

import cv2
import numpy as np

from vision.types import FloatArray


def build_pyramid(residual: FloatArray, levels: int) -> list[FloatArray]:
    """`levels` halvings of planes (n, h, w); pixel (i, j) of level k lies on pixel (i 2^k, j 2^k) of level 0."""
    pyramid = [residual]
    while len(pyramid) < levels and min(pyramid[-1].shape[1:]) >= 8:
        h, w = pyramid[-1].shape[1:]
        half = np.empty((len(residual), (h + 1) // 2, (w + 1) // 2), np.float32)
        for k in range(len(residual)):
            cv2.pyrDown(pyramid[-1][k], dst=half[k])
        pyramid.append(half)
    return pyramid
