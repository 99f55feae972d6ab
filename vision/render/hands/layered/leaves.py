"""Slit scallion leaves laid flat: sheets with parallel veins, tears and wax, from white to green. Looks: common practice, no source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.layered.clutter import how_many, scatter
from vision.render.hands.layered.colour import Rng, one_of, srgb, varied
from vision.render.hands.layered.curves import profile, tube
from vision.render.hands.layered.laying import half_diagonal_px, lay, moved, px
from vision.render.hands.layered.noise import clouds, grain
from vision.render.hands.layered.sheet import Light, Pose, Window
from vision.types import FloatArray

_CLUTTER = {
    "drop": 3.5, "bubble": 1.5, "fibre": 2, "grit": 2, "soil": 1.3, "plant": 1.5, "film": 1.4, "root": 1, "stalk": 0.4,
    "hair": 0.7, "seed": 0.3,
}  # fmt: skip
_GREENS, _PALE = (srgb(112, 156, 66), srgb(92, 138, 64), srgb(136, 170, 84), srgb(84, 124, 74)), srgb(224, 226, 190)
_WAX, _SCRAPES = srgb(222, 228, 222), (srgb(238, 240, 225), srgb(90, 100, 50), srgb(150, 130, 80))
_STANDARD_HALF_PX = 1250.0
"""Half the diagonal of a standard picture, for which lengths and gaps of leaves are given."""
_NARROWEST_SHARE = 0.5
_SHADOW_FAR_PX = 9
_FINE = 2
"""Samples of a vein profile to a pixel."""


@dataclass(frozen=True)
class _Leaf:
    """A leaf where it lies: `held` (h, w) of the window `here` picks the pixels that the (n,) arrays describe."""

    here: Window
    held: NDArray[np.bool_]
    along: FloatArray
    aside: FloatArray
    half_length: float
    half_width: FloatArray
    cover: FloatArray
    rim: FloatArray


def lay_leaves(rng: Rng, scene: FloatArray, light: Light) -> FloatArray:
    """Lays leaves and what lies on them; gives how much of each pixel (h, w) they cover."""
    cover = np.zeros(scene.shape[:2], np.float32)
    way = rng.uniform(0, np.pi)
    size = half_diagonal_px(scene) / _STANDARD_HALF_PX
    count = max(2, round(int(rng.integers(5, 9)) * size))
    off = (np.linspace(-1, 1, count) * 700 + rng.normal(0, 70, count)) * size
    for i in rng.permutation(count):
        turned = way + rng.normal(0, 0.13) + (rng.random() < 0.12) * rng.normal(0, 0.7)
        leaf = _leaf(rng, scene.shape, turned, float(off[i]), max(size, _NARROWEST_SHARE))
        if leaf is not None:
            veins = _veins(rng, leaf)
            if light.below:
                _lit_through(rng, scene, leaf, veins)
            else:
                _lit_from_above(scene, leaf, veins, light)
            sub = cover[leaf.here]
            sub[leaf.held] = np.maximum(sub[leaf.held], leaf.cover)
    bloom = np.clip(clouds(rng, scene.shape, 260, 4, 0.6) - rng.uniform(0.3, 1.5), 0, 1) * np.float32(0.16)
    scene += bloom[..., None] * (_WAX - scene)
    for _ in range(how_many(rng, scene, 6, 30)):
        _scrape(rng, scene, light, way)
    scatter(rng, scene, light, how_many(rng, scene, 35, 80), _CLUTTER, 0.12)
    return cover


def _leaf(rng: Rng, shape: tuple[int, ...], way: float, off: float, size: float) -> _Leaf | None:
    """The outline of one leaf, its middle `off` px beside the picture's; None where it misses the picture."""
    half_width, half = px(rng.uniform(5, 11)), rng.uniform(1000, 1500) * size
    cos, sin, shift, bend = math.cos(way), math.sin(way), rng.normal(0, 260) * size, rng.normal(0, 6e-5)
    middle = np.array([shape[1] / 2 + cos * shift - sin * off, shape[0] / 2 + sin * shift + cos * off])
    reach = np.abs([[cos, sin], [sin, cos]]) @ [half, half_width + 140]
    x0, y0 = np.clip(middle - reach, 0, shape[1::-1]).astype(int)
    x1, y1 = np.clip(middle + reach, 0, shape[1::-1]).astype(int)
    if x1 - x0 < 20 or y1 - y0 < 20:
        return None
    y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    x, y = x - np.float32(middle[0]), y - np.float32(middle[1])
    u = np.float32(cos) * x + np.float32(sin) * y
    v = np.float32(cos) * y - np.float32(sin) * x + np.float32(bend) * u * u
    held = (np.abs(v) < half_width + 16) & (np.abs(u) < half)
    u, v = u[held], v[held]
    if u.size < 2000:
        return None
    edge, wander = _edges(rng, half, half_width)
    at = np.clip(u + half, 0, 2 * half - 1).astype(np.int32)
    inwards = edge[at] - np.abs(v)
    cover = np.clip(inwards / 1.2 + 0.5, 0, 1) * np.clip((half - np.abs(u)) / 2, 0, 1)
    rim = np.exp(-((inwards / 4) ** 2))
    for _ in range(rng.integers(0, 5)):
        cover, rim = _torn(rng, u, v, half, half_width, wander[at], cover, rim)
    here = (slice(int(y0), int(y1)), slice(int(x0), int(x1)))
    return _Leaf(here, held, u, v, half, edge[at], np.asarray(cover, np.float32), np.asarray(rim, np.float32))


def _edges(rng: Rng, half: float, half_width: float) -> tuple[FloatArray, FloatArray]:
    """Half width at each pixel along a leaf, and how far its edge wanders there."""
    count = int(2 * half) + 2
    ragged = np.cumsum(rng.normal(0, 0.25, count))
    ragged -= np.linspace(ragged[0], ragged[-1], count)
    knots = np.arange(0, count + 40, 40)
    wander = np.clip(ragged + 3 * np.interp(np.arange(count), knots, rng.normal(0, 0.6, len(knots))), -14, 14)
    from_end = np.minimum(np.arange(count), np.arange(count)[::-1])
    taper = np.clip(from_end / rng.uniform(60, 300), 0, 1) ** 0.5
    return (half_width * (0.25 + 0.75 * taper) + wander).astype(np.float32), wander.astype(np.float32)


def _torn(
    rng: Rng, u: FloatArray, v: FloatArray, half: float, half_width: float, wander: FloatArray, cover: Any, rim: Any
) -> tuple[Any, Any]:
    """Cover and rim with one more tear along the veins."""
    at_u, at_v = rng.uniform(-half, half), rng.uniform(-1, 1) * half_width
    length, width = rng.uniform(30, 240), rng.uniform(3, 22)
    open_by = 1 - ((u - np.float32(at_u)) / np.float32(length)) ** 2
    waves = 0.88 + 0.12 * np.sin(u / np.float32(rng.uniform(9, 25)))
    off = np.abs(v - np.float32(at_v) + 3 * np.sin(u / 37 + np.float32(at_v)))
    off = off - np.float32(width) * np.clip(open_by, 0, 1) * waves - wander * np.float32(0.4)
    near = open_by > 0
    cover = cover * np.where(near, np.clip(0.5 + off / 1.3, 0, 1), 1)
    return cover, np.maximum(rim, np.where(near, np.exp(-((off / 3) ** 2)), 0))


@dataclass(frozen=True)
class _Veins:
    """At each pixel of a leaf, (n,): veins, fine lines between them, streaks of cells; `colour` (n, 3) from pale to green."""

    vein: FloatArray
    fine: FloatArray
    streak: FloatArray
    green: FloatArray
    colour: FloatArray


def _veins(rng: Rng, leaf: _Leaf) -> _Veins:
    widest = float(np.abs(leaf.aside).max()) + 16
    count = int(2 * widest) * _FINE
    apart = px(rng.uniform(0.35, 0.9)) * _FINE
    line, x = np.zeros(count, np.float32), np.arange(count)
    for place in np.arange(0, count, apart) + rng.normal(0, 0.12 * apart, len(np.arange(0, count, apart))):
        near = slice(max(0, int(place - 14)), max(0, int(place + 15)))
        line[near] += rng.uniform(0.4, 1.2) * np.exp(-(((x[near] - place) / rng.uniform(2.2, 4.2)) ** 2))
    fine = cv2.GaussianBlur(rng.standard_normal((1, count), dtype=np.float32), (0, 0), 1.5).ravel()
    at = np.clip((leaf.aside + widest) * _FINE, 0, count - 1).astype(np.int32)
    cells = grain(rng, 512, 512, 32, 3, 0.6)

    def folded(place: NDArray[Any]) -> NDArray[np.int32]:
        """Mirrored again and again, so that no seam shows."""
        return np.asarray(511 - np.abs((place + 4088).astype(np.int32) % 1022 - 511), np.int32)

    streak = cells[folded(leaf.aside * 0.9), folded(leaf.along / 9)]
    slope = rng.uniform(0.6, 1.6) * rng.choice([-1, 1])
    green = np.clip(rng.normal(0, 0.7) + slope * leaf.along / leaf.half_length + 0.5 + 0.08 * streak, 0, 1)
    green = np.asarray(green * green * (3 - 2 * green), np.float32)
    pale, full = varied(rng, _PALE, 0.05), varied(rng, one_of(rng, _GREENS), 0.12)
    colour = np.asarray(pale + green[:, None] * (full - pale), np.float32)
    return _Veins(line[at], np.asarray(fine[at], np.float32), streak, green, colour)


def _lit_through(rng: Rng, scene: FloatArray, leaf: _Leaf, veins: _Veins) -> None:
    """Light from below is dimmed by the leaf."""
    lines = 1 - 0.16 * veins.vein * (0.6 + 0.4 * veins.green) + 0.05 * veins.fine + 0.035 * veins.streak
    passed = veins.colour * (lines * (1 - 0.22 * leaf.rim))[:, None]
    passed = np.clip(passed, 0.02, 1) ** np.float32(rng.uniform(0.6, 0.825))
    below = scene[leaf.here]
    below[leaf.held] *= 1 + leaf.cover[:, None] * (passed - 1)


def _lit_from_above(scene: FloatArray, leaf: _Leaf, veins: _Veins, light: Light) -> None:
    """Light from above is thrown back; the leaf throws a shadow."""
    round_top = np.sqrt(np.clip(1 - (leaf.aside / leaf.half_width) ** 2, 0, 1))
    lines = 0.9 + 0.13 * veins.vein + 0.06 * veins.fine + 0.05 * veins.streak - 0.2 * leaf.rim + 0.18 * round_top
    thrown = veins.colour * (0.85 * lines)[:, None]
    cover = np.zeros(leaf.held.shape, np.float32)
    cover[leaf.held] = leaf.cover
    shadow = cv2.blur(
        cv2.blur(moved(cover, round(-light.x * _SHADOW_FAR_PX), round(-light.y * _SHADOW_FAR_PX)), (11, 11)), (9, 9)
    )
    below = scene[leaf.here]
    below *= (1 - np.float32(0.22) * shadow * (1 - cover))[..., None]
    opaque = (leaf.cover * (0.72 + 0.22 * veins.green))[:, None]
    below[leaf.held] = below[leaf.held] * (1 - opaque) + opaque * thrown


def _scrape(rng: Rng, scene: FloatArray, light: Light, way: float) -> None:
    """A small tear or scrape mark along the veins."""
    length = rng.uniform(0.5, 4)
    sheet = Pose(light, way + rng.normal(0, 0.2)).sheet(length, fold=2)
    t, half = profile([0, 0.3, 0.7, 1], [0, 0.06, 0.05, 0], 24)
    outline = tube(np.c_[(t - 0.5) * length, 0.03 * np.sin(6 * t)], half * rng.uniform(0.4, 1.4))
    sheet.fill(outline, one_of(rng, _SCRAPES), rng.uniform(0.2, 0.7), 0.01)
    lay(scene, sheet.reduced(), int(rng.integers(scene.shape[1])), int(rng.integers(scene.shape[0])))
