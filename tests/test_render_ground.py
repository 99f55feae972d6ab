"""Grounds and small bodies of the renderer: cloth, tray, and that what was drawn before is drawn the same."""

from __future__ import annotations

import dataclasses
import hashlib
from typing import Any

import numpy as np
import pytest

from vision.render import Drawn, Recipe, draw, filled, tidy, vary
from vision.render.bodies import DRAWN_BY, draw_body
from vision.render.camera import srgb_decode
from vision.render.patch import BodyWish
from vision.render.placing import BYCATCH, INSECT_RATES
from vision.render.recipe import INSECTS, KINDS

SMALL = {"width_px": 320, "height_px": 240}
QUIET = {
    "clutter": 0.0,
    "marks": 0.0,
    "unevenness": 0.0,
    "room_light": 0.0,
    "jpeg_quality": 100,
    "chroma_halved": False,
}


def digest(drawn: Drawn) -> str:
    return hashlib.sha256(drawn.pixels.tobytes()).hexdigest()[:16]


def cloth(seed: int, **more: Any) -> Drawn:
    recipe = tidy("cloth", seed, width_px=600, height_px=600)
    return draw(dataclasses.replace(recipe, insects=(), **{**QUIET, **more}))


@pytest.mark.parametrize(
    ("make", "kind", "seed", "was"),
    [
        # Drawn before cloth, tray and the small bodies were there.
        (tidy, "water", 33, "580571ba0141f454"),
        (tidy, "broccoli", 33, "ca33a83d0e8f00a1"),
        (tidy, "blank", 31, "619b20d4dcb0555c"),
        (vary, "water", 33, "35ccac3b5a55c986"),
        (vary, "broccoli", 33, "ab125aa744a5f41a"),
    ],
)
def test_what_was_drawn_before_is_drawn_the_same(make: Any, kind: str, seed: int, was: str) -> None:
    assert digest(draw(make(kind, seed, **SMALL))) == was


def test_every_kind_has_its_bycatch_and_its_insects() -> None:
    assert set(BYCATCH) == set(INSECT_RATES) == set(KINDS)
    assert set(DRAWN_BY) == set(INSECTS)
    assert INSECTS[:3] == ("aphid", "thrips", "caterpillar")


@pytest.mark.parametrize("make", [tidy, vary])
@pytest.mark.parametrize("kind", ["cloth", "tray"])
def test_same_recipe_same_bytes_and_truth_lies_in_the_picture(kind: str, make: Any) -> None:
    one, again = (draw(make(kind, 5, **SMALL)) for _ in range(2))
    assert one.jpeg == again.jpeg
    assert one.truth == again.truth
    assert digest(draw(make(kind, 6, **SMALL))) != digest(one)
    for body in one.truth:
        assert -0.5 <= body.x_px <= 319.5
        assert -0.5 <= body.y_px <= 239.5
        assert body.surface in ({"cloth"} if kind == "cloth" else {"panel", "water"})


def peaks_deg_mm(drawn: Drawn) -> list[tuple[float, float]]:
    """Direction of the threads and pitch (mm) of the two strongest waves in the picture, from its spectrum."""
    light = srgb_decode(drawn.pixels.astype(float) / 255).mean(axis=2)
    light = light / light.mean() - 1
    n = len(light)
    window = np.hanning(n)[:, None] * np.hanning(n)
    power = np.abs(np.fft.fftshift(np.fft.fft2(light * window))) ** 2
    fy, fx = np.meshgrid(*(np.fft.fftshift(np.fft.fftfreq(n)),) * 2, indexing="ij")
    cycles_mm = np.hypot(fx, fy) * drawn.px_per_mm
    power[(cycles_mm < 1 / 0.9) | (fy < 0)] = 0
    found: list[tuple[float, float]] = []
    for _ in range(2):
        row, column = np.unravel_index(int(power.argmax()), power.shape)
        box = slice(max(row - 4, 0), row + 5), slice(max(column - 4, 0), column + 5)
        weight = power[box] / power[box].sum()
        x, y = float((weight * fx[box]).sum()), float((weight * fy[box]).sum())
        across = np.degrees(np.arctan2(y, x))
        found.append(((across + 90.0) % 180.0, 1 / (np.hypot(x, y) * drawn.px_per_mm)))
        # The other threads lie across these.
        turned = np.degrees(np.arctan2(fy, fx)) - across
        power[np.abs((turned + 90.0) % 180.0 - 90.0) < 30] = 0
    return found


@pytest.mark.parametrize("lit", ["below", "above", "both"])
@pytest.mark.parametrize(
    ("seed", "colour", "angle", "pitch", "ratio"), [(1, "white", 25.0, 0.4, 1.4), (2, "dark", 100.0, 0.55, 0.75)]
)
def test_weave_has_the_pitch_and_the_direction_asked_for(
    lit: str, seed: int, colour: str, angle: float, pitch: float, ratio: float
) -> None:
    """The spectrum's peaks are those of a grating: one cycle a thread, across the threads."""
    drawn = cloth(
        seed, cloth_colour=colour, cloth_lit=lit, weave_angle_deg=angle, weave_pitch_mm=pitch, weave_ratio=ratio
    )
    for want_deg, want_mm in ((angle, pitch), (angle + 90.0, pitch * ratio)):
        off, found = min((abs((deg - want_deg + 90.0) % 180.0 - 90.0), mm) for deg, mm in peaks_deg_mm(drawn))
        assert off < 2.0
        assert found == pytest.approx(want_mm, rel=0.04)


@pytest.mark.parametrize(("lit", "says"), [("below", "below"), ("above", "above"), ("both", "below")])
def test_says_where_a_cloths_light_comes_from(lit: str, says: str) -> None:
    assert draw(dataclasses.replace(tidy("cloth", 4, **SMALL), cloth_lit=lit)).lit_from == says


def test_threads_may_be_unequal_and_stay_within_what_is_woven() -> None:
    drawn = [filled(vary("cloth", seed)) for seed in range(60)]
    pitches = np.array([(r.weave_pitch_mm, (r.weave_pitch_mm or 0) * (r.weave_ratio or 0)) for r in drawn], float)
    assert pitches.min() >= 0.15 - 1e-9
    assert pitches.max() <= 0.8 + 1e-9
    unequal = np.abs(np.log(pitches[:, 1] / pitches[:, 0])) > 0.1
    assert 5 < unequal.sum() < 40
    assert {r.cloth_colour for r in drawn} == {"white", "dark"}
    assert {r.cloth_lit for r in drawn} == {"below", "above", "both"}


def test_pale_larvae_are_lighter_on_a_dark_tray_and_on_a_dark_cloth_under_lamps() -> None:
    recipes = [tidy("tray", seed, **SMALL) for seed in (1, 2, 3)]
    recipes += [dataclasses.replace(tidy("cloth", 4, **SMALL), cloth_colour="dark", cloth_lit="above")]
    for recipe in recipes:
        truth = draw(dataclasses.replace(recipe, insects=(("larva", 4), ("skin", 2)), clutter=0.0, heated=False)).truth
        larvae = [body for body in truth if body.kind == "larva"]
        assert len(larvae) >= 3
        assert all(body.tone == "lighter" for body in larvae)
        assert all(body.tone != "darker" for body in truth if body.kind == "skin")


def test_larvae_and_skins_take_little_light() -> None:
    """A larva passes 0.5 to 0.9 of the light through its middle; a cast skin takes less than a tenth of a density."""
    larvae = [draw_body(BodyWish("larva", 40.0, limbs=False), np.random.default_rng(s)) for s in range(20)]
    middles = [float(np.percentile(p.transmission.mean(axis=2)[p.body > 0.9], 20)) for p in larvae]
    assert np.median(middles) > 0.5
    assert np.mean([0.45 < m < 0.95 for m in middles]) >= 0.8
    skins = [draw_body(BodyWish("skin", 40.0, limbs=False), np.random.default_rng(s)) for s in range(10)]
    dense = [-np.log10(float(p.transmission.mean(axis=2)[p.body > 0.5].mean())) for p in skins]
    assert max(dense) < 0.15
    assert np.median(dense) < 0.1


@pytest.mark.parametrize(
    ("kind", "length_mm", "length_over_width"),
    [
        # Thrips larvae 0.35-0.9 mm: UF MREC / NC State; length over width 4-6: from memory.
        ("larva", (0.4, 0.9), (3.9, 6.1)),
        # Tetranychus urticae 0.25-0.5 mm: Pacific Northwest handbook; 0.4-0.5 by 0.2-0.3 mm: dimensions.com.
        ("mite", (0.25, 0.6), (1.4, 2.1)),
        # Bradysia about 2 mm: wiki.pestinfo.org; phorids 2-3 mm: AFBI.
        ("gnat", (1.5, 3.0), (2.2, 4.9)),
        ("skin", (0.6, 2.0), (1.6, 2.9)),
    ],
)
def test_small_bodies_have_the_sizes_of_the_sources(
    kind: str, length_mm: tuple[float, float], length_over_width: tuple[float, float]
) -> None:
    for seed in range(12):
        patch = draw_body(BodyWish(kind, 20.0), np.random.default_rng(seed))
        assert length_mm[0] <= patch.length_mm <= length_mm[1]
        assert length_over_width[0] <= patch.length_mm / patch.width_mm <= length_over_width[1]
        assert patch.body.sum() <= patch.cover.sum() + 1e-3


def test_eggs_lie_alone_or_in_rows() -> None:
    """Plutella 0.44 x 0.26 mm (second-hand), Pieris rapae 1.0 x 0.5 mm (UF/IFAS), asparagus beetle 1.2-1.6 mm (second-hand)."""
    patches = [draw_body(BodyWish("egg", 20.0), np.random.default_rng(seed)) for seed in range(40)]
    rows = [p for p in patches if p.form.endswith("row")]
    assert 3 <= len(rows) <= 20
    assert all(0.4 <= p.length_mm <= 1.5 for p in patches if not p.form.endswith("row"))
    assert len({p.form for p in patches}) >= 4
    for patch in patches:
        seen = patch.body.max(axis=0).sum(), patch.body.max(axis=1).sum()
        assert max(seen) / 20.0 <= float(np.hypot(patch.length_mm, patch.width_mm)) + 0.15


def test_what_cannot_be_asked_for_is_refused() -> None:
    with pytest.raises(ValueError, match="bodies must be one of first, second"):
        Recipe("water", 1, bodies="third")
    with pytest.raises(ValueError, match="cloth_colour must be one of"):
        Recipe("cloth", 1, cloth_colour="plaid")
    with pytest.raises(ValueError, match="cloth_lit must be one of"):
        Recipe("cloth", 1, cloth_lit="aside")


def test_some_bodies_lie_along_a_thread() -> None:
    """Of directions drawn evenly 18 in 100 would be within 8 degrees of one of the two; two in five more are laid so."""
    recipe = dataclasses.replace(
        tidy("cloth", 8, width_px=700, height_px=500), weave_angle_deg=20.0, weave_pitch_mm=0.5
    )
    truth = draw(dataclasses.replace(recipe, insects=(("thrips", 80),), clutter=0.0)).truth
    off = np.array([abs((body.angle_deg - 20.0 + 45.0) % 90.0 - 45.0) for body in truth if body.visible > 0.99])
    assert len(off) > 60
    assert 0.35 < (off < 8).mean() < 0.65
