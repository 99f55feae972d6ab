"""What comes off plants and soil and looks like an animal until one looks twice: slivers, stalked bits, crumbs, husks, rootlets, curls.

Sizes, colours and how often: common practice, no source. They share no outline with any body, but lengths, colours and densities, so that
these alone tell nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.render.canvas import Canvas, disc, mottle, open_canvas, polygon, strokes, tube
from vision.render.outlines import bend, box_round, half_width, middle_line, rough_ring, straightness
from vision.render.patch import BodyFamily, BodyWish, Patch
from vision.render.tissue import Tissue, between, pick, tissue
from vision.types import FloatArray

_COLOURS: Mapping[str, float] = {
    "green": 0.3, "olive": 0.2, "brown": 0.18, "tan": 0.14, "yellow": 0.06, "grey": 0.06, "black": 0.06
}  # fmt: skip
_COOKED: Mapping[str, float] = {"olive": 0.35, "brown": 0.3, "tan": 0.2, "green": 0.08, "grey": 0.03, "black": 0.04}
_ENDS = {
    "pointed": ((0, 0.1, 0.3, 0.55, 0.8, 0.93, 1), (0, 0.42, 0.85, 1.0, 0.72, 0.35, 0)),
    "blunt": ((0, 0.02, 0.1, 0.5, 0.9, 0.98, 1), (0.0, 0.75, 0.92, 1.0, 0.9, 0.7, 0)),
    "torn": ((0, 0.01, 0.1, 0.4, 0.75, 0.95, 1), (0.0, 0.8, 0.95, 1.0, 0.66, 0.25, 0)),
}
"""Outlines of slivers: pointed at both ends, cut at both, cut at one."""


def _angle(wish: BodyWish, rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 360)) if wish.angle_deg is None else wish.angle_deg


def _length(wish: BodyWish, rng: np.random.Generator, low: float, high: float) -> float:
    return between(rng, low, high) if wish.length_mm is None else wish.length_mm


def _stuff(wish: BodyWish, rng: np.random.Generator, low: float, high: float) -> Tissue:
    return tissue(pick(rng, dict(_COOKED if wish.heated else _COLOURS)), between(rng, low, high), rng, 0.2)


def draw_sliver(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A splinter of stalk, a sepal's tip, a bit of awn: slim as a thrips, with fibres along it and now and then a thread hanging on."""
    length = _length(wish, rng, 0.35, 4.0)
    width = length / between(rng, 2.6, 12)
    style = pick(rng, {"straight": 0.7, "C": 0.2, "J": 0.1})
    line = middle_line(length, bend(rng, style, rng.uniform(0.1, 1.2)), _angle(wish, rng))
    left, right = half_width(_ENDS[pick(rng, {"pointed": 0.5, "blunt": 0.25, "torn": 0.25})], width, rng, 0.07)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * 0.35 + width))
    stuff = _stuff(wish, rng, 0.08, 0.75)
    if rng.random() < 0.35:
        _threads(canvas, rng, line, length, stuff, int(rng.integers(1, 3)), width)
    body = tube(canvas, line, left, right)
    flat = rng.uniform(0.2, 1.0)
    thick = flat * body.dome + (1 - flat) + 0.12 * mottle(canvas, rng, max(width, 0.08))
    # Fibres run along it, where an animal is ringed across.
    thick = thick + rng.uniform(0, 0.35) * np.cos(np.pi * rng.integers(2, 7) * body.q + rng.uniform(0, 6))
    _lay(canvas, body.cover, thick, stuff, 0.4 * width)
    return canvas.patch(length_mm=length, width_mm=float(np.max(left + right)), curved=straightness(line) < 0.9)


def _threads(
    canvas: Canvas, rng: np.random.Generator, line: FloatArray, length: float, stuff: Tissue, count: int, width: float
) -> None:
    lines = []
    for _ in range(count):
        k = int(rng.choice([0, len(line) - 1, int(rng.integers(len(line)))]))
        a, reach = rng.uniform(0, 2 * np.pi), length * rng.uniform(0.15, 0.45)
        bow = rng.uniform(-0.8, 0.8)
        steps = np.linspace(0, 1, 12)
        way = np.stack([np.cos(a + bow * steps), np.sin(a + bow * steps)], 1) * reach / 12
        lines.append(line[k] + np.cumsum(way, axis=0))
    canvas.lay(strokes(canvas, lines, max(0.015, width * rng.uniform(0.1, 0.35))), stuff.density * 0.6, stuff.albedo)


def _lay(canvas: Canvas, cover: FloatArray, thick: FloatArray, stuff: Tissue, high_mm: float) -> None:
    tone = np.clip(0.75 + 0.25 * thick, 0.3, 2)[..., None]
    thick = np.clip(thick, 0.1, None).astype(np.float32)
    canvas.lay(cover, stuff.over(thick), np.clip(stuff.albedo * tone, 0.01, 0.9), height_mm=high_mm, body=True)


def draw_stalked(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A lump with one to four stalks: a stamen, a piece of calyx, a bud torn off with its neighbours' stubs. An aphid's legs come in
    pairs and thin; these come anyhow and thick."""
    length = _length(wish, rng, 0.4, 2.6)
    stretch = rng.uniform(1.0, 2.2)
    ring = rough_ring(rng, 100, rng.uniform(0.03, 0.2), stretch, _angle(wish, rng)) * length / 2 / stretch**0.5
    reach = float(np.abs(ring).max()) * 2.2
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    stuff = _stuff(wish, rng, 0.03, 0.5)
    stalks = []
    for _ in range(int(rng.integers(1, 5))):
        root = ring[int(rng.integers(len(ring)))]
        out = root / max(float(np.hypot(*root)), 1e-6)
        bow = np.array([-out[1], out[0]]) * rng.uniform(-0.5, 0.5)
        far = length * rng.uniform(0.2, 0.9)
        stalks.append(np.stack([root * 0.8, root + out * far * 0.5 + bow * far * 0.2, root + (out + bow) * far]))
    canvas.lay(strokes(canvas, stalks, length * rng.uniform(0.04, 0.16)), stuff.density * 0.7, stuff.albedo * 1.1)
    thick = 1 + 0.3 * mottle(canvas, rng, length * 0.2)
    _lay(canvas, polygon(canvas, ring), thick, stuff, 0.4 * length)
    return canvas.patch(length_mm=length, width_mm=length / stretch)


def draw_crumb(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A crumb of soil or rotten wood: ragged, full of holes, dark and light side by side."""
    size = _length(wish, rng, 0.3, 3.0)
    stretch = rng.uniform(1.0, 2.4)
    ring = rough_ring(rng, 160, rng.uniform(0.15, 0.4), stretch, _angle(wish, rng)) * size / 2 / stretch**0.5
    reach = float(np.abs(ring).max()) + 0.05
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    cover = polygon(canvas, ring)
    holes = mottle(canvas, rng, size * rng.uniform(0.06, 0.16))
    cover = cover * np.clip((rng.uniform(0.6, 1.6) - holes) * 4, 0, 1).astype(np.float32)
    stuff = tissue(pick(rng, {"brown": 0.5, "black": 0.3, "tan": 0.2}), between(rng, 0.01, 0.3), rng, 0.2)
    _lay(canvas, cover, 1 + 0.6 * mottle(canvas, rng, size * 0.12), stuff, 0.35 * size)
    return canvas.patch(length_mm=size, width_mm=size / stretch)


def draw_husk(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A thin scale, seed skin or petal: an oval as of an animal, but of one layer, with veins and a dark rim, sometimes rolled up."""
    length = _length(wish, rng, 0.5, 4.0)
    width = length / rng.uniform(1.3, 3.2)
    line = middle_line(length, bend(rng, "straight", 0.5), _angle(wish, rng))
    left, right = half_width(_ENDS[pick(rng, {"pointed": 0.6, "blunt": 0.4})], width, rng, 0.05)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, width))
    body = tube(canvas, line, left, right)
    stuff = tissue(
        pick(rng, {"tan": 0.35, "white": 0.25, "yellow": 0.15, "brown": 0.15, "green": 0.1}),
        between(rng, 0.4, 0.9),
        rng,
    )
    rim = np.exp(-(((np.abs(body.q) - 0.93) / 0.08) ** 2)) * rng.uniform(0, 1.5)
    veins = rng.uniform(0, 0.5) * np.clip(np.cos(np.pi * rng.integers(3, 9) * body.q), 0, 1)
    rolled = rng.uniform(0.5, 2.0) * (body.q > rng.uniform(0.2, 0.8)) if rng.random() < 0.4 else 0.0
    thick = 0.8 + rim + veins + rolled + 0.2 * mottle(canvas, rng, width * 0.3)
    _lay(canvas, body.cover, thick, stuff, 0.1 * width)
    return canvas.patch(length_mm=length, width_mm=float(np.max(left + right)), curved=straightness(line) < 0.9)


def draw_rootlet(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A bit of root or tendril: long, smooth, as thick at one end as at the other, with side roots and no head, no rings, no feet."""
    length = _length(wish, rng, 1.0, 12.0)
    width = between(rng, 0.05, 0.5)
    style = pick(rng, {"C": 0.4, "S": 0.25, "J": 0.2, "straight": 0.15})
    line = middle_line(length, bend(rng, style, rng.uniform(0.3, 3.5)), _angle(wish, rng))
    taper = rng.uniform(0.2, 1.0)
    left, right = half_width(((0, 0.02, 0.5, 0.98, 1), (0, 1.0, (1 + taper) / 2, taper, 0)), width, rng, 0.05)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * 0.2 + width))
    stuff = _stuff(wish, rng, 0.08, 0.8)
    if rng.random() < 0.5:
        _threads(canvas, rng, line, min(length, 3.0), stuff, int(rng.integers(1, 6)), width)
    body = tube(canvas, line, left, right)
    core = rng.uniform(0, 0.8) * np.exp(-((body.q / 0.3) ** 2))
    _lay(canvas, body.cover, body.dome + core + 0.1 * mottle(canvas, rng, 0.2), stuff, 0.8 * width)
    return canvas.patch(length_mm=length, width_mm=float(np.max(left + right)), curved=straightness(line) < 0.9)


def draw_starch(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A soft pale clot of plant juice or wax: as faint as a larva, with no edge and no ends."""
    size = _length(wish, rng, 0.25, 1.6)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-size, -size, size, size))
    cover = np.zeros_like(canvas.x_mm)
    for _ in range(int(rng.integers(1, 5))):
        x, y = rng.normal(0, size * 0.18, 2)
        cover = np.maximum(cover, disc(canvas, x, y, size * rng.uniform(0.12, 0.3)))
    soft = np.clip(0.7 + 0.5 * mottle(canvas, rng, size * 0.2), 0, 1.5)
    stuff = tissue(pick(rng, {"white": 0.6, "yellow": 0.2, "grey": 0.2}), between(rng, 0.6, 0.95), rng)
    _lay(canvas, cover, soft, stuff, 0.05 * size)
    return canvas.patch(length_mm=size, width_mm=size * 0.8)


DRAWN_BY: dict[str, BodyFamily] = {
    "sliver": draw_sliver,
    "stalked": draw_stalked,
    "crumb": draw_crumb,
    "husk": draw_husk,
    "rootlet": draw_rootlet,
    "starch": draw_starch,
}
"""In the order of their random streams: new ones come last."""
