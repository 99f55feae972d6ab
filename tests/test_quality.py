"""Sharpness, noise and what a shot can show, on shots of known blur and noise."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from drawn_shots import cover, disc

from vision.guides.views import EYE_MM
from vision.light import encode_srgb
from vision.pipeline import inspect
from vision.quality import MTF50_OF_BLUR
from vision.rank import shipped_ranker
from vision.types import Cut, Inspection, Setup, Shot


@cache
def discs_light() -> np.ndarray:
    """Twelve discs of 24 px, a quarter of the light let through, on a panel of light 1."""
    light = np.ones((420, 560))
    for k in range(12):
        x, y = 70.3 + 130 * (k % 4), 80.7 + 125 * (k // 4)
        light *= 1 - 0.75 * cover(420, 560, disc(x, y, 24))
    return light


def discs_shot(blur_px: float, noise: float, level: float = 0.6, seed: int = 3) -> Shot:
    """The discs on a panel of `level`, blurred in linear light."""
    light = level * discs_light()
    light = cv2.GaussianBlur(light, (0, 0), blur_px) if blur_px else light
    light = light[..., None] * (1 + np.random.default_rng(seed).normal(0, noise, (420, 560, 3)))
    return Shot(np.rint(encode_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8), "0" * 64, "discs")


def look(shot: Shot, px_per_mm: float | None = 20.0) -> Inspection:
    return inspect(shot, Setup(px_per_mm=px_per_mm), None, shipped_ranker(), Cut(0.0))


@pytest.mark.parametrize("blur_px", [0.8, 1.2, 2.0, 3.0])
def test_sharpness_of_a_gaussian_blur(blur_px: float) -> None:
    # MTF50 of a Gaussian is sqrt(ln 2 / 2) / pi / sigma = 0.18739 / sigma cycles per pixel (tests/outside/sharpness.csv).
    assert pytest.approx(np.sqrt(np.log(2) / 2) / np.pi, abs=1e-5) == MTF50_OF_BLUR
    seen = look(discs_shot(blur_px, 0.004)).quality.sharpness_cy_px
    assert seen == pytest.approx(MTF50_OF_BLUR / blur_px, rel=0.2)


@pytest.mark.parametrize("noise", [0.01, 0.02, 0.04])
def test_noise_is_that_of_the_density(noise: float) -> None:
    # Of three independent channels the mean has noise / sqrt(3), and a relative change dL is dL / ln 10 of density.
    seen = look(discs_shot(1.0, noise)).quality.noise
    assert seen == pytest.approx(noise / np.sqrt(3) / np.log(10), rel=0.15)


def test_noise_never_falls_below_the_rounding_of_eight_bits() -> None:
    seen = look(discs_shot(1.0, 0.0)).quality.noise
    # One level of 8 bits at 0.6 linear (about 203 of 255), over the square root of twelve, as density.
    step = 2.4 * (1 / 255) / (203 / 255 + 0.055) / np.log(10)
    assert seen == pytest.approx(step / np.sqrt(12), rel=0.1)


def test_more_noise_and_more_blur_show_less() -> None:
    sharp, noisy, soft = (look(discs_shot(b, n)) for b, n in ((0.8, 0.005), (0.8, 0.15), (1.8, 0.005)))
    assert sharp.limit_round_mm is not None
    assert noisy.limit_round_mm is not None
    assert soft.limit_round_mm is not None
    assert sharp.limit_round_mm <= noisy.limit_round_mm
    assert sharp.limit_round_mm <= soft.limit_round_mm
    assert sharp.limit_round_mm >= 2 / 20  # two pixels at 20 px/mm
    assert sharp.limit_round_mm < EYE_MM
