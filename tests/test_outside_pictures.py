"""Counts, places, sizes and names on pictures that others made, with the truth that they or an eye give.

What these pictures show is no speck on a panel, so a scale says how large it is meant to be. Where the line falls short of the truth the
test says so and what was found.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from outside_values import rows
from skimage import data, filters, measure, morphology, segmentation
from skimage.measure._regionprops import RegionProperties

from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render.camera import srgb_encode
from vision.types import Candidate, Cut, Setup, Shot

DATA = Path(os.environ.get("SPECKWISE_OPENCV_DATA", "/usr/share/doc/opencv-doc/examples/data"))
FWHM = 2.3548  # of a Gaussian, in standard deviations: 2 sqrt(2 ln 2)
Body = tuple[float, float, float]
"""x_px, y_px, diameter_px."""


def flags_of(pixels: NDArray[np.uint8] | NDArray[np.uint16], px_per_mm: float | None) -> tuple[Candidate, ...]:
    shot = Shot(np.ascontiguousarray(pixels), "0" * 64, "outside")
    return inspect(shot, Setup(px_per_mm=px_per_mm), None, shipped_ranker(), Cut(min_score=0.0)).candidates


def opencv_picture(name: str) -> NDArray[np.uint8]:
    picture = cv2.imread(str(DATA / name))
    if picture is None:
        pytest.skip("needs Debian's package opencv-doc")
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8)


def matched(bodies: Sequence[Body], flags: Sequence[Candidate]) -> list[Candidate | None]:
    """For each body the flag whose centre is within a quarter of its diameter and whose own diameter is within a fifth."""
    out: list[Candidate | None] = []
    for x, y, diameter in bodies:
        near = [
            (np.hypot(c.measures.x_px - x, c.measures.y_px - y), c.number)
            for c in flags
            if abs(c.measures.equivalent_diameter_px / diameter - 1) <= 0.2
        ]
        away, number = min(near, default=(np.inf, 0))
        out.append(flags[number - 1] if away <= diameter / 4 else None)
    return out


@lru_cache(maxsize=1)
def _flags_of_sweets() -> tuple[Candidate, ...]:
    return flags_of(opencv_picture("smarties.png"), 20.0)


def sweets() -> list[Body]:
    return [(float(r["x_px"]), float(r["y_px"]), float(r["diameter_px"])) for r in rows("sweets")]


class TestSweets:
    """smarties.png: 14 round sweets on white by eye, 12 of them whole."""

    def test_as_specks_of_under_three_millimetres_all_are_found_whole_and_round(self) -> None:
        found = matched(sweets(), _flags_of_sweets())
        assert len(found) == 12
        assert None not in found
        assert {c.shape for c in found if c} == {"round"}

    @pytest.mark.parametrize("which", range(12))
    def test_their_outlines_are_circles(self, which: int) -> None:
        found = matched(sweets(), _flags_of_sweets())[which]
        assert found is not None
        assert found.measures.circularity > 0.9

    def test_without_a_scale(self) -> None:
        assert None not in matched(sweets(), flags_of(opencv_picture("smarties.png"), None))


class TestCoins:
    """scikit-image's coins: 24 by its documentation, in uneven light, over a third of the picture."""

    def coins(self) -> list[Body]:
        # Segmented as scikit-image's own gallery does.
        picture = data.coins()
        seeds = np.where(picture < 30, 1, np.where(picture > 150, 2, 0))
        filled = segmentation.watershed(filters.sobel(picture), seeds) == 2
        regions = measure.regionprops(measure.label(morphology.remove_small_objects(filled, max_size=60)))
        assert len(regions) == 24
        return [(r.centroid[1], r.centroid[0], r.equivalent_diameter_area) for r in regions]

    @pytest.mark.xfail(reason="none of 24: no place stands out")
    def test_as_they_are(self) -> None:
        found = matched(self.coins(), flags_of(np.repeat(data.coins()[..., None], 3, axis=2), None))
        assert None not in found

    @pytest.mark.xfail(
        reason="20 of 24: two outlines take in ground lit thrice as brightly as the rest, two lose a shaded side"
    )
    def test_half_as_large_on_more_of_their_ground(self) -> None:
        small = cv2.resize(data.coins(), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        wide = cv2.copyMakeBorder(small, 150, 150, 150, 150, cv2.BORDER_CONSTANT, value=(40.0,))
        bodies = [(x / 2 + 150, y / 2 + 150, diameter / 2) for x, y, diameter in self.coins()]
        assert None not in matched(bodies, flags_of(np.repeat(wide[..., None], 3, axis=2), None))


class TestDrawnForms:
    """detect_blob.png, white for black, at two fifths: discs, ellipses, squares and bars; lengths and widths by scikit-image."""

    @staticmethod
    def forms(evenly: bool) -> tuple[list[RegionProperties], list[Candidate | None]]:
        """The forms without a hole or a bay, filled with one colour or with a fading one, and the flags on them."""
        drawn = opencv_picture("detect_blob.png")[5:-5, 5:-5]  # a frame runs round it
        labels = measure.label(morphology.remove_small_objects(drawn.max(axis=2) > 40, max_size=50))
        solid = [r for r in measure.regionprops(labels, drawn) if r.solidity > 0.95]
        spread = [np.ptp(np.percentile(r.image_intensity[r.image], (25, 75), axis=0), axis=0).max() for r in solid]
        regions = [r for r, wide in zip(solid, spread, strict=True) if (wide < 10) == evenly]
        small = cv2.resize(255 - drawn, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
        ground = cv2.copyMakeBorder(small, 200, 200, 200, 200, cv2.BORDER_CONSTANT, value=(255, 255, 255))
        places = [[0.4 * v + 200 for v in reversed(r.centroid)] for r in regions]
        bodies = [(x, y, 0.4 * r.equivalent_diameter_area) for (x, y), r in zip(places, regions, strict=True)]
        return regions, matched(bodies, flags_of(ground, None))

    def test_are_found_and_named_by_how_long_they_are(self) -> None:
        regions, found = self.forms(evenly=True)
        assert len(regions) == 11  # by eye
        assert None not in found
        for region, flag in zip(regions, found, strict=True):
            assert flag is not None
            long_over_wide = region.axis_major_length / region.axis_minor_length
            assert flag.shape == ("linear" if long_over_wide >= 2.5 else "round")
            assert flag.measures.max_feret_px == pytest.approx(0.4 * region.feret_diameter_max, rel=0.08)

    def test_fading_ones_are_cut_out_whole(self) -> None:
        regions, found = self.forms(evenly=False)
        assert len(regions) == 2  # by eye
        assert None not in found


@pytest.fixture(scope="module")
def spots() -> NDArray[np.float64]:
    """photutils' 100 Gaussian spots: x, y, two sigmas, angle, amplitude."""
    names = ("x_px", "y_px", "sigma_x_px", "sigma_y_px", "angle_rad", "amplitude")
    return np.array([[float(r[name]) for name in names] for r in rows("hundred_gaussians")])


@pytest.fixture(scope="module")
def nearest(spots: NDArray[np.float64]) -> list[tuple[float, Candidate]]:
    """For each spot the flag nearest to it, and how far away it is."""
    y, x = np.mgrid[0:300, 0:500].astype(float)
    picture = np.random.default_rng(0).normal(0, 2, y.shape)
    for x0, y0, sx, sy, angle, amplitude in spots:
        u = (x - x0) * np.cos(angle) + (y - y0) * np.sin(angle)
        v = (y - y0) * np.cos(angle) - (x - x0) * np.sin(angle)
        picture += amplitude * np.exp(-0.5 * ((u / sx) ** 2 + (v / sy) ** 2))
    light = 0.7 * 10 ** (-0.004 * picture)  # densities of up to 0.2, near enough proportional to the light lost
    pixels = np.round(srgb_encode(np.repeat(light[..., None], 3, axis=2)) * 65535).astype(np.uint16)
    flags = flags_of(pixels, 10.0)
    away = [[float(np.hypot(c.measures.x_px - x0, c.measures.y_px - y0)) for c in flags] for x0, y0 in spots[:, :2]]
    return [(min(row), flags[int(np.argmin(row))]) for row in away]


class TestHundredGaussians:
    """photutils' picture of spots of 1 to 5 px and amplitudes up to 45, in noise of 2, as specks that take light."""

    @staticmethod
    def alone(spots: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Spots that touch neither another one nor the picture's edge."""
        away = np.sort(np.hypot(*(spots[:, None, :2] - spots[None, :, :2]).transpose(2, 0, 1)), axis=1)[:, 1]
        inside = (np.abs(spots[:, 0] - 250) < 240) & (np.abs(spots[:, 1] - 150) < 140)
        return np.asarray((away > 2.5 * FWHM * spots[:, 2:4].max(axis=1)) & inside)

    def test_nearly_all_are_found_and_those_that_stand_alone_all(
        self, spots: NDArray[np.float64], nearest: list[tuple[float, Candidate]]
    ) -> None:
        assert len(spots) == 100
        found = np.array([away < spot[2:4].max() for spot, (away, _) in zip(spots, nearest, strict=True)])
        assert found.sum() >= 90  # some lie on one another: 95 when this was written
        assert found[self.alone(spots)].all()

    def test_they_are_where_they_were_drawn(
        self, spots: NDArray[np.float64], nearest: list[tuple[float, Candidate]]
    ) -> None:
        away = [nearest[k][0] for k in np.flatnonzero(self.alone(spots))]
        assert np.median(away) < 0.3

    @pytest.mark.xfail(
        reason="1.46 and 1.27 times as large: outlines run at half of a body's usual contrast, not of its peak"
    )
    def test_outlines_run_at_half_of_the_peak(
        self, spots: NDArray[np.float64], nearest: list[tuple[float, Candidate]]
    ) -> None:
        alone = np.flatnonzero(self.alone(spots))
        long = [nearest[k][1].measures.max_feret_px / FWHM / spots[k, 2:4].max() for k in alone]
        wide = [nearest[k][1].measures.min_feret_px / FWHM / spots[k, 2:4].min() for k in alone]
        assert np.median(long) == pytest.approx(1, abs=0.15)
        assert np.median(wide) == pytest.approx(1, abs=0.15)
