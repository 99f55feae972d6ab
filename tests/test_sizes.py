"""Sizes on the ground's plane: as the picture shows them from straight above, as the plane has them under a tilt, none where unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_shots import ellipse
from test_check import GOOD
from test_pipeline import AT_20, GREY, panel_shot

from calib.facts import find_facts
from calib.reading import Reading
from vision.geometry import height_excess, laid
from vision.measure import Measured
from vision.pipeline import inspect, observe
from vision.rank import shipped_ranker
from vision.sizes import MOST_LENGTH_ERROR, scale_error, size_uncertainty, sizes_mm
from vision.types import Cut, GroundMap, Setup

SHOT = panel_shot([(ellipse(160, 120, 40, 16, 30), GREY)])


def measured() -> Measured:
    found = observe(SHOT, AT_20, None, shipped_ranker()).measured
    return max(found, key=lambda m: m.measures.area_px)


def ground_map(covariance: float = 0.0, squeeze: float = 1.0) -> GroundMap:
    """20 px/mm along x; `squeeze` times as many millimetres along y. Every entry's variance relative to its own use is `covariance`."""
    to_mm = np.diag([0.05, 0.05 * squeeze, 1.0])
    spread = np.diag([0.05**2, 0.0, 0.0, 0.0, 0.05**2, 0.0, 0.0, 0.0]) * covariance
    return laid(to_mm, spread + np.eye(8) * 1e-18, 160.0, 120.0, None)


def setup(plane: GroundMap) -> Setup:
    return Setup(px_per_mm=20.0, ground_map=plane)


def test_a_level_map_gives_what_one_scale_gives() -> None:
    m = measured()
    plain, mapped = sizes_mm(m, AT_20, 1), sizes_mm(m, setup(ground_map()), 1)
    assert plain is not None
    assert mapped is not None
    for name in (
        "length_mm",
        "width_mm",
        "max_feret_mm",
        "area_mm2",
        "equivalent_diameter_mm",
        "circularity",
        "solidity",
    ):
        assert getattr(mapped, name) == pytest.approx(getattr(plain, name), rel=2e-3), name


def test_foreshortening_is_undone_in_its_own_direction() -> None:
    # An ellipse of 40 x 16 px at 30 degrees, y stretched 1.25 times: area grows by that, lengths by the direction's own factor.
    m, plane = measured(), ground_map(squeeze=1.25)
    seen, level = sizes_mm(m, setup(plane), 1), sizes_mm(m, AT_20, 1)
    assert seen is not None
    assert level is not None
    assert seen.area_mm2 == pytest.approx(1.25 * level.area_mm2, rel=2e-3)
    turn = np.deg2rad(30)
    axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ np.diag([20.0, 8.0])
    half = np.linalg.svd(np.diag([0.05, 0.05 * 1.25]) @ axes)[1]
    assert seen.max_feret_mm == pytest.approx(2 * half[0], rel=0.03)
    assert seen.min_feret_mm == pytest.approx(2 * half[1], rel=0.05)


def test_where_a_length_may_be_off_by_more_than_5_percent_none_is_given() -> None:
    m = measured()
    for sigma, given in ((0.02, True), (0.03, False)):
        known = setup(ground_map(sigma**2))
        assert scale_error(m, known) == pytest.approx(sigma, rel=0.05)
        assert (sizes_mm(m, known, 1) is not None) is given
    assert MOST_LENGTH_ERROR == 0.05


def test_how_far_the_slip_reaches_is_said_where_a_size_is_missing() -> None:
    far = setup(ground_map(0.03**2))
    seen = inspect(SHOT, far, None, shipped_ranker(), Cut(0.0))
    assert seen.candidates
    assert all(c.sizes is None and c.size_uncertainty is None for c in seen.candidates)
    facts = find_facts(replace(GOOD, candidates=seen.candidates), Reading(far), 20.0)
    assert any(("gives sizes to" in said and "have none" in said) or "has none" in said for said in facts)


def test_uncertainty_adds_scale_and_on_produce_its_height() -> None:
    m = measured()
    plain = size_uncertainty(m, AT_20)
    assert size_uncertainty(m, setup(ground_map(0.02**2))) == pytest.approx(np.hypot(plain, 0.02), rel=0.02)
    raised = replace(m, speck=replace(m.speck, on_produce=True))
    near, far = (size_uncertainty(raised, replace(AT_20, camera_mm=mm)) for mm in (150.0, 300.0))
    assert near > far > plain
    # A piece 20 mm tall reads 7 to 15 % too long at its top, 300 to 150 mm from the camera (similar triangles).
    assert height_excess(20.0, 300.0) == pytest.approx(0.0714, abs=1e-3)
    assert height_excess(20.0, 150.0) == pytest.approx(0.154, abs=1e-3)
