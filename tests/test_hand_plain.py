"""The tidy hand: what it draws is what its truth says."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from vision.render.hands import PX_PER_MM
from vision.render.hands.plain import draw
from vision.render.hands.plain.anatomy import Mood
from vision.render.hands.plain.canvas import Canvas
from vision.render.hands.plain.crawlers import caterpillar, egg, gnat, larva, mite
from vision.render.hands.plain.sucking import aphid, skin, thrips
from vision.render.hands.seen import HandDrawn

pytestmark = pytest.mark.slow

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
NAMES = {"aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin"}
_WIDE, _HIGH = 400, 300


@cache
def _drawn(kind: str, seed: int, insects: int) -> HandDrawn:
    return draw(kind, seed, insects, _WIDE, _HIGH)


def test_same_seed_same_bytes_and_other_seed_others() -> None:
    first = _drawn("broccoli", 1, 3)
    again = draw("broccoli", 1, 3, _WIDE, _HIGH)
    assert first.pixels.tobytes() == again.pixels.tobytes()
    assert first.truth == again.truth
    assert first.pixels.tobytes() != _drawn("broccoli", 2, 3).pixels.tobytes()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("insects", [0, 5, 60])
def test_every_kind_draws_as_many_as_asked(kind: str, insects: int) -> None:
    shot = _drawn(kind, 7, insects)
    assert shot.pixels.shape == (_HIGH, _WIDE, 3)
    assert shot.pixels.dtype == np.uint8
    assert shot.px_per_mm == PX_PER_MM
    assert len(shot.truth) == insects
    for body in shot.truth:
        assert body.kind in NAMES
        assert 0 <= body.x_px <= _WIDE - 1
        assert 0 <= body.y_px <= _HIGH - 1
        assert 0 <= body.angle_deg < 180
        assert 0 <= body.visible <= 1
        assert body.surface == kind if kind in ("water", "cloth") else body.surface in ("panel", "produce")


@pytest.mark.parametrize("kind", KINDS)
def test_most_bodies_are_seen(kind: str) -> None:
    bodies = [body for seed in (0, 1) for body in _drawn(kind, seed, 14).truth]
    assert np.mean([body.delta_e > 5 for body in bodies]) > 0.6
    assert np.mean([body.visible > 0.4 for body in bodies]) > 0.9


@pytest.mark.parametrize("make", [aphid, skin, thrips, caterpillar, larva, mite, gnat, egg])
def test_a_straight_body_is_as_long_as_its_row_says(make: object) -> None:
    assert callable(make)
    side, seen = 400, 0
    for seed in range(24):
        rng = np.random.default_rng(seed)
        figure = make(rng, Mood(heated=False, on_dark=False))
        if abs(figure.bend_rad) > 0.2:
            continue
        seen += 1
        zeros = np.zeros((side, side), np.uint8)
        canvas = Canvas(np.zeros((side, side, 3), np.float32), zeros.astype(np.int16), zeros, rng)
        turn = float(rng.uniform(0, 180))
        canvas.lay(figure, side / 2, side / 2, turn, 1)
        rows, columns = np.nonzero(canvas.labels == 1)
        along = columns * math.cos(math.radians(turn)) + rows * math.sin(math.radians(turn))
        measured_mm = (along.max() - along.min() + 1) / PX_PER_MM
        assert measured_mm == pytest.approx(figure.length_mm, abs=0.12, rel=0.06)
    assert seen > 0
