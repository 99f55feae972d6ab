"""The annotated picture's words: readable from afar, all that they must say, names in any script."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_pictures import (
    BELONGING,
    FORBIDDEN,
    candidate,
    inspected,
    photograph,
    scattered,
)
from numpy.typing import NDArray

from vision.annotate import annotate
from vision.band import bar_mm
from vision.foot import NONE_FLAGGED, WHO_DECIDES
from vision.marks import DARK, look_for
from vision.table import SHOTS, ShotFacts, shot_row
from vision.text import as_name, font, in_display_order, stamp, wrap
from vision.types import (
    FixedMark,
    Ground,
    LitFrom,
    ScaleFrom,
    Usable,
)


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
