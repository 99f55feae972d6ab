"""Textures cut from the photographs that ship inside scikit-image, flattened until only their grain is left, and smooth noise.

A texture has mean 0 and a spread of about 1, whatever it shows: grass stretched along a leaf reads as its streaks.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage import data

from vision.types import FloatArray

T = TypeVar("T")
Plane = NDArray[np.floating[Any]]
"""Numbers of any precision, where a function takes them."""

_CUTS = {
    "chelsea": (20, 280, 60, 400),
    "coffee": (20, 390, 10, 590),
    "retina": (300, 1100, 300, 1100),
    "cell": (150, 500, 100, 450),
}
"""Top, bottom, left, right of the part with grain in it, where a photograph has large smooth parts."""
_COLOURED = ("coffee", "chelsea", "immunohistochemistry", "hubble_deep_field", "rocket")


def pick(rng: np.random.Generator, things: Sequence[T], shares: Sequence[float] | None = None) -> T:
    """One of `things`, each as likely as its share says."""
    return things[int(rng.choice(len(things), p=shares))]


@lru_cache(maxsize=16)
def _photograph(name: str) -> FloatArray:
    """(h, w, 3) sRGB 0..1 of one of the shipped photographs; read-only."""
    pixels = np.asarray(getattr(data, name)(), np.float32) / 255
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, axis=2)
    if name in _CUTS:
        top, bottom, left, right = _CUTS[name]
        pixels = pixels[top:bottom, left:right]
    kept: FloatArray = np.array(pixels, np.float32)
    kept.setflags(write=False)
    return kept


@lru_cache(maxsize=16)
def _grain(name: str) -> FloatArray:
    """(h, w) the photograph's grain: large shapes taken out, local strength evened, mean 0, spread 1; read-only."""
    grey = np.asarray(_photograph(name).mean(axis=2), np.float32)
    grey = grey - cv2.GaussianBlur(grey, (0, 0), 18)
    spread = np.sqrt(cv2.GaussianBlur(grey * grey, (0, 0), 40)) + 0.3 * grey.std()
    grey = grey / spread
    grain = np.asarray(np.clip((grey - grey.mean()) / grey.std(), -3, 3), np.float32)
    grain.setflags(write=False)
    return grain


def texture(
    name: str,
    shape: tuple[int, ...],
    rng: np.random.Generator,
    coarse: float = 1.0,
    angle_rad: float | None = None,
    stretch: float = 1.0,
) -> FloatArray:
    """(h, w) float32 cut of a photograph's grain, `coarse` times enlarged, turned, and drawn out `stretch` times along `angle_rad`."""
    grain = _grain(name)
    h, w = shape[:2]
    turn = rng.uniform(0, 2 * np.pi) if angle_rad is None else angle_rad
    c, s = np.cos(turn), np.sin(turn)
    shrink = np.diag([1 / (coarse * stretch), 1 / coarse]) @ np.array([[c, s], [-s, c]])
    middle = np.array([rng.uniform(0, grain.shape[1]), rng.uniform(0, grain.shape[0])])
    moved = np.hstack([shrink, (middle - shrink @ [w / 2, h / 2])[:, None]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(grain, moved, (w, h), flags=flags, borderMode=cv2.BORDER_REFLECT), np.float32)


def cloud(shape: tuple[int, ...], rng: np.random.Generator, cell_px: float, octaves: int = 3) -> FloatArray:
    """(h, w) float32 smooth noise: each octave has half the cells' size and half the strength of the one before."""
    h, w = shape[:2]
    out = np.zeros((h, w), np.float32)
    for octave in range(octaves):
        cell = max(cell_px / 2**octave, 1.0)
        high, wide = int(h / cell) + 3, int(w / cell) + 3
        noise = rng.standard_normal((high, wide)).astype(np.float32)
        size = max(w, int(wide * cell)), max(h, int(high * cell))
        out += np.float32(0.5**octave) * cv2.resize(noise, size, interpolation=cv2.INTER_CUBIC)[:h, :w]
    return out


def wide_cloud(shape: tuple[int, ...], rng: np.random.Generator, cell_px: float, octaves: int = 2) -> FloatArray:
    """The same for coarse cells over a whole picture, worked out at a quarter of its size."""
    h, w = shape[:2]
    return enlarged(cloud((-(-h // 4), -(-w // 4)), rng, cell_px / 4, octaves), (h, w))


def quarter(picture: Plane) -> FloatArray:
    """The picture at a quarter of its size, by area."""
    h, w = picture.shape[:2]
    return np.asarray(cv2.resize(picture, (-(-w // 4), -(-h // 4)), interpolation=cv2.INTER_AREA), np.float32)


def enlarged(picture: Plane, shape: tuple[int, ...]) -> FloatArray:
    """The picture brought to (h, w), float32."""
    return np.asarray(cv2.resize(picture, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def tinge(shape: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
    """(h, w, 3) float32 wander of colour, cut from a colour photograph, without its light and dark; mean 0."""
    photograph = _photograph(pick(rng, _COLOURED))
    h, w = shape[:2]
    side = int(np.clip(max(h, w), 12, min(photograph.shape[:2]) - 2))
    top, left = (int(rng.integers(0, n - side)) for n in photograph.shape[:2])
    cut = cv2.resize(photograph[top : top + side, left : left + side], (w, h), interpolation=cv2.INTER_AREA)
    cut = cut - cut.mean(axis=2, keepdims=True)
    return np.asarray(cut - cut.mean(axis=(0, 1)), np.float32)


def linear(colour: Sequence[float] | Plane) -> FloatArray:
    """Linear light 0..1 of sRGB values 0..255, float32 (IEC 61966-2-1)."""
    value = np.clip(np.asarray(colour, np.float64), 0, 255) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def rise(start: float, end: float, x: Plane) -> FloatArray:
    """0 at `start`, 1 at `end`, smooth between; `end` may be the lower."""
    t = np.clip((x - start) / (end - start), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def coloured(grain: FloatArray, colours: Sequence[FloatArray]) -> FloatArray:
    """(h, w, 3) float32: a texture laid onto a row of linear colours, its dark parts on the first."""
    row = np.asarray(colours, np.float32)
    place = np.clip(0.5 + 0.24 * grain, 0, 1) * (len(row) - 1)
    below = np.minimum(place.astype(np.int32), len(row) - 2)
    share = (place - below)[..., None].astype(np.float32)
    return np.asarray(row[below] * (1 - share) + row[below + 1] * share, np.float32)
