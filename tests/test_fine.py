"""Windows at the shot's own resolution lie where the coarse picture says they do and add nothing but detail."""

from __future__ import annotations

import numpy as np
import pytest

from vision.contour import trace
from vision.fine import windows_over
from vision.light import encode_srgb, log_light, log_light_averaged
from vision.pyramid import build_pyramid


def _disc_shot(step: int, centre: tuple[float, float], radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of an even panel with a dark disc, and the working residual (3, h, w) against that panel."""
    fine = 8
    y, x = ((np.arange(240 * fine) + 0.5) / fine - 0.5 for _ in range(2))
    inside = (y[:, None] - centre[0]) ** 2 + (x[None, :] - centre[1]) ** 2 <= radius**2
    share = inside.reshape(240, fine, 240, fine).mean(axis=(1, 3))
    light = 0.6 * (1 - 0.7 * share)
    pixels = np.repeat(np.rint(encode_srgb(light) * 255).astype(np.uint8)[..., None], 3, axis=2)
    return pixels, np.float32(np.log10(0.6)) - log_light_averaged(pixels, step)


@pytest.mark.parametrize("step", [2, 3, 4])
def test_a_window_lies_where_the_shot_has_it(step: int) -> None:
    centre = (121.3, 118.6)
    pixels, residual = _disc_shot(step, centre, 7.0)
    window = windows_over(build_pyramid(residual, 2), pixels, step).around(-1, centre[0] / step, centre[1] / step, 8)
    weight = window.residual.mean(axis=2)
    weight = np.where(weight > 0.05, weight, 0)
    rows, columns = np.indices(weight.shape)
    y = window.top + window.zoom * (weight * rows).sum() / weight.sum()
    x = window.left + window.zoom * (weight * columns).sum() / weight.sum()
    # Working pixel i has its centre at shot pixel i * step + (step - 1) / 2.
    assert y * step + (step - 1) / 2 == pytest.approx(centre[0], abs=0.05)
    assert x * step + (step - 1) / 2 == pytest.approx(centre[1], abs=0.05)


def test_a_fine_window_holds_the_density_of_the_shot() -> None:
    pixels, residual = _disc_shot(2, (120.0, 120.0), 9.0)
    window = windows_over(build_pyramid(residual, 2), pixels, 2).around(-1, 60, 60, 10)
    own = np.log10(0.6) - log_light(pixels)
    row, column = round((60 - window.top) / window.zoom), round((60 - window.left) / window.zoom)
    assert window.residual[row, column].mean() == pytest.approx(float(own[:, 120, 120].mean()), abs=0.02)
    assert window.residual[2, 2].mean() == pytest.approx(0.0, abs=0.02)


def test_averaging_light_is_not_averaging_its_logarithm() -> None:
    pixels = np.zeros((4, 4, 3), np.uint8)
    pixels[:, ::2] = 255
    # Half of the light, not the mean of the logarithms.
    assert float(log_light_averaged(pixels, 2).mean()) == pytest.approx(np.log10(0.5), abs=0.001)


def test_a_window_at_the_edge_says_where_the_picture_goes_on() -> None:
    pixels, residual = _disc_shot(2, (10.0, 10.0), 5.0)
    windows = windows_over(build_pyramid(residual, 2), pixels, 2)
    assert windows.around(-1, 3, 60, 8).cut == (False, True, True, True)
    assert windows.around(0, 118, 3, 8).cut == (True, False, False, True)


def test_a_coarse_window_of_a_dark_body_has_its_edge_where_the_body_has() -> None:
    """An opaque disc: where half of the light is lost lies at its radius at every level, not outside (geometry)."""
    y, x = np.indices((240, 240)) - 120.0
    residual = np.repeat(np.where(np.hypot(y, x) <= 40, 2.0, 0.0)[None], 3, axis=0).astype(np.float32)
    for level in (0, 1, 2, 3):
        window = windows_over(build_pyramid(residual, 5), None, 1).around(level, 120, 120, 70)
        outline = trace(window.lost.mean(axis=2) / window.lost.max())
        assert outline is not None
        assert outline.equivalent_diameter * window.zoom == pytest.approx(80, rel=0.03)
