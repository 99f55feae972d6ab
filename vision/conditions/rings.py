"""Clear round things that bend light: a dark rim round a bright middle. Drops on a panel and bubbles in water both show so.

A rim is dark where light is sent aside (Snell's law); the middle passes it on. Found as dark outlines that close round bright, round
holes, or nearly close and gather light on one side; what has a colour of its own (leaf, seed, coat) is none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, MaskArray

_MOST_PX = 1_500_000
"""Pixels looked at; a finer picture is first pooled to its darkest ones, which keeps thin rims."""
_RIM = 0.06
"""Density from which a rim counts as dark: a bubble that is a thin film has little more."""
_GATHERED = -0.03
"""Density of a place that light is gathered at."""
_COLOUR = 0.06
"""Spread of the channels' densities a clear rim may have, beyond a third of its own density (lateral colour of the lens)."""
_LEAST_ROUND = 0.6
"""Area over that of the smallest circle round it: an ellipse of 1 : 1.6."""
_LEAST_HALF_ROUND = 0.45
"""The same for a rim that is open to one side: a half circle."""
_LEAST_HOLLOW = 0.15
"""Share of bright holes in what is taken for rings."""
_LARGEST_MM, _LARGEST_SHARE = 9.0, 0.09
"""Widest ring: in millimetres, or of the picture's longest side."""
_MIST_MM, _MIST_SHARE = 0.7, 0.005
"""Width a ring has for itself, below which it covers nothing and may be a droplet of mist."""
_LEAST_HOLE_PX = 5.0

Outline = NDArray[np.int32]


@dataclass(frozen=True)
class Ring:
    """One ring, or a raft of rings that touch; places in working pixels."""

    x_px: float
    y_px: float
    diameter_px: float
    """Of one circle of the same area."""
    holes: int
    """Bright middles in it; 0: a rim open to one side."""
    blur_px: float = 0.0
    """Standard deviation of the blur its steepest flank shows."""


@dataclass(frozen=True)
class Rings:
    """Rings of a picture and what they cover: `covered` (h', w') bool on a grid of `pooled` working pixels."""

    rings: tuple[Ring, ...]
    covered: MaskArray
    pooled: int


def find_rings(density: FloatArray, px_per_mm: float | None) -> Rings:
    """Rings in (3, h, w) density; `px_per_mm` is that of the working picture or None."""
    h, w = density.shape[1:]
    pooled = max(1, int(np.ceil(np.sqrt(h * w / _MOST_PX))))
    # Clear things are dark in all channels alike, so that one is enough to find them; all three tell whether they are clear.
    grey = _pooled(density[1], pooled)
    planes = density[:, ::pooled, ::pooled]
    dark = (grey > _RIM).view(np.uint8)
    largest = (_LARGEST_SHARE * max(h, w) if px_per_mm is None else _LARGEST_MM * px_per_mm) / pooled
    finest = (_MIST_SHARE * max(h, w) if px_per_mm is None else _MIST_MM * px_per_mm) / pooled
    bounds = np.pi / 4 * finest**2, np.pi / 4 * largest**2
    found, tree = cv2.findContours(dark, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outlines = [np.asarray(outline, np.int32) for outline in found]
    covered = np.zeros(dark.shape, np.uint8)
    rings: list[Ring] = []
    for k, outline in enumerate(outlines):
        if tree[0][k][3] >= 0 or len(outline) < 8:
            continue
        holes = _children(outlines, tree[0], k)
        ring = _raft(outline, holes, bounds) if holes else None
        if ring is None:
            ring = _crescent(outline, grey, dark, bounds[1])
        if ring is not None and _is_clear(outline, planes, dark):
            rings.append(replace(_scaled(ring, pooled), blur_px=_flank_blur(density[1], outline, pooled)))
            cv2.drawContours(covered, [outline], -1, 1, cv2.FILLED)
            wide = [hole for hole in holes if cv2.contourArea(hole) > bounds[1]]
            cv2.drawContours(covered, wide, -1, 0, cv2.FILLED)
    return Rings(tuple(rings), covered.astype(bool), pooled)


def _pooled(plane: FloatArray, pooled: int) -> FloatArray:
    if pooled == 1:
        return plane
    return np.ascontiguousarray(cv2.dilate(plane, np.ones((pooled, pooled), np.uint8))[::pooled, ::pooled])


def _children(outlines: list[Outline], tree: NDArray[np.int32], k: int) -> list[Outline]:
    """Outlines of the holes of outline `k`."""
    holes, child = [], int(tree[k][2])
    while child >= 0:
        holes.append(outlines[child])
        child = int(tree[child][0])
    return holes


def _raft(outline: Outline, holes: list[Outline], bounds: tuple[float, float]) -> Ring | None:
    """The outline as rings that touch, if its holes are round and make up enough of it; `bounds`: least area of one with its rim,
    and largest of a bright middle."""
    least, most = bounds
    areas = [cv2.contourArea(hole) for hole in holes]
    bright = [
        area for hole, area in zip(holes, areas, strict=True) if _LEAST_HOLE_PX <= area <= most and _roundness(hole) > _LEAST_ROUND
    ]  # fmt: skip
    whole = cv2.contourArea(outline) - sum(area for area in areas if area > most)
    if not bright or sum(bright) < _LEAST_HOLLOW * whole:
        return None
    if whole < least * len(bright):
        return None
    if len(bright) == 1 and _roundness(outline) < 0.8 * _LEAST_ROUND:
        return None
    return _ring(outline, whole, len(bright))


def _crescent(outline: Outline, grey: FloatArray, dark: NDArray[np.uint8], most: float) -> Ring | None:
    """The outline as a rim that is open to the side where light is gathered."""
    hull = np.asarray(cv2.convexHull(outline), np.int32)
    area = cv2.contourArea(hull)
    if area < 40 or area > most or _roundness(hull) < _LEAST_HALF_ROUND:
        return None
    if cv2.contourArea(outline) > 0.75 * area:
        return None
    inside, (x, y, wide, high) = _filled(hull)
    here = grey[y : y + high, x : x + wide][inside]
    gathered, rim = float((here < _GATHERED).mean()), float(dark[y : y + high, x : x + wide][inside].mean())
    if gathered < 0.1 or not 0.1 < rim < 0.7:
        return None
    return _ring(hull, area, 0)


def _is_clear(outline: Outline, planes: FloatArray, dark: NDArray[np.uint8]) -> bool:
    """Whether the dark part has no colour of its own."""
    inside, (x, y, wide, high) = _filled(outline)
    inside &= dark[y : y + high, x : x + wide] > 0
    if not inside.any():
        return False
    tone = [float(plane[y : y + high, x : x + wide][inside].mean()) for plane in planes]
    return max(tone) - min(tone) < _COLOUR + max(sum(tone), 0.0) / 9


def _filled(outline: Outline) -> tuple[MaskArray, tuple[int, int, int, int]]:
    """What an outline holds, inside its box, and the box (left, top, wide, high)."""
    x, y, wide, high = cv2.boundingRect(outline)
    mask = np.zeros((high, wide), np.uint8)
    cv2.drawContours(mask, [outline], -1, 1, cv2.FILLED, offset=(-x, -y))
    return mask.astype(bool), (x, y, wide, high)


def _roundness(outline: Outline) -> float:
    """Area over that of the smallest circle round it, both with the half pixel that an outline leaves out."""
    _, radius = cv2.minEnclosingCircle(outline)
    area = cv2.contourArea(outline) + cv2.arcLength(outline, True) / 2 + 1
    return float(area / (np.pi * (radius + 0.5) ** 2))


def _ring(outline: Outline, area: float, holes: int) -> Ring:
    (x, y), _ = cv2.minEnclosingCircle(outline)
    return Ring(float(x), float(y), float(np.sqrt(4 / np.pi * max(area, 1.0))), holes)


def _flank_blur(plane: FloatArray, outline: Outline, pooled: int) -> float:
    """Blur of the steepest flank in an outline's box: a blurred line of height A is nowhere steeper than 0.607 A / sigma."""
    x, y, wide, high = (pooled * v for v in cv2.boundingRect(outline))
    here = plane[max(y - 2, 0) : y + high + 2, max(x - 2, 0) : x + wide + 2]
    across, down = cv2.Sobel(here, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(here, cv2.CV_32F, 0, 1, scale=1 / 8)
    steepest = float(np.sqrt((across * across + down * down).max()))
    return 0.607 * float(here.max() - min(float(here.min()), 0.0)) / max(steepest, 1e-6)


def _scaled(ring: Ring, pooled: int) -> Ring:
    shift = (pooled - 1) / 2
    return Ring(ring.x_px * pooled + shift, ring.y_px * pooled + shift, ring.diameter_px * pooled, ring.holes)
