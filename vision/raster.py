"""What a decoder hands on, and how it becomes an upright sRGB picture of three channels."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision import icc
from vision.exif import Tags
from vision.light import decode_srgb, encode_srgb

Pixels = NDArray[Any]

FIRST_OF_SEVERAL = "The file holds several pictures; the first was taken."
ON_WHITE = "Its transparent parts are shown on white."
EXTRA_CHANNEL = "Its fourth channel is not colour and was left out."
ONE_CLEAR_COLOUR = "One colour of it is marked as transparent; that was left out."

_IN_ORDER: int = getattr(cv2, "IMREAD_COLOR_RGB", 0)  # OpenCV 4.11 and later: saves a pass over the picture
_COLOUR = (_IN_ORDER or cv2.IMREAD_COLOR) | cv2.IMREAD_IGNORE_ORIENTATION


@dataclass(frozen=True)
class Raster:
    """Pixels as stored, and what is needed to show them rightly.

    `pixels`, uint8 or uint16 over the full scale: (h, w) grey, (h, w, 2) grey and alpha, (h, w, 3) RGB, (h, w, 4) RGB and alpha.
    """

    pixels: Pixels
    profile: bytes | None = None
    """The embedded ICC profile."""
    primaries: tuple[tuple[float, float], ...] | None = None
    """Primaries that the file names by a number instead of a profile; None is sRGB's own."""
    tags: Tags = field(default_factory=Tags)
    premultiplied: bool = False
    """Whether the colours were multiplied by alpha before they were stored."""
    notes: tuple[str, ...] = ()


def finished(raster: Raster) -> tuple[Pixels, tuple[str, ...]]:
    """Upright sRGB pixels (h, w, 3) of the raster's dtype, contiguous and read-only, and all notes.

    Transparent parts are put on white in linear light, which is how light adds where a part of a pixel is covered.
    """
    pixels, notes = raster.pixels, raster.notes
    alpha = None
    if pixels.ndim == 3 and pixels.shape[2] in (2, 4):
        alpha = pixels[..., -1]
        pixels = pixels[..., 0] if pixels.shape[2] == 2 else pixels[..., :3]
        if (alpha == np.iinfo(alpha.dtype).max).all():
            alpha = None
    if alpha is not None and raster.premultiplied:
        pixels = _unmultiplied(pixels, alpha)
    if raster.profile is None and raster.primaries is not None and pixels.ndim == 3:
        rgb = icc.convert_matrix(pixels, icc.of_primaries(raster.primaries))
    else:
        rgb, said = icc.convert(pixels, raster.profile)
        notes += said
    if alpha is not None:
        rgb = _on_white(rgb, alpha)
        notes += (ON_WHITE,)
    rgb = np.ascontiguousarray(upright(rgb, raster.tags.orientation))
    rgb.setflags(write=False)  # a shot is what was photographed: whoever draws on it takes a copy
    return rgb, notes


def _unmultiplied(pixels: Pixels, alpha: Pixels) -> Pixels:
    full = np.iinfo(pixels.dtype).max
    some = alpha > 0
    out = np.zeros_like(pixels)
    share = (alpha[some] / full).reshape(-1, *(1,) * (pixels.ndim - 2))
    out[some] = np.minimum(pixels[some] / share + 0.5, full)
    return out


def _on_white(rgb: Pixels, alpha: Pixels) -> Pixels:
    full = np.iinfo(rgb.dtype).max
    out = rgb.copy()
    seen_through = alpha < full
    share = (alpha[seen_through] / full)[:, None]
    out[seen_through] = encode_srgb(share * decode_srgb(rgb[seen_through] / full) + (1 - share)) * full + 0.5
    return out


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """Pixels (h, w, 3) turned and mirrored as orientation tag 1 to 8 says (TIFF 6.0, tag 274)."""
    if orientation == 2:
        return cv2.flip(pixels, 1)
    if orientation == 3:
        return cv2.rotate(pixels, cv2.ROTATE_180)
    if orientation == 4:
        return cv2.flip(pixels, 0)
    if orientation == 5:
        return cv2.transpose(pixels)
    if orientation == 6:
        return cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)
    if orientation == 7:
        return cv2.flip(cv2.transpose(pixels), -1)
    if orientation == 8:
        return cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return pixels


def plain_pixels(picture: Image.Image) -> Pixels:
    """A loaded 8-bit picture as (h, w) grey, (h, w, 2), (h, w, 3) or (h, w, 4) uint8; palettes are looked up. ValueError for others."""
    clear = "transparency" in picture.info
    mode = {
        "1": "L",
        "L": "LA" if clear else "L",
        "LA": "LA",
        "La": "LA",
        "P": "RGBA" if clear or (picture.palette and picture.palette.mode == "RGBA") else "RGB",
        "PA": "RGBA",
        "RGB": "RGBA" if clear else "RGB",
        "RGBX": "RGB",
        "RGBA": "RGBA",
        "RGBa": "RGBA",
        "YCbCr": "RGB",
    }.get(picture.mode)
    if mode is None:
        raise ValueError(f"no rule for mode {picture.mode}")
    return np.asarray(picture if picture.mode == mode else picture.convert(mode))


def through_opencv(data: bytes, size: tuple[int, int], *, as_stored: bool) -> Pixels:
    """Picture bytes by OpenCV, channels in the order red, green, blue, alpha; ValueError where they are not of `size` (w, h).

    `as_stored`: with the bits and channels they have, and not as 8-bit RGB. The orientation tag is left alone.
    """
    flags = cv2.IMREAD_UNCHANGED if as_stored else _COLOUR
    pixels: Pixels | None = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None or pixels.shape[1::-1] != size:
        raise ValueError("OpenCV can't decode it")
    if pixels.ndim == 3 and (as_stored or not _IN_ORDER):
        cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB if pixels.shape[2] == 3 else cv2.COLOR_BGRA2RGBA, dst=pixels)
    return pixels
