"""Shots drawn as overlapping translucent layers: the same again from a seed, and with the insects where their rows say."""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
import pytest

from vision.render.hands import PX_PER_MM
from vision.render.hands.layered import KINDS, draw
from vision.render.hands.seen import HandDrawn

pytestmark = pytest.mark.slow

WIDTH, HEIGHT = 400, 300
SURFACES = {"water": {"water"}, "cloth": {"cloth"}}
INSECTS = {"aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin"}


@lru_cache(maxsize=64)
def shot(kind: str, seed: int, insects: int) -> HandDrawn:
    return draw(kind, seed, insects, WIDTH, HEIGHT)


@pytest.mark.parametrize("kind", KINDS)
def test_same_seed_same_shot_and_another_seed_another(kind: str) -> None:
    first, again = shot(kind, 3, 4), shot.__wrapped__(kind, 3, 4)
    assert np.array_equal(first.pixels, again.pixels)
    assert first.truth == again.truth
    assert not np.array_equal(first.pixels, shot(kind, 4, 4).pixels)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_with_and_without_insects(kind: str) -> None:
    empty = shot(kind, 3, 0)
    assert empty.truth == ()
    assert empty.px_per_mm == PX_PER_MM
    for drawn in (empty, shot(kind, 3, 4)):
        assert drawn.pixels.shape == (HEIGHT, WIDTH, 3)
        assert drawn.pixels.dtype == np.uint8
        assert drawn.pixels.std() > 2


@pytest.mark.parametrize("kind", KINDS)
def test_rows_of_many_insects(kind: str) -> None:
    count = 60 if kind == "broccoli" else 10
    drawn = shot(kind, 5, count)
    assert len(drawn.truth) == count
    for row in drawn.truth:
        assert row.insect
        assert row.kind in INSECTS
        assert 0 <= row.x_px <= WIDTH - 1
        assert 0 <= row.y_px <= HEIGHT - 1
        assert math.isfinite(row.delta_e)
        assert row.delta_e >= 0
        assert 0 <= row.visible <= 1
        assert 0.3 <= row.length_mm <= 12
        assert row.width_mm < row.length_mm
        assert row.surface in SURFACES.get(kind, {"produce", "panel"})


def test_sizes_down_to_the_smallest() -> None:
    assert draw("scallion", 1, 2, 400, 300).pixels.shape == (300, 400, 3)
    assert draw("cloth", 1, 2, 401, 303).pixels.shape == (303, 401, 3)


def test_dark_insects_on_water_are_where_their_rows_say() -> None:
    """The scene does not change with the insects, so the difference of two shots is the insects and what covers them."""
    looked_at = 0
    for seed in range(6):
        with_them, without = shot("water", seed, 2), shot("water", seed, 0)
        darker = without.pixels.astype(np.float32).mean(2) - with_them.pixels.astype(np.float32).mean(2)
        darker = np.pad(cv2.GaussianBlur(darker, (0, 0), 1.5), 300)
        for row in with_them.truth:
            if row.tone != "darker" or row.delta_e < 12 or row.visible < 0.95 or row.curved:
                continue
            length_px = row.length_mm * PX_PER_MM
            round_it = [(length_px * math.cos(way), length_px * math.sin(way)) for way in np.arange(8) * math.pi / 4]
            here, *away = (darker[round(row.y_px + y) + 300, round(row.x_px + x) + 300] for x, y in [(0, 0), *round_it])
            assert here > 12, (seed, row.kind)
            assert here > 3 * np.median(away), (seed, row.kind)
            looked_at += 1
    assert looked_at >= 4


def test_far_from_insects_nothing_changes() -> None:
    with_them, without = shot("cloth", 3, 4), shot("cloth", 3, 0)
    changed = np.abs(with_them.pixels.astype(int) - without.pixels).max(2) > 24
    assert 0 < changed.mean() < 0.2


def test_what_lies_over_a_body_hides_it() -> None:
    shown = [row.visible for row in shot("broccoli", 5, 60).truth]
    assert min(shown) < 0.5 < max(shown)


def test_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="No such scene: 'soup'"):
        draw("soup", 1, 1)
