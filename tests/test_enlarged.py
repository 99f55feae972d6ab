"""Pictures enlarged after they were taken are named; sharp, soft and shrunk ones are not."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pytest

from calib.enlarged import enlarged
from vision.render import draw, tidy

WAYS = {"linear": cv2.INTER_LINEAR, "cubic": cv2.INTER_CUBIC, "lanczos": cv2.INTER_LANCZOS4}


@lru_cache(maxsize=4)
def taken(kind: str, seed: int) -> np.ndarray:
    return draw(tidy(kind, seed, width_px=1200, height_px=900)).pixels


def saved(pixels: np.ndarray, quality: int) -> np.ndarray:
    coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])


@pytest.mark.parametrize("kind", ["water", "broccoli"])
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("times", [1.5, 1.8, 2.5, 3.0])
def test_an_enlarged_picture_bears_a_trace(kind: str, way: str, times: float) -> None:
    large = cv2.resize(taken(kind, 5), None, fx=times, fy=times, interpolation=WAYS[way])
    assert enlarged(saved(large, 95)) == 1.3


@pytest.mark.parametrize("kind", ["water", "broccoli", "blank"])
@pytest.mark.parametrize("seed", [5, 6])
def test_others_bear_none(kind: str, seed: int) -> None:
    pixels = taken(kind, seed)
    soft = cv2.GaussianBlur(pixels, (0, 0), 4)
    small = cv2.resize(pixels, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
    for shot in (pixels, soft, saved(soft, 80), small, pixels.astype(np.uint16) * 257):
        assert enlarged(shot) == 1.0


@pytest.mark.parametrize("size", [(1, 1), (300, 20), (256, 256), (257, 4001)])
@pytest.mark.parametrize("value", [0, 128, 255])
def test_any_flat_picture(size: tuple[int, int], value: int) -> None:
    assert enlarged(np.full((*size, 3), value, np.uint8)) == 1.0
