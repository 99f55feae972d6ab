"""Bits of plants that resemble animals, and stouter limbs: what they are, and that nothing else moves for them."""

from dataclasses import replace

import numpy as np
import pytest

from vision.names import KINDS, LOOK_ALIKES
from vision.render import TrueBody, draw, tidy
from vision.render.bodies import draw_body
from vision.render.patch import BodyWish
from vision.render.placing import KINDS_OF_DEBRIS, PLANT_BITS
from vision.render.plant_bits import DRAWN_BY

SMALL = replace(tidy("water", 31, width_px=800, height_px=600), insects=(("aphid", 3), ("thrips", 2)))


def insects(truth: tuple[TrueBody, ...]) -> list[tuple[str, float, float, float]]:
    return [(b.kind, b.length_mm, b.width_mm, b.angle_deg) for b in truth if b.insect]


@pytest.mark.parametrize("kind", DRAWN_BY)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_each_is_as_long_as_asked_and_no_wider(kind: str, seed: int) -> None:
    patch = DRAWN_BY[kind](BodyWish(kind, 20.0, length_mm=1.5), np.random.default_rng(seed))
    assert patch.length_mm == 1.5
    assert 0 < patch.width_mm <= 1.5
    assert np.isfinite(patch.transmission).all()
    assert (patch.transmission >= 0).all()
    # No limb counts as body, and there is a body.
    assert 0 < patch.body.sum() <= patch.cover.sum() + 1e-3
    reach_mm = np.hypot(*np.nonzero(patch.body > 0.5)).max() / 20
    assert reach_mm < 8


def test_every_one_has_a_name_for_people_and_a_stream() -> None:
    assert set(DRAWN_BY) <= set(LOOK_ALIKES)
    assert {LOOK_ALIKES[kind] for kind in DRAWN_BY} <= set(KINDS)
    for table in PLANT_BITS.values():
        assert set(table) == set(DRAWN_BY)
    assert KINDS_OF_DEBRIS[-len(DRAWN_BY) :] == list(DRAWN_BY)


def test_they_come_only_where_asked_for_and_move_no_insect() -> None:
    bare, full = draw(SMALL), draw(replace(SMALL, plant_bits=2.0))
    assert not [b for b in bare.truth if b.kind in DRAWN_BY]
    assert len([b for b in full.truth if b.kind in DRAWN_BY]) > 5
    assert not [b for b in full.truth if b.kind in DRAWN_BY and b.insect]
    assert insects(bare.truth) == insects(full.truth)


@pytest.mark.parametrize("kind", ["aphid", "thrips", "caterpillar", "mite", "gnat"])
def test_stouter_limbs_cover_more_and_leave_the_body_as_it_is(kind: str) -> None:
    usual, stout = (draw_body(BodyWish(kind, 40.0, stout=factor), np.random.default_rng(4)) for factor in (1.0, 3.0))
    assert stout.length_mm == usual.length_mm
    np.testing.assert_array_equal(stout.body, usual.body)
    assert stout.cover.sum() > usual.cover.sum()


def test_the_judging_family_has_limbs_of_its_own() -> None:
    usual, stout = (
        draw_body(BodyWish("aphid", 40.0, stout=factor), np.random.default_rng(4), "second") for factor in (1.0, 3.0)
    )
    np.testing.assert_array_equal(stout.cover, usual.cover)
