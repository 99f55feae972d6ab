"""The weave of a cloth taken out: against patterns made of known waves, and bodies laid on them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import skimage.data

from vision.foreground import find_surfaces
from vision.weave import is_woven, take_out, weave_gain

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


def seen_whole(picture: np.ndarray) -> bool:
    density = -np.log10((picture.astype(np.float32) + 1) / 256)
    return is_woven(density, np.ones(density.shape, bool))


@pytest.mark.parametrize(
    ("name", "woven"), [("brick", True), ("grass", False), ("gravel", False), ("coins", False), ("moon", False)]
)
def test_what_repeats_crosswise_is_told_from_what_does_not(name: str, woven: bool) -> None:
    """Photographs that scikit-image ships (skimage.data): laid bricks repeat along and across; grass, gravel, coins and craters do not."""
    assert seen_whole(getattr(skimage.data, name)()) is woven


@pytest.mark.parametrize("quality", [20, 60, 90])
@pytest.mark.parametrize("name", ["grass", "gravel", "moon"])
def test_the_blocks_of_a_jpeg_are_no_threads(name: str, quality: int) -> None:
    coded = cv2.imencode(".jpg", getattr(skimage.data, name)(), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    assert not seen_whole(cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE))


@pytest.mark.parametrize("slope_deg", [0.0, 20.0, 45.0])
def test_stripes_one_way_are_no_weave_and_stripes_two_ways_are(slope_deg: float) -> None:
    y, x = np.mgrid[:480, :640].astype(np.float32)
    noise = np.random.default_rng(1).normal(0, 0.02, y.shape).astype(np.float32)
    turn = np.deg2rad(slope_deg)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    everywhere = np.ones(y.shape, bool)
    assert not is_woven(0.3 * np.sin(along / 1.3) + noise, everywhere)
    assert is_woven(0.3 * np.sin(along / 1.3) + 0.3 * np.sin(across / 1.1) + noise, everywhere)


def test_a_coarse_dark_cloth_is_ground_and_a_leaf_on_it_is_not() -> None:
    """Threads that are each off the mean of all by more than produce is off a panel."""
    y, x = np.mgrid[:900, :1200].astype(np.float32)
    density = np.float32(0.3) * (np.sign(np.sin(x / 2.6)) + np.sign(np.sin(y / 2.3)))
    slow = cv2.GaussianBlur(np.random.default_rng(2).normal(0, 1, y.shape).astype(np.float32), (0, 0), 30)
    density = density + slow * np.float32(0.15 / slow.std())
    bare = find_surfaces(np.stack([density] * 3), None, 10.0)
    assert bare.ground.mean() > 0.95
    leaf = np.hypot(x - 600, (y - 450) * 2) < 250
    laid = find_surfaces(np.stack([np.where(leaf, 1.6, density)] * 3).astype(np.float32), None, 10.0)
    assert laid.produce[leaf].mean() > 0.9
    assert laid.produce[~leaf].mean() < 0.05


def test_nothing_repeats_where_nothing_changes() -> None:
    """A drawn picture may be without any noise: half of it flat produce, half flat ground."""
    flat = np.zeros((400, 600), np.float32)
    assert not is_woven(flat, np.ones(flat.shape, bool))
    half = flat.copy()
    half[:, 250:] = 0.5
    surfaces = find_surfaces(np.stack([half, half * 1.5, half]), None, 10.0)
    assert surfaces.produce[:, 300:].mean() > 0.95
    assert surfaces.ground[:, :200].mean() > 0.95
