"""Areas with a place of their own on every point: along and across a bow, or about a middle."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.loosened.canvas import Canvas
from vision.render.hands.loosened.chance import Points, chance, fourier, mottle, rise
from vision.types import FloatArray

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Bow:
    """A curved middle line: places (n, 2) in mm at even steps, its length in mm and how far it turns in radians."""

    places_mm: Points
    length_mm: float
    turn: float

    def at(self, u: float, off_mm: float = 0.0) -> Points:
        """Place (2,) in mm at share u of the length, off_mm to the left."""
        index = round(min(max(u, 0.0), 1.0) * (len(self.places_mm) - 1))
        ahead = self.heading(u)
        side = np.array([-math.sin(ahead), math.cos(ahead)])
        return np.asarray(self.places_mm[index] + side * off_mm, dtype=np.float64)

    def heading(self, u: float) -> float:
        """Direction in radians of the line at share u of the length, away from its start."""
        index = round(min(max(u, 0.0), 1.0) * (len(self.places_mm) - 2))
        step = self.places_mm[index + 1] - self.places_mm[index]
        return math.atan2(step[1], step[0])


def make_bow(length_mm: float, turn: float, shape: str, waver: float, rng: np.random.Generator) -> Bow:
    """A line of given length that turns as a "C", "J" or "S", with a random waver (radians) on top."""
    count = max(24, int(length_mm * 85))
    u = np.linspace(0, 1, count)
    if shape == "J":
        bend = np.clip(u - 0.45, 0, 1) ** 1.5
    elif shape == "S":
        bend = np.sin(2 * math.pi * (u + rng.uniform(-0.06, 0.06)))
        bend = bend / np.abs(bend).sum() * 2
    else:
        bend = 0.4 + np.sin(math.pi * u)
    bend = bend * turn / max(float(np.abs(bend).sum()), 1e-6)
    if chance(rng, 0.5):
        bend = -bend
    if chance(rng, 0.5):
        bend = bend[::-1]
    ahead = np.cumsum(bend) + fourier(u * 0.8, rng, waver, 3)
    steps = np.stack([np.cos(ahead), np.sin(ahead)], axis=1) * (length_mm / (count - 1))
    places = np.concatenate([np.zeros((1, 2)), np.cumsum(steps[:-1], axis=0)])
    return Bow(places - (places.min(axis=0) + places.max(axis=0)) / 2, length_mm, turn)


@dataclass(frozen=True)
class Patch:
    """Points (n,) of the canvas: cover, place u 0..1 along, t -1..1 across, thickness 0..1 and offset in mm."""

    rows: IntArray
    cols: IntArray
    cover: FloatArray
    u: FloatArray
    t: FloatArray
    thick: FloatArray
    off_mm: FloatArray
    x_mm: FloatArray
    y_mm: FloatArray
    half_mm: float


def chain_patch(canvas: Canvas, bow: Bow, left_mm: Points, right_mm: Points) -> Patch:
    """The area about a bow with half-widths (m,) in mm on its two sides, at even steps along it."""
    line = canvas.to_px(bow.places_mm)
    most = float(max(left_mm.max(), right_mm.max()))
    top, bottom, low, high = canvas.window(line, most * canvas.scale + 2)
    blank = np.full((bottom - top, high - low), 255, dtype=np.uint8)
    cols = np.clip(np.rint(line[:, 0]).astype(int) - low, 0, blank.shape[1] - 1)
    rows = np.clip(np.rint(line[:, 1]).astype(int) - top, 0, blank.shape[0] - 1)
    blank[rows, cols] = 0
    away, labels = cv2.distanceTransformWithLabels(blank, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    nearest = np.zeros(int(labels.max()) + 1, dtype=int)
    nearest[labels[rows, cols]] = np.arange(len(line))
    near_rows, near_cols = np.nonzero(away <= most * canvas.scale + 2)
    index = nearest[labels[near_rows, near_cols]]
    ahead = np.gradient(line, axis=0)
    ahead /= np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
    dx, dy = near_cols + low - line[index, 0], near_rows + top - line[index, 1]
    tangent = ahead[index]
    along = dx * tangent[:, 0] + dy * tangent[:, 1]
    across = dy * tangent[:, 0] - dx * tangent[:, 1]
    total_px = bow.length_mm * canvas.scale
    reach = index * (total_px / (len(line) - 1)) + along
    u = np.clip(reach / total_px, 0, 1)
    steps = np.linspace(0, 1, len(left_mm))
    half_px = np.where(across > 0, np.interp(u, steps, left_mm), np.interp(u, steps, right_mm)) * canvas.scale
    cover = np.clip(half_px - np.abs(across) + 0.5, 0, 1)
    cover *= np.clip(reach + 0.5, 0, 1) * np.clip(total_px - reach + 0.5, 0, 1)
    t = np.clip(across / np.maximum(half_px, 0.3), -1, 1)
    thick = np.sqrt(1 - t * t) * np.clip(half_px / (most * canvas.scale), 0, 1)
    keep = cover > 0
    return _patch(canvas, near_rows + top, near_cols + low, keep, cover, u, t, thick, across / canvas.scale, most)


def round_patch(canvas: Canvas, middle_mm: Points, half_mm: tuple[float, float], lean: float, rim: Points) -> Patch:
    """The area about a middle (2,) with half-axes in mm, leaning, its radius times rim (k,) at even angles round."""
    corners = canvas.to_px(middle_mm + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    room = max(half_mm) * float(rim.max()) * canvas.scale + 2
    top, bottom, low, high = canvas.window(corners[:1], room)
    rows, cols = (a.ravel() for a in np.mgrid[top:bottom, low:high])
    away = np.stack([cols - corners[0, 0], rows - corners[0, 1]], axis=1)
    back = away @ np.linalg.inv(corners[1:] - corners[0])
    x = (back[:, 0] * math.cos(lean) + back[:, 1] * math.sin(lean)) / half_mm[0]
    y = (back[:, 1] * math.cos(lean) - back[:, 0] * math.sin(lean)) / half_mm[1]
    angle = np.arctan2(y, x) / (2 * math.pi) % 1.0
    edge = np.interp(angle, np.linspace(0, 1, len(rim) + 1), np.append(rim, rim[0]))
    share = np.hypot(x, y) / np.maximum(edge, 1e-3)
    cover = np.clip((1 - share) * edge * math.sqrt(half_mm[0] * half_mm[1]) * canvas.scale + 0.5, 0, 1)
    thick = np.sqrt(np.clip(1 - share * share, 0, 1))
    u, t = np.clip(0.5 + x * 0.48, 0, 1), np.clip(y, -1, 1)
    return _patch(canvas, rows, cols, cover > 0, cover, u, t, thick, y * half_mm[1], min(half_mm))


def _patch(
    canvas: Canvas,
    rows: IntArray,
    cols: IntArray,
    keep: NDArray[np.bool_],
    cover: Points,
    u: Points,
    t: Points,
    thick: Points,
    off_mm: Points,
    half_mm: float,
) -> Patch:
    """Keep only the covered points, as float32."""
    rows, cols = rows[keep], cols[keep]
    cover_f, u_f, t_f, thick_f, off_f = (np.asarray(a[keep], dtype=np.float32) for a in (cover, u, t, thick, off_mm))
    x, y = (np.asarray(a / canvas.scale, dtype=np.float32) for a in (cols, rows))
    return Patch(rows, cols, cover_f, u_f, t_f, thick_f, off_f, x, y, half_mm)


def tear(patch: Patch, rng: np.random.Generator) -> Patch:
    """Lose a ragged end, a ragged side, or holes."""
    grain = mottle(patch.x_mm, patch.y_mm, rng, float(rng.uniform(1, 4)) / max(patch.half_mm, 0.05))
    way = rng.integers(0, 3)
    if way == 0:
        place = patch.u if chance(rng, 0.5) else 1 - patch.u
        keep = rise(place + grain * np.float32(rng.uniform(0.02, 0.12)), *_edge(rng, 0.15, 0.45))
    elif way == 1:
        place = patch.t if chance(rng, 0.5) else -patch.t
        keep = rise(place + grain * np.float32(rng.uniform(0.1, 0.6)), *_edge(rng, -0.8, -0.2))
    else:
        keep = rise(grain, *_edge(rng, -0.75, -0.4))
    return replace(patch, cover=patch.cover * keep)


def dissolve(patch: Patch, rng: np.random.Generator) -> Patch:
    """Let cover fade away in soft clouds, so that part of the thing is hardly there."""
    grain = mottle(patch.x_mm, patch.y_mm, rng, float(rng.uniform(0.5, 1.5)) / max(patch.half_mm, 0.05))
    left = rng.uniform(0.2, 0.7)
    return replace(patch, cover=patch.cover * (left + (1 - left) * rise(grain, -0.5, 0.5)).astype(np.float32))


def measure(patch: Patch, bow: Bow) -> tuple[float, float]:
    """Length along the bow and greatest width, in mm, of what the patch still covers."""
    solid = patch.cover > 0.3 * float(patch.cover.max())
    u, off = patch.u[solid], patch.off_mm[solid]
    bins = np.minimum((u * 30).astype(int), 29)
    high, low = np.full(30, -np.inf), np.full(30, np.inf)
    np.maximum.at(high, bins, off)
    np.minimum.at(low, bins, off)
    wide = high - low
    return float(u.max() - u.min()) * bow.length_mm, float(wide[np.isfinite(wide)].max()) + 0.01


def span_mm(patches: list[Patch]) -> tuple[float, float]:
    """Long and short side in mm of the tightest leaning box about the patches."""
    places = np.concatenate([np.stack([p.x_mm, p.y_mm], axis=1)[p.cover > 0.4] for p in patches])
    if len(places) < 3:
        return 0.06, 0.05
    _, (first, second), _ = cv2.minAreaRect(np.ascontiguousarray(places * 100, dtype=np.float32))
    return max(first, second) / 100 + 0.012, min(first, second) / 100 + 0.012


def _edge(rng: np.random.Generator, low: float, high: float) -> tuple[float, float]:
    """A place in a span and a little beyond it, soft or hard."""
    start = float(rng.uniform(low, high))
    return start, start + float(rng.uniform(0.01, 0.12))
