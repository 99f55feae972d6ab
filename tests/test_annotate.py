"""The annotated picture: its marks and numbers, what it may never hide, pictures of any size."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_pictures import (
    BELONGING,
    KINDS,
    body_mask,
    candidate,
    drawn,
    inspected,
    photograph,
    scattered,
)

from vision.annotate import annotate, thumbnail
from vision.marks import DARK, FORMS, WHITE, look_for, mark
from vision.shapes import SHAPES
from vision.sheet import small_size
from vision.table import CANDIDATES, candidate_rows
from vision.text import stamp


class TestMarks:
    @pytest.mark.parametrize("seed", range(4))
    def test_nothing_lies_on_a_speck(self, seed: int) -> None:
        pixels = photograph(900, 1200)
        candidates = scattered(40, 900, 1200, seed)
        shot, inspection = inspected(pixels, candidates, np.ones((9, 12), dtype=bool))
        result = annotate(shot, inspection)[:900]
        bodies = body_mask(candidates, 900, 1200)
        assert bodies.any()
        assert np.array_equal(result[bodies], pixels[bodies])
        assert not np.array_equal(result[~bodies], pixels[~bodies])

    def test_the_shot_itself_is_left_as_it_is(self) -> None:
        pixels = photograph(300, 700)
        before = pixels.copy()
        shot, inspection = inspected(pixels, (candidate(1, "round", 200, 100, 40),))
        annotate(shot, inspection)
        thumbnail(shot, inspection)
        assert np.array_equal(pixels, before)

    @given(
        kind=st.sampled_from(KINDS),
        length=st.floats(2, 300),
        angle=st.floats(0, 180),
        zoom=st.sampled_from([0.2, 1.0, 5.0]),
    )
    @settings(max_examples=80, deadline=None)
    def test_a_mark_goes_round_its_body_with_a_gap(self, kind: str, length: float, angle: float, zoom: float) -> None:
        look = look_for(1200, 900)
        one = mark(candidate(1, kind, 600, 450, length, angle), zoom, look)
        line = one.line.reshape(-1, 1, 2)
        distances = [cv2.pointPolygonTest(line, (float(x), float(y)), True) for x, y in one.body]
        assert min(distances) >= 0.5 * look.gap_px
        # The halo's inner edge stays off the body too.
        assert min(distances) > look.halo_px / 2

    def test_every_class_has_a_form_of_its_own(self) -> None:
        forms = [shape.mark for shape in SHAPES]
        assert set(forms) <= set(FORMS)
        assert len(set(forms)) == len(forms)

    def test_forms_differ_without_colour(self) -> None:
        """The same body, marked in each form: the areas between any two lines are larger than a line is thick."""
        look = look_for(1200, 900)
        one = candidate(1, "round", 100, 100, 60, 20)
        filled = {}
        for shape in SHAPES:
            area = np.zeros((240, 240), dtype=np.uint8)
            line = mark(replace(one, shape=shape.name), 1.0, look).line
            cv2.fillPoly(area, [np.round(line).astype(np.int32)], 1)
            filled[shape.mark] = area.astype(bool)
        names = sorted(filled)
        for a in names:
            for b in names:
                if a < b:
                    assert (filled[a] ^ filled[b]).sum() > 100, (a, b)

    def test_a_speck_on_a_flagged_leaf_keeps_its_mark_and_number(self) -> None:
        leaf, aphid = candidate(1, "round", 500, 400, 500), candidate(2, "round", 520, 410, 40)
        pixels = photograph(800, 1000)
        alone = annotate(*inspected(pixels, (replace(aphid, number=2),)))[:800]
        both = annotate(*inspected(pixels, (leaf, aphid)))[:800]
        _, labels = drawn((leaf, aphid), 800, 1000)
        assert [label.number for label in labels] == [1, 2]
        line = np.zeros((800, 1000), dtype=np.uint8)
        look = look_for(1000, 800)
        cv2.polylines(line, [np.round(mark(aphid, 1.0, look).line).astype(np.int32)], True, 1, look.core_px)
        seen = line.astype(bool)
        assert (both[seen] == alone[seen]).all(axis=1).mean() > 0.9
        small = body_mask((aphid,), 800, 1000)
        assert np.array_equal(both[small], pixels[small])
        large = body_mask((leaf,), 800, 1000)
        assert (both[large] != pixels[large]).any(axis=1).mean() < 0.05

    def test_same_input_same_picture(self) -> None:
        shot, inspection = inspected(photograph(600, 800), scattered(20, 600, 800, 1))
        assert np.array_equal(annotate(shot, inspection), annotate(shot, inspection))


# Machado, Oliveira and Fernandes 2009, severity 1, on linear light (from memory).
SIMULATED = {
    "none": np.eye(3),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def luminance(colour: tuple[int, int, int], sight: str = "none") -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2), as seen by one kind of colour sight."""
    c = np.array(colour) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(np.clip(SIMULATED[sight] @ linear, 0, 1) @ [0.2126, 0.7152, 0.0722])


def contrast(a: float, b: float) -> float:
    return (max(a, b) + 0.05) / (min(a, b) + 0.05)


class TestSeenByAll:
    @pytest.mark.parametrize("sight", SIMULATED)
    @pytest.mark.parametrize("form", FORMS)
    def test_core_against_halo(self, form: str, sight: str) -> None:
        """WCAG 2.2, 1.4.11: parts of a picture that carry meaning stand out by 3 to 1."""
        assert contrast(luminance(FORMS[form].ink, sight), luminance(WHITE, sight)) >= 3

    @pytest.mark.parametrize("ground", [0, 40, 90, 128, 170, 215, 255])
    @pytest.mark.parametrize("sight", SIMULATED)
    @pytest.mark.parametrize("form", FORMS)
    def test_core_or_halo_against_any_ground(self, form: str, sight: str, ground: int) -> None:
        """Two inks 3 to 1 apart: one of them is at least the root of that from whatever lies between."""
        grey = luminance((ground, ground, ground), sight)
        assert max(contrast(luminance(ink, sight), grey) for ink in (FORMS[form].ink, WHITE)) >= np.sqrt(3)

    @pytest.mark.parametrize("ground", [0, 128, 255])
    def test_halo_and_core_are_both_in_the_picture(self, ground: int) -> None:
        pixels = np.full((600, 800, 3), ground, dtype=np.uint8)
        shot, inspection = inspected(pixels, (candidate(1, "linear", 400, 300, 60, 30),))
        result = annotate(shot, inspection)[:600].reshape(-1, 3)
        for ink, least in ((FORMS["slim box"].ink, 200), (WHITE, 200), (DARK, 10)):
            assert (result == ink).all(axis=1).sum() > least


class TestNumbers:
    @pytest.mark.parametrize("seed", range(4))
    def test_are_those_of_the_table(self, seed: int) -> None:
        candidates = scattered(30, 900, 1200, seed)
        picture, labels = drawn(candidates)
        _, inspection = inspected(picture, candidates)
        at = [column.name for column in CANDIDATES].index("candidate")
        numbers = [row[at] for row in candidate_rows(BELONGING, inspection)]
        assert sorted(str(label.number) for label in labels) == sorted(numbers)
        look = look_for(1200, 900)
        bodies = body_mask(candidates, 900, 1200)
        for label in labels:
            letters, _ = stamp(str(label.number), look.cap_px, max(2, round(look.cap_px / 5)))
            window = picture[label.top : label.top + label.high, label.left : label.left + label.wide]
            assert letters.shape == window.shape[:2]
            assert not bodies[label.top : label.top + label.high, label.left : label.left + label.wide].any()
            assert (window[letters == 255] == DARK).all()

    @pytest.mark.parametrize("seed", range(4))
    def test_stand_apart(self, seed: int) -> None:
        height, width = 900, 1200
        candidates = scattered(40, height, width, seed)
        _, labels = drawn(candidates, height, width)
        assert len(labels) >= 38
        taken = body_mask(candidates, height, width)
        look = look_for(width, height)
        for one in candidates:
            line = np.round(mark(one, 1.0, look).line).astype(np.int32)
            filled = taken.astype(np.uint8)
            cv2.fillPoly(filled, [line], 1)
            taken = filled.astype(bool)
        for label in labels:
            assert label.left >= 0
            assert label.top >= 0
            assert label.left + label.wide <= width
            assert label.top + label.high <= height
            box = (slice(label.top, label.top + label.high), slice(label.left, label.left + label.wide))
            assert not taken[box].any()
            taken[box] = True

    def test_leaders_run_from_the_mark_to_the_number(self) -> None:
        candidates = scattered(25, 900, 1200, 3)
        _, labels = drawn(candidates)
        look = look_for(1200, 900)
        lines = {one.number: mark(one, 1.0, look).line.reshape(-1, 1, 2) for one in candidates}
        for label in labels:
            start, end = label.leader
            assert abs(cv2.pointPolygonTest(lines[label.number], (float(start[0]), float(start[1])), True)) < 1
            assert label.left <= end[0] <= label.left + label.wide
            assert label.top <= end[1] <= label.top + label.high

    def test_no_leader_crosses_a_speck(self) -> None:
        candidates = scattered(30, 900, 1200, 8)
        _, labels = drawn(candidates)
        bodies = body_mask(candidates, 900, 1200)
        for label in labels:
            path = label.leader[0] + np.linspace(0, 1, 200)[:, None] * (label.leader[1] - label.leader[0])
            x, y = np.clip(np.round(path).astype(int), 0, [1199, 899]).T
            assert not bodies[y, x].any()

    def test_without_room_are_counted(self, written: Callable[[], str]) -> None:
        crowd = tuple(candidate(n + 1, "round", 12 + 24 * (n % 26), 12 + 24 * (n // 26), 18) for n in range(26 * 12))
        shot, inspection = inspected(photograph(300, 640), crowd)
        annotate(shot, inspection)
        count = re.search(r"without room for their number: (\d+)", written())
        assert count is not None
        assert 0 < int(count[1]) <= len(crowd)


class TestUnsearched:
    def test_hatched_there_and_nowhere_else(self) -> None:
        height, width = 900, 1200
        grid = np.zeros((9, 12), dtype=bool)
        grid[2:6, 3:9] = True
        pixels = photograph(height, width)
        shot, inspection = inspected(pixels, (), grid)
        changed = (annotate(shot, inspection)[:height] != pixels).any(axis=2)
        cells = changed.reshape(9, 100, 12, 100).mean(axis=(1, 3))
        assert (cells[grid] > 0.02).all()
        # Lines a few pixels wide reach over the edge of the outer cells at most.
        assert cells[~grid].max() < 0.01
        assert changed[grid.repeat(100, axis=0).repeat(100, axis=1)].mean() < 0.2

    def test_all_searched_is_not_hatched(self) -> None:
        pixels = photograph(600, 800)
        assert np.array_equal(annotate(*inspected(pixels))[:600], pixels)


class TestSizes:
    @pytest.mark.parametrize("size", [(1, 1), (1, 700), (700, 1), (30, 40), (40, 30), (200, 639), (9, 2000)])
    @pytest.mark.parametrize("flags", [0, 2])
    def test_small_and_odd_pictures(self, size: tuple[int, int], flags: int) -> None:
        height, width = size
        candidates = tuple(candidate(n + 1, "round", width / 2, height / 2, 4) for n in range(flags))
        shot, inspection = inspected(photograph(height, width), candidates, np.ones((2, 2), dtype=bool))
        result = annotate(shot, inspection)
        assert result.shape[1] >= 640
        assert result.shape[0] > height
        assert result.dtype == np.uint8
        assert thumbnail(shot, inspection).shape[:2] == small_size(width, height)[::-1]

    def test_small_pictures_are_enlarged_by_whole_pixels(self) -> None:
        pixels = photograph(30, 40)
        result = annotate(*inspected(pixels))
        assert np.array_equal(result[:480, :640], pixels.repeat(16, axis=0).repeat(16, axis=1))

    def test_a_picture_longer_than_a_jpeg_holds(self) -> None:
        shot, inspection = inspected(np.full((2, 70000, 3), 200, dtype=np.uint8))
        assert annotate(shot, inspection).shape[1] == 20000

    def test_sixteen_bit_shows_the_same(self) -> None:
        pixels = photograph(400, 700)
        candidates = scattered(5, 400, 700, 2)
        eight = annotate(*inspected(pixels, candidates))
        sixteen = annotate(*inspected(pixels.astype(np.uint16) * 257, candidates))
        assert np.array_equal(eight, sixteen)

    def test_candidates_without_an_outline_are_marked_by_their_box(self) -> None:
        bare = candidate(1, "round", 300, 200, 40)
        bare = replace(bare, measures=replace(bare.measures, outline_px=np.zeros((0, 2), dtype=np.float32)))
        pixels = photograph(400, 700)
        result = annotate(*inspected(pixels, (bare,)))[:400]
        m = bare.measures
        box = (slice(m.top_px, m.top_px + m.high_px), slice(m.left_px, m.left_px + m.wide_px))
        assert np.array_equal(result[box], pixels[box])
        assert not np.array_equal(result, pixels)


def quickest(work: Callable[[], object], times: int = 3) -> float:
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def test_twelve_megapixels_take_no_longer_than_a_few_jpegs() -> None:
    pixels = photograph(3000, 4000)
    grid = np.zeros((30, 40), dtype=bool)
    grid[10:, 20:] = True
    shot, inspection = inspected(pixels, scattered(40, 3000, 4000, 1), grid)
    encode = quickest(lambda: cv2.imencode(".jpg", pixels))
    assert quickest(lambda: annotate(shot, inspection)) < 8 * encode
