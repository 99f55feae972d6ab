"""Blank shots -> even light, fixed marks, noise; on panels drawn here with known truth."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.panel import PanelMeasurement, measure_panel
from vision.errors import ProfileError
from vision.light import encode_srgb, linear_light
from vision.types import FixedMark, Shot

WIDE, HIGH, PX_PER_MM = 1000, 760, 10.0


def bare(wide: int = WIDE, high: int = HIGH, fall: float = 0.4, mottle: float = 0.03) -> NDArray[np.float32]:
    """Linear light of an empty panel: a falloff off the middle, lamps every 12 mm, a warm tint."""
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    away = ((x - 0.45 * wide) / (wide / 2)) ** 2 + ((y - 0.5 * high) / (high / 2)) ** 2
    lamps = 1 + mottle * np.cos(2 * np.pi * x / 120) * np.cos(2 * np.pi * y / 120)
    return (0.6 * (1 - fall * away / 2) * lamps)[..., None] * np.array([1, 0.95, 0.85], np.float32)


def darken(light: NDArray[np.float32], cover: NDArray[np.float32], density: float) -> None:
    light *= 10 ** (-density * cv2.GaussianBlur(cover, (0, 0), 0.8))[..., None]


def blob(
    light: NDArray[np.float32], x: float, y: float, long: float, wide: float, angle: float, density: float
) -> None:
    cover = np.zeros(light.shape[:2], np.float32)
    cv2.ellipse(cover, ((x, y), (long, wide), angle), (1.0,), -1)
    darken(light, cover, density)


def scratch(light: NDArray[np.float32], points: list[tuple[int, int]], density: float, wide: int = 2) -> None:
    cover = np.zeros(light.shape[:2], np.float32)
    cv2.polylines(cover, [np.array(points, np.int32)], False, (1.0,), wide, cv2.LINE_AA)
    darken(light, cover, density)


@cache
def _codes(bits: int) -> NDArray[Any]:
    codes = np.rint(encode_srgb(np.arange(65536) / 65535) * (2**bits - 1))
    return codes.astype(np.uint8 if bits == 8 else np.uint16)


def shoot(light: NDArray[np.float32], seed: int, noise: float = 0.01, gain: Any = 1.0, bits: int = 8) -> Shot:
    """A photograph of it; `noise` is the relative deviation at half of full scale and grows as 1/sqrt(light) below it."""
    rng = np.random.default_rng(seed)
    lit = light * np.asarray(gain, np.float32)
    grain = rng.standard_normal(lit.shape, dtype=np.float32) * noise / np.sqrt(np.maximum(lit / 0.5, 0.02))
    pixels = _codes(bits)[np.clip(np.rint(lit * (1 + grain) * 65535), 0, 65535).astype(np.uint16)]
    return Shot(pixels=pixels, sha256=f"{seed:064x}", name=f"blank{seed}.png")


def marked() -> NDArray[np.float32]:
    """Two scratches and three specks of dust."""
    light = bare()
    scratch(light, [(120, 150), (420, 240)], 0.15)
    scratch(light, [(600, 700), (900, 560)], 0.10)
    blob(light, 300, 500, 22, 15, 30, 0.6)
    blob(light, 700, 200, 12, 8, 90, 0.4)
    blob(light, 850, 400, 7, 6, 0, 0.5)
    return light


@pytest.fixture(scope="module")
def measured() -> PanelMeasurement:
    return measure_panel([shoot(marked(), seed) for seed in (1, 2, 3)], PX_PER_MM)


def two_mm_means(shot: Shot, measured: PanelMeasurement | None) -> NDArray[np.float64]:
    """Relative deviation of 2 mm means from their mean, RMS per channel, after division by the map where one is given."""
    light = linear_light(shot.pixels).astype(np.float64)
    if measured is not None:
        light /= cv2.resize(measured.even_light.level, (shot.width_px, shot.height_px), interpolation=cv2.INTER_LINEAR)
    side = round(2 * PX_PER_MM)
    high, wide = shot.height_px // side, shot.width_px // side
    means = light[: high * side, : wide * side].reshape(high, side, wide, side, 3).mean(axis=(1, 3))
    return np.asarray(means.std(axis=(0, 1)) / means.mean(axis=(0, 1)))


def strip_distance(mark: FixedMark, x: float, y: float) -> float:
    """How far outside a mark's strip a place lies, in pixels; 0 inside."""
    c, s = math.cos(math.radians(mark.angle_deg)), math.sin(math.radians(mark.angle_deg))
    along = abs((x - mark.x_px) * c + (y - mark.y_px) * s) - mark.length_px / 2
    across = abs((y - mark.y_px) * c - (x - mark.x_px) * s) - mark.width_px / 2
    return math.hypot(max(0.0, along), max(0.0, across))


def test_another_blank_is_flat_after_division(measured: PanelMeasurement) -> None:
    # The requirement: 1% RMS of 2 mm means. The second blank has no marks: those of the first must leave no print in the map.
    second = shoot(bare(), 9, gain=0.9)
    assert two_mm_means(second, None).min() > 0.05
    assert two_mm_means(second, measured).max() < 0.01


def test_map_noise_falls_with_the_root_of_the_number_of_blanks() -> None:
    # EMVA 1288: averaging n frames divides the temporal variance by n.
    flat = np.full((384, 512, 3), 0.5, np.float32)
    shots = [shoot(flat, seed, noise=0.05, bits=16) for seed in range(9)]

    def error(n: int) -> float:
        level = measure_panel(shots[:n]).even_light.level.astype(np.float64)
        return float((level.std(axis=(0, 1)) / level.mean(axis=(0, 1))).mean())

    one = error(1)
    assert one < 0.1 * 0.05  # a cell is the mean of many pixels
    assert one / error(4) == pytest.approx(2, rel=0.1)
    assert one / error(9) == pytest.approx(3, rel=0.1)


@pytest.mark.parametrize(("count", "named"), [(1, "place"), (3, "time")])
def test_noise_is_the_drawn_noise_as_density(count: int, named: str) -> None:
    # d(log10 v) = dv / (v ln 10): 2% of light is 0.0087 of density (EMVA 1288 temporal noise, in relative units).
    flat = np.full((384, 512, 3), 0.5, np.float32)
    measured = measure_panel([shoot(flat, seed, noise=0.02, bits=16) for seed in range(count)])
    assert measured.noise == pytest.approx((0.02 / math.log(10),) * 3, rel=0.03)
    assert measured.noise_from == named


def test_marks_are_where_they_were_drawn(measured: PanelMeasurement) -> None:
    dust = [mark for mark in measured.marks if mark.doubtful]
    lines = [mark for mark in measured.marks if not mark.doubtful]
    assert [(m.x_px, m.y_px) for m in dust] == [
        (pytest.approx(x, abs=1.5), pytest.approx(y, abs=1.5)) for x, y in ((700, 200), (850, 400), (300, 500))
    ]
    assert [m.density for m in dust] == pytest.approx([0.4, 0.5, 0.6], abs=0.1)
    first, second = lines
    assert (first.x_px, first.y_px) == (pytest.approx(270, abs=2), pytest.approx(195, abs=2))
    assert first.angle_deg == pytest.approx(math.degrees(math.atan2(90, 300)), abs=1)
    assert first.length_px == pytest.approx(math.hypot(300, 90), rel=0.05)
    assert first.width_px < 9
    assert second.angle_deg == pytest.approx(180 - math.degrees(math.atan2(140, 300)), abs=1)
    assert measured.moved == ()


def test_marks_of_a_large_shot_are_in_its_own_pixels() -> None:
    light = bare(2400, 1900)
    blob(light, 1500.0, 800.0, 40, 24, 0, 0.5)
    (mark,) = measure_panel([shoot(light, 1)], 20.0).marks
    assert (mark.x_px, mark.y_px) == (pytest.approx(1500, abs=1), pytest.approx(800, abs=1))
    assert mark.length_px == pytest.approx(44, abs=6)


@pytest.mark.parametrize(("blanks", "shows_it"), [(2, 1), (3, 2), (5, 1)])
def test_what_some_blanks_show_is_no_fixed_mark(blanks: int, shows_it: int) -> None:
    still = bare()
    blob(still, 200, 200, 14, 10, 0, 0.4)
    visited = still.copy()
    blob(visited, 640, 420, 20, 14, 20, 0.7)
    measured = measure_panel([shoot(visited if k < shows_it else still, k) for k in range(blanks)], PX_PER_MM)
    assert [(round(m.x_px, -1), round(m.y_px, -1)) for m in measured.marks] == [(200, 200)]
    assert [(round(m.x_px, -1), round(m.y_px, -1)) for m in measured.moved] == [(640, 420)]
    assert two_mm_means(shoot(bare(), 99), measured).max() < 0.01


@pytest.mark.parametrize(
    ("long_mm", "wide_mm", "density", "doubtful"),
    [
        (2.0, 1.2, 0.6, True),  # aphid
        (1.2, 0.3, 0.3, True),  # thrips: 4 times as long as wide
        (9.0, 1.2, 0.3, True),  # larva
        (18.0, 0.3, 0.3, False),  # longer than any animal that is as thin
        (8.0, 0.2, 0.3, False),
        (2.0, 1.2, -0.06, False),  # lighter than the panel: nothing that lies on it
    ],
)
def test_what_could_be_an_insect_is_doubtful(long_mm: float, wide_mm: float, density: float, doubtful: bool) -> None:
    # Body sizes from memory and common practice.
    light = bare()
    blob(light, 500, 400, long_mm * PX_PER_MM, wide_mm * PX_PER_MM, 25, density)
    measured = measure_panel([shoot(light, 1)], PX_PER_MM)
    assert [mark.doubtful for mark in measured.marks] == [doubtful]


def test_something_on_a_scratch_is_asked_about() -> None:
    light = bare()
    scratch(light, [(200, 300), (700, 400)], 0.12)
    blob(light, 450, 350, 18, 12, 10, 0.6)
    marks = measure_panel([shoot(light, 1)], PX_PER_MM).marks
    assert [(round(m.x_px, -1), round(m.y_px, -1)) for m in marks if m.doubtful] == [(450, 350)]
    for x, y in ((220, 304), (330, 326), (570, 374), (680, 396)):
        assert any(not m.doubtful and strip_distance(m, x, y) == 0 for m in marks)


def test_fragments_in_line_are_one_scratch() -> None:
    light = bare()
    for start in range(200, 700, 100):
        scratch(light, [(start, 300 + start // 5), (start + 80, 316 + start // 5)], 0.12)
    (mark,) = measure_panel([shoot(light, 1)], PX_PER_MM).marks
    assert not mark.doubtful
    assert mark.length_px == pytest.approx(math.hypot(480, 96), rel=0.05)


def test_a_winding_mark_covers_only_itself() -> None:
    light = bare()
    turn = [(round(500 + 200 * math.cos(a)), round(380 + 200 * math.sin(a))) for a in np.linspace(0, 2 * math.pi, 90)]
    scratch(light, turn, 0.1)
    marks = measure_panel([shoot(light, 1)], PX_PER_MM).marks
    assert max(min(strip_distance(m, x, y) for m in marks) for x, y in turn) < 3
    assert min(strip_distance(m, 500, 380) for m in marks) > 150


def test_exposure_and_white_balance_may_change_between_blanks(measured: PanelMeasurement) -> None:
    gains = [(1.0, 1.0, 1.0), (0.7, 0.75, 0.8), (0.9, 0.8, 0.7)]
    other = measure_panel([shoot(marked(), seed, gain=g) for seed, g in zip((4, 5, 6), gains, strict=True)], PX_PER_MM)
    assert len(other.marks) == len(measured.marks)
    assert other.exposure_spread == pytest.approx(1 / 0.75, rel=0.03)
    assert measured.exposure_spread == pytest.approx(1, rel=0.01)
    assert two_mm_means(shoot(bare(), 9), other).max() < 0.01


def test_a_panel_smaller_than_the_picture(measured: PanelMeasurement) -> None:
    light = np.full((HIGH, WIDE, 3), 0.01, np.float32)
    light[100:660, 120:880] = bare(760, 560)
    blob(light, 400, 300, 14, 10, 0, 0.4)
    part = measure_panel([shoot(light, 1)], PX_PER_MM)
    assert part.panel_share == pytest.approx(760 * 560 / (WIDE * HIGH), rel=0.1)
    assert [(round(m.x_px, -1), round(m.y_px, -1)) for m in part.marks] == [(400, 300)]
    # Beyond the panel its light goes on, so that the surround reads dark and not as bare panel.
    assert part.even_light.level[0, 0].mean() > 0.2
    assert measured.panel_share == 1


@pytest.mark.parametrize("mottle", [0.0, 0.1])
@pytest.mark.parametrize("noise", [0.005, 0.04])
def test_a_bare_panel_has_no_marks(mottle: float, noise: float) -> None:
    measured = measure_panel([shoot(bare(mottle=mottle), seed, noise=noise) for seed in (1, 2)], PX_PER_MM)
    assert (measured.marks, measured.moved) == ((), ())


def leaf() -> NDArray[np.float32]:
    light = bare()
    blob(light, 450, 350, 220, 120, 20, 0.4)
    return light


def littered() -> NDArray[np.float32]:
    light = bare()
    for x in range(60, 960, 90):
        for y in range(60, 720, 90):
            blob(light, x, y, 12, 9, x, 0.4)
    return light


def small_panel() -> NDArray[np.float32]:
    light = np.full((HIGH, WIDE, 3), 0.01, np.float32)
    light[200:500, 300:700] = 0.5
    return light


@pytest.mark.parametrize(
    ("light", "gain", "said"),
    [
        (bare(), 2.0, "is over-exposed: "),
        (bare(), 0.03, "is too dark: "),
        (np.zeros((HIGH, WIDE, 3), np.float32), 1.0, "Is the panel on?"),
        (np.ones((HIGH, WIDE, 3), np.float32), 1.0, "Expose less"),
        (leaf(), 1.0, "This is not a shot of an empty panel: something dark covers"),
        (littered(), 1.0, "Wipe the panel and take the blanks again."),
        (small_panel(), 1.0, "go closer"),
        (bare(fall=0.95) ** 2 / 0.6, 1.0, "not lit evenly enough"),
        (np.full((40, 60, 3), 0.5, np.float32), 1.0, "is 60 x 40 pixels; a panel profile needs"),
    ],
)
def test_unfit_blanks_are_refused_with_a_sentence(light: NDArray[np.float32], gain: float, said: str) -> None:
    with pytest.raises(ProfileError) as refused:
        measure_panel([shoot(light, 1, gain=gain)], PX_PER_MM)
    assert said in str(refused.value)
    assert str(refused.value).endswith((".", "?"))


def test_blanks_that_do_not_belong_together_are_refused() -> None:
    one, other = shoot(bare(), 1), shoot(bare(800, 600), 2)
    with pytest.raises(ProfileError, match=r"blank2\.png is 800 x 600 pixels and blank1\.png is 1000 x 760"):
        measure_panel([one, other])
    with pytest.raises(ProfileError, match=r"blank1\.png and again\.png are the same shot"):
        measure_panel([one, replace(one, name="again.png")])
    with pytest.raises(ProfileError, match="at least one shot"):
        measure_panel([])
    with pytest.raises(ProfileError, match="is not a scale"):
        measure_panel([one], float("nan"))


def test_shots_of_8_and_16_bits_give_the_same_map() -> None:
    eight, sixteen = (measure_panel([shoot(marked(), 1, bits=bits)], PX_PER_MM) for bits in (8, 16))
    np.testing.assert_allclose(eight.even_light.level, sixteen.even_light.level, rtol=0.003)
    assert len(eight.marks) == len(sixteen.marks)
