"""A part of a body is listed with the whole; what clings to something else keeps a flag of its own.

Rules of our own, checked on ellipses whose places and sizes are given (no outside source).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.types import Measures
from vision.wholes import parts_taken_in


def ellipse(x: float, y: float, long: float, wide: float, density: float = 0.5) -> Measures:
    """What is measured of an ellipse that lies along x."""
    a = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    outline = np.stack([x + long / 2 * np.cos(a), y + wide / 2 * np.sin(a)], axis=1).astype(np.float32)
    area = np.pi * long * wide / 4
    diameter = float(np.sqrt(long * wide))
    return Measures(
        x, y, round(x - long / 2), round(y - wide / 2), round(long), round(wide), 0, long, wide, long, wide, area, diameter,
        wide / long, 1, 1, 20, density, 50, 1, outline,
    )  # fmt: skip


WHOLE, TAIL, HEAD = ellipse(100, 100, 70, 20), ellipse(120, 100, 26, 12), ellipse(78, 100, 22, 12)


def listed(measures: list[Measures], scores: list[float]) -> list[tuple[int, int]]:
    order = sorted(range(len(scores)), key=lambda k: -scores[k])
    return parts_taken_in([(k, k) for k in order], measures, np.array(scores))


def test_a_tail_that_looks_more_like_an_insect_gives_its_score_to_the_whole() -> None:
    assert listed([WHOLE, TAIL], [0.1, 0.6]) == [(1, 0)]


def test_a_tail_that_looks_less_like_one_is_no_second_flag() -> None:
    assert listed([WHOLE, TAIL], [0.6, 0.1]) == [(0, 0)]


def test_what_clings_to_something_that_is_no_insect_keeps_its_flag() -> None:
    assert listed([WHOLE, TAIL], [0.01, 0.6]) == [(1, 1), (0, 0)]


def test_two_within_one_outline_stay_two() -> None:
    assert listed([WHOLE, TAIL, HEAD], [0.2, 0.6, 0.5]) == [(1, 1), (2, 2), (0, 0)]
    assert listed([WHOLE, TAIL, HEAD], [0.2, 0.6, 0.15]) == [(1, 0)]


def test_a_mite_on_a_caterpillar_is_no_part_of_it() -> None:
    mite = ellipse(100, 100, 8, 6)
    assert listed([WHOLE, mite], [0.6, 0.5]) == [(0, 0), (1, 1)]


def test_a_pale_place_on_a_dark_body_is_no_part_of_it() -> None:
    assert len(listed([WHOLE, replace(TAIL, density=-0.5)], [0.6, 0.5])) == 2


def test_a_score_goes_from_part_to_part_up_to_the_whole() -> None:
    inner = ellipse(120, 100, 14, 8)
    assert listed([WHOLE, TAIL, inner], [0.2, 0.1, 0.6]) == [(2, 0)]


@given(
    st.lists(
        st.tuples(st.integers(20, 80), st.integers(20, 80), st.integers(4, 60), st.integers(4, 30), st.floats(0.01, 0.99)),
        max_size=8,
    )
)  # fmt: skip
def test_no_score_is_made_up_and_the_best_is_never_lost(some: list[tuple[int, int, int, int, float]]) -> None:
    measures = [ellipse(x, y, max(a, b), min(a, b)) for x, y, a, b, _ in some]
    scores = [score for *_, score in some]
    found = listed(measures, scores)
    assert len({whole for _, whole in found}) == len(found) == len({k for k, _ in found})
    told = [scores[k] for k, _ in found]
    assert told == sorted(told, reverse=True)
    if scores:
        assert told[0] == pytest.approx(max(scores))
