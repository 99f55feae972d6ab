"""SHAPES: every class names its own example, at any direction, and there is a rule and a mark for each."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from drawn_shots import panel_shot
from scipy import ndimage
from skimage.measure import find_contours

from vision.midline import middle_line
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.shapes import BY_NAME, SHAPES, Shape, ShapeNumbers, name_shape
from vision.types import Cut, Setup


def test_the_classes_are_those_of_the_table() -> None:
    assert set(BY_NAME) == {"round", "linear", "curved", "trail", "irregular"}
    assert len({shape.mark for shape in SHAPES}) == len(SHAPES)


@pytest.mark.parametrize("degrees", [0, 30, 90])
@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.name)
def test_each_class_names_its_own_example(shape: Shape, degrees: float) -> None:
    example = ndimage.rotate(shape.example().astype(float), -degrees, order=1)
    h, w = example.shape

    def inside(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        i, j = np.rint(y - 60).astype(int), np.rint(x - 70).astype(int)
        there = (i >= 0) & (i < h) & (j >= 0) & (j < w)
        return there & (example[np.clip(i, 0, h - 1), np.clip(j, 0, w - 1)] > 0.5)

    shot = panel_shot([(inside, (0.2, 0.2, 0.2))], 260, 300)
    seen = inspect(shot, Setup(px_per_mm=20.0), None, shipped_ranker(), Cut(0.0))
    largest = max(seen.candidates, key=lambda c: c.measures.area_px)
    assert largest.shape == shape.name


@pytest.mark.parametrize(
    ("numbers", "name"),
    [
        # Aphids are 1.5 to 2 times as long as wide, thrips thin (common practice, no source).
        (ShapeNumbers(aspect_ratio=0.57, solidity=0.97, straightness=1.0, length_over_width=1.75), "round"),
        (ShapeNumbers(aspect_ratio=0.2, solidity=0.95, straightness=1.0, length_over_width=5.0), "linear"),
        (ShapeNumbers(aspect_ratio=0.5, solidity=0.6, straightness=0.64, length_over_width=6.0), "curved"),
        (ShapeNumbers(aspect_ratio=0.7, solidity=0.3, straightness=0.4, length_over_width=40.0), "trail"),
        (ShapeNumbers(aspect_ratio=0.9, solidity=0.5, straightness=1.0, length_over_width=1.2), "irregular"),
    ],
)
def test_rules(numbers: ShapeNumbers, name: str) -> None:
    assert name_shape(numbers) == name


def _numbers_of(mask: np.ndarray) -> ShapeNumbers:
    """The numbers of a drawn mask, by the line's own middle line and by OpenCV's hull and scikit-image's outline."""
    soft = ndimage.gaussian_filter(np.pad(mask, 4).astype(float), 0.8)
    outline = max(find_contours(soft, 0.5), key=len)[:-1, ::-1]
    line = middle_line(outline)
    across = [np.ptp(outline @ np.array([np.cos(t), np.sin(t)])) for t in np.linspace(0, np.pi, 180, endpoint=False)]
    points = outline.astype(np.float32)
    solid = cv2.contourArea(points) / cv2.contourArea(cv2.convexHull(points))
    long_over_wide = line.length / line.width
    winding = min(line.left_turn_rad, line.right_turn_rad)
    return ShapeNumbers(min(across) / max(across), solid, line.straightness, long_over_wide, winding)


@pytest.mark.parametrize("long_over_wide", [5, 6, 7, 8])
@pytest.mark.parametrize("turn_rad", [2.0, 3.0, 4.0])
def test_a_body_bent_along_a_circle_is_curved_up_to_a_c(long_over_wide: float, turn_rad: float) -> None:
    # Closed form: a stadium of that length over width laid along an arc; at 4 rad its ends lie 0.3 of its length apart or less.
    wide, y, x = 12.0, *(np.mgrid[0:200, 0:200] - 100.0)
    radius = (long_over_wide - 1) * wide / turn_rad
    body = (np.abs(np.hypot(x, y) - radius) <= wide / 2) & (np.abs(np.arctan2(y, x)) <= turn_rad / 2)
    for side in (1, -1):
        end_x, end_y = radius * np.cos(turn_rad / 2), side * radius * np.sin(turn_rad / 2)
        body |= np.hypot(x - end_x, y - end_y) <= wide / 2
    assert name_shape(_numbers_of(body)) == "curved"


@pytest.mark.parametrize("long_over_wide", [7, 8])
def test_a_body_curled_up_almost_to_a_ring_is_curved(long_over_wide: float) -> None:
    wide, turn, y, x = 12.0, 5.0, *(np.mgrid[0:200, 0:200] - 100.0)
    radius = (long_over_wide - 1) * wide / turn
    body = (np.abs(np.hypot(x, y) - radius) <= wide / 2) & (np.abs(np.arctan2(y, x)) <= turn / 2)
    assert name_shape(_numbers_of(body)) == "curved"


@pytest.mark.parametrize("lobes", [3, 5, 6])
def test_a_body_with_lobes_is_not_curved(lobes: int) -> None:
    y, x = np.mgrid[0:200, 0:200] - 100.0
    star = np.hypot(x, y) <= 40 * (1 + 0.5 * np.cos(lobes * np.arctan2(y, x)))
    assert name_shape(_numbers_of(star)) == "irregular"
