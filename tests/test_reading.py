"""A shot with the printed strip in it, from pixels to the set-up: scale, plane, sharpness, and what contradicts what."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from warped_slip import STRIP_MIDDLE_MM, Camera, Fault, camera, photographed, scene

from calib.profile import load_profile
from calib.reading import Reading, Told, focal_px, read_setup
from calib.set_up import measure_set_up, with_set_up
from calib.slip.layout import strip
from vision.geometry import ground_mm
from vision.pipeline import inspect
from vision.quality import MTF50_OF_BLUR
from vision.rank import shipped_ranker
from vision.types import CameraFacts, Cut, Ground, LitFrom, ScaleFrom, Setup, Shot

SAMPLE_PANEL = Path(__file__).parent.parent / "calib" / "profiles" / "sample_panel.toml"
STRIP_AT = np.array([[1.0, 0, -20], [0, 1, -40], [0, 0, 1]])
WIDE, HIGH = strip().wide_mm, strip().high_mm


def read(cam: Camera, fault: Fault = Fault(), told: Told = Told(), **more: object) -> Reading:  # noqa: B008
    return read_setup(photographed(scene(cam, **more), fault), told, None)  # type: ignore[arg-type]


def rigid(places: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """`places` turned and moved, never scaled, to lie on `truth` as well as they can (Kabsch 1976)."""
    a, b = truth - truth.mean(axis=0), places - places.mean(axis=0)
    u, _, v = np.linalg.svd(b.T @ a)
    return b @ (u @ np.diag([1, np.sign(np.linalg.det(u @ v))]) @ v) + truth.mean(axis=0)


@pytest.mark.parametrize(
    ("px_per_mm", "tilt", "towards", "turn"),
    [(8, 0, 0, 10), (8, 30, 120, 200), (12, 20, 40, 95), (16, 30, 300, 330)],
)
class TestOneStrip:
    def test_the_scale_at_the_strip_is_within_three_in_a_thousand(
        self, px_per_mm: float, tilt: float, towards: float, turn: float
    ) -> None:
        cam = camera(px_per_mm, tilt, towards, turn)
        setup = read(cam).setup
        assert setup.scale_from is ScaleFrom.SLIP
        assert setup.px_per_mm == pytest.approx(cam.px_per_mm(STRIP_MIDDLE_MM), rel=0.003)

    def test_places_hold_60_mm_away(self, px_per_mm: float, tilt: float, towards: float, turn: float) -> None:
        cam = camera(px_per_mm, tilt, towards, turn)
        setup = read(cam).setup
        assert setup.ground_map is not None
        round_it = np.array([[x, y] for x in np.linspace(-60, WIDE + 60, 9) for y in np.linspace(-60, HIGH + 60, 7)])
        away = np.hypot(*(round_it - np.clip(round_it, 0, [WIDE, HIGH])).T)
        truth = round_it[away <= 60]
        places = ground_mm(setup.ground_map, cam.seen(truth))
        assert np.hypot(*(rigid(places, truth) - truth).T).max() < 0.3


class TestSharpness:
    @pytest.mark.parametrize("blur_px", [1.0, 2.0, 3.0])
    def test_mtf50_of_a_gaussian(self, blur_px: float) -> None:
        # Twice as fine sampling, averaged, adds the variance of a pixel, 1/12 and a little; MTF50 of a Gaussian is 0.18739 / sigma.
        sharp = read(camera(16, 10, 30, 20), Fault(blur_px=blur_px)).setup.sharpness
        assert sharp is not None
        assert sharp.from_slip
        whole = np.sqrt(blur_px**2 + 1 / 12)
        assert sharp.mtf50_cy_px == pytest.approx(MTF50_OF_BLUR / whole, rel=0.05)
        assert not sharp.sharpened

    def test_the_blur_under_a_sharpened_edge(self) -> None:
        sharp = read(camera(16, 10, 30, 20), Fault(blur_px=1.2, sharpen=1.2, radius_px=1.8, jpeg=85)).setup.sharpness
        assert sharp is not None
        assert sharp.sharpened
        assert sharp.blur_px == pytest.approx(np.sqrt(1.2**2 + 1 / 12), rel=0.15)
        assert sharp.mtf50_cy_px > 1.2 * MTF50_OF_BLUR / 1.2

    @pytest.mark.parametrize("angle", [0, 30, 45, 80, 135, 160])
    def test_a_shot_that_moved_is_told(self, angle: float) -> None:
        sharp = read(camera(16, 5, 0, 12), Fault(smear_px=4, smear_deg=angle, blur_px=0.8)).setup.sharpness
        assert sharp is not None
        assert sharp.smear_px == pytest.approx(4, rel=0.35)
        off = abs(sharp.smear_deg - angle) % 180
        assert min(off, 180 - off) < 20
        assert sharp.defocus_px == 0

    @pytest.mark.parametrize("turn", [0, 20, 45])
    def test_a_shot_out_of_focus_is_told(self, turn: float) -> None:
        sharp = read(camera(16, 5, 0, turn), Fault(defocus_px=4, blur_px=0.8)).setup.sharpness
        assert sharp is not None
        assert sharp.smear_px == 0
        assert sharp.defocus_px == pytest.approx(4, rel=0.35)


class TestTheStripIsNoProduce:
    def test_nothing_on_it_is_flagged_and_what_lies_beside_it_is_measured_on_the_plane(self) -> None:
        cam = camera(12, 25, 70, 15)
        discs = [(20.0, -12.0, 0.9, 0.12), (70.0, 40.0, 0.9, 0.12), (45.0, -25.0, 0.9, 0.12)]
        shot = photographed(scene(cam, discs_mm=discs), Fault(blur_px=0.8))
        setup = read_setup(shot, Told(ground=Ground.PANEL, lit_from=LitFrom.BELOW), None).setup
        seen = inspect(shot, setup, None, shipped_ranker(), Cut(0.0))
        to_mm = np.linalg.inv(cam.to_px)
        for c in seen.candidates:
            x, y, w = to_mm @ [c.measures.x_px, c.measures.y_px, 1]
            assert not (0 <= x / w <= WIDE and 0 <= y / w <= HIGH)
        for x, y, radius, _ in discs:
            px, py = cam.seen(np.array([[x, y]]))[0]
            near = [c for c in seen.candidates if np.hypot(c.measures.x_px - px, c.measures.y_px - py) < 3]
            assert len(near) == 1
            assert near[0].sizes is not None
            assert near[0].sizes.equivalent_diameter_mm == pytest.approx(2 * radius, rel=0.05)
            # A disc is a disc on the plane, however it is seen.
            assert near[0].sizes.aspect_ratio > 0.93

    def test_a_shot_without_a_strip_has_no_scale(self) -> None:
        blank = read(camera(12), strips=())
        assert blank.setup.px_per_mm is None
        assert blank.setup.scale_from is ScaleFrom.NONE
        assert blank.setup.slip_outlines_px == ()
        assert blank.complaints == ()


class TestContradictions:
    def test_what_a_person_says_goes_first_and_a_slip_that_differs_is_said(self) -> None:
        cam = camera(12, 0)
        alike, unlike = (read(cam, told=Told(px_per_mm=scale)) for scale in (12.1, 13.0))
        assert (alike.setup.px_per_mm, alike.setup.scale_from) == (12.1, ScaleFrom.OPTION)
        assert alike.complaints == ()
        assert unlike.setup.px_per_mm == 13.0
        assert "50.0 mm bar" in unlike.complaints[0]

    def test_two_strips_are_said(self) -> None:
        second = np.array([[1.0, 0, 3], [0, 1, 32], [0, 0, 1]])
        found = read(camera(10, size=(1600, 1200)), strips=(np.eye(3), second))
        assert "Two" in found.complaints[0]
        assert len(found.setup.slip_outlines_px) == 2

    def test_a_strip_that_does_not_lie_flat_is_said(self) -> None:
        light = scene(camera(16))
        h, w = light.shape[:2]
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        bent = x + 8 * np.sin(2 * np.pi * x / (0.8 * w)), y
        import cv2

        shot = photographed(cv2.remap(light, *bent, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
        assert any("flat" in said for said in read_setup(shot, Told(), None).complaints)


def test_a_view_sets_ground_and_light_and_a_person_goes_before_it() -> None:
    shot = photographed(scene(camera(8, size=(400, 300)), strips=()))
    assert read_setup(shot, Told(), None, "water").setup.ground is Ground.WATER
    assert read_setup(shot, Told(), None, "opened").setup.lit_from is LitFrom.ABOVE
    assert read_setup(shot, Told(ground=Ground.CLOTH), None, "water").setup.ground is Ground.CLOTH
    assert read_setup(shot, Told(), None).setup.ground is None


def test_focal_length_of_a_film_equivalent() -> None:
    # 43.27 mm is the diagonal of 36 x 24 mm: a lens of that focal length sees it over its own picture's diagonal.
    told = CameraFacts(focal_35mm=43.2666)
    assert focal_px(told, 4000, 3000) == pytest.approx(5000, rel=1e-4)
    assert focal_px(CameraFacts(), 4000, 3000) is None
    assert focal_px(replace(told, focal_35mm=0.0), 4000, 3000) is None


@pytest.mark.parametrize("size", [(1, 1), (3, 900), (64, 64)])
def test_any_picture_has_a_reading(size: tuple[int, int]) -> None:
    rng = np.random.default_rng(1)
    for pixels in (np.zeros((*size, 3), np.uint8), rng.integers(0, 256, (*size, 3)).astype(np.uint8)):
        found = read_setup(Shot(pixels, "0" * 64, "a"), Told(), None)
        assert found.setup == replace(Setup(), sharpness=found.setup.sharpness)


def test_a_stand_that_is_tilted_and_its_slip_agree_wherever_it_lies() -> None:
    cam = camera(10, 20, 30, 0, size=(1800, 1400))
    setup = measure_set_up([photographed(scene(cam, strips=(STRIP_AT,)), name="a.jpg")])
    profile = with_set_up(load_profile(SAMPLE_PANEL), setup)
    profile = replace(profile, even_light=replace(profile.even_light, width_px=1800, height_px=1400), marks=())
    elsewhere = photographed(scene(cam, strips=(np.array([[1.0, 0, 20], [0, 1, 35], [0, 0, 1]]),)))
    assert not any("Scales disagree" in said for said in read_setup(elsewhere, Told(), profile).complaints)
