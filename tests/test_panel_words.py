"""What a calibration says of a flickering panel, and the pictures it draws."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from drawn_panels import Panel, lamps, photograph

from calib.drift import Drift
from calib.panel import PanelMeasurement, measure_panel
from calib.panel_picture import light_picture, time_picture
from calib.panel_report import calibration_lines
from calib.profile import profile_of
from calib.realign import Kind

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
PANEL = Panel(800, 600, 10.0, marks=((200.0, 150.0, 26.0, 16.0, 20.0, 0.5), (560.0, 400.0, 150.0, 3.0, 12.0, 0.2)))


@pytest.fixture(scope="module")
def flickering() -> PanelMeasurement:
    light = lamps(PANEL)
    return measure_panel([photograph(light, seed, bands=(0.02, 120.0, "rows")) for seed in range(3)], 10.0)


def test_a_flickering_panel_is_said(flickering: PanelMeasurement) -> None:
    profile = profile_of(flickering, NOON)
    said = " ".join(calibration_lines(profile, flickering, "p.toml", "p-marks.jpg"))
    assert "bands of 2.0% lie elsewhere in each blank; they were taken out of the map" in said
    assert profile.flicker == pytest.approx(0.02, rel=0.05)
    two = replace(profile, shot_sha256=profile.shot_sha256[:2])
    assert "three blanks or more tell them" in " ".join(calibration_lines(two, flickering, "p.toml", "x.jpg"))
    steady = replace(flickering, flicker=0.0)
    assert "flicker" not in " ".join(calibration_lines(profile, steady, "p.toml", "x.jpg"))


def test_the_light_is_paler_where_it_is_brighter_and_marks_are_ringed(flickering: PanelMeasurement) -> None:
    profile = profile_of(flickering, NOON)
    picture = light_picture(profile)
    zoom = picture.shape[1] / 800
    grey = picture.mean(axis=2)
    middle, corner = grey[int(330 * zoom), int(280 * zoom)], grey[int(590 * zoom), int(790 * zoom)]
    assert middle > corner + 20
    for mark in profile.marks:
        reach = max(mark.radius_px * zoom, 6) + 4
        x, y = mark.x_px * zoom, mark.y_px * zoom
        window = grey[int(y - 4) : int(y + 4), int(x + reach - 5) : int(x + reach + 5)]
        assert window.min() < 60
    # No picture says by red or green what is good: its colours run from blue to yellow.
    apart = picture.astype(int)[..., 0] - picture.astype(int)[..., 1]
    assert np.abs(apart).max() < 30


def test_shots_that_moved_are_named_beside_the_chart() -> None:
    fine = Drift(Kind.SAME, 1.0, (0.0, 0.0, 0.0), 0.004, 1.0, 5, 6)
    names = ["a.jpg", "b.jpg"]
    same = time_picture(names, [fine, fine])
    moved = time_picture(names, [fine, replace(fine, kind=Kind.MOVED)])
    assert same.shape == moved.shape
    rows = np.flatnonzero((same != moved).any(axis=(1, 2)))
    assert rows.min() > 5 * 170  # only the words below the chart differ
