"""The marks: one closed line round a speck, whose form tells the shape class.

A mark is a dark line between two white ones, so that it stands out from a white panel by its dark core and from dark produce
by its halo. The core's colour differs by form only as a second cue (Okabe and Ito's palette for colour-blind readers, values from
memory; the reddish purple darkened, so that each core stands out from its halo by 3 to 1 for every kind of colour sight).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.shapes import BY_NAME
from vision.types import Candidate, FloatArray, Measures

Colour = tuple[int, int, int]
Picture = NDArray[np.uint8]

WHITE: Colour = (255, 255, 255)
DARK: Colour = (17, 17, 17)

# cv2 draws at fractions of a pixel when told how many bits of a coordinate stand behind the point.
_BITS = 4

# Legible at arm's length and a little more: letters 3.5 mm high seen from 600 mm fill atan(3.5 / 600) = 0.33 degrees = 20
# arc minutes, within what display ergonomics asks for (ISO 9241-303, from memory). On a screen 500 mm wide that the picture
# fills, 3.5 mm are 3.5 / 500 = 0.7% of its width; the longer side counts, so that an upright shot reads as well as a lying one.
_CAP_SHARE = 3.5 / 500
# Fewer pixels than this and a digit's form is lost, whatever its size in mm.
_LEAST_CAP_PX = 9.0
# A tall strip keeps room for words in a line.
_MOST_CAP_SHARE_OF_WIDTH = 1 / 55
_MOST_CAP_PX = 100.0


@dataclass(frozen=True)
class Look:
    """Sizes of all that is drawn on one picture, in its pixels."""

    cap_px: float
    """Height of capitals and digits."""
    core_px: int
    """Thickness of a mark's dark core; its halo adds as much on either side."""
    gap_px: float
    """Distance from a speck to the middle of its mark's line."""

    @property
    def halo_px(self) -> int:
        """Thickness of the white line under a core."""
        return 3 * self.core_px

    @property
    def thin_px(self) -> int:
        """Thickness of the dark core of leaders and hatching."""
        return max(1, round(0.5 * self.core_px))


def look_for(width_px: int, height_px: int, least_cap_px: float = _LEAST_CAP_PX) -> Look:
    """The sizes for a picture of this width and height; letters are at least `least_cap_px` high."""
    wanted = _CAP_SHARE * max(width_px, height_px)
    cap = max(least_cap_px, min(wanted, _MOST_CAP_SHARE_OF_WIDTH * width_px, _MOST_CAP_PX))
    core = max(2, round(cap / 7))
    return Look(cap_px=cap, core_px=core, gap_px=max(0.5 * cap, 2.0 * core + 2))


def body_points(measures: Measures, zoom: float) -> FloatArray:
    """A speck's outline as (n, 2) float32 points x, y on a picture enlarged `zoom` times; its upright box where it has none."""
    points = np.asarray(measures.outline_px, dtype=np.float32).reshape(-1, 2)
    if len(points) < 3:
        left, top = measures.left_px - 0.5, measures.top_px - 0.5
        right, bottom = left + measures.wide_px, top + measures.high_px
        points = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], dtype=np.float32)
    # Pixel centres carry whole numbers, so the picture's corner lies at -0.5 before and after.
    return ((points + 0.5) * zoom - 0.5).astype(np.float32)


def _box(points: FloatArray, angle_deg: float, gap_px: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centre, half sides and axes of the box along `angle_deg` that keeps `gap_px` from the points."""
    a = np.deg2rad(angle_deg)
    axes = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]], dtype=np.float32)
    along = points @ axes.T
    low, high = along.min(axis=0), along.max(axis=0)
    return ((low + high) / 2) @ axes, (high - low) / 2 + gap_px, axes


def _ring(points: FloatArray, angle_deg: float, gap_px: float) -> FloatArray:
    centre, radius = cv2.minEnclosingCircle(points)
    t = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    return np.asarray(np.asarray(centre) + (radius + gap_px) * np.stack([np.cos(t), np.sin(t)], axis=1))


def _slim_box(points: FloatArray, angle_deg: float, gap_px: float) -> FloatArray:
    centre, half, axes = _box(points, angle_deg, gap_px)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    return np.asarray(centre + corners @ axes)


def _rounded_box(points: FloatArray, angle_deg: float, gap_px: float) -> FloatArray:
    centre, half, axes = _box(points, angle_deg, gap_px)
    # Corners of twice the gap keep 0.59 of it from the corner of the body's own box: 2 - sqrt(2).
    radius = 2 * gap_px
    half = np.maximum(half, radius)
    t = np.linspace(0, np.pi / 2, 10)
    quarter = np.stack([np.cos(t), np.sin(t)], axis=1)
    turned = [quarter, quarter[::-1] * [-1, 1], quarter * [-1, -1], quarter[::-1] * [1, -1]]
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    corners = [radius * arc + sign * (half - radius) for arc, sign in zip(turned, signs, strict=True)]
    return np.asarray(centre + np.concatenate(corners) @ axes)


def _hexagon(points: FloatArray, angle_deg: float, gap_px: float) -> FloatArray:
    centre, half, axes = _box(points, angle_deg, gap_px)
    along, across = half
    tip = along + 0.6 * across
    corners = np.array([[tip, 0], [along, across], [-along, across], [-tip, 0], [-along, -across], [along, -across]])
    return np.asarray(centre + corners @ axes)


def _diamond(points: FloatArray, angle_deg: float, gap_px: float) -> FloatArray:
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    half = np.abs(points - centre).sum(axis=1).max() + np.sqrt(2) * gap_px
    return np.asarray(centre + half * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]]))


@dataclass(frozen=True)
class Form:
    """How one form is drawn: its line from a body's points (n, 2), its direction and the gap; and its core's colour."""

    line: Callable[[FloatArray, float, float], FloatArray]
    ink: Colour


FORMS: Mapping[str, Form] = {
    "ring": Form(_ring, (0, 114, 178)),
    "slim box": Form(_slim_box, (213, 94, 0)),
    "rounded box": Form(_rounded_box, (0, 158, 115)),
    "hexagon": Form(_hexagon, (180, 96, 144)),
    "diamond": Form(_diamond, DARK),
}


@dataclass(frozen=True)
class Mark:
    """One speck's mark on one picture: closed convex line and the body inside it, (n, 2) float32, x, y in its pixels."""

    number: int
    line: FloatArray
    body: FloatArray
    ink: Colour


def mark(candidate: Candidate, zoom: float, look: Look) -> Mark:
    """The mark of a candidate on a picture enlarged `zoom` times."""
    form = FORMS[BY_NAME[candidate.shape].mark]
    body = body_points(candidate.measures, zoom)
    line = form.line(body, candidate.measures.angle_deg, look.gap_px)
    return Mark(candidate.number, np.asarray(line, dtype=np.float32), body, form.ink)


# A line of which this much runs over another body is drawn on that body: hidden there, its speck would be lost.
_LOST_SHARE = 1 / 3


def _along(line: FloatArray, count: int = 24) -> FloatArray:
    """`count` points evenly along a closed line."""
    sides = np.hypot(*(np.roll(line, -1, axis=0) - line).T)
    ends = np.concatenate([[0.0], np.cumsum(sides)])
    at = np.arange(count) / count * ends[-1]
    closed = np.concatenate([line, line[:1]])
    return np.stack([np.interp(at, ends, closed[:, k]) for k in (0, 1)], axis=1).astype(np.float32)


def hosts(marks: Sequence[Mark]) -> list[frozenset[int]]:
    """For each mark, the places in `marks` of the larger bodies it lies on: a speck on a leaf that is flagged too."""
    if not marks:
        return []
    low = np.array([m.body.min(axis=0) for m in marks])
    high = np.array([m.body.max(axis=0) for m in marks])
    found = []
    for own, one in enumerate(marks):
        points = _along(one.line)
        meets = ((points.max(axis=0) >= low) & (points.min(axis=0) <= high)).all(axis=1)
        area = cv2.contourArea(one.line)
        on = set()
        for k in (int(k) for k in np.flatnonzero(meets)):
            body = marks[k].body.reshape(-1, 1, 2)
            if k == own or cv2.contourArea(body) < area:
                continue
            inside = sum(cv2.pointPolygonTest(body, (float(x), float(y)), False) >= 0 for x, y in points)
            if inside > _LOST_SHARE * len(points):
                on.add(k)
        found.append(frozenset(on))
    return found


def _fixed(points: FloatArray) -> NDArray[np.int32]:
    return np.round(points * (1 << _BITS)).astype(np.int32).reshape(-1, 1, 2)


def draw_lines(
    picture: Picture, lines: Sequence[FloatArray], inks: Sequence[Colour], core_px: int, halo_px: int, closed: bool
) -> None:
    """Draws lines (n, 2) with their halos into a picture; all halos first, so that none hides another line's core."""
    fixed = [_fixed(line) for line in lines]
    cv2.polylines(picture, fixed, closed, WHITE, halo_px, cv2.LINE_AA, _BITS)
    for line, ink in zip(fixed, inks, strict=True):
        cv2.polylines(picture, [line], closed, ink, core_px, cv2.LINE_AA, _BITS)


@dataclass(frozen=True)
class Kept:
    """What the picture showed on one speck before anything was drawn, so that it can be put back."""

    window: tuple[slice, slice]
    pixels: Picture
    inside: Picture


def keep(picture: Picture, body: FloatArray, margin_px: int = 2) -> Kept | None:
    """The pixels of a body and `margin_px` round it; None where it lies outside the picture."""
    h, w = picture.shape[:2]
    left, top = np.floor(body.min(axis=0)).astype(int) - margin_px
    right, bottom = np.ceil(body.max(axis=0)).astype(int) + margin_px + 1
    x0, y0, x1, y1 = max(0, left), max(0, top), min(w, right), min(h, bottom)
    if x0 >= x1 or y0 >= y1:
        return None
    inside = np.zeros((y1 - y0, x1 - x0), dtype=np.uint8)
    points = _fixed(body - np.array([x0, y0], dtype=np.float32))
    cv2.fillPoly(inside, [points], 1, cv2.LINE_8, _BITS)
    cv2.polylines(inside, [points], True, 1, 2 * margin_px + 1, cv2.LINE_8, _BITS)
    window = (slice(y0, y1), slice(x0, x1))
    return Kept(window, picture[window].copy(), inside)


def leave(kept: Kept, line: FloatArray, wide_px: int, closed: bool) -> None:
    """Takes what a line covers, `wide_px` wide, out of what will be put back."""
    corner = np.array([kept.window[1].start, kept.window[0].start], dtype=np.float32)
    cv2.polylines(kept.inside, [_fixed(line - corner)], closed, 0, wide_px, cv2.LINE_8, _BITS)


def put_back(picture: Picture, kept: Kept) -> None:
    """Puts a speck's own pixels back, so that no line of another mark, label or hatching lies on it."""
    cv2.copyTo(kept.pixels, kept.inside, picture[kept.window])
