"""Small things built from parts: each part adds matter that swallows light and a surface that sends light back.

A thing is modelled finer than the picture, in its own small window with its centre in the middle, and fired into a Stamp
that is laid into the picture: what shines from behind is weakened by the matter, and light from above is sent back.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.fields import Numbers, Rng, blurred, levels
from vision.types import FloatArray

_SHIFT = 4
"""cv2 draws lines at 1/16 px with this."""


@dataclass(frozen=True)
class Stamp:
    """A thing ready to be laid: `keep` (n, n, 3) share of the light behind that comes through, `add` (n, n, 3) light sent
    back under a light of 1 from above, `body` (n, n) 0..1 where its body is, without limbs. n is odd."""

    keep: FloatArray
    add: FloatArray
    body: FloatArray


@dataclass(frozen=True)
class Clay:
    """A thing being built: square fields of `fine` samples a pixel; heights in picture pixels."""

    fine: int
    height: FloatArray
    tint: FloatArray
    absorb: FloatArray
    body: FloatArray


@dataclass(frozen=True)
class Part:
    """Where a part lies in the clay: window, `height` (n, m) px, `along` (n, m) 0..1 from its first end, `side` (n, m) -1..1."""

    rows: slice
    columns: slice
    height: FloatArray
    along: FloatArray
    side: FloatArray


def lump(reach_px: float, fine: int = 3) -> Clay:
    """Nothing yet, with room for what reaches `reach_px` from the centre."""
    side = (2 * int(np.ceil(reach_px)) + 5) * fine
    return Clay(
        fine,
        np.zeros((side, side), np.float32),
        np.zeros((side, side, 3), np.float32),
        np.zeros((side, side, 3), np.float32),
        np.zeros((side, side), np.float32),
    )


def rolled(clay: Clay, spine_px: Numbers, half_px: Numbers) -> Part | None:
    """The space swept by balls of half width `half_px` (k,) along `spine_px` (k, 2); None if it lies outside the window."""
    middle, side = (clay.height.shape[0] - 1) / 2, clay.height.shape[0]
    points, half = spine_px * clay.fine + middle, half_px * clay.fine
    low, high = np.floor((points - half[:, None]).min(axis=0)) - 1, np.ceil((points + half[:, None]).max(axis=0)) + 2
    left, top = (max(int(v), 0) for v in low)
    right, bottom = (min(int(v), side) for v in high)
    if right - left < 2 or bottom - top < 2:
        return None
    trace = np.zeros((bottom - top, right - left), np.uint8)
    sent = np.round((points - (left, top)) * (1 << _SHIFT)).astype(np.int32)
    cv2.polylines(trace, [sent], False, 1, max(int(2 * half.max()) + 3, 1), cv2.LINE_8, _SHIFT)
    y, x = np.nonzero(trace)
    away = (x[:, None] + left - points[None, :, 0]) ** 2 + (y[:, None] + top - points[None, :, 1]) ** 2
    inner = (half[None] ** 2 - away).astype(np.float32)
    best = inner.argmax(axis=1)
    depth = inner[np.arange(len(best)), best]
    height, along, side_of = (np.zeros(trace.shape, np.float32) for _ in range(3))
    height[y, x] = np.sqrt(np.maximum(depth, 0)) / clay.fine
    along[y, x] = best / max(len(half) - 1, 1)
    way = np.gradient(points, axis=0)
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-6)[:, None]
    off_x, off_y = x + left - points[best, 0], y + top - points[best, 1]
    side_of[y, x] = (off_y * way[best, 0] - off_x * way[best, 1]) / np.maximum(half[best], 0.5)
    return Part(slice(top, bottom), slice(left, right), height, along, side_of)


def put(
    clay: Clay,
    part: Part | None,
    tint: FloatArray,
    dense: FloatArray | float,
    *,
    body: bool = True,
    cloud: float = 0.15,
) -> None:
    """Adds a part: `tint` (3,) or (n, m, 3) is what it sends back; it swallows `dense` a mm of what its tint lacks, and a
    share `cloud` of that of every colour."""
    if part is None:
        return
    here = part.rows, part.columns
    inside = (part.height > 0).astype(np.float32)
    thick = np.asarray(dense * part.height * (2 / PX_PER_MM), np.float32)[..., None]
    wide = np.broadcast_to(tint, (*part.height.shape, 3))
    clay.absorb[here] += thick * (1 - wide + cloud)
    clay.tint[here] += (wide - clay.tint[here]) * inside[..., None]
    clay.height[here] = np.maximum(clay.height[here], part.height)
    if body:
        clay.body[here] = np.maximum(clay.body[here], inside)


def limb(clay: Clay, points_px: Numbers, width_px: float, tint: Numbers, strength: float) -> None:
    """A thin limb, hair or line along `points_px` (k, 2): swallows `strength` (an optical depth) of what its tint lacks."""
    middle = (clay.height.shape[0] - 1) / 2
    lines = np.round((points_px * clay.fine + middle) * (1 << _SHIFT)).astype(np.int32)
    low = np.maximum(lines.min(axis=0) // (1 << _SHIFT) - 4 * clay.fine, 0)
    high = np.minimum(lines.max(axis=0) // (1 << _SHIFT) + 4 * clay.fine, clay.height.shape[0])
    if (high - low < 1).any():
        return
    here = slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
    trace = np.zeros((here[0].stop - here[0].start, here[1].stop - here[1].start), np.uint8)
    fine_px = width_px * clay.fine
    thick = max(round(fine_px), 1)
    # A line thinner than the finest sample is drawn one sample wide and fainter.
    cv2.polylines(trace, [lines - low * (1 << _SHIFT)], False, 255, thick, cv2.LINE_AA, _SHIFT)
    share = trace.astype(np.float32) * np.float32(min(fine_px / thick, 1.3) / 255)
    clay.absorb[here] += (share * strength)[..., None] * (1.1 - tint)
    clay.tint[here] += (tint - clay.tint[here]) * np.minimum(share, 1)[..., None]
    clay.height[here] = np.maximum(clay.height[here], share * width_px * 0.5)


def film(clay: Clay, outline_px: FloatArray, tint: FloatArray, strength: float, *, body: bool = False) -> None:
    """A thin flat sheet with the outline (k, 2): a wing, a flake."""
    middle = (clay.height.shape[0] - 1) / 2
    trace = np.zeros(clay.height.shape, np.uint8)
    sent = np.round((outline_px * clay.fine + middle) * (1 << _SHIFT)).astype(np.int32)
    cv2.fillPoly(trace, [sent], 255, cv2.LINE_AA, _SHIFT)
    share = trace.astype(np.float32) / 255
    clay.absorb[:] += (share * strength)[..., None] * (1.15 - tint)
    bare = share * (clay.height < 0.5)
    clay.tint[:] += (tint - clay.tint) * bare[..., None]
    clay.height[:] = np.maximum(clay.height, share * 0.3)
    if body:
        clay.body[:] = np.maximum(clay.body, share)


def fired(clay: Clay, rng: Rng, *, gloss: float = 0.3, rough: float = 0.15) -> Stamp:
    """The thing as it is seen: shaded from its heights, mottled by `rough`, with shine of strength `gloss`."""
    side = clay.height.shape[0]
    grain = rng.standard_normal((side, side), dtype=np.float32)
    mottle = np.exp(rough * (blurred(grain, 0.8 * clay.fine) * 1.6 * clay.fine + 0.4 * grain))
    absorb = clay.absorb * mottle[..., None]
    keep = np.exp(-absorb)
    soft = blurred(clay.height + 0.12 * rough * clay.height * blurred(grain, 2.0) * 4, 0.5 * clay.fine)
    slope_y, slope_x = np.gradient(soft * clay.fine)
    tilt = 1 / np.sqrt(1 + slope_x**2 + slope_y**2)
    light_x, light_y = rng.uniform(-0.6, 0.6), rng.uniform(-0.7, 0.1)
    up = float(np.sqrt(1 - min(light_x**2 + light_y**2, 0.9)))
    facing = np.maximum((-slope_x * light_x - slope_y * light_y + up) * tilt, 0)
    lit = 0.35 + 0.65 * facing
    solid = 1 - levels(keep)
    shine = gloss * np.maximum(facing, 0) ** 40 * np.clip(2 * solid, 0, 1) * (clay.height > 1)
    add = clay.tint * (lit / np.sqrt(mottle) * solid)[..., None] + shine[..., None]
    n = side // clay.fine
    small = [cv2.resize(f, (n, n), interpolation=cv2.INTER_AREA) for f in (keep, add, clay.body)]
    return Stamp(*(np.asarray(f, np.float32) for f in small))


def softened(stamp: Stamp, sigma_px: float) -> Stamp:
    """The stamp out of focus: its matter is spread, where its body is stays known."""
    if sigma_px < 0.2:
        return stamp
    room = int(np.ceil(2.5 * sigma_px))
    sides = ((room, room), (room, room), (0, 0))
    keep, add = 1 - np.pad(1 - stamp.keep, sides), np.pad(stamp.add, sides)
    return Stamp(blurred(keep, sigma_px), blurred(add, sigma_px), np.pad(stamp.body, room))
