"""The crop sheet: every candidate at one real scale, in reading order, at places that the table alone gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from vision.crops import boxes, crop_sheet
from vision.sheet import WINDOW_MM, Box, lay_out, small_size
from vision.table import CANDIDATES, Belonging, candidate_rows
from vision.types import (
    Candidate,
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


def candidate(box: Box) -> Candidate:
    measures = Measures(
        box.x_px, box.y_px, box.left_px, box.top_px, box.wide_px, box.high_px, 0.0, 9.0, 6.0, 9.0, 6.0, 40.0, 7.0, 0.7, 0.9,
        0.9, 10.0, 0.3, 9.0, 1.0, np.zeros((0, 2), dtype=np.float32),
    )  # fmt: skip
    return Candidate(box.number, measures, Surface.PANEL, Tone.DARKER, "round", "aphid", "brown", 0.5, None, None)


def inspected(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], found: list[Box], px_per_mm: float | None
) -> tuple[Shot, Inspection]:
    shot = Shot(pixels, "cd" * 32, "tray.jpg")
    return shot, Inspection(
        shot.name, shot.sha256, shot.width_px, shot.height_px, None, px_per_mm,
        ScaleFrom.NONE if px_per_mm is None else ScaleFrom.OPTION, Ground.PANEL, LitFrom.BELOW,
        ShotQuality(0.8, 0.0, 0.1, 0.2, 0.01, 0.0), Usable.YES, (), None, None,
        tuple(candidate(box) for box in found), 0, np.zeros((2, 2), dtype=bool),
    )  # fmt: skip


FOUND = st.lists(
    st.tuples(st.integers(0, 3999), st.integers(0, 2999), st.integers(1, 900), st.integers(1, 900)), max_size=60
).map(lambda found: [Box(n, *box) for n, box in enumerate(found, start=1)])
SCALES = st.one_of(st.none(), st.floats(0.5, 200))


class TestLayout:
    @given(FOUND, SCALES)
    @settings(max_examples=60, deadline=None)
    def test_no_two_crops_share_a_place(self, found: list[Box], px_per_mm: float | None) -> None:
        sheet = lay_out(found, px_per_mm)
        taken = np.zeros((sheet.rows, sheet.columns), dtype=int)
        for place in sheet.places:
            taken[place.y : place.y + place.down, place.x : place.x + place.across] += 1
            assert place.x + place.across <= sheet.columns
            assert place.y + place.down <= sheet.rows
        assert taken.max(initial=0) <= 1
        assert len(sheet.places) + sheet.left_out == len(found)
        assert sheet.rows * sheet.cell_px < 65535

    @given(FOUND, SCALES)
    @settings(max_examples=60, deadline=None)
    def test_the_table_alone_gives_the_same(self, found: list[Box], px_per_mm: float | None) -> None:
        _, inspection = inspected(np.zeros((10, 10, 3), dtype=np.uint8), found, px_per_mm)
        at = {column.name: k for k, column in enumerate(CANDIDATES)}
        names = ("candidate", "left_px", "top_px", "wide_px", "high_px")
        rows = candidate_rows(Belonging("tray.jpg", "r0"), inspection)
        read = [Box(*(int(row[at[name]]) for name in names)) for row in rows]
        written_scale = None if px_per_mm is None else float(f"{px_per_mm:.2f}")
        assert lay_out(read, written_scale) == lay_out(boxes(inspection), px_per_mm)

    def test_reads_in_rows_of_the_tray(self) -> None:
        """20 px/mm: rows are 12 mm = 240 px high."""
        found = [Box(1, 900, 230, 11, 11), Box(2, 100, 300, 11, 11), Box(3, 50, 20, 11, 11), Box(4, 500, 0, 11, 11)]
        assert [place.box.number for place in lay_out(found, 20.0).places] == [3, 4, 1, 2]

    def test_large_bodies_get_more_windows_of_the_same_scale(self) -> None:
        """20 px/mm: a window is 120 px wide."""
        found = [Box(1, 0, 0, 40, 40), Box(2, 300, 0, 200, 30), Box(3, 0, 500, 2000, 30)]
        places = {place.box.number: place for place in lay_out(found, 20.0).places}
        assert (places[1].across, places[1].down, places[1].whole) == (1, 1, True)
        assert (places[2].across, places[2].down, places[2].whole) == (2, 1, True)
        assert (places[3].across, places[3].down, places[3].whole) == (4, 1, False)

    def test_the_best_come_first_where_not_all_fit(self) -> None:
        found = [Box(n, (7919 * n) % 3000, (104729 * n) % 2000, 9, 9) for n in range(1, 1001)]
        sheet = lay_out(found, 20.0)
        assert sheet.left_out == 700
        assert {place.box.number for place in sheet.places} == set(range(1, 301))

    def test_nothing_flagged(self) -> None:
        assert lay_out([], 20.0).places == ()


class TestPicture:
    @pytest.mark.parametrize("px_per_mm", [10.0, 20.0, 40.0, 93.7])
    @pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
    def test_one_millimetre_is_as_long_in_every_sheet(self, px_per_mm: float, dtype: type) -> None:
        """A square of 3 mm covers half of a 6 mm window at any scale of the shot."""
        side = round(3 * px_per_mm)
        pixels = np.full((1200, 1600, 3), 230, dtype=np.uint8)
        pixels[500 : 500 + side, 700 : 700 + side] = 20
        if dtype is np.uint16:
            pixels = pixels.astype(np.uint16) * 257
        found = [Box(1, 700, 500, side, side)]
        picture = crop_sheet(*inspected(pixels, found, px_per_mm))
        assert picture is not None
        assert picture.dtype == np.uint8
        dark = picture[..., 0] < 125
        share = np.sqrt(dark.mean())
        assert share == pytest.approx(side / px_per_mm / WINDOW_MM, rel=0.03)
        rows, columns = np.nonzero(dark)
        middle = (picture.shape[0] - 1) / 2
        assert rows.mean() == pytest.approx(middle, abs=0.02 * picture.shape[0])
        assert columns.mean() == pytest.approx(middle, abs=0.02 * picture.shape[1])

    def test_a_crop_is_the_photograph_unmarked(self) -> None:
        """At 20 px/mm a window is 120 px of the shot and as many of the sheet: nothing is resampled."""
        pixels = np.random.default_rng(1).integers(0, 255, (400, 500, 3), dtype=np.uint8)
        picture = crop_sheet(*inspected(pixels, [Box(1, 200, 150, 20, 20)], 20.0))
        assert picture is not None
        # The middle of the box lies at (209.5, 159.5), so the window starts 59.5 px before it.
        assert np.array_equal(picture, pixels[100:220, 150:270])

    def test_beyond_the_edge_is_grey(self) -> None:
        pixels = np.zeros((100, 100, 3), dtype=np.uint8)
        picture = crop_sheet(*inspected(pixels, [Box(1, 0, 0, 9, 9)], 20.0))
        assert picture is not None
        assert (picture[0, 0] == 214).all()
        assert (picture[-1, -1] == 0).all()

    def test_nothing_flagged_has_no_sheet(self) -> None:
        assert crop_sheet(*inspected(np.zeros((9, 9, 3), dtype=np.uint8), [], 20.0)) is None


@pytest.mark.parametrize(
    ("size", "small"),
    [((4000, 3000), (640, 480)), ((3000, 4000), (640, 853)), ((30, 20), (30, 20)), ((9, 9000), (1, 960))],
)
def test_thumbnails_keep_their_form(size: tuple[int, int], small: tuple[int, int]) -> None:
    assert small_size(*size) == small
