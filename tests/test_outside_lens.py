"""The lens against a published calibration: the chequerboard pictures of Debian's package opencv-doc and the file beside them."""

from __future__ import annotations

import os
import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.lens import LEAST_VIEWS, LensFit, lens_from_views
from vision.errors import ProfileError
from vision.geometry import distorted, straightened
from vision.types import Lens

DATA = Path(os.environ.get("SPECKWISE_OPENCV_DATA", "/usr/share/doc/opencv-doc/examples/data"))
INNER = (9, 6)
SQUARE_MM = 25.0
BOARD_MM = np.array([[x * SQUARE_MM, y * SQUARE_MM] for y in range(INNER[1]) for x in range(INNER[0])])


@pytest.fixture(scope="module")
def fitted() -> LensFit:
    pictures = sorted(DATA.glob("left[01][0-9].jpg"))
    if not pictures:
        pytest.skip("needs Debian's package opencv-doc")
    assert len(pictures) == 13
    views = []
    for path in pictures:
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        found, corners = cv2.findChessboardCorners(grey, INNER)
        assert found
        criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 0.01)
        views.append(
            (BOARD_MM, cv2.cornerSubPix(grey, corners, (11, 11), (-1, -1), criteria).reshape(-1, 2).astype(float))
        )
    return lens_from_views(views, 640, 480)


def published(name: str) -> list[float]:
    """The numbers of one matrix in left_intrinsics.yml."""
    text = (DATA / "left_intrinsics.yml").read_text(encoding="utf-8")
    numbers = re.search(rf"{name}:.*?data: \[(.*?)\]", text, re.S)
    assert numbers
    return [float(v) for v in numbers[1].split(",")]


class TestChequerboardSeries:
    """left01.jpg to left14.jpg against left_intrinsics.yml, opencv-doc 4.6.0."""

    def test_focal_length_and_axis(self, fitted: LensFit) -> None:
        fx, _, cx, _, _, cy, *_ = published("camera_matrix")
        assert (round(fx, 2), round(cx, 2), round(cy, 2)) == (535.92, 342.28, 235.57)
        assert fitted.lens.focal_px == pytest.approx(fx, rel=0.005)
        assert fitted.lens.centre_x_px == pytest.approx(cx, abs=3)
        assert fitted.lens.centre_y_px == pytest.approx(cy, abs=3)

    def test_distortion(self, fitted: LensFit) -> None:
        k1 = published("distortion_coefficients")[0]
        assert round(k1, 4) == -0.2664
        assert fitted.lens.k1 == pytest.approx(k1, abs=0.03)
        assert fitted.rms_px < 0.45  # the file gives 0.393

    def test_points_are_straightened_alike(self, fitted: LensFit) -> None:
        fx, _, cx, _, fy, cy, *_ = published("camera_matrix")
        factors = np.array(published("distortion_coefficients"))
        matrix = np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]])
        # Where the boards lay; beyond, the file's tangential and sixth-order terms carry on otherwise.
        points = np.array([[x, y] for x in (120.0, 320.0, 520.0) for y in (90.0, 240.0, 390.0)])
        theirs = cv2.undistortPoints(points.reshape(-1, 1, 2), matrix, factors, P=matrix).reshape(-1, 2)
        assert np.abs(straightened(fitted.lens, points) - theirs).max() < 2.0


def views_of(lens: Lens, tilts: list[tuple[float, float]], spread: float = 1.0) -> list[tuple[np.ndarray, np.ndarray]]:
    """A board seen under the tilts given, through a lens."""
    out = []
    for k, (about_x, about_y) in enumerate(tilts):
        turn = cv2.Rodrigues(np.deg2rad([about_x, about_y, 10.0 * k]))[0]
        middle = BOARD_MM - BOARD_MM.mean(axis=0)
        place = np.array([spread * 60 * np.cos(2 * k), spread * 40 * np.sin(3 * k), 320.0])
        ray = np.column_stack([middle, np.zeros(len(middle))]) @ turn.T + place
        flat = ray[:, :2] / ray[:, 2:] * lens.focal_px + (lens.centre_x_px, lens.centre_y_px)
        out.append((BOARD_MM, distorted(lens, flat)))
    return out


LENS = Lens(900.0, 505.0, 380.0, -0.12, 0.05, 1000, 750)
TILTS = [(0.0, 0.0), (25.0, 0.0), (0.0, 25.0), (-25.0, 10.0), (15.0, -25.0)]


def test_a_lens_of_ours_comes_back() -> None:
    fit = lens_from_views(views_of(LENS, TILTS), 1000, 750)
    assert fit.lens.focal_px == pytest.approx(900, rel=0.002)
    assert fit.lens.k1 == pytest.approx(-0.12, abs=0.005)
    assert fit.rms_px < 0.01


@pytest.mark.parametrize(
    ("views", "words"),
    [
        (views_of(LENS, TILTS[: LEAST_VIEWS - 1]), "3 views"),
        (views_of(LENS, [(0.0, 0.0)] * 4), "the same way"),
        ([(mm, 450 + 0.1 * px) for mm, px in views_of(LENS, TILTS)], "small part"),
    ],
)  # fmt: skip
def test_views_that_tell_nothing_are_refused(views: list[tuple[np.ndarray, np.ndarray]], words: str) -> None:
    with pytest.raises(ProfileError, match=words):
        lens_from_views(views, 1000, 750)
