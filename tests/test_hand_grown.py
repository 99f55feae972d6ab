"""Shots by the hand that grows its scenes: the same again from a seed, every insect in its row, bodies as long as they say."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown import KINDS, draw
from vision.render.hands.grown.bodies import Grown, aphid
from vision.render.hands.grown.crawlers import caterpillar, egg, larva, skin
from vision.render.hands.grown.fields import Rng
from vision.render.hands.grown.legged import gnat, mite, thrips
from vision.render.hands.seen import HandDrawn
from vision.render.truth import moments

pytestmark = pytest.mark.slow

WIDTH, HEIGHT = 400, 300
MAKERS = (aphid, thrips, caterpillar, larva, mite, gnat, egg, skin)
SURFACES = {"water": {"water"}, "cloth": {"cloth"}}


@lru_cache(maxsize=32)
def shot(kind: str, seed: int, insects: int) -> HandDrawn:
    return draw(kind, seed, insects, WIDTH, HEIGHT)


@pytest.mark.parametrize("kind", KINDS)
def test_same_seed_same_bytes(kind: str) -> None:
    first, again = shot(kind, 1, 4), shot.__wrapped__(kind, 1, 4)
    assert np.array_equal(first.pixels, again.pixels)
    assert first.truth == again.truth
    assert not np.array_equal(first.pixels, shot(kind, 2, 4).pixels)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("insects", [0, 4, 25])
def test_a_row_for_every_insect(kind: str, insects: int) -> None:
    drawn = shot(kind, 1, insects)
    assert drawn.pixels.shape == (HEIGHT, WIDTH, 3)
    assert drawn.pixels.dtype == np.uint8
    assert drawn.px_per_mm == PX_PER_MM
    assert len(drawn.truth) == insects
    for row in drawn.truth:
        assert row.insect
        assert row.kind in {maker.__name__ for maker in MAKERS}
        assert 0 <= row.x_px < WIDTH
        assert 0 <= row.y_px < HEIGHT
        assert 0 <= row.visible <= 1
        assert 0.3 <= row.length_mm <= 12
        assert 0 < row.width_mm < row.length_mm
        assert 0 <= row.angle_deg < 180
        assert row.surface in SURFACES.get(kind, {"panel", "produce"})
        assert math.isfinite(row.delta_e)


def test_most_bodies_differ_from_what_is_round_them() -> None:
    rows = [row for kind in KINDS for seed in (1, 2) for row in shot(kind, seed, 25 if seed == 1 else 4).truth]
    assert np.mean([row.delta_e > 3 for row in rows]) > 0.75


def test_buds_and_leaves_hide_some() -> None:
    shares = [row.visible for kind in ("broccoli", "cauliflower", "scallion") for row in shot(kind, 1, 25).truth]
    assert min(shares) < 0.8
    assert np.mean([share > 0.3 for share in shares]) > 0.9


def _long_axis_mm(body: Grown) -> tuple[float, float]:
    """Length of the body's mask along its long axis, and that axis in degrees."""
    mask = body.stamp.body
    x, y, angle = moments(mask)
    rows, columns = np.nonzero(mask > 0.5)
    way = np.deg2rad(angle)
    along = (columns - x) * np.cos(way) + (rows - y) * np.sin(way)
    return float(along.max() - along.min() + 1) / PX_PER_MM, angle


@pytest.mark.parametrize("maker", MAKERS)
def test_straight_bodies_are_as_long_as_they_say(maker: Callable[[Rng], Grown]) -> None:
    looked_at = 0
    for seed in range(16):
        body = maker(np.random.default_rng(seed))
        if body.curved:
            continue
        measured, angle = _long_axis_mm(body)
        assert measured == pytest.approx(body.length_mm, rel=0.06, abs=0.1), (seed, body.kind)
        if body.length_mm > 1.4 * body.width_mm and body.length_mm > 0.4:
            off = abs((angle - body.angle_deg + 90) % 180 - 90)
            assert off < 10, (seed, body.kind)
        looked_at += 1
    assert looked_at >= 3
