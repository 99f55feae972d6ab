"""Profiles, printing inks, transparency, palettes: what a stored value looks like."""

from __future__ import annotations

import struct
import zlib
from typing import Any

import numpy as np
import pytest
from PIL import Image
from written_pictures import (
    ADOBE,
    ADOBE_XY,
    P3,
    P3_XY,
    SEEN,
    SRGB,
    Pixels,
    chunk,
    encoded,
    gamma_tag,
    icc,
    ink_picture,
    linear,
    near,
    png16,
    quarters,
    ramp,
    saved,
    table_icc,
    tiff,
    to_srgb,
    xyz_tag,
)

from vision.decode import decode_shot
from vision.errors import UnreadableShot
from vision.icc import BROKEN_PROFILE, P3_PRIMARIES, PLAIN_INKS, WRONG_PROFILE, of_primaries, read_matrix_profile
from vision.raster import EXTRA_CHANNEL, ON_WHITE, ONE_CLEAR_COLOUR
from vision.tiffs import INKS_16


def test_p3_matrix_as_published() -> None:
    """Display P3 to linear sRGB, W3C CSS Color 4, sample code (figures from memory, four digits)."""
    wanted = [[1.2249, -0.2249, 0], [-0.0420, 1.0420, 0], [-0.0197, -0.0786, 1.0983]]

    embedded = read_matrix_profile(P3)
    assert embedded is not None
    np.testing.assert_allclose(of_primaries(P3_PRIMARIES).to_linear_srgb, wanted, atol=6e-4)
    np.testing.assert_allclose(embedded.to_linear_srgb, wanted, atol=6e-4)


@pytest.mark.parametrize(("profile", "primaries", "gamma"), [(P3, P3_XY, None), (ADOBE, ADOBE_XY, 563 / 256)])
def test_wide_colours_become_srgb(profile: bytes, primaries: Any, gamma: float | None) -> None:
    """Against the published primaries and tone curves, at both depths and in three containers."""
    pixels = ramp((24, 24, 3), 65535)
    wanted = to_srgb(pixels / 65535, primaries, gamma)
    near(decode_shot(tiff(pixels, photometric="rgb", iccprofile=profile), "x.tif"), wanted * 65535, 40)
    embedded = chunk(b"iCCP", b"p\0\0" + zlib.compress(profile))
    near(decode_shot(png16(pixels, embedded), "x.png"), wanted * 65535, 40)
    small = (pixels >> 8).astype(np.uint8)
    wanted = to_srgb(small / 255, primaries, gamma) * 255
    near(decode_shot(saved(small, "PNG", icc_profile=profile), "x.png"), wanted, 1.5)
    near(decode_shot(tiff(small, photometric="rgb", iccprofile=profile), "x.tif"), wanted, 1.5)
    near(decode_shot(saved(small, "WEBP", lossless=True, icc_profile=profile), "x.webp"), wanted, 1.5)


def test_p3_in_jpeg_and_heic() -> None:
    flat = np.full((32, 32, 3), (60, 140, 70), np.uint8)
    wanted = to_srgb(flat / 255, P3_XY) * 255
    assert np.abs(wanted - flat).max() > 15  # unconverted it would be seen
    near(decode_shot(saved(flat, "JPEG", quality=100, subsampling=0, icc_profile=P3), "x.jpg"), wanted, 4)
    near(decode_shot(saved(flat, "HEIF", quality=100, chroma=444, icc_profile=P3), "x.heic"), wanted, 5)


def test_srgb_profile_changes_nothing() -> None:
    for full in (255, 65535):
        pixels = ramp((20, 20, 3), full)
        shot = decode_shot(tiff(pixels, photometric="rgb", iccprofile=SRGB), "x.tif")
        near(shot, pixels, 0)
        assert shot.notes == ()


def test_grey_profile() -> None:
    """Gamma 1.8 by the definition of curveType with one entry."""
    profile = icc(b"GRAY", b"XYZ ", {b"wtpt": xyz_tag((0.9642, 1.0, 0.8249)), b"kTRC": gamma_tag(461 / 256)})
    for full, levels in ((255, 1.5), (65535, 40)):
        grey = ramp((16, 16), full)
        wanted = encoded((grey / full) ** (461 / 256)) * full
        near(decode_shot(tiff(grey, iccprofile=profile), "x.tif"), np.repeat(wanted[..., None], 3, axis=2), levels)


def test_grey_picture_with_an_rgb_profile() -> None:
    grey = ramp((16, 16), 255)
    wanted = encoded((grey / 255) ** (563 / 256)) * 255
    near(decode_shot(saved(grey, "PNG", icc_profile=ADOBE), "x.png"), np.repeat(wanted[..., None], 3, axis=2), 1.5)


def test_curve_given_as_a_table() -> None:
    steps = np.round(np.linspace(0, 1, 1024) ** 2.0 * 65535).astype(">u2")
    curve = b"curv\0\0\0\0" + struct.pack(">I", 1024) + steps.tobytes()
    profile = icc(b"GRAY", b"XYZ ", {b"kTRC": curve})
    grey = ramp((16, 16), 65535)
    wanted = encoded((grey / 65535) ** 2) * 65535
    near(decode_shot(tiff(grey, iccprofile=profile), "x.tif"), np.repeat(wanted[..., None], 3, axis=2), 60)


@pytest.mark.parametrize(
    ("form", "values", "curve"),
    [
        (0, (2.2,), lambda x: x**2.2),
        (1, (2.0, 0.8, 0.2), lambda x: (0.8 * x + 0.2) ** 2),
        (2, (2.0, 0.8, 0.1, 0.1), lambda x: (0.8 * x + 0.1) ** 2 + 0.1),
        (3, (2.4, 0.9, 0.1, 0.1, 0.05), lambda x: np.where(x >= 0.05, (0.9 * x + 0.1) ** 2.4, 0.1 * x)),
        (
            4,
            (2.0, 0.8, 0.1, 0.1, 0.05, 0.1, 0.02),
            lambda x: np.where(x >= 0.05, (0.8 * x + 0.1) ** 2 + 0.1, 0.1 * x + 0.02),
        ),
    ],
)
def test_parametric_curves(form: int, values: tuple[float, ...], curve: Any) -> None:
    """The five formulas of ICC.1:2022, table 68; a break in a curve is smoothed over 1/4096 and left out of the comparison."""
    tag = b"para\0\0\0\0" + struct.pack(f">HH{len(values)}i", form, 0, *(round(v * 65536) for v in values))
    grey = np.linspace(4000, 65535, 200).astype(np.uint16).reshape(10, 20)
    wanted = encoded(np.clip(curve(grey / 65535), 0, 1)) * 65535
    shot = decode_shot(tiff(grey, iccprofile=icc(b"GRAY", b"XYZ ", {b"kTRC": tag})), "x.tif")
    near(shot, np.repeat(wanted[..., None], 3, axis=2), 60)


def test_broken_profile_is_left_out_with_a_note() -> None:
    cut = P3[:200]
    for full in (255, 65535):
        pixels = ramp((12, 12, 3), full)
        shot = decode_shot(tiff(pixels, photometric="rgb", iccprofile=cut), "x.tif")
        near(shot, pixels, 0)
        assert shot.notes == (BROKEN_PROFILE,)


@pytest.mark.parametrize("at", range(128, len(P3), 3))
def test_damaged_profiles_never_stop_a_picture(at: int) -> None:
    damaged = P3[:at] + bytes((P3[at] ^ 0xFF,)) + P3[at + 1 :]
    for full in (255, 65535):
        shot = decode_shot(tiff(ramp((4, 4, 3), full), photometric="rgb", iccprofile=damaged), "x.tif")
        assert set(shot.notes) <= {BROKEN_PROFILE}


def test_profile_of_another_space_is_left_out_with_a_note() -> None:
    grey_profile = icc(b"GRAY", b"XYZ ", {b"kTRC": gamma_tag(2.2)})
    pixels = ramp((12, 12, 3), 255)
    shot = decode_shot(saved(pixels, "PNG", icc_profile=grey_profile), "x.png")
    near(shot, pixels, 0)
    assert shot.notes == (WRONG_PROFILE,)


def test_table_profile() -> None:
    """8 bits go through the table; 16 bits are refused with what to do."""
    profile = table_icc(b"RGB ", {0: (50.0, 0.0, 0.0)})
    shot = decode_shot(saved(np.zeros((8, 8, 3), np.uint8), "PNG", icc_profile=profile), "x.png")
    near(shot, np.full((8, 8, 3), 119.0), 2)  # L* 50 is 119 in sRGB: Y = ((50 + 16) / 116)^3 (CIE 15)
    with pytest.raises(UnreadableShot, match=r"8 bits"):
        decode_shot(tiff(np.zeros((8, 8, 3), np.uint16), photometric="rgb", iccprofile=profile), "x.tif")


def test_a_table_goes_before_the_matrix() -> None:
    """ICC.1:2022, 8.2: where a profile holds both, the matrix is the poorer stand-in."""
    table = table_icc(b"RGB ", {})[-2000:]
    tags = {name: gamma_tag(2.2) for name in (b"rTRC", b"gTRC", b"bTRC")} | {b"A2B0": table}
    tags |= {name: xyz_tag((0.3, 0.3, 0.3)) for name in (b"rXYZ", b"gXYZ", b"bXYZ")}
    with pytest.raises(UnreadableShot, match=r"8 bits"):
        decode_shot(tiff(ramp((8, 8, 3), 65535), photometric="rgb", iccprofile=icc(b"RGB ", b"XYZ ", tags)), "x.tif")


def test_inks_without_a_profile() -> None:
    """R = (1 - C)(1 - K) and so on: the plain formula."""
    wanted = np.repeat(np.repeat(SEEN[None], 16, axis=0), 16, axis=1)
    adobe = saved(ink_picture(), "JPEG", quality=100, subsampling=0)
    assert b"Adobe" in adobe
    for data in (adobe, saved(ink_picture(), "TIFF"), saved(ink_picture(), "TIFF", compression="tiff_lzw")):
        shot = decode_shot(data, "x")
        near(shot, wanted, 4)
        assert shot.notes == (PLAIN_INKS,)


def test_inks_of_a_jpeg_that_is_not_adobes_are_not_upside_down() -> None:
    upside_down = Image.eval(ink_picture(), lambda ink: 255 - ink)
    data = saved(upside_down, "JPEG", quality=100, subsampling=0)
    at = data.index(b"\xff\xee")
    data = data[:at] + data[at + 2 + int.from_bytes(data[at + 2 : at + 4], "big") :]
    near(decode_shot(data, "x.jpg"), np.repeat(np.repeat(SEEN[None], 16, axis=0), 16, axis=1), 4)


def test_inks_through_their_profile() -> None:
    """Full black ink alone is L* 20 in this profile, so 48 in sRGB: Y = ((20 + 16) / 116)^3 (CIE 15)."""
    profile = table_icc(b"CMYK", {1: (20.0, 0.0, 0.0)})
    for kind in ("JPEG", "TIFF"):
        shot = decode_shot(saved(ink_picture(), kind, icc_profile=profile), "x")
        assert np.abs(shot.pixels[8, 4 * 16 + 8].astype(int) - 48).max() <= 2
        assert shot.pixels[8, 8].min() >= 253
        assert shot.notes == ()


def test_inks_with_a_profile_for_light() -> None:
    shot = decode_shot(saved(ink_picture(), "TIFF", icc_profile=P3), "x.tif")
    assert shot.notes == (PLAIN_INKS,)


def test_inks_with_16_bits_are_refused() -> None:
    with pytest.raises(UnreadableShot, match=INKS_16):
        decode_shot(tiff(np.zeros((8, 8, 4), np.uint16), photometric="separated"), "x.tif")


def test_opaque_alpha_leaves_no_trace() -> None:
    for full in (255, 65535):
        pixels = np.dstack([ramp((12, 12, 3), full), np.full((12, 12), full)]).astype(ramp((1, 1), full).dtype)
        shot = decode_shot(tiff(pixels, photometric="rgb", extrasamples=["unassalpha"]), "x.tif")
        near(shot, pixels[..., :3], 0)
        assert shot.notes == ()


def over_white(colour: Pixels, alpha: Pixels) -> Pixels:
    return encoded(alpha[..., None] * linear(colour) + 1 - alpha[..., None])


def test_transparent_parts_are_on_white_in_linear_light() -> None:
    small = np.dstack([ramp((12, 12, 3), 255), ramp((12, 12), 255)])
    large = np.dstack([ramp((12, 12, 3), 65535), ramp((12, 12), 65535)])
    for data in (
        saved(small, "PNG"),
        saved(small, "WEBP", lossless=True, exact=True),
        tiff(small, photometric="rgb", extrasamples=["unassalpha"]),
    ):
        shot = decode_shot(data, "x")
        near(shot, over_white(small[..., :3] / 255, small[..., 3] / 255) * 255, 0.6)
        assert shot.notes == (ON_WHITE,)
    for data in (png16(large), tiff(large, photometric="rgb", extrasamples=["unassalpha"])):
        near(decode_shot(data, "x"), over_white(large[..., :3] / 65535, large[..., 3] / 65535) * 65535, 0.6)


def test_colours_multiplied_by_alpha() -> None:
    colour, alpha = ramp((12, 12, 3), 65535), np.maximum(ramp((12, 12), 65535), 20000)
    stored = np.round(colour * (alpha[..., None] / 65535)).astype(np.uint16)
    data = tiff(np.dstack([stored, alpha]), photometric="rgb", extrasamples=["assocalpha"])
    near(decode_shot(data, "x.tif"), over_white(colour / 65535, alpha / 65535) * 65535, 40)


def test_grey_and_alpha() -> None:
    small = np.dstack([ramp((12, 12), 255), ramp((12, 12), 255)[::-1]])
    wanted = over_white(np.repeat(small[..., :1], 3, axis=2) / 255, small[..., 1] / 255) * 255
    near(decode_shot(saved(Image.fromarray(small, "LA"), "PNG"), "x.png"), wanted, 0.6)
    large = np.dstack([ramp((12, 12), 65535), ramp((12, 12), 65535)[::-1]])
    wanted = over_white(np.repeat(large[..., :1], 3, axis=2) / 65535, large[..., 1] / 65535) * 65535
    near(decode_shot(png16(large), "x.png"), wanted, 0.6)
    near(decode_shot(tiff(large, photometric="minisblack", extrasamples=["unassalpha"]), "x.tif"), wanted, 0.6)


def test_heic_with_alpha() -> None:
    pixels = np.dstack([quarters(), np.full((16, 32), 255, np.uint8)])
    pixels[:8, :16, 3] = 0
    shot = decode_shot(saved(pixels, "HEIF", quality=95, chroma=444), "x.heic")
    assert shot.pixels[3, 3].min() > 240
    assert shot.notes == (ON_WHITE,)


def test_fourth_channel_that_is_no_alpha() -> None:
    for full in (255, 65535):
        pixels = np.dstack([ramp((12, 12, 3), full), ramp((12, 12), full)])
        shot = decode_shot(tiff(pixels, photometric="rgb", extrasamples=["unspecified"]), "x.tif")
        near(shot, pixels[..., :3], 0)
        assert shot.notes == (EXTRA_CHANNEL,)


def test_palettes_and_single_bits() -> None:
    palette = Image.fromarray(quarters()).quantize(8)
    wanted = np.asarray(palette.convert("RGB"))
    near(decode_shot(saved(palette, "PNG"), "x.png"), wanted, 0)
    near(decode_shot(saved(palette, "TIFF"), "x.tif"), wanted, 0)
    black_and_white = Image.fromarray(ramp((16, 16), 255) > 128)
    wanted = np.repeat(np.asarray(black_and_white)[..., None] * 255.0, 3, axis=2)
    near(decode_shot(saved(black_and_white, "PNG"), "x.png"), wanted, 0)
    near(decode_shot(saved(black_and_white, "TIFF", compression="group4"), "x.tif"), wanted, 0)


def test_transparent_colour_of_a_palette() -> None:
    palette = Image.fromarray(quarters()).quantize(8)
    clear = int(np.asarray(palette)[0, 0])
    shot = decode_shot(saved(palette, "PNG", transparency=clear), "x.png")
    assert (shot.pixels[0, 0] == 255).all()
    assert shot.notes == (ON_WHITE,)


def test_transparent_colour_with_16_bits_is_left_out_with_a_note() -> None:
    pixels = ramp((12, 12, 3), 65535)
    shot = decode_shot(png16(pixels, chunk(b"tRNS", struct.pack(">HHH", *pixels[3, 3]))), "x.png")
    near(shot, pixels, 0)
    assert shot.notes == (ONE_CLEAR_COLOUR,)


@pytest.mark.parametrize("dtype", [np.float32, np.float16, np.float64, np.int16, np.int32, np.uint32])
def test_values_without_a_known_full_scale_are_refused(dtype: Any) -> None:
    with pytest.raises(UnreadableShot, match="full scale is not known"):
        decode_shot(tiff(np.zeros((8, 8), dtype)), "x.tif")
