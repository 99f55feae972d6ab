"""Small sheets that things are painted on with translucent strokes, and the stamps they become in the picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Rng = np.random.Generator
Colour = tuple[float, float, float]
_BANK_PX = 1024
_WIDE_PX = 90.0
"""Sheets that reach further than this are painted half as finely: their strokes are broad."""


def mixed(one: Colour, other: Colour, share: float) -> Colour:
    """The colour at `share` 0..1 of the way from one to the other."""
    a, b, c = (p + (q - p) * share for p, q in zip(one, other, strict=True))
    return a, b, c


def toned(rng: Rng, colour: Colour, spread: float = 0.12) -> Colour:
    """A colour beside this one: lighter or darker by `spread`, and a little of another hue."""
    level = 1 + rng.normal(0, spread)
    a, b, c = (float(np.clip(v * level * (1 + rng.normal(0, spread * 0.35)), 0.01, 1.0)) for v in colour)
    return a, b, c


def picked(rng: Rng, colours: tuple[Colour, ...], spread: float = 0.12) -> Colour:
    """One of the colours, toned."""
    return toned(rng, colours[int(rng.integers(len(colours)))], spread)


def field(rng: Rng, h: int, w: int, cell_y_px: float, cell_x_px: float) -> Floats:
    """Smooth noise (h, w), about -1..1, that changes over cells of the given size."""
    rows, columns = (max(int(np.ceil(n / c)) + 2, 2) for n, c in ((h, cell_y_px), (w, cell_x_px)))
    grid = rng.uniform(-1, 1, (rows, columns)).astype(np.float32)
    return np.asarray(cv2.resize(grid, (w, h), interpolation=cv2.INTER_CUBIC), np.float32)


def fractal(rng: Rng, h: int, w: int, cell_px: float, octaves: int, gain: float = 0.55, stretch: float = 1.0) -> Floats:
    """Noise of several scales (h, w), the coarsest over `cell_px`; `stretch` times as long along x as along y."""
    total = np.zeros((h, w), np.float32)
    for i in range(octaves):
        cell = max(cell_px / 2**i, 1.0)
        total += field(rng, h, w, cell, cell * stretch) * np.float32(gain**i)
    return total


def warped(rng: Rng, h: int, w: int, cell_px: float, octaves: int, by_px: float) -> Floats:
    """Fractal noise (h, w) pushed about by other noise, up to `by_px`: it flows as pigment does."""
    flat = fractal(rng, h, w, cell_px, octaves)
    ys, xs = np.mgrid[0:h, 0:w].astype(np.float32)
    xs += field(rng, h, w, cell_px, cell_px) * np.float32(by_px)
    ys += field(rng, h, w, cell_px, cell_px) * np.float32(by_px)
    return np.asarray(cv2.remap(flat, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT), np.float32)


@lru_cache(maxsize=1)
def _bank() -> Floats:
    """Paper grain (1024, 1024) that every wash takes a window of."""
    rng = np.random.default_rng(20)
    return fractal(rng, _BANK_PX, _BANK_PX, 40.0, 5, 0.7)


def grain(rng: Rng, h: int, w: int) -> Floats:
    """A window (h, w) of the paper's grain, about -1.5..1.5."""
    if h > _BANK_PX or w > _BANK_PX:
        return fractal(rng, h, w, 40.0, 5, 0.7)
    top, left = int(rng.integers(_BANK_PX - h + 1)), int(rng.integers(_BANK_PX - w + 1))
    return _bank()[top : top + h, left : left + w]


@dataclass(frozen=True)
class Stamp:
    """What is laid into the picture: top-left pixel, premultiplied `rgb` (h, w, 3), `alpha` and `body` (h, w) 0..1."""

    x0_px: int
    y0_px: int
    rgb: Floats
    alpha: Floats
    body: Floats


@dataclass(frozen=True)
class Shape:
    """A part of a sheet: its top-left fine pixel and `cover` (h, w) 0..1. A ribbon's shape also has `along` 0..1 from
    its first point to its last, and `across` -1..1 from one edge to the other; of other shapes both are empty."""

    x0: int
    y0: int
    cover: Floats
    along: Floats
    across: Floats

    def times(self, factor: Floats) -> Shape:
        """The shape with its cover multiplied."""
        return Shape(self.x0, self.y0, self.cover * factor, self.along, self.across)


_NONE = np.zeros((0, 0), np.float32)


@dataclass(frozen=True)
class Sheet:
    """A blank window of the picture at `fine` times its pixels; arrays are painted in place."""

    x0_px: int
    y0_px: int
    fine: int
    rgb: Floats
    alpha: Floats
    body: Floats

    @staticmethod
    def blank(x_px: float, y_px: float, reach_px: float, fine: int = 0) -> Sheet:
        """A sheet round a point of the picture that reaches `reach_px` to every side; `fine` 0: as suits that reach."""
        fine = fine or (3 if reach_px < _WIDE_PX else 2)
        half = int(np.ceil(reach_px)) + 2
        side = (2 * half + 1) * fine
        x0, y0 = int(np.floor(x_px)) - half, int(np.floor(y_px)) - half
        flat = np.zeros((side, side), np.float32)
        return Sheet(x0, y0, fine, np.zeros((side, side, 3), np.float32), flat, flat.copy())

    def fine_px(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) of the picture as this sheet's fine pixels."""
        moved = points_px - np.array([self.x0_px, self.y0_px])
        return np.asarray((moved + 0.5) * self.fine - 0.5)

    def wash(
        self, rng: Rng, shape: Shape, colour: Colour | Floats, strength: float | Floats, edge: float = 0.0,
        uneven: float = 0.2, *, body: bool = False, soft: float = 0.0,
    ) -> None:  # fmt: skip
        """Paint a shape: `colour` (3,) or (h, w, 3), `strength` of the pigment 0..1, `edge` darker (over 0) or lighter
        (under 0) at the rim, `uneven` how much the pigment settles, `soft` blur in fine pixels; `body` adds to the body."""
        h, w = shape.cover.shape
        if h == 0 or w == 0:
            return
        cover = shape.cover
        if soft > 0:
            cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), soft), np.float32)
        here = slice(shape.y0, shape.y0 + h), slice(shape.x0, shape.x0 + w)
        if body:
            np.maximum(self.body[here], cover, out=self.body[here])
        settled = grain(rng, h, w)
        a = np.clip(cover * strength * (1 + uneven * settled), 0, 1).astype(np.float32)
        tint = np.broadcast_to(np.asarray(colour, np.float32), (h, w, 3)) * (1 - 0.45 * uneven * settled)[..., None]
        if edge:
            wide = 2 * int(max(min(h, w) * 0.14, 1.0)) + 1
            rim = cover * (1 - np.asarray(cv2.blur(cover, (wide, wide)), np.float32)) * 2
            tint = tint * (1 - edge * rim)[..., None]
            a = np.clip(a * (1 + abs(edge) * 0.8 * rim), 0, 1)
        a3 = a[..., None]
        self.rgb[here] += a3 * (np.clip(tint, 0, 1) - self.rgb[here])
        self.alpha[here] += a * (1 - self.alpha[here])

    def stamp(self) -> Stamp:
        """The sheet at the picture's pixels."""
        h, w = self.alpha.shape
        size = (w // self.fine, h // self.fine)

        def small(part: Floats) -> Floats:
            return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.float32)

        return Stamp(self.x0_px, self.y0_px, small(self.rgb), small(self.alpha), small(self.body))

    def _window(self, low: NDArray[np.float64], high: NDArray[np.float64]) -> tuple[int, int, int, int]:
        h, w = self.alpha.shape
        x0, y0 = (int(np.clip(np.floor(v), 0, n)) for v, n in zip(low, (w, h), strict=True))
        x1, y1 = (int(np.clip(np.ceil(v) + 1, 0, n)) for v, n in zip(high, (w, h), strict=True))
        return x0, y0, max(x1, x0), max(y1, y0)

    def ribbon(self, line: NDArray[np.float64], half: NDArray[np.float64]) -> Shape:
        """The shape of a stroke along `line` (n, 2) fine pixels that is `half` (n,) wide to each side."""
        reach = float(half.max()) + 2
        x0, y0, x1, y1 = self._window(line.min(axis=0) - reach, line.max(axis=0) + reach)
        if x1 <= x0 or y1 <= y0:
            return Shape(0, 0, _NONE, _NONE, _NONE)
        coarse = 2 if (x1 - x0) * (y1 - y0) > 40000 else 1
        xs = np.arange(x0, x1, coarse, dtype=np.float32)
        ys = np.arange(y0, y1, coarse, dtype=np.float32)
        points = line.astype(np.float32)
        steps = np.gradient(points, axis=0)
        pace = np.maximum(np.hypot(steps[:, 0], steps[:, 1]), 1e-3).astype(np.float32)
        tangent = steps / pace[:, None]
        square = (xs[None, :, None] - points[:, 0]) ** 2 + (ys[:, None, None] - points[:, 1]) ** 2
        near = square.argmin(axis=2)
        dx, dy = xs[None, :] - points[near, 0], ys[:, None] - points[near, 1]
        tx, ty = tangent[near, 0], tangent[near, 1]
        last = len(points) - 1
        along = ((near + (dx * tx + dy * ty) / pace[near]) / last).astype(np.float32)
        off = (dy * tx - dx * ty).astype(np.float32)
        if coarse > 1:
            size = (len(xs) * coarse, len(ys) * coarse)
            along = np.asarray(cv2.resize(along, size), np.float32)[: y1 - y0, : x1 - x0]
            off = np.asarray(cv2.resize(off, size), np.float32)[: y1 - y0, : x1 - x0]
        wide = np.interp(along, np.linspace(0, 1, len(half)), half).astype(np.float32)
        ends = np.minimum(along, 1 - along) * np.float32(pace.sum())
        cover = np.clip(np.minimum(wide - np.abs(off), ends) + 0.5, 0, 1).astype(np.float32)
        return Shape(x0, y0, cover, np.clip(along, 0, 1), np.clip(off / np.maximum(wide, 0.5), -1, 1))

    def lines(self, lines: list[NDArray[np.float64]], first: float, last: float) -> Shape:
        """Thin strokes along lines of fine pixels, `first` fine pixels wide at their beginnings and `last` at their ends."""
        if not lines:
            return Shape(0, 0, _NONE, _NONE, _NONE)
        every = np.concatenate(lines)
        reach = max(first, last) + 2
        x0, y0, x1, y1 = self._window(every.min(axis=0) - reach, every.max(axis=0) + reach)
        if x1 <= x0 or y1 <= y0:
            return Shape(0, 0, _NONE, _NONE, _NONE)
        drawn = np.zeros((y1 - y0, x1 - x0), np.uint8)
        for line in lines:
            dots = np.round((line - (x0, y0)) * 8).astype(np.int32)
            for i in range(len(dots) - 1):
                wide = first + (last - first) * i / max(len(dots) - 2, 1)
                ends = [(int(x), int(y)) for x, y in dots[i : i + 2]]
                cv2.line(drawn, ends[0], ends[1], 255, max(round(wide), 1), cv2.LINE_AA, 3)
        cover = drawn.astype(np.float32) * np.float32(min(1.0, (first + last) / 2 + 0.2) / 255)
        return Shape(x0, y0, cover, _NONE, _NONE)

    def polygon(self, outline: NDArray[np.float64]) -> Shape:
        """The inside of an outline (n, 2) of fine pixels."""
        x0, y0, x1, y1 = self._window(outline.min(axis=0) - 2, outline.max(axis=0) + 2)
        if x1 <= x0 or y1 <= y0:
            return Shape(0, 0, _NONE, _NONE, _NONE)
        drawn = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(drawn, [np.round((outline - (x0, y0)) * 8).astype(np.int32)], 255, cv2.LINE_AA, 3)
        return Shape(x0, y0, drawn.astype(np.float32) * np.float32(1 / 255), _NONE, _NONE)
