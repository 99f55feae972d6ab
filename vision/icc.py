"""Embedded colour profiles (ICC.1:2022) to sRGB (IEC 61966-2-1).

8 bits go through LittleCMS in Pillow, which knows every kind of profile. It has no 16-bit RGB, so pictures of 16 bits go through
the three tone curves and the matrix here, which is what cameras, phones and screens use (Display P3, Adobe RGB, ProPhoto).

The rendering intent is relative colorimetric: what both spaces can show keeps its colour exactly, so that densities stay
what they were, and only colours outside sRGB are clipped. A perceptual table would move every colour to the maker's taste.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from vision.errors import UnreadableShot
from vision.light import decode_srgb, encode_srgb

Pixels = NDArray[Any]
Values = NDArray[np.float64]

BROKEN_PROFILE = "The colour profile is broken; taken as sRGB."
WRONG_PROFILE = "The colour profile does not fit the picture; taken as sRGB."
PLAIN_INKS = "Printing inks without a colour profile: the colours are approximate."
_TABLE_PROFILE = (
    "Its colour profile is a table, which is not read with 16 bits; save the picture as sRGB, or with 8 bits."
)

_ROWS = 256  # rows converted at once: keeps the working memory near 100 MB for the widest shots

SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
"""x, y of red, green, blue (IEC 61966-2-1, the same as ITU-R BT.709)."""
P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
"""SMPTE EG 432-1, as Display P3 uses them, white D65."""
BT2020_PRIMARIES = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
"""ITU-R BT.2020, white D65."""
_D65 = (0.3127, 0.3290)
_D50 = np.array([0.9642, 1.0, 0.8249])  # the profile connection space's white, ICC.1:2022, 7.2.16
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)  # ICC.1:2022, annex E


class BrokenProfile(ValueError):
    """The bytes are not a profile that can be understood."""


@dataclass(frozen=True)
class MatrixProfile:
    """Curves from code value 0..1 to linear light, one a channel, and the matrix from there to linear sRGB.

    `curves` has shape (channels, 4097), channels 3 or 1; `to_linear_srgb` has shape (3, 3), the unit matrix for grey.
    """

    curves: Values
    to_linear_srgb: Values

    @property
    def is_srgb(self) -> bool:
        """Whether this is sRGB as its makers write it: their roundings of white and curve differ by a level of 255 or so."""
        steps = np.linspace(0, 1, 9)
        grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
        if len(self.curves) == 1:
            grid = np.repeat(np.linspace(0, 1, 256)[None, :, None], 3, axis=2)
        return bool(np.abs(self.convert(grid) - grid).max() < 2 / 255)

    def convert(self, values: Values) -> Values:
        """Code values 0..1, shape (..., 3), in this profile's space to sRGB code values 0..1."""
        at = np.linspace(0, 1, self.curves.shape[1])
        curves = np.broadcast_to(self.curves, (3, self.curves.shape[1]))
        linear = np.stack([np.interp(values[..., c], at, curves[c]) for c in range(3)], axis=-1)
        return encode_srgb(np.clip(linear @ self.to_linear_srgb.T, 0, 1))


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...]) -> Values:
    """Matrix from linear RGB of these primaries, white D65, to XYZ with that white adapted to D50 (Bradford)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([_D65[0] / _D65[1], 1.0, (1 - sum(_D65)) / _D65[1]])
    to_xyz = columns * np.linalg.solve(columns, white)
    gain = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    return np.asarray(np.linalg.inv(_BRADFORD) @ gain @ _BRADFORD @ to_xyz)


def _to_linear_srgb(to_xyz: Values) -> Values:
    return np.asarray(np.linalg.solve(rgb_to_xyz(SRGB_PRIMARIES), to_xyz), dtype=np.float64)


def of_primaries(primaries: tuple[tuple[float, float], ...]) -> MatrixProfile:
    """The profile of a space with these primaries, white D65 and sRGB's own tone curve."""
    curve = decode_srgb(np.linspace(0, 1, 4097))
    return MatrixProfile(np.stack([curve] * 3), _to_linear_srgb(rgb_to_xyz(primaries)))


def read_matrix_profile(icc: bytes) -> MatrixProfile | None:
    """The matrix or grey profile in `icc`; None where it works by tables; BrokenProfile where it can't be understood."""
    tags = _tags(icc)
    space = icc[16:20]
    # A table goes before the matrix where both are there (ICC.1:2022, 8.2).
    if space not in (b"RGB ", b"GRAY") or icc[20:24] != b"XYZ " or b"A2B0" in tags or b"A2B1" in tags:
        return None
    try:
        if space == b"GRAY":
            return MatrixProfile(_curve(icc[tags[b"kTRC"]])[None], np.eye(3))
        curves = np.stack([_curve(icc[tags[name]]) for name in (b"rTRC", b"gTRC", b"bTRC")])
        to_xyz = np.stack([_xyz(icc[tags[name]]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=1)
    except KeyError as missing:
        raise BrokenProfile("a tag is missing") from missing
    if not 0.01 < abs(np.linalg.det(to_xyz)) < 10:
        raise BrokenProfile("the primaries lie on a line")
    return MatrixProfile(curves, _to_linear_srgb(to_xyz))


def _tags(icc: bytes) -> dict[bytes, slice]:
    """Where each tag lies; not its bytes, as many may lie over each other and each claim all of a large profile."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        raise BrokenProfile("no profile header")
    count = int.from_bytes(icc[128:132], "big")
    if not 0 < count <= 200:
        raise BrokenProfile("no tags")
    tags = {}
    for at in range(132, 132 + 12 * count, 12):
        if at + 12 > len(icc):
            raise BrokenProfile("cut off")
        name, start, size = struct.unpack_from(">4sII", icc, at)
        if start + size > len(icc):
            raise BrokenProfile("cut off")
        tags[name] = slice(start, start + size)
    return tags


def _xyz(tag: bytes) -> Values:
    if tag[:4] != b"XYZ " or len(tag) < 20:
        raise BrokenProfile("no XYZ value")
    return np.array(struct.unpack_from(">iii", tag, 8)) / 65536


def _curve(tag: bytes) -> Values:
    """A tone curve at 4097 even steps of 0..1 (ICC.1:2022, 10.6 curveType and 10.18 parametricCurveType)."""
    x = np.linspace(0, 1, 4097)
    try:
        if tag[:4] == b"curv":
            (count,) = struct.unpack_from(">I", tag, 8)
            if count == 0:
                return x
            if count == 1:
                return np.asarray(x ** (struct.unpack_from(">H", tag, 12)[0] / 256))
            table = np.frombuffer(tag, ">u2", count, 12) / 65535
            return np.interp(x, np.linspace(0, 1, count), table)
        if tag[:4] == b"para":
            (form,) = struct.unpack_from(">H", tag, 8)
            values = struct.unpack_from(f">{(1, 3, 4, 5, 7)[form]}i", tag, 12)
            return _parametric(form, [v / 65536 for v in values], x)
    except (struct.error, ValueError, IndexError) as error:
        raise BrokenProfile("a curve is cut off") from error
    raise BrokenProfile("no tone curve")


def _parametric(form: int, values: list[float], x: Values) -> Values:
    g, a, b, c, d, e, f = [*values[:1], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    if form in (1, 2):
        g, a, b = values[:3]
        e = f = values[3] if form == 2 else 0.0
        if a == 0:
            raise BrokenProfile("a curve divides by zero")
        d = -b / a
    elif form in (3, 4):
        g, a, b, c, d = values[:5]
        e, f = values[5:] if form == 4 else (0.0, 0.0)
    y = np.where(x >= d, np.maximum(a * x + b, 0) ** g + e, c * x + f)
    if not np.isfinite(y).all():
        raise BrokenProfile("a curve runs to infinity")
    return np.clip(y, 0, 1)


def convert_matrix(pixels: Pixels, profile: MatrixProfile) -> Pixels:
    """Pixels (h, w, 3), uint8 or uint16, in the profile's space to sRGB of the same shape and dtype; colours outside are clipped."""
    full = np.iinfo(pixels.dtype).max
    at = np.linspace(0, 1, profile.curves.shape[1])
    codes = np.linspace(0, 1, full + 1)
    tables = [np.interp(codes, at, curve) for curve in profile.curves]
    # 65,536 even steps of linear light part the darkest of 256 codes by a twentieth; for 16 bits they would be too coarse.
    codes_of_light = (encode_srgb(np.linspace(0, 1, 65536)) * 255 + 0.5).astype(np.uint8)
    out = np.empty(pixels.shape, pixels.dtype)
    for top in range(0, len(pixels), _ROWS):
        block = pixels[top : top + _ROWS]
        linear = np.stack([tables[c % len(tables)][block[..., c]] for c in range(3)], axis=-1)
        linear = np.clip(linear @ profile.to_linear_srgb.T, 0, 1)
        if pixels.dtype == np.uint8:
            out[top : top + _ROWS] = codes_of_light[(linear * 65535 + 0.5).astype(np.uint16)]
        else:
            out[top : top + _ROWS] = encode_srgb(linear) * full + 0.5
    return out


def convert(pixels: Pixels, icc: bytes | None) -> tuple[Pixels, tuple[str, ...]]:
    """Grey (h, w) or RGB (h, w, 3) pixels with an embedded profile to sRGB (h, w, 3) of the same dtype, with notes.

    A profile that is broken or of another colour space is left out and said so. UnreadableShot for 16 bits with a profile that
    works by tables.
    """
    grey = pixels.ndim == 2
    rgb = np.repeat(pixels[:, :, None], 3, axis=2) if grey else pixels
    if icc is None:
        return rgb, ()
    try:
        profile = read_matrix_profile(icc)
    except BrokenProfile:
        return rgb, (BROKEN_PROFILE,)
    if icc[16:20] not in (b"RGB ", b"GRAY") or (icc[16:20] == b"GRAY" and not grey):
        return rgb, (WRONG_PROFILE,)
    if profile is not None and profile.is_srgb:
        return rgb, ()
    if pixels.dtype == np.uint16:
        if profile is None:
            raise UnreadableShot(_TABLE_PROFILE)
        return convert_matrix(rgb, profile), ()
    converted = _through_littlecms(Image.fromarray(pixels if icc[16:20] == b"GRAY" else rgb), icc)
    return (rgb, (BROKEN_PROFILE,)) if converted is None else (np.asarray(converted), ())


def convert_inks(picture: Image.Image, icc: bytes | None) -> tuple[Pixels, tuple[str, ...]]:
    """A CMYK picture (255 is full ink) to sRGB (h, w, 3) uint8, through its profile or else by (1 - ink) (1 - black)."""
    if icc is not None and icc[16:20] == b"CMYK":
        converted = _through_littlecms(picture, icc)
        if converted is not None:
            return np.asarray(converted), ()
    return np.asarray(picture.convert("RGB")), (PLAIN_INKS,)


def _through_littlecms(picture: Image.Image, icc: bytes) -> Image.Image | None:
    """The picture in sRGB, or None where LittleCMS can't use the profile."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        steps = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), picture.mode, "RGB", intent)
        return ImageCms.applyTransform(picture, steps)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None
