"""On the ground the search works near the ideal observer: the matched filter in white noise, d'^2 = sum of signal^2 / sigma^2
(North, 1943; Green and Swets, 1966; efficiency after Tanner and Birdsall, 1958)."""

from __future__ import annotations

import numpy as np
import pytest
from efficiency import bar, d_prime, disc, efficiency, speck
from scipy.stats import norm


@pytest.mark.parametrize("diameter", [3.0, 8.0])
def test_round_specks(diameter: float) -> None:
    share, low, _ = efficiency(disc(diameter), fields=2)
    assert share > 0.6
    assert low > 0.45


@pytest.mark.parametrize("width", [1.5, 3.0])
def test_thin_specks(width: float) -> None:
    share, low, _ = efficiency(bar(width), fields=2)
    assert share > 0.4
    assert low > 0.3


def test_the_yardstick_itself() -> None:
    """Two normal distributions d' apart give d' back, and a drawn speck covers the area it should."""
    rng = np.random.default_rng(1)
    none, some = rng.normal(0, 1, 4000), rng.normal(2.0, 1, 4000)
    assert d_prime(some, none) == pytest.approx(2.0, abs=0.08)
    assert norm.cdf(2.0 / np.sqrt(2)) == pytest.approx((some[:, None] > none[None, :]).mean(), abs=0.01)
    assert speck(disc(9.0), 48.2, 47.9, 0.3).sum() == pytest.approx(np.pi * 4.5**2, rel=0.01)
    assert speck(bar(3.0), 48.2, 47.9, 0.7).sum() == pytest.approx(45.0, rel=0.01)
