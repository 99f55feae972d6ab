"""Whether all of a picture file is there, as its own structure tells while somebody is still writing it.

All there is not the same as good: a damaged file with all its bytes is complete. What is no picture of a kind that is read is
complete, too: it is not worth waiting for.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from enum import IntEnum
from typing import Literal

_TOO_SHORT_BYTES = 64
"""No picture is shorter; a start that is may belong to any kind."""
_TAIL_BYTES = 64
_ROOM_BYTES = 4096
"""Room that is kept for a file and not filled yet reads as zeros; what fills it writes no smaller blocks (common practice, no source)."""
_TIFF_SIZES = {3: 2, 4: 4, 5: 8, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
"""Bytes of one value by its type (TIFF 6.0, section 2; BigTIFF); all others have 1."""


class Complete(IntEnum):
    """How much of a file is there."""

    NO = 0
    UNSURE = 1
    """It could be all: but a stretch of zeros stands where there would rather be picture, or pictures it tells of behind its first
    are not there."""
    YES = 2


def completeness(data: bytes) -> Complete:
    """How much of the picture file that `data` begins is there."""
    if len(data) < _TOO_SHORT_BYTES or not any(data[:_TOO_SHORT_BYTES]):
        return Complete.NO
    if data.startswith(b"\xff\xd8\xff"):
        return _jpeg(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return _png(data)
    if data.startswith(b"RIFF"):
        return _coded(data) if int.from_bytes(data[4:8], "little") + 8 <= len(data) else Complete.NO
    if data[4:8] == b"ftyp":
        return _boxes(data)
    if data.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return _tiff(data)
    return Complete.YES if any(data[-_TAIL_BYTES:]) else Complete.NO


def _room_in(data: bytes, start: int, end: int) -> bool:
    return data.find(bytes(_ROOM_BYTES), start, end) >= 0


def _coded(data: bytes) -> Complete:
    """Of coded pictures that a length stands before: codes don't end in a row of zeros."""
    if not any(data[-_TAIL_BYTES:]):
        return Complete.NO
    return Complete.UNSURE if _room_in(data, 0, len(data)) else Complete.YES


def _jpeg(data: bytes) -> Complete:
    """Up to the end-of-image marker behind the first scan (ITU-T T.81, B.1): 0xFFD9 can't occur inside a scan."""
    at, others = 2, True
    while at + 4 <= len(data):
        marker = data[at + 1]
        if data[at] != 0xFF:
            return Complete.YES if any(data[at : at + _TAIL_BYTES]) else Complete.NO  # damaged, or not filled yet
        if marker == 0xDA:
            end = data.find(b"\xff\xd9", at)
            if end < 0:
                return Complete.NO
            # A picture in one colour may be coded as zeros: so it is not for sure that these are missing.
            return Complete.YES if others and not _room_in(data, at, end) else Complete.UNSURE
        if marker == 0xD9:
            return Complete.YES
        if marker == 0xFF:  # fill byte
            at += 1
        elif marker == 0x01 or 0xD0 <= marker <= 0xD8:  # these stand alone, without a length
            at += 2
        else:
            length = int.from_bytes(data[at + 2 : at + 4], "big")
            if marker == 0xE2 and data[at + 4 : at + 8] == b"MPF\0":
                others = _others_there(data, at + 8, at + 2 + length)
            at += 2 + length
    return Complete.NO


def _others_there(data: bytes, start: int, end: int) -> bool:
    """Whether the pictures behind the first one are there (CIPA DC-007, 5.2): phones put a map of brightness there.

    A program that rewrites a photograph may leave their list and not them.
    """
    head = data[start:end]
    order: Literal["little", "big"] = "little" if head.startswith(b"II") else "big"
    for tag, _, count, value in _entries(head, order, False):
        if tag != 0xB002:
            continue
        at = int.from_bytes(value, order)
        for entry in range(at + 16, min(at + count, len(head)), 16):
            size = int.from_bytes(head[entry + 4 : entry + 8], order)
            begins = start + int.from_bytes(head[entry + 8 : entry + 12], order)
            if begins + size > len(data) or not any(data[begins : begins + 2]):
                return False
            if not any(data[begins + size - _TAIL_BYTES : begins + size]):
                return False
    return True


def _png(data: bytes) -> Complete:
    """Every chunk carries a check sum (W3C PNG, 5.3); the last is called IEND."""
    at = 8
    while at + 12 <= len(data):
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        if end > len(data) or zlib.crc32(data[at + 4 : end - 4]) != int.from_bytes(data[end - 4 : end], "big"):
            return Complete.NO
        if data[at + 4 : at + 8] == b"IEND":
            return Complete.YES
        at = end
    return Complete.NO


def _boxes(data: bytes) -> Complete:
    """HEIC, AVIF and films: boxes, each with its length before it (ISO/IEC 14496-12, 4.2)."""
    at, holds_pictures, unsure = 0, False, False
    while at + 8 <= len(data):
        size, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if not any(data[at : at + 8]):
            return Complete.NO  # not filled yet
        if size == 1:  # the length follows in 64 bits
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        elif size == 0:  # the last box, to the end of the file
            size = len(data) - at
        if size < 8:
            return Complete.YES  # not cut but damaged
        if name == b"mdat" and at + size <= len(data):
            if not any(data[at + size - _TAIL_BYTES : at + size]):
                return Complete.NO
            holds_pictures, unsure = True, unsure or _room_in(data, at, at + size)
        at += size
    if at != len(data) or not holds_pictures:
        return Complete.NO
    return Complete.UNSURE if unsure else Complete.YES


def _tiff(data: bytes) -> Complete:
    """The first picture's directory and all pieces of it (TIFF 6.0, section 2; BigTIFF has wider numbers)."""
    order: Literal["little", "big"] = "little" if data.startswith(b"II") else "big"
    large = int.from_bytes(data[2:4], order) == 43
    starts: list[int] = []
    sizes: list[int] = []
    there = unsure = False
    for tag, kind, count, value in _entries(data, order, large):
        there = True
        size = count * _TIFF_SIZES.get(kind, 1)
        unsure = unsure or (size > len(value) and int.from_bytes(value, order) + size > len(data))
        if tag in (273, 324):  # StripOffsets, TileOffsets
            starts = _numbers(data, order, kind, count, value)
        elif tag in (279, 325):  # StripByteCounts, TileByteCounts
            sizes = _numbers(data, order, kind, count, value)
    if not there or any(start + size > len(data) for start, size in zip(starts, sizes, strict=False)):
        return Complete.NO
    # Black that is not compressed is zeros as well.
    unsure = unsure or _room_in(data, 0, len(data)) or not any(data[-_TAIL_BYTES:])
    return Complete.UNSURE if unsure or not starts or len(starts) != len(sizes) else Complete.YES


def _entries(data: bytes, order: Literal["little", "big"], large: bool) -> Iterator[tuple[int, int, int, bytes]]:
    """Tag, type, count and value field of a TIFF's first directory; none where it is not all there."""
    wide, width = (8, 20) if large else (4, 12)
    start = int.from_bytes(data[8:16] if large else data[4:8], order)
    first = start + (8 if large else 2)
    count = int.from_bytes(data[start:first], order)
    if start == 0 or first + width * count > len(data):
        return
    for at in range(first, first + width * count, width):
        tag, kind = (int.from_bytes(data[k : k + 2], order) for k in (at, at + 2))
        yield tag, kind, int.from_bytes(data[at + 4 : at + 4 + wide], order), data[at + 4 + wide : at + width]


def _numbers(data: bytes, order: Literal["little", "big"], kind: int, count: int, value: bytes) -> list[int]:
    """The numbers of an entry; a list that lies behind the end of the file is given as one number that lies there as well."""
    letter, size = {3: ("H", 2), 4: ("I", 4), 16: ("Q", 8)}.get(kind, ("", 0))
    if not size:
        return []
    if count * size > len(value):
        at = int.from_bytes(value, order)
        value = data[at : at + count * size]
        if len(value) < count * size:
            return [len(data) + 1]
    return list(struct.unpack(("<" if order == "little" else ">") + letter * count, value[: count * size]))
