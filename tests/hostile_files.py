"""Files as they come back from a card, a messenger or a download gone wrong, made of a small photograph by fixed seeds."""

from __future__ import annotations

import io
import os
import re
import struct
from functools import cache
from pathlib import Path

import numpy as np
import tifffile
from hostile_bombs import HEIF_KINDS, with_exif
from numpy.typing import NDArray
from PIL import Image
from written_pictures import P3, chunk, heic16, ink_picture, png16, saved, table_icc, tiff

KINDS = ("JPEG", "PNG", "TIFF", "WEBP", *HEIF_KINDS)
ENDING = {"JPEG": "jpg", "PNG": "png", "TIFF": "tif", "WEBP": "webp", "HEIF": "heic", "AVIF": "avif"}

ROOT = Path(__file__).parents[1]
ENVIRONMENT = os.environ | {
    "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]),
    "PYTHONIOENCODING": "utf-8",
}
"""For a process of its own that is to find ours."""
_SAMPLES = ROOT / "sample_images"
_CLASS_NAME = re.compile(r"\b\w*(Error|Exception|Warning)\b|Traceback|\bNone\b|<|>|0x[0-9a-f]")
_PATH = re.compile(r"(^|[\s'\"(])[~/]\w|\.py\b|\.so\b|site-packages")


def assert_plain(sentence: str) -> None:
    """What a person may be told: one short sentence of ours, with no word of Python's and no place on this machine."""
    assert re.fullmatch(r"[A-Z][^\n]*\.", sentence), sentence
    assert len(sentence) <= 200, sentence
    assert not _CLASS_NAME.search(sentence), sentence
    assert not _PATH.search(sentence), sentence
    assert "fault of its own" not in sentence, sentence


def photograph(side_px: int = 300, of: str = "06-rinse-water-large.jpg", left_px: int = 0) -> NDArray[np.uint8]:
    """The middle of a sample, or `left_px` to the right of it."""
    whole = np.asarray(Image.open(_SAMPLES / of).convert("RGB"))
    y, x = (whole.shape[0] - side_px) // 2, (whole.shape[1] - side_px) // 2 + left_px
    return whole[y : y + side_px, x : x + side_px]


def written(kind: str, pixels: NDArray[np.uint8]) -> bytes:
    return saved(pixels, kind)


def cut(data: bytes) -> list[bytes]:
    """Broken off at every tenth."""
    return [data[: len(data) * tenth // 10] for tenth in range(1, 10)]


def flipped(data: bytes, count: int, seed: int) -> list[bytes]:
    """With one to eight bits wrong, half of them near the beginning, where headers are."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(count):
        bad = bytearray(data)
        most = min(len(data), 400) if number % 2 else len(data)
        for at in rng.integers(0, most, rng.integers(1, 9)):
            bad[at] ^= 1 << int(rng.integers(8))
        found.append(bytes(bad))
    return found


@cache
def unusual() -> dict[str, bytes]:
    """Pictures that nobody meant to harm, by their name: all of them are read."""
    pixels = photograph(96)
    wide = pixels.astype(np.uint16) * 257
    seen = Image.fromarray(pixels)
    clear = Image.fromarray(
        np.dstack([pixels, np.arange(96 * 96, dtype=np.uint32).reshape(96, 96, 1) % 256]).astype(np.uint8)
    )
    pages = io.BytesIO()
    with tifffile.TiffWriter(pages) as writer:
        for page in (pixels, 255 - pixels, pixels[:48]):
            writer.write(page, photometric="rgb", contiguous=False)
    return {
        "inks.jpg": saved(ink_picture(), "JPEG"),
        "grey.jpg": saved(seen.convert("L"), "JPEG"),
        "one pixel.png": saved(pixels[:1, :1], "PNG"),
        "one row.png": saved(np.resize(pixels, (1, 5000, 3)), "PNG"),
        "one column.jpg": saved(np.resize(pixels, (5000, 1, 3)), "JPEG"),
        "sixteen bits.png": png16(wide),
        "sixteen bits.tif": tiff(wide, photometric="rgb", compression="zlib"),
        "packed bits.tif": _packed_bits(pixels),
        "ten bits.heic": heic16(wide, 10),
        "palette.png": saved(seen.quantize(16), "PNG", transparency=3),
        "clear.png": saved(clear, "PNG"),
        "clear.webp": saved(clear, "WEBP", lossless=True),
        "moving.webp": saved(seen, "WEBP", save_all=True, append_images=[Image.fromarray(255 - pixels)]),
        "pages.tif": pages.getvalue(),
        "table profile.jpg": saved(pixels, "JPEG", icc_profile=table_icc(b"RGB ", {})),
        "a png called jpg.jpg": saved(pixels[:64], "PNG"),
        "a heic called png.png": saved(pixels[:, :64], "HEIF"),
    }


def _packed_bits(pixels: NDArray[np.uint8]) -> bytes:
    """16 bits a channel, run lengths that repeat nothing (TIFF 6.0, section 9)."""
    raw = (pixels.astype("<u2") * 257).tobytes()
    packed = b"".join(bytes([127]) + raw[at : at + 128] for at in range(0, len(raw), 128))
    entries = [(256, 96), (257, 96), (259, 32773), (262, 2), (273, 128), (277, 3), (278, 96), (279, len(packed))]
    listed = sorted([*((t, 4, 1, v) for t, v in entries), (258, 3, 3, 122)])
    head = b"II*\0\x08\0\0\0" + struct.pack("<H", 9) + b"".join(struct.pack("<HHII", *each) for each in listed)
    assert len(raw) % 128 == 0
    return head + bytes(4) + struct.pack("<3H", 16, 16, 16) + packed


@cache
def ill() -> dict[str, bytes]:
    """Pictures whose pixels are whole and whose tags are not, by their name: all of them are read."""

    def exif(entries: list[tuple[int, int, int, int]], after: int = 0) -> bytes:
        listed = b"".join(struct.pack("<HHII", *entry) for entry in entries)
        return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", len(entries)) + listed + struct.pack("<I", after)

    pixels = photograph(64)
    spoiled = [bytearray(P3) for _ in range(3)]
    spoiled[0][128:132] = b"\xff\xff\xff\xff"  # as many tags as there are numbers
    spoiled[1][140:148] = b"\x7f\xff\xff\xff\xff\xff\xff\xff"  # a tag behind the end
    spoiled[2][200:] = bytes(len(P3) - 200)
    return {
        "exif 0.jpg": with_exif(exif([(274, 3, 1, 0)])),
        "exif 9.jpg": with_exif(exif([(274, 3, 1, 9)])),
        "exif loop.jpg": with_exif(exif([(0x8769, 4, 1, 8), (0x8825, 4, 1, 8), (0xA005, 4, 1, 8)], after=8)),
        "exif count.jpg": with_exif(exif([(271, 2, 0xFFFFFFFF, 8), (274, 3, 0x7FFFFFFF, 8), (36867, 2, 1 << 31, 0)])),
        "exif none.jpg": with_exif(b"Exif\0\0II*\0\xff\xff\xff\xff"),
        "exif rational.jpg": with_exif(exif([(0x8769, 4, 1, 26), (37386, 5, 1, 0)]) + exif([(37386, 5, 1, 26)])[14:]),
        **{f"profile {k}.jpg": saved(pixels + k, "JPEG", icc_profile=bytes(bad)) for k, bad in enumerate(spoiled)},
        "profile text.png": saved(pixels, "PNG", icc_profile=b"not a profile at all"),
    }


@cache
def no_pictures() -> dict[str, bytes]:
    """What is called a photograph and is none, by its name."""
    frames = [Image.fromarray(photograph(32, left_px=8 * k)) for k in range(3)]
    page = b"<!DOCTYPE html>\n<html><head><title>404 Not Found</title></head><body>The file was moved.</body></html>\n"
    heic = saved(photograph(64), "HEIF", exif=b"Exif\0\0II*\0\x08\0\0\0\0\0\0\0\0\0")
    png = saved(photograph(64), "PNG")
    return {
        "nothing.jpg": b"",
        "text.jpg": "Dear all,\nthe aphids are back.\n".encode("utf-16"),
        "download.jpg": page,
        "moving gif.jpg": saved(frames[0], "GIF", save_all=True, append_images=frames[1:]),
        "zeros.heic": bytes(5000),
        "upside down.jpg": saved(photograph(64), "JPEG")[::-1],
        "no text.heic": heic.replace(b"Exif\0", b"\xe9xif\0", 1),
        "no header.png": png[:8] + chunk(b"IDAT", b"") + png[8:],
    }
