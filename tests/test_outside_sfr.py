"""The edge response against the closed form of a Gaussian's, and the derivative's correction of ISO 12233 (tests/outside/sfr.csv)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from outside_values import rows
from scipy.special import ndtr

from calib.edge import EdgeProfile, edge_profile, falls_to, frequency_response, together
from calib.edge_blur import fit_blur
from vision.light import decode_srgb, encode_srgb, linear_light

LENGTH_PX, ROOM_PX = 48.0, 18.0
"""Of the slip's edges at 8 px/mm: about the shortest there are."""


def edge_shot(
    blur_px: float,
    noise: float = 0.0,
    sharpen: float = 0.0,
    radius_px: float = 1.0,
    angle_deg: float = 95.0,
    jpeg: int | None = None,
    seed: int = 0,
) -> tuple[np.ndarray, tuple[float, float], tuple[float, float]]:
    """A point-sampled Gaussian edge in linear light (h, w), and its two ends; noise is a share of the step."""
    h, w = 140, 140
    y, x = np.mgrid[0:h, 0:w].astype(float)
    a = np.deg2rad(angle_deg)
    way, normal = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    centre = np.array([w / 2 + 0.3, h / 2 - 0.2])
    light = 0.08 + 0.55 * ndtr(((x - centre[0]) * normal[0] + (y - centre[1]) * normal[1]) / blur_px)
    light = light + np.random.default_rng(seed).normal(0, 0.55 * noise, light.shape)
    seen = encode_srgb(np.clip(light, 0, 1))
    if sharpen:
        seen = seen + sharpen * (seen - cv2.GaussianBlur(seen, (0, 0), radius_px))
    levels = np.clip(np.rint(seen * 255), 0, 255).astype(np.uint8)
    if jpeg is not None:
        levels = cv2.imdecode(cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, jpeg])[1], cv2.IMREAD_GRAYSCALE)
    ends = centre - way * LENGTH_PX / 2, centre + way * LENGTH_PX / 2
    return linear_light(levels), (float(ends[0][0]), float(ends[0][1])), (float(ends[1][0]), float(ends[1][1]))


def read(*args: float, edges: int = 4, **more: float) -> EdgeProfile:
    """Four edges of one direction, as the slip's blocks give them, taken together."""
    profiles = []
    for k in range(edges):
        light, start, end = edge_shot(*args, angle_deg=94.0 + 1.1 * k, seed=k, **more)  # type: ignore[arg-type]
        profile = edge_profile(light, start, end, ROOM_PX)
        assert profile is not None
        profiles.append(profile)
    return together(profiles)


def mtf(profile: EdgeProfile, share: float) -> float:
    return falls_to(*frequency_response(profile, fit_blur(profile).fitted), share) or np.nan


FORMULA = [row for row in rows("sfr") if row["topic"] == "gaussian"]


@pytest.mark.parametrize("row", FORMULA, ids=lambda row: f"{row['quantity']}-{row['sigma_px']}")
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_gaussian_blur_has_its_closed_form(row: dict[str, str], noise: float) -> None:
    blur_px, value = float(row["sigma_px"]), float(row["value"])
    seen = mtf(read(blur_px, noise), 0.5 if row["quantity"] == "mtf50" else 0.1)
    assert seen == pytest.approx(value, rel=0.03 if row["quantity"] == "mtf50" else 0.06)


@pytest.mark.parametrize("blur_px", [0.7, 1.0, 1.5, 2.0, 3.0])
def test_mtf50_times_blur(blur_px: float) -> None:
    # sqrt(ln 2 / 2) / pi = 0.18739 (MTF of a Gaussian: exp(-2 pi^2 sigma^2 f^2)).
    assert mtf(read(blur_px, 0.02), 0.5) * blur_px == pytest.approx(0.18739, rel=0.03)


def test_the_derivative_is_corrected_as_the_standard_has_it() -> None:
    # Response of [-1/2, 0, 1/2] on four bins a pixel: 0.995893, 0.974495, 0.900316 at 0.1, 0.25, 0.5 cycles/px.
    for row in (row for row in rows("sfr") if row["topic"] == "derivative"):
        x = 2 * np.pi * float(row["frequency_cy_px"]) / 4
        assert np.sin(x) / x == pytest.approx(float(row["value"]), abs=1e-6)
    place = (np.arange(-80, 80) + 0.5) / 4
    sharp = EdgeProfile(place, np.asarray(ndtr(place / 0.25)), np.ones(160), 0.0, 0.1, 0.9, (1.0, 0.0))
    frequency, response = frequency_response(sharp, sharp.light)
    at = np.searchsorted(frequency, 0.5)
    # A Gaussian of 0.25 px passes exp(-2 pi^2 / 16 / 4) at half a cycle; without the correction a tenth of it would be missing.
    assert response[at] == pytest.approx(np.exp(-2 * np.pi**2 * 0.25**2 * frequency[at] ** 2), rel=0.01)


@pytest.mark.parametrize("blur_px", [0.7, 1.0, 2.0, 3.0])
@pytest.mark.parametrize(("amount", "radius_px"), [(0.5, 1.0), (1.0, 1.5), (1.5, 0.8), (1.5, 2.5)])
def test_the_blur_under_an_unsharp_mask(blur_px: float, amount: float, radius_px: float) -> None:
    blur = fit_blur(read(blur_px, 0.01, amount, radius_px, jpeg=85))
    assert blur.blur_px == pytest.approx(blur_px, rel=0.15)


def test_sharpening_raises_mtf50_and_is_named() -> None:
    profile = read(1.0, 0.01, 1.2, 1.6, jpeg=85)
    assert mtf(profile, 0.5) > 1.3 * 0.18739
    blur = fit_blur(profile)
    assert blur.sharpened
    assert blur.overshoot > 0.03


@pytest.mark.parametrize("blur_px", [0.7, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("jpeg", [None, 85])
def test_an_edge_that_was_not_sharpened_is_not_named_so(blur_px: float, jpeg: int | None) -> None:
    blur = fit_blur(read(blur_px, 0.02, jpeg=jpeg))
    assert not blur.sharpened
    assert blur.blur_px == pytest.approx(blur_px, rel=0.05)


@pytest.mark.parametrize("tilt", [-0.004, 0.004])
def test_uneven_light_is_no_blur(tilt: float) -> None:
    light, start, end = edge_shot(1.2)
    x = np.arange(light.shape[1]) - 70
    profile = edge_profile(light * (1 + tilt * x), start, end, ROOM_PX)
    assert profile is not None
    assert fit_blur(profile).blur_px == pytest.approx(1.2, rel=0.06)


def test_what_is_no_edge_gives_none() -> None:
    light, start, end = edge_shot(1.0)
    assert edge_profile(np.full_like(light, 0.4), start, end, ROOM_PX) is None
    assert edge_profile(light, start, start, ROOM_PX) is None
    assert edge_profile(light, (-5.0, 10.0), (-5.0, 60.0), ROOM_PX) is None
    assert edge_profile(np.minimum(light * 4, 1.0), start, end, ROOM_PX) is None
    assert float(decode_srgb(np.array(0.5))) == pytest.approx(0.21404114, abs=1e-7)
