"""What a file is, told by its first bytes and never by its ending."""

from __future__ import annotations

import re
from enum import StrEnum
from pathlib import PurePosixPath
from typing import Literal

from PIL import features

from vision.errors import UnreadableShot


class Kind(StrEnum):
    """The kinds of picture that are read."""

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    WEBP = "WebP"
    HEIC = "HEIC"
    AVIF = "AVIF"


ENDINGS: dict[Kind, tuple[str, ...]] = {
    Kind.JPEG: (".jpg", ".jpeg", ".jpe", ".jfif"),
    Kind.PNG: (".png",),
    Kind.TIFF: (".tif", ".tiff"),
    Kind.WEBP: (".webp",),
    Kind.HEIC: (".heic", ".heif", ".hif"),
    Kind.AVIF: (".avif", ".heif"),
}
"""File endings that go with each kind, in small letters."""

BREAKS_OFF = "The file breaks off before the picture ends; copy it again."
BROKEN = "The picture is broken; copy it again."
NOT_A_PICTURE = "This is not a picture."
RAW = "This is a raw camera file, which is not read; save it as JPEG, or as TIFF with 16 bits."

_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2"}
_AVIF_BRANDS = {b"avif", b"avis"}
_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM")
_OTHER_STARTS = (
    (b"GIF87a", "GIF"),
    (b"GIF89a", "GIF"),
    (b"8BPS", "Photoshop"),
    (b"\0\0\0\x0cjP  ", "JPEG 2000"),
    (b"\xff\x4f\xff\x51", "JPEG 2000"),
    (b"\0\0\0\x0cJXL ", "JPEG XL"),
    (b"\xff\x0a", "JPEG XL"),
    (b"v/1\x01", "OpenEXR"),
    (b"#?RADIANCE", "Radiance"),
    (b"%PDF-", "PDF"),
)
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
"""What ends a scan: neither a byte 0xFF of its own, nor a restart, nor filling."""
_BMP_HEADER_SIZES = (12, 40, 52, 56, 64, 108, 124)


def kind_of(data: bytes) -> Kind:
    """The kind of picture in `data`; UnreadableShot, in a sentence, where it is none of those that are read."""
    if data.startswith(b"\xff\xd8\xff"):
        return Kind.JPEG
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return Kind.PNG
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return Kind.WEBP
    if data[4:8] == b"ftyp":
        return _kind_of_boxes(data)
    if data.startswith(_RAW_STARTS):
        raise UnreadableShot(RAW)
    if data.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        if data[8:10] == b"CR":  # Canon's own mark behind the TIFF header
            raise UnreadableShot(RAW)
        return Kind.TIFF
    for start, words in _OTHER_STARTS:
        if data.startswith(start):
            raise UnreadableShot(not_read(words))
    if data.startswith(b"BM") and int.from_bytes(data[14:18], "little") in _BMP_HEADER_SIZES:
        raise UnreadableShot(not_read("BMP"))
    raise UnreadableShot(NOT_A_PICTURE)


def _kind_of_boxes(data: bytes) -> Kind:
    """HEIC, AVIF and films share one container (ISO/IEC 14496-12); the brands in its first box tell them apart."""
    end = min(int.from_bytes(data[:4], "big"), len(data))
    major = data[8:12]
    brands = {major} | {data[at : at + 4] for at in range(16, end - 3, 4)}
    if major == b"crx ":
        raise UnreadableShot(RAW)
    if brands & _AVIF_BRANDS:
        if not ("avif" in features.modules and features.check("avif")):  # Pillow 11.3 and later
            raise UnreadableShot(not_read("AVIF"))
        return Kind.AVIF
    if brands & _HEIC_BRANDS:
        return Kind.HEIC
    raise UnreadableShot("This is a film, or a kind of file that is not read; save one picture of it as JPEG.")


def not_read(words: str) -> str:
    """The sentence for a picture of a kind that is known but not read."""
    return f"{words} files are not read; save the picture as JPEG, PNG, TIFF, WebP or HEIC."


def note_on_ending(name: str, kind: Kind) -> tuple[str, ...]:
    """A sentence where the file's ending belongs to another kind of picture; none where it fits or says nothing."""
    ending = PurePosixPath(name).suffix.lower()
    others = {e for endings in ENDINGS.values() for e in endings} | {".gif", ".bmp", ".psd", ".dng"}
    if ending in others and ending not in ENDINGS[kind]:
        return (f"Named {ending}, but its content is {kind.value}.",)
    return ()


def breaks_off(data: bytes, kind: Kind) -> bool:
    """Whether the file's own structure says that bytes are missing at its end; of a TIFF only its directory."""
    if kind is Kind.JPEG:
        return _jpeg_breaks_off(data)
    if kind is Kind.PNG:
        return _png_breaks_off(data)
    if kind is Kind.WEBP:
        return int.from_bytes(data[4:8], "little") + 8 > len(data)
    if kind in (Kind.HEIC, Kind.AVIF):
        return _boxes_break_off(data)
    return _tiff_breaks_off(data)


def _jpeg_breaks_off(data: bytes) -> bool:
    """No end-of-image marker behind the first scan (ITU-T T.81, B.1): 0xFFD9 can't occur inside a scan."""
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False  # not cut but damaged
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
        elif marker == 0xDA:
            return data.find(b"\xff\xd9", at) < 0
        elif marker == 0xD9:
            return False
        elif marker == 0x01 or 0xD0 <= marker <= 0xD8:  # these stand alone, without a length
            at += 2
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return True


def jpeg_scans(data: bytes) -> int:
    """How many scans a JPEG has (ITU-T T.81, B.2): markers inside the segments between them do not count."""
    count, at = 0, 2
    while (found := _MARKER.search(data, at)) is not None:
        at, marker = found.end(), data[found.end() - 1]
        if marker == 0xD9:
            break
        if marker not in (0x01, 0xD8):
            count += marker == 0xDA
            at += max(int.from_bytes(data[at : at + 2], "big"), 2)
    return count


def _png_breaks_off(data: bytes) -> bool:
    at = 8
    while at + 12 <= len(data):
        if data[at + 4 : at + 8] == b"IEND":
            return False
        at += 12 + int.from_bytes(data[at : at + 4], "big")
    return True


def _tiff_breaks_off(data: bytes) -> bool:
    """The first directory lies behind the end; many programs write it behind the pixels."""
    order: Literal["little", "big"] = "little" if data.startswith(b"II") else "big"
    large = int.from_bytes(data[2:4], order) == 43  # BigTIFF
    start = int.from_bytes(data[8:16] if large else data[4:8], order)
    entries = int.from_bytes(data[start : start + (8 if large else 2)], order)
    return start + (8 + 20 * entries if large else 2 + 12 * entries) > len(data)


def _boxes_break_off(data: bytes) -> bool:
    at = 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if size == 1:  # the length follows in 64 bits
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        if size == 0:  # the last box, to the end of the file
            return False
        if size < 8:
            return False  # not cut but damaged
        at += size
    return at != len(data)


def boxes_without_pixels(data: bytes) -> bytes:
    """The boxes of HEIC or AVIF one after the other (ISO/IEC 14496-12, 4.2) without `mdat`, where anything may stand by chance."""
    kept, at = [], 0
    while at < len(data):
        size, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        end = at + size if size >= 8 else len(data)  # the last box, or a damaged one
        if name != b"mdat":
            kept.append(data[at:end])
        at = end
    return b"".join(kept)
