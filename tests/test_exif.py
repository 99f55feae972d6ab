"""What a file says of its camera: read from every kind of file, never the place, and never a failure."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from written_pictures import saved, tiff

from vision.decode import decode_shot
from vision.exif import ijg_quality, read_exif
from vision.types import CameraFacts

PIXELS = np.random.default_rng(3).integers(0, 256, (48, 64, 3), dtype=np.uint8)
FACTS = CameraFacts("Maker", "Phone 9", "main camera 6.86mm f/1.8", 6.86, 26.0, 2.0)


def tags(**changes: Any) -> Image.Exif:
    """Exif of a phone: names, lens, focal lengths, zoom, and the place it stood at."""
    values = {
        "make": "Maker\0",
        "model": "Phone 9 ",
        "lens": FACTS.lens,
        "focal": 6.86,
        "film": 26,
        "zoom": 2.0,
    } | changes
    exif = Image.Exif()
    exif[271], exif[272] = values["make"], values["model"]
    exif[0x8769] = {42036: values["lens"], 37386: values["focal"], 41989: values["film"], 41988: values["zoom"]}
    exif[0x8825] = {1: "N", 2: (51.0, 28.0, 40.12), 3: "W", 4: (0.0, 0.0, 5.31)}
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "TIFF"])
def test_the_camera_is_read_from_every_kind_of_file(kind: str) -> None:
    loaded = Image.Exif()
    loaded.load(tags().tobytes())  # the only form that a TIFF is written from
    shot = decode_shot(saved(PIXELS, kind, exif=loaded if kind == "TIFF" else tags().tobytes()), "a.x")
    quality = shot.camera.jpeg_quality
    assert (quality is not None) == (kind == "JPEG")
    assert shot.camera == CameraFacts(*FACTS.__dict__.values()) if kind != "JPEG" else shot.camera.model == "Phone 9"
    assert "51" not in repr(shot.camera)
    assert "28" not in repr(shot.camera)


def test_a_file_without_tags_says_nothing() -> None:
    assert decode_shot(saved(PIXELS, "PNG"), "a.png").camera == CameraFacts()
    assert decode_shot(tiff(PIXELS), "a.tif").camera == CameraFacts()
    assert read_exif(None).camera == CameraFacts()


@pytest.mark.parametrize("quality", [1, 10, 30, 50, 75, 85, 90, 95, 99, 100])
@pytest.mark.parametrize("sampling", [0, 2])
def test_jpeg_quality_is_that_it_was_saved_with(quality: int, sampling: int) -> None:
    # libjpeg, which Pillow saves with, scales the tables of ITU-T T.81 annex K by the same rule.
    shot = decode_shot(saved(PIXELS, "JPEG", quality=quality, subsampling=sampling), "a.jpg")
    assert shot.camera.jpeg_quality == quality


def test_a_camera_with_tables_of_its_own_gets_the_nearest() -> None:
    flat = saved(PIXELS, "JPEG", qtables=[[4] * 64, [5] * 64])
    quality = decode_shot(flat, "a.jpg").camera.jpeg_quality
    assert quality is not None
    assert 80 <= quality <= 98
    assert ijg_quality([0] * 64) is None
    assert ijg_quality([3, 4]) is None


@pytest.mark.parametrize(
    ("changes", "read"),
    [
        ({"film": 0, "zoom": 0.0}, {"focal_35mm": None, "digital_zoom": None}),
        ({"focal": -3.0}, {"focal_mm": None}),
        ({"focal": 1e9}, {"focal_mm": None}),
        ({"make": "Ma\x1b[31mker\n"}, {"make": "Ma [31mker"}),
        ({"model": "x" * 5000}, {"model": "x" * 80}),
        ({"model": "\0hidden"}, {"model": ""}),
        ({"lens": "   "}, {"lens": ""}),
    ],
)
def test_nonsense_counts_as_nothing(changes: dict[str, Any], read: dict[str, Any]) -> None:
    try:
        data = saved(PIXELS, "JPEG", exif=tags(**changes).tobytes())
    except (struct.error, ValueError, OverflowError):
        pytest.skip("this Pillow does not write such a tag")
    camera = decode_shot(data, "a.jpg").camera
    assert {key: getattr(camera, key) for key in read} == read


@pytest.mark.filterwarnings("ignore::UserWarning")  # Pillow's own remarks, which decode_shot keeps quiet
@settings(max_examples=200, deadline=None)
@given(place=st.integers(0, 400), new=st.binary(min_size=1, max_size=12))
def test_broken_tags_never_stop_a_shot(place: int, new: bytes) -> None:
    whole = tags().tobytes()
    broken = whole[: 6 + place] + new + whole[6 + place + len(new) :]
    found = read_exif(broken)
    assert 1 <= found.orientation <= 8
    assert all(value is None or np.isfinite(value) for value in (found.camera.focal_mm, found.camera.digital_zoom))
    assert found.camera.model.isprintable()


def test_a_rational_over_nought_is_unknown() -> None:
    whole = tags(focal=IFDRational(686, 100)).tobytes()[
        6:
    ]  # a TIFF header in the order "MM" (TIFF 6.0), after the marker's name
    at = whole.find(struct.pack(">HHI", 37386, 5, 1))
    (offset,) = struct.unpack(">I", whole[at + 8 : at + 12])
    broken = whole[: offset + 4] + bytes(4) + whole[offset + 8 :]
    camera = read_exif(b"Exif\0\0" + broken).camera
    assert (camera.focal_mm, camera.model) == (None, "Phone 9")
    assert read_exif(b"Exif\0\0" + whole).camera.focal_mm == 6.86
