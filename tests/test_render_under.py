"""What lies under all in wild shots: printed lines and white trays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.render import draw, tidy, vary
from vision.render.recipe import filled
from vision.render.ruled import ruled_light


def test_tidy_shots_have_neither() -> None:
    shots = [filled(tidy(kind, seed)) for kind in ("water", "tray", "scallion") for seed in range(60)]
    assert {(shot.ruled, shot.tray_white) for shot in shots} == {(0.0, 0.0)}
    assert ruled_light(shots[0]) is None


def test_some_wild_ones_do() -> None:
    shots = [filled(vary("tray", seed)) for seed in range(400)]
    assert np.mean([bool(shot.ruled) for shot in shots]) == pytest.approx(0.25, abs=0.07)
    assert np.mean([bool(shot.tray_white) for shot in shots]) == pytest.approx(0.4, abs=0.07)


@pytest.mark.parametrize("seed", range(6))
def test_lines_take_light_at_their_density_and_leave_the_rest(seed: int) -> None:
    light = ruled_light(filled(replace(tidy("water", seed, width_px=600, height_px=400), ruled=0.5)))
    assert light is not None
    assert light.shape == (400, 600, 3)
    assert light.max() == pytest.approx(1.0, abs=0.02)
    # Density 0.5 lets 10 to the power of -0.5 through: of the ink's own colour no less.
    assert light.min() >= 10**-0.5 - 1e-6
    assert 0 < float((light.min(axis=2) < 0.99).mean()) < 0.95


def test_lines_repeat_at_their_pitch_whatever_the_resolution() -> None:
    recipe = replace(tidy("water", 3, width_px=800, height_px=600), ruled=0.5)
    fine = ruled_light(filled(replace(recipe, px_per_mm=20.0)))
    coarse = ruled_light(filled(replace(recipe, px_per_mm=10.0, width_px=400, height_px=300)))
    assert fine is not None
    assert coarse is not None
    halved = fine.reshape(300, 2, 400, 2, 3).mean(axis=(1, 3))
    assert float(np.abs(halved - coarse).mean()) < 0.02


def test_a_white_tray_is_light_and_a_dark_one_dark() -> None:
    recipe = replace(tidy("tray", 5, width_px=300, height_px=200), insects=())
    white, dark = draw(replace(recipe, tray_white=0.8)).pixels, draw(recipe).pixels
    assert np.median(white) > 2 * np.median(dark)
    assert np.mean(white >= 254) < 0.1
