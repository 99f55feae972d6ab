"""Which way the surroundings of a speck run, and whether it lies along them: a stain on a stalk does, and a gap between two leaves.

The direction is that of the structure tensor (Bigun and Granlund, 1987) of what lies round the speck.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.arrays import mean_of_channels
from vision.types import Speck

_GAP_PX = 5
"""Window pixels next to the outline that are left out: the blur of its own edge runs along the speck."""
_LEAST_PX = 12
"""Pixels of surroundings below which nothing can be told."""


def grain_round(speck: Speck, angle_deg: float) -> tuple[float, float]:
    """How much the surroundings run one way, 0..1, and the same times the cosine of twice the angle between that and `angle_deg`.

    `angle_deg` is the speck's own direction, 0 along x and clockwise as seen.
    """
    kernel = np.ones((2 * _GAP_PX + 1, 2 * _GAP_PX + 1), np.uint8)
    round_it = (cv2.dilate(speck.mask.view(np.uint8), kernel) == 0) & (speck.contrast < 0.5)
    if np.count_nonzero(round_it) < _LEAST_PX:
        return 0.0, 0.0
    level = mean_of_channels(speck.residual)
    across = cv2.Sobel(level, cv2.CV_32F, 1, 0)[round_it].astype(np.float64)
    down = cv2.Sobel(level, cv2.CV_32F, 0, 1)[round_it].astype(np.float64)
    xx, yy, xy = float(across @ across), float(down @ down), float(across @ down)
    one_way = float(np.hypot(xx - yy, 2 * xy) / max(xx + yy, 1e-12))
    grain = 0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2
    return one_way, float(one_way * np.cos(2 * (np.deg2rad(angle_deg) - grain)))
