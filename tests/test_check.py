"""What is said of a shot: one instruction, the largest gain first; facts apart; nothing of a shot that is good enough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.check import RULES, Evidence, check, find_wrong
from calib.facts import find_facts
from calib.reading import Reading
from vision.guides import PX_PER_MM, load_guide
from vision.guides.views import EYE_MM, OVERVIEW_PX_PER_MM, VIEWS, view_from
from vision.quality import MTF50_OF_BLUR
from vision.types import (
    CameraFacts,
    Conditions,
    Ground,
    Inspection,
    LitFrom,
    ScaleFrom,
    Setup,
    Sharpness,
    Shot,
    ShotQuality,
    Usable,
)

SHARP = Sharpness(1.0, MTF50_OF_BLUR, 0.34, 0.0, False, True)
GOOD = Inspection(
    "a.jpg", "0" * 64, 4000, 3000, None, 20.0, ScaleFrom.SLIP, Ground.WATER, LitFrom.BELOW,
    ShotQuality(0.6, 0.0, 0.1, MTF50_OF_BLUR, 0.004, 0.02), Usable.YES, (), 0.2, 0.1, (), 0, np.zeros((3, 4), bool),
    ground_share=0.95,
)  # fmt: skip
READING = Reading(Setup(px_per_mm=20.0, scale_from=ScaleFrom.SLIP, sharpness=SHARP))
SHOT = Shot(np.zeros((3000, 4000, 3), np.uint8), "0" * 64, "a.jpg")


def seen(**conditions: object) -> Inspection:
    return replace(GOOD, conditions=Conditions(**conditions))  # type: ignore[arg-type]


def instruction(inspection: Inspection = GOOD, reading: Reading = READING, view: str = "water") -> tuple[str, Usable]:
    checked = check(SHOT, inspection, reading, None, view).inspection
    return checked.instruction, checked.usable


def test_a_good_shot_is_told_nothing() -> None:
    assert instruction() == ("", Usable.YES)


@pytest.mark.parametrize(
    ("inspection", "words"),
    [
        (replace(GOOD, quality=replace(GOOD.quality, panel_level=0.001)), "more light"),
        (replace(GOOD, quality=replace(GOOD.quality, clipped=0.3)), "expose half a stop less"),
        (seen(too_bright_stops=0.5), "Expose half a stop less"),
        (seen(too_bright_stops=1.0), "Expose 1 stop less"),
        (seen(too_dark_stops=1.5), "Expose 1.5 stops more"),
        (seen(smeared=0.3), "Wipe the lens"),
        (seen(steam=0.4), "Let it cool: steam"),
        (seen(touching=((2, 3),)), "Pieces 2 and 3 touch"),
        (seen(touching=((2, 3), (4, 5))), "Pieces 2 and 3 touch, and 1 more pair"),
        (seen(drops=7), "Dry the panel: 7 drops"),
        (seen(bubbles=0.12), "Tap the tray and wait: bubbles cover 12%"),
        (seen(deep="bottom"), "the surface is sharp, the bottom soft"),
        (seen(deep="surface"), "the bottom is sharp, the surface soft"),
        (seen(soft_side="at the left"), "Soft at the left"),
        (seen(glare=0.05, glare_at="at the top"), "Glare at the top: move the lamp"),
        (seen(wall=0.1), "swirl, so that specks drift to the middle"),
        (seen(shade=0.3), "30% of the produce is too dark to judge"),
        (seen(flicker=0.03), "flickers in bands"),
        (replace(GOOD, px_per_mm=14.0), "Closer, or 2x: 14 px/mm, this needs 20."),
        (replace(GOOD, ground_share=0.01), "Neither ground nor produce"),
        (replace(GOOD, quality=replace(GOOD.quality, unsearched=0.7)), "Most of the picture could not be searched"),
        (replace(seen(outshines=5.0), lit_from=LitFrom.ABOVE), "The panel outshines the produce 5 times: turn it down"),
    ],
)  # fmt: skip
def test_each_condition_has_its_remedy(inspection: Inspection, words: str) -> None:
    assert words in instruction(inspection)[0]


@pytest.mark.parametrize(
    ("limit", "value"), [("bubbles", 0.1), ("glare", 0.01), ("wall", 0.05), ("shade", 0.1), ("flicker", 0.01)]
)
def test_what_stays_within_its_limit_is_not_spoken_of(limit: str, value: float) -> None:
    assert instruction(seen(**{limit: value}))[0] == ""


def test_the_panel_may_be_four_times_as_bright_as_the_produce_and_light_from_below_may_be_any_times() -> None:
    # Four times is a starting value (common practice, no source).
    assert instruction(replace(seen(outshines=4.0), lit_from=LitFrom.ABOVE))[0] == ""
    assert instruction(seen(outshines=40.0))[0] == ""


class TestSharpness:
    def blurred(self, blur_px: float, **more: float) -> tuple[str, Usable]:
        sharp = replace(SHARP, blur_px=blur_px, **more)  # type: ignore[arg-type]
        quality = replace(GOOD.quality, sharpness_cy_px=MTF50_OF_BLUR / blur_px)
        reading = replace(READING, setup=replace(READING.setup, sharpness=sharp))
        return instruction(replace(GOOD, quality=quality), reading)

    def test_soft(self) -> None:
        said, usable = self.blurred(4.0)
        assert "Out of focus or moved" in said
        assert usable is Usable.NO

    def test_moved(self) -> None:
        said, usable = self.blurred(2.6, smear_px=8.0)
        assert "Hold still: the shot moved by about 8 px, 0.4 mm" in said
        assert usable is Usable.NO

    def test_out_of_focus(self) -> None:
        said, usable = self.blurred(2.6, defocus_px=5.0)
        assert said.startswith("Out of focus: tap")
        assert usable is Usable.NO

    def test_without_a_slip_it_is_not_said_which_of_the_two(self) -> None:
        said, usable = self.blurred(2.6, defocus_px=5.0, from_slip=False)
        assert said.startswith("Out of focus or moved")
        assert usable is Usable.NO

    def test_a_little_soft_is_good_enough(self) -> None:
        assert self.blurred(1.9) == ("", Usable.YES)


class TestFineness:
    @pytest.mark.parametrize(
        ("view", "needs"), [("underside", 16), ("opened", 20), ("water", 20), ("cloth", 20), ("card", 30)]
    )
    def test_each_view_asks_for_its_own(self, view: str, needs: int) -> None:
        # Common practice, no source.
        assert PX_PER_MM[view] == needs
        assert instruction(replace(GOOD, px_per_mm=needs - 2.0), view=view)[0].endswith(f"this needs {needs}.")
        assert instruction(replace(GOOD, px_per_mm=float(needs)), view=view)[0] == ""

    def test_an_overview_shows_something_and_less_shows_nothing_that_counts(self) -> None:
        # Two pixels over what an eye resolves at 0.6 m, 0.17 mm (one arc minute), are 11.8 px/mm.
        assert pytest.approx(2 / EYE_MM, rel=0.03) == OVERVIEW_PX_PER_MM
        assert instruction(replace(GOOD, px_per_mm=12.0))[1] is Usable.YES
        assert instruction(replace(GOOD, px_per_mm=11.0))[1] is Usable.NO
        facts = find_facts(replace(GOOD, px_per_mm=12.0), READING, 20.0)
        assert facts[0] == "12.0 px/mm is an overview, for caterpillars and grown aphids."

    def test_a_view_nobody_named_is_told_from_ground_and_light(self) -> None:
        assert view_from(Ground.WATER, LitFrom.ABOVE) == "water"
        assert view_from(Ground.CLOTH, LitFrom.BELOW) == "cloth"
        assert view_from(Ground.PANEL, LitFrom.BELOW) == "peelings"
        assert view_from(Ground.PANEL, LitFrom.ABOVE) == "underside"
        assert set(PX_PER_MM) == set(VIEWS) == set(load_guide("broccoli").px_per_mm)


def test_the_largest_gain_is_spoken_and_what_makes_a_shot_unusable_goes_first() -> None:
    both = seen(touching=((1, 2),), bubbles=0.6)
    assert "bubbles" in instruction(both)[0]
    dark = replace(both, px_per_mm=10.0)
    said, usable = instruction(dark)
    assert said.startswith("Closer")
    assert usable is Usable.NO


def test_findings_are_in_order() -> None:
    many = seen(touching=((1, 2),), bubbles=0.6, drops=3, flicker=0.1, steam=0.2, glare=0.1)
    found = find_wrong(Evidence(replace(many, px_per_mm=9.0), READING, 20.0, ""))
    assert [f.blocks for f in found] == sorted((f.blocks for f in found), reverse=True)
    gains = [f.gain for f in found if not f.blocks]
    assert gains == sorted(gains, reverse=True)
    assert len(found) == 7
    assert all(0 < f.gain <= 1 for f in found)
    assert len(set(RULES)) == len(RULES)


def test_a_shot_to_be_taken_again_states_no_limit() -> None:
    shown, hidden = (check(SHOT, i, READING, None, "water").inspection for i in (GOOD, replace(GOOD, px_per_mm=8.0)))
    assert (shown.limit_round_mm, shown.limit_linear_mm) == (0.2, 0.1)
    assert (hidden.limit_round_mm, hidden.limit_linear_mm) == (None, None)


class TestFacts:
    def test_no_scale(self) -> None:
        facts = find_facts(replace(GOOD, px_per_mm=None), Reading(Setup()), 20.0)
        assert facts == ("No scale: sizes are not known; lay the slip in the shot, or give --px-per-mm or a profile.",)

    def test_at_least(self) -> None:
        very = replace(GOOD, quality=replace(GOOD.quality, sharpness_cy_px=0.25))
        assert "MTF50 at least 5.0" in find_facts(very, READING, 20.0)[0]
        assert "MTF50 3.7, MTF10 6.8 cycles/mm, camera and print together" in find_facts(GOOD, READING, 20.0)[0]

    def test_a_sharpened_edge_is_named(self) -> None:
        raised = replace(SHARP, sharpened=True, mtf50_cy_px=0.3)
        facts = find_facts(GOOD, replace(READING, setup=replace(READING.setup, sharpness=raised)), 20.0)
        assert "The camera sharpened the picture (MTF50 reads 6.0 cycles/mm with it)" in facts[1]

    def test_an_estimate_is_named(self) -> None:
        own = replace(READING, setup=replace(READING.setup, sharpness=replace(SHARP, from_slip=False)))
        assert find_facts(GOOD, own, 20.0) == ("Sharpness is an estimate from the shot's own edges.",)

    def test_dark_ground_and_large_shots(self) -> None:
        dark = replace(GOOD, quality=replace(GOOD.quality, panel_level=0.02), searched_step=2)
        facts = find_facts(dark, Reading(Setup(px_per_mm=20.0)), 20.0)
        assert facts[0].startswith("The ground is dark")
        assert facts[1] == "A very large shot: searched at 1/2 of its resolution."


class TestShrunk:
    SMALL = Shot(np.zeros((1200, 1600, 3), np.uint8), "0" * 64, "a.jpg", camera=CameraFacts(jpeg_quality=72))

    def said(self, px_per_mm: float | None, shot: Shot) -> str:
        return check(shot, replace(GOOD, px_per_mm=px_per_mm), READING, None, "water").inspection.instruction

    def test_a_shrunk_picture_is_named_where_it_is_too_coarse_for_it(self) -> None:
        # 1600 px and a quality of 60 to 80 without the camera's tags: common practice, no source.
        assert "messenger" in self.said(14.0, self.SMALL)
        assert "messenger" in self.said(None, self.SMALL)
        assert self.said(20.0, self.SMALL) == ""

    @pytest.mark.parametrize(
        "camera", [CameraFacts(jpeg_quality=92), CameraFacts(), CameraFacts(model="M", jpeg_quality=72)]
    )
    def test_a_camera_file_is_not(self, camera: CameraFacts) -> None:
        assert "messenger" not in self.said(14.0, replace(self.SMALL, camera=camera))

    def test_other_sizes_are_not(self) -> None:
        other = Shot(np.zeros((1500, 2000, 3), np.uint8), "0" * 64, "a.jpg", camera=CameraFacts(jpeg_quality=72))
        assert "messenger" not in self.said(14.0, other)
