"""Signal to noise of a colour difference, against numpy's own covariance and the Mahalanobis distance of scipy."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis

from vision.whitening import EITHER, Tones, inverse_covariance, mostly_grey, stand_out

_MIX = np.array([[0.02, 0, 0], [0.012, 0.01, 0], [0.008, 0.004, 0.015]])
_FIELD = (_MIX @ np.random.default_rng(3).normal(size=(3, 240 * 320))).reshape(3, 240, 320).astype(np.float32)
_ALL = np.ones((240, 320), bool)


def _signal(inverse: np.ndarray, tones: Tones, grey: np.ndarray | None = None) -> np.ndarray:
    out = np.zeros(_ALL.shape, np.float32)
    with ThreadPoolExecutor(2) as pool:
        stand_out(_FIELD, inverse, _ALL, tones, out, pool, grey)
    return out


def test_covariance_is_that_of_the_noise() -> None:
    """numpy.cov of the same pixels; the robust one may be a few per cent off on a normal spread, cells of 100 samples more."""
    found = np.linalg.inv(inverse_covariance(_FIELD, _ALL, 1e-6)).mean(axis=(0, 1))  # type: ignore[arg-type]
    assert found == pytest.approx(np.cov(_FIELD.reshape(3, -1)), rel=0.15)


def test_signal_is_the_mahalanobis_distance() -> None:
    """scipy.spatial.distance.mahalanobis at some pixels, with one covariance for all of the picture."""
    inverse = np.linalg.inv(np.cov(_FIELD.reshape(3, -1)))
    signal = _signal(np.broadcast_to(inverse, (3, 4, 3, 3)).copy(), EITHER)
    for y, x in ((0, 0), (17, 301), (120, 80), (239, 319)):
        assert signal[y, x] == pytest.approx(mahalanobis(_FIELD[:, y, x], np.zeros(3), inverse), rel=1e-4)


def test_specks_do_not_raise_the_noise_they_are_judged_by() -> None:
    spotted = _FIELD.copy()
    spotted[:, 40:60:4, 40:60:4] += 1.0
    plain = inverse_covariance(_FIELD, _ALL, 1e-6)
    assert plain is not None
    assert inverse_covariance(spotted, _ALL, 1e-6) == pytest.approx(plain, rel=0.35, abs=200)


def test_the_unlikely_tone_weighs_less_and_grey_has_its_sign() -> None:
    inverse = mostly_grey(np.broadcast_to(np.linalg.inv(np.cov(_FIELD.reshape(3, -1))), (3, 4, 3, 3)).copy())
    plain, grey, turned = _signal(inverse, EITHER), np.zeros(_ALL.shape, np.float32), np.zeros(_ALL.shape, np.float32)
    weighted = _signal(inverse, Tones(1.0, 0.5), grey)
    _signal(inverse, Tones(0.5, 1.0), turned)
    assert weighted[grey > 0] == pytest.approx(plain[grey > 0])
    assert weighted[grey < 0] == pytest.approx(plain[grey < 0] / 2)
    assert turned == pytest.approx(-grey)
    assert grey.std() == pytest.approx(1, abs=0.03)


def test_of_a_surface_that_is_not_there_there_is_none() -> None:
    assert inverse_covariance(_FIELD, ~_ALL, 1e-6) is None
