"""Small bits that lie about and are no insects: each sort a painter of its own, drawn with the same strokes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.washed.pose import Middle, Points, rounded
from vision.render.hands.washed.sheet import Colour, Rng, Sheet, Stamp, fractal, mixed, picked, toned

Painter = Callable[[Rng, float, float, float], Stamp]
"""(rng, x_px, y_px, px_per_mm) to a stamp."""

PLANT: tuple[Colour, ...] = (
    (0.36, 0.47, 0.18), (0.52, 0.6, 0.28), (0.24, 0.31, 0.13), (0.66, 0.64, 0.34), (0.5, 0.38, 0.2), (0.72, 0.7, 0.52),
)  # fmt: skip
EARTH: tuple[Colour, ...] = (
    (0.16, 0.12, 0.09), (0.32, 0.22, 0.14), (0.45, 0.35, 0.25), (0.08, 0.08, 0.08), (0.55, 0.32, 0.18), (0.38, 0.37, 0.36),
)  # fmt: skip
STRAW: tuple[Colour, ...] = ((0.8, 0.7, 0.46), (0.66, 0.52, 0.3), (0.88, 0.82, 0.64), (0.55, 0.44, 0.28))
PALE: tuple[Colour, ...] = ((0.92, 0.91, 0.86), (0.85, 0.85, 0.74), (0.96, 0.94, 0.9), (0.78, 0.8, 0.72))
LINT: tuple[Colour, ...] = (
    (0.2, 0.22, 0.3), (0.3, 0.4, 0.62), (0.62, 0.2, 0.2), (0.12, 0.12, 0.12), (0.85, 0.85, 0.85), (0.5, 0.5, 0.48),
)  # fmt: skip
_GLINT: Colour = (1.0, 1.0, 0.97)


def wavy(rng: Rng, turn: NDArray[Any], size: float, waves: tuple[int, ...]) -> NDArray[Any]:
    """Uneven radii about 1 for the angles `turn`, each of the waves `size` high."""
    parts = [rng.normal(0, size) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in waves]
    return np.asarray(1 + np.stack(parts).sum(axis=0))


def lumpy(rng: Rng, radius: float, rough: float, longer: float = 1.0, dots: int = 22) -> Points:
    """An uneven outline (dots, 2) about the origin; `longer` stretches it, at any angle."""
    turn = np.linspace(0, 2 * np.pi, dots, endpoint=False)
    r = np.ones(dots)
    for k in (1, 2, 3, 5, 8):
        r += rough * rng.normal(0, 1 / np.sqrt(k)) * np.cos(k * turn + rng.uniform(0, 6.3))
    r = np.clip(r, 0.25, 2.2) * radius
    x, y, a = r * np.cos(turn) * longer**0.5, r * np.sin(turn) / longer**0.5, rng.uniform(0, np.pi)
    return np.stack([x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a)], axis=1)


def turned_line(rng: Rng, length: float, bend: float, sway: float) -> Points:
    """A line (33, 2) about the origin at any angle."""
    points, a = Middle.bent(length, bend, sway).points, rng.uniform(0, 2 * np.pi)
    return np.asarray(points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]))


def placed(sheet: Sheet, points_px: Points, x_px: float, y_px: float) -> Points:
    """Points (n, 2) about the origin as fine pixels of a sheet, moved to a point of the picture."""
    return sheet.fine_px(points_px + np.array([x_px, y_px]))


def threads(rng: Rng, sheet: Sheet, roots: Points, reach_px: float, colour: Colour, wide_px: float) -> None:
    """Thin threads that stick out of a bit at the given fine pixels, away from the sheet's middle."""
    middle = np.array(sheet.alpha.shape[::-1]) / 2
    lines = []
    for root in roots:
        way = np.arctan2(*(root - middle)[::-1]) + rng.normal(0, 0.6)
        bow = rng.normal(0, 0.9)
        ways = way + np.linspace(0, bow, 6)
        steps = np.stack([np.cos(ways), np.sin(ways)], axis=1) * reach_px * sheet.fine * rng.uniform(0.4, 1) / 6
        lines.append(np.concatenate([root[None], root + np.cumsum(steps, axis=0)]))
    sheet.wash(rng, sheet.lines(lines, wide_px * sheet.fine, wide_px * 0.6 * sheet.fine), colour, 0.75)


def dust(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A grain of a pixel or three."""
    r = float(rng.uniform(0.03, 0.11)) * mm
    sheet = Sheet.blank(x, y, r * 2.5)
    shape = sheet.polygon(placed(sheet, lumpy(rng, r, 0.2, rng.uniform(1, 2.2), 10), x, y))
    sheet.wash(rng, shape, picked(rng, EARTH + PLANT + PALE, 0.2), float(rng.uniform(0.25, 0.95)))
    return sheet.stamp()


def grit(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A mineral chip with flat faces and a sparkle."""
    r = float(rng.uniform(0.1, 0.45)) * mm
    sheet = Sheet.blank(x, y, r * 2)
    outline = placed(sheet, lumpy(rng, r, 0.22, rng.uniform(1, 1.6), int(rng.integers(5, 9))), x, y)
    colour = picked(rng, (*EARTH, (0.7, 0.62, 0.5)), 0.2)
    sheet.wash(rng, sheet.polygon(outline), colour, float(rng.uniform(0.6, 1)), float(rng.uniform(-0.3, 0.6)), 0.3)
    centre = outline.mean(axis=0) + rng.normal(0, r * 0.3, 2)
    face = np.concatenate([outline[:3], centre[None]])
    sheet.wash(rng, sheet.polygon(face), mixed(colour, _GLINT, float(rng.uniform(0.1, 0.7))), 0.6)
    return sheet.stamp()


def starch(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A pale cloudy lump with soft rims."""
    r = float(rng.uniform(0.12, 0.7)) * mm
    sheet = Sheet.blank(x, y, r * 2.6)
    tone = toned(rng, (0.9, 0.88, 0.8), 0.07)
    for _ in range(int(rng.integers(1, 4))):
        part = lumpy(rng, r * rng.uniform(0.5, 1), 0.16) + rng.normal(0, r * 0.4, 2)
        shape = sheet.polygon(placed(sheet, part, x, y))
        sheet.wash(rng, shape, tone, float(rng.uniform(0.3, 0.75)), 0.25, 0.4, soft=0.12 * r * sheet.fine)
    return sheet.stamp()


def fibre(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A long thin curling hair or lint."""
    length = float(rng.uniform(1.0, 6.0)) * mm
    sheet = Sheet.blank(x, y, length * 0.55)
    line = turned_line(rng, length, rng.normal(0, 2.2), rng.normal(0, 1.2))
    wide = float(rng.uniform(0.4, 1.3)) * sheet.fine
    shape = sheet.lines([placed(sheet, line, x, y)], wide, wide * rng.uniform(0.5, 1))
    sheet.wash(rng, shape, picked(rng, LINT + STRAW, 0.15), float(rng.uniform(0.35, 0.9)), 0.0, 0.35)
    return sheet.stamp()


def sliver(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A narrow splinter of plant, about as long as thrips, with bristle marks along it."""
    length, wide = float(rng.uniform(0.5, 3.0)) * mm, float(rng.uniform(0.1, 0.4)) * mm
    sheet = Sheet.blank(x, y, length * 0.75 + 2)
    line = placed(sheet, turned_line(rng, length, rng.normal(0, 0.4), 0), x, y)
    ends = rounded(33, float(rng.uniform(1.6, 8))) * (1 + rng.normal(0, 0.08, 33))
    shape = sheet.ribbon(line, np.clip(ends, 0, 2) * wide / 2 * sheet.fine)
    colour = picked(rng, PLANT + STRAW, 0.18)
    marks = 1 + 0.16 * np.sin(shape.across * rng.uniform(5, 14) + rng.uniform(0, 6) + shape.along * rng.uniform(-3, 3))
    tint = (np.asarray(colour, np.float32) * marks[..., None]).astype(np.float32)
    sheet.wash(rng, shape, tint, float(rng.uniform(0.5, 0.97)), float(rng.uniform(-0.4, 0.6)), 0.3)
    if rng.random() < 0.4:
        threads(rng, sheet, line[rng.integers(0, 33, 3)], length * 0.2, colour, 0.5)
    return sheet.stamp()


def shred(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A torn piece of leaf with veins and a ragged, often darker rim."""
    r = float(rng.uniform(0.4, 2.0)) * mm
    sheet = Sheet.blank(x, y, r * 3)
    outline = placed(sheet, lumpy(rng, r, 0.2, rng.uniform(1, 3), 40), x, y)
    outline = outline + rng.normal(0, 0.05 * r * sheet.fine, outline.shape)
    shape, colour = sheet.polygon(outline), picked(rng, PLANT, 0.18)
    opaque = float(rng.uniform(0.4, 0.92))
    sheet.wash(rng, shape, colour, opaque, float(rng.uniform(-0.3, 0.6)), 0.35)
    h, w = shape.cover.shape
    blot = np.clip(fractal(rng, h, w, r * sheet.fine * 0.8, 3) * 1.4, 0, 1)
    sheet.wash(rng, shape.times(blot), picked(rng, PLANT + EARTH[:2], 0.2), 0.5, 0.0, 0.4)
    a, middle = rng.uniform(0, np.pi), outline.mean(axis=0)
    step, side = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    wide = r * sheet.fine
    veins = [np.stack([middle - step * wide * 0.8, middle + step * wide * 0.8])]
    for t in np.linspace(-0.6, 0.4, 4):
        root = middle + step * wide * t
        veins += [np.stack([root, root + (step * 0.5 + side * s * 0.5) * wide * 0.6]) for s in (-1, 1)]
    strokes = sheet.lines(veins, 1.5, 1.0)
    box = np.zeros(sheet.alpha.shape, np.float32)
    box[shape.y0 : shape.y0 + h, shape.x0 : shape.x0 + w] = shape.cover
    sh, sw = strokes.cover.shape
    inside = box[strokes.y0 : strokes.y0 + sh, strokes.x0 : strokes.x0 + sw]
    sheet.wash(rng, strokes.times(inside), mixed(colour, (0.9, 0.9, 0.6), float(rng.uniform(-0.4, 0.6))), 0.5)
    if rng.random() < 0.35:
        threads(rng, sheet, outline[rng.integers(0, 40, 4)], r * 0.8, colour, 0.6)
    return sheet.stamp()


def bubble(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A ring of dark and light with a bright window in it."""
    r = float(rng.uniform(0.12, 0.8)) * mm
    sheet = Sheet.blank(x, y, r * 1.4 + 1)
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    outline = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ring = sheet.polygon(placed(sheet, outline * r, x, y))
    inner = sheet.polygon(placed(sheet, outline * r * rng.uniform(0.7, 0.9), x, y))
    left = ring.cover.copy()
    top, start = inner.y0 - ring.y0, inner.x0 - ring.x0
    left[top : top + inner.cover.shape[0], start : start + inner.cover.shape[1]] *= 1 - inner.cover
    sheet.wash(rng, ring.times(left), toned(rng, (0.25, 0.26, 0.27), 0.3), float(rng.uniform(0.25, 0.75)), soft=1.0)
    sheet.wash(rng, inner, (1.0, 1.0, 1.0), float(rng.uniform(0.03, 0.25)), 0.0, 0.1)
    a = rng.uniform(0, 6.3)
    spot = lumpy(rng, r * 0.2, 0.05, 1.6, 12) + np.array([np.cos(a), np.sin(a)]) * r * 0.5
    sheet.wash(rng, sheet.polygon(placed(sheet, spot, x, y)), _GLINT, float(rng.uniform(0.5, 1)), soft=0.7)
    return sheet.stamp()


def drop(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A lying water drop: shaded at one side, bright at the other, with a glint."""
    r = float(rng.uniform(0.3, 1.6)) * mm
    sheet = Sheet.blank(x, y, r * 1.9)
    shape = sheet.polygon(placed(sheet, lumpy(rng, r, 0.08, rng.uniform(1, 1.5), 36), x, y))
    h, w = shape.cover.shape
    a = rng.uniform(0, 6.3)
    slope = np.cos(a) * np.linspace(-1, 1, w)[None, :] + np.sin(a) * np.linspace(-1, 1, h)[:, None]
    dark, light = np.clip(slope, 0, 1).astype(np.float32), np.clip(-slope, 0, 1).astype(np.float32)
    sheet.wash(rng, shape.times(dark), (0.3, 0.32, 0.33), float(rng.uniform(0.1, 0.4)), 0.3, 0.1)
    sheet.wash(rng, shape.times(light), (1.0, 1.0, 1.0), float(rng.uniform(0.1, 0.5)), 0.0, 0.1)
    rim = shape.times(np.clip(1.6 - 1.6 * _inner(shape.cover), 0, 1))
    sheet.wash(rng, rim, (0.28, 0.28, 0.28), float(rng.uniform(0.1, 0.5)))
    spot = lumpy(rng, r * 0.16, 0.08, 1.5, 12) + np.array([np.cos(a), np.sin(a)]) * r * 0.45
    sheet.wash(rng, sheet.polygon(placed(sheet, spot, x, y)), _GLINT, 0.9, soft=0.8)
    return sheet.stamp()


def _inner(cover: NDArray[np.float32]) -> NDArray[np.float32]:
    """How deep inside a cover a pixel lies, 0..1, within a fourteenth of its size."""
    return np.asarray(cv2.GaussianBlur(cover, (0, 0), max(min(cover.shape) / 14, 1.0)), np.float32)
