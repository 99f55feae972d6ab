"""The hand that washes: same bytes for the same seed, as many rows as asked for, bodies that are there to be seen."""

from __future__ import annotations

import numpy as np
import pytest

from vision.render.hands import PX_PER_MM, washed
from vision.render.hands.washed.long_bodied import paint
from vision.render.hands.washed.plans import planned

pytestmark = pytest.mark.slow

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
SIDES = (400, 300)


def test_same_seed_same_bytes() -> None:
    one, again, other = (washed.draw("water", seed, 4, *SIDES) for seed in (3, 3, 4))
    assert one.pixels.tobytes() == again.pixels.tobytes()
    assert one.truth == again.truth
    assert one.pixels.tobytes() != other.pixels.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_draws_what_is_asked(kind: str) -> None:
    shown = []
    for seed in range(2):
        drawn = washed.draw(kind, seed, 7, *SIDES)
        assert drawn.pixels.shape == (300, 400, 3)
        assert drawn.pixels.dtype == np.uint8
        assert drawn.px_per_mm == PX_PER_MM
        assert len(drawn.truth) == 7
        for row in drawn.truth:
            assert 0 <= row.x_px <= 399
            assert 0 <= row.y_px <= 299
            assert 0 <= row.visible <= 1
            assert row.surface in ({kind} if kind in ("water", "cloth") else {"panel", "produce"})
        shown += [row.delta_e for row in drawn.truth if row.visible > 0.5]
    assert np.median(shown) > 5


@pytest.mark.parametrize("kind", KINDS)
def test_none_asked_none_given(kind: str) -> None:
    assert washed.draw(kind, 1, 0, *SIDES).truth == ()


def test_many_in_a_small_frame() -> None:
    assert len(washed.draw("scallion", 2, 60, *SIDES).truth) == 60


def test_lengths_are_those_drawn() -> None:
    rng = np.random.default_rng(5)
    seen = set()
    for _ in range(60):
        plan = planned(rng, "water")
        if plan.curved or plan.length_mm < 0.8:
            continue
        seen.add(plan.kind)
        painted = paint(rng, plan, 200.3, 150.6, float(rng.uniform(0, 360)), PX_PER_MM)
        way = np.deg2rad(painted.angle_deg)
        along = np.argwhere(painted.stamp.body > 0.5)[:, ::-1] @ np.array([np.cos(way), np.sin(way)])
        assert np.ptp(along) + 1 == pytest.approx(
            plan.length_mm * PX_PER_MM, abs=1.5 + 0.04 * plan.length_mm * PX_PER_MM
        )
    assert len(seen) >= 4
