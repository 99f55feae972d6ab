"""Shots of the slip on a stand: the plane over the whole field, the words, and the command."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from warped_slip import Camera, Fault, camera, photographed, scene

from calib.drift import Drift
from calib.panel_picture import LINE, light_picture, time_picture
from calib.profile import load_profile
from calib.realign import Kind
from calib.set_up import measure_set_up
from cli.entry import run
from vision.errors import ProfileError
from vision.geometry import ground_mm
from vision.types import Shot

pytestmark = pytest.mark.slow

SIZE = (1600, 1200)
PLACES_MM = ((-30, -25, 0), (25, 22, 15), (28, -24, 90), (-30, 24, 40), (0, 0, 120))
SAMPLES = Path(__file__).parent.parent / "sample_images"


def laid(x_mm: float, y_mm: float, turn_deg: float) -> np.ndarray:
    """Where a strip lies on the plane, moved and turned about its own middle."""
    a = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    to, back = np.eye(3), np.eye(3)
    to[:2, 2], back[:2, 2] = (45 + x_mm, 10.5 + y_mm), (-45, -10.5)
    return np.asarray(to @ turn @ back)


def stand(cam: Camera, places: tuple[tuple[float, float, float], ...] = PLACES_MM) -> list[Shot]:
    return [
        photographed(scene(cam, strips=(laid(*place),)), Fault(), seed, f"slip-{seed}.jpg")
        for seed, place in enumerate(places)
    ]


class TestStand:
    def test_places_hold_over_the_whole_field(self) -> None:
        cam = camera(12, 6, 40, 3, size=SIZE)
        found = measure_set_up(stand(cam))
        assert found.ground_map is not None
        assert found.words == ()
        field = np.array([[x, y] for x in np.linspace(20, 1580, 9) for y in np.linspace(20, 1180, 7)])
        back = np.linalg.inv(cam.to_px)
        truth = cv2.perspectiveTransform(field[:, None], back)[:, 0]
        places = ground_mm(found.ground_map, field)
        a, b = truth - truth.mean(axis=0), places - places.mean(axis=0)
        u, _, v = np.linalg.svd(b.T @ a)
        assert np.hypot(*(b @ u @ v - a).T).max() < 0.5
        lengths = [np.hypot(*np.diff(p.reshape(9, 7, 2), axis=0).reshape(-1, 2).T) for p in (places, truth)]
        assert np.abs(lengths[0] / lengths[1] - 1).max() < 0.005

    def test_one_shot_says_that_it_reaches_not_far(self) -> None:
        assert "small part" in measure_set_up(stand(camera(12, size=SIZE), PLACES_MM[4:])).words[0]

    def test_a_camera_that_moved_gives_no_plane(self) -> None:
        shots = [*stand(camera(12, size=SIZE), PLACES_MM[:2]), *stand(camera(9, 20, size=SIZE), PLACES_MM[2:4])]
        found = measure_set_up(shots)
        assert found.ground_map is None
        assert "moved between the slip shots" in found.words[0]

    def test_a_shot_without_a_slip_and_one_of_another_size_are_refused(self) -> None:
        with pytest.raises(ProfileError, match="shows no slip"):
            measure_set_up([photographed(scene(camera(12), strips=()), name="empty.jpg")])
        with pytest.raises(ProfileError, match="pixels"):
            measure_set_up(
                [*stand(camera(12, size=SIZE), PLACES_MM[4:]), *stand(camera(12, size=(1200, 900)), PLACES_MM[4:])]
            )


class TestCommand:
    def test_calibrate_with_slips_then_check(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        slips = []
        cam = camera(18, 3, size=(2000, 1500))
        for k, shot in enumerate(stand(cam, PLACES_MM[:4])):
            slips += ["--slip", str(tmp_path / f"s{k}.png")]
            cv2.imwrite(slips[-1], shot.pixels[..., ::-1])
        blanks = [str(SAMPLES / "01-blank-panel-a.jpg"), str(SAMPLES / "02-blank-panel-b.jpg")]
        out = tmp_path / "k.toml"
        assert run(["calibrate", *blanks, *slips, "--out", str(out)]) == 0
        said = capsys.readouterr().out
        assert re.search(r"1[78]\.\d px/mm is fine enough for: underside\.", said)
        assert "MTF50" in said
        assert "Next: " in said
        assert (tmp_path / "k-light.jpg").is_file()
        profile = load_profile(out)
        assert profile.ground_map is not None
        # The scale is quoted where the first slip lies; under a tilted camera it is another there than in the middle.
        quoted = np.array([[[profile.ground_map.x_px, profile.ground_map.y_px]]])
        there = cv2.perspectiveTransform(quoted, np.linalg.inv(cam.to_px))[0, 0]
        assert profile.px_per_mm == pytest.approx(cam.px_per_mm(there), rel=0.003)
        assert run(["calibrate", "--check", str(out), *blanks]) == 0
        assert "holds" in capsys.readouterr().out
        assert (tmp_path / "k-check.jpg").is_file()
        dim = np.zeros((1500, 2000, 3), np.uint8) + np.array([60, 90, 120], np.uint8)
        cv2.imwrite(str(tmp_path / "dim.png"), dim)
        assert run(["calibrate", "--check", str(out), str(tmp_path / "dim.png")]) == 1
        assert "does not hold for 1 of 1 shot" in capsys.readouterr().out

    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (["calibrate", "b.jpg"], "--out FILE"),
            (["calibrate", "--check", "no.toml", "b.jpg"], "there is no file no.toml"),
        ],
    )
    def test_a_wrong_call_is_told(self, words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert run(words) == 2
        assert sentence in capsys.readouterr().err


def test_pictures_are_drawn_whatever_is_known() -> None:
    profile = load_profile(Path(__file__).parent.parent / "calib" / "profiles" / "sample_panel.toml")
    picture = light_picture(profile)
    assert picture.shape[1] == 1200
    assert picture.std() > 10
    some = Drift(Kind.SAME, 0.98, (0.01, 0.0, -0.01), 0.012, 1.003, 5, 6)
    one, three = (
        time_picture(["a"], [Drift(Kind.OTHER_SIZE)]),
        time_picture(["a", "b", "c"], [some, replace(some, level=3.0), some]),
    )
    # Nothing is known of a shot of another size, so its rows stay empty; three shots have dots and lines in them.
    ink = [(picture == LINE).all(axis=2).sum() for picture in (one, three)]
    assert ink[0] == 0
    assert ink[1] > 1000
