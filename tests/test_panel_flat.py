"""A second blank reads flat after the correction: on panels drawn by numpy alone, of many kinds, also where they flicker."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_panels import Light, Panel, lamps, photograph

from calib.flatness import flatness
from calib.panel import measure_panel
from vision.conditions.flicker import Bands, find_bands, find_flicker, without_bands
from vision.foreground import find_surfaces
from vision.pipeline import see_light
from vision.types import EvenLight, Setup

SMALL = Panel(1000, 750, 10.0, marks=((300.0, 220.0, 26.0, 16.0, 20.0, 0.5), (700.0, 500.0, 190.0, 3.0, 12.0, 0.15)))
FLAT = 0.01
"""The requirement: 1% RMS of the means over 2 mm."""


@pytest.mark.parametrize(
    "panel",
    [
        SMALL,
        replace(SMALL, view_deg=33.0, hot=0.5, hot_at=(0.1, 0.2)),
        replace(SMALL, pitch_mm=(10.0, 10.0)),
        replace(SMALL, pitch_mm=(25.0, 12.0), edge_cast=0.2),
        replace(SMALL, tilt=0.1, pitch_mm=(12.0, 18.0)),
        replace(SMALL, px_per_mm=6.8, pitch_mm=(10.0, 10.0)),
    ],
    ids=["falloff", "off-centre", "rows at 10 mm", "coloured edge", "tilted", "coarse"],
)
@pytest.mark.parametrize(("bits", "blanks"), [(8, 1), (16, 2)])
def test_a_second_blank_is_flat(panel: Panel, bits: int, blanks: int) -> None:
    light = lamps(panel)
    shots = [photograph(light, seed, bits=bits) for seed in range(blanks)]
    level = measure_panel(shots, panel.px_per_mm).even_light
    # Other noise, exposure and white balance, and wiped: what lay on the first must leave no print in the map.
    second = photograph(lamps(replace(panel, marks=())), 99, gain=(0.8, 0.7, 0.9), noise=0.012, bits=bits)
    assert min(flatness(second, None, panel.px_per_mm)) > 0.05
    assert max(flatness(second, level, panel.px_per_mm)) < 0.4 * FLAT
    for known in (panel.px_per_mm, None):
        seen = see_light(second, Setup(px_per_mm=known, even_light=level))
        side = round(2 * panel.px_per_mm / seen.step)
        high, wide = seen.density.shape[1] // side, seen.density.shape[2] // side
        ratio = (10.0 ** -seen.density[:, : high * side, : wide * side]).reshape(3, high, side, wide, side)
        assert ratio.mean(axis=(2, 4)).std(axis=(1, 2)).max() < FLAT


def test_a_large_shot_is_flat_too() -> None:
    panel = Panel(2600, 1800, 13.0, pitch_mm=(10.0, 15.0))  # searched for marks at half its size
    light = lamps(panel)
    level = measure_panel([photograph(light, 1)], 13.0).even_light
    assert max(flatness(photograph(light, 2, gain=(0.9, 0.9, 0.8)), level, 13.0)) < 0.4 * FLAT


def test_flatness_of_a_known_ripple() -> None:
    # A sinusoid of amplitude a has the standard deviation a / sqrt(2); over 2 of 16 mm a mean keeps sin(x)/x of it, x = pi / 8.
    x = np.arange(1600)
    light = np.full((400, 1600, 3), 0.5, np.float32) * (1 + 0.04 * np.cos(2 * np.pi * x / 160))[None, :, None]
    expected = 0.04 / np.sqrt(2) * np.sin(np.pi / 8) / (np.pi / 8)
    assert flatness(photograph(light.astype(np.float32), 1, bits=16), None, 10.0) == pytest.approx(
        (expected,) * 3, rel=0.02
    )


def test_a_mark_is_left_out_of_flatness() -> None:
    light = lamps(SMALL)
    measured = measure_panel([photograph(light, s) for s in (1, 2)], 10.0)
    again = photograph(light, 3)
    with_marks = max(flatness(again, measured.even_light, 10.0))
    assert max(flatness(again, measured.even_light, 10.0, measured.marks)) < 0.3 * with_marks


@pytest.mark.parametrize("bands", [(0.02, 150.0, "rows"), (0.05, 300.0, "rows"), (0.02, 120.0, "columns")])
def test_wandering_bands_are_told_and_taken_out(bands: tuple[float, float, str]) -> None:
    # The lamps' own rows have nearly the same period as one of the bands.
    light = lamps(replace(SMALL, pitch_mm=(0.0, 14.0), marks=()))
    measured = measure_panel([photograph(light, seed, bands=bands) for seed in range(4)], 10.0)
    assert measured.flicker == pytest.approx(bands[0], rel=0.05)
    assert max(flatness(photograph(light, 99), measured.even_light, 10.0)) < 0.4 * FLAT


@pytest.mark.parametrize("count", [2, 5])
def test_rows_of_lamps_that_stay_are_no_flicker(count: int) -> None:
    light = lamps(replace(SMALL, pitch_mm=(0.0, 14.0), ripple=0.05))
    assert measure_panel([photograph(light, seed) for seed in range(count)], 10.0).flicker == 0.0


def noisy(height: int = 450, width: int = 600, seed: int = 1) -> Light:
    return np.log10(1 + np.random.default_rng(seed).normal(0, 0.02, (height, width))).astype(np.float32)


@pytest.mark.parametrize("axis", ["rows", "columns"])
@pytest.mark.parametrize(("amplitude", "period"), [(0.005, 25.0), (0.02, 90.0), (0.05, 200.3)])
def test_bands_are_found_as_drawn_and_taken_out(axis: str, amplitude: float, period: float) -> None:
    i = np.arange(450 if axis == "rows" else 600)
    wave = np.log10(1 + amplitude * np.cos(2 * np.pi * (i - 13) / period)).astype(np.float32)
    drawn = noisy() + (wave[:, None] if axis == "rows" else wave[None, :])
    found = find_bands(drawn)
    assert found is not None
    assert (found.axis, found.amplitude) == (axis, pytest.approx(amplitude, rel=0.06))
    assert found.period_px == pytest.approx(period, rel=0.02)
    away = (found.peak_px - 13 + period / 2) % period - period / 2
    assert abs(away) < 0.05 * period
    assert find_bands(without_bands(drawn, found)) is None


def test_produce_in_the_way_does_not_hide_bands_nor_make_them() -> None:
    known = np.ones((450, 600), bool)
    known[60:260, 100:420] = False
    wave = np.log10(1 + 0.03 * np.cos(2 * np.pi * np.arange(450) / 70)).astype(np.float32)[:, None]
    produce = np.where(known, 0, -0.6).astype(np.float32)
    found = find_bands(noisy() + wave + produce, known)
    assert found is not None
    assert found.amplitude == pytest.approx(0.03, rel=0.1)
    assert find_bands(noisy() + produce, known) is None


@pytest.mark.parametrize("seed", range(12))
def test_noise_and_clouds_are_no_bands(seed: int) -> None:
    cloud = np.random.default_rng(seed).normal(0, 1, (450, 600)).astype(np.float32)
    cloud = cv2.GaussianBlur(cloud, (0, 0), 5 + 3 * seed)
    assert find_bands(noisy(seed=seed) + (0.02 / cloud.std() * cloud).astype(np.float32)) is None


def test_bands_on_a_scored_shot_need_the_map() -> None:
    panel = replace(SMALL, marks=(), pitch_mm=(0.0, 14.0))
    light = lamps(panel)
    level = measure_panel([photograph(light, s) for s in (1, 2)], 10.0).even_light

    def found(even_light: EvenLight | None, bands: tuple[float, float, str] | None) -> Bands | None:
        seen = see_light(photograph(light, 9, bands=bands), Setup(px_per_mm=10.0, even_light=even_light))
        return find_flicker(seen, find_surfaces(seen.density, None, 10.0 / seen.step), even_light)

    told = found(level, (0.03, 120.0, "rows"))
    assert told is not None
    assert (told.axis, told.amplitude) == ("rows", pytest.approx(0.03, rel=0.15))
    assert found(level, None) is None
    assert found(None, (0.03, 120.0, "rows")) is None
