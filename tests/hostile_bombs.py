"""Small files that would fill the memory or hold up the work for minutes if what they claim were believed."""

from __future__ import annotations

import io
import lzma
import struct
import zlib
from functools import cache

import numpy as np
from PIL import Image, features
from written_pictures import chunk, icc, saved

PNG_START = b"\x89PNG\r\n\x1a\n"
HEIF_KINDS = ("HEIF", "AVIF") if "avif" in features.modules and features.check("avif") else ("HEIF",)
_BLOCK = 1 << 20


def zeros(size: int) -> bytes:
    """A zlib stream (RFC 1950) of so many zeros, a thousandth as long, and at once: one flushed block again and again."""
    pack = zlib.compressobj(9)
    head = pack.compress(b"") + pack.flush(zlib.Z_FULL_FLUSH)
    block = pack.compress(bytes(_BLOCK)) + pack.flush(zlib.Z_FULL_FLUSH)
    tail = zlib.compressobj(9, zlib.DEFLATED, -15)
    rest = tail.compress(bytes(size % _BLOCK)) + tail.flush()
    return head + block * (size // _BLOCK) + rest + struct.pack(">HH", size % 65521, 1)  # Adler-32 of zeros


def png(*chunks: bytes) -> bytes:
    return PNG_START + b"".join(chunks) + chunk(b"IEND", b"")


def ihdr(width: int, height: int, bits: int = 8) -> bytes:
    return chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0))


@cache
def png_bombs(side: int = 64) -> dict[str, bytes]:
    rows = chunk(b"IDAT", zlib.compress(bytes(side * (3 * side + 1))))
    small = ihdr(side, side)
    text, short = b"what\0\0" + zeros(1 << 30), zeros(_BLOCK)
    return {
        "held.png": png(ihdr(20000, 20000), chunk(b"IDAT", zeros(20000 * 60001))),
        "held16.png": png(ihdr(20000, 20000, 16), chunk(b"IDAT", zeros(20000 * 120001))),
        "two headers.png": png(small, ihdr(20000, 20000), chunk(b"IDAT", zeros(20000 * 60001))),
        "two headers16.png": png(ihdr(64, 64, 16), ihdr(15000, 16000, 16), chunk(b"IDAT", zeros(16000 * 90001))),
        "more rows than it says.png": png(small, chunk(b"IDAT", zeros(1 << 30))),
        "profile.png": png(small, chunk(b"iCCP", text), rows),
        "text.png": png(small, chunk(b"zTXt", text), rows),
        "long text.png": png(small, chunk(b"iTXt", b"what\0\1\0\0\0" + zeros(1 << 30)), rows),
        "many texts.png": png(small, *[chunk(b"zTXt", b"%d\0\0" % k + short) for k in range(300)], rows),
    }


def tiff(entries: list[tuple[int, int, int, int | None]], tail: bytes, bits: int = 8, after: int = 0) -> bytes:
    """One directory (TIFF 6.0): tag, type, count, value; None is where `tail` begins. Tag 258 gives three channels of `bits`."""
    entries = sorted([*entries, (258, 3, 3, 8 + 2 + 12 * (len(entries) + 1) + 4)], key=lambda each: each[0])
    begin = 8 + 2 + 12 * len(entries) + 4 + 6
    listed = b"".join(struct.pack("<HHII", t, kind, n, begin if v is None else v) for t, kind, n, v in entries)
    return (
        b"II*\0\x08\0\0\0" + struct.pack("<H", len(entries)) + listed + struct.pack("<I3H", after, *[bits] * 3) + tail
    )


def layout(side: int, compression: int, size: int) -> list[tuple[int, int, int, int | None]]:
    return [
        (256, 4, 1, side),
        (257, 4, 1, side),
        (259, 3, 1, compression),
        (262, 3, 1, 2),
        (273, 4, 1, None),
        (277, 3, 1, 3),
        (278, 4, 1, side),
        (279, 4, 1, size),
    ]


@cache
def tiff_bombs(side: int = 64) -> dict[str, bytes]:
    plain = bytes(3 * side * side)
    deflated, xz = zeros(3 << 30), lzma.compress(bytes(64 << 20), preset=0) * 32
    twice = [(256, 4, 1, 40000), (257, 4, 1, 40000)]
    tiled = zeros(6 * 16384 * 16384)
    tiles: list[tuple[int, int, int, int | None]] = [
        *[each for each in layout(side, 8, 0) if each[0] not in (273, 278, 279)],
        (322, 4, 1, 16384),
        (323, 4, 1, 16384),
        (324, 4, 1, None),
        (325, 4, 1, len(tiled)),
    ]
    below = 200_000
    return {
        "held.tif": tiff(layout(20000, 8, len(deflated)), deflated),
        "deflate16.tif": tiff(layout(side, 8, len(deflated)), deflated, 16),
        "lzma16.tif": tiff(layout(side, 34925, len(xz)), xz, 16),
        "tile16.tif": tiff(tiles, tiled, 16),
        "deflate.tif": tiff(layout(side, 8, len(deflated)), deflated),
        "two widths.tif": tiff([*layout(side, 1, len(plain)), *twice], plain),
        "strips over each other.tif": _packed_strips(20000),
        "page after itself.tif": tiff(layout(side, 1, len(plain)), plain, after=8),
        "pages without end.tif": _pages(300_000),
        "directories below.tif": tiff(
            [*layout(1, 1, 3), (330, 4, below, 8 + 2 + 12 * 10 + 4 + 6 + 4)],
            bytes(4) + struct.pack("<I", 8) * below,
        ),
        "profile.tif": _profile_tiff(20_000_000),
    }


def _packed_strips(strips: int) -> bytes:
    """12 bits a channel, one row a strip, and every strip all of the file."""
    size, n = 1 << 20, strips
    begin = 8 + 2 + 12 * 9 + 4 + 6
    rest = [(256, 4, 1, 8), (257, 4, 1, n), (259, 3, 1, 1), (262, 3, 1, 2), (277, 3, 1, 3), (278, 4, 1, 1)]
    entries: list[tuple[int, int, int, int | None]] = [*rest, (273, 4, n, begin), (279, 4, n, begin + 4 * n)]
    return tiff(entries, struct.pack("<I", begin) * n + struct.pack("<I", size) * n + bytes(size), 12)


def _pages(count: int) -> bytes:
    """Thumbnails of one pixel, each its own directory."""
    entries = [(254, 1), (256, 1), (257, 1), (258, 8), (259, 1), (262, 1), (273, 8), (277, 1), (278, 1), (279, 1)]
    body = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", t, 4, 1, v) for t, v in entries)
    step = len(body) + 4
    nexts = [*(8 + step * (k + 1) for k in range(count - 1)), 0]
    return b"II*\0\x08\0\0\0" + b"".join(body + struct.pack("<I", at) for at in nexts)


def _profile_tiff(size: int) -> bytes:
    """A profile of which 200 tags each claim all."""
    tags, head = 200, icc(b"RGB ", b"XYZ ", {})[:128]
    listed = b"".join(struct.pack(">4sII", b"t%03d" % k, 4, size - 4) for k in range(tags))
    profile = (head + struct.pack(">I", tags) + listed).ljust(size, b"\0")
    pixels = bytes(3 * 64 * 64)
    begin = 8 + 2 + 12 * 10 + 4 + 6
    return tiff([*layout(64, 1, len(pixels)), (34675, 7, size, begin + len(pixels))], pixels + profile)


@cache
def jpeg_bombs() -> dict[str, bytes]:
    """A progressive JPEG whose last scan, a few bytes, comes again and again."""
    data = saved(Image.new("RGB", (3000, 3000), (90, 90, 90)), "JPEG", progressive=True)
    last = data[data.rindex(b"\xff\xda") : -2]
    return {"scans.jpg": data[:-2] + last * 6000 + b"\xff\xd9"}


@cache
def webp_bombs() -> dict[str, bytes]:
    """Of one colour a lossless WebP holds any number of pixels in a few bytes: its size is all that is changed."""
    data = saved(Image.new("RGB", (16, 16), (90, 100, 110)), "WEBP", lossless=True)
    stream = bytearray(data[20:])
    sized = int.from_bytes(stream[1:5], "little") >> 28 << 28 | 16382 << 14 | 16382
    stream[1:5] = struct.pack("<I", sized)
    held = b"VP8L" + struct.pack("<I", len(stream)) + bytes(stream)
    canvas = b"VP8X" + struct.pack("<I", 10) + bytes(4) + (63).to_bytes(3, "little") * 2
    return {
        name: b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body
        for name, body in {"held.webp": held, "small canvas.webp": canvas + held}.items()
    }


@cache
def heif_bombs() -> dict[str, bytes]:
    """900 tiles, all of them the same bytes, that make 324 megapixels; once with a size of 64 x 64 written over them."""
    found = {}
    for kind in HEIF_KINDS:
        ending = {"HEIF": "heic", "AVIF": "avif"}[kind]
        found[f"tiles.{ending}"] = _grid(kind, shown=18000, said=18000)
        found[f"tiles that lie.{ending}"] = _grid(kind, shown=18000, said=64)
        found[f"tiles for a small picture.{ending}"] = _grid(kind, shown=64, said=64)
    return found


def _box(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body) + 8) + name + body


def _full(name: bytes, body: bytes, version: int = 0) -> bytes:
    return _box(name, struct.pack(">I", version << 24) + body)


def _grid(kind: str, shown: int, said: int, side: int = 30, tile: int = 640) -> bytes:
    """A grid of tiles (ISO/IEC 23008-12, 6.6.2.3): `shown` is what the grid makes, `said` the size in its `ispe`."""
    one = saved(Image.fromarray(np.full((tile, tile, 3), 120, np.uint8)), kind)
    at = one.index(b"hvcC" if kind == "HEIF" else b"av1C") - 4
    config = one[at : at + int.from_bytes(one[at : at + 4], "big")]
    coded = one[one.index(b"mdat") + 4 :]
    grid = struct.pack(">4BII", 0, 1, side - 1, side - 1, shown, shown)
    tiles = range(2, 2 + side * side)
    name, brand = (b"hvc1", b"heic") if kind == "HEIF" else (b"av01", b"avif")

    def item(number: int, what: bytes) -> bytes:
        return _full(b"infe", struct.pack(">HH", number, 0) + what + b"\0", 2)

    def meta(begin: int) -> bytes:
        places = [(1, begin, len(grid)), *((k, begin + len(grid), len(coded)) for k in tiles)]
        sizes = b"".join(_full(b"ispe", struct.pack(">II", s, s)) for s in (tile, said))
        owned = struct.pack(">HBB", 1, 1, 3) + b"".join(struct.pack(">HBBB", k, 2, 0x81, 2) for k in tiles)
        return _full(
            b"meta",
            _full(b"hdlr", bytes(4) + b"pict" + bytes(13))
            + _full(b"pitm", struct.pack(">H", 1))
            + _full(b"iinf", struct.pack(">H", len(places)) + item(1, b"grid") + b"".join(item(k, name) for k in tiles))
            + _full(b"iref", _box(b"dimg", struct.pack(f">HH{len(tiles)}H", 1, len(tiles), *tiles)))
            + _box(b"iprp", _box(b"ipco", config + sizes) + _full(b"ipma", struct.pack(">I", len(places)) + owned))
            + _full(
                b"iloc",
                struct.pack(">BBH", 0x44, 0, len(places))
                + b"".join(struct.pack(">HHHII", k, 0, 1, place, size) for k, place, size in places),
            ),
        )

    start = _box(b"ftyp", brand + bytes(4) + b"mif1" + brand)
    return start + meta(len(start) + len(meta(0)) + 8) + _box(b"mdat", grid + coded)


def exif_bomb() -> bytes:
    """Exif of 1,500 entries that each claim the same 40 kB."""
    entries, size = 1500, 40960
    begin = 8 + 2 + 12 * entries + 4
    listed = b"".join(struct.pack("<HHII", 1000 + k, 3, size // 2, begin) for k in range(entries))
    return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", entries) + listed + bytes(4) + bytes(size)


def with_exif(exif: bytes) -> bytes:
    """A small JPEG with these bytes as its Exif."""
    buffer = io.BytesIO()
    Image.new("RGB", (64, 64), (180, 180, 180)).save(buffer, "JPEG", exif=exif)
    return buffer.getvalue()
