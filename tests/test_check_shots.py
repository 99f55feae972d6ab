"""What is said of whole shots that cannot show what they should: black, burnt out, blurred, without a scale."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drawn_shots import disc
from test_pipeline import GREY, panel_shot
from test_quality import discs_shot

from calib.check import check
from calib.reading import Reading
from vision.guides.views import EYE_MM, OVERVIEW_PX_PER_MM
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.types import Cut, Inspection, Setup, Shot, Usable

pytestmark = pytest.mark.slow


def checked(shot: Shot, px_per_mm: float | None = 20.0) -> Inspection:
    """Looked at and checked, with sharpness from the specks' own outlines."""
    setup = Setup(px_per_mm=px_per_mm)
    return check(shot, inspect(shot, setup, None, shipped_ranker(), Cut(0.0)), Reading(setup), None, "").inspection


def test_black_and_burnt_out_shots_are_not_usable() -> None:
    black = checked(Shot(np.zeros((200, 300, 3), np.uint8), "0" * 64, "black"))
    white = checked(Shot(np.full((200, 300, 3), 255, np.uint8), "0" * 64, "white"))
    assert white.usable is Usable.NO
    assert "Over-exposed" in white.instruction
    assert black.usable is Usable.NO
    assert "Too dark" in black.instruction
    assert white.quality.unsearched == 1.0


def test_out_of_focus_is_said_and_shows_nothing() -> None:
    soft = checked(discs_shot(5.0, 0.004))
    assert soft.usable is Usable.NO
    assert "focus" in soft.instruction
    assert soft.limit_round_mm is None
    assert checked(discs_shot(1.0, 0.004)).usable is Usable.YES


def test_without_a_scale_none_is_guessed() -> None:
    seen = checked(panel_shot([(disc(160, 120, 24), GREY)]), None)
    assert any("No scale" in reason for reason in seen.reasons)


def test_a_scale_too_coarse_for_the_eye_is_said() -> None:
    # An ordinary eye at 0.6 m resolves 0.17 mm (one arc minute): two pixels over that are 11.8 px/mm.
    assert 0.6 * math.tan(math.radians(1 / 60)) * 1000 == pytest.approx(EYE_MM, abs=0.005)
    assert pytest.approx(2 / EYE_MM, rel=0.03) == OVERVIEW_PX_PER_MM
    shot = panel_shot([(disc(160, 120, 24), GREY)])
    coarse, overview, fine = (checked(shot, scale) for scale in (11.0, 12.0, 20.0))
    assert coarse.usable is Usable.NO
    assert overview.usable is fine.usable is Usable.YES
    assert [any("overview" in reason for reason in seen.reasons) for seen in (coarse, overview, fine)] == [
        True,
        True,
        False,
    ]


@pytest.mark.long
def test_a_very_large_shot_says_that_it_is_searched_more_coarsely() -> None:
    small = panel_shot([(disc(160, 120, 40), GREY)])
    large = Shot(np.ascontiguousarray(np.tile(small.pixels, (22, 18, 1))), "0" * 64, "large")
    assert any("1/2 of its resolution" in reason for reason in checked(large, None).reasons)
    assert not any("of its resolution" in reason for reason in checked(small, None).reasons)
