"""The weave of a cloth taken out: against patterns made of known waves, and bodies laid on them."""

from __future__ import annotations

import numpy as np
import pytest

from vision.weave import take_out, weave_gain

_SIZE = 480


def _weave(pitch: float, angle_deg: float, depth: float, seed: int = 1) -> np.ndarray:
    """Density of a cloth whose threads wander a little, with noise: (3, h, w)."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:_SIZE, 0:_SIZE].astype(np.float32)
    x = x + 1.2 * np.sin(2 * np.pi * y / 170) + 0.8 * np.sin(2 * np.pi * x / 210)
    a = np.deg2rad(angle_deg)
    u, v = (x * np.cos(a) + y * np.sin(a)) / pitch, (y * np.cos(a) - x * np.sin(a)) / pitch
    cloth = depth * (np.cos(2 * np.pi * u) + np.cos(2 * np.pi * v) + 0.5 * np.cos(4 * np.pi * u))
    return (cloth + rng.normal(0, 0.01, (3, _SIZE, _SIZE))).astype(np.float32)


@pytest.mark.parametrize("pitch", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 40.0])
def test_the_pattern_goes_and_the_noise_stays(pitch: float, angle_deg: float) -> None:
    cloth = _weave(pitch, angle_deg, 0.05)
    ground = np.ones((_SIZE, _SIZE), bool)
    gain = weave_gain(cloth.mean(axis=0), ground)
    assert gain is not None
    before = cloth.std()
    take_out(cloth, gain)
    assert cloth.std() < 0.4 * before
    assert cloth.std() > 0.8 * 0.01


def test_plain_noise_has_no_pattern() -> None:
    rng = np.random.default_rng(3)
    for seed in range(5):
        noise = np.random.default_rng(seed).normal(0, 0.02, (_SIZE, _SIZE)).astype(np.float32)
        assert weave_gain(noise, np.ones((_SIZE, _SIZE), bool)) is None
    specks = rng.normal(0, 0.02, (_SIZE, _SIZE)).astype(np.float32)
    for y, x in rng.integers(10, _SIZE - 10, (60, 2)):
        specks[y - 3 : y + 3, x - 3 : x + 3] += 0.4
    assert weave_gain(specks, np.ones((_SIZE, _SIZE), bool)) is None


@pytest.mark.parametrize("angle_deg", [0.0, 25.0])
def test_a_body_along_a_thread_stays(angle_deg: float) -> None:
    """A thin dark body lying in the furrow between two threads keeps most of its own contrast and stands out of the rest."""
    pitch = 6.0
    a = np.deg2rad(angle_deg)
    y, x = np.mgrid[0:_SIZE, 0:_SIZE] - _SIZE / 2
    along, across = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    body = (np.abs(along) <= 10) & (np.abs(across) <= 2)
    bare = _weave(pitch, angle_deg, 0.06)
    with_body = bare + (0.2 * body).astype(np.float32)
    gain = weave_gain(with_body.mean(axis=0), np.ones((_SIZE, _SIZE), bool))
    assert gain is not None
    take_out(bare, gain)
    take_out(with_body, gain)
    left = (with_body - bare).mean(axis=0)[body].mean()
    assert left > 0.7 * 0.2
    assert left > 5 * bare.mean(axis=0).std()


def test_too_little_ground_says_nothing() -> None:
    ground = np.zeros((_SIZE, _SIZE), bool)
    ground[:50] = True
    assert weave_gain(_weave(5.0, 0.0, 0.05).mean(axis=0), ground) is None
