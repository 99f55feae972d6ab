"""SHAPES: every class names its own example, at any direction, and there is a rule and a mark for each."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_shots import panel_shot
from scipy import ndimage

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
