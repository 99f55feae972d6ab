"""Drawn broccoli: sizes, colours and shadows are what a cutting table would show, and the same seed draws the same picture."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from skimage.color import rgb2lab

from vision.render.broccoli import ProduceLayer, draw_florets
from vision.render.florets_light import light_up
from vision.render.florets_raster import Relief, draw_balls, draw_tubes
from vision.render.florets_tree import grow_floret

VIEWS = ("underside", "opened")
PX_PER_MM = 4.0
HEIGHT_PX, WIDTH_PX = 280, 360


@cache
def layer(seed: int, view: str = "opened", *, heated: bool = False, pieces: int | None = None) -> ProduceLayer:
    rng = np.random.default_rng(seed)
    return draw_florets(rng, HEIGHT_PX, WIDTH_PX, PX_PER_MM, view=view, heated=heated, pieces=pieces)


def bud_colours(drawn: ProduceLayer) -> np.ndarray:
    x, y = np.rint(drawn.bud_places[:, :2]).astype(int).T
    return drawn.reflectance[y, x]


@pytest.mark.parametrize("view", VIEWS)
def test_layers_have_the_shapes_and_ranges_they_promise(view: str) -> None:
    drawn = layer(1, view)
    one = (HEIGHT_PX, WIDTH_PX)
    for name, shape in (
        ("reflectance", (*one, 3)),
        ("alpha", one),
        ("ground_shadow", one),
        ("depth_mm", one),
        ("shade", one),
    ):
        array = getattr(drawn, name)
        assert array.shape == shape, name
        assert array.dtype == np.float32, name
        assert np.isfinite(array).all(), name
        assert array.min() >= 0.0, name
    assert drawn.alpha.max() == pytest.approx(1.0)
    assert drawn.ground_shadow.max() <= 1.0
    assert drawn.shade.max() <= 1.2
    assert drawn.reflectance.max() < 1.5
    assert drawn.bud_places.dtype == np.float32
    assert drawn.bud_places.shape[1] == 3


def test_same_seed_same_picture_other_seed_another() -> None:
    first, again, other = layer(3), layer.__wrapped__(3), layer(2)
    assert np.array_equal(first.reflectance, again.reflectance)
    assert np.array_equal(first.bud_places, again.bud_places)
    assert np.abs(first.alpha - other.alpha).mean() > 0.05


def test_unknown_view_is_refused() -> None:
    with pytest.raises(ValueError, match="sideways"):
        layer(1, "sideways")


def test_no_pieces_leave_the_ground_bare() -> None:
    drawn = layer(1, pieces=0)
    assert drawn.alpha.max() == 0.0
    assert drawn.ground_shadow.min() == pytest.approx(1.0, abs=1e-5)
    assert drawn.bud_places.shape == (0, 3)


@pytest.mark.parametrize("view", VIEWS)
def test_pieces_are_cut_to_size(view: str) -> None:
    # 76 by 38 mm at most: common practice, no source. Buds 1 to 2 mm: from memory.
    for seed in range(6):
        floret = grow_floret(np.random.default_rng(seed), view=view, heated=False)
        length_mm, width_mm = floret.extent_mm()
        assert 25.0 < length_mm <= 76.0
        assert 15.0 < width_mm <= 38.0
        assert floret.buds.diameter.min() >= 1.0
        assert floret.buds.diameter.max() <= 2.0


def test_one_piece_drawn_covers_no_more_than_its_size() -> None:
    rng = np.random.default_rng(3)
    drawn = draw_florets(rng, 420, 480, 3.0, view="underside", heated=False, pieces=1)
    points = np.argwhere(drawn.alpha > 0.5).astype(np.float32)
    sides_mm = sorted(side / 3.0 for side in cv2.minAreaRect(points)[1])
    assert 8.0 < sides_mm[0] <= 39.0  # common practice, no source; 1 mm for the pixels
    assert 8.0 < sides_mm[1] <= 77.0


@pytest.mark.parametrize("view", VIEWS)
def test_florets_cover_a_good_part_of_the_picture(view: str) -> None:
    for seed in range(3):
        share = float(layer(seed, view, heated=seed % 2 == 1 and view == VIEWS[1]).alpha.mean())
        assert 0.2 < share < 0.9


def test_fresh_stems_are_paler_than_buds_and_both_are_green() -> None:
    for seed in range(3):
        drawn = layer(seed, "underside")
        buds = np.median(bud_colours(drawn), axis=0)
        solid = drawn.alpha > 0.99
        bright = drawn.reflectance[solid & (drawn.reflectance[..., 1] > 0.3)]
        assert buds[1] > max(buds[0], buds[2])
        assert 0.04 < buds[1] < 0.3
        assert len(bright) > 0.05 * solid.sum()
        stems = np.median(bright, axis=0)
        assert stems[1] > stems[0] > stems[2]


def test_heating_turns_buds_from_green_towards_brown() -> None:
    red_green, green_share = [], []
    for heated in (False, True):
        colours = np.concatenate([bud_colours(layer(seed, heated=heated)) for seed in range(3)])
        encoded = np.clip(colours, 0, 1)[:, None] ** (1 / 2.2)
        red_green.append(float(rgb2lab(encoded)[..., 1].mean()))
        green_share.append(float((colours[:, 1] / colours.sum(axis=1)).mean()))
    assert red_green[1] > red_green[0] + 2.0
    assert green_share[1] < green_share[0]


def test_buds_lie_on_what_is_drawn() -> None:
    drawn = layer(2)
    x, y = np.rint(drawn.bud_places[:, :2]).astype(int).T
    assert len(x) > 100
    assert (drawn.alpha[y, x] > 0.5).mean() > 0.99
    assert drawn.bud_places[:, 2].min() >= 1.0
    assert drawn.bud_places[:, 2].max() <= 2.0


def test_shadow_falls_on_the_side_away_from_the_lamp() -> None:
    shadows = []
    for to_lamp in ((-0.7, 0.0), (0.7, 0.0)):
        rng = np.random.default_rng(4)
        shadows.append(draw_florets(rng, 225, 300, 3.0, view="opened", heated=False, pieces=1, light_direction=to_lamp))
    from_left, from_right = shadows
    ground = from_left.alpha < 0.01
    middle = np.argwhere(from_left.alpha > 0.5)[:, 1].mean()
    column = np.broadcast_to(np.arange(300), ground.shape)
    right_of_it = ground & (column > middle)
    assert from_left.ground_shadow[right_of_it].mean() < from_right.ground_shadow[right_of_it].mean()
    assert from_left.ground_shadow[ground].min() < 0.6


def test_a_ball_rises_by_its_radius() -> None:
    relief = Relief.empty(81, 81, 10.0)
    centre, still = np.array([[4.0, 4.0, 1.0]], dtype=np.float32), np.zeros((1, 2), dtype=np.float32)
    draw_balls(relief, centre, np.array([2.0], dtype=np.float32), still, np.array([7], dtype=np.int32))
    assert relief.height_mm[40, 40] == pytest.approx(3.0)
    assert relief.height_mm[40, 50] == pytest.approx(1.0 + np.sqrt(3.0), abs=1e-4)  # Pythagoras, 1 mm off the middle
    assert relief.owner[40, 40] == 7
    # Seen from above, a ball covers a circle of its radius.
    assert (relief.owner == 7).sum() / 100.0 == pytest.approx(np.pi * 4.0, rel=0.02)


def test_a_leaning_tube_is_highest_along_its_axis() -> None:
    relief = Relief.empty(101, 201, 10.0)
    start, end = (np.array([[x, 5.0, z]], dtype=np.float32) for x, z in ((4.0, 2.0), (16.0, 8.0)))
    radius, along = np.full((1, 2), 1.5, dtype=np.float32), np.zeros(1, dtype=np.float32)
    draw_tubes(relief, start, end, radius, along, np.zeros((1, 4), dtype=np.float32), np.array([1], dtype=np.int32))
    # Half way the axis is 5 mm up; the upper side lies radius / cos(lean) above it.
    assert relief.height_mm[50, 100] == pytest.approx(5.0 + 1.5 / np.cos(np.arctan2(6.0, 12.0)), abs=1e-3)
    across = np.flatnonzero(relief.owner[:, 100])
    assert len(across) / 10.0 == pytest.approx(3.0, abs=0.2)


def test_open_ground_is_fully_lit() -> None:
    flat = np.zeros((60, 80), dtype=np.float32)
    assert light_up(flat, flat, 10.0, (-0.5, -0.7)).shade == pytest.approx(1.0, abs=1e-5)
