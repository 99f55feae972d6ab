"""The straight line on plain drawn shots: what is known of them must come out. Sources of figures beside each check."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from drawn_shots import Inside, arc, box, disc, ellipse, panel_shot
from hypothesis import example, given, settings
from hypothesis import strategies as st
from skimage import data

from vision.guides import load_guide
from vision.overlap import without_repeats
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import draw, tidy
from vision.table import CANDIDATES, Belonging, candidate_rows
from vision.types import (
    Candidate,
    Cut,
    FixedMark,
    Ground,
    Inspection,
    LitFrom,
    ScaleFrom,
    Setup,
    Shot,
    Surface,
    Tone,
)

EVERYTHING = Cut(min_score=0.0)
AT_20 = Setup(px_per_mm=20.0, scale_from=ScaleFrom.OPTION)
GREY = (0.25, 0.25, 0.25)


def look(shot: Shot, setup: Setup = AT_20, cut: Cut = EVERYTHING) -> Inspection:
    return inspect(shot, setup, None, shipped_ranker(), cut)


def nearest(seen: Inspection, x: float, y: float) -> Candidate:
    assert seen.candidates
    return min(seen.candidates, key=lambda c: math.hypot(c.measures.x_px - x, c.measures.y_px - y))


def only(
    inside: Inside, transmission: tuple[float, float, float] = GREY, x: float = 160.3, y: float = 120.6
) -> Candidate:
    return nearest(look(panel_shot([(inside, transmission)])), x, y)


@pytest.mark.parametrize("diameter", [20, 30, 40])
def test_a_disc_comes_out_round_in_place_and_in_size(diameter: int) -> None:
    c = only(disc(160.3, 120.6, diameter))
    assert c.measures.circularity == pytest.approx(1.0, rel=0.02)  # ISO 9276-6, sqrt(4 pi A) / P of a disc is 1
    assert c.measures.equivalent_diameter_px == pytest.approx(diameter, rel=0.03)
    assert c.measures.x_px == pytest.approx(160.3, abs=0.15)
    assert c.measures.y_px == pytest.approx(120.6, abs=0.15)
    assert c.shape == "round"
    assert c.tone is Tone.DARKER


@pytest.mark.parametrize("degrees", [0, 30, 45])
def test_a_square_within_three_percent(degrees: float) -> None:
    c = only(box(160.3, 120.6, 20, 20, degrees))
    assert c.measures.circularity == pytest.approx(0.886227, rel=0.03)  # ISO 9276-6, closed form of a square


@pytest.mark.parametrize("degrees", [0, 45, 90, 135])
def test_direction_is_clockwise_from_x(degrees: float) -> None:
    c = only(ellipse(160.3, 120.6, 40, 16, degrees))
    off = abs(c.measures.angle_deg - degrees) % 180
    assert min(off, 180 - off) < 2
    assert c.measures.length_px == pytest.approx(40, rel=0.05)
    assert c.measures.width_px == pytest.approx(16, rel=0.08)


@pytest.mark.parametrize("transmittance", [0.1, 0.25, 0.5])
def test_density_is_that_of_beer_and_lambert(transmittance: float) -> None:
    c = only(disc(160.3, 120.6, 30), (transmittance,) * 3)
    assert c.measures.density == pytest.approx(-math.log10(transmittance), abs=0.015)  # A = -log10 T


def test_a_grey_body_of_half_the_light_has_the_published_lightness() -> None:
    # CIE 15: Y = 0.5 is L* = 76.07; against white, CIEDE2000 of two greys depends on L* alone, and is 18.65 (scikit-image).
    c = only(disc(160.3, 120.6, 30), (0.5, 0.5, 0.5))
    assert c.measures.delta_e == pytest.approx(15.8, abs=1.0) or c.measures.delta_e == pytest.approx(18.65, abs=1.0)


def test_thin_is_linear_and_roundish_is_round() -> None:
    # Thrips are thin, aphids 1.5 to 2 times as long as wide (common practice, no source).
    assert only(box(160.3, 120.6, 25, 5, 20)).shape == "linear"
    assert only(ellipse(160.3, 120.6, 36, 21, 20)).shape == "round"


def test_bent_is_curved_and_measured_along_the_curve() -> None:
    c = only(arc(130, 120, 30, 9, 1.2), x=157, y=120)
    assert c.shape == "curved"
    assert c.measures.length_px == pytest.approx(2 * 1.2 * 30, rel=0.12)
    assert c.measures.width_px == pytest.approx(9, rel=0.15)


def test_lighter_specks_are_found_too() -> None:
    c = nearest(look(panel_shot([(disc(160, 120, 24), (1.35, 1.35, 1.35))], level=(0.4, 0.4, 0.4))), 160, 120)
    assert c.tone is Tone.LIGHTER
    assert math.hypot(c.measures.x_px - 160, c.measures.y_px - 120) < 1


def test_both_tones_on_green_produce() -> None:
    # A piece of 76 x 38 mm (cut size: common practice, no source) with a dark and a pale body on it.
    ppm = 8.0
    green, dark, pale = (0.12, 0.22, 0.07), (0.35, 0.2, 0.3), (3.5, 2.4, 4.5)
    piece = ellipse(330, 190, 76 * ppm * 0.98, 38 * ppm, 4)
    shot = panel_shot(
        [(piece, green), (ellipse(280, 180, 16, 9, 30), dark), (ellipse(400, 200, 40, 8, 100), pale)],
        380,
        660,
        noise=0.02,
    )
    seen = look(shot, Setup(px_per_mm=ppm))
    for x, y, tone in ((280, 180, Tone.DARKER), (400, 200, Tone.LIGHTER)):
        c = nearest(seen, x, y)
        assert math.hypot(c.measures.x_px - x, c.measures.y_px - y) < 3
        assert c.surface is Surface.PRODUCE
        assert c.tone is tone
    assert seen.quality.unsearched < 0.02


@settings(max_examples=15, deadline=None)
@example(30.0, 209.0, 11.0, 0.125)
@example(40.0, 209.0, 11.0, 0.125)
@given(st.floats(30, 290), st.floats(30, 210), st.floats(8, 40), st.floats(0.1, 0.6))
def test_a_plain_dark_disc_is_found_wherever_it_lies(x: float, y: float, diameter: float, transmittance: float) -> None:
    c = nearest(look(panel_shot([(disc(x, y, diameter), (transmittance,) * 3)])), x, y)
    assert math.hypot(c.measures.x_px - x, c.measures.y_px - y) < 0.5
    assert c.measures.equivalent_diameter_px == pytest.approx(diameter, rel=0.1)


def test_sixteen_bits_say_what_eight_say() -> None:
    shapes: list[tuple[Inside, tuple[float, float, float]]] = [(disc(160, 120, 24), GREY)]
    eight = nearest(look(panel_shot(shapes)), 160, 120)
    sixteen = nearest(look(panel_shot(shapes, depth=np.uint16)), 160, 120)
    assert sixteen.measures.area_px == pytest.approx(eight.measures.area_px, rel=0.02)
    assert sixteen.measures.density == pytest.approx(eight.measures.density, abs=0.01)


@pytest.mark.parametrize("size", [(1, 1), (1, 300), (7, 7), (16, 16), (40, 3)])
@pytest.mark.parametrize("value", [0, 128, 255])
def test_any_size_and_flat_pictures_give_an_inspection(size: tuple[int, int], value: int) -> None:
    shot = Shot(np.full((*size, 3), value, np.uint8), "0" * 64, "flat")
    for setup in (Setup(), AT_20, Setup(px_per_mm=45.0)):
        assert look(shot, setup).candidates == ()


def test_without_a_scale_no_millimetre_is_guessed() -> None:
    seen = look(panel_shot([(disc(160, 120, 24), GREY)]), Setup())
    assert seen.candidates
    row = candidate_rows(Belonging("a.jpg", "r0"), seen)[0]
    cells = {column.name: cell for column, cell in zip(CANDIDATES, row, strict=True)}
    assert all(cells[name] == "" for name in cells if name.endswith(("_mm", "_mm2")))
    assert cells["size_uncertainty"] == ""
    assert cells["x_px"] != ""
    assert seen.limit_round_mm is None


def test_fixed_marks_are_no_candidates_until_something_changes_there() -> None:
    mark = FixedMark(160.0, 120.0, 8.0, 0.3)
    on_it = Setup(px_per_mm=20.0, fixed_marks=(mark,))
    as_it_was = look(panel_shot([(disc(160, 120, 14), (0.5, 0.5, 0.5))]), on_it)
    assert as_it_was.candidates == ()
    assert as_it_was.fixed_marks == (mark,)
    darker = look(panel_shot([(disc(160, 120, 14), (0.08, 0.08, 0.08))]), on_it)
    assert len(darker.candidates) >= 1
    larger = look(panel_shot([(disc(160, 120, 40), (0.5, 0.5, 0.5))]), on_it)
    assert len(larger.candidates) >= 1
    beside = look(panel_shot([(disc(200, 120, 14), (0.5, 0.5, 0.5))]), on_it)
    assert len(beside.candidates) >= 1


def test_one_body_is_listed_once() -> None:
    drawn = draw(tidy("water", 77, width_px=1000, height_px=800))
    seen = look(Shot(drawn.pixels, "0" * 64, "water"))
    boxes = np.array(
        [(c.measures.left_px, c.measures.top_px, c.measures.wide_px, c.measures.high_px) for c in seen.candidates]
    )
    for k, (x, y, w, h) in enumerate(boxes):
        others = boxes[k + 1 :]
        wide = np.minimum(others[:, 0] + others[:, 2], x + w) - np.maximum(others[:, 0], x)
        high = np.minimum(others[:, 1] + others[:, 3], y + h) - np.maximum(others[:, 1], y)
        shared = np.maximum(wide, 0) * np.maximum(high, 0)
        assert (shared < 0.9 * np.maximum(others[:, 2] * others[:, 3], w * h)).all()


def test_a_part_and_a_touching_body_stay() -> None:
    whole = only(disc(160.3, 120.6, 40)).measures
    small, beside = only(disc(160.3, 120.6, 14)).measures, only(disc(195.3, 120.6, 40), x=195).measures
    again = only(disc(162.3, 120.6, 38)).measures
    assert without_repeats([0, 1, 2, 3], [whole, again, small, beside]) == [(0, 0), (2, 2), (3, 3)]
    assert without_repeats([1, 0], [whole, again]) == [(1, 0)]


def test_cut_and_order() -> None:
    shot = Shot(draw(tidy("water", 77, width_px=800, height_px=600)).pixels, "0" * 64, "water")
    everything = look(shot)
    scores = [c.score for c in everything.candidates]
    assert scores == sorted(scores, reverse=True)
    assert [c.number for c in everything.candidates] == list(range(1, len(scores) + 1))
    few = look(shot, cut=Cut(min_score=0.0, max_flags=3))
    assert [c.measures.x_px for c in few.candidates] == [c.measures.x_px for c in everything.candidates[:3]]
    assert few.left_out == len(scores) - 3
    some = look(shot, cut=Cut(min_score=0.2))
    assert len(some.candidates) == sum(score >= 0.2 for score in scores)


@pytest.mark.parametrize("kind", ["water", pytest.param("broccoli", marks=pytest.mark.long)])
def test_any_number_of_threads_gives_the_same_rows(kind: str) -> None:
    shot = Shot(draw(tidy(kind, 5, width_px=900, height_px=700)).pixels, "0" * 64, kind)
    before = cv2.getNumThreads()
    try:
        rows = []
        for threads in (1, 2, 4):
            cv2.setNumThreads(threads)
            rows.append(candidate_rows(Belonging("a", "r0"), look(shot)))
    finally:
        cv2.setNumThreads(before)
    assert rows[0] == rows[1] == rows[2]
    assert rows[0]


def test_where_the_light_comes_from() -> None:
    water = draw(tidy("water", 3, width_px=800, height_px=600))
    florets = draw(tidy("broccoli", 3, width_px=1200, height_px=900))
    # Known before anything is searched, so few need to be looked at closely.
    assert look(Shot(water.pixels, "0" * 64, "w"), cut=Cut()).lit_from is LitFrom.BELOW
    seen = look(Shot(florets.pixels, "0" * 64, "f"), cut=Cut())
    assert seen.lit_from is LitFrom.ABOVE
    setup = Setup(px_per_mm=20.0, lit_from=LitFrom.BOTH, ground=Ground.CLOTH)
    told = look(Shot(florets.pixels, "0" * 64, "f"), setup, Cut())
    assert told.lit_from is LitFrom.BOTH
    assert told.ground is Ground.CLOTH
    leaf = inspect(panel_shot([]), AT_20, load_guide("broccoli"), shipped_ranker(), EVERYTHING)
    assert leaf.lit_from is LitFrom.ABOVE
    assert leaf.produce_name == "broccoli"


def test_florets_are_produce_and_their_shade_is_not() -> None:
    florets = draw(tidy("broccoli", 11, width_px=1600, height_px=1200))
    blank = draw(tidy("blank", 11, width_px=1600, height_px=1200))
    from vision.pipeline import observe

    seen = observe(Shot(florets.pixels, "0" * 64, "f"), AT_20, None, shipped_ranker())
    assert 0.2 < seen.surfaces.produce.mean() < 0.8
    # What was called produce is green: broccoli lets more green than red and blue come back.
    density = seen.light.density[:, seen.surfaces.produce].mean(axis=1)
    assert density[1] < density[0]
    assert density[1] < density[2]
    empty = observe(Shot(blank.pixels, "0" * 64, "b"), AT_20, None, shipped_ranker())
    assert empty.surfaces.produce.mean() == 0


@pytest.mark.long
def test_a_very_large_shot_is_searched_more_coarsely_and_says_so() -> None:
    small = panel_shot([(disc(160, 120, 40), GREY)])
    large = Shot(np.ascontiguousarray(np.tile(small.pixels, (22, 18, 1))), "0" * 64, "large")
    assert large.width_px * large.height_px > 26e6
    seen = look(large, Setup())
    assert seen.searched_step == 2
    assert look(small, Setup()).searched_step == 1
    first = nearest(seen, 160, 120)
    assert math.hypot(first.measures.x_px - 160, first.measures.y_px - 120) < 1
    assert first.measures.equivalent_diameter_px == pytest.approx(40, rel=0.05)


@pytest.mark.parametrize("px_per_mm", [20.0, 60.0])
def test_a_grey_photograph_of_strong_contrast_is_searched(px_per_mm: float) -> None:
    """All three channels alike leave the colours no spread: scikit-image's coins once had no inverse covariance."""
    coins = np.repeat(data.coins()[..., None], 3, axis=2)
    seen = look(Shot(coins, "0" * 64, "coins"), Setup(px_per_mm=px_per_mm))
    assert 0 <= seen.quality.unsearched <= 1


def test_larger_and_larger_outlines_do_not_creep_away_from_the_first() -> None:
    one, more, most = (only(disc(160.3, 120.6, d)).measures for d in (30, 36, 43))
    # 0.69, 0.70 and 0.49 of what they cover together: each shares enough with the next, the last not with the first.
    assert without_repeats([0, 1], [one, more, most]) == [(0, 1)]
    assert without_repeats([0, 1, 2], [one, more, most]) == [(0, 1)]
    assert without_repeats([0, 2], [one, more, most]) == [(0, 0), (2, 2)]
