"""The annotated picture: what it says, what it may never hide, how it is read."""

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
from numpy.typing import NDArray

import vision.band
from vision.annotate import annotate, draw_inspection, thumbnail
from vision.band import bar_mm
from vision.foot import NONE_FLAGGED, WHO_DECIDES
from vision.labels import Label
from vision.marks import DARK, FORMS, WHITE, look_for, mark
from vision.shapes import SHAPES
from vision.sheet import small_size
from vision.table import CANDIDATES, SHOTS, Belonging, ShotFacts, candidate_rows, shot_row
from vision.text import as_name, font, in_display_order, stamp, wrap
from vision.types import (
    Candidate,
    FixedMark,
    Ground,
    Inspection,
    LitFrom,
    Measures,
    ScaleFrom,
    Shot,
    ShotQuality,
    Surface,
    Tone,
    Usable,
)

FORBIDDEN = re.compile(r"\b(clean|clear|cleared|pass|passed|passes|safe|free|ok|okay)\b|[✓✔☑✅🟢👍]", re.IGNORECASE)
BELONGING = Belonging("tray.jpg", "r0123456789ab")
KINDS = [shape.name for shape in SHAPES]


def outline(kind: str, length: float, width: float) -> NDArray[np.float64]:
    """A body of one class round the origin, (n, 2)."""
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    if kind in ("round", "linear"):
        return np.stack([length / 2 * np.cos(t), width / 2 * np.sin(t)], axis=1)
    if kind == "irregular":
        r = length / 2 * (0.65 + 0.35 * np.cos(5 * t))
        return np.stack([r * np.cos(t), r * np.sin(t)], axis=1)
    x = np.linspace(-length / 2, length / 2, 60)
    y = width * (1.5 * np.cos(x / length * 3) if kind == "curved" else 2.5 * np.sin(x / length * 14))
    return np.concatenate([np.stack([x, y - width / 2], axis=1), np.stack([x, y + width / 2], axis=1)[::-1]])


def candidate(number: int, kind: str, x: float, y: float, length: float, angle: float = 0.0) -> Candidate:
    width = length / {"round": 1.7, "linear": 5, "curved": 6, "trail": 20, "irregular": 1.1}[kind]
    a = np.deg2rad(angle)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    points = (outline(kind, length, width) @ turn + [x, y]).astype(np.float32)
    left, top = np.floor(points.min(axis=0)).astype(int)
    right, bottom = np.ceil(points.max(axis=0)).astype(int)
    measures = Measures(
        x_px=x,
        y_px=y,
        left_px=int(left),
        top_px=int(top),
        wide_px=int(right - left + 1),
        high_px=int(bottom - top + 1),
        angle_deg=angle,
        length_px=length,
        width_px=width,
        max_feret_px=length,
        min_feret_px=width,
        area_px=float(cv2.contourArea(points)),
        equivalent_diameter_px=width,
        aspect_ratio=width / length,
        circularity=0.8,
        solidity=0.9,
        delta_e=12.0,
        density=0.4,
        snr=20.0,
        blur_px=1.2,
        outline_px=points,
    )
    return Candidate(number, measures, Surface.PANEL, Tone.DARKER, kind, "aphid", "roundish, brown", 0.5, None, 0.08)


def photograph(height: int, width: int, seed: int = 0) -> NDArray[np.uint8]:
    """White panel on the left, dark produce on the right, with noise, so that a changed pixel shows."""
    random = np.random.default_rng(seed)
    picture = np.empty((height, width, 3), dtype=np.uint8)
    picture[:, : width // 2] = random.integers(222, 240, (height, width // 2, 3))
    picture[:, width // 2 :] = random.integers(30, 70, (height, width - width // 2, 3))
    return picture


def inspected(
    pixels: NDArray[np.uint8] | NDArray[np.uint16],
    candidates: tuple[Candidate, ...] = (),
    unsearched: NDArray[np.bool_] | None = None,
    name: str = "tray.jpg",
) -> tuple[Shot, Inspection]:
    shot = Shot(pixels, "ab" * 32, name)
    grid = np.zeros((9, 12), dtype=bool) if unsearched is None else unsearched
    quality = ShotQuality(0.8, 0.001, 0.2, 0.2, 0.01, float(grid.mean()))
    inspection = Inspection(
        shot_name=name,
        shot_sha256=shot.sha256,
        width_px=shot.width_px,
        height_px=shot.height_px,
        taken_at=None,
        px_per_mm=20.0,
        scale_from=ScaleFrom.OPTION,
        ground=Ground.PANEL,
        lit_from=LitFrom.BELOW,
        quality=quality,
        usable=Usable.YES,
        reasons=(),
        limit_round_mm=0.321,
        limit_linear_mm=0.138,
        candidates=candidates,
        left_out=0,
        unsearched=grid,
    )
    return shot, inspection


def scattered(count: int, height: int, width: int, seed: int) -> tuple[Candidate, ...]:
    """Bodies of all classes; none lies on another, but marks may touch, cross and hold each other, and run over the edge."""
    random = np.random.default_rng(seed)
    sizes = {"round": 40, "linear": 24, "curved": 90, "trail": 200, "irregular": 44}
    taken = np.zeros((height, width), dtype=bool)
    found: list[Candidate] = []
    while len(found) < count:
        kind = KINDS[int(random.integers(len(KINDS)))]
        x, y, angle = random.uniform(0, width), random.uniform(0, height), random.uniform(0, 180)
        one = candidate(len(found) + 1, kind, x, y, sizes[kind], angle)
        body = body_mask((one,), height, width)
        if not (body & taken).any():
            taken |= body
            found.append(one)
    return tuple(found)


def body_mask(candidates: tuple[Candidate, ...], height: int, width: int) -> NDArray[np.bool_]:
    mask = np.zeros((height, width), dtype=np.uint8)
    for one in candidates:
        cv2.fillPoly(mask, [np.round(one.measures.outline_px * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return mask.astype(bool)


def drawn(
    candidates: tuple[Candidate, ...], height: int = 900, width: int = 1200
) -> tuple[NDArray[np.uint8], list[Label]]:
    picture = photograph(height, width)
    _, inspection = inspected(picture, candidates)
    return picture, draw_inspection(picture, inspection, 1.0, look_for(width, height))


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> Callable[[], str]:
    """All text that reaches the band, as one string in the order of writing."""
    lines: list[str] = []
    write = vision.band.write

    def record(draw: object, at: object, line: str, *rest: object) -> None:
        lines.append(line)
        write(draw, at, line, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(vision.band, "write", record)
    return lambda: " ".join(lines)


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


def longest_run(rows: NDArray[np.bool_]) -> int:
    """Length of the longest run of True along any row."""
    steps = np.diff(np.pad(rows.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    starts, ends = np.argwhere(steps == 1)[:, 1], np.argwhere(steps == -1)[:, 1]
    return int((ends - starts).max(initial=0))


class TestReadable:
    @pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (2048, 1536), (1600, 1200), (6000, 4000)])
    def test_letters_fill_a_third_of_a_degree_at_60_cm(self, size: tuple[int, int]) -> None:
        """3.5 mm on a screen 500 mm wide; 20 arc minutes (ISO 9241-303 asks for 16 to 22, from memory)."""
        width, height = size
        cap = look_for(width, height).cap_px
        assert cap * 500 / width >= 3.5 - 1e-9
        assert np.degrees(np.arctan(3.5 / 600)) * 60 >= 20

    @pytest.mark.parametrize("cap", [9.0, 14.3, 28.0, 42.0])
    def test_letters_are_as_high_as_asked(self, cap: float) -> None:
        letters, _ = stamp("H", cap, 2)
        rows = np.flatnonzero(letters.max(axis=1) > 100)
        assert rows[-1] - rows[0] + 1 == pytest.approx(cap, abs=1.6)

    def test_the_scale_bar_is_as_long_as_it_says(self) -> None:
        shot, inspection = inspected(photograph(900, 1200))
        below = annotate(shot, inspection)[900 + 10 :]
        dark = (below == DARK).all(axis=2)
        assert longest_run(dark) == pytest.approx(10 * 20.0, abs=5)

    @pytest.mark.parametrize(
        ("px_per_mm", "width", "mm"), [(40, 4000, 20), (20, 1200, 10), (4, 40, 2), (1000, 640, 0.1), (1e5, 640, None)]
    )
    def test_scale_bar_fits(self, px_per_mm: float, width: int, mm: float | None) -> None:
        assert bar_mm(px_per_mm, width) == mm

    def test_legend_names_the_classes_that_are_there(self, written: Callable[[], str]) -> None:
        pixels = photograph(600, 900)
        shot, inspection = inspected(
            pixels, (candidate(1, "linear", 200, 200, 40), candidate(2, "curved", 600, 300, 90))
        )
        annotate(shot, inspection)
        words = written().split()
        assert "linear" in words
        assert "curved" in words
        assert "trail" not in words


class TestFoot:
    def test_says_what_it_must(self, written: Callable[[], str]) -> None:
        grid = np.zeros((9, 12), dtype=bool)
        grid[:3] = True
        shot, inspection = inspected(photograph(600, 800), (candidate(1, "round", 200, 400, 40),), grid)
        annotate(shot, replace(inspection, left_out=7, produce_name="leek"), version="9.8.7", run="r0123456789ab")
        text = written()
        row = dict(zip([c.name for c in SHOTS], shot_row(ShotFacts(BELONGING, "", inspection)), strict=True))
        for sentence in (
            "1 flagged",
            "Searched: the light panel and what lies on it",
            "leek",
            "light from below",
            f"Not searched: {row['unsearched_pct']}% of the picture, hatched.",
            f"round {row['limit_round_mm']} mm across, thin {row['limit_linear_mm']} mm wide",
            f"{row['px_per_mm']} px/mm",
            "10 mm",
            "Left out by the limit on flags: 7 more.",
            WHO_DECIDES,
            "Made by speckwise 9.8.7, run r0123456789ab.",
        ):
            assert sentence in text

    def test_nothing_flagged(self, written: Callable[[], str]) -> None:
        annotate(*inspected(photograph(600, 800)))
        assert "0 flagged. That is not a finding of none." in written()
        assert NONE_FLAGGED == "0 flagged. That is not a finding of none."

    def test_without_a_scale(self, written: Callable[[], str]) -> None:
        shot, inspection = inspected(photograph(600, 800))
        annotate(
            shot,
            replace(inspection, px_per_mm=None, scale_from=ScaleFrom.NONE, limit_round_mm=None, limit_linear_mm=None),
        )
        assert "Smallest speck this shot could show: unknown without a scale." in written()
        assert "no scale" in written()
        assert " mm across" not in written()

    def test_take_again_in_words(self, written: Callable[[], str]) -> None:
        shot, inspection = inspected(photograph(600, 800))
        told = replace(inspection, instruction="Hold still.", reasons=("It is dark.", "It is large."))
        annotate(shot, replace(told, usable=Usable.NO))
        assert "Take this shot again: Hold still. What limits this shot: It is dark. It is large." in written()
        annotate(shot, told)
        assert "For the next shot: Hold still. What limits this shot: It is dark. It is large." in written()

    def test_limits_of_a_usable_shot(self, written: Callable[[], str]) -> None:
        shot, inspection = inspected(photograph(600, 800))
        annotate(shot, replace(inspection, reasons=("The corners are soft.",)))
        assert "What limits this shot: The corners are soft." in written()
        assert "again" not in written()

    @pytest.mark.parametrize("ground", Ground)
    @pytest.mark.parametrize("light", LitFrom)
    @pytest.mark.parametrize("count", [0, 1, 3])
    def test_no_forbidden_word(self, ground: Ground, light: LitFrom, count: int, written: Callable[[], str]) -> None:
        grid = np.ones((9, 12), dtype=bool)
        shot, inspection = inspected(photograph(300, 640), scattered(count, 300, 640, 1), grid)
        mark_there = FixedMark(10, 10, 3, 0.2)
        for usable in Usable:
            told = replace(
                inspection, ground=ground, lit_from=light, usable=usable, left_out=3, fixed_marks=(mark_there,)
            )
            annotate(shot, told)
        assert FORBIDDEN.search(written()) is None
        assert FORBIDDEN.search("All clear") is not None

    def test_text_stays_inside_the_band(self) -> None:
        """The outermost pixels of the band are paper: nothing is cut off at its edges."""
        shot, inspection = inspected(photograph(60, 640), name="w" * 255)
        told = replace(inspection, usable=Usable.NO, instruction="A word " + "x" * 200 + " and more.")
        below = annotate(shot, told)[60 + 4 :]
        paper = below[-1, 0]
        for edge in (below[:, :8], below[:, -8:], below[-4:]):
            assert (edge == paper).all()


class TestHebrew:
    """Order by the Unicode bidirectional algorithm (UAX 9): letters from right to left, numbers from left to right."""

    def test_a_name_runs_from_right_to_left(self) -> None:
        assert in_display_order(as_name("מגש 12")) == "12 שגמ"

    def test_brackets_are_mirrored(self) -> None:
        assert in_display_order(as_name("מים (3)")) == "(3) םימ"

    def test_the_count_stays_on_the_right_of_the_name(self) -> None:
        assert in_display_order(f"{as_name('מגש')} · 7 flagged") == "שגמ · 7 flagged"

    def test_a_name_within_a_sentence_of_ours(self) -> None:
        assert in_display_order(f"produce: {as_name('תרד')}; light.") == "produce: דרת; light."

    def test_a_latin_name_is_left_as_it_is(self) -> None:
        assert in_display_order(as_name("tray 3 (2).jpg")) == "tray 3 (2).jpg"

    def test_glyphs_are_in_the_font(self) -> None:
        face = font(20.0)
        missing = bytes(face.getmask("\uffff"))
        for letter in "אבגדהוזחטיכלמנסעפצקרשתםןףץך":
            assert bytes(face.getmask(letter)) != missing

    def test_tricks_with_direction_are_taken_out(self) -> None:
        assert in_display_order(as_name("a\u202egpj.exe\n\x07")) == "a gpj.exe  "

    @given(st.text(max_size=80))
    @settings(max_examples=60, deadline=None)
    def test_any_name_becomes_lines(self, name: str) -> None:
        face = font(9.0)
        for line in wrap(as_name(name), face, 200):
            assert face.getlength(in_display_order(line)) <= 200


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
