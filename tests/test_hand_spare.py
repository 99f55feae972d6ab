"""The hand that thinks in optics: what it draws is asked for, repeatable, in the picture and to be seen."""

from __future__ import annotations

import numpy as np
import pytest

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare import draw
from vision.render.hands.spare.insects import KINDS as INSECTS
from vision.render.hands.spare.insects import made

pytestmark = pytest.mark.slow

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")


@pytest.mark.parametrize("kind", KINDS)
def test_a_shot_has_the_insects_asked_for_in_the_picture_and_plain_to_see(kind: str) -> None:
    drawn = draw(kind, 3, 12, 400, 300)
    assert drawn.pixels.shape == (300, 400, 3)
    assert drawn.pixels.dtype == np.uint8
    assert drawn.px_per_mm == PX_PER_MM
    assert len(drawn.truth) == 12
    for body in drawn.truth:
        assert body.kind in INSECTS
        assert 0 <= body.x_px < 400
        assert 0 <= body.y_px < 300
        assert 0 <= body.visible <= 1
        assert 0 <= body.angle_deg < 180
        assert body.surface in ({"water": ("water",), "cloth": ("cloth",)}.get(kind, ("panel", "produce")))
    assert np.median([body.delta_e for body in drawn.truth]) > 6
    assert np.mean([body.visible for body in drawn.truth]) > 0.6


def test_the_same_seed_gives_the_same_bytes_and_another_does_not() -> None:
    first, again, other = (draw("broccoli", seed, 5, 400, 300) for seed in (7, 7, 8))
    assert first.pixels.tobytes() == again.pixels.tobytes()
    assert first.truth == again.truth
    assert first.pixels.tobytes() != other.pixels.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_no_insects_asked_for_gives_none(kind: str) -> None:
    assert draw(kind, 1, 0, 400, 300).truth == ()


def test_many_insects_in_a_small_picture_are_all_in_the_truth() -> None:
    assert len(draw("water", 2, 60, 400, 300).truth) == 60


@pytest.mark.parametrize("kind", sorted(INSECTS))
def test_a_straight_body_is_as_long_wide_and_turned_as_its_mask(kind: str) -> None:
    for seed in range(4):
        insect = made(np.random.default_rng(seed), kind, 1.0, straight=True)
        rows, columns = np.nonzero(insect.stamp.body > 0.5)
        turn = np.deg2rad(insect.angle_deg)
        along = columns * np.cos(turn) + rows * np.sin(turn)
        across = rows * np.cos(turn) - columns * np.sin(turn)
        assert np.ptp(along) / PX_PER_MM == pytest.approx(insect.length_mm, abs=0.13)
        assert np.ptp(across) / PX_PER_MM == pytest.approx(insect.width_mm, abs=0.13)
        assert not insect.curved
