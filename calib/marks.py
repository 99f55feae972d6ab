"""Fixed marks of an empty panel: scratches, stuck dust, and what could be an insect.

A mark is a connected region whose optical density leaves the noise. It is fixed when (nearly) every blank shows it at the same
place; what only some of the blanks show has moved and is told apart. Positions and sizes are in pixels of the shots.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FixedMark, FloatArray, MaskArray

Points = NDArray[np.int32]

SIGMAS = 6.0
"""A mark leaves the noise by this many standard deviations: one false pixel in a billion of Gaussian noise."""
LEAST_DENSITY = 0.015
"""3.4% less light; fainter than this a mark hides nothing and is left to the even-light map (common practice, no source)."""
SHARE_OF_SHOTS = 0.75

# What could be an insect, by size and form: the smallest nymphs and mites reach 0.2 mm, maggots are up to 12 times as long as wide,
# and what is longer than 15 mm or wider than 5 mm is no animal a person would take for a scratch.
_LEAST_MM, _WIDEST_MM, _LONGEST_MM, _SLENDER = 0.2, 5.0, 15.0, 12.0
# Without a scale these become 4, 100 and 300 pixels.
PX_PER_MM_UNKNOWN = 20.0


@dataclass(frozen=True)
class FoundMarks:
    """`fixed`, doubtful ones first, and `moved`; `area` is the share of the searched pixels that all of them cover, 0..1."""

    fixed: tuple[FixedMark, ...]
    moved: tuple[FixedMark, ...]
    area: float


@dataclass(frozen=True)
class _Strip:
    """A straight strip round some pixels: centre, size, direction, in working pixels and degrees."""

    x: float
    y: float
    length: float
    width: float
    angle_deg: float

    def along_and_across(self, x: float, y: float) -> tuple[float, float]:
        """Where a place lies in the strip's own directions, from its centre."""
        c, s = math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))
        return (x - self.x) * c + (y - self.y) * s, (y - self.y) * c - (x - self.x) * s


@dataclass(frozen=True)
class _Region:
    """Pixels (n, 2: x, y) of one mark and their density, darker or lighter counted as positive; made by `_region`."""

    points: Points
    values: FloatArray
    strip: _Strip
    peak: float


def _region(points: Points, values: FloatArray) -> _Region:
    return _Region(points, values, _strip(points), float(values.max()))


def find_marks(
    densities: Sequence[FloatArray], grain: FloatArray, inside: MaskArray, step: int, px_per_mm: float | None
) -> FoundMarks:
    """What stands out from the empty panel in blanks of one size.

    `densities`: per blank (h, w) float32, optical density against the even light (mean of the channels), one value per
    `step` x `step` shot pixels. `grain` (h, w) float32: the noise there over its usual size. `inside` (h, w) bool: the panel.
    """
    smooth = [_smoothed(d) for d in densities]
    together = _together(smooth)
    floor = _floor(together, grain, inside)
    marks: list[FixedMark] = []
    moved = np.zeros(inside.shape, dtype=bool)
    steady = np.zeros(inside.shape, dtype=bool)
    for sign in (1, -1):
        kept = []
        for points in _regions(sign * together, floor, inside):
            if _in_nearly_all(points, smooth, together):
                values = np.asarray(np.median(_values(densities, points), axis=0) * sign, dtype=np.float32)
                kept.append(_region(points, values))
                steady[points[:, 1], points[:, 0]] = True
            elif sign > 0:
                moved[points[:, 1], points[:, 0]] = True
        marks += [mark for region in _joined(kept) for mark in _as_marks(region, sign, step, px_per_mm)]
    if len(densities) > 2:
        moved |= _only_in_some(smooth, together, grain, inside, steady)
    marks.sort(key=lambda m: (not m.doubtful, m.y_px, m.x_px))
    wandering = [
        _mark(_strip(points), float(_values(densities, points).max()), step, doubtful=True)
        for points in _points_of(moved)
    ]
    return FoundMarks(tuple(marks), tuple(wandering), float((steady | moved).sum() / max(1, inside.sum())))


def stands_out(density: FloatArray, grain: FloatArray, inside: MaskArray) -> MaskArray:
    """Pixels of one blank, and those next to them, that the even-light map must not count; shapes as in `find_marks`."""
    smooth = _smoothed(density)
    floor = _floor(smooth, grain, inside)
    # A first map that a mark has darkened reads lighter beside it: that must be counted, or the map stays dark.
    out = (smooth > floor) | (smooth < -2.5 * floor)
    return np.asarray(cv2.dilate(out.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)


def _smoothed(density: FloatArray) -> FloatArray:
    return np.asarray(cv2.GaussianBlur(density, (3, 3), 0.7), dtype=np.float32)


def _together(planes: Sequence[FloatArray]) -> FloatArray:
    if len(planes) == 1:
        return planes[0]
    return np.asarray(
        np.median(np.stack(planes), axis=0) if len(planes) > 2 else (planes[0] + planes[1]) / 2, np.float32
    )


def _floor(smooth: FloatArray, grain: FloatArray, inside: MaskArray) -> FloatArray:
    """Density a mark must reach, pixel by pixel."""
    sample = smooth[::3, ::3][inside[::3, ::3]]
    sigma = 1.4826 * float(np.median(np.abs(sample - np.median(sample)))) if sample.size else 0.0
    return np.asarray(np.maximum(SIGMAS * sigma * grain, LEAST_DENSITY), dtype=np.float32)


def _regions(signal: FloatArray, floor: FloatArray, inside: MaskArray) -> list[Points]:
    """Pixels of connected regions over half the floor that reach it in two pixels or more; close fragments are one."""
    low = ((signal > 0.5 * floor) & inside).astype(np.uint8)
    count, labels = cv2.connectedComponents(low, connectivity=8)
    keep = np.bincount(labels[(signal > floor) & inside], minlength=count) >= 2
    keep[0] = False
    return _points_of(keep[labels]) if keep.any() else []


def _points_of(mask: MaskArray) -> list[Points]:
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, kernel)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    out = []
    for i in range(1, count):
        left, top, wide, high = (int(v) for v in boxes[i, :4])
        window = (slice(top, top + high), slice(left, left + wide))
        ys, xs = np.nonzero((labels[window] == i) & mask[window])
        # At the picture's edge closing can make a region out of nothing.
        if len(xs):
            out.append(np.column_stack([xs + left, ys + top]).astype(np.int32))
    return out


def _values(planes: Sequence[FloatArray], points: Points) -> FloatArray:
    return np.stack([plane[points[:, 1], points[:, 0]] for plane in planes])


def _strip(points: Points) -> _Strip:
    """The narrowest rectangle round the pixels, counted to their outer edges."""
    corners = cv2.boxPoints(cv2.minAreaRect(points.astype(np.float32)))
    sides = corners[1] - corners[0], corners[2] - corners[1]
    lengths = [float(np.hypot(*side)) for side in sides]
    long = int(lengths[1] > lengths[0])
    angle = math.degrees(math.atan2(float(sides[long][1]), float(sides[long][0]))) % 180.0
    x, y = corners.mean(axis=0)
    return _Strip(float(x), float(y), lengths[long] + 1.0, lengths[1 - long] + 1.0, angle)


def _in_nearly_all(points: Points, smooth: Sequence[FloatArray], together: FloatArray) -> bool:
    mean = float(_values([together], points).mean())
    # 0.4 of the strength, not all of it: a stand that gave way by one pixel halves a fine scratch.
    holds = int((_values(smooth, points).mean(axis=1) / mean > 0.4).sum())
    return holds >= math.ceil(SHARE_OF_SHOTS * len(smooth))


def _only_in_some(
    smooth: Sequence[FloatArray], together: FloatArray, grain: FloatArray, inside: MaskArray, fixed: MaskArray
) -> MaskArray:
    """Pixels of things that single blanks show and most do not, away from fixed marks, whose edges flicker."""
    near = cv2.dilate(fixed.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    out = np.zeros(inside.shape, dtype=bool)
    # The median of n has pi / 2n of the variance of one, which the difference adds.
    wider = math.sqrt(1 + math.pi / (2 * len(smooth)))
    for plane in smooth:
        extra = plane - together
        for points in _regions(extra, wider * _floor(plane, grain, inside), inside):
            ys, xs = points[:, 1], points[:, 0]
            if near[ys, xs].mean() < 0.3:
                out[ys, xs] = True
    return out


def _joined(regions: list[_Region]) -> list[_Region]:
    """Fragments of one scratch made one: in line with a longer one, near its end, and alike in width and density.

    Unlike fragments stay apart, so that a speck in line with a scratch is still asked about.
    """
    rest = sorted(regions, key=lambda r: -r.strip.length)
    joined: list[_Region] = []
    while rest:
        base = rest.pop(0)
        while base.strip.length >= 3 * base.strip.width:
            place = next((i for i, other in enumerate(rest) if _continues(base, other)), None)
            if place is None:
                break
            more = rest.pop(place)
            points = np.concatenate([base.points, more.points])
            base = _region(points, np.concatenate([base.values, more.values]))
        joined.append(base)
    return joined


def _continues(base: _Region, other: _Region) -> bool:
    a, b = base.strip, other.strip
    along, across = a.along_and_across(b.x, b.y)
    if abs(across) > a.width + 1 or b.width > 2 * a.width or not 0.4 <= other.peak / base.peak <= 1.6:
        return False
    turn = abs((a.angle_deg - b.angle_deg + 90) % 180 - 90)
    if b.length > 2 * a.width and (turn > 15 or b.length < 3 * b.width):
        return False
    gap = abs(along) - (a.length + b.length) / 2
    return gap <= min(max(8.0, 0.5 * a.length), 40.0)


def _as_marks(region: _Region, sign: int, step: int, px_per_mm: float | None) -> list[FixedMark]:
    """One mark where it could be an insect; else its straight pieces, with what lies on it apart."""
    mm = (px_per_mm or PX_PER_MM_UNKNOWN) / step
    if sign < 0:
        return [_mark(piece.strip, -piece.peak, step, doubtful=False) for piece in _pieces(region)]
    if _could_be_insect(region, mm):
        return [_mark(region.strip, region.peak, step, doubtful=True)]
    rest = np.ones(len(region.points), dtype=bool)
    marks = []
    for chosen in _lumps(region):
        lump = _region(region.points[chosen], region.values[chosen])
        if _could_be_insect(lump, mm):
            rest &= ~chosen
            marks.append(_mark(lump.strip, lump.peak, step, doubtful=True))
    if rest.any():
        bare = _region(region.points[rest], region.values[rest])
        pieces = [piece for piece in _pieces(bare) if piece.peak >= LEAST_DENSITY]
        marks += [_mark(piece.strip, piece.peak, step, doubtful=False) for piece in pieces]
    return marks


def _could_be_insect(region: _Region, mm: float) -> bool:
    """By size and form of something darker; `mm` is working pixels to a millimetre."""
    # A mark is found about one working pixel wider than it is on every side: smoothing and the lower of the two floors.
    length = max(1.0, region.strip.length - 2)
    width = max(1.0, len(region.points) / region.strip.length - 2)
    size = _LEAST_MM * mm <= length <= _LONGEST_MM * mm and width <= _WIDEST_MM * mm
    return size and length <= _SLENDER * width


def _lumps(region: _Region) -> list[MaskArray]:
    """Which of the pixels are far thicker or darker than the rest, lump by lump: an insect may sit on a scratch."""
    left, top = region.points.min(axis=0) - 1
    wide, high = region.points.max(axis=0) - (left, top) + 2
    rows, columns = region.points[:, 1] - top, region.points[:, 0] - left
    mask = np.zeros((int(high), int(wide)), np.uint8)
    mask[rows, columns] = 1
    across = math.ceil(2.2 * len(region.points) / region.strip.length)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    thick = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc)
    far = np.zeros_like(mask)
    far[rows, columns] = region.values > 2 * np.percentile(region.values, 75)
    dark = cv2.dilate(cv2.morphologyEx(far, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)), np.ones((5, 5), np.uint8))
    count, labels = cv2.connectedComponents(cv2.bitwise_and(cv2.bitwise_or(thick, dark), mask), connectivity=8)
    return [np.asarray(labels[rows, columns] == i) for i in range(1, count)]


def _pieces(region: _Region) -> list[_Region]:
    """Straight pieces of a winding mark: halved until little but the mark lies in each one's strip."""
    strip, points = region.strip, region.points
    if strip.length < 16 or strip.width < 5 or len(points) >= 0.4 * strip.length * strip.width:
        return [region]
    turn = math.radians(strip.angle_deg)
    before = (points[:, 0] - strip.x) * math.cos(turn) + (points[:, 1] - strip.y) * math.sin(turn) < 0
    if before.all() or not before.any():
        return [region]
    return [piece for half in (before, ~before) for piece in _pieces(_region(points[half], region.values[half]))]


def _mark(strip: _Strip, peak: float, step: int, doubtful: bool) -> FixedMark:
    # Working pixel i is the mean of shot pixels i * step ... i * step + step - 1, whose middle lies half a pixel before (i + 1/2) * step.
    x, y = ((v + 0.5) * step - 0.5 for v in (strip.x, strip.y))
    return FixedMark(
        x_px=round(x, 1),
        y_px=round(y, 1),
        radius_px=round(0.5 * step * math.hypot(strip.length, strip.width), 1),
        density=round(peak, 4),
        length_px=round(strip.length * step, 1),
        width_px=round(strip.width * step, 1),
        angle_deg=round(strip.angle_deg, 1) % 180.0,
        doubtful=doubtful,
    )


def as_bytes(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Pixels of a shot, any shape, as uint8."""
    return np.asarray(pixels if pixels.dtype == np.uint8 else pixels >> 8, dtype=np.uint8)
