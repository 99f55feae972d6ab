"""Thin sheets piled on the light panel: each is drawn lying straight, then turned, bent and laid into the picture.

Sheets multiply the light (Beer-Lambert), so their order does not matter; where two edges cross a pixel their bare shares multiply.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

_CHUNK_MM = 24.0
"""A long sheet is laid in pieces of this length, whose upright windows waste few pixels."""


@dataclass(frozen=True)
class Grid:
    """The part of a sheet that is drawn, at the picture's resolution: `left_mm`, `top_mm` of its first pixel's middle from the
    sheet's middle, along and across it."""

    left_mm: float
    top_mm: float
    rows: int
    columns: int
    px_per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        return self.rows, self.columns

    @property
    def along(self) -> FloatArray:
        """(1, m) mm from the sheet's middle."""
        return (np.arange(self.columns, dtype=np.float32) / np.float32(self.px_per_mm) + np.float32(self.left_mm))[
            None, :
        ]

    @property
    def across(self) -> FloatArray:
        """(n, 1) mm from the sheet's middle."""
        return (np.arange(self.rows, dtype=np.float32) / np.float32(self.px_per_mm) + np.float32(self.top_mm))[:, None]


def grid_over(length_mm: float, width_mm: float, px_per_mm: float) -> Grid:
    """A grid over the middle `length_mm` by `width_mm` of a sheet, with two pixels to spare on every side."""
    columns, rows = (round(v * px_per_mm) + 5 for v in (length_mm, width_mm))
    return Grid(-(columns - 1) / 2 / px_per_mm, -(rows - 1) / 2 / px_per_mm, rows, columns, px_per_mm)


@dataclass(frozen=True)
class Sheet:
    """One sheet lying along x. `light` (n, m, 3): what it leaves of the light, 1 outside; `cover` (n, m): 0..1; `haze_mm`: how
    far it spreads the light that comes from below it."""

    light: FloatArray
    cover: FloatArray
    grid: Grid
    haze_mm: float = 0.0


def sheet(density: FloatArray, cover: FloatArray, grid: Grid, haze_mm: float = 0.0) -> Sheet:
    """A sheet from its natural-log absorbance (n, m, 3) and coverage (n, m)."""
    light = np.asarray(cv2.exp(np.minimum(-density, 0.0).astype(np.float32)), np.float32)
    light -= 1.0
    light *= cover[..., None]
    light += 1.0
    return Sheet(light, cover.astype(np.float32), grid, haze_mm)


@dataclass(frozen=True)
class Stamp:
    """A sheet as it lies in the picture, turned already: `light` (n, m, 3), `bare` (n, m) share of each pixel left free."""

    light: FloatArray
    bare: FloatArray


@dataclass(frozen=True)
class Place:
    """Where a sheet lies: its middle in mm, its angle, and its bend (the middle line is off by `bend_per_mm` x squared)."""

    x_mm: float
    y_mm: float
    angle: float
    bend_per_mm: float = 0.0
    flipped: bool = False

    def in_picture(self, along: NDArray[np.floating], across: NDArray[np.floating]) -> tuple[FloatArray, FloatArray]:
        """Where points of the sheet (mm from its middle) lie in the picture, mm."""
        y = (-across if self.flipped else across) + self.bend_per_mm * along**2
        c, s = math.cos(self.angle), math.sin(self.angle)
        return (self.x_mm + along * c - y * s).astype(np.float32), (self.y_mm + along * s + y * c).astype(np.float32)

    def grid(self, length_mm: float, width_mm: float, size_mm: tuple[float, float], px_per_mm: float) -> Grid | None:
        """The part of a sheet of that size that can be seen in a picture of `size_mm`; None for none."""
        steps = 2.0
        along, across = (np.arange(-v / 2, v / 2 + steps, steps).clip(-v / 2, v / 2) for v in (length_mm, width_mm))
        s, v = np.meshgrid(along, across)
        x, y = self.in_picture(s, v)
        near = (x > -steps) & (y > -steps) & (x < size_mm[0] + steps) & (y < size_mm[1] + steps)
        if not near.any():
            return None
        (s0, s1), (v0, v1) = ((float(a[near].min()), float(a[near].max())) for a in (s, v))
        columns, rows = (round((b - a) * px_per_mm) + 5 for a, b in ((s0, s1), (v0, v1)))
        return Grid(s0 - 2 / px_per_mm, v0 - 2 / px_per_mm, rows, columns, px_per_mm)

    def outline_px(self, length_mm: float, width_mm: float, px_per_mm: float) -> NDArray[np.int32]:
        """The sheet's rectangle in the picture as a polygon (k, 1, 2)."""
        along = np.linspace(-0.5, 0.5, 9) * length_mm
        sides = [self.in_picture(a, np.full(9, w)) for a, w in ((along, width_mm / 2), (along[::-1], -width_mm / 2))]
        points = np.concatenate([np.stack(side, axis=1) for side in sides])
        return np.rint(points * px_per_mm).astype(np.int32).reshape(-1, 1, 2)


@dataclass
class Pile:
    """What all sheets so far leave of the light (h, w, 3), and how much of each pixel is bare (h, w)."""

    px_per_mm: float
    light: FloatArray
    bare: FloatArray

    @classmethod
    def empty(cls, height_px: int, width_px: int, px_per_mm: float) -> Pile:
        return cls(px_per_mm, np.ones((height_px, width_px, 3), np.float32), np.ones((height_px, width_px), np.float32))

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.bare.shape[1] / self.px_per_mm, self.bare.shape[0] / self.px_per_mm

    def lay(self, one: Sheet, place: Place) -> None:
        """Adds a sheet."""
        stack = cv2.merge([one.light, one.cover])
        side = 2 * round(0.9 * one.haze_mm * self.px_per_mm) + 1
        parts = []
        for window, rows_columns, own in self._windows(one.grid, place, side if side > 1 else 2):
            part = cv2.remap(stack, *rows_columns, cv2.INTER_LINEAR, borderValue=(1.0, 1.0, 1.0, 0.0))
            if own is not None:
                part[~own] = (1.0, 1.0, 1.0, 0.0)
            if side > 1:
                below = self.light[window]
                hazy = cv2.blur(cv2.blur(below, (side, side)), (side, side))
                below += part[..., 3:] * (hazy - below)
            parts.append((window, part))
        # Only now, so that one part's haze does not see the next part of the same sheet.
        for window, part in parts:
            self.light[window] *= part[..., :3]
            self.bare[window] *= 1.0 - part[..., 3]

    def press(self, stamp: Stamp, left_px: int, top_px: int) -> None:
        """Adds a stamp with its first pixel there; what sticks out of the picture is left out."""
        high, wide = stamp.bare.shape
        x0, y0 = max(left_px, 0), max(top_px, 0)
        x1, y1 = min(left_px + wide, self.bare.shape[1]), min(top_px + high, self.bare.shape[0])
        if x1 <= x0 or y1 <= y0:
            return
        own = slice(y0 - top_px, y1 - top_px), slice(x0 - left_px, x1 - left_px)
        self.light[y0:y1, x0:x1] *= stamp.light[own]
        self.bare[y0:y1, x0:x1] *= stamp.bare[own]

    def shown(self, mask: FloatArray, grid: Grid, place: Place) -> FloatArray:
        """A mask (n, m) on a sheet as it lies in the picture, (h, w)."""
        whole = np.zeros_like(self.bare)
        for window, rows_columns, own in self._windows(grid, place, 2):
            part = cv2.remap(mask, *rows_columns, cv2.INTER_LINEAR, borderValue=0.0)
            whole[window] = np.maximum(whole[window], part if own is None else part * own)
        return whole

    def _windows(
        self, grid: Grid, place: Place, margin_px: int
    ) -> list[tuple[tuple[slice, slice], tuple[FloatArray, FloatArray], NDArray[np.bool_] | None]]:
        """Windows of the picture that the sheet touches; where in its grid each pixel lies; which pixels are this window's."""
        scale = self.px_per_mm
        length_mm, high_mm = (n / scale for n in (grid.columns, grid.rows))
        many = max(1, round(length_mm / _CHUNK_MM))
        edges = grid.left_mm - 0.5 / scale + np.linspace(0.0, length_mm, many + 1)
        c, s = np.float32(math.cos(place.angle)), np.float32(math.sin(place.angle))
        found = []
        for first, last in pairwise(edges):
            along = np.tile(np.linspace(first, last, 5), 2)
            x_mm, y_mm = place.in_picture(along, grid.top_mm + np.repeat([0.0, high_mm], 5))
            left, right = (
                int(np.clip(v, 0, self.bare.shape[1]))
                for v in (x_mm.min() * scale - margin_px, x_mm.max() * scale + margin_px + 1)
            )
            top, bottom = (
                int(np.clip(v, 0, self.bare.shape[0]))
                for v in (y_mm.min() * scale - margin_px, y_mm.max() * scale + margin_px + 1)
            )
            if right <= left or bottom <= top:
                continue
            dx = (np.arange(left, right, dtype=np.float32) / np.float32(scale) - np.float32(place.x_mm))[None, :]
            dy = (np.arange(top, bottom, dtype=np.float32) / np.float32(scale) - np.float32(place.y_mm))[:, None]
            x = dx * c + dy * s
            y = dy * c - dx * s - np.float32(place.bend_per_mm) * x * x
            if place.flipped:
                y = -y
            own = None if many == 1 else (x >= first) & (x < last)
            maps = (
                (x - np.float32(grid.left_mm)) * np.float32(scale),
                (y - np.float32(grid.top_mm)) * np.float32(scale),
            )
            found.append(((slice(top, bottom), slice(left, right)), maps, own))
        return found


def stamped(one: Sheet, angle: float) -> Stamp:
    """A sheet turned by `angle`, cut to what it covers."""
    side = math.ceil(math.hypot(one.grid.rows, one.grid.columns)) + 4
    scale = one.grid.px_per_mm
    pile = Pile.empty(side, side, scale)
    pile.lay(one, Place(side / 2 / scale, side / 2 / scale, angle))
    rows, columns = (np.flatnonzero((pile.bare < 1.0).any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return Stamp(pile.light[:1, :1], pile.bare[:1, :1])
    window = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    return Stamp(np.ascontiguousarray(pile.light[window]), np.ascontiguousarray(pile.bare[window]))


FieldOf = Callable[[float, float], FloatArray]
"""A random field over one sheet, with features of so many mm across and along it (`streaks`)."""


def streaks(rng: np.random.Generator, shape: tuple[int, int], across_px: float, along_px: float) -> FloatArray:
    """A smooth random field (n, m), standard deviation about 1, with features of `across_px` rows by `along_px` columns.

    Features smaller than a pixel lose contrast, as they do on a sensor.
    """
    high, wide = shape
    seen = min(1.0, across_px) * min(1.0, along_px)
    across, along = max(across_px, 1.0), max(along_px, 1.0)
    grid = rng.standard_normal((math.ceil(high / across) + 3, math.ceil(wide / along) + 3), dtype=np.float32)
    size = (max(wide, math.ceil(grid.shape[1] * along)), max(high, math.ceil(grid.shape[0] * across)))
    method = cv2.INTER_CUBIC if max(across, along) > 1.0 else cv2.INTER_NEAREST
    if min(across, along) > 12.0:
        # Such slow fields may be drawn coarsely and filled in between.
        grid = np.asarray(cv2.resize(grid, (size[0] // 4 + 1, size[1] // 4 + 1), interpolation=method), np.float32)
        method = cv2.INTER_LINEAR
    full = np.asarray(cv2.resize(grid, size, interpolation=method), np.float32)
    y, x = (int(n - k) // 2 for n, k in zip(full.shape, shape, strict=True))
    # The interpolation between independent values takes about a fifth of the spread along each axis.
    lost = 0.82 ** ((across > 1.0) + (along > 1.0))
    return np.asarray(full[y : y + high, x : x + wide] * np.float32(seen / lost), np.float32)


def soft_step(distance_mm: FloatArray, px_per_mm: float) -> FloatArray:
    """Coverage of a pixel whose middle lies `distance_mm` inside an edge."""
    return np.asarray(np.clip(distance_mm * np.float32(px_per_mm) + np.float32(0.5), 0.0, 1.0), np.float32)


def ridges(rng: np.random.Generator, span_mm: float, pitch_mm: float, px_per_mm: float) -> tuple[FloatArray, float]:
    """A profile across parallel veins: heights 0..1 at even steps over `span_mm`, and the number of steps a mm.

    Veins lie `pitch_mm` apart, unevenly; every few of them is a stronger one. Blurred by a pixel's width.
    """
    per_mm = 60.0
    many = math.ceil(span_mm / pitch_mm) + 4
    at = (np.arange(many) - 1.5 + rng.normal(0.0, 0.13, many)) * pitch_mm
    size = np.where(np.arange(many) % int(rng.integers(3, 7)) == 0, 1.0, rng.uniform(0.3, 0.75, many))
    wide = pitch_mm * rng.uniform(0.13, 0.24) * (0.75 + 0.5 * size)
    place = np.arange(math.ceil(span_mm * per_mm) + 1) / per_mm
    wide = np.hypot(wide, 0.35 / px_per_mm)
    # Conserves each vein's area under the pixel's blur.
    size = size * pitch_mm * 0.2 / np.maximum(wide, pitch_mm * 0.2)
    profile = np.zeros(len(place))
    for middle, height, width in zip(at, size, wide, strict=True):
        profile += height * np.exp(-(((place - middle) / width) ** 2))
    return profile.astype(np.float32), per_mm


def along_ridges(profile: FloatArray, per_mm: float, across_mm: FloatArray) -> FloatArray:
    """The profile's height where the sheet lies `across_mm` from the first vein."""
    index = np.clip(across_mm * np.float32(per_mm), 0, len(profile) - 1).astype(np.int32)
    return np.asarray(np.take(profile, index), np.float32)
