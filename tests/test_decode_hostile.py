"""Files that are cut, damaged, mislabelled or lie about their size: each gives a Shot or one of our own sentences."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import tracemalloc
import warnings
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, features

from vision.decode import decode_shot
from vision.errors import ShotError, ShotTooLarge, UnreadableShot
from vision.files import read_bytes
from vision.kinds import BREAKS_OFF, BROKEN, NOT_A_PICTURE

pillow_heif.register_heif_opener()

KINDS = ["JPEG", "progressive", "PNG", "png16", "TIFF", "lzw", "tiff16", "WEBP", "webp lossy", "HEIF"]
KINDS += ["AVIF"] if "avif" in features.modules and features.check("avif") else []


def colours(shape: tuple[int, ...] = (48, 64, 3)) -> NDArray[np.uint8]:
    return np.random.default_rng(3).integers(0, 256, shape, np.uint8)


def written(kind: str, pixels: NDArray[np.uint8] | None = None) -> bytes:
    pixels = colours() if pixels is None else pixels
    buffer = io.BytesIO()
    tags = Image.Exif()
    tags[274] = 6
    tags[0x8769] = {36867: "2024:05:06 07:08:09"}
    how: dict[str, tuple[str, dict[str, Any]]] = {
        "JPEG": ("JPEG", {"exif": tags.tobytes()}),
        "progressive": ("JPEG", {"progressive": True}),
        "lzw": ("TIFF", {"compression": "tiff_lzw"}),
        "WEBP": ("WEBP", {"lossless": True, "exif": tags.tobytes()}),
        "webp lossy": ("WEBP", {}),
        "PNG": ("PNG", {"exif": tags.tobytes()}),
    }
    if kind == "tiff16":
        tifffile.imwrite(buffer, pixels.astype(np.uint16) * 257, photometric="rgb", rowsperstrip=8)
    elif kind == "png16":
        return png(
            pixels.shape[1],
            pixels.shape[0],
            16,
            b"".join(b"\0" + (row * np.uint16(257)).astype(">u2").tobytes() for row in pixels),
        )
    else:
        name, options = how.get(kind, (kind, {}))
        Image.fromarray(pixels).save(buffer, name, **options)
    return buffer.getvalue()


def png(width: int, height: int, bits: int, rows: bytes) -> bytes:
    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def shot_or_sentence(data: bytes, name: str = "x") -> None:
    try:
        shot = decode_shot(data, name)
    except ShotError as error:
        sentence = str(error)
        assert sentence[0].isupper()
        assert sentence.endswith(".")
    else:
        assert shot.pixels.size > 0


def test_empty_file(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(UnreadableShot, match=r"^The file is empty\.$"):
        read_bytes(tmp_path / "empty.jpg")
    with pytest.raises(UnreadableShot):
        decode_shot(b"", "empty.jpg")


@pytest.mark.parametrize(
    "data",
    [
        b"Dear all,\nthe aphids are back.",
        b"\xef\xbb\xbfBOM",
        b"BMW 2002, red",
        b"RIFF....WAVE",
        bytes(500),
        b"II",
        b"\xff\xd8",
    ],
)
def test_text_and_the_like_named_jpg(data: bytes) -> None:
    with pytest.raises(UnreadableShot, match=NOT_A_PICTURE):
        decode_shot(data, "notes.jpg")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"GIF89a" + bytes(40), "GIF"),
        (b"BM" + bytes(12) + b"\x28" + bytes(40), "BMP"),
        (b"8BPS" + bytes(40), "Photoshop"),
        (b"%PDF-1.7" + bytes(40), "PDF"),
        (b"\0\0\0\x0cJXL \r\n\x87\n" + bytes(40), "JPEG XL"),
        (b"\0\0\0\x14ftypcrx " + bytes(40), "raw camera file"),
        (b"\0\0\0\x14ftypqt  " + bytes(40), "film"),
        (b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + bytes(40), "film"),
    ],
)
def test_other_kinds_are_refused_by_name(data: bytes, said: str) -> None:
    with pytest.raises(UnreadableShot, match=said):
        decode_shot(data, "x.jpg")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("tenth", range(1, 10))
def test_cut_at_every_tenth(kind: str, tenth: int) -> None:
    data = written(kind)
    with pytest.raises(UnreadableShot) as refused:
        decode_shot(data[: len(data) * tenth // 10], "cut")
    assert str(refused.value) == BREAKS_OFF


def test_jpeg_whose_end_was_never_written() -> None:
    """What a card pulled too early leaves: the right length, zeros in the second half."""
    data = written("JPEG")
    with pytest.raises(UnreadableShot, match=BREAKS_OFF):
        decode_shot(data[: len(data) // 2] + bytes(len(data) - len(data) // 2), "x.jpg")


@pytest.mark.parametrize("kind", KINDS)
def test_cut_inside_the_header(kind: str) -> None:
    data = written(kind)
    for length in range(120):
        shot_or_sentence(data[:length])


@pytest.mark.parametrize("kind", KINDS)
def test_one_pixel_all_black_and_all_white(kind: str) -> None:
    single = np.full((1, 1, 3), 255, np.uint8)
    shot = decode_shot(written(kind, single), "x")
    assert shot.pixels.shape == (1, 1, 3)
    for level in (0, 255):
        shot = decode_shot(written(kind, np.full((16, 16, 3), level, np.uint8)), "x")
        full = np.iinfo(shot.pixels.dtype).max
        assert np.abs(shot.pixels.astype(int) - level * full // 255).max() <= 2


def flipped(kind: str, times: int) -> list[bytes]:
    rng = np.random.default_rng(20)
    whole = written(kind)
    out = []
    for _ in range(times):
        data = bytearray(whole)
        for at in rng.integers(0, len(data), rng.integers(1, 9)):
            data[at] ^= 1 << int(rng.integers(8))
        out.append(bytes(data))
    return out


@pytest.mark.parametrize("kind", KINDS)
def test_flipped_bits(kind: str) -> None:
    for data in flipped(kind, 60):
        shot_or_sentence(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_flipped_bits_in_headers_and_tags(kind: str) -> None:
    rng = np.random.default_rng(21)
    whole = written(kind)
    for _ in range(60):
        data = bytearray(whole)
        data[int(rng.integers(4, 200))] = int(rng.integers(256))
        shot_or_sentence(bytes(data))


def test_broken_exif_is_ignored() -> None:
    pixels = np.full((16, 16, 3), 90, np.uint8)
    for tags in (b"Exif\0\0", b"Exif\0\0II*\0", b"Exif\0\0II*\0\x08\0\0\0\xff\xff", b"Exif\0\0" + b"\xff" * 60):
        buffer = io.BytesIO()
        Image.fromarray(pixels).save(buffer, "JPEG", exif=tags)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            shot = decode_shot(buffer.getvalue(), "x.jpg")
        assert (shot.taken_at, shot.notes) == (None, ())


def test_warnings_and_levels_are_as_before() -> None:
    log: Any = getattr(cv2.utils, "logging", cv2)
    before = (list(warnings.filters), log.getLogLevel())
    shot_or_sentence(written("tiff16")[:500])
    assert before == (list(warnings.filters), log.getLogLevel())


@settings(max_examples=150, deadline=None)
@given(
    start=st.sampled_from(
        [
            b"",
            b"\xff\xd8\xff",
            b"\xff\xd8\xff\xe0\0\x10JFIF\0",
            b"\x89PNG\r\n\x1a\n",
            b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
            b"II*\0\x08\0\0\0",
            b"MM\0*\0\0\0\x08",
            b"II+\0",
            b"RIFF\0\1\0\0WEBPVP8 ",
            b"RIFF\0\1\0\0WEBPVP8X\n\0\0\0",
            b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
            b"\0\0\0\x18ftypavif\0\0\0\0mif1avif",
            b"GIF89a",
            b"BM",
        ]
    ),
    rest=st.binary(max_size=400),
)
def test_random_bytes(start: bytes, rest: bytes) -> None:
    shot_or_sentence(start + rest)


@pytest.mark.parametrize(
    "name", ["a b.jpg", 'it\'s "quoted".jpg', "חרקים.jpg", "🐛🥦.jpg", "=1+1.jpg", "x" * 251 + ".jpg", "", "/", "."]
)
def test_names(name: str) -> None:
    assert decode_shot(written("JPEG"), name).name == name


# --- sizes -------------------------------------------------------------------------------------------------------------------


def test_limit_is_the_callers() -> None:
    data = written("PNG")  # 64 x 48: 0.003072 megapixels
    assert decode_shot(data, "x", max_megapixels=0.003072).pixels.size
    with pytest.raises(ShotTooLarge, match=r"^The picture has 0\.1 megapixels; the limit is 0\.003\.$"):
        decode_shot(data, "x", max_megapixels=0.003)


def gigapixel_files() -> dict[str, bytes]:
    """Headers of 1,024 megapixels (WebP: its largest, 268) with next to nothing behind them."""
    side = 32000
    scan = b"\xff\xda\0\x0c\x03\1\0\2\x11\3\x11\0\x3f\0" + b"\0" * 64 + b"\xff\xd9"
    frame = b"\xff\xc0\0\x11\x08" + struct.pack(">HH", side, side) + b"\x03\1\x22\0\2\x11\1\3\x11\1"
    entries = [
        (256, side),
        (257, side),
        (258, 8),
        (259, 1),
        (262, 2),
        (273, 8),
        (277, 3),
        (278, side),
        (279, 3 * side * side),
    ]
    ifd = (
        struct.pack("<IH", 8, len(entries)) + b"".join(struct.pack("<HHII", t, 4, 1, v) for t, v in entries) + bytes(4)
    )
    webp = b"VP8X" + struct.pack("<I", 10) + bytes(4) + b"\xff\x3f\0" * 2
    files = {
        "png": png(side, side, 8, bytes(100)),
        "png16": png(side, side, 16, bytes(100)),
        "jpeg": b"\xff\xd8" + frame + scan,
        "tiff": b"II*\0" + ifd,
        "webp": b"RIFF" + struct.pack("<I", len(webp) + 4) + b"WEBP" + webp,
    }
    boxes = {"heic": written("HEIF")} | ({"avif": written("AVIF")} if "AVIF" in KINDS else {})
    for kind, data in boxes.items():
        at = data.index(b"ispe") + 8
        files[kind] = data[:at] + struct.pack(">II", side, side) + data[at + 8 :]
    return files


def test_a_gigapixel_header_is_refused_without_memory(tmp_path: Path) -> None:
    """In a process of its own, whose address space may not grow by as much as one such picture."""
    for kind, data in gigapixel_files().items():
        (tmp_path / kind).write_bytes(data)
    script = """
import resource, sys
from pathlib import Path
from vision.decode import decode_shot
from vision.errors import ShotTooLarge
import pi_heif, tifffile
used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (used + 300_000_000,) * 2)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
for path in sorted(Path(sys.argv[1]).iterdir()):
    try:
        decode_shot(path.read_bytes(), path.name)
    except ShotTooLarge as error:
        print(path.name, error)
print("grown by", (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[1],
    )
    *refused, grown = done.stdout.splitlines()
    assert [line.split()[0] for line in refused] == sorted(gigapixel_files())
    assert all("1,024 megapixels; the limit is 250." in line for line in refused if not line.startswith("webp"))
    assert "webp The picture has 268.5 megapixels; the limit is 250." in refused
    assert int(grown.split()[-1]) < 30  # MiB
    assert done.stderr == ""


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_a_size_without_pixels_is_broken(kind: str) -> None:
    data = png(0, 0, 8, b"") if kind == "png" else gigapixel_files()["tiff"].replace(struct.pack("<I", 32000), bytes(4))
    with pytest.raises(UnreadableShot):
        decode_shot(data, "x")


def test_png_that_claims_more_than_its_bytes_can_hold() -> None:
    """200 megapixels within the limit, 1 kB in the file: refused before a gigabyte is asked for."""
    tracemalloc.start()
    for bits in (8, 16):
        with pytest.raises(UnreadableShot, match=BROKEN):
            decode_shot(png(20000, 10000, bits, bytes(1000)), "x.png")
    assert tracemalloc.get_traced_memory()[1] < 2_000_000
    tracemalloc.stop()


def test_tiff_that_has_fewer_strips_than_its_height_asks_for() -> None:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, np.full((48, 64, 3), 60000, np.uint16), photometric="rgb", rowsperstrip=8)
    with tifffile.TiffFile(io.BytesIO(buffer.getvalue())) as tiff:
        at = tiff.pages.first.tags["ImageLength"].valueoffset
    data = bytearray(buffer.getvalue())
    struct.pack_into("<I", data, at, 480)
    with pytest.raises(UnreadableShot, match="TIFF"):
        decode_shot(bytes(data), "x.tif")


def test_png_chunk_that_claims_gigabytes() -> None:
    data = written("png16")
    at = data.index(b"IDAT") - 4
    with pytest.raises(UnreadableShot, match=BREAKS_OFF):
        decode_shot(data[:at] + b"\xf0\0\0\0" + data[at + 4 :], "x.png")


def test_png_that_holds_fewer_rows_than_it_says() -> None:
    for bits in (8, 16):
        with pytest.raises(UnreadableShot, match=f"{BROKEN}|{BREAKS_OFF}"):
            decode_shot(png(64, 64, bits, bytes(100)), "x.png")
