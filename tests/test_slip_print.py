"""The slip as it is printed: one layout, drawn three ways, true to scale."""

from __future__ import annotations

import base64
import io
import itertools
import re
import zlib
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from PIL import Image

from calib.slip.draw import MARGIN_MM, PAPERS_MM, as_pdf, as_png, as_svg, piece_bitmap, place
from calib.slip.ink import ink_of
from calib.slip.layout import CHEQUER_MM, Piece, all_pieces, corner, marker_bits, mirrored, strip
from calib.slip.lettering import shortened, wide_mm
from calib.slip.raster import coverage
from calib.slip.view import SlipText

TEXT = SlipText("B-117", "3", "ברוקולי קפוא", "12")
POINT_MM = 25.4 / 72


def lines_to(edge_start: tuple[float, float], edge_end: tuple[float, float]) -> float:
    dx, dy = np.subtract(edge_end, edge_start)
    return float(abs((np.degrees(np.arctan2(dy, dx)) + 45) % 90 - 45))


@pytest.mark.parametrize("piece", all_pieces(), ids=lambda p: p.name)
class TestEachPiece:
    def test_all_its_ink_lies_inside_its_outline(self, piece: Piece) -> None:
        for rings in ink_of(piece, TEXT).rings.values():
            points = np.concatenate(rings)
            assert points.min() >= 0
            assert (points <= (piece.wide_mm, piece.high_mm)).all()

    def test_four_chequers_meet_at_each_saddle_point_as_its_sign_says(self, piece: Piece) -> None:
        light = piece_bitmap(piece, 20).light[:, :, 0]
        half = CHEQUER_MM / 2
        for (x, y), sign in zip(piece.saddles_mm, piece.saddle_signs, strict=True):
            black = {
                (i, j): light[int((y + j * half) * 20), int((x + i * half) * 20)] < 0.5
                for i in (-1, 1)
                for j in (-1, 1)
            }
            assert black[-1, -1] == black[1, 1] == (sign > 0)
            assert black[1, -1] == black[-1, 1] == (sign < 0)

    def test_its_markers_are_those_of_the_dictionary(self, piece: Piece) -> None:
        picture = (piece_bitmap(piece, 20).light[:, :, 0] > 0.5).astype(np.uint8) * 255
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        found, numbers, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(picture)
        assert numbers is not None
        places = {int(n): c.reshape(4, 2) for n, c in zip(np.ravel(numbers), found, strict=True)}
        assert set(places) == {marker.number for marker in piece.markers}
        for marker in piece.markers:
            assert np.abs(places[marker.number] / 20 - marker.corners_mm).max() < 0.15


def test_no_marker_is_taken_for_another_one_however_it_is_turned() -> None:
    numbers = [marker.number for piece in all_pieces() for marker in piece.markers]
    assert len(set(numbers)) == 9
    for a, b in itertools.combinations(numbers, 2):
        for turn in range(4):
            assert (marker_bits(a) != np.rot90(marker_bits(b), turn)).sum() >= 5
            assert (marker_bits(a) != np.rot90(marker_bits(b)[:, ::-1], turn)).sum() >= 3


def test_the_strip_has_what_sharpness_and_plane_need() -> None:
    piece = strip()
    assert (piece.wide_mm, piece.high_mm) == (90, 21)
    assert len(piece.markers) == 5
    assert min(marker.cell_mm for marker in piece.markers) >= 1.2
    assert len(piece.saddles_mm) >= 60
    assert np.ptp(piece.saddles_mm[:, 1]) > 17
    # ISO 12233 asks for edges about 5 degrees off the rows and columns of pixels.
    assert all(5 < lines_to(edge.start_mm, edge.end_mm) < 6 for edge in piece.edges)
    assert all(np.hypot(*np.subtract(edge.end_mm, edge.start_mm)) > 6 for edge in piece.edges)


def test_edges_have_even_print_on_both_sides() -> None:
    light = piece_bitmap(strip(), 20, TEXT).light[:, :, 1]
    for edge in strip().edges:
        start, end = np.array(edge.start_mm), np.array(edge.end_mm)
        along = (end - start) / np.hypot(*(end - start))
        across = np.array([-along[1], along[0]])
        sides = []
        for side in (-1, 1):
            away, at = np.meshgrid(np.linspace(0.15, edge.room_mm, 20), np.linspace(0, 1, 40))
            places = start + at[..., None] * (end - start) + side * away[..., None] * across
            levels = light[(places[..., 1] * 20).astype(int), (places[..., 0] * 20).astype(int)]
            assert np.ptp(levels) < 1e-6
            sides.append(levels[0, 0])
        assert abs(sides[0] - sides[1]) > 0.9


def test_seen_from_behind_it_is_the_mirror_image() -> None:
    assert np.allclose(mirrored(strip()).saddles_mm[0], [90 - 2.4, 1.8])
    twice = mirrored(mirrored(strip()))
    assert np.allclose(twice.saddles_mm, strip().saddles_mm)
    assert (twice.saddle_signs == strip().saddle_signs).all()
    assert twice.markers == strip().markers


class TestRaster:
    def test_a_rectangle_between_pixels(self) -> None:
        ring = np.array([[2.25, 1.5], [5.75, 1.5], [5.75, 3.25], [2.25, 3.25]])
        got = coverage([ring], 5, 8)
        assert got[1].tolist() == [0, 0, 0.375, 0.5, 0.5, 0.375, 0, 0]
        assert got.sum() == pytest.approx(3.5 * 1.75)

    def test_a_hole_and_what_hangs_over_the_border(self) -> None:
        outer = np.array([[-3.0, -2.0], [4.0, -2.0], [4.0, 4.0], [-3.0, 4.0]])
        hole = np.array([[1.0, 1.0], [1.0, 2.5], [2.0, 2.5], [2.0, 1.0]])
        got = coverage([outer, hole], 6, 6)
        assert got.sum() == pytest.approx(16 - 1.5)
        assert got[1, 1] == 0
        assert got[2, 1] == pytest.approx(0.5)

    def test_a_triangle_against_many_samples(self) -> None:
        ring = np.array([[-3.0, 0.3], [17.2, 4.4], [6.1, 12.9]])
        many = 40
        y, x = (np.mgrid[0 : 10 * many, 0 : 14 * many] + 0.5) / many
        inside = np.ones(x.shape, dtype=bool)
        for (ax, ay), (bx, by) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            inside &= (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0
        assert np.abs(coverage([ring], 10, 14) - inside.reshape(10, many, 14, many).mean(axis=(1, 3))).max() < 0.003


class TestPages:
    def test_the_svg_is_in_millimetres_and_holds_the_ruler_bar(self) -> None:
        root = ElementTree.fromstring(as_svg([(strip(), TEXT)], "letter"))
        assert (root.get("width"), root.get("height")) == ("215.9mm", "279.4mm")
        group = next(each for each in root if each.tag.endswith("g"))
        assert group.get("transform") == "translate(12 12)"
        assert "M24,14.1L74,14.1 74,14.5 24,14.5Z" in next(iter(group)).get("d", "")

    def test_the_png_carries_its_resolution_and_is_true_to_scale(self) -> None:
        with Image.open(io.BytesIO(as_png([(strip(), None)], "a4"))) as picture:
            dots = picture.info["dpi"][0]
            page = np.asarray(picture.convert("L"))
        per_mm = dots / 25.4
        assert per_mm == pytest.approx(30, abs=1e-3)
        assert page.shape == (297 * 30, 210 * 30)
        rows, columns = (np.flatnonzero((page < 128).any(axis=axis)) for axis in (1, 0))
        assert [rows[0], rows[-1] + 1, columns[0], columns[-1] + 1] == [12 * 30, 33 * 30, 12 * 30, 102 * 30]
        bar = np.flatnonzero(page[int((12 + 14.3) * 30), int(12.5 * 30) : int(101.5 * 30)] < 128) + int(12.5 * 30)
        assert np.ptp(bar[(bar > 35 * 30) & (bar < 87 * 30)]) + 1 == 50 * 30

    def test_the_pdf_is_true_to_scale_and_asks_for_100_percent(self) -> None:
        data = as_pdf([(strip(), None)], "a4")
        assert b"/PrintScaling /None" in data
        box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", data)
        assert box is not None
        assert [float(side) * POINT_MM for side in box.groups()] == pytest.approx([210, 297], abs=1e-3)
        points = np.array(pdf_points(data)) * POINT_MM
        assert points.min(axis=0) == pytest.approx([12, 297 - 33], abs=1e-3)
        assert points.max(axis=0) == pytest.approx([102, 297 - 12], abs=1e-3)

    def test_the_same_call_gives_the_same_bytes(self) -> None:
        for draw in (as_pdf, as_svg):
            assert draw([(strip(), TEXT)], "a4") == draw([(strip(), TEXT)], "a4")

    def test_many_go_on_further_pages_and_fit_both_papers(self) -> None:
        placed = place([(strip(), None)] * 45)
        assert [sum(p.page == page for p in placed) for page in range(3)] == [20, 20, 5]
        for each in placed:
            for wide, high in PAPERS_MM.values():
                assert each.left_mm + each.wide_mm <= wide - MARGIN_MM + 1e-9
                assert each.top_mm + each.high_mm <= high - MARGIN_MM + 1e-9
        assert as_pdf([(corner(1), None)] * 71, "a4").count(b"/Type /Page\n") == 2

    def test_one_picture_that_cannot_hold_them_is_refused_in_a_sentence(self) -> None:
        with pytest.raises(ValueError, match="One page holds 20 of these, and 21 are asked for"):
            as_svg([(strip(), None)] * 21, "a4")


def pdf_points(data: bytes) -> list[tuple[float, float]]:
    """All corners of the outlines on a PDF's pages."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", data, re.DOTALL):
        drawn = zlib.decompress(base64.a85decode(stream.strip().removesuffix(b"~>")))
        found += [(float(x), float(y)) for x, y in re.findall(rb"([\d.]+) ([\d.]+) [ml]\b", drawn)]
    return found


class TestWords:
    def test_a_long_text_is_shortened_where_it_can_be_seen(self) -> None:
        short = shortened("a very long name of some produce", 1.1, 12)
        assert short.endswith("…")
        assert wide_mm(short, 1.1) <= 12
        assert shortened("12", 1.1, 12) == "12"

    def test_texts_never_overlap_the_rest(self) -> None:
        long = SlipText("W" * 28, "M" * 28, "ש" * 10, "Q" * 10)
        light = piece_bitmap(strip(), 10, long).light[:, :, 0]
        written = np.flatnonzero((light[36:48, 20:900] < 0.9).any(axis=0)) + 20
        written = written[written < 750]
        assert written.min() >= 239
        assert written.max() <= 741
        # The row between text and markers stays white.
        assert light[52:57, 240:430].min() > 0.99
