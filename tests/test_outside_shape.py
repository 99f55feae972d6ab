"""Size and shape against ISO 9276-6 values on ideal shapes and against scikit-image's regionprops on real pictures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from outside_values import rows
from skimage import data, filters, measure, morphology, segmentation

from vision.contour import form_of, trace


def expected(start: str) -> float:
    """The value of the row of tests/outside/shape.csv whose input starts like this."""
    found = [r for r in rows("shape") if r["input"].startswith(start)]
    assert found, start
    return float(found[0]["expected"])


def drawn(size: int, inside: object, parts: int = 8) -> NDArray[np.float64]:
    """A shape with anti-aliased edges: the share of each pixel that lies inside, from 8 x 8 points a pixel."""
    y, x = (np.mgrid[0 : size * parts, 0 : size * parts] + 0.5) / parts - 0.5
    covered = np.asarray(inside(x - size / 2 - 0.23, y - size / 2 + 0.31), dtype=float)  # type: ignore[operator]
    return covered.reshape(size, parts, size, parts).mean(axis=(1, 3))


def turned(
    x: NDArray[np.float64], y: NDArray[np.float64], degrees: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    a = np.deg2rad(degrees)
    return x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)


def disc(diameter: float) -> NDArray[np.float64]:
    return drawn(int(diameter) + 10, lambda x, y: np.hypot(x, y) <= diameter / 2)


def box(length: float, width: float, degrees: float = 0.0) -> NDArray[np.float64]:
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        u, v = turned(x, y, degrees)
        return (np.abs(u) <= length / 2) & (np.abs(v) <= width / 2)

    return drawn(int(np.hypot(length, width)) + 10, inside)


@pytest.mark.parametrize("diameter", [20, 30, 50, 100])
def test_a_disc_is_circular_within_two_percent(diameter: int) -> None:
    form = trace(disc(diameter))
    assert form is not None
    assert form.circularity == pytest.approx(1.0, rel=0.02)  # ISO 9276-6: sqrt(4 pi A) / P of a disc
    assert form.aspect_ratio == pytest.approx(expected("circle: xFmin/xFmax"), rel=0.02)
    assert form.equivalent_diameter == pytest.approx(diameter, rel=0.01)
    assert form.solidity == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("degrees", [0, 15, 30, 45])
@pytest.mark.parametrize("side", [20, 40, 100])
def test_a_square_within_three_percent(side: int, degrees: float) -> None:
    form = trace(box(side, side, degrees))
    assert form is not None
    assert form.circularity == pytest.approx(expected("rectangle 1:1: circularity"), rel=0.03)
    # Marching squares rounds corners by a fraction of a pixel, which the diagonal shows most.
    assert form.aspect_ratio == pytest.approx(expected("rectangle 1:1: Feret aspect ratio"), rel=0.8 / side)


@pytest.mark.parametrize("degrees", [0, 20, 45, 70, 90, 135])
@pytest.mark.parametrize("ratio", [2, 3, 5])
def test_rectangles_of_any_direction(ratio: int, degrees: float) -> None:
    form = trace(box(24.0 * ratio, 24.0, degrees))
    assert form is not None
    assert form.circularity == pytest.approx(expected(f"rectangle {ratio}:1: circularity"), rel=0.03)
    assert form.aspect_ratio == pytest.approx(expected(f"rectangle {ratio}:1: Feret aspect ratio"), rel=0.03)
    assert form.area == pytest.approx(24.0 * 24.0 * ratio, rel=0.02)


@pytest.mark.parametrize("ratio", [3, 5, 10])
def test_rods_with_round_ends_give_their_length_and_width_back(ratio: int) -> None:
    width = 16.0

    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        u, v = turned(x, y, 25)
        return np.hypot(np.maximum(np.abs(u) - (ratio - 1) * width / 2, 0), v) <= width / 2

    form = trace(drawn(int(ratio * width) + 12, inside))
    assert form is not None
    want = expected(f"capsule (stadium) total length {ratio} width 1: form factor")
    assert form.circularity**2 == pytest.approx(want, rel=0.03)
    length, across = form.fibre
    assert length == pytest.approx(ratio * width, rel=0.03)
    assert across == pytest.approx(width, rel=0.05)


def test_half_ring_keeps_its_length_along_the_curve() -> None:
    # Half annulus between radii 4 and 5 (closed form): solidity 0.36, length along the middle line pi * 4.5.
    unit = 10.0

    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        r = np.hypot(x, y - 20)
        return (r >= 4 * unit) & (r <= 5 * unit) & (y <= 20)

    form = trace(drawn(120, inside))
    assert form is not None
    assert form.solidity == pytest.approx(expected("half annulus R1=4 R2=5: solidity"), abs=0.02)
    assert form.circularity**2 == pytest.approx(expected("half annulus R1=4 R2=5: form factor"), rel=0.03)
    assert form.fibre[0] == pytest.approx(np.pi * 4.5 * unit + 0.2 * unit, rel=0.06)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 180), st.floats(12, 40), st.floats(1.0, 4.0))
def test_turning_changes_no_measure(degrees: float, width: float, ratio: float) -> None:
    a = np.deg2rad(np.arange(0, 360, 3))
    ellipse = np.stack([width * ratio / 2 * np.cos(a), width / 2 * np.sin(a)], axis=1)
    turn = np.deg2rad(degrees)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    one, two = form_of(ellipse), form_of(ellipse @ matrix.T)
    assert two.area == pytest.approx(one.area, rel=1e-6)
    assert two.circularity == pytest.approx(one.circularity, rel=1e-6)
    assert two.max_feret == pytest.approx(one.max_feret, rel=2e-3)
    assert two.min_feret == pytest.approx(one.min_feret, rel=2e-2)


def test_coins_agree_with_regionprops() -> None:
    # scikit-image's own picture of 24 coins (BSD-3), segmented as its own gallery does; areas against its regionprops.
    picture = data.coins()[30:, :]
    edges = filters.sobel(picture)
    seeds = np.zeros_like(picture)
    seeds[picture < 30], seeds[picture > 150] = 1, 2
    filled = segmentation.watershed(edges, seeds) == 2
    labels = measure.label(morphology.remove_small_objects(filled, max_size=60))
    regions = measure.regionprops(labels)
    assert len(regions) == 24
    for region in regions:
        form = trace(np.pad(region.image_filled.astype(float), 2))
        assert form is not None
        assert form.area == pytest.approx(region.area_filled, rel=0.03)
        assert form.max_feret == pytest.approx(region.feret_diameter_max, rel=0.03)
        assert form.solidity == pytest.approx(region.solidity, abs=0.03)
        assert form.circularity > 0.85  # whole-pixel outlines zigzag; coins are round
