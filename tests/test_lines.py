"""What is thin stands out along lines: against sums by scipy, the gain of a matched line, and noise that stays noise."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy import ndimage

from vision.lines import along_lines

_SIGMA = 1.45
_RNG = np.random.default_rng(7)
_NOISE = ndimage.gaussian_filter(_RNG.normal(size=(400, 500)), _SIGMA).astype(np.float32)
_NOISE /= _NOISE.std()


def _along(grey: np.ndarray, mask: np.ndarray | None = None, threads: int = 2) -> np.ndarray:
    with ThreadPoolExecutor(threads) as pool:
        line = along_lines(grey, np.ones(grey.shape, bool) if mask is None else mask, _SIGMA, pool)
    assert line is not None
    return line


def test_along_rows_it_is_the_sum_of_eight_samples() -> None:
    """A stripe along x with nothing else: the best line is the row, whose sum scipy.ndimage.correlate1d gives as well."""
    stripe = np.zeros((200, 300), np.float32)
    stripe[100] = np.linspace(1, 2, 300)
    step = round(1.5 * _SIGMA)
    kernel = np.zeros(8 * step)
    kernel[::step] = 1
    # Sample offsets run from -(7 step) // 2 upward; correlate1d puts a kernel's middle at size // 2.
    shift = (7 * step) // 2 - kernel.size // 2
    expected = np.roll(ndimage.correlate1d(stripe[100].astype(float), kernel), shift)
    got = _along(stripe + _tiny())[100]
    inner = slice(40, 260)
    ratio = got[inner] / expected[inner]
    assert ratio == pytest.approx(np.full_like(ratio, ratio.mean()), rel=0.02)


def _tiny() -> np.ndarray:
    return (1e-3 * np.random.default_rng(1).normal(size=(200, 300))).astype(np.float32)


@pytest.mark.parametrize("angle_deg", [0, 22, 45, 70, 90, 117, 150])
def test_a_thin_body_stands_out_more_along_its_line_than_round(angle_deg: float) -> None:
    """A bar five times as long as wide (the usual build of a thrips: common practice, no source), in noise of unit variance."""
    y, x = np.mgrid[0:200, 0:200] - 100.0
    a = np.deg2rad(angle_deg)
    along, across = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    bar = ((np.abs(along) < 10) & (np.abs(across) < 2)).astype(np.float32)
    soft = ndimage.gaussian_filter(bar, _SIGMA)
    grey = np.asarray(_NOISE[:200, :200] + 4 * soft / soft.max(), np.float32)
    line = _along(grey)
    assert line[98:103, 98:103].max() > 1.4 * 4


def test_noise_stays_noise() -> None:
    """Along the best of eight directions noise reaches what eight normal deviates reach, not the square root of eight more."""
    line = _along(_NOISE)[40:-40, 40:-40]
    assert np.median(line) < 1.6
    assert (line > 5).mean() < 1e-3


def test_outside_of_the_mask_and_of_any_thread_count_nothing_changes() -> None:
    mask = np.zeros(_NOISE.shape, bool)
    mask[:, 200:] = True
    one, two = _along(_NOISE, mask, 1), _along(_NOISE, mask, 2)
    assert (one == two).all()
    assert not one[:, :200].any()
    assert one[:, 200:].any()


def test_a_picture_smaller_than_its_lines_has_none() -> None:
    with ThreadPoolExecutor(1) as pool:
        assert along_lines(np.zeros((20, 20), np.float32), np.ones((20, 20), bool), 2.0, pool) is None
