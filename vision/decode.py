"""Picture bytes to a Shot: JPEG, PNG, TIFF, WebP, HEIC and AVIF, told apart by content.

Everything happens in memory. The size is read from the header and checked before room for a single pixel is made. Whatever a
library says goes no further than this file: the person at the panel gets one of our own sentences.
"""

from __future__ import annotations

import hashlib
import io
import logging
import math
import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, JpegImagePlugin, PngImagePlugin, WebPImagePlugin

from vision import icc
from vision.errors import ShotError, ShotTooLarge, UnreadableShot
from vision.exif import read_exif, with_quality
from vision.kinds import (
    BREAKS_OFF,
    BROKEN,
    Kind,
    boxes_without_pixels,
    breaks_off,
    jpeg_scans,
    kind_of,
    note_on_ending,
)
from vision.raster import FIRST_OF_SEVERAL, ONE_CLEAR_COLOUR, Raster, finished, plain_pixels, through_opencv
from vision.tiffs import ODD_TIFF, decode_tiff
from vision.types import Shot

Pixels = NDArray[Any]
CheckSize = Callable[[int, int], None]

NO_MEMORY = "There is not enough memory to open this picture."
HDR = "This picture is stored in an HDR mode, whose levels are not comparable; set the camera to its standard mode."

# Bytes that one byte of a PNG can hold (zlib, "Technical Details"): a larger claim is a lie that costs memory.
_DEFLATE_MOST = 1032
_NO_SIDE_PX = 1 << 32  # no kind of file has room for so much; only broken tags of a TIFF say it
# Each scan of a progressive JPEG goes over all of the picture once more: a few bytes each cost seconds. Encoders make 10 or so.
_MOST_SCANS = 100
_CV_LOG: Any = getattr(cv2.utils, "logging", cv2)  # OpenCV 4 has the level in cv2 itself
_HDR_CURVES = (16, 18)  # ITU-T H.273 transfer characteristics: PQ and HLG
_NAMED_PRIMARIES = {9: icc.BT2020_PRIMARIES, 12: icc.P3_PRIMARIES}  # ITU-T H.273 colour primaries


def decode_shot(data: bytes, name: str, *, max_megapixels: float = 250.0) -> Shot:
    """The picture in `data` as a Shot: upright, sRGB, three channels, its pixels read-only.

    8 bits a channel give uint8; more than 8 give uint16 over its full scale (AVIF always comes as 8, which is what Pillow
    reads of it). An embedded profile is converted; a picture without
    one is taken as sRGB. Grey becomes three equal channels; transparent parts are put on white in linear light. The metadata
    end here, but for the time taken and what they say of the camera. What was decided on the way stands in `notes`.

    Raises ShotTooLarge above `max_megapixels`, else UnreadableShot, each with a sentence for the person at the panel.
    """

    def check_size(width: int, height: int) -> None:
        if min(width, height) < 1 or max(width, height) >= _NO_SIDE_PX:
            raise UnreadableShot(BROKEN)
        megapixels = width * height / 1e6
        if megapixels > max_megapixels:
            shown = f"{math.ceil(megapixels * 10) / 10:,.1f}".removesuffix(".0")
            raise ShotTooLarge(f"The picture has {shown} megapixels; the limit is {max_megapixels:g}.")

    kind = kind_of(data)
    try:
        with _quiet():
            raster = _DECODERS[kind](data, check_size)
            pixels, notes = finished(raster)
    except ShotError:
        raise
    except Image.DecompressionBombError as error:
        raise ShotTooLarge(f"The picture has more pixels than can be read from a {kind} file.") from error
    except Exception as error:
        # Decoders raise nearly anything on damaged bytes; what matters to the person is whether copying again can help.
        if _is_out_of_memory(error):
            raise UnreadableShot(NO_MEMORY) from error
        if breaks_off(data, kind):
            raise UnreadableShot(BREAKS_OFF) from error
        raise UnreadableShot(ODD_TIFF if kind is Kind.TIFF else BROKEN) from error
    told = (*note_on_ending(name, kind), *notes)
    return Shot(pixels, hashlib.sha256(data).hexdigest(), name, raster.tags.taken_at, told, raster.tags.camera)


def _is_out_of_memory(error: Exception) -> bool:
    """Also where a library has an error of its own for it."""
    of_opencv = isinstance(error, cv2.error) and getattr(error, "code", None) == cv2.Error.StsNoMem
    return of_opencv or isinstance(error, MemoryError) or "out of memory" in str(error).lower()


@contextmanager
def _quiet() -> Iterator[None]:
    """Keeps the libraries' own remarks on damaged files off the terminal."""
    log = logging.getLogger("tifffile")
    was_disabled, was_level = log.disabled, _CV_LOG.setLogLevel(0)
    log.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        log.disabled = was_disabled
        _CV_LOG.setLogLevel(was_level)


def _decode_jpeg(data: bytes, check_size: CheckSize) -> Raster:
    """Three channels go through OpenCV, which hands over its pixels without the two copies Pillow needs; the rest through Pillow."""
    picture = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    check_size(*picture.size)
    if breaks_off(data, Kind.JPEG):  # some versions of OpenCV would fill up with grey without a word
        raise UnreadableShot(BREAKS_OFF)
    if jpeg_scans(data) > _MOST_SCANS:
        raise UnreadableShot(BROKEN)
    profile = picture.info.get("icc_profile")
    tags = read_exif(picture.getexif())
    tags = replace(tags, camera=with_quality(tags.camera, picture.quantization))
    pixels: Pixels
    notes: tuple[str, ...] = ()
    if picture.mode == "CMYK":
        picture.load()
        # Pillow takes every such file for one of Adobe's, which store 255 for no ink; only their marker says that they are.
        inks = picture if "adobe" in picture.info else Image.eval(picture, lambda ink: 255 - ink)
        pixels, notes = icc.convert_inks(inks, profile)
        profile = None
    elif picture.mode == "RGB":
        pixels = through_opencv(data, picture.size, as_stored=False)
    else:
        picture.load()
        pixels = plain_pixels(picture)
    return Raster(pixels, profile, None, tags, notes=notes)


def _of_several(count: int) -> tuple[str, ...]:
    return (FIRST_OF_SEVERAL,) if count > 1 else ()


def _decode_png(data: bytes, check_size: CheckSize) -> Raster:
    if data[12:16] != b"IHDR":
        raise UnreadableShot(BROKEN)
    size = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    check_size(*size)
    picture = PngImagePlugin.PngImageFile(io.BytesIO(data))
    if picture.size != size:  # a second header, which Pillow follows
        raise UnreadableShot(BROKEN)
    bare, clear = _bare_png(data)
    if len(bare) * _DEFLATE_MOST < _least_png_bytes(data):
        raise UnreadableShot(BREAKS_OFF if breaks_off(data, Kind.PNG) else BROKEN)
    profile = picture.info.get("icc_profile")
    notes = _of_several(getattr(picture, "n_frames", 1))
    if data[24] == 16:  # Pillow would cut it down to 8
        pixels = through_opencv(bare, picture.size, as_stored=True)
        notes += (ONE_CLEAR_COLOUR,) if clear else ()
    else:
        picture.load()
        pixels = plain_pixels(picture)
    tags = read_exif(picture.getexif())
    return Raster(pixels, profile, None, tags, notes=notes)


def _least_png_bytes(data: bytes) -> int:
    """Bytes that the pixels named in the header take at the least (W3C PNG, 11.2.1)."""
    width, height = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}.get(data[25], 1)
    return height * (width * channels * data[24] // 8)


def _bare_png(data: bytes) -> tuple[bytes, bool]:
    """The PNG with nothing but its picture, so that no version of OpenCV acts on frames, gamma, profile or orientation.

    Also whether one colour was marked as transparent. A chunk that runs over the file's end is left out: OpenCV would ask for as
    much memory as it claims to have.
    """
    kept, clear, at = [data[:8]], False, 8
    while at + 12 <= len(data):
        name = data[at + 4 : at + 8]
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        if name == b"IEND" or end > len(data):
            break
        if name in (b"IHDR", b"IDAT"):
            kept.append(data[at:end])
        clear = clear or name == b"tRNS"
        at = end
    return b"".join([*kept, b"\0\0\0\0IEND\xae\x42\x60\x82"]), clear


def _decode_webp(data: bytes, check_size: CheckSize) -> Raster:
    check_size(*_webp_size(data))  # Pillow's decoder makes room for the picture as soon as it is opened
    picture = WebPImagePlugin.WebPImageFile(io.BytesIO(data))
    return _with_exif(picture, check_size)


def _webp_size(data: bytes) -> tuple[int, int]:
    """Width and height from the first chunk (RFC 9649, sections 2.5 to 2.7)."""
    chunk, head = data[12:16], data[20:30]
    if chunk == b"VP8X":
        return int.from_bytes(head[4:7], "little") + 1, int.from_bytes(head[7:10], "little") + 1
    if chunk == b"VP8L":
        bits = int.from_bytes(head[1:5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 ":
        return int.from_bytes(head[6:8], "little") & 0x3FFF, int.from_bytes(head[8:10], "little") & 0x3FFF
    raise UnreadableShot(BREAKS_OFF if breaks_off(data, Kind.WEBP) else BROKEN)


def _check_boxes(data: bytes, check_size: CheckSize) -> None:
    """Every size declared in HEIC or AVIF (`ispe`, ISO/IEC 23008-12, 6.5.3): the size shown may be a small cut of a large one.

    And what every item is called (`infe`, ISO/IEC 14496-12, 8.11.6): where that is no text, some versions of pi_heif crash.
    """
    told = boxes_without_pixels(data)
    for at in (found.start() for found in re.finditer(b"ispe", told)):
        width, height = (int.from_bytes(told[at + k : at + k + 4], "big") for k in (8, 12))
        check_size(width, height)
    for at in (found.start() for found in re.finditer(b"infe", told)):
        numbers = 14 if told[at + 4 : at + 5] == b"\3" else 12
        told[at + numbers : at - 4 + int.from_bytes(told[max(at - 4, 0) : at], "big")].decode()


def _decode_avif(data: bytes, check_size: CheckSize) -> Raster:
    from PIL import AvifImagePlugin  # not in every version of Pillow; kind_of has asked for it

    _check_boxes(data, check_size)
    return _with_exif(AvifImagePlugin.AvifImageFile(io.BytesIO(data)), check_size)


def _with_exif(picture: Any, check_size: CheckSize) -> Raster:
    check_size(*picture.size)
    notes = _of_several(getattr(picture, "n_frames", 1))
    profile = picture.info.get("icc_profile")
    tags = read_exif(picture.getexif())
    picture.load()
    return Raster(plain_pixels(picture), profile, None, tags, notes=notes)


def _decode_heic(data: bytes, check_size: CheckSize) -> Raster:
    """8 bits stay 8; 10 and 12 bits are spread over 16. The file's own turning is done by libheif and its Exif tag then void."""
    import pi_heif  # here and not above: only phones' pictures should pay for it

    _check_boxes(data, check_size)
    file = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    check_size(*file.size)
    named: dict[str, Any] = file.info.get("nclx_profile") or {}
    profile = file.info.get("icc_profile")
    if profile is None and named.get("transfer_characteristics") in _HDR_CURVES:
        raise UnreadableShot(HDR)
    pixels = np.array(file)[
        :, : file.size[0]
    ]  # a copy: the library frees its own pixels with `file`, whoever still looks at them
    bits = int(file.info.get("bit_depth", 8))
    if pixels.dtype == np.uint16 and bits < 16:
        pixels = pixels | pixels >> bits  # the top bits once more at the bottom, so that full scale stays full scale
    tags = replace(read_exif(file.info.get("exif")), orientation=1)
    primaries = _NAMED_PRIMARIES.get(named.get("color_primaries", 1))
    return Raster(pixels, profile, primaries, tags, bool(file.premultiplied_alpha), _of_several(len(file)))


_DECODERS: dict[Kind, Callable[[bytes, CheckSize], Raster]] = {
    Kind.JPEG: _decode_jpeg,
    Kind.PNG: _decode_png,
    Kind.TIFF: decode_tiff,
    Kind.WEBP: _decode_webp,
    Kind.HEIC: _decode_heic,
    Kind.AVIF: _decode_avif,
}
