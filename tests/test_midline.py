"""Middle lines against drawn curves whose length and bend are known from geometry.

A semicircle and an S of two semicircles have the same straightness, 2 / pi; only the sign of curvature tells them apart.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.contour import trace
from vision.midline import Midline, middle_line


def _rod(line: np.ndarray, width: float) -> np.ndarray:
    """Outline of a rod with round ends along a line, drawn 16 times finer than it is traced."""
    low, high = line.min(axis=0) - width, line.max(axis=0) + width
    size = np.ceil(high - low).astype(int) + 4
    fine = 4
    picture = np.zeros((size[1] * fine, size[0] * fine), np.uint8)
    points = np.rint(((line - low + 2 + 0.5) * fine - 0.5) * 16).astype(np.int32)
    cv2.polylines(picture, [points], False, 255, 1, cv2.LINE_8, 4)
    away = cv2.distanceTransform(255 - picture, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    inside = (away <= width / 2 * fine).astype(np.float32)
    form = trace(cv2.resize(inside, (size[0], size[1]), interpolation=cv2.INTER_AREA))
    assert form is not None
    return form.points


def _arc(radius: float, angle: float) -> np.ndarray:
    a = np.linspace(0, angle, 300)
    return np.stack([radius * np.cos(a), radius * np.sin(a)], axis=1)


def _s(radius: float) -> np.ndarray:
    t = np.linspace(0, np.pi, 200)
    upper = np.stack([-radius - radius * np.cos(t), radius * np.sin(t)], axis=1)
    lower = np.stack([radius - radius * np.cos(t), -radius * np.sin(t)], axis=1)
    return np.concatenate([upper, lower[1:]])


def _line(outline: np.ndarray) -> Midline:
    return middle_line(outline)


@pytest.mark.parametrize("width", [6.0, 10.0, 16.0])
@pytest.mark.parametrize("angle", [0.6, 1.5, np.pi])
def test_length_and_width_of_arcs(width: float, angle: float) -> None:
    radius = 60.0
    line = _line(_rod(_arc(radius, angle), width))
    assert line.length == pytest.approx(radius * angle + width, rel=0.03)
    assert line.width == pytest.approx(width, rel=0.06, abs=0.4)


def test_a_straight_rod_is_straight() -> None:
    line = _line(_rod(np.array([[0.0, 0.0], [80.0, 31.0]]), 8.0))
    assert line.straightness > 0.995
    assert max(line.left_turn_rad, line.right_turn_rad) < 0.1


def test_c_and_s_differ_in_the_sign_of_their_turns_alone() -> None:
    c, s = _line(_rod(_arc(50.0, np.pi), 7.0)), _line(_rod(_s(25.0), 7.0))
    # The round ends make both a little straighter than the 2 / pi of their middle lines.
    assert c.straightness == pytest.approx(2 / np.pi, abs=0.08)
    assert s.straightness == pytest.approx(2 / np.pi, abs=0.12)
    assert min(c.left_turn_rad, c.right_turn_rad) < 0.15 < 0.7 < max(c.left_turn_rad, c.right_turn_rad)
    assert min(s.left_turn_rad, s.right_turn_rad) > 0.7


@given(st.floats(0, 2 * np.pi), st.floats(0.3, 2.6), st.floats(5, 12))
def test_turning_and_mirroring_change_nothing_but_the_side(turn: float, angle: float, width: float) -> None:
    outline = _rod(_arc(50.0, angle), width)
    c, s = np.cos(turn), np.sin(turn)
    here = _line(outline)
    turned, mirrored = _line(outline @ np.array([[c, s], [-s, c]])), _line(outline * np.array([-1.0, 1.0]))
    assert turned.length == pytest.approx(here.length, rel=0.02)
    assert turned.width == pytest.approx(here.width, rel=0.02)
    assert mirrored.length == pytest.approx(here.length, rel=0.02)
    assert mirrored.right_turn_rad == pytest.approx(here.left_turn_rad, abs=0.12)
