"""Pieces on the tray: their order, which of them a speck lies on, and their numbers on the picture."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_pictures import BELONGING, candidate, inspected, photograph

from calib.reading import Told
from cli.batch.sources import Claims, Photograph
from cli.shot import Settings, score_shot
from vision.annotate import annotate, draw_inspection
from vision.conditions.touching import find_touching
from vision.decode import decode_shot
from vision.foreground import find_surfaces
from vision.marks import look_for, mark
from vision.piece_marks import draw_discs, place_discs
from vision.pieces import PieceMap, on_pieces, tells_pieces, tray_order
from vision.pipeline import see_light
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, tidy
from vision.table import CANDIDATES, SHOTS, candidate_rows
from vision.types import Cut, Inspection, Piece, ScaleFrom, Setup, Shot, Surfaces

PIECE_COLUMN = [column.name for column in CANDIDATES].index("piece")
GRID = st.tuples(st.integers(1, 5), st.integers(1, 6))
"""Rows and columns."""


def turned(places: list[tuple[float, float, float]], degrees: float) -> list[tuple[float, float, float]]:
    a = np.deg2rad(degrees)
    return [(x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a), high) for x, y, high in places]


class TestOrder:
    @given(GRID, st.randoms(use_true_random=False), st.floats(-4, 4), st.floats(0.8, 1.2))
    def test_is_row_by_row_however_they_are_given_and_slightly_turned(
        self, grid: tuple[int, int], random: object, degrees: float, tall: float
    ) -> None:
        rows, columns = grid
        shake = random.uniform  # type: ignore[attr-defined]
        places = [
            (150.0 * c + shake(-15, 15), 160.0 * r + shake(-15, 15), 100 * shake(0.85, 1.15) * tall)
            for r in range(rows)
            for c in range(columns)
        ]
        order = list(range(len(places)))
        random.shuffle(order)  # type: ignore[attr-defined]
        found = tray_order([turned(places, degrees)[k] for k in order])
        assert [order[k] for k in found] == list(range(len(places)))

    @given(
        st.lists(
            st.tuples(st.integers(0, 400), st.integers(0, 400), st.integers(1, 200)),
            min_size=1,
            max_size=12,
            unique=True,
        ),
        st.randoms(use_true_random=False),
    )
    def test_of_anything_names_each_once_whatever_came_first(
        self, places: list[tuple[float, float, float]], random: object
    ) -> None:
        order = tray_order(places)
        assert sorted(order) == list(range(len(places)))
        shuffled = list(places)
        random.shuffle(shuffled)  # type: ignore[attr-defined]
        assert [shuffled[k] for k in tray_order(shuffled)] == [places[k] for k in order]

    def test_a_row_with_a_gap_stays_one(self) -> None:
        assert tray_order([(900, 40, 100), (0, 0, 100), (0, 160, 100), (900, 200, 100)]) == [1, 0, 2, 3]


def pieces_on(*discs: tuple[int, int, int], step: int = 1) -> PieceMap:
    """What is found where round pieces lie, each given by middle and radius."""
    produce = np.zeros((600, 800), np.uint8)
    for x, y, radius in discs:
        cv2.circle(produce, (x, y), radius, 1, -1)
    seen = produce.astype(bool)
    return find_touching(Surfaces(~seen, seen, np.zeros_like(seen)), step, None, 10.0 / step).where


class TestWhichPiece:
    @pytest.mark.parametrize(
        ("x", "y", "number"),
        [(200, 300, 1), (600, 300, 2), (200, 393, 1), (200, 415, 1), (200, 440, 0), (400, 300, 0), (690, 240, 2)],
    )
    def test_is_the_one_it_lies_on_or_hard_by(self, x: float, y: float, number: int) -> None:
        where = pieces_on((200, 300, 100), (600, 310, 100))
        (found,) = on_pieces([candidate(1, "round", x, y, 8.0)], where, 10.0)
        assert found.piece == number

    def test_of_two_the_nearest(self) -> None:
        where = pieces_on((200, 300, 100), (424, 300, 100))
        found = on_pieces([candidate(1, "round", x, 300, 4.0) for x in (308.0, 316.0)], where, 10.0)
        assert [each.piece for each in found] == [1, 2]

    def test_a_body_that_hangs_over_is_counted_to_it(self) -> None:
        where = pieces_on((200, 300, 100), (600, 310, 100))
        (found,) = on_pieces([candidate(1, "linear", 340, 300, 80.0)], where, 10.0)
        assert found.piece == 1

    def test_without_pieces_there_is_none(self) -> None:
        (found,) = on_pieces([candidate(1, "round", 5, 5, 8.0)], pieces_on(), 10.0)
        assert found.piece == 0

    @settings(max_examples=25, deadline=None)
    @given(
        st.lists(st.tuples(st.integers(-50, 850), st.integers(-50, 650)), min_size=1, max_size=5),
        st.none() | st.just(10.0),
    )
    def test_wherever_a_speck_lies_it_is_one_of_them_or_none(
        self, at: list[tuple[int, int]], px_per_mm: float | None
    ) -> None:
        where = pieces_on((200, 200, 90), (500, 220, 90), (300, 460, 90))
        specks = [candidate(n, "round", float(x), float(y), 9.0) for n, (x, y) in enumerate(at, 1)]
        for (x, y), found in zip(at, on_pieces(specks, where, px_per_mm), strict=True):
            discs = ((1, 200, 200), (2, 500, 220), (3, 300, 460))
            inside = [number for number, px, py in discs if np.hypot(x - px, y - py) < 84]
            assert found.piece in (inside or [0, 1, 2, 3])

    def test_crumbs_are_none_and_small_ones_count_with_a_scale(self) -> None:
        assert len(pieces_on((200, 300, 100), (600, 300, 4)).pieces) == 1
        assert len(pieces_on((200, 300, 100), (600, 300, 30)).pieces) == 2


def with_pieces(*boxes: tuple[int, int, int, int], by_piece: bool = True) -> tuple[Shot, Inspection]:
    """A picture of 1000 x 700 with pieces of these boxes and a few flags."""
    specks = tuple(candidate(n, "round", 130.0 * n, 300.0, 14.0) for n in range(1, 7))
    shot, seen = inspected(photograph(700, 1000), specks)
    found = tuple(Piece(n, left + w / 2, top + h / 2, left, top, w, h) for n, (left, top, w, h) in enumerate(boxes, 1))
    return shot, replace(seen, pieces=found, by_piece=by_piece)


BOXES = ((100, 100, 200, 200), (400, 120, 200, 200), (0, 500, 300, 200), (930, 0, 70, 700))


class TestOnThePicture:
    def test_discs_stand_beside_their_pieces_on_nothing_else(self) -> None:
        shot, seen = with_pieces(*BOXES)
        look = look_for(1000, 700)
        drawn = shot.pixels.astype(np.uint8).copy()
        labels = draw_inspection(drawn, seen, 1.0, look)
        marks = [mark(each, 1.0, look) for each in seen.candidates]
        discs = place_discs(seen.pieces, marks, labels, (1000, 700), 1.0, look)
        assert [disc.number for disc in discs] == [1, 2, 3, 4]
        before = drawn.copy()
        draw_discs(drawn, discs, look)
        changed = (drawn != before).any(axis=2)
        for disc, (left, top, wide, high) in zip(discs, BOXES, strict=True):
            near = 2 * disc.radius
            assert left - near <= disc.x <= left + wide + near
            assert top - near <= disc.y <= top + high + near
            assert min(disc.x, disc.y, 999 - disc.x, 699 - disc.y) >= disc.radius - 1
            changed[
                disc.y - disc.radius : disc.y + disc.radius + 1, disc.x - disc.radius : disc.x + disc.radius + 1
            ] = False
        assert not changed.any()
        for one in marks:
            assert all(np.hypot(*(one.line - [disc.x, disc.y]).T).min() > disc.radius for disc in discs)
        for label in labels:
            for disc in discs:
                aside = max(
                    label.left - disc.x,
                    disc.x - label.left - label.wide,
                    label.top - disc.y,
                    disc.y - label.top - label.high,
                )
                assert aside >= disc.radius - 1
        # White on dark within white: 15 to 1 and more, whatever the eye makes of colours (contrast of WCAG 2.1 for #111 on #fff: 18.9).
        inside = drawn[discs[0].y - 5 : discs[0].y + 6, discs[0].x - 5 : discs[0].x + 6]
        assert inside.min() < 30
        assert inside.max() > 220

    def test_only_where_pieces_are_told_apart(self) -> None:
        shot, seen = with_pieces(*BOXES, by_piece=False)
        plain = replace(seen, pieces=())
        assert np.array_equal(annotate(shot, seen), annotate(shot, plain))
        assert not np.array_equal(annotate(shot, replace(seen, by_piece=True))[:700], annotate(shot, plain)[:700])

    def test_also_without_a_flag_and_where_there_is_no_room(self) -> None:
        shot, seen = with_pieces(*BOXES)
        assert (annotate(shot, replace(seen, candidates=()))[:700] != shot.pixels).any()
        assert place_discs(seen.pieces, [], [], (20, 14), 0.02, look_for(640, 480)) == []

    @given(st.integers(60, 140), st.integers(200, 400), st.integers(200, 500))
    def test_a_disc_points_at_its_piece(self, radius: int, x: int, y: int) -> None:
        (piece,) = pieces_on((x, y, radius)).pieces
        (disc,) = place_discs((piece,), [], [], (1000, 700), 1.0, look_for(1000, 700))
        assert np.hypot(disc.x - x, disc.y - y) > radius, "beside it"
        assert disc.tip is not None
        # The outline is coarse: two cells of a picture of 320 cells, as far as the line goes into the piece.
        assert radius - disc.radius / 2 - 7 < np.hypot(disc.tip[0] - x, disc.tip[1] - y) < radius + 7

    def test_a_disc_on_its_piece_needs_no_line(self) -> None:
        (piece,) = pieces_on((400, 300, 800)).pieces
        (disc,) = place_discs((piece,), [], [], (800, 600), 1.0, look_for(800, 600))
        assert disc.tip is None


class TestTable:
    def test_the_number_stands_where_no_piece_is_named(self) -> None:
        _, seen = with_pieces(*BOXES)
        seen = replace(seen, candidates=tuple(replace(c, piece=k % 3) for k, c in enumerate(seen.candidates)))
        cells = [row[PIECE_COLUMN] for row in candidate_rows(BELONGING, seen)]
        assert cells == ["", "1", "2", "", "1", "2"]
        named = candidate_rows(replace(BELONGING, piece="Q3"), seen)
        assert {row[PIECE_COLUMN] for row in named} == {"Q3"}
        assert {row[PIECE_COLUMN] for row in candidate_rows(BELONGING, replace(seen, by_piece=False))} == {""}

    @pytest.mark.parametrize(
        ("view", "named", "boxes", "told"),
        [
            ("underside", False, 2, True),
            ("", False, 2, True),
            ("water", False, 2, False),
            ("blank", False, 2, False),
            ("card", False, 2, False),
            ("underside", True, 2, False),
            ("underside", False, 1, False),
        ],
    )
    def test_on_views_of_pieces_that_show_several(self, view: str, named: bool, boxes: int, told: bool) -> None:
        _, seen = with_pieces(*BOXES[:boxes])
        assert tells_pieces(seen, view, named) is told


@lru_cache(maxsize=8)
def florets_jpeg(number: int, px_per_mm: float, width_px: int = 1200) -> bytes:
    """Drawn pieces of which it is known how many there are, some 10 mm apart, as a file."""
    recipe: Recipe = replace(
        tidy("broccoli", 2202, width_px=width_px, height_px=width_px * 3 // 4, px_per_mm=px_per_mm),
        vessel_edge="none", insects=(("aphid", 2),), clutter=0.2, view="underside", heated=False, apart_mm=8.0, exposure=0.9, pieces=number,
    )  # fmt: skip
    return draw(recipe).jpeg


def florets(number: int, px_per_mm: float) -> Shot:
    return decode_shot(florets_jpeg(number, px_per_mm), "a.jpg")


def laid(number: int, px_per_mm: float) -> PieceMap:
    """The pieces that are found in a drawn shot."""
    light = see_light(florets(number, px_per_mm), Setup(px_per_mm=px_per_mm, scale_from=ScaleFrom.OPTION))
    scale = px_per_mm / light.step
    return find_touching(find_surfaces(light.density, None, scale), light.step, None, scale).where


@pytest.mark.parametrize("number", [1, 3, 6])
def test_drawn_florets_are_as_many_as_were_laid(number: int) -> None:
    assert len(laid(number, 6.0 if number == 6 else 8.0).pieces) == number


def test_they_are_the_same_at_any_number_of_threads() -> None:
    found = []
    for threads in (1, 2):
        cv2.setNumThreads(threads)
        where = laid(3, 8.0)
        found.append((where.pieces, where.numbers.tobytes()))
    cv2.setNumThreads(-1)
    assert found[0] == found[1]


def test_a_shot_scored_whole_has_them_in_rows_and_facts() -> None:
    data = florets_jpeg(2, 5.0, 560)
    settings = Settings("r0123456789ab", shipped_ranker(), Cut(min_score=0.001), Told(px_per_mm=5.0))
    claims = Claims({"view": "underside", "produce": "Broccoli", "checker": "Ada"}, {"lot": "Q-12"})
    photograph = Photograph("a.jpg", "0" * 64, data, claims)
    outcome = score_shot(photograph, settings)
    shots = dict(zip([column.name for column in SHOTS], outcome.shot_row, strict=True))
    assert (shots["lot"], shots["view"], shots["piece"]) == ("Q-12", "underside", "")
    # The view has set the light, and the produce the guide, as a slip's would have.
    assert (shots["lit_from"], shots["produce"]) == ("above", "broccoli")
    assert outcome.facts == {"produce": "Broccoli", "checker": "Ada", "pieces_seen": "2"}
    assert {row[PIECE_COLUMN] for row in outcome.candidate_rows} <= {"", "1", "2"}
    assert any(row[PIECE_COLUMN] for row in outcome.candidate_rows)
    failed = score_shot(replace(photograph, data=b"no picture"), settings)
    assert failed.facts == {"produce": "Broccoli", "checker": "Ada"}
    assert failed.error
