"""Exposure, glare, haze and shade: each speaks on a shot drawn with that fault, on values known beforehand, and not on a good shot."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.conditions.coarse import Coarse, coarse_view
from vision.conditions.exposure import find_exposure, panel_over_produce
from vision.conditions.glare import find_glare, place_in_words
from vision.conditions.haze import find_haze
from vision.conditions.shade import Shade, find_shade, least_light
from vision.conditions.veil import measure_veil
from vision.foreground import find_surfaces
from vision.light import encode_srgb
from vision.pipeline import see_light
from vision.render import Recipe, draw, tidy
from vision.types import Light, LitFrom, ScaleFrom, Setup, Shot, Surfaces

FLORETS = tidy("broccoli", 2, width_px=480, height_px=360, px_per_mm=7.0)
WATER = tidy("water", 3, width_px=400, height_px=300, px_per_mm=7.0)


@lru_cache(maxsize=12)
def seen(recipe: Recipe) -> tuple[Coarse, Light, Surfaces, LitFrom]:
    drawn = draw(recipe)
    light = see_light(Shot(drawn.pixels, "0" * 64, "drawn"), Setup(drawn.px_per_mm, ScaleFrom.OPTION))
    surfaces = find_surfaces(light.density, None, drawn.px_per_mm / light.step)
    return coarse_view(light, surfaces, drawn.px_per_mm / light.step), light, surfaces, LitFrom(drawn.lit_from)


def shade_of(recipe: Recipe) -> Shade:
    view, light, surfaces, lit_from = seen(recipe)
    return find_shade(view, light, surfaces, lit_from)


def flat_view(height: int, width: int, level: float) -> Coarse:
    """An even white ground with nothing on it, 8 coarse pixels a millimetre."""
    everywhere = np.ones((height, width), bool)
    light = np.full((3, height, width), level, np.float32)
    return Coarse(
        light, light.copy(), everywhere, ~everywhere, everywhere, np.zeros_like(light[0]), 8.0, 2, 2 * width, 2 * height
    )


@pytest.mark.parametrize("recipe", [FLORETS, WATER], ids=["florets", "water"])
def test_none_speaks_on_a_good_shot(recipe: Recipe) -> None:
    view, _, _, lit_from = seen(recipe)
    exposure = find_exposure(view)
    assert (exposure.too_bright_stops, exposure.too_dark_stops) == (0, 0)
    assert panel_over_produce(view, lit_from) < 4
    assert find_glare(view).share == 0
    haze = find_haze(view)
    assert (haze.smeared, haze.steam) == (0, 0)
    assert shade_of(recipe).share < 0.002


@pytest.mark.parametrize(("level", "stops"), [(1.15, 0.5), (1.3, 1.0)])
def test_too_bright_says_by_how_much(level: float, stops: float) -> None:
    view = seen(replace(WATER, exposure=level))[0]
    exposure = find_exposure(view)
    assert exposure.too_bright_stops == pytest.approx(stops, abs=0.5)
    assert exposure.too_bright_stops >= 0.5
    assert exposure.burnt_of == "ground"


def test_too_dark_says_by_how_much() -> None:
    """Full scale is 1: a panel at 0.15 takes log2(0.8 / 0.15) = 2.4 stops more."""
    assert find_exposure(seen(replace(WATER, exposure=0.15))[0]).too_dark_stops == pytest.approx(2.4, abs=0.5)


def test_bright_panel_is_told_from_dark_produce() -> None:
    """On values: a ground of 0.8 and produce of 0.1 differ eight times; from below the question does not arise."""
    view = flat_view(120, 160, 0.8)
    produce = np.zeros((120, 160), bool)
    produce[30:90, 40:120] = True
    light = np.where(produce, np.float32(0.1), view.light)
    lit = replace(view, light=light, produce=produce, ground=~produce)
    assert panel_over_produce(lit, LitFrom.ABOVE) == pytest.approx(8.0, rel=0.01)
    assert panel_over_produce(lit, LitFrom.BELOW) == 0
    drawn, _, _, lit_from = seen(replace(FLORETS, panel_on=3.0, exposure=0.24))
    assert panel_over_produce(drawn, lit_from) > 4


@pytest.mark.parametrize("recipe", [replace(WATER, glare=1.2), replace(WATER, film_glare=2.0)], ids=["water", "film"])
def test_mirrored_lamp_is_found(recipe: Recipe) -> None:
    view, light, _, _ = seen(recipe)
    glare = find_glare(view)
    assert glare.share > 0.01
    assert glare.where
    burnt = light.clipped
    assert (view.enlarged(glare.mask) & burnt).sum() > 0.9 * burnt.sum()
    # What burns in a mirrored lamp is no reason to expose less.
    assert find_exposure(view, glare.mask).too_bright_stops == 0


def add_patch(view: Coarse, x: float, y: float, soft_px: float) -> Coarse:
    """A white patch 40 coarse pixels wide with an edge `soft_px` wide."""
    rows, cols = np.mgrid[0 : view.ground.shape[0], 0 : view.ground.shape[1]]
    far = np.hypot(cols - x, rows - y)
    added = 1 / (1 + np.exp(np.clip((far - 20) / soft_px, -50, 50)))
    light = np.minimum(view.light + added, 1).astype(np.float32)
    return replace(view, light=light, burnt=(light.min(axis=0) > 0.99).astype(np.float32))


@pytest.mark.parametrize(
    ("x", "y", "where"), [(60, 40, "at the top left"), (160, 120, "in the middle"), (270, 200, "at the bottom right")]
)
def test_soft_patch_is_glare_and_its_place_is_said(x: float, y: float, where: str) -> None:
    assert find_glare(add_patch(flat_view(240, 320, 0.6), x, y, 3.0)).where == where


def test_sharp_white_thing_is_no_glare() -> None:
    assert find_glare(add_patch(flat_view(240, 320, 0.6), 160, 120, 0.1)).share == 0


def test_ground_bright_all_over_is_no_glare() -> None:
    assert find_glare(flat_view(240, 320, 0.97)).share == 0


def test_smeared_lens_is_told_from_steam() -> None:
    haze = find_haze(seen(replace(FLORETS, smear=0.2))[0])
    assert haze.smeared > 0
    assert haze.steam == 0


def test_steam_is_told_from_a_smeared_lens() -> None:
    haze = find_haze(seen(replace(FLORETS, steam=0.5, steam_lump_mm=20.0))[0])
    assert haze.steam > 0.06
    assert haze.smeared == 0


def test_pale_water_says_nothing_of_the_lens() -> None:
    """Nothing dark could be in view; a printed black that is grey does say so."""
    view = seen(WATER)[0]
    assert find_haze(view).smeared == 0
    assert find_haze(view, black_over_white=0.05).smeared == 0
    assert find_haze(view, black_over_white=0.3).smeared == 0.3


@settings(max_examples=15, deadline=None)
@given(share=st.floats(0.0, 0.4), hue=st.tuples(st.floats(0.1, 0.3), st.floats(0.35, 0.6), st.floats(0.02, 0.1)))
def test_veil_over_one_colour_in_light_and_shade_is_measured(share: float, hue: tuple[float, float, float]) -> None:
    """Lambert: one colour, any shade, is a line through black; what is added shows as where the line misses it."""
    view = flat_view(90, 90, 0.8)
    shade = np.random.default_rng(0).uniform(0.02, 1.0, (90, 90)).astype(np.float32)
    own = np.array(hue, np.float32)[:, None, None] * shade
    light = (0.8 * ((1 - share) * own + share)).astype(np.float32)
    everywhere = np.ones((90, 90), bool)
    veil = measure_veil(replace(view, light=light, produce=everywhere, ground=~everywhere))
    assert len(veil.share) > 30
    np.testing.assert_allclose(veil.share, share, atol=0.01)


def test_shade_inside_florets_is_found_and_light_from_below_is_a_silhouette() -> None:
    recipe = replace(FLORETS, deep_shade=4.0)
    view, light, surfaces, lit_from = seen(recipe)
    shade = shade_of(recipe)
    assert shade.of_produce > 0.05
    assert float(view.light.max(axis=0)[shade.mask].max()) < shade.darkest
    assert view.enlarged(find_shade(view, light, surfaces, lit_from).mask).shape == light.clipped.shape
    dark = replace(view, light=np.where(view.produce, view.level * np.float32(0.02), view.light))
    silhouette = find_shade(dark, light, surfaces, LitFrom.BELOW)
    assert silhouette.of_produce > 0.95


def test_least_light_follows_rounding_and_noise() -> None:
    """Level 6 of 255 is where two steps of 8 bits make a density of 0.15: log10(6.5 / 5.5) * 2 on sRGB's straight part."""
    assert 2 * np.log10(6.5 / 5.5) < 0.15 < 2 * np.log10(5.5 / 4.5)
    still = bare_ground(0.0)
    darkest = least_light(*still, 20.0)
    assert 255 * encode_srgb(np.array(darkest)) == pytest.approx(6, abs=0.01)
    # Shot noise: at a quarter of the light the spread is twice as large, so twice the noise needs four times the light.
    one, two = (least_light(*bare_ground(noise), 4.0) for noise in (0.005, 0.01))
    assert two == pytest.approx(4 * one, rel=0.05)
    assert one > darkest


def bare_ground(noise: float) -> tuple[Light, Surfaces]:
    density = np.random.default_rng(1).normal(0, noise, (400, 500)).astype(np.float32)
    light = Light(np.stack([density] * 3), np.full((4, 5, 3), -0.2, np.float32), np.zeros((400, 500), bool), 1)
    everywhere = np.ones((400, 500), bool)
    return light, Surfaces(everywhere, ~everywhere, ~everywhere)


@settings(max_examples=40, deadline=None)
@given(x=st.floats(0, 319), y=st.floats(0, 239))
def test_every_place_has_words(x: float, y: float) -> None:
    words = place_in_words(x, y, (240, 320))
    assert words.startswith(("at the ", "on the ", "in the middle"))
    assert ("top" in words) == (y < 80)
    assert ("right" in words) == (x >= 320 * 2 / 3)


@pytest.mark.parametrize("size", [(1, 1), (7, 3), (30, 900)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_any_picture_is_answered(size: tuple[int, int], level: int) -> None:
    pixels = np.full((*size, 3), level, np.uint8)
    light = see_light(Shot(pixels, "0" * 64, "flat"), Setup())
    surfaces = find_surfaces(light.density, None, None)
    outline = np.array([[0.0, 0], [size[1], 0], [0, size[0]]])
    view = coarse_view(light, surfaces, None, [outline])
    glare = find_glare(view)
    find_exposure(view, glare.mask)
    assert panel_over_produce(view, LitFrom.ABOVE) == 0
    assert glare.share == 0
    assert find_haze(view).steam == 0
    assert view.enlarged(find_shade(view, light, surfaces, LitFrom.ABOVE).mask).shape == light.clipped.shape
