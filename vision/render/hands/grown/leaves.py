"""Cut scallion leaves on the lit panel: layers that let light through, with veins, cut ends, spots and pale feeding scars."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands.grown.camera import panel_light, top_light
from vision.render.hands.grown.fields import Rng, blurred, colour, levels, near, noise, ramp
from vision.render.hands.grown.ground import Ground, Veil
from vision.types import FloatArray


@dataclass(frozen=True)
class _Strip:
    """One leaf in a window of the picture: `keep`, `add` (n, m, 3), `cover` (n, m) 0..1."""

    rows: slice
    columns: slice
    keep: FloatArray
    add: FloatArray
    cover: FloatArray


@dataclass(frozen=True)
class _Look:
    """What all the leaves of one scene share: `pale` and `green` (3,) what one layer lets through, and their light from above."""

    pale: FloatArray
    green: FloatArray
    top: FloatArray
    gloss: float


def _strip(
    rng: Rng, h: int, w: int, middle: tuple[float, float], way: float, length: float, wide: float, look: _Look
) -> _Strip | None:
    """One leaf through `middle`, lying along `way`."""
    c, s = float(np.cos(way)), float(np.sin(way))
    half_x, half_y = abs(c) * length / 2 + abs(s) * wide + 16, abs(s) * length / 2 + abs(c) * wide + 16
    left, right = max(int(middle[0] - half_x), 0), min(int(middle[0] + half_x) + 1, w)
    top, bottom = max(int(middle[1] - half_y), 0), min(int(middle[1] + half_y) + 1, h)
    if right - left < 8 or bottom - top < 8:
        return None
    y, x = np.mgrid[top:bottom, left:right].astype(np.float32)
    x, y = x - np.float32(middle[0]), y - np.float32(middle[1])
    u = x * np.float32(c) + y * np.float32(s)
    v = y * np.float32(c) - x * np.float32(s)
    v -= np.float32(rng.normal(0, 0.03) * 4 / length) * u**2
    v += np.float32(rng.uniform(0, 4)) * np.sin(u / np.float32(rng.uniform(90, 260)))
    half = np.float32(wide / 2) * (1 + np.float32(rng.normal(0, 0.1) * 2 / length) * u)
    # Most of the window is not leaf: what follows is worked out only where the leaf is.
    on = (np.abs(v) < half + 1) & (np.abs(u) < np.float32(length / 2 + wide))
    if on.sum() < 50:
        return None
    u, v, half = u[on], v[on], half[on]
    place, side = np.clip(u / np.float32(length) + 0.5, 0, 1), v / half
    # A grain table, fine across and long along the leaf, gives cells and uneven veins.
    table_h, table_w = 256, max(int(length), 64)
    cells = noise(rng, table_h, table_w, 1.6, 45.0) + 0.7 * noise(rng, table_h, table_w, 4.0, 160.0)
    cell_row = ((np.clip(side, -1, 1) * 0.5 + 0.5) * (table_h - 1)).astype(np.int32)
    cell_column = (place * (table_w - 1)).astype(np.int32)
    fine = cells[cell_row, cell_column]
    scars = ramp(noise(rng, table_h, table_w, 9.0, 14.0), rng.uniform(2.0, 3.4), 3.8)
    vein = np.abs(np.sin(np.float32(np.pi * rng.uniform(5, 16) * 0.5) * side + 0.3 * fine)) ** np.float32(
        rng.uniform(6, 18)
    )
    cut_ends = (
        np.float32(length / 2)
        - np.abs(u)
        + np.float32(rng.uniform(0.3, 1.5)) * fine
        + np.float32(rng.normal(0, 0.25)) * v
    )
    edge = (1 - np.abs(side)) * half
    cover = ramp(edge, -0.8, 0.8) * ramp(cut_ends, -0.8, 0.8)
    lean = rng.uniform(-0.35, 1.35)
    greenness = ramp(place + np.float32(0.04) * fine, lean - 0.35, lean + 0.35)
    if rng.random() < 0.5:
        greenness = 1 - greenness
    through = look.pale + (look.green - look.pale) * greenness[..., None]
    rolled = rng.random() < 0.35
    thick = np.float32(rng.uniform(0.6, 1.2)) * (1 + 0.1 * fine + np.float32(rng.uniform(0.1, 0.5)) * vein)
    if rolled:
        # A tube is two layers deep, and deeper to look through at its edges.
        thick = thick * np.minimum(1.5 / np.sqrt(np.maximum(1.02 - side**2, 0.04)), 3.2)
    thick = thick * (1 + 0.25 * np.exp(-((edge / 3) ** 2)) + 0.5 * np.exp(-((cut_ends / 4) ** 2)))
    thick = thick * (1 - 0.6 * scars[cell_row, cell_column])
    kept = np.exp(np.log(np.clip(through, 0.02, 0.98)) * (thick * cover)[..., None])
    tilt = side if rolled else side * np.float32(0.3)
    gleam = (
        np.exp(-(((tilt - np.float32(rng.uniform(-0.6, 0.6))) / 0.12) ** 2))
        * ramp(fine, -0.5, 1.5)
        * np.float32(look.gloss)
    )
    own = (through * 0.75 + 0.12) * (0.8 - 0.25 * tilt[..., None] ** 2 + 0.06 * fine[..., None])
    sent = (own * (1 - levels(kept)[:, None]) + gleam[..., None]) * cover[..., None] * look.top
    size = bottom - top, right - left
    keep, add, covered = np.ones((*size, 3), np.float32), np.zeros((*size, 3), np.float32), np.zeros(size, np.float32)
    keep[on], add[on], covered[on] = kept, sent, cover
    return _Strip(slice(top, bottom), slice(left, right), keep, add, covered)


def _laid(light: FloatArray, strip: _Strip) -> None:
    here = strip.rows, strip.columns
    shade = 1 - 0.16 * blurred(strip.cover, 5.0) * (1 - strip.cover)
    light[here] = light[here] * shade[..., None] * strip.keep + strip.add


def scallion(rng: Rng, h: int, w: int) -> Ground:
    """Several layers of cut leaf over the panel; the last of them lies over some of the insects."""
    light = panel_light(rng, h, w)
    light *= (1 + 0.004 * noise(rng, h, w, 2.5))[..., None]
    top = top_light(rng, 0.15, 0.5)
    look = _Look(
        near(rng, colour(0.8, 0.84, 0.66), 0.05),
        near(rng, colour(0.22, 0.42, 0.1) if rng.random() < 0.7 else colour(0.4, 0.5, 0.18), 0.2),
        top,
        float(rng.uniform(0, 0.6)),
    )
    produce, relief = np.zeros((h, w), bool), np.zeros((h, w), np.float32)
    way, spread, fill = rng.uniform(0, np.pi), rng.uniform(0.05, 0.5), rng.uniform(0.45, 1.1)
    covered, last, big = 0.0, None, max(h, w)
    for _ in range(40):
        wide = float(np.clip(rng.uniform(90, 280), 40, 0.6 * h))
        length = float(rng.uniform(0.4, 1.5) * big)
        place = rng.uniform(0, w), rng.uniform(0, h)
        strip = _strip(rng, h, w, place, way + rng.normal(0, spread), length, wide, look)
        if strip is None:
            continue
        if last is not None:
            _laid(light, last)
            produce[last.rows, last.columns] |= last.cover > 0.5
            relief[last.rows, last.columns] += 12 * last.cover
        last = strip
        covered += float(strip.cover.sum()) / (h * w)
        if covered > fill:
            break
    if last is None:
        return Ground(light, relief, relief * 0 + 1, top, produce, "panel", None, (look.green, look.pale))
    keep, add, hides = np.ones((h, w, 3), np.float32), np.zeros((h, w, 3), np.float32), np.zeros((h, w), np.float32)
    here = last.rows, last.columns
    keep[here], add[here], hides[here] = last.keep, last.add, last.cover
    produce[here] |= last.cover > 0.5
    tints = (look.green, look.pale, near(rng, colour(0.5, 0.42, 0.2), 0.1))
    return Ground(
        light, np.zeros((h, w), np.float32), relief * 0 + 1, top, produce, "panel", Veil(keep, add, hides), tints
    )
