"""TIFF bytes to a raster: the container with the most dialects, so that it has a file of its own."""

from __future__ import annotations

import io
import math
import struct
import zlib
from collections.abc import Callable
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import TiffImagePlugin

from vision import icc
from vision.errors import UnreadableShot
from vision.exif import read_exif
from vision.kinds import BREAKS_OFF, RAW
from vision.raster import EXTRA_CHANNEL, FIRST_OF_SEVERAL, Raster, plain_pixels, through_opencv

Pixels = NDArray[Any]

ODD_TIFF = "This TIFF is broken or of a kind that is not read; save it as plain RGB with 8 or 16 bits, uncompressed."
NO_SCALE = "Its values are {}, whose full scale is not known; save it with 8 or 16 bits a channel."
INKS_16 = "Printing inks with 16 bits are not read; save the picture as RGB, or with 8 bits."

_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _INKS = 0, 1, 2, 5  # TIFF 6.0, PhotometricInterpretation
_COLOURS = {_WHITE_IS_ZERO: 1, _BLACK_IS_ZERO: 1, _RGB: 3, _INKS: 4, 6: 3}  # channels of each; 6 is YCbCr
_LAB = (8, 9, 10)
_SENSOR = (32803, 34892)  # colour filter array and linear raw, TIFF/EP and DNG
_NONE, _LZW, _DEFLATE, _PACKBITS = 1, 5, (8, 32946), 32773
_AT_ONCE_BYTES = 1 << 16
"""Unpacked at once: they hold 64 MiB at the most."""
_PAGES_LOOKED_AT = 16
"""More can't change what is said of a file, and their chain may lead in a circle."""
_WIDEST_MARGIN_PX = 1024
"""By so much a tile may be larger than the picture it holds."""
_DNG_VERSION, _ORIENTATION = 50706, 274


def decode_tiff(data: bytes, check_size: Callable[[int, int], None]) -> Raster:
    """The first picture of a TIFF. `check_size(width, height)` is called before any pixel is decoded.

    1 to 8 bits a channel give uint8; 9 to 16 bits give uint16 over its full scale.
    """
    import tifffile  # here and not above: only TIFFs should pay for it

    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        page: Any = tiff.pages[0]
        check_size(page.imagewidth, page.imagelength * page.imagedepth)
        _refuse(page)
        ends = [at + size for at, size in zip(page.dataoffsets, page.databytecounts, strict=True)]
        if not ends or max(ends) > len(data) or 0 in page.databytecounts:
            raise UnreadableShot(BREAKS_OFF)
        if len(ends) < math.prod(page.chunked):  # tifffile would fill up what is missing with black
            raise UnreadableShot(ODD_TIFF)
        tags = read_exif(data)
        notes: tuple[str, ...] = (FIRST_OF_SEVERAL,) if _holds_several(tiff) else ()
        profile = page.iccprofile
        spare = _spare_channel(page)
        if spare == "left out":
            notes += (EXTRA_CHANNEL,)
        if page.bitspersample <= 8:
            pixels, said = _eight_bits(_untagged(data, page), (page.imagewidth, page.imagelength), profile)
            if page.photometric == _INKS:
                profile = None  # used up on the way from inks to colours
            return Raster(pixels, profile, None, tags, notes=notes + said)
        pixels = _sixteen_bits(page, data, keep_spare=spare == "alpha")
        return Raster(pixels, profile, None, tags, page.extrasamples[:1] == (1,), notes)


def _refuse(page: Any) -> None:
    """The layouts that are not read, each with its sentence."""
    below = list(islice(page.pages or (), _PAGES_LOOKED_AT)) if page.subifds else []
    if _DNG_VERSION in page.tags or any(int(p.photometric) in _SENSOR for p in [page, *below]):
        raise UnreadableShot(RAW)
    formats = set(np.atleast_1d(page.sampleformat).tolist())
    if formats & {3, 6}:
        raise UnreadableShot(NO_SCALE.format("floating-point numbers"))
    if formats & {2, 5}:
        raise UnreadableShot(NO_SCALE.format("numbers with a sign"))
    if not isinstance(page.bitspersample, int) or page.photometric in _LAB or page.imagedepth != 1:
        raise UnreadableShot(ODD_TIFF)
    if page.bitspersample > 16:
        raise UnreadableShot(NO_SCALE.format(f"numbers of {page.bitspersample} bits"))
    if page.bitspersample > 8 and page.photometric == _INKS:
        raise UnreadableShot(INKS_16)


def _holds_several(tiff: Any) -> bool:
    """Whether there is a second page that is no thumbnail; not where the chain of pages behind the first is broken."""
    try:
        first = islice(tiff.pages, _PAGES_LOOKED_AT)
        return len({page.offset for page in first if not int(page.subfiletype) & 1}) > 1
    except Exception:
        return False


def _untagged(data: bytes, page: Any) -> bytes:
    """The file with its orientation tag set to upright: some decoders turn the picture, others don't, by their version."""
    tag = page.tags.get(_ORIENTATION)
    if tag is None or tag.value == 1 or int(tag.dtype) not in (3, 4):
        return data
    changed = bytearray(data)
    struct.pack_into(page.parent.byteorder + ("H" if int(tag.dtype) == 3 else "I"), changed, tag.valueoffset, 1)
    return bytes(changed)


def _eight_bits(data: bytes, size: tuple[int, int], profile: bytes | None) -> tuple[Pixels, tuple[str, ...]]:
    picture = TiffImagePlugin.TiffImageFile(io.BytesIO(data))
    if size not in (picture.size, picture.size[::-1]):  # a tag that is there twice, of which we checked the other
        raise UnreadableShot(ODD_TIFF)
    picture.load()
    if picture.mode == "CMYK":
        return icc.convert_inks(picture, profile)
    return plain_pixels(picture), ()


def _spare_channel(page: Any) -> str:
    """What a channel beyond the colours is: "none", "alpha", or "left out" where the file does not call it alpha."""
    if page.samplesperpixel <= _COLOURS.get(int(page.photometric), 1):
        return "none"
    return "alpha" if page.extrasamples[:1] in ((1,), (2,)) else "left out"


def _sixteen_bits(page: Any, data: bytes, keep_spare: bool) -> Pixels:
    """9 to 16 bits a channel, which Pillow would cut down to 8."""
    colours = (
        _COLOURS.get(int(page.photometric), 0) if page.photometric in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB) else 0
    )
    if not colours or page.samplesperpixel - colours not in (0, 1):
        raise UnreadableShot(ODD_TIFF)
    if page.bitspersample < 16:
        pixels = _packed(page, data)
    elif page.compression in (_LZW, _PACKBITS):
        pixels = _through_opencv(page, data)
    else:
        _refuse_swollen(page, data)
        pixels = page.asarray()
        if page.axes.startswith("S"):  # stored plane by plane
            pixels = np.moveaxis(pixels, 0, -1)
    pixels = pixels.reshape(page.imagelength, page.imagewidth, -1)
    if page.photometric == _WHITE_IS_ZERO:
        pixels[..., 0] = 65535 - pixels[..., 0]
    if not keep_spare:
        pixels = pixels[..., :colours]
    return pixels[..., 0] if pixels.shape[2] == 1 else pixels


def _refuse_swollen(page: Any, data: bytes) -> None:
    """Parts that hold more than their share of the picture: tifffile unpacks each whole before it looks at its length."""
    rows, across = (page.tilelength, page.tilewidth) if page.is_tiled else (page.imagelength, page.imagewidth)
    if max(rows - page.imagelength, across - page.imagewidth) > _WIDEST_MARGIN_PX:
        raise UnreadableShot(ODD_TIFF)
    if page.compression == _NONE:
        return
    if page.compression not in _DEFLATE:
        raise UnreadableShot(ODD_TIFF)
    most = rows * across * page.samplesperpixel * 2
    for at, size in zip(page.dataoffsets, page.databytecounts, strict=True):
        unpack, held = zlib.decompressobj(), 0
        for begin in range(at, at + size, _AT_ONCE_BYTES):
            held += len(unpack.decompress(data[begin : min(begin + _AT_ONCE_BYTES, at + size)]))
            if held > most:
                raise UnreadableShot(ODD_TIFF)


def _through_opencv(page: Any, data: bytes) -> Pixels:
    """LZW, which tifffile hands to a package we do without, and PackBits, with which it takes its time.

    OpenCV misreads planes and alpha beside grey, so it gets neither.
    """
    if page.planarconfig != 1 or page.samplesperpixel not in (1, 3, 4):
        raise UnreadableShot(ODD_TIFF)
    pixels = through_opencv(_untagged(data, page), (page.imagewidth, page.imagelength), as_stored=True)
    if pixels.dtype != np.uint16 or pixels.size != page.size:
        raise UnreadableShot(ODD_TIFF)
    return pixels


def _packed(page: Any, data: bytes) -> Pixels:
    """9 to 15 bits a channel, packed without gaps, each row starting on a byte (TIFF 6.0, FillOrder 1), spread over 16 bits."""
    bits = page.bitspersample
    row_values = page.imagewidth * page.samplesperpixel
    row_bytes = (row_values * bits + 7) // 8
    if page.compression != _NONE or page.is_tiled or page.planarconfig != 1 or page.fillorder != 1:
        raise UnreadableShot(ODD_TIFF)
    if sum(page.databytecounts) > len(data):  # strips that lie over each other
        raise UnreadableShot(ODD_TIFF)
    strips = [data[at : at + size] for at, size in zip(page.dataoffsets, page.databytecounts, strict=True)]
    stored = np.frombuffer(b"".join(strips), np.uint8)
    if stored.size < row_bytes * page.imagelength:
        raise UnreadableShot(BREAKS_OFF)
    weights = (1 << np.arange(bits - 1, -1, -1)).astype(np.uint16)
    out = np.empty((page.imagelength, row_values), np.uint16)
    for row in range(page.imagelength):
        ones = np.unpackbits(stored[row * row_bytes : (row + 1) * row_bytes])[: row_values * bits]
        values = ones.reshape(row_values, bits) @ weights
        # The top bits once more at the bottom, so that full scale stays full scale.
        out[row] = (values << (16 - bits)) | (values >> (2 * bits - 16))
    return out
