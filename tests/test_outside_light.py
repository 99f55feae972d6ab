"""Light and colour against published figures (tests/outside/: source beside each row)."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from outside_values import rows
from skimage import color

from vision.colour import LUMINANCE, ciede2000, lab_of_density, luminance_density
from vision.light import decode_srgb, encode_srgb, linear_light, log_light, optical_density

_NUMBER = r"-?\d+(?:\.\d+)?"


@pytest.mark.parametrize("row", rows("ciede2000"), ids=lambda r: r["input"][:30])
def test_ciede2000_of_sharma_wu_and_dalal(row: dict[str, str]) -> None:
    groups = re.findall(rf"\(\s*({_NUMBER})\s+({_NUMBER})\s+({_NUMBER})\s*\)", row["input"])
    one, two = (np.array([[float(v) for v in g]]) for g in groups)
    assert ciede2000(one, two)[0] == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]) + 5e-5)


def test_all_34_pairs_are_there() -> None:
    assert len(rows("ciede2000")) == 34


@pytest.mark.parametrize("row", rows("srgb"), ids=lambda r: r["input"])
def test_srgb_of_iec_61966_2_1(row: dict[str, str]) -> None:
    given_value = row["input"].split()[1]
    value = float(given_value.split("/")[0]) / float([*given_value.split("/"), "1"][1])
    curve = decode_srgb if row["topic"] == "srgb_decode" else encode_srgb
    assert float(curve(np.array(value))) == pytest.approx(float(row["expected"]), abs=1e-7)


def test_pixels_decode_as_the_curve_says() -> None:
    # IEC 61966-2-1 at 8 bits: 128 -> 0.21586050, 188 -> 0.50288646; the tables in use must give the same.
    pixels = np.array([[[0, 128, 188], [10, 255, 1]]], np.uint8)
    linear = linear_light(pixels)
    assert linear[0, 0, 1] == pytest.approx(0.21586050, abs=1e-7)
    assert linear[0, 0, 2] == pytest.approx(0.50288646, abs=1e-7)
    assert linear_light(pixels.astype(np.uint16) * 257) == pytest.approx(linear, abs=1e-7)
    assert np.isfinite(log_light(pixels)).all()
    assert log_light(pixels)[1, 0, 0] == pytest.approx(np.log10(0.21586050), abs=1e-6)


@pytest.mark.parametrize("row", [r for r in rows("absorbance") if "T=" in r["input"] and "path" not in r["input"]])
def test_absorbance_of_beer_and_lambert(row: dict[str, str]) -> None:
    found = re.search(r"T=(0?\.\d+)", row["input"])
    assert found is not None
    density = float(optical_density(np.array(float(found[1]))))
    assert density == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_path_length_follows_from_absorbance() -> None:
    # University of Guelph physics tutorial doc18a: 70% through 1 cm, so 20% through about 4.5 cm of the same.
    per_cm = float(optical_density(np.array(0.70)))
    assert float(optical_density(np.array(0.20))) / per_cm == pytest.approx(4.51, abs=0.02)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20))
def test_encoding_undoes_decoding(values: list[float]) -> None:
    # The two branches of the curve meet only to within 1e-7 with the rounded constants of the standard.
    assert encode_srgb(decode_srgb(np.array(values))) == pytest.approx(values, abs=1e-6)


def test_luminance_weights_are_those_of_the_standard() -> None:
    assert pytest.approx([0.2126, 0.7152, 0.0722]) == LUMINANCE  # IEC 61966-2-1


@given(st.floats(0.0, 2.0))
def test_grey_density_is_neutral_and_the_ground_is_white(density: float) -> None:
    lab = lab_of_density(np.full((1, 3), density))[0]
    assert abs(lab[1]) < 0.02
    assert abs(lab[2]) < 0.02
    # CIE 15: L* = 116 Y^(1/3) - 16 above Y = 0.008856; half the light is L* = 76.07.
    y = 10**-density
    expected = 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y
    assert lab[0] == pytest.approx(expected, abs=0.05)
    assert luminance_density(np.full((1, 3), density))[0] == pytest.approx(density, abs=1e-6)


@given(st.lists(st.floats(0.001, 1.0), min_size=3, max_size=3))
def test_lab_agrees_with_scikit_image_on_srgb(linear: list[float]) -> None:
    ours = lab_of_density(-np.log10(np.array([linear])))[0]
    theirs = color.rgb2lab(encode_srgb(np.array([[linear]])))[0, 0]
    assert ours == pytest.approx(theirs, abs=0.1)
