"""How rare a colour is in a shot, against shares of it that are known because they were put in."""

from __future__ import annotations

import numpy as np
import pytest

from vision.rarity import count_colours, rarity_map

_H, _W = 300, 400


def _two_colours(share: float, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Green produce with grey patches over `share` of it: density (3, h, w), and where the grey is."""
    rng = np.random.default_rng(seed)
    grey = np.zeros((_H, _W), bool)
    grey[:, : round(_W * share)] = True
    density = np.where(grey, 0.5, np.array([0.9, 0.5, 1.1])[:, None, None]) + rng.normal(0, 0.01, (3, _H, _W))
    return density.astype(np.float32), grey


@pytest.mark.parametrize("share", [0.5, 0.1, 0.01])
def test_rarity_is_the_share_that_looks_alike(share: float) -> None:
    density, grey = _two_colours(share)
    colours = count_colours(density, np.ones((_H, _W), bool))
    assert colours is not None
    rarity = rarity_map(density, colours)
    # Both colours are spread over as many bins, so their rarities differ by the logarithm of the ratio of their shares.
    difference = float(np.median(rarity[grey]) - np.median(rarity[~grey]))
    assert difference == pytest.approx(np.log10((1 - share) / share), abs=0.15)


def test_a_colour_nothing_else_has_is_as_rare_as_can_be_told() -> None:
    density, _ = _two_colours(0.2)
    colours = count_colours(density, np.ones((_H, _W), bool))
    assert colours is not None
    strange = colours.rarity(np.array([[0.2, 0.6, 0.3]], np.float32))
    usual = colours.rarity(np.array([[0.9, 0.5, 1.1]], np.float32))
    assert strange.min() > 5
    assert usual.max() < 3


def test_too_few_pixels_give_nothing() -> None:
    density, _ = _two_colours(0.2)
    mask = np.zeros((_H, _W), bool)
    mask[:5, :5] = True
    assert count_colours(density, mask) is None


def test_one_flat_colour_does_no_harm() -> None:
    flat = np.full((3, _H, _W), 0.4, np.float32)
    colours = count_colours(flat, np.ones((_H, _W), bool))
    assert colours is not None
    assert np.isfinite(rarity_map(flat, colours)).all()
