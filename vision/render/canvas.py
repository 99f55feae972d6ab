"""A fine grid under one body: drawn on several samples a pixel, then averaged over each pixel's area.

Averaging the transmitted light, not the density, is what a sensor does at an edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.patch import Patch
from vision.types import FloatArray

SAMPLES_PER_MM = 60.0
"""The finest limb drawn, some 0.02 mm, is then about one sample wide."""


def _zeros(*shape: int) -> FloatArray:
    return np.zeros(shape, np.float32)


def _boxed(a: FloatArray, shape: tuple[int, ...], box: tuple[slice, slice]) -> FloatArray:
    """The box of a map, or the value itself where it is the same everywhere."""
    return a[box] if a.shape[:2] == shape else a


@dataclass
class Canvas:
    """Sample grid in millimetres round a body's origin, and what has been laid on it so far."""

    px_per_mm: float
    fold: int
    left_px: int
    top_px: int
    x_mm: FloatArray
    y_mm: FloatArray
    stout: float = 1.0
    """How many times as thick limbs are as usual."""
    density: FloatArray = field(default_factory=lambda: _zeros(0))
    """(n, m, 3): natural-log absorbance."""
    albedo: FloatArray = field(default_factory=lambda: _zeros(0))
    cover: FloatArray = field(default_factory=lambda: _zeros(0))
    body: FloatArray = field(default_factory=lambda: _zeros(0))
    height_mm: FloatArray = field(default_factory=lambda: _zeros(0))

    @property
    def per_mm(self) -> float:
        """Samples per millimetre."""
        return self.px_per_mm * self.fold

    def samples(self, points_mm: NDArray[Any]) -> NDArray[np.float64]:
        """Points (n, 2) in millimetres as sample coordinates (x, y)."""
        origin = np.array([self.x_mm[0, 0], self.y_mm[0, 0]], float)
        return np.asarray((np.asarray(points_mm, float) - origin) * self.per_mm)

    def lay(
        self,
        cover: FloatArray,
        density: NDArray[Any],
        albedo: NDArray[Any],
        *,
        height_mm: FloatArray | float = 0.0,
        body: bool = False,
    ) -> None:
        """Adds a part: Beer-Lambert, so densities add where parts lie on each other; the upper part's colour hides the lower's."""
        rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
        if not rows.size:
            return
        # Most parts are small on a wide canvas: touch their own box only.
        box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
        part = cover[box]
        c = part[..., None]
        colour, dense, high = (
            _boxed(np.asarray(a, np.float32), cover.shape, box) for a in (albedo, density, height_mm)
        )
        self.density[box] += c * dense
        self.albedo[box] += c * (colour - self.albedo[box])
        np.maximum(self.cover[box], part, out=self.cover[box])
        if body:
            np.maximum(self.body[box], part, out=self.body[box])
        np.maximum(self.height_mm[box], part * high, out=self.height_mm[box])

    def shrink(self, a: FloatArray) -> FloatArray:
        """Mean over each pixel's area."""
        h, w = a.shape[0] // self.fold, a.shape[1] // self.fold
        return np.asarray(cv2.resize(a, (w, h), interpolation=cv2.INTER_AREA), np.float32)

    def patch(
        self, *, length_mm: float, width_mm: float, curved: bool = False, form: str = "", gloss: float = 0.1
    ) -> Patch:
        """The finished thing at the picture's resolution."""
        cover = self.shrink(self.cover)
        colour = self.shrink(self.albedo) / np.maximum(cover, 1e-4)[..., None]
        return Patch(
            transmission=self.shrink(np.exp(-self.density)),
            reflectance=np.clip(colour, 0, 1.5).astype(np.float32),
            cover=cover,
            body=self.shrink(self.body),
            height_mm=self.shrink(self.height_mm),
            left_px=self.left_px,
            top_px=self.top_px,
            length_mm=length_mm,
            width_mm=width_mm,
            curved=curved,
            form=form,
            gloss=gloss,
        )


def open_canvas(
    px_per_mm: float, sub_px: tuple[float, float], box_mm: tuple[float, float, float, float], stout: float = 1.0
) -> Canvas:
    """A bare canvas over `box_mm` (x0, y0, x1, y1 from the body's origin) with a pixel to spare on each side."""
    fold = max(2, math.ceil(SAMPLES_PER_MM / px_per_mm))
    left, top = (math.floor(box_mm[i] * px_per_mm + sub_px[i]) - 2 for i in (0, 1))
    right, bottom = (math.ceil(box_mm[i + 2] * px_per_mm + sub_px[i]) + 3 for i in (0, 1))
    w, h = (right - left) * fold, (bottom - top) * fold
    xs = (left - 0.5 + (np.arange(w) + 0.5) / fold - sub_px[0]) / px_per_mm
    ys = (top - 0.5 + (np.arange(h) + 0.5) / fold - sub_px[1]) / px_per_mm
    x, y = np.meshgrid(xs.astype(np.float32), ys.astype(np.float32))
    return Canvas(
        px_per_mm,
        fold,
        left,
        top,
        x,
        y,
        stout,
        _zeros(h, w, 3),
        _zeros(h, w, 3),
        _zeros(h, w),
        _zeros(h, w),
        _zeros(h, w),
    )


def mottle(canvas: Canvas, rng: np.random.Generator, cell_mm: float) -> FloatArray:
    """A smooth random field over the canvas, mean about 0 and standard deviation about 1, with lumps of `cell_mm`."""
    h, w = canvas.x_mm.shape
    cell = max(cell_mm * canvas.per_mm, 1.0)
    gh, gw = max(math.ceil(h / cell) + 2, 3), max(math.ceil(w / cell) + 2, 3)
    coarse = rng.standard_normal((gh, gw), dtype=np.float32)
    return np.asarray(cv2.resize(coarse, (w, h), interpolation=cv2.INTER_CUBIC), np.float32)


@dataclass(frozen=True)
class Tube:
    """Where each sample lies in a body that follows a middle line: t 0..1 along, q -1..1 across, and how much it is covered."""

    t: FloatArray
    q: FloatArray
    cover: FloatArray

    @property
    def dome(self) -> FloatArray:
        """Relative thickness of a round body: 1 on the middle line, 0 at the rim."""
        return np.sqrt(np.clip(1 - self.q**2, 0, 1)).astype(np.float32)


def tube(canvas: Canvas, line_mm: FloatArray, left_mm: FloatArray, right_mm: FloatArray) -> Tube:
    """Lays curved coordinates along `line_mm` (n, 2); half widths left and right of it are given evenly from head to tail."""
    place = canvas.samples(line_mm)
    h, w = canvas.x_mm.shape
    cells = np.clip(np.rint(place).astype(int), 0, [w - 1, h - 1])
    marks = np.ones((h, w), np.uint8)
    marks[cells[:, 1], cells[:, 0]] = 0
    _, label = cv2.distanceTransformWithLabels(marks, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    nearest = np.zeros(int(label.max()) + 1, np.int32)
    nearest[label[cells[:, 1], cells[:, 0]]] = np.arange(len(place), dtype=np.int32)
    k = nearest[label]
    step = np.gradient(line_mm.astype(float), axis=0)
    along = np.hypot(step[:, 0], step[:, 1])
    tangent = (step / along[:, None]).astype(np.float32)
    arc = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line_mm.astype(float), axis=0).T))]).astype(np.float32)
    dx = canvas.x_mm - line_mm[k, 0].astype(np.float32)
    dy = canvas.y_mm - line_mm[k, 1].astype(np.float32)
    tx, ty = tangent[k, 0], tangent[k, 1]
    # The nearest marked sample is up to half a sample off; sliding along the tangent makes the coordinates exact to second order.
    t = (arc[k] + dx * tx + dy * ty) / arc[-1]
    v = dy * tx - dx * ty
    grid = np.linspace(0, 1, len(left_mm))
    half = np.where(v < 0, np.interp(t, grid, left_mm), np.interp(t, grid, right_mm)).astype(np.float32)
    half[(t < 0) | (t > 1)] = 0
    slope = np.gradient((left_mm + right_mm).astype(float) / 2, float(arc[-1]) / (len(left_mm) - 1))
    steep = np.sqrt(1 + np.interp(t, grid, slope) ** 2)
    cover = np.clip((half - np.abs(v)) * canvas.per_mm / steep + 0.5, 0, 1) * (half > 0)
    q = v / np.maximum(half, 1e-4)
    return Tube(t.astype(np.float32), np.clip(q, -1, 1).astype(np.float32), cover.astype(np.float32))


_FINER = 4


def _drawn_finer(canvas: Canvas, shapes_mm: list[NDArray[Any]], thick: int | None) -> FloatArray:
    """Lines (or, without a thickness, filled outlines) drawn on a four times finer grid and averaged: exact to 1/16 sample.

    The drawing library's own anti-aliasing leaves beads where the pieces of a thin line meet.
    """
    h, w = canvas.x_mm.shape
    cover = np.zeros((h, w), np.float32)
    points = [canvas.samples(shape) for shape in shapes_mm]
    if not points:
        return cover
    every = np.concatenate(points)
    pad = 2 + (thick or 0) / _FINER
    x0, y0 = (max(int(v), 0) for v in np.floor(every.min(axis=0) - pad))
    x1, y1 = (min(int(v), n) for v, n in zip(np.ceil(every.max(axis=0) + pad), (w, h), strict=True))
    if x1 <= x0 or y1 <= y0:
        return cover
    fine = np.zeros(((y1 - y0) * _FINER, (x1 - x0) * _FINER), np.uint8)
    for p in points:
        q = np.rint(((p - [x0, y0] + 0.5) * _FINER - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
        if thick is None:
            cv2.fillPoly(fine, [q], 255, cv2.LINE_8, 4)
        else:
            cv2.polylines(fine, [q], False, 255, thick, cv2.LINE_8, 4)
    mean = cv2.resize(fine, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    cover[y0:y1, x0:x1] = mean.astype(np.float32) / np.float32(255)
    return cover


def strokes(canvas: Canvas, lines_mm: list[NDArray[Any]], width_mm: float) -> FloatArray:
    """Coverage of thin lines, (n, m): also right for lines thinner than a sample, which then cover it in part."""
    wide = width_mm * canvas.per_mm * _FINER
    thick = max(1, round(wide))
    return _drawn_finer(canvas, lines_mm, thick) * np.float32(min(1.0, wide / thick))


def limbs_of(canvas: Canvas, lines_mm: list[NDArray[Any]], width_mm: float) -> FloatArray:
    """The same of legs and antennae, as stout as the canvas has them."""
    return strokes(canvas, lines_mm, width_mm * canvas.stout)


def disc(canvas: Canvas, x_mm: float, y_mm: float, radius_mm: float) -> FloatArray:
    """Coverage of a round dot."""
    d = np.hypot(canvas.x_mm - np.float32(x_mm), canvas.y_mm - np.float32(y_mm))
    return np.asarray(np.clip((radius_mm - d) * canvas.per_mm + 0.5, 0, 1), np.float32)


def polygon(canvas: Canvas, points_mm: NDArray[Any]) -> FloatArray:
    """Coverage of a filled outline (n, 2)."""
    return _drawn_finer(canvas, [points_mm], None)
