"""A shot against the profile it is scored with: same stand, shifted, moved, another camera; level, colour, evenness, marks."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import cv2
import numpy as np
import pytest
from drawn_panels import Light, Panel, lamps, photograph

from calib.drift import Drift, measure_drift
from calib.panel import measure_panel
from calib.profile import Profile, profile_of, setup_for
from calib.realign import Kind, realign
from vision.errors import ProfileError
from vision.types import CameraFacts, ScaleFrom, Shot

PHONE = CameraFacts("Maker", "Phone 9", "main 6.8 mm", 6.8, 26.0, None)
MARKS = (
    (150.0, 110.0, 22.0, 14.0, 20.0, 0.5), (750.0, 150.0, 120.0, 3.0, 12.0, 0.2), (450.0, 575.0, 150.0, 3.0, 100.0, 0.2),
    (875.0, 600.0, 18.0, 12.0, 0.0, 0.4), (210.0, 450.0, 110.0, 3.0, 60.0, 0.2), (600.0, 325.0, 14.0, 11.0, 0.0, 0.4),
)  # fmt: skip
PLAIN = Panel(1000, 750, 10.0, pitch_mm=(0.0, 0.0), ripple=0.0, marks=MARKS)
LAMPS = replace(PLAIN, pitch_mm=(15.0, 12.0), ripple=0.03)
BARE = replace(PLAIN, marks=())


def made(panel: Panel) -> Profile:
    measured = measure_panel([photograph(lamps(panel), s, camera=PHONE) for s in (1, 2)], panel.px_per_mm)
    profile = profile_of(measured, datetime(2026, 5, 4, tzinfo=UTC))
    return replace(profile, marks=tuple(replace(m, answer="scratch") for m in profile.marks))


PROFILES = {panel: made(panel) for panel in (PLAIN, LAMPS, BARE)}


def produce(share: float, seed: int = 3) -> Callable[[Light], Light]:
    """Dark textured pieces over a share of the picture."""

    def cover(light: Light) -> Light:
        rng = np.random.default_rng(seed)
        high, wide = light.shape[:2]
        there = np.zeros((high, wide), np.float32)
        while there.mean() < share:
            middle, size = (rng.uniform(0, wide), rng.uniform(0, high)), (rng.uniform(100, 220), rng.uniform(80, 150))
            cv2.ellipse(there, (middle, size, rng.uniform(0, 180)), (1.0,), -1)
        texture = cv2.GaussianBlur(rng.standard_normal((high, wide)).astype(np.float32), (0, 0), 3)
        return light * 10 ** (-(0.7 + texture) * there)[..., None]

    return cover


def taken(panel: Panel, shift: tuple[float, float] = (0.0, 0.0), **how: object) -> Shot:
    return photograph(lamps(panel, shift), 9, camera=PHONE, **how)  # type: ignore[arg-type]


def warped(panel: Panel, scale: float = 1.0, turn: float = 0.0) -> Shot:
    """The panel as a camera sees it that stands nearer or is turned."""
    light = lamps(panel)
    middle = (panel.wide / 2, panel.high / 2)
    moved = cv2.warpAffine(
        light, cv2.getRotationMatrix2D(middle, turn, scale), (panel.wide, panel.high), borderMode=cv2.BORDER_REFLECT
    )
    return photograph(np.asarray(moved, np.float32), 9, camera=PHONE)


@pytest.mark.parametrize("panel", [PLAIN, LAMPS], ids=["marks", "lamps and marks"])
@pytest.mark.parametrize("covered", [0.0, 0.35])
@pytest.mark.parametrize("shift", [(0.0, 0.0), (12.0, -7.0), (-22.0, 16.0)])
def test_a_small_shift_is_told_under_produce_too(panel: Panel, covered: float, shift: tuple[float, float]) -> None:
    seen = replace(panel, extra=produce(covered)) if covered else panel
    shot = taken(seen, shift, gain=(0.8, 0.8, 0.84))
    found = realign(PROFILES[panel], shot)
    assert found.kind is (Kind.SHIFTED if any(shift) else Kind.SAME)
    assert found.shift_px == (pytest.approx(shift[0], abs=2), pytest.approx(shift[1], abs=2))
    assert found.scale == pytest.approx(1, abs=0.004)
    assert bool(found.sentence) == any(shift)
    setup, said = setup_for(PROFILES[panel], shot)
    assert (setup.px_per_mm, setup.scale_from) == (10.0, ScaleFrom.PROFILE)
    assert said == ((found.sentence,) if any(shift) else ())
    # Marks lie where the shot has them.
    first = min(setup.fixed_marks, key=lambda m: m.y_px)
    assert (first.x_px, first.y_px) == (
        pytest.approx(MARKS[0][0] + shift[0], abs=3),
        pytest.approx(MARKS[0][1] + shift[1], abs=3),
    )


@pytest.mark.parametrize("panel", [PLAIN, LAMPS], ids=["marks", "lamps and marks"])
@pytest.mark.parametrize(
    ("look", "said"),
    [
        (lambda panel: taken(panel, (80.0, 5.0)), "shifted by 8"),
        (lambda panel: warped(panel, 1.03), "nearer"),
        (lambda panel: warped(panel, 0.94), "further away"),
        (lambda panel: warped(panel, 1.12), "nothing of the profile was used|Nothing of the profile was used"),
    ],
    ids=["moved 8 mm", "3% nearer", "6% further", "12% nearer"],
)
def test_what_moved_too_far_is_refused_with_a_sentence(panel: Panel, look: Callable[[Panel], Shot], said: str) -> None:
    shot = look(panel)
    found = realign(PROFILES[panel], shot)
    assert found.kind is Kind.MOVED
    assert re.search(said, found.sentence)
    setup, sentences = setup_for(PROFILES[panel], shot)
    assert sentences == (found.sentence,)
    assert (setup.px_per_mm, setup.even_light, setup.fixed_marks, setup.ground_map) == (None, None, (), None)
    drift = measure_drift(PROFILES[panel], shot)
    assert drift.text.startswith("moved")
    assert not drift.holds
    assert "Put camera and panel back" in drift.words[0]


def test_a_turned_panel_with_lamps_is_refused() -> None:
    assert "was turned by" in realign(PROFILES[LAMPS], warped(LAMPS, turn=1.0)).sentence


def test_a_turned_panel_with_marks_only_is_refused() -> None:
    assert realign(PROFILES[PLAIN], warped(PLAIN, turn=1.2)).kind is Kind.MOVED


def test_another_panel_is_refused() -> None:
    other = replace(LAMPS, marks=tuple((m[1] + 77, m[0] * 0.6 + 50, *m[2:]) for m in MARKS), pitch_mm=(0.0, 19.0))
    found = realign(PROFILES[LAMPS], taken(other))
    assert (found.kind, found.same_stand, found.same_light) == (Kind.MOVED, False, False)


def test_a_bare_panel_without_a_mark_is_used_and_said() -> None:
    for shot in (taken(BARE), taken(replace(BARE, extra=produce(0.5)))):
        found = realign(PROFILES[BARE], shot)
        assert found.kind is Kind.UNTOLD
        assert "No mark shows" in found.sentence
        assert setup_for(PROFILES[BARE], shot)[0].even_light is not None


def test_another_light_over_the_same_stand_keeps_the_scale_only() -> None:
    found = realign(PROFILES[LAMPS], taken(replace(LAMPS, hot=0.9, hot_at=(0.9, 0.1))))
    assert (found.kind, found.same_stand, found.same_light) == (Kind.OTHER_LIGHT, True, False)
    setup, said = setup_for(PROFILES[LAMPS], taken(replace(LAMPS, hot=0.9, hot_at=(0.9, 0.1))))
    assert setup.even_light is None
    assert setup.px_per_mm == 10.0
    assert "light falls differently" in said[0]


@pytest.mark.parametrize(
    ("changes", "kind", "said"),
    [
        ({"model": "Phone 8"}, Kind.OTHER_CAMERA, "Phone 8"),
        ({"make": "Other"}, Kind.OTHER_CAMERA, "Other"),
        ({"focal_mm": 2.2, "focal_35mm": 13.0}, Kind.OTHER_LENS, "2.2 mm"),
        ({"focal_35mm": 52.0}, Kind.OTHER_LENS, "52 mm"),
        ({"lens": "wide 2.2 mm"}, Kind.OTHER_LENS, "wide 2.2 mm"),
        ({"digital_zoom": 2.0}, Kind.OTHER_LENS, "zoom 1 and this shot at 2"),
    ],
)
def test_another_camera_or_lens_is_refused_by_the_file(changes: dict[str, object], kind: Kind, said: str) -> None:
    shot = replace(taken(LAMPS), camera=replace(PHONE, **changes))  # type: ignore[arg-type]
    found = realign(PROFILES[LAMPS], shot)
    assert found.kind is kind
    assert said in found.sentence
    assert setup_for(PROFILES[LAMPS], shot)[0].px_per_mm is None
    assert measure_drift(PROFILES[LAMPS], shot).text == f"not compared: {kind}"


def test_a_file_that_says_nothing_of_its_camera_is_judged_by_its_picture() -> None:
    assert realign(PROFILES[LAMPS], replace(taken(LAMPS), camera=CameraFacts())).kind is Kind.SAME
    rounded = replace(PHONE, focal_mm=6.86, make="MAKER")
    assert realign(PROFILES[LAMPS], replace(taken(LAMPS), camera=rounded)).kind is Kind.SAME


def test_another_size_is_refused() -> None:
    turned = realign(PROFILES[LAMPS], photograph(lamps(LAMPS).swapaxes(0, 1).copy(), 9))
    assert (turned.kind, "turned by a quarter" in turned.sentence) == (Kind.OTHER_SIZE, True)
    small = photograph(lamps(replace(LAMPS, wide=500, high=375)), 9)
    assert "1000 x 750 pixels and this one is 500 x 375" in realign(PROFILES[LAMPS], small).sentence
    with pytest.raises(ProfileError, match="and this one is 500 x 375"):
        setup_for(PROFILES[LAMPS], small)


def test_drift_tells_level_colour_evenness_scale_and_marks() -> None:
    drift = measure_drift(PROFILES[LAMPS], taken(LAMPS, gain=(0.7, 0.7, 0.77)), px_per_mm=10.04)
    assert drift.level == pytest.approx(0.7 * 1.1 ** (1 / 3), rel=0.01)
    assert drift.colour == pytest.approx((-0.031, -0.031, 0.066), abs=0.003)
    assert drift.uneven is not None
    assert drift.uneven < 0.005
    assert drift.scale == pytest.approx(1.004)
    assert (drift.marks_seen, drift.marks_known) == (6, 6)
    assert drift.text == "level 0.72x, colour +6.6% blue, evenness within 1%, scale +0.4%, marks 6 of 6"
    assert drift.holds


def test_marks_that_went_are_counted() -> None:
    wiped = replace(LAMPS, marks=MARKS[:2])
    drift = measure_drift(PROFILES[LAMPS], taken(wiped))
    assert (drift.marks_seen, drift.marks_known) == (2, 6)
    assert "Only 2 of 6 marks" in drift.words[0]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"level": 0.4}, "0.40 times"),
        ({"level": 2.4}, "2.40 times"),
        ({"colour": (0.1, 0.08, -0.18)}, "colour -18.0% blue"),
        ({"uneven": 0.06}, "by 6%"),
        ({"scale": 0.98}, "-2.0% off"),
        ({"marks_seen": 2}, "Only 2 of 9"),
    ],
)
def test_each_limit_has_its_sentence(changes: dict[str, object], said: str) -> None:
    fine = Drift(Kind.SAME, 0.93, (0.0, -0.012, 0.012), 0.008, 1.004, 7, 9)
    assert fine.holds
    assert fine.text == "level 0.93x, colour -1.2% green, evenness within 1%, scale +0.4%, marks 7 of 9"
    beyond = replace(fine, **changes)  # type: ignore[arg-type]
    assert not beyond.holds
    (sentence,) = beyond.words
    assert said in sentence
    assert sentence.endswith(".")


def test_16_bits_and_8_bits_drift_alike() -> None:
    eight, sixteen = (measure_drift(PROFILES[LAMPS], taken(LAMPS, bits=bits)) for bits in (8, 16))
    assert eight.level == pytest.approx(sixteen.level, rel=0.002)
    assert eight.text == sixteen.text
