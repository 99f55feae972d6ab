"""Edges of discs whose blur is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from vision.contour import trace
from vision.edges import blur_of, edge_slopes, evenness
from vision.types import Speck, Tone

_Y, _X = np.mgrid[0:80, 0:80] - 40.0
_DISC = np.hypot(_X, _Y) < 12


def speck(contrast: np.ndarray) -> Speck:
    """A disc 24 pixels wide, of a density one above what is round it."""
    level = contrast.astype(np.float32)
    return Speck(
        0, 0, 1, _DISC, level, level, np.repeat(level[..., None], 3, 2), (0.0, 0.0, 0.0), False, Tone.DARKER,
        20.0, 4.0, 0.0, (), 0.0, (),
    )  # fmt: skip


def slopes(one: Speck) -> np.ndarray:
    form = trace(one.contrast)
    assert form is not None
    return edge_slopes(one, form.points)


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.5])
def test_blur_is_that_of_the_gaussian_and_even_all_round(sigma: float) -> None:
    found = slopes(speck(gaussian_filter(_DISC.astype(float), sigma)))
    assert blur_of(found, speck(_DISC.astype(float))) == pytest.approx(sigma, rel=0.12)
    assert evenness(found) > 0.85


def test_an_edge_that_is_soft_on_one_side_is_uneven() -> None:
    sharp, soft = (gaussian_filter(_DISC.astype(float), sigma) for sigma in (0.8, 4.0))
    found = slopes(speck(np.where(_X < 0, sharp, soft)))
    assert evenness(found) < 0.4
