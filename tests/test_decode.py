"""Pictures of every kind that is read, written in memory with known colours, and what comes out of them."""

from __future__ import annotations

import hashlib
import io
import struct
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image
from written_pictures import (
    P3_XY,
    as_stored,
    chunk,
    exif,
    heic16,
    near,
    needs_avif,
    png16,
    quarters,
    ramp,
    saved,
    tiff,
    to_srgb,
)

from vision.decode import HDR, decode_shot
from vision.errors import UnreadableShot
from vision.kinds import RAW, Kind
from vision.raster import FIRST_OF_SEVERAL


def test_plain_jpeg() -> None:
    data = saved(quarters(), "JPEG", quality=95, subsampling=0)
    shot = decode_shot(data, "a shot.jpg")
    near(shot, quarters(), 25)
    assert shot.pixels[4, 4, 0] > 200 > 60 > shot.pixels[4, 4, 2]  # red stays red
    assert (shot.name, shot.taken_at, shot.notes, shot.pixels.dtype) == ("a shot.jpg", None, (), np.uint8)
    assert shot.pixels.flags.c_contiguous
    assert not shot.pixels.flags.writeable


def test_sha256_is_of_the_bytes() -> None:
    data = saved(quarters(), "PNG")

    assert decode_shot(data, "x.png").sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("kind", "how"),
    [
        ("PNG", {}),
        ("WEBP", {"lossless": True}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("PNG", {"bits": 8}),
    ],
)
def test_8_bits_come_out_exactly(kind: str, how: dict[str, Any]) -> None:
    pixels = ramp((20, 30, 3), 255)
    shot = decode_shot(saved(pixels, kind, **how), "x")
    assert shot.pixels.dtype == np.uint8
    near(shot, pixels, 0)


@pytest.mark.parametrize(
    "how", [{}, {"compression": "zlib", "predictor": True}, {"planarconfig": "separate"}, {"tile": (16, 16)}]
)
@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_16_bit_tiff_keeps_16_bits(how: dict[str, Any], byteorder: Any) -> None:
    pixels = ramp((40, 30, 3), 65535)
    planes = np.moveaxis(pixels, -1, 0) if "planarconfig" in how else pixels
    shot = decode_shot(tiff(planes, photometric="rgb", byteorder=byteorder, **how), "x.tif")
    assert shot.pixels.dtype == np.uint16
    near(shot, pixels, 0)


def test_16_bit_tiff_with_lzw() -> None:
    pixels = ramp((40, 30, 3), 65535)
    data = cv2.imencode(".tif", pixels[..., ::-1], [cv2.IMWRITE_TIFF_COMPRESSION, 5])[1].tobytes()
    near(decode_shot(data, "x.tif"), pixels, 0)


def test_16_bit_png_keeps_16_bits() -> None:
    pixels = ramp((20, 30, 3), 65535)
    near(decode_shot(png16(pixels), "x.png"), pixels, 0)
    written_elsewhere = cv2.imencode(".png", pixels[..., ::-1])[1].tobytes()
    near(decode_shot(written_elsewhere, "x.png"), pixels, 0)


def test_png_gamma_chunk_changes_nothing() -> None:
    pixels = ramp((8, 8, 3), 65535)
    near(decode_shot(png16(pixels, chunk(b"gAMA", struct.pack(">I", 100000))), "x.png"), pixels, 0)
    near(decode_shot(saved(pixels.astype(np.uint8), "PNG"), "x.png"), pixels.astype(np.uint8), 0)


@pytest.mark.parametrize(
    "data",
    [png16(ramp((9, 7), 65535)), tiff(ramp((9, 7), 65535)), saved(ramp((9, 7), 65535), "TIFF", compression="tiff_lzw")],
)
def test_16_bit_grey(data: bytes) -> None:
    near(decode_shot(data, "x"), np.repeat(ramp((9, 7), 65535)[..., None], 3, axis=2), 0)


def test_white_is_zero() -> None:
    grey = ramp((9, 7), 65535)
    near(decode_shot(tiff(grey, photometric="miniswhite"), "x.tif"), np.repeat(65535.0 - grey[..., None], 3, axis=2), 0)
    small = (grey >> 8).astype(np.uint8)
    near(decode_shot(tiff(small, photometric="miniswhite"), "x.tif"), np.repeat(255.0 - small[..., None], 3, axis=2), 0)


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_packed_bits_are_spread_over_the_full_scale(bits: int) -> None:
    """TIFF 6.0 with 10, 12 or 14 bits a sample, packed; full scale is full scale and zero is zero."""
    width, height, top = 7, 5, (1 << bits) - 1
    values = np.random.default_rng(bits).integers(0, top + 1, (height, width))
    values[0, :2] = 0, top
    rows = b""
    for row in values:
        number = "".join(f"{v:0{bits}b}" for v in row)
        number += "0" * (-len(number) % 8)
        rows += int(number, 2).to_bytes(len(number) // 8, "big")
    entries = [
        (256, width),
        (257, height),
        (258, bits),
        (259, 1),
        (262, 1),
        (273, 8 + 2 + 12 * 9 + 4),
        (277, 1),
        (278, height),
        (279, len(rows)),
    ]
    data = b"II*\0" + struct.pack("<IH", 8, len(entries))
    data += b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries) + struct.pack("<I", 0) + rows
    pixels = decode_shot(data, "x.tif").pixels
    assert (pixels[0, 0] == 0).all()
    assert (pixels[0, 1] == 65535).all()
    near(decode_shot(data, "x.tif"), np.repeat(np.round(values * 65535 / top)[..., None], 3, axis=2), 1)


@pytest.mark.parametrize(("bits", "step"), [(10, 64), (12, 16)])
def test_heic_with_more_than_8_bits(bits: int, step: int) -> None:
    pixels = np.full((32, 48, 3), 30000, np.uint16)
    pixels[:16], pixels[16:, :16] = 65535, 0
    shot = decode_shot(heic16(pixels, bits), "x.heic")
    assert shot.pixels.dtype == np.uint16
    near(shot, pixels, step)
    assert (shot.pixels[4, 4] == 65535).all()  # a burnt-out panel has to read as full scale
    assert (shot.pixels[20, 4] == 0).all()


def test_heic_with_8_bits() -> None:
    shot = decode_shot(saved(quarters(), "HEIF", quality=95, chroma=444), "x.heic")
    assert shot.pixels.dtype == np.uint8
    near(shot, quarters(), 30)


def test_hdr_heic_is_refused() -> None:
    data = heic16(ramp((32, 32, 3), 65535), 10, color_primaries=9, transfer_characteristics=16)
    with pytest.raises(UnreadableShot, match=HDR):
        decode_shot(data, "x.hif")


def test_heic_that_names_p3_by_number() -> None:
    """ITU-T H.273, colour primaries 12."""
    colours = np.array([[0.6, 0.4, 0.3], [0.3, 0.5, 0.3], [0.9, 0.9, 0.9]])
    pixels = np.repeat(np.repeat((colours * 65535).astype(np.uint16)[None], 16, axis=0), 16, axis=1)
    shot = decode_shot(heic16(pixels, 12, color_primaries=12, transfer_characteristics=13), "x.heic")
    near(shot, to_srgb(pixels / 65535, P3_XY) * 65535, 40)


@needs_avif
def test_avif() -> None:
    shot = decode_shot(saved(quarters(), "AVIF", quality=95, subsampling="4:4:4"), "x.avif")
    near(shot, quarters(), 30)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    "kind",
    ["JPEG", "PNG", "TIFF", "WEBP", "HEIF", "png16", "tiff16", "tiff16 lzw", pytest.param("AVIF", marks=needs_avif)],
)
def test_orientation(kind: str, orientation: int) -> None:
    upright = quarters()
    stored = np.ascontiguousarray(as_stored(upright, orientation))
    scale, levels = 1, 30
    if kind == "png16":
        data, scale = png16(stored.astype(np.uint16) * 257, chunk(b"eXIf", exif(orientation)[6:])), 257
    elif kind == "tiff16":
        data, scale = (
            tiff(stored.astype(np.uint16) * 257, photometric="rgb", extratags=[(274, 3, 1, orientation, True)]),
            257,
        )
    elif kind == "tiff16 lzw":
        upright = np.repeat(upright[..., :1], 3, axis=2)
        grey = stored[..., 0].astype(np.uint16) * 257
        data, scale = saved(grey, "TIFF", compression="tiff_lzw", tiffinfo={274: orientation}), 257
    elif kind == "TIFF":
        data = saved(stored, kind, tiffinfo={274: orientation})
    else:
        how = {
            "JPEG": {"subsampling": 0},
            "HEIF": {"chroma": 444},
            "WEBP": {"lossless": True},
            "AVIF": {"subsampling": "4:4:4"},
        }
        data = saved(stored, kind, exif=exif(orientation), quality=95, **how.get(kind, {}))
    near(decode_shot(data, "x"), upright.astype(float) * scale, levels * scale)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_orientation_that_does_not_exist_counts_as_upright(orientation: int) -> None:
    near(decode_shot(saved(quarters(), "PNG", exif=exif(orientation)), "x.png"), quarters(), 0)


def test_first_of_several() -> None:
    first, second = Image.fromarray(quarters()), Image.fromarray(quarters()[::-1])
    for kind, how in (("TIFF", {}), ("WEBP", {"lossless": True}), ("PNG", {})):
        shot = decode_shot(saved(first, kind, save_all=True, append_images=[second], **how), "x")
        near(shot, quarters(), 0)
        assert shot.notes == (FIRST_OF_SEVERAL,)
    pages = io.BytesIO()
    with tifffile.TiffWriter(pages) as writer:
        writer.write(quarters().astype(np.uint16) * 257, photometric="rgb")
        writer.write(quarters().astype(np.uint16), photometric="rgb")
    near(decode_shot(pages.getvalue(), "x.tif"), quarters() * 257.0, 0)


def test_thumbnail_beside_the_picture_is_not_a_second_picture() -> None:
    pages = io.BytesIO()
    with tifffile.TiffWriter(pages) as writer:
        writer.write(quarters(), photometric="rgb")
        writer.write(quarters()[::4, ::4], photometric="rgb", subfiletype=1)
    assert decode_shot(pages.getvalue(), "x.tif").notes == ()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "TIFF", pytest.param("AVIF", marks=needs_avif)])
def test_time_taken(kind: str) -> None:
    tags = exif(when="2024:05:06 07:08:09", zone="+03:00")
    shot = decode_shot(saved(quarters(), kind, exif=tags), "x")
    assert shot.taken_at == "2024-05-06T07:08:09+03:00"


@pytest.mark.parametrize(
    ("when", "zone", "wanted"),
    [
        ("2024:05:06 07:08:09", None, "2024-05-06T07:08:09"),
        ("2024:05:06 07:08:09\0", "-11:30", "2024-05-06T07:08:09-11:30"),
        ("2024:05:06 07:08:09", "somewhere", "2024-05-06T07:08:09"),
        ("2024:05:06 07:08:09", "+99:00", "2024-05-06T07:08:09"),
        ("0000:00:00 00:00:00", None, None),
        ("2024:13:45 07:08:09", None, None),
        ("2023:02:29 07:08:09", None, None),
        ("    :  :     :  :  ", None, None),
        ("0001:01:01 00:00:00", None, None),
        ("=HYPERLINK()", None, None),
        ("", None, None),
    ],
)
def test_times_that_mean_nothing_are_none(when: str, zone: str | None, wanted: str | None) -> None:
    assert decode_shot(saved(quarters(), "JPEG", exif=exif(when=when, zone=zone)), "x.jpg").taken_at == wanted


def test_content_decides_and_a_wrong_ending_is_noted() -> None:
    data = saved(quarters(), "JPEG")
    assert decode_shot(data, "IMG.png").notes == ("Named .png, but its content is JPEG.",)
    assert decode_shot(data, "IMG.GIF").notes == ("Named .gif, but its content is JPEG.",)
    for fitting in ("IMG.JPG", "IMG.jpeg", "IMG", "IMG.backup"):
        assert decode_shot(data, fitting).notes == ()
    assert decode_shot(saved(quarters(), "HEIF"), "IMG.jpg").notes == (f"Named .jpg, but its content is {Kind.HEIC}.",)


def test_raw_camera_files_are_refused() -> None:
    sensor = ramp((16, 16), 65535)
    inside = {"photometric": 32803, "extratags": [(33421, 3, 2, (2, 2), True), (33422, 1, 4, (0, 1, 1, 2), True)]}
    dng = tiff(sensor, extratags=[(50706, 1, 4, (1, 4, 0, 0), True)])
    below = io.BytesIO()
    with tifffile.TiffWriter(below) as writer:
        writer.write(quarters(), photometric="rgb", subfiletype=1, subifds=1)
        writer.write(sensor, **inside)
    for data in (
        tiff(sensor, **inside),
        dng,
        below.getvalue(),
        b"II*\0\x10\0\0\0CR\x02\0" + bytes(100),
        b"FUJIFILMCCD-RAW " + bytes(99),
    ):
        with pytest.raises(UnreadableShot, match=RAW):
            decode_shot(data, "x.dng")
