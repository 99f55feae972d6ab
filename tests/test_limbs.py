"""Spokes and holes of figures whose number of them is known, and the direction of gratings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from vision.grain import grain_round
from vision.limbs import count_spokes, hollow
from vision.types import Speck, Tone

_Y, _X = np.mgrid[0:64, 0:64] - 31.5
_R = np.hypot(_X, _Y)


def _with_spokes(count: int, level: float, noise: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A disc 16 pixels wide with so many evenly spread spokes, 1.5 pixels wide and 12 long, blurred by 0.8 pixels."""
    picture = (_R < 8).astype(float)
    for k in range(count):
        angle = 0.2 + 2 * np.pi * k / count
        along, across = _X * np.cos(angle) + _Y * np.sin(angle), _Y * np.cos(angle) - _X * np.sin(angle)
        picture[(np.abs(across) < 0.75) & (along > 0) & (_R < 20)] = np.maximum(
            picture[(np.abs(across) < 0.75) & (along > 0) & (_R < 20)], level
        )
    picture = gaussian_filter(picture, 0.8) + np.random.default_rng(3).normal(0, noise, picture.shape)
    return picture > 0.5, picture.astype(np.float32)


@pytest.mark.parametrize("level", [0.3, 0.6])
@pytest.mark.parametrize("count", [0, 1, 2, 6, 8])
def test_all_spokes_are_counted_near_and_far(count: int, level: float) -> None:
    assert count_spokes(*_with_spokes(count, level)) == (count, count)


def test_noise_is_no_spoke() -> None:
    assert max(count_spokes(*_with_spokes(0, 0.0, noise=0.02))) <= 1
    assert count_spokes(*_with_spokes(6, 0.4, noise=0.02))[0] == 6


def test_a_body_that_the_line_runs_through_is_no_spoke() -> None:
    mask, picture = _with_spokes(0, 0.0)
    beside = np.where(np.hypot(_X - 22, _Y) < 10, 0.45, 0).astype(np.float32)
    assert count_spokes(mask, np.maximum(picture, beside)) == (0, 0)


@given(st.integers(3, 20), st.integers(2, 12))
def test_a_ring_is_as_hollow_as_its_hole(inner: int, thick: int) -> None:
    ring = (inner <= _R) & (inner + thick > _R) if inner + thick < 31 else (inner <= _R) & (_R < 31)
    share, holes = hollow(np.asarray(ring))
    assert holes == 1
    assert share == pytest.approx((inner > _R).sum() / ((inner > _R) | ring).sum())


def test_a_ring_cut_by_the_window_and_a_disc_are_not_hollow() -> None:
    ring = (_R >= 10) & (_R < 14)
    assert hollow(np.asarray(ring[:, 32:])) == (0.0, 0)
    assert hollow(np.asarray(_R < 10)) == (0.0, 0)


def test_bubbles_that_touch_have_a_hole_each() -> None:
    chain = np.zeros((64, 64), bool)
    for x in (-16, 0, 16):
        r = np.hypot(_X - x, _Y)
        chain |= (r >= 6) & (r < 9)
    assert hollow(chain)[1] == 3


def _on_grating(grating_deg: float) -> Speck:
    """A small disc on stripes that run along `grating_deg`."""
    angle = np.deg2rad(grating_deg)
    stripes = 0.1 * np.sin((_Y * np.cos(angle) - _X * np.sin(angle)) * 0.9)
    disc = _R < 6
    level = np.where(disc, 1.0, stripes).astype(np.float32)
    return Speck(
        0, 0, 1, disc, disc.astype(np.float32), level, np.repeat(level[..., None], 3, 2), (0.0, 0.0, 0.0), True, Tone.DARKER,
        20.0, 4.0, 0.0, (), 0.0, (),
    )  # fmt: skip


@pytest.mark.parametrize("grating_deg", [0.0, 30.0, 90.0, 135.0])
def test_the_grain_is_that_of_the_stripes(grating_deg: float) -> None:
    speck = _on_grating(grating_deg)
    one_way, along = grain_round(speck, grating_deg)
    assert one_way > 0.9
    assert along == pytest.approx(one_way, abs=0.02)
    assert grain_round(speck, grating_deg + 90)[1] == pytest.approx(-one_way, abs=0.02)


def test_where_nothing_runs_any_way_there_is_no_grain() -> None:
    speck = _on_grating(0.0)
    noise = np.random.default_rng(5).normal(0, 0.1, speck.residual.shape).astype(np.float32)
    mixed = Speck(**{**speck.__dict__, "residual": noise})
    assert grain_round(mixed, 20.0)[0] < 0.15
    full = Speck(**{**speck.__dict__, "mask": np.ones_like(speck.mask)})
    assert grain_round(full, 20.0) == (0.0, 0.0)
