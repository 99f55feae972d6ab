"""Pieces of one line are one candidate, found whole; two thrips end to end are two."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.joining import join_lines
from vision.measure import Measured, measure_specks
from vision.types import Speck, Tone


def _speck(mask: np.ndarray, density: float = 0.3) -> Speck:
    contrast = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)
    residual = np.repeat((contrast * np.float32(density))[..., None], 3, 2)
    return Speck(
        0,
        0,
        1,
        mask,
        contrast,
        contrast,
        residual,
        (0.0, 0.0, 0.0),
        False,
        Tone.DARKER,
        20.0,
        2.0,
        1.0,
        (),
        0.0,
        (20.0,),
    )


def _line(points: np.ndarray, width: int) -> np.ndarray:
    picture = np.zeros((160, 320), np.uint8)
    cv2.polylines(picture, [np.rint(points).astype(np.int32)], False, 1, width)
    return picture > 0


def _measured(*masks: np.ndarray) -> tuple[Measured, ...]:
    return measure_specks([_speck(mask) for mask in masks], 1)


def _sine(first: float, last: float) -> np.ndarray:
    x = np.arange(first, last)
    return np.stack([x, 80 + 25 * np.sin(x / 40)], axis=1)


def test_a_winding_line_with_gaps_is_one() -> None:
    pieces = _measured(*(_line(_sine(*part), 5) for part in ((20, 100), (110, 190), (202, 300))))
    joined, used = join_lines(pieces, 1)
    assert used == {0, 1, 2}
    assert len(joined) == 1
    whole = measure_specks(joined, 1)[0]
    line = _sine(20, 300)
    true = float(np.hypot(*np.diff(line, axis=0).T).sum()) + 5
    assert whole.measures.length_px == pytest.approx(true, rel=0.06)


@pytest.mark.parametrize("width", [3, 5])
@pytest.mark.parametrize("upwards", [True, False])
def test_a_long_line_that_bends_towards_its_gap_goes_on(upwards: bool, width: int) -> None:
    """Straight, a quarter of a circle, a gap and straight on: where a tip points is told by its last widths alone."""
    a = np.deg2rad(np.arange(0, 91))
    bend = np.stack([240 + 20 * np.sin(a), 130 - 20 * (1 - np.cos(a))], axis=1)
    long, short = np.concatenate([[[10, 130]], bend]), np.array([[260.0, 100.0], [260.0, 15.0]])
    parts = [part if upwards else part * (1, -1) + (0, 159) for part in (long, short)]
    joined, used = join_lines(_measured(*(_line(part, width) for part in parts)), 1)
    assert used == {0, 1}
    assert len(joined) == 1


def test_two_short_bodies_end_to_end_are_two() -> None:
    one, two = _line(np.array([[40, 80], [60, 80]]), 6), _line(np.array([[70, 80], [92, 80]]), 6)
    assert join_lines(_measured(one, two), 1) == ([], set())


def test_lines_side_by_side_or_at_an_angle_stay_apart() -> None:
    first = _line(np.array([[40, 80], [120, 80]]), 4)
    beside = _line(np.array([[40, 92], [120, 92]]), 4)
    across = _line(np.array([[127, 84], [127, 150]]), 4)
    for other in (beside, across):
        assert join_lines(_measured(first, other), 1) == ([], set())


def test_a_pale_line_does_not_go_on_as_a_dark_one() -> None:
    first, second = _line(np.array([[40, 80], [120, 80]]), 4), _line(np.array([[128, 80], [200, 80]]), 4)
    alike = measure_specks([_speck(first), _speck(second, 0.25)], 1)
    unlike = measure_specks([_speck(first), _speck(second, -0.2)], 1)
    assert len(join_lines(alike, 1)[0]) == 1
    assert join_lines(unlike, 1)[0] == []


def test_a_body_that_stands_out_far_more_does_not_go_on_a_faint_line() -> None:
    rim, larva = _line(np.array([[40, 80], [120, 80]]), 4), _line(np.array([[128, 80], [150, 80]]), 4)
    strong = replace(_speck(larva), snr=100.0)
    assert len(join_lines(measure_specks([_speck(rim), _speck(larva)], 1), 1)[0]) == 1
    assert join_lines(measure_specks([_speck(rim), strong], 1), 1) == ([], set())


def test_outlines_that_share_a_stretch_are_one_line_whole() -> None:
    """A long line is noticed in many places, and no closer look need have held all of it."""
    parts = ((20, 150), (100, 220), (100, 180), (180, 300))
    joined, used = join_lines(_measured(*(_line(_sine(*part), 5) for part in parts)), 1)
    assert used == {0, 1, 2, 3}
    assert len(joined) == 1
    line = _sine(20, 300)
    true = float(np.hypot(*np.diff(line, axis=0).T).sum()) + 5
    assert measure_specks(joined, 1)[0].measures.length_px == pytest.approx(true, rel=0.06)


def test_a_dark_body_at_the_end_of_a_line_is_no_part_of_it() -> None:
    """A thrips against a bubble's rim: the rim's outlines take it in, and must not take it away."""
    rim, again = _line(_sine(40, 200), 4), _line(_sine(120, 290), 4)
    thrips = _line(_sine(40, 62), 4)
    measured = measure_specks([_speck(rim), _speck(again, 0.28), _speck(thrips, 0.6)], 1)
    assert measured[2].build.length > 3 * measured[2].build.width
    joined, used = join_lines(measured, 1)
    assert (len(joined), used) == (1, {0, 1})


def test_two_that_cross_are_two() -> None:
    one, other = _line(np.array([[40, 40], [240, 120]]), 4), _line(np.array([[40, 120], [240, 40]]), 4)
    assert join_lines(_measured(one, other), 1) == ([], set())


def test_a_line_with_thin_places_keeps_its_length() -> None:
    """Opening legs away would cut it in two there."""
    line = _line(_sine(20, 300), 9)
    for x in (110, 200):
        line[:, x - 5 : x + 6] &= _line(_sine(20, 300), 2)[:, x - 5 : x + 6]
    points = _sine(20, 300)
    true = float(np.hypot(*np.diff(points, axis=0).T).sum()) + 9
    assert _measured(line)[0].measures.length_px == pytest.approx(true, rel=0.06)
