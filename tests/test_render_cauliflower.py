"""Drawn cauliflower: sizes, colours and knobs are what a cutting table would show, and the same seed draws the same picture."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from skimage.color import rgb2lab

from vision.render.broccoli import ProduceLayer
from vision.render.camera import srgb_encode
from vision.render.cauliflower import draw_cauliflower
from vision.render.cauliflower_growth import granulated, grow_piece
from vision.render.cauliflower_laying import lay_pieces

VIEWS = ("top", "opened")
PX_PER_MM = 8.0
HEIGHT_PX, WIDTH_PX = 280, 360


@cache
def layer(seed: int, view: str = "top", *, heated: bool = False, pieces: int | None = None) -> ProduceLayer:
    rng = np.random.default_rng(seed)
    return draw_cauliflower(rng, HEIGHT_PX, WIDTH_PX, PX_PER_MM, view=view, heated=heated, pieces=pieces)


def lab(linear: np.ndarray) -> np.ndarray:
    return rgb2lab(srgb_encode(np.clip(linear, 0.0, 1.0).astype(float)))


@pytest.mark.parametrize("view", VIEWS)
def test_layers_have_the_shapes_and_ranges_they_promise(view: str) -> None:
    drawn = layer(1, view)
    one = (HEIGHT_PX, WIDTH_PX)
    shapes = {"reflectance": (*one, 3), "alpha": one, "ground_shadow": one, "depth_mm": one, "shade": one}
    for name, shape in shapes.items():
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


@pytest.mark.parametrize("view", VIEWS)
def test_same_seed_same_picture_other_seed_another(view: str) -> None:
    first, again, other = layer(3, view), layer.__wrapped__(3, view), layer(2, view)
    assert np.array_equal(first.reflectance, again.reflectance)
    assert np.array_equal(first.bud_places, again.bud_places)
    assert np.abs(first.alpha - other.alpha).mean() > 0.05


def test_unknown_view_is_refused() -> None:
    with pytest.raises(ValueError, match="underside"):
        layer(1, "underside")


def test_no_pieces_leave_the_ground_bare() -> None:
    drawn = layer(1, pieces=0)
    assert drawn.alpha.max() == 0.0
    assert drawn.ground_shadow.min() == pytest.approx(1.0, abs=1e-5)
    assert drawn.bud_places.shape == (0, 3)


@pytest.mark.parametrize("view", VIEWS)
def test_pieces_are_cut_to_size(view: str) -> None:
    # 76 by 38 mm at most, knobs 2 to 6 mm, granules 0.3 to 0.8 mm: common practice, no source.
    for seed in range(5):
        piece = grow_piece(np.random.default_rng(seed), view=view)
        low = (piece.knobs.centre - piece.knobs.radius[:, None]).min(axis=0)
        high = (piece.knobs.centre + piece.knobs.radius[:, None]).max(axis=0)
        length_mm, width_mm = (high - low)[:2]
        assert 12.0 < length_mm <= 76.0
        assert 14.0 < width_mm <= 38.0
        assert piece.knobs.radius.min() >= 1.0
        assert piece.knobs.radius.max() <= 3.0
        granules, knob = granulated(np.random.default_rng(seed), piece.knobs)
        assert granules.radius.min() >= 0.15
        assert granules.radius.max() <= 0.4
        assert set(knob) == set(range(len(piece.knobs)))


def test_pieces_lie_as_far_apart_as_asked_for() -> None:
    laid = lay_pieces(np.random.default_rng(5), (140.0, 110.0), "top", 5, 6.0, 0)
    assert len(laid) == 5
    circles = [piece.discs_mm() for piece in laid]
    for i, a in enumerate(circles):
        for b in circles[i + 1 :]:
            far = np.linalg.norm(a[:, None, :2] - b[None, :, :2], axis=2) - a[:, None, 2] - b[None, :, 2]
            assert far.min() >= 6.0 - 1e-3
    pushed = lay_pieces(np.random.default_rng(5), (140.0, 110.0), "top", 5, 6.0, 2)
    moved = sum(not np.allclose(a.knobs.centre, b.knobs.centre, atol=1e-3) for a, b in zip(laid, pushed, strict=True))
    assert moved == 2


@pytest.mark.parametrize("view", VIEWS)
def test_florets_cover_a_good_part_of_the_picture(view: str) -> None:
    for seed in range(1, 3):
        assert 0.15 < float(layer(seed, view).alpha.mean()) < 0.9


def test_fresh_curd_is_cream_white() -> None:
    # Common practice, no source: a* near 0, b* a little yellow, light.
    for seed in range(3):
        drawn = layer(seed)
        lit = (drawn.alpha > 0.99) & (drawn.shade > 0.7)
        lightness, a, b = np.median(lab(drawn.reflectance[lit]), axis=0)
        assert 75.0 < lightness < 97.0
        assert -4.0 < a < 4.0
        assert 3.0 < b < 24.0


def test_heating_makes_it_darker_and_yellower() -> None:
    light, yellow = [], []
    for heated in (False, True):
        colours = []
        for seed in range(2):
            drawn = layer(seed, heated=heated)
            colours.append(lab(drawn.reflectance[(drawn.alpha > 0.99) & (drawn.shade > 0.7)]))
        values = np.median(np.concatenate(colours), axis=0)
        light.append(values[0])
        yellow.append(values[2])
    assert light[1] < light[0] - 2.0
    assert yellow[1] > yellow[0] + 2.0


def test_stems_are_greener_than_curd() -> None:
    drawn = layer(2, "opened")
    colours = lab(drawn.reflectance[(drawn.alpha > 0.99) & (drawn.shade > 0.6)])
    # Curd and stems are both in the picture: the greenest tenth is clearly greener than the middle of it.
    assert np.percentile(colours[:, 1], 5) < np.median(colours[:, 1]) - 1.0


def test_knobs_and_granules_can_be_seen() -> None:
    rng = np.random.default_rng(4)
    drawn = draw_cauliflower(rng, 400, 400, 16.0, view="top", heated=False, pieces=1, light_direction=(0.0, 0.0))
    solid = cv2.erode((drawn.alpha > 0.99).astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    grey = drawn.reflectance[..., 1] * solid

    def band(fine_mm: float, coarse_mm: float) -> float:
        """Spread of what is between two sizes, relative to the mean."""
        weight = solid.astype(np.float32)
        means = [
            cv2.GaussianBlur(grey, (0, 0), s * 16.0) / np.maximum(cv2.GaussianBlur(weight, (0, 0), s * 16.0), 1e-3)
            for s in (fine_mm, coarse_mm)
        ]
        return float((means[0] - means[1])[solid].std() / grey[solid].mean())

    # Granules 0.3 to 0.8 mm and knobs 2 to 6 mm: a ball d across is strongest between about d / 8 and d / 3.
    assert band(0.05, 0.2) > 0.015
    assert band(0.4, 1.2) > 0.03


def test_knobs_lie_on_what_is_drawn() -> None:
    drawn = layer(2)
    x, y = np.rint(drawn.bud_places[:, :2]).astype(int).T
    assert len(x) > 25
    assert (drawn.alpha[y, x] > 0.5).mean() > 0.99
    assert drawn.bud_places[:, 2].min() >= 2.0
    assert drawn.bud_places[:, 2].max() <= 6.0


def test_shadow_falls_on_the_side_away_from_the_lamp() -> None:
    sides = []
    for to_lamp in ((-0.7, 0.0), (0.7, 0.0)):
        rng = np.random.default_rng(4)
        sides.append(draw_cauliflower(rng, 225, 300, 3.0, view="top", heated=False, pieces=1, light_direction=to_lamp))
    from_left, from_right = sides
    ground = from_left.alpha < 0.01
    middle = np.argwhere(from_left.alpha > 0.5)[:, 1].mean()
    right_of_it = ground & (np.broadcast_to(np.arange(300), ground.shape) > middle)
    assert from_left.ground_shadow[right_of_it].mean() < from_right.ground_shadow[right_of_it].mean()
    assert from_left.ground_shadow[ground].min() < 0.7


@pytest.mark.parametrize("px_per_mm", [8.0, 45.0])
def test_every_scale_can_be_drawn(px_per_mm: float) -> None:
    rng = np.random.default_rng(1)
    drawn = draw_cauliflower(rng, 300, 400, px_per_mm, view="opened", heated=True)
    assert 0.02 < float(drawn.alpha.mean()) <= 1.0
