"""The scene renderer: what it says is there must be there, in the size, light and number it says."""

from __future__ import annotations

import dataclasses
import io
import json

import numpy as np
import pytest
from PIL import Image
from skimage.measure import label, regionprops
from skimage.morphology import skeletonize

from vision.render import Recipe, arrange, draw, filled, tidy, truth_rows, vary
from vision.render.bodies import draw_body
from vision.render.bubbles import ring_light
from vision.render.camera import photograph, srgb_decode, srgb_encode
from vision.render.canvas import disc, open_canvas
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import tissue

SMALL = {"width_px": 480, "height_px": 360}
PLAIN = {
    "clutter": 0.0,
    "marks": 0.0,
    "unevenness": 0.0,
    "led_mottling": 0.0,
    "grain": 0.0,
    "panel_colour": (1.0, 1.0, 1.0),
    "room_light": 0.0,
    "burnt_out": 0.0,
    "optics_blur_px": 0.3,
    "edge_blur": 1.0,
    "fringe_px": 0.0,
    "depth_blur_px_per_mm": 0.0,
    "full_well_e": 1e9,
    "read_noise_e": 0.0,
    "crosstalk": 0.0,
    "flare": 0.0,
    "shake_px": 0.0,
    "denoise": 0.0,
    "sharpen": 0.0,
    "tone_curve": 0.0,
    "jpeg_quality": 100,
    "chroma_halved": False,
    "exposure": 0.8,
}


def alone(kind: str, seed: int) -> Recipe:
    """One insect on a blank, even, noiseless panel."""
    return dataclasses.replace(tidy("blank", seed, **SMALL), insects=((kind, 1),), heated=False, **PLAIN)


def test_srgb_constants() -> None:
    """IEC 61966-2-1 (through an encyclopedia copy): 12.92, 0.0031308, 0.04045, 0.055, 2.4."""
    assert float(srgb_encode(np.array(0.002))) == pytest.approx(0.002 * 12.92)
    assert float(srgb_encode(np.array(0.5))) == pytest.approx(1.055 * 0.5 ** (1 / 2.4) - 0.055)
    assert float(srgb_decode(np.array(0.04))) == pytest.approx(0.04 / 12.92)
    levels = np.linspace(0, 1, 257)
    np.testing.assert_allclose(srgb_decode(srgb_encode(levels)), levels, atol=1e-9)


@pytest.mark.parametrize("kind", ["blank", "water", "broccoli"])
def test_same_recipe_same_bytes_other_seed_differs(kind: str) -> None:
    one, again = (draw(vary(kind, 3, width_px=240, height_px=200)) for _ in range(2))
    other = draw(vary(kind, 4, width_px=240, height_px=200))
    assert one.jpeg == again.jpeg
    assert one.truth == again.truth
    assert other.jpeg != one.jpeg
    assert one.lit_from == ("above" if kind == "broccoli" else "below")


def test_pixels_are_the_decoded_jpeg() -> None:
    drawn = draw(tidy("water", 5, **SMALL))
    with Image.open(io.BytesIO(drawn.jpeg)) as picture:
        np.testing.assert_array_equal(drawn.pixels, np.array(picture.convert("RGB")))
    assert drawn.pixels.shape == (360, 480, 3)
    assert drawn.pixels.dtype == np.uint8


@pytest.mark.parametrize("kind", ["aphid", "thrips", "caterpillar"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_truth_agrees_with_the_pixels(kind: str, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """scikit-image's regionprops finds a dark body where truth says within 0.3 px, and as long within 5%, through the camera."""

    def dark(wish: BodyWish, rng: np.random.Generator, family: str = "first") -> Patch:
        patch = draw_body(dataclasses.replace(wish, limbs=False, length_mm=2.5), rng, family)
        return dataclasses.replace(patch, transmission=np.repeat(1 - 0.98 * patch.body[..., None], 3, axis=2))

    monkeypatch.setattr(arrange, "draw_body", dark)
    drawn = draw(alone(kind, seed))
    (body,) = drawn.truth
    light = srgb_decode(drawn.pixels.astype(float) / 255).mean(axis=2)
    region = max(regionprops(label(light < 0.5 * np.median(light))), key=lambda r: r.area)
    assert body.visible == pytest.approx(1.0)
    assert body.tone == "darker"
    assert np.hypot(region.centroid[1] - body.x_px, region.centroid[0] - body.y_px) < 0.3
    # The middle line of a bent body: what remains of it when thinned, plus about half a width at each end.
    reach = (
        region.feret_diameter_max
        if not body.curved
        else skeletonize(region.image).sum() * 1.1 + region.axis_minor_length / 2
    )
    assert reach / 20.0 == pytest.approx(body.length_mm, rel=0.2 if body.curved else 0.05)
    # regionprops gives the angle from the row axis, counter-clockwise.
    turned = (body.angle_deg - (90.0 - np.rad2deg(region.orientation))) % 180.0
    assert min(turned, 180.0 - turned) < 3.0


@pytest.mark.parametrize("kind", ["aphid", "thrips", "caterpillar"])
@pytest.mark.parametrize("px_per_mm", [12.0, 20.0, 40.0])
def test_body_alone_has_its_size_and_place(kind: str, px_per_mm: float) -> None:
    for seed in range(4):
        wish = BodyWish(kind, px_per_mm, (0.3, -0.4), angle_deg=30.0, length_mm=2.0, limbs=False)
        patch = draw_body(wish, np.random.default_rng(seed))
        region = max(regionprops(label(patch.body > 0.5)), key=lambda r: r.area)
        if patch.form in ("C", "S", "J") or patch.curved:
            continue
        assert region.feret_diameter_max / px_per_mm == pytest.approx(2.0, rel=0.05)
        rows, columns = np.indices(patch.body.shape)
        total = patch.body.sum()
        centre = (patch.body * columns).sum() / total, (patch.body * rows).sum() / total
        assert np.hypot(centre[0] - region.centroid[1], centre[1] - region.centroid[0]) < 0.3
        # An area of cover times the length gives the mean width, which the widest place exceeds.
        mean_width = patch.body.sum() / px_per_mm**2 / patch.length_mm
        assert 0.5 * patch.width_mm < mean_width < patch.width_mm


def test_shift_below_a_pixel_moves_the_body_by_as_much() -> None:
    places = []
    for shift in (0.0, 0.25):
        patch = draw_body(BodyWish("aphid", 20.0, (shift, 0.0), angle_deg=0.0), np.random.default_rng(1))
        columns = np.arange(patch.body.shape[1]) + patch.left_px
        places.append(float((patch.body.sum(axis=0) @ columns) / patch.body.sum()))
    assert places[1] - places[0] == pytest.approx(0.25, abs=0.02)


def test_light_through_a_body_follows_beer_and_lambert() -> None:
    """-ln T is proportional to thickness, and adds where two bodies overlap (absorbance, Univ. Guelph tutorial)."""
    stuff = tissue("green", 0.25, np.random.default_rng(0), spread=0.0)
    flat = np.ones((1, 1), np.float32)
    assert float(np.exp(-stuff.over(flat)).prod() ** (1 / 3)) == pytest.approx(0.25, rel=1e-5)
    np.testing.assert_allclose(np.exp(-stuff.over(2 * flat)), np.exp(-stuff.over(flat)) ** 2, rtol=1e-5)
    canvas = open_canvas(20.0, (0.0, 0.0), (-1.0, -1.0, 1.0, 1.0))
    for _ in range(2):
        canvas.lay(disc(canvas, 0.0, 0.0, 0.8), np.full(3, 0.7), np.full(3, 0.5), body=True)
    patch = canvas.patch(length_mm=1.6, width_mm=1.6)
    middle = patch.transmission[patch.transmission.shape[0] // 2, patch.transmission.shape[1] // 2]
    np.testing.assert_allclose(middle, np.exp(-1.4), rtol=1e-5)


def test_panel_level_reaches_the_picture() -> None:
    """A patch of linear light L through a noiseless camera is sRGB(L): no gain hides in it."""
    recipe = filled(dataclasses.replace(tidy("blank", 1, **SMALL), **{**PLAIN, "exposure": 1.0}))
    light = np.empty((64, 64, 3), np.float32)
    light[:] = (0.6, 0.3, 0.1)
    pixels, _ = photograph(light, recipe, np.random.default_rng(0))
    expected = srgb_encode(np.array([0.6, 0.3, 0.1])) * 255
    np.testing.assert_allclose(pixels[20:40, 20:40].reshape(-1, 3).mean(axis=0), expected, atol=1.5)


def test_bubble_is_clear_inside_and_dark_round_it() -> None:
    """Total reflection starts at relative radius 1 / 1.333 (Snell): the ring is darkest just there."""
    rho = np.linspace(0, 0.99, 200).astype(np.float32)
    light = ring_light(rho, 45.0)
    assert light[0] > 0.9
    assert 0.6 < rho[np.argmin(light)] < 0.85
    assert light.min() < 0.2


@pytest.mark.parametrize("kind", ["water", "broccoli"])
def test_counts_as_asked(kind: str) -> None:
    recipe = dataclasses.replace(tidy(kind, 9, **SMALL), insects=(("aphid", 4), ("thrips", 3), ("caterpillar", 1)))
    truth = draw(recipe).truth
    counts = {k: sum(b.kind == k and b.insect for b in truth) for k in ("aphid", "thrips", "caterpillar")}
    assert counts == {"aphid": 4, "thrips": 3, "caterpillar": 1}
    assert all(0 <= b.visible <= 1 for b in truth)


def test_more_bycatch_does_not_move_an_insect() -> None:
    recipe = dataclasses.replace(tidy("water", 12, **SMALL), insects=(("aphid", 5), ("thrips", 2)))
    few, many = (draw(dataclasses.replace(recipe, clutter=c)).truth for c in (0.0, 2.0))
    keep = ("x_px", "y_px", "length_mm", "width_mm", "form")
    places = [[[getattr(b, k) for k in keep] for b in t if b.insect and b.visible > 0.999] for t in (few, many)]
    assert len(few) < len(many)
    assert len(places[1]) >= 4
    assert all(p in places[0] for p in places[1])


def test_adding_a_thrips_does_not_move_the_aphids() -> None:
    recipe = tidy("water", 21, **SMALL)
    one, two = (
        draw(dataclasses.replace(recipe, clutter=0.0, insects=(("aphid", 3), ("thrips", n)))).truth for n in (1, 2)
    )
    assert [b for b in one if b.kind == "aphid"] == [b for b in two if b.kind == "aphid"]


def test_same_panel_has_the_same_marks_and_shading() -> None:
    shots = [draw(dataclasses.replace(tidy("blank", s, panel_seed=77, **SMALL), marks=8.0)) for s in (1, 2)]
    marks = [[(b.kind, b.x_px, b.y_px) for b in s.truth if b.kind in ("scratch",)] for s in shots]
    assert marks[0] == marks[1]
    assert marks[0]
    assert shots[0].recipe.panel_colour == shots[1].recipe.panel_colour
    assert shots[0].jpeg != shots[1].jpeg


def test_giving_one_field_leaves_the_others() -> None:
    free, given = filled(tidy("water", 8)), filled(dataclasses.replace(tidy("water", 8), sharpen=0.0))
    assert dataclasses.replace(given, sharpen=free.sharpen) == free


@pytest.mark.parametrize(
    ("kind", "form", "length_mm", "length_over_width"),
    [
        # Brevicoryne brassicae 1.6-2.8 mm: INRAE Encyclop'Aphid (read); Myzus persicae 1.5-2.0: Univ. Florida (read).
        # Length to width 1.5-2 and the youngest nymph 0.5-0.6 mm: from memory.
        ("aphid", "wingless", (1.5, 2.8), (1.4, 2.1)),
        ("aphid", "nymph", (0.5, 1.5), (1.4, 2.15)),
        # Thrips tabaci 0.8-1.2 mm: Bayer Crop Science (read); larvae 0.35-0.9 mm: UF MREC / NC State (read);
        # Frankliniella to 1.4 mm: second-hand copy. Length to width 4-6: from memory.
        ("thrips", "adult", (0.8, 1.5), (3.9, 6.1)),
        ("thrips", "larva", (0.35, 0.9), (3.9, 6.1)),
        # Plutella xylostella 1.7-11.2 mm (from memory), to 10 mm: Barmac (read). Length to width 5-8: from memory.
        ("caterpillar", "", (1.5, 12.0), (4.9, 8.7)),
    ],
)
def test_sizes_lie_in_the_ranges_of_the_sources(
    kind: str, form: str, length_mm: tuple[float, float], length_over_width: tuple[float, float]
) -> None:
    rng, found = np.random.default_rng(0), 0
    for _ in range(14):
        patch = draw_body(BodyWish(kind, 10.0, limbs=False), rng)
        if form and patch.form != form:
            continue
        found += 1
        assert length_mm[0] <= patch.length_mm <= length_mm[1]
        assert length_over_width[0] <= patch.length_mm / patch.width_mm <= length_over_width[1]
    assert found >= 3


def test_truth_rows_are_plain_values() -> None:
    drawn = draw(vary("water", 6, **SMALL))
    rows = truth_rows(drawn)
    assert len(rows) == len(drawn.truth)
    assert json.loads(json.dumps(rows)) == rows
    assert {row["tone"] for row in rows} <= {"darker", "lighter", "like"}


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ValueError, match="kind must be one of"):
        Recipe("soup", 1)
    with pytest.raises(ValueError, match="cannot draw wasp"):
        Recipe("water", 1, insects=(("wasp", 1),))
