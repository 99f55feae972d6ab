"""The counting of hits and false flags, on cases worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.counting import count_shot, recall_at
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import TrueBody, draw, tidy
from vision.types import Candidate, Cut, Setup, Shot


@pytest.fixture(scope="module")
def drawn() -> tuple[Candidate, TrueBody]:
    scene = draw(replace(tidy("water", 3, width_px=400, height_px=300), insects=(("aphid", 1),)))
    seen = inspect(Shot(scene.pixels, "0" * 64, "w"), Setup(px_per_mm=20.0), None, shipped_ranker(), Cut(0.0))
    return seen.candidates[0], next(b for b in scene.truth if b.insect)


def body(like: TrueBody, x_px: float, length_mm: float = 2.0, visible: float = 1.0) -> TrueBody:
    return replace(like, x_px=x_px, y_px=100.0, length_mm=length_mm, visible=visible)


def flag(like: Candidate, x_px: float, score: float) -> Candidate:
    return replace(like, measures=replace(like.measures, x_px=x_px, y_px=100.0), score=score)


def test_counting_rules(drawn: tuple[Candidate, TrueBody]) -> None:
    c, b = drawn
    # At 10 px/mm a body of 2 mm is hit within 10 px, one of 0.6 mm within 5 px (0.5 mm at the least).
    bodies = [body(b, 100), body(b, 200, length_mm=0.6), body(b, 300, length_mm=0.2), body(b, 400, visible=0.3)]
    flags = [
        flag(c, 109, 0.9),  # hits the first
        flag(c, 101, 0.8),  # the same body again: neither way
        flag(c, 206, 0.7),  # too far from the second: false
        flag(c, 204, 0.6),  # hits it
        flag(c, 301, 0.5),  # under 0.3 mm: neither way
        flag(c, 401, 0.4),  # less than half in view: neither way
        flag(c, 700, 0.3),  # false
    ]
    counted = count_shot(flags, bodies, 10.0)
    assert counted.hits == (0.9, 0.6)
    assert counted.false == (0.7, 0.3)


def test_recall_at_a_number_of_false_flags(drawn: tuple[Candidate, TrueBody]) -> None:
    c, b = drawn
    one = count_shot([flag(c, 100, 0.9), flag(c, 500, 0.5), flag(c, 200, 0.4)], [body(b, 100), body(b, 200)], 10.0)
    none = count_shot([flag(c, 500, 0.6)], [], 10.0)
    # Two shots, false flags at 0.6 and 0.5: none allowed finds what scores above 0.6, one a shot finds both.
    assert recall_at([one, none], 0)[0] == pytest.approx(0.5)
    assert recall_at([one, none], 0.5)[0] == pytest.approx(0.5)
    assert recall_at([one, none], 1)[0] == pytest.approx(1.0)
    assert np.isnan(recall_at([none], 1)[0])
