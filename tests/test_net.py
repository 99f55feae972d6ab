"""The network that looks at pictures of places: its arithmetic against SciPy, its pictures, its file, and that it can learn."""

import base64

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate

from vision.foreground import find_surfaces
from vision.glance import PATCH
from vision.looks import Looks, Views, views_of
from vision.net import (
    OF_BODIES,
    OF_PLACES,
    Design,
    Net,
    colours,
    densities,
    document_of_net,
    forward,
    net_of,
    numbers_beside,
    shapes,
)  # fmt: skip
from vision.patches import SIDE, TURNED_SIDE, Bodies, halvings, patches_at, turned_at
from vision.pipeline import see_light
from vision.rank import shipped_ranker
from vision.render import draw, tidy
from vision.specks import Search, glanced, search_places
from vision.train_net import Examples, learn_net
from vision.types import Light, Setup, Shot


def weights(seed: int, design: Design = OF_PLACES) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {name: rng.normal(0, 0.2, shape).astype(np.float32) for name, shape in shapes(design).items()}


DESIGNS = {
    OF_PLACES: (("near", "far"), ((5, 2), (3, 1), (3, 2), (3, 1))),
    OF_BODIES: (("body",), ((5, 2), (3, 1), (3, 2), (3, 2))),
}
"""Towers, and size and stride of their convolutions, written out a second time."""


def by_scipy(design: Design, w: dict[str, np.ndarray], pictures: np.ndarray, beside: np.ndarray) -> float:
    """The same network written out with scipy.signal.correlate, one picture, one channel in and one out at a time."""
    joined = []
    towers, convolutions = DESIGNS[design]
    for tower, seen in zip(towers, pictures.astype(np.float64), strict=True):
        for k, (size, stride) in enumerate(convolutions):
            into = seen.shape[2]
            kernel = w[f"{tower}_{k}"].reshape(size, size, into, -1)
            planes = [
                sum(correlate(seen[..., c], kernel[:, :, c, o], mode="same") for c in range(into))
                for o in range(kernel.shape[3])
            ]
            seen = np.maximum(np.stack(planes, axis=-1)[::stride, ::stride] + w[f"{tower}_{k}_bias"], 0)
        joined.append(np.maximum(seen.ravel() @ w[f"{tower}_seen"] + w[f"{tower}_seen_bias"], 0))
    together = np.concatenate([*joined, beside])
    return float((np.maximum(together @ w["joined"] + w["joined_bias"], 0) @ w["odds"] + w["odds_bias"])[0])


@pytest.mark.parametrize("design", DESIGNS)
@pytest.mark.parametrize("seed", [1, 2])
def test_the_network_is_convolutions_as_scipy_has_them(design: Design, seed: int) -> None:
    rng = np.random.default_rng(seed)
    side, w, beside = design.side, weights(seed, design), rng.normal(0, 1, (2, 8))
    pictures = rng.normal(0, 1, (2, len(design.towers), side, side, 3))
    ours = forward(w, pictures.astype(np.float32), beside.astype(np.float32), design=design)
    for k in range(2):
        assert ours[k] == pytest.approx(by_scipy(design, w, pictures[k], beside[k]), rel=1e-3, abs=1e-3)


def disk(radius_px: float, side_px: int = 400, grey: int = 60) -> np.ndarray:
    """A dark disk in the middle of a light field."""
    y, x = np.mgrid[:side_px, :side_px] - (side_px - 1) / 2
    inside = np.clip(radius_px - np.hypot(x, y) + 0.5, 0, 1)[..., None]
    return np.rint(200 + (grey - 200) * inside * np.ones(3)).astype(np.uint8)


def middle(side_px: int = 400) -> np.ndarray:
    return np.array([(side_px - 1) / 2])


@pytest.mark.parametrize("radius_px", [12.0, 20.0, 50.0])
def test_a_body_twice_as_large_is_the_same_picture(radius_px: float) -> None:
    size, reference = 2 * radius_px * 0.38, disk(6.0)
    seen = patches_at(halvings(disk(radius_px)), middle(), middle(), np.array([size]))
    same = patches_at(halvings(reference), middle(), middle(), np.array([12 * 0.38]))
    assert seen.shape == (1, 2, SIDE, SIDE, 3)
    assert np.abs(seen.astype(int) - same).mean() < 6  # of 255: edges are blurred differently
    # About six samples across in the near picture and two in the far one.
    dark = (seen[0, ..., 0] < 130).sum(axis=(1, 2))
    assert np.sqrt(4 * dark / np.pi) == pytest.approx((1 / 0.38 / 0.45, 1 / 0.38 / 1.35), rel=0.2)


def bar(length_px: float, width_px: float, angle_deg: float, middle_px: tuple[float, float]) -> np.ndarray:
    """A dark bar with a paler head at its right-hand end, drawn by OpenCV at sixteen times the size."""
    many = 16
    picture = np.full((200 * many, 200 * many, 3), 200, np.uint8)
    turn = np.deg2rad(angle_deg)
    for share, long, grey in ((0.0, 1.0, 60), (0.4, 0.2, 120)):
        along = share * length_px
        at = (middle_px[0] + along * np.cos(turn) + 0.5, middle_px[1] + along * np.sin(turn) + 0.5)
        corners = cv2.boxPoints(((at[0] * many, at[1] * many), (long * length_px * many, width_px * many), angle_deg))
        cv2.fillPoly(picture, [np.rint(corners).astype(np.int32)], (grey, grey, grey))
    return cv2.resize(picture, (200, 200), interpolation=cv2.INTER_AREA)


def turned(length_px: float, width_px: float, angle_deg: float, x_px: float = 100.0, y_px: float = 100.0) -> np.ndarray:
    picture = halvings(bar(length_px, width_px, angle_deg, (x_px, y_px)))
    at = (np.array([v]) for v in (y_px, x_px, length_px, width_px, angle_deg))
    return turned_at(picture, Bodies(*at))[0, 0, ..., 0]


@pytest.mark.parametrize("angle_deg", [-80.0, -45.0, 0.0, 20.0, 63.0, 90.0])
@pytest.mark.parametrize("length_px", [24.0, 48.0])
def test_a_body_lies_along_its_picture_however_it_lies_in_the_shot(angle_deg: float, length_px: float) -> None:
    seen = turned(length_px, length_px / 3, angle_deg)
    assert seen.shape == (TURNED_SIDE, TURNED_SIDE)
    same = turned(24.0, 8.0, 0.0)
    assert np.abs(seen.astype(int) - same).mean() < 4  # of 255: edges are blurred differently
    # A third as wide as long, and as long as the picture is across, by 2.2.
    dark = seen < 160
    assert dark.any(axis=0).sum() == pytest.approx(TURNED_SIDE / 2.2, abs=2)
    assert dark.any(axis=1).sum() == pytest.approx(TURNED_SIDE / 6.6, abs=2)
    # Its head is at the right.
    middle_row = seen[TURNED_SIDE // 2]
    assert middle_row[27] > middle_row[13] + 30


def test_a_picture_along_a_body_goes_no_nearer_than_pixels_show() -> None:
    seen = turned(2.0, 1.0, 0.0)
    # Five pixels count as a length, so that two are a fifth of 2.2 lengths across.
    assert (seen < seen.max() - 20).any(axis=0).sum() <= 2 / (5 * 2.2) * TURNED_SIDE * 2


def test_a_picture_along_a_body_at_the_border_repeats_it() -> None:
    picture = np.full((40, 50, 3), 90, np.uint8)
    at = (np.array([v]) for v in (0.0, 49.0, 30.0, 8.0, 35.0))
    assert (turned_at(halvings(picture), Bodies(*at)) == 90).all()


def test_no_bodies_no_pictures() -> None:
    none = Bodies(*(np.zeros(0) for _ in range(5)))
    picture = halvings(np.full((40, 50, 3), 90, np.uint8))
    assert turned_at(picture, none).shape == (0, 1, TURNED_SIDE, TURNED_SIDE, 3)
    views = Views(picture, np.zeros((2, 2, 3), np.float32), None)
    assert Looks(Net(weights(1)), views, (Net(weights(2, OF_BODIES), OF_BODIES),)).along(none).shape == (0,)


def test_several_networks_say_their_mean_and_none_says_nothing() -> None:
    shot = bar(30.0, 10.0, 20.0, (100.0, 100.0))
    views = Views(halvings(shot), np.zeros((2, 2, 3), np.float32), 20.0)
    nets = [Net(weights(seed, OF_BODIES), OF_BODIES) for seed in (1, 2)]
    body = Bodies(*(np.array([v]) for v in (100.0, 100.0, 30.0, 10.0, 20.0)))
    each = [Looks(nets[0], views, (net,)).along(body)[0] for net in nets]
    assert Looks(nets[0], views, tuple(nets)).along(body)[0] == pytest.approx(np.mean(each), abs=1e-4)
    assert np.isnan(Looks(nets[0], views).along(body)).all()


def test_what_lies_outside_the_shot_repeats_its_border() -> None:
    picture = np.full((40, 50, 3), 90, np.uint8)
    picture[:, :5] = 20
    seen = patches_at(halvings(picture), np.array([20.0]), np.array([0.0]), np.array([3.0]))
    assert set(np.unique(seen[0, 0, :, :10])) == {20}


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 70), st.integers(1, 70), st.floats(0.3, 200), st.integers(0, 5))
def test_any_place_of_any_picture_has_patches(high: int, wide: int, sigma_px: float, many: int) -> None:
    picture = np.full((high, wide, 3), 123, np.uint8)
    at = np.linspace(0, min(high, wide) - 1, many)
    seen = patches_at(halvings(picture), at, at, np.full(many, sigma_px))
    assert seen.shape == (many, 2, SIDE, SIDE, 3)
    assert (seen == 123).all()


def test_sixteen_bits_are_seen_as_eight() -> None:
    picture = disk(8.0, 60)
    assert (halvings(picture.astype(np.uint16) * 257)[0] == picture).all()


def test_faint_differences_are_straight_and_strong_ones_logarithmic() -> None:
    grey = np.array([0.003, 0.006, 1.0, 2.0])[:, None] * np.ones(3)
    light, red, blue = colours(grey).T
    assert light[1] / light[0] == pytest.approx(2, rel=0.02)
    # The inverse hyperbolic sine of a large x is the logarithm of 2 x.
    assert light[3] - light[2] == pytest.approx(0.4 * np.log(2), rel=0.01)
    assert (red == 0).all()
    assert (blue == 0).all()


def test_density_of_a_patch_is_that_of_the_light() -> None:
    """Half the light is a density of 0.301 (Beer and Lambert); encoded 188 is half of full scale (IEC 61966-2-1)."""
    patches = np.full((1, 2, SIDE, SIDE, 3), 255, np.uint8)
    patches[0, 0, 12, 12] = 188
    difference, against = densities(patches, np.zeros((1, 3), np.float32))
    assert difference[0, 0, 12, 12] == pytest.approx([0.301] * 3, abs=0.005)
    assert against[0] == pytest.approx([0, 0, 0], abs=1e-6)


def test_an_unknown_scale_is_said_to_be_unknown() -> None:
    beside = numbers_beside(np.zeros((2, 3), np.float32), np.array([4.0, 4.0]), np.array([0.5, np.nan]))
    assert np.isfinite(beside).all()
    assert beside[:, 6:].tolist() == [[-0.5, 1.0], [0.0, 0.0]]


@pytest.mark.parametrize("design", DESIGNS)
def test_a_network_is_read_back_as_written(design: Design) -> None:
    w = weights(3, design)
    back = net_of(document_of_net(w, design), design)
    assert back.design == design
    assert all((back.weights[name] == w[name].astype(np.float16)).all() for name in shapes(design))


def test_a_network_of_another_design_is_refused() -> None:
    with pytest.raises((KeyError, ValueError)):
        net_of(document_of_net(weights(1)), OF_BODIES)


@pytest.mark.parametrize(
    "bad", [None, 7, "not base 64!", "", base64.b64encode(np.full(96, np.nan, "<f2").tobytes()).decode()]
)
def test_a_damaged_network_is_refused(bad: object) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        net_of({**document_of_net(weights(1)), "joined_bias": bad})


def test_no_places_no_odds() -> None:
    empty = np.zeros((0, 2, SIDE, SIDE, 3), np.uint8)
    assert Net(weights(1)).raw(empty, np.zeros((0, 3)), np.zeros(0), np.zeros(0)).shape == (0,)


@pytest.mark.long
def test_it_learns_to_tell_disks_from_bars() -> None:
    """Disks and bars of one area and one density, at all places and in all directions, on noise: only a form can tell them."""
    rng = np.random.default_rng(5)
    patches, disks = [], rng.random(1000) < 0.5
    for is_disk in disks:
        picture = np.full((64, 64), 200.0, np.float32)
        at = tuple(int(v) for v in rng.integers(29, 35, 2))
        axes = (6, 6) if is_disk else (18, 2)
        cv2.ellipse(picture, at, axes, float(rng.uniform(0, 180)), 0, 360, 90.0, -1)
        noisy = np.clip(picture + rng.normal(0, 3, picture.shape), 0, 255).astype(np.uint8)
        patches.append(
            patches_at(halvings(cv2.merge([noisy] * 3)), np.array([32.0]), np.array([32.0]), np.array([4.0]))
        )
    many = len(disks)
    every = Examples(
        np.concatenate(patches), np.zeros((many, 3), np.float32), np.full(many, 4, np.float32), np.full(many, 0.2, np.float32),
        disks.astype(np.float32), np.ones(many, np.float32),
    )  # fmt: skip
    taught, asked = (
        Examples(*(getattr(every, name)[part] for name in Examples.__dataclass_fields__))
        for part in (slice(0, 700), slice(700, None))
    )
    said = asked.seen(learn_net(taught, rounds=24, seed=1, tell=lambda _: None))
    assert ((said > 0) == (asked.insect == 1)).mean() > 0.9


def _searched(px_per_mm: float) -> tuple[Search, Looks, Light]:
    """Places of a drawn shot of rinse water, and what there is to look at it with."""
    drawn = draw(tidy("water", 77, width_px=600, height_px=450, px_per_mm=px_per_mm))
    shot = Shot(drawn.pixels, "0" * 64, "w")
    light = see_light(shot, Setup(px_per_mm=px_per_mm))
    scale = px_per_mm / light.step
    search = search_places(light, find_surfaces(light.density, None, scale), scale, shot.pixels)
    assert search is not None
    return search, Looks(shipped_ranker().net, views_of(shot, light, px_per_mm)), light


def test_what_the_network_says_goes_beside_the_numbers_of_the_likelier_places(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vision.specks._MOST_PATCHES", 5)
    search, looks, light = _searched(20.0)
    alone = np.round(shipped_ranker().glance.raw(search.glances)[:, 0], 6)
    shown, likely = glanced(search, shipped_ranker().glance, looks, light.step)
    asked = np.isfinite(shown.glances[:, PATCH])
    assert len(alone) > 5
    assert asked.sum() == 5
    assert alone[asked].min() >= alone[~asked].max()
    assert (likely[~asked] == alone[~asked]).all()
    assert np.isnan(search.glances[:, PATCH]).all()
    unseen, numbers = glanced(search, shipped_ranker().glance, None, light.step)
    assert unseen is search
    assert (numbers == alone).all()


def test_a_place_of_a_coarser_search_is_looked_at_where_it_lies_in_the_shot() -> None:
    search, looks, light = _searched(40.0)
    assert light.step > 1
    spots = search.in_shot(np.arange(1), light.step)
    assert spots.row_px[0] == search.places.row[0] * light.step + (light.step - 1) / 2
    patches, level, sigma_px, sigma_mm = looks.views.of(spots)
    assert patches.shape == (1, 2, SIDE, SIDE, 3)
    assert level.shape == (1, 3)
    assert sigma_mm[0] == pytest.approx(sigma_px[0] / 40.0)
