"""Pictures and colour profiles written in memory, and what should come out of them, for the tests of decoding."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, features

from vision.types import Shot

Pixels = NDArray[Any]

pillow_heif.register_heif_opener()
needs_avif = pytest.mark.skipif(
    not ("avif" in features.modules and features.check("avif")), reason="this Pillow was built without AVIF"
)


def saved(picture: Image.Image | Pixels, kind: str, **how: Any) -> bytes:
    buffer = io.BytesIO()
    (picture if isinstance(picture, Image.Image) else Image.fromarray(picture)).save(buffer, kind, **how)
    return buffer.getvalue()


def tiff(pixels: Pixels, **how: Any) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, **how)
    return buffer.getvalue()


def png16(pixels: Pixels, extra: bytes = b"") -> bytes:
    """A 16-bit PNG built by hand (W3C PNG, third edition): grey, grey and alpha, RGB or RGBA by its channels."""
    height, width = pixels.shape[:2]
    colour_type = {1: 0, 2: 4, 3: 2, 4: 6}[pixels.reshape(height, width, -1).shape[2]]
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    head = struct.pack(">IIBBBBB", width, height, 16, colour_type, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + extra + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    )


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def exif(orientation: int | None = None, when: str | None = None, zone: str | None = None) -> bytes:
    tags = Image.Exif()
    if orientation is not None:
        tags[274] = orientation
    tags[0x8769] = {tag: text for tag, text in ((36867, when), (36881, zone)) if text is not None}
    return tags.tobytes()


def heic16(pixels: Pixels, bits: int, **how: Any) -> bytes:
    """HEIC with 10 or 12 bits, lossless: stored as RGB, so that no colour matrix rounds."""
    height, width = pixels.shape[:2]
    picture = pillow_heif.from_bytes(mode="RGB;16", size=(width, height), data=pixels.astype("<u2").tobytes())
    buffer = io.BytesIO()
    twelve, pillow_heif.options.SAVE_HDR_TO_12_BIT = pillow_heif.options.SAVE_HDR_TO_12_BIT, bits == 12
    try:
        picture.save(buffer, quality=-1, chroma=444, matrix_coefficients=0, **how)
    finally:
        pillow_heif.options.SAVE_HDR_TO_12_BIT = twelve
    return buffer.getvalue()


def icc(space: bytes, connection: bytes, tags: dict[bytes, bytes]) -> bytes:
    """A profile built by hand (ICC.1:2022, 7.2 and 7.3)."""
    body, table, at = b"", b"", 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        content += b"\0" * (-len(content) % 4)
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += content
    kind = b"prtr" if space == b"CMYK" else b"mntr"
    head = struct.pack(
        ">I4sI4s4s4s12s4s", at + len(body), b"\0" * 4, 0x02400000, kind, space, connection, b"\0" * 12, b"acsp"
    )
    head += b"\0" * (68 - len(head)) + struct.pack(">iii", 63190, 65536, 54061)
    return head + b"\0" * (128 - len(head)) + struct.pack(">I", len(tags)) + table + body


def xyz_tag(values: tuple[float, ...]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">iii", *(round(v * 65536) for v in values))


def gamma_tag(gamma: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


# The tone curve of IEC 61966-2-1 as parametric curve type 3: g, a, b, c, d.
SRGB_CURVE = b"para\0\0\0\0" + struct.pack(
    ">HHiiiii", 3, 0, *(round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
)


def rgb_icc(columns: tuple[tuple[float, ...], ...], curve: bytes) -> bytes:
    tags = {b"wtpt": xyz_tag((0.9642, 1.0, 0.8249))}
    tags |= {name: xyz_tag(column) for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)}
    return icc(b"RGB ", b"XYZ ", tags | {b"rTRC": curve, b"gTRC": curve, b"bTRC": curve})


# Colorants adapted to D50 as the makers' own profiles hold them (Display P3; Adobe RGB (1998)); figures from memory, each
# column's sum is the D50 white 0.9642, 1, 0.8249.
P3 = rgb_icc(((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407)), SRGB_CURVE)
ADOBE = rgb_icc(
    ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457)), gamma_tag(563 / 256)
)
SRGB = rgb_icc(((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410)), SRGB_CURVE)


def table_icc(space: bytes, lab_of_corner: dict[int, tuple[float, float, float]]) -> bytes:
    """A profile that is one table (lut8Type) with two grid points an ink: Lab at each corner, white where none is given."""
    inks = 4 if space == b"CMYK" else 3
    steps = bytes(range(256))
    corners = [lab_of_corner.get(corner, (100.0, 0.0, 0.0)) for corner in range(2**inks)]
    nodes = bytes(round(v) for light, a, b in corners for v in (light * 2.55, a + 128, b + 128))
    unit = struct.pack(">9i", *(65536 if i % 4 == 0 else 0 for i in range(9)))
    table = b"mft1\0\0\0\0" + bytes((inks, 3, 2, 0)) + unit + steps * inks + nodes + steps * 3
    return icc(space, b"Lab ", {b"wtpt": xyz_tag((0.9642, 1.0, 0.8249)), b"A2B0": table})


def primaries_matrix(primaries: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Linear RGB to XYZ, white D65 at x 0.3127, y 0.3290 (the usual construction, SMPTE RP 177)."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    return columns @ np.diag(np.linalg.inv(columns) @ [0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])


def linear(code: Pixels) -> Pixels:
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def encoded(light: Pixels) -> Pixels:
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


SRGB_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1
P3_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # Display P3: SMPTE EG 432-1 primaries with D65 (Apple)
ADOBE_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # Adobe RGB (1998), section 4.3.1


def to_srgb(code: Pixels, primaries: tuple[tuple[float, float], ...], gamma: float | None = None) -> Pixels:
    light = linear(code) if gamma is None else code**gamma
    return encoded(light @ (np.linalg.inv(primaries_matrix(SRGB_XY)) @ primaries_matrix(primaries)).T)


def ramp(shape: tuple[int, ...], full: int) -> Pixels:
    """Every sort of colour, none of them alike, and both ends of the scale."""
    values = np.random.default_rng(7).integers(0, full + 1, shape)
    values[0, 0], values[-1, -1] = 0, full
    return values.astype(np.uint8 if full == 255 else np.uint16)


def quarters() -> Pixels:
    """Upright, 32 wide and 16 high, each quarter of its own colour."""
    pixels = np.zeros((16, 32, 3), np.uint8)
    pixels[:8, :16], pixels[:8, 16:], pixels[8:, :16], pixels[8:, 16:] = (
        (220, 30, 30),
        (30, 200, 30),
        (30, 30, 220),
        (200, 200, 40),
    )
    return pixels


def as_stored(pixels: Pixels, orientation: int) -> Pixels:
    """How an upright picture is stored under each tag: where its row 0 and column 0 are seen (TIFF 6.0, tag 274)."""
    across = pixels.transpose(1, 0, *range(2, pixels.ndim))
    return {
        1: pixels,  # top, left
        2: pixels[:, ::-1],  # top, right
        3: pixels[::-1, ::-1],  # bottom, right
        4: pixels[::-1],  # bottom, left
        5: across,  # left, top
        6: across[::-1],  # right, top
        7: across[::-1, ::-1],  # right, bottom
        8: across[:, ::-1],  # left, bottom
    }[orientation]


def near(shot: Shot, wanted: Pixels, levels: float) -> None:
    assert shot.pixels.shape == wanted.shape
    assert np.abs(shot.pixels.astype(float) - wanted).max() <= levels


INKS = np.array(
    [[0, 0, 0, 0], [255, 0, 0, 0], [0, 255, 0, 0], [0, 0, 255, 0], [0, 0, 0, 255], [0, 0, 0, 128]], np.uint8
)
SEEN = np.array([[255, 255, 255], [0, 255, 255], [255, 0, 255], [255, 255, 0], [0, 0, 0], [127, 127, 127]], float)


def ink_picture() -> Image.Image:
    return Image.fromarray(np.repeat(np.repeat(INKS[None], 16, axis=0), 16, axis=1), "CMYK")
