"""Noise as a function of brightness, against noise that was put in. The model is EMVA 1288's: variance = read-out + gain x light."""

from __future__ import annotations

import numpy as np
import pytest

from vision.light import encode_srgb
from vision.noise import Noise, measure_noise

_WEDGE = np.linspace(0.02, 0.8, 1200)[None, :].repeat(600, axis=0)


def _shot(read: float, gain: float, seed: int, bits: int = 16) -> np.ndarray:
    rng = np.random.default_rng(seed)
    deviation = np.sqrt(read + gain * _WEDGE)[..., None]
    light = np.clip(_WEDGE[..., None] + rng.normal(size=(*_WEDGE.shape, 3)) * deviation, 0, 1)
    full = 2**bits - 1
    return np.rint(encode_srgb(light) * full).astype(np.uint16 if bits == 16 else np.uint8)


@pytest.mark.parametrize(("read", "gain"), [(1e-6, 1e-4), (4e-6, 0.0), (1e-6, 4e-4), (0.0, 2e-4)])
def test_the_line_of_photon_transfer_is_found(read: float, gain: float) -> None:
    noise = measure_noise(_shot(read, gain, 1), np.ones(_WEDGE.shape, bool), 1)
    assert noise is not None
    # The mean of three channels whose noise is apart has a third of the variance.
    for light in (0.05, 0.3, 0.7):
        true = np.sqrt((read + gain * light) / 3)
        assert float(noise.of_light(light)) == pytest.approx(true, rel=0.06)


def test_density_noise_is_that_of_light_over_light() -> None:
    noise = Noise(0.0, 1e-4)
    # d(log10 L) = dL / (L ln 10).
    assert float(noise.of_density(0.25)) == pytest.approx(np.sqrt(1e-4 * 0.25) / 0.25 / np.log(10), rel=1e-5)


def test_a_shot_smoothed_flat_keeps_what_eight_bits_round_away() -> None:
    flat = np.full((200, 300, 3), 180, np.uint8)
    noise = measure_noise(flat, np.ones((200, 300), bool), 1)
    assert noise is not None
    # Level 180 is a linear light of 0.4564, where one step of eight bits is 0.00565 (the slope of IEC 61966-2-1 there, 1.44, over
    # 255); a uniform error of one step has a standard deviation of it over sqrt(12).
    assert float(noise.of_light(0.4564)) == pytest.approx(0.00565 / np.sqrt(12), rel=0.02)


def test_specks_and_a_slope_of_light_do_not_count_as_noise() -> None:
    shot = _shot(1e-6, 1e-4, 3)
    bare = measure_noise(shot, np.ones(_WEDGE.shape, bool), 1)
    rng = np.random.default_rng(4)
    for y, x in zip(rng.integers(10, 590, 300), rng.integers(10, 1190, 300), strict=True):
        shot[y - 4 : y + 4, x - 4 : x + 4] //= 4
    specked = measure_noise(shot, np.ones(_WEDGE.shape, bool), 1)
    assert bare is not None
    assert specked is not None
    assert float(specked.of_light(0.4)) == pytest.approx(float(bare.of_light(0.4)), rel=0.05)


def test_without_ground_there_is_nothing_to_measure() -> None:
    assert measure_noise(_shot(0, 1e-4, 5), np.zeros(_WEDGE.shape, bool), 1) is None
