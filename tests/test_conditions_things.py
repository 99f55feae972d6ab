"""Pieces that touch, drops, bubbles, depth and the tray's wall: each on plain shots drawn here, with their good counterparts."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from vision.conditions.bubbles import find_bubbles
from vision.conditions.depth import Depth, find_depth
from vision.conditions.drops import find_drops
from vision.conditions.rings import Rings, find_rings
from vision.conditions.touching import find_touching, pieces
from vision.conditions.wall import Wall, find_wall, where_in_words
from vision.foreground import find_surfaces
from vision.light import encode_srgb
from vision.pieces import tray_order
from vision.pipeline import observe, see_light
from vision.rank import shipped_ranker
from vision.render import draw, tidy
from vision.render.florets_laying import lay_out
from vision.types import Ground, Light, LitFrom, Setup, Sharpness, Shot, Surfaces

H, W = 600, 800
PX_PER_MM = 15.0
Canvas = NDArray[np.float64]


def bare(level: float = 0.6) -> Canvas:
    """A panel, a little brighter to the right."""
    return np.full((H, W, 3), level) * np.linspace(0.93, 1.07, W)[None, :, None]


def shot(light: Canvas, seed: int = 1) -> Shot:
    """The drawn light as a camera would give it: soft by 0.8 px, with 1 % noise."""
    soft = cv2.GaussianBlur(light, (0, 0), 0.8)
    soft *= 1 + np.random.default_rng(seed).normal(0, 0.01, light.shape)
    return Shot(np.rint(encode_srgb(np.clip(soft, 0, 1)) * 255).astype(np.uint8), "0" * 64, "drawn")


def seen(light: Canvas, ground: Ground | None, px_per_mm: float | None = PX_PER_MM) -> tuple[Light, Surfaces]:
    view = see_light(shot(light), Setup(px_per_mm=px_per_mm))
    return view, find_surfaces(view.density, ground, None if px_per_mm is None else px_per_mm / view.step)


def on(masks: list[NDArray[np.uint8]]) -> Surfaces:
    produce = np.any(masks, axis=0)
    return Surfaces(~produce, produce, np.zeros_like(produce))


def disc(x: float, y: float, radius: float) -> NDArray[np.uint8]:
    return np.asarray(cv2.circle(np.zeros((H, W), np.uint8), (round(x), round(y)), round(radius), 1, -1), np.uint8)


def floret() -> NDArray[np.uint8]:
    """A stalk that branches into three heads which all but meet."""
    mask = np.zeros((H, W), np.uint8)
    cv2.rectangle(mask, (380, 300), (420, 540), 1, -1)
    for x, y in ((287, 200), (400, 147), (513, 200)):
        cv2.circle(mask, (x, y), 62, 1, -1)
        cv2.line(mask, (400, 347), (x, y), 1, 33)
    return mask


def crown() -> NDArray[np.uint8]:
    """A wide head on a stalk."""
    mask = disc(400, 200, 110)
    return np.asarray(cv2.rectangle(mask, (365, 280), (435, 520), 1, -1), np.uint8)


def halved() -> NDArray[np.uint8]:
    """A head cut in half, heart-shaped, with a notch where the stalk was."""
    mask = np.asarray(cv2.ellipse(np.zeros((H, W), np.uint8), (400, 300), (200, 150), 0, 180, 360, 1, -1), np.uint8)
    return np.asarray(cv2.circle(mask, (400, 310), 40, 0, -1), np.uint8)


# --- pieces that touch


@pytest.mark.parametrize("overlap", [0.0, 0.1, 0.2])
def test_two_discs_that_meet_are_two_pieces_that_touch(overlap: float) -> None:
    apart = 200 * (1 - overlap) - 1
    found = find_touching(on([disc(250, 300, 100), disc(250 + apart, 310, 100)]), step=2)
    assert [(c.first, c.second) for c in found.contacts] == [(1, 2)]
    assert found.contacts[0].x_px == pytest.approx(2 * (250 + apart / 2), abs=12)
    assert found.severity == 1.0


def test_pieces_are_numbered_row_by_row() -> None:
    places = [(600, 130), (150, 100), (400, 120), (500, 420), (200, 440)]
    found = find_touching(on([disc(x, y, 70) for x, y in places]), step=1)
    assert not found.contacts
    assert [(round(p.x_px, -1), round(p.y_px, -1)) for p in found.pieces] == [
        (150, 100), (400, 120), (600, 130), (200, 440), (500, 420),
    ]  # fmt: skip
    assert [p.number for p in pieces(on([disc(x, y, 70) for x, y in places]), 1)] == [1, 2, 3, 4, 5]
    box = found.pieces[0]
    assert (box.left_px, box.top_px, box.wide_px, box.high_px) == pytest.approx((80, 30, 141, 141), abs=5)


def test_pieces_2_and_3_touch() -> None:
    found = find_touching(on([disc(100, 100, 80), disc(400, 110, 80), disc(555, 120, 80), disc(300, 450, 80)]), step=1)
    assert [(c.first, c.second) for c in found.contacts] == [(2, 3)]
    assert found.severity == pytest.approx(0.5)


@pytest.mark.parametrize("draw_piece", [floret, crown, halved])
def test_one_piece_with_branches_is_one(draw_piece) -> None:  # type: ignore[no-untyped-def]
    found = find_touching(on([draw_piece()]), step=1)
    assert len(found.pieces) == 1
    assert not found.contacts


@given(st.floats(60, 200), st.floats(0.3, 1.0), st.floats(0, 180), st.integers(0, W), st.integers(0, H))
@settings(max_examples=15, deadline=None)
def test_one_leaf_is_one_piece_wherever_it_lies(length: float, slim: float, turn: float, x: int, y: int) -> None:
    mask = np.zeros((H, W), np.uint8)
    cv2.ellipse(mask, (x, y), (round(length), max(20, round(length * slim))), turn, 0, 360, 1, -1)
    found = find_touching(on([mask]), step=1)
    assert len(found.pieces) <= 1
    assert not found.contacts


def test_no_pieces_are_laid_in_water_and_none_without_produce() -> None:
    two = on([disc(250, 300, 100), disc(449, 300, 100)])
    assert not find_touching(two, 1, Ground.WATER).pieces
    assert not find_touching(on([np.zeros((H, W), np.uint8)]), 1).pieces
    assert not find_touching(on([np.ones((H, W), np.uint8)]), 1).contacts


def test_reading_order_of_nothing_and_of_a_slanting_row() -> None:
    assert tray_order([]) == []
    assert tray_order([(300, 20, 100), (200, 10, 100), (100, 0, 100)]) == [2, 1, 0]


def test_leaves_on_a_panel_from_below() -> None:
    passes = np.array((0.25, 0.45, 0.12))
    for gap, contacts in ((-10, 1), (60, 0)):
        light = bare()
        for x in (220, 220 + 320 + gap):
            leaf = np.asarray(cv2.ellipse(np.zeros((H, W), np.uint8), (x, 300), (160, 80), 0, 0, 360, 1, -1))
            light *= np.where(leaf[..., None] > 0, passes, 1)
        view, surfaces = seen(light, Ground.PANEL)
        assert len(find_touching(surfaces, view.step).contacts) == contacts


def test_florets_are_laid_apart_and_pushed_together() -> None:
    def least_gap(apart: float | None, touching: int) -> float:
        laid = lay_out(np.random.default_rng(3), 130, 100, 4, "underside", False, apart, touching)
        spots = [(f.clusters.centre[:, :2], f.clusters.radius) for f in laid]
        return min(
            float((np.linalg.norm(a[:, None] - b[None], axis=2) - ra[:, None] - rb[None]).min())
            for i, (a, ra) in enumerate(spots)
            for b, rb in spots[i + 1 :]
        )

    assert least_gap(8.0, 0) > 5
    assert least_gap(8.0, 1) < 5


# --- drops and bubbles


def with_rings(count: int, radii: tuple[int, int], inside: float, seed: int = 2, rafts: bool = False) -> Canvas:
    """Bright circles with a dark rim, apart from each other, or touching in rafts."""
    rng = np.random.default_rng(seed)
    light, laid = bare(), list[tuple[int, int, int]]()
    for _ in range(20_000):
        if len(laid) == count:
            break
        r = int(rng.integers(*radii))
        x, y = int(rng.integers(r, W - r)), int(rng.integers(r, H - r))
        if rafts and laid and rng.random() < 0.9:
            ox, oy, other = laid[int(rng.integers(len(laid)))]
            a = rng.uniform(0, 2 * np.pi)
            x, y = round(ox + (r + other) * np.cos(a)), round(oy + (r + other) * np.sin(a))
        near = 0.95 if rafts else 1.3
        inside_picture = r <= x < W - r and r <= y < H - r
        if inside_picture and all(np.hypot(x - ox, y - oy) >= near * (r + other) for ox, oy, other in laid):
            laid.append((x, y, r))
            cv2.circle(light, (x, y), r, (inside,) * 3, -1)
            cv2.circle(light, (x, y), r - 1, (0.25,) * 3, 3)
    return light


@pytest.mark.parametrize("scale", [PX_PER_MM, None])
def test_drops_on_a_panel_are_counted(scale: float | None) -> None:
    view, surfaces = seen(with_rings(9, (12, 40), 0.66), Ground.PANEL, scale)
    rings = find_rings(view.density, scale)
    drops = find_drops(rings, surfaces, Ground.PANEL, LitFrom.BELOW, scale)
    # Without a scale the widest may be anything.
    assert drops.count == 9 if scale else 6 <= drops.count <= 9
    assert drops.severity > 0
    assert find_drops(rings, surfaces, Ground.WATER, LitFrom.BELOW, scale).count == 0
    assert find_drops(rings, surfaces, Ground.PANEL, LitFrom.ABOVE, scale).count == 0
    assert find_bubbles(rings, surfaces, Ground.PANEL, LitFrom.BELOW).share == 0


def test_drops_with_a_rim_on_one_side_only() -> None:
    light = bare()
    for x in range(100, 800, 120):
        cv2.circle(light, (x, 300), 30, (0.75,) * 3, -1)
        cv2.ellipse(light, (x, 300), (30, 30), 20, 0, 200, (0.3,) * 3, 4)
    view, surfaces = seen(light, Ground.PANEL)
    assert find_drops(find_rings(view.density, PX_PER_MM), surfaces, Ground.PANEL, LitFrom.BELOW, PX_PER_MM).count == 6


@pytest.mark.parametrize("scale", [PX_PER_MM, None])
@pytest.mark.parametrize(("count", "speaks"), [(12, False), (160, True)])
def test_bubbles_over_a_tenth_of_the_tray(count: int, speaks: bool, scale: float | None) -> None:
    view, surfaces = seen(with_rings(count, (10, 15), 0.62, rafts=True), Ground.WATER, scale)
    rings = find_rings(view.density, scale)
    bubbles = find_bubbles(rings, surfaces, Ground.WATER, LitFrom.BELOW)
    true = count * np.pi * 12.2**2 / (H * W)
    assert bubbles.share == pytest.approx(true, rel=0.35)
    assert (bubbles.severity > 0) == speaks
    assert bubbles.mask.shape == (H, W)
    assert find_drops(rings, surfaces, None, LitFrom.BELOW, scale).severity == 0


def test_specks_leaves_and_fibres_are_no_rings() -> None:
    rng = np.random.default_rng(5)
    light = bare()
    for _ in range(40):
        x, y = int(rng.integers(0, W)), int(rng.integers(0, H))
        cv2.circle(light, (x, y), int(rng.integers(2, 12)), (0.1,) * 3, -1)
        cv2.line(light, (x, y), (x + 60, y + int(rng.integers(-40, 40))), (0.3,) * 3, 2)
    for x in range(100, 800, 150):  # green rings: empty seed coats, leaf bits with a hole
        cv2.circle(light, (x, 80), 25, (0.2, 0.45, 0.1), 8)
    assert len(find_rings(seen(light, None)[0].density, PX_PER_MM).rings) <= 1


# --- the tray's wall, and mist


def wall_of(light: Canvas, ground: Ground | None = Ground.WATER) -> Wall:
    view, surfaces = seen(light, ground)
    rings = find_rings(view.density, PX_PER_MM)
    bubbles = find_bubbles(rings, surfaces, ground, LitFrom.BELOW)
    return find_wall(view, surfaces, ground, LitFrom.BELOW, PX_PER_MM, bubbles.mask)


def strewn(light: Canvas) -> Canvas:
    rng = np.random.default_rng(4)
    for _ in range(30):
        cv2.circle(light, (int(rng.integers(0, W)), int(rng.integers(0, H))), int(rng.integers(3, 9)), (0.12,) * 3, -1)
    return light


def test_water_without_a_wall_has_nothing_to_say() -> None:
    wall = wall_of(strewn(bare()))
    assert (wall.share, wall.mist, wall.where, wall.severity) == (0, 0, "", 0)


def test_wall_at_the_top_and_what_lies_beyond_is_hidden() -> None:
    light = strewn(bare())
    light[80:92] *= 0.4
    wall = wall_of(light)
    assert wall.mask[:80].mean() > 0.95
    assert wall.mask[150:].mean() < 0.02
    assert wall.where == "at the top"
    assert wall.severity > 0


def test_wall_all_round() -> None:
    light = strewn(bare())
    cv2.rectangle(light, (50, 50), (W - 50, H - 50), (0.2,) * 3, 14)
    wall = wall_of(light)
    assert wall.where == "all round"
    assert not wall.mask[100:-100, 100:-100].any()
    assert wall.mask[:40].all()


def test_slanting_wall_leaves_the_middle() -> None:
    light = strewn(bare())
    cv2.line(light, (640, -10), (760, H + 10), (0.2,) * 3, 8)
    wall = wall_of(light)
    assert wall.mask[300, 790]
    assert not wall.mask[300, 400]
    assert wall.where == "on the right"


def mist_on(light: Canvas) -> Canvas:
    rng = np.random.default_rng(6)
    for _ in range(4000):
        x, y = int(rng.integers(0, W)), int(rng.integers(430, H))
        cv2.circle(light, (x, y), int(rng.integers(2, 4)), (float(rng.uniform(0.3, 0.45)),) * 3, 1)
        light[y, x] = 0.7
    return light


def test_mist_is_hidden_and_said() -> None:
    wall = wall_of(mist_on(strewn(bare())))
    assert wall.mask[450:].mean() > 0.8
    assert wall.mask[:400].mean() < 0.02
    assert wall.where == "at the bottom"
    assert wall.mist == pytest.approx(170 / 600, abs=0.06)
    assert wall.severity > 0.3


def test_no_wall_on_a_panel_or_from_above() -> None:
    light = strewn(bare())
    light[80:92] *= 0.4
    view, surfaces = seen(light, Ground.PANEL)
    nothing = np.zeros((H, W), bool)
    for ground, lit in ((Ground.PANEL, LitFrom.BELOW), (Ground.WATER, LitFrom.ABOVE)):
        assert not find_wall(view, surfaces, ground, lit, PX_PER_MM, nothing).mask.any()


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (np.s_[:, :60], "on the left"),
        (np.s_[-60:, :], "at the bottom"),
        (np.s_[250:300, 300:400], "in the middle"),
        (np.s_[0:0, 0:0], ""),
    ],
)
def test_where_in_words(part: tuple[slice, slice], words: str) -> None:
    mask = np.zeros((H, W), bool)
    mask[part] = True
    assert where_in_words(mask) == words


# --- depth


def specks(seed: int, many: int = 44) -> list[tuple[int, int, int]]:
    rng = np.random.default_rng(seed)
    return [
        (int(rng.integers(20, W - 20)), int(rng.integers(20, H - 20)), int(rng.integers(4, 9))) for _ in range(many)
    ]


def dotted(where: list[tuple[int, int, int]]) -> Canvas:
    factor = np.ones((H, W, 3))
    for x, y, r in where:
        cv2.circle(factor, (x, y), r, (0.15,) * 3, -1)
    return factor


def depth_of(light: Canvas, ground: Ground = Ground.WATER, sharpness: Sharpness | None = None) -> Depth:
    all_seen = observe(
        shot(light), Setup(px_per_mm=PX_PER_MM, ground=ground, lit_from=LitFrom.BELOW), None, shipped_ranker()
    )
    rings = find_rings(all_seen.light.density, PX_PER_MM)
    return find_depth(all_seen.measured, sharpness, rings, ground, LitFrom.BELOW, (H, W), PX_PER_MM, 1)


def test_shallow_water_is_sharp_all_over() -> None:
    depth = depth_of(bare() * dotted(specks(1)))
    assert (depth.deep, depth.soft_side, depth.severity) == ("", "", 0)


def test_bottom_soft_under_sharp_specks() -> None:
    where = specks(2)
    light = bare() * dotted(where[::2]) * cv2.GaussianBlur(dotted(where[1::2]), (0, 0), 4.5)
    depth = depth_of(light)
    assert depth.deep == "bottom"
    assert depth.soft_px > 2 * depth.sharp_px
    assert depth_of(light, Ground.PANEL).deep == ""


def test_surface_soft_is_told_by_its_bubbles() -> None:
    where = specks(3)
    afloat = dotted(where[1::2])
    for x in (150, 400, 650):
        cv2.circle(afloat, (x, 300), 20, (0.3,) * 3, 3)
    assert depth_of(bare() * dotted(where[::2]) * cv2.GaussianBlur(afloat, (0, 0), 4.5)).deep == "surface"


def test_soft_slip_under_sharp_specks() -> None:
    soft = Sharpness(5.0, 0.04, None, 0.0, False, from_slip=True)
    assert depth_of(bare() * dotted(specks(4, 20)), sharpness=soft).deep == "bottom"


def test_far_side_of_a_tilted_shot_is_soft() -> None:
    dots = dotted(specks(5, 70))
    blur = np.linspace(4, 0, H)
    light = sum(
        cv2.GaussianBlur(dots, (0, 0), max(s, 0.1)) * np.clip(1 - np.abs(blur - s), 0, 1)[:, None, None]
        for s in range(5)
    )
    assert depth_of(bare() * light).soft_side == "at the top"


def test_hardly_any_specks_say_nothing() -> None:
    rings = Rings((), np.zeros((H, W), bool), 1)
    assert find_depth((), None, rings, Ground.WATER, LitFrom.BELOW, (H, W), None, 1) == Depth()


# --- the renderer


def test_wet_shots_are_drawn_and_told() -> None:
    size = {"width_px": 480, "height_px": 360, "px_per_mm": 12.0}
    panel = draw(dataclasses.replace(tidy("blank", 8, **size), wet_panel=0.06))
    view = see_light(Shot(panel.pixels, "0" * 64, "drawn"), Setup(px_per_mm=12.0))
    surfaces = find_surfaces(view.density, Ground.PANEL, 12.0)
    assert find_drops(find_rings(view.density, 12.0), surfaces, Ground.PANEL, LitFrom.BELOW, 12.0).severity > 0
    water = draw(dataclasses.replace(tidy("water", 8, **size), foam=0.25))
    view = see_light(Shot(water.pixels, "0" * 64, "drawn"), Setup(px_per_mm=12.0))
    surfaces = find_surfaces(view.density, Ground.WATER, 12.0)
    share = find_bubbles(find_rings(view.density, 12.0), surfaces, Ground.WATER, LitFrom.BELOW).share
    assert 0.15 <= share <= 0.4
    misty = draw(dataclasses.replace(tidy("water", 8, **size), condensation=0.25))
    view = see_light(Shot(misty.pixels, "0" * 64, "drawn"), Setup(px_per_mm=12.0))
    nothing = np.zeros(view.clipped.shape, bool)
    surfaces = find_surfaces(view.density, Ground.WATER, 12.0)
    assert find_wall(view, surfaces, Ground.WATER, LitFrom.BELOW, 12.0, nothing).share > 0.12


def test_tilt_blurs_the_top_alone() -> None:
    size = {"width_px": 400, "height_px": 300, "px_per_mm": 12.0}
    sharp, tilted = (draw(dataclasses.replace(tidy("water", 9, **size), tilt_blur_px=t)).pixels for t in (0.0, 5.0))

    def detail(pixels: NDArray[np.uint8]) -> float:
        return float(cv2.Laplacian(pixels[..., 1].astype(np.float32), cv2.CV_32F).std())

    assert detail(tilted[:100]) < 0.8 * detail(sharp[:100])
    assert detail(tilted[-60:]) == pytest.approx(detail(sharp[-60:]), rel=0.2)
