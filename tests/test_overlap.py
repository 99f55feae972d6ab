"""Which of several outlines of one body stays, and who owns a place that two outlines cover.

Rules of our own, checked on discs whose sizes are given (no outside source).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.covered import Covered
from vision.overlap import without_repeats
from vision.types import Measures, Speck, Surfaces, Tone


def disc(diameter: float, density: float = 0.7, blur_px: float = 0.7) -> Measures:
    """What is measured of a disc round (100, 100)."""
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    outline = (100 + 0.5 * diameter * np.stack([np.cos(a), np.sin(a)], axis=1)).astype(np.float32)
    low, wide = round(100 - diameter / 2), round(diameter)
    return Measures(
        100, 100, low, low, wide, wide, 0, diameter, diameter, diameter, diameter, np.pi * diameter**2 / 4, diameter, 1, 1, 1,
        20, density, 50, blur_px, outline,
    )  # fmt: skip


def square(side: int, snr: float) -> Speck:
    """A speck of so many pixels each way, from row and column 15 on."""
    whole, flat = np.ones((side, side), bool), np.ones((side, side), np.float32)
    below = (0.0, 0.0, 0.0)
    return Speck(
        15, 15, 1, whole, flat, flat, np.ones((side, side, 3), np.float32), below, False, Tone.DARKER, snr, 2.0, 0.0, (), 0.0, ()
    )  # fmt: skip


@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_the_larger_of_two_sharp_outlines_stays(order: list[int]) -> None:
    kept = without_repeats(order, [disc(40), disc(46)])
    assert [whole for _, whole in kept] == [1]


@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_a_body_with_its_shade_does_not_take_the_place_of_the_body(order: list[int]) -> None:
    kept = without_repeats(order, [disc(40), disc(46, density=0.6, blur_px=5)])
    assert [whole for _, whole in kept] == [0]


def test_nor_does_it_step_by_step() -> None:
    softer = [disc(40, blur_px=0.4), disc(42, blur_px=1.2), disc(44, blur_px=2.3), disc(46, blur_px=4.5)]
    assert [whole for _, whole in without_repeats([0, 1, 2, 3], softer)] == [1]


@pytest.mark.parametrize(("density", "stays"), [(0.68, 1), (0.6, 1), (0.56, 0), (0.54, 0)])
def test_what_adds_surroundings_alone_is_no_more_of_the_body(density: float, stays: int) -> None:
    """A ring between 40 and 46 px that brings the mean from 0.7 to 0.6 is 0.29 dense, to 0.56 0.13: under a quarter of 0.7."""
    kept = without_repeats([0, 1], [disc(40), disc(46, density=density)])
    assert [whole for _, whole in kept] == [stays]


@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_what_is_far_paler_is_the_body_and_its_surroundings(order: list[int]) -> None:
    kept = without_repeats(order, [disc(40, density=0.37), disc(46, density=0.26)])
    assert [whole for _, whole in kept] == [0]


def test_a_fainter_outline_does_not_take_a_place_from_a_stronger_one() -> None:
    bare = np.ones((40, 40), bool)
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare))
    covered.cover(square(9, 100.0))
    covered.cover(square(9, 10.0))
    assert covered.hides(20, 20, 140.0, 2.0)
    assert len(np.unique(covered.owner)) == 2
    covered.cover(square(9, 200.0))
    assert set(np.unique(covered.owner)) == {0, 3}


def test_a_wide_outline_hides_a_small_body_only_where_not_everything_is_asked_for() -> None:
    bare = np.ones((200, 200), bool)
    for everything in (False, True):
        covered = Covered.nothing(Surfaces(bare, ~bare, ~bare), everything)
        covered.cover(square(100, 100.0))
        assert covered.hides(60, 60, 20.0, 0.65) is not everything
        assert covered.hides(60, 60, 20.0, 4.0)


@pytest.mark.parametrize("everything", [False, True])
def test_where_everything_is_asked_for_an_outline_noticed_by_its_rim_hides_no_place_of_its_own_scale(
    everything: bool,
) -> None:
    bare = np.ones((120, 120), bool)
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare), everything)
    covered.cover(replace(square(30, 60.0), scale_px=1.5))
    assert covered.hides(25, 25, 150.0, 8.0) is not everything
    assert covered.hides(25, 25, 150.0, 2.5)
    covered.cover(replace(square(30, 150.0), scale_px=8.0))
    assert covered.hides(25, 25, 150.0, 8.0)


def test_nor_does_one_that_a_shine_has_taken_a_bay_out_of() -> None:
    """30 px across and noticed at 4: two and a half times 4 is less than 0.4 times 30, but not than 0.4 times what the bay leaves."""
    bare = np.ones((120, 120), bool)
    shone_on = np.ones((30, 30), bool)
    shone_on[10:20, 12:] = False
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare), everything=True)
    covered.cover(replace(square(30, 60.0), scale_px=4.0, mask=shone_on))
    assert not covered.hides(20, 20, 50.0, 6.0)
    assert covered.hides(20, 20, 50.0, 4.0)


@pytest.mark.parametrize("zoom", [1, 2, 4])
def test_contrast_is_looked_up_in_the_pixel_that_covers_the_place(zoom: int) -> None:
    bare = np.ones((80, 80), bool)
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare))
    strength = np.full((9, 9), 3.0, np.float32)
    strength[1:-1, 1:-1] = 1.0
    covered.cover(replace(square(9, 100.0), zoom=zoom, strength=strength))
    within = np.zeros((80, 80), bool)
    for row, column in np.argwhere(covered.owner[0]):
        within[row, column] = covered.hides(row, column, 400.0, 2.0)
    rows, columns = np.nonzero(within)
    assert len(rows) == (np.ptp(rows) + 1) * (np.ptp(columns) + 1) == (7 * zoom) ** 2


@pytest.mark.parametrize("zoom", [1, 2, 4, 8])
def test_a_coarse_outline_covers_every_pixel_within_it(zoom: int) -> None:
    bare = np.ones((120, 120), bool)
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare))
    covered.cover(replace(square(9, 100.0), zoom=zoom))
    rows, columns = np.nonzero(covered.owner[0])
    assert len(rows) == (9 * zoom) ** 2 == (np.ptp(rows) + 1) * (np.ptp(columns) + 1)
    # Its first pixel's middle lies at row and column 15, as the halvings of a picture have it.
    assert abs(rows.mean() - (15 + 4 * zoom)) <= 0.5


def test_on_produce_a_wide_shade_hides_no_small_body() -> None:
    produce = np.ones((200, 200), bool)
    covered = Covered.nothing(Surfaces(~produce, produce, ~produce))
    covered.cover(replace(square(60, 100.0), on_produce=True))
    assert not covered.hides(45, 45, 20.0, 1.5)
    assert covered.hides(45, 45, 20.0, 6.0)


def test_of_one_body_what_has_more_signal_but_no_more_contrast_is_hidden() -> None:
    bare = np.ones((60, 60), bool)
    covered = Covered.nothing(Surfaces(bare, ~bare, ~bare))
    strength = np.ones((9, 9), np.float32)
    strength[4, 4] = 3.0
    covered.cover(replace(square(9, 100.0), strength=strength))
    assert covered.hides(17, 17, 400.0, 2.0)
    assert not covered.hides(19, 19, 400.0, 2.0)
