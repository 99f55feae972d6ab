"""Loose bits that are no insects: grit, soil, scraps of plants, buds, seeds, films. Sizes and colours: common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands.layered.colour import Rng, any_size, between, one_of, srgb, varied
from vision.render.hands.layered.curves import Points, blob, closed, ellipse, polar, tube
from vision.render.hands.layered.sheet import Light, Sheet, any_way

_GRIT = (
    srgb(70, 54, 40), srgb(120, 96, 70), srgb(38, 34, 32), srgb(170, 150, 120), srgb(150, 148, 142), srgb(96, 60, 36),
)  # fmt: skip
_SOIL = (srgb(58, 42, 30), srgb(84, 62, 42), srgb(40, 34, 28))
_PLANT = (
    srgb(74, 112, 48), srgb(110, 146, 66), srgb(150, 170, 100), srgb(120, 96, 56), srgb(86, 62, 38), srgb(200, 200, 160),
    srgb(216, 206, 150), srgb(60, 86, 62),
)  # fmt: skip
_BUDS, _BUDS_OFTEN = (srgb(78, 108, 58), srgb(66, 96, 76), srgb(140, 150, 70), srgb(104, 84, 48)), (4, 2, 1, 1)
_BUD_STALK = srgb(160, 180, 110)
_FILMS = (srgb(200, 196, 176), srgb(170, 160, 130), srgb(160, 176, 130))
_SEEDS = (srgb(96, 60, 34), srgb(46, 34, 28), srgb(170, 130, 76), srgb(190, 170, 110))


def grit(rng: Rng, light: Light) -> Sheet:
    """An angular grain with facets; a quarter are clear."""
    radius = any_size(rng, 0.15, 1.3, 0.35, 0.5)
    sheet = any_way(rng, light).sheet(radius * 2.2)
    corners = rng.integers(5, 9)
    turn, far = np.sort(rng.uniform(0, 2 * np.pi, corners)), radius * rng.uniform(0.65, 1.15, corners)
    ragged = np.c_[far * np.cos(turn) * rng.uniform(0.9, 1.5), far * np.sin(turn)]
    outline = np.asarray(cv2.convexHull(ragged.astype(np.float32)), float).reshape(-1, 2)
    colour = varied(rng, one_of(rng, _GRIT), 0.2)
    alpha = 0.45 if rng.random() < 0.25 else 0.95
    sheet.dome(outline, colour, alpha, shading=0.4, uneven=sheet.grained(rng, 0.12, 0.22), rim=0.5, gloss=0.25)
    for _ in range(3):
        i, j = rng.integers(0, len(outline), 2)
        facet = np.array([outline[i], outline[j], outline.mean(0) + rng.normal(0, 0.2, 2) * radius])
        sheet.fill(facet, colour * np.float32(rng.uniform(0.4, 1.8)), 0.4, 0.02)
    return sheet


def soil(rng: Rng, light: Light) -> Sheet:
    """A crumb of several lumps, some with rootlets."""
    radius = any_size(rng, 0.25, 2.2, 0.6, 0.5)
    sheet = any_way(rng, light).sheet(radius * 2.6, fold=3 if radius < 1 else 2)
    colour = varied(rng, one_of(rng, _SOIL), 0.15)
    uneven = sheet.grained(rng, 0.15, 0.3)
    for _ in range(rng.integers(4, 14)):
        lump = blob(rng, radius * rng.uniform(0.2, 0.6), 0.35, 6, rng.uniform(1, 1.6)) + rng.normal(0, 0.42, 2) * radius
        sheet.dome(lump, varied(rng, colour, 0.2), rng.uniform(0.6, 0.95), shading=0.3, uneven=uneven, rim=0.3)
    for _ in range(rng.integers(0, 5)):
        way = rng.uniform(0, 6.3)
        sheet.stroke([np.zeros(2), polar(radius, way), polar(1.7 * radius, way + 0.4)], 0.04, 0.02, colour, 0.6)
    return sheet


def plant(rng: Rng, light: Light) -> Sheet:
    """A scrap of leaf or stalk, torn or rounded, green, brown or pale, some with veins."""
    radius, aspect = any_size(rng, 0.3, 3.0, 0.75), rng.uniform(1, 3.5)
    sheet = any_way(rng, light).sheet(radius * 1.3 * aspect**0.5 + radius, fold=3 if radius < 1 else 2)
    colour = varied(rng, one_of(rng, _PLANT), 0.15)
    if rng.random() < 0.5:
        outline = _torn(rng, radius, aspect)
    else:
        outline = blob(rng, radius, 0.2, 6, aspect, 60)
        outline += rng.normal(0, 0.02 * radius, outline.shape)
    sheet.dome(
        outline,
        colour * np.float32(light.dimmed(0.85)),
        rng.uniform(0.5, 0.95),
        thick=one_of(rng, (0.0, 1.5)),
        shading=0.2,
        uneven=sheet.grained(rng, 0.3 * radius + 0.1, 0.16, 4),
        rim=0.35,
    )
    clip = sheet.clip
    for _ in range(rng.integers(0, 7)):
        y = rng.normal(0, 0.4) * radius
        vein = colour * np.float32(one_of(rng, (0.6, 1.5)))
        sheet.stroke([[-2 * radius, y * 0.6], [0, y], [2 * radius, y * 0.7]], 0.04, 0.03, vein, 0.35, clip, 0.01)
    if rng.random() < 0.3:
        stem = [[0, 0], [radius * aspect**0.5 * 1.3, radius * 0.3]]
        sheet.stroke(stem, 0.12 * radius, 0.08 * radius, colour * np.float32(0.8), 0.8)
    return sheet


def _torn(rng: Rng, radius: float, aspect: float) -> Points:
    """Straight and ragged sides between few corners."""
    corners = int(rng.integers(4, 8))
    turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
    ring = closed(np.c_[np.cos(turn), np.sin(turn)] * (radius * rng.uniform(0.6, 1.1, corners))[:, None])
    steps = np.linspace(0, 1, 10, endpoint=False)[:, None]
    sides = np.concatenate([ring[i] + (ring[i + 1] - ring[i]) * steps for i in range(corners)])
    return np.asarray(sides * [aspect**0.5, aspect**-0.5] + rng.normal(0, 0.025 * radius, sides.shape), np.float64)


def bud(rng: Rng, light: Light) -> Sheet:
    """A single fallen bud, most with a stalk: pear-shaped and green, like an aphid."""
    size = rng.uniform(0.7, 1.7)
    sheet = any_way(rng, light).sheet(size * 2.4)
    colour = varied(rng, one_of(rng, _BUDS, _BUDS_OFTEN), 0.15)
    if rng.random() < 0.8:
        end = [-rng.uniform(1.1, 2.1) * size, rng.normal(0, 0.35) * size]
        stalk = [[-0.35 * size, 0], [-0.9 * size, rng.normal(0, 0.15) * size], end]
        sheet.stroke(stalk, 0.2 * size, 0.14 * size, between(colour, _BUD_STALK, 0.6), 0.9)
    t = np.linspace(0, 1, 50)
    half = 0.41 * np.sqrt(np.clip(1 - (2 * t - 1) ** 2, 0, 1)) * (1 - rng.uniform(0, 0.35) * (t - 0.4))
    outline = tube(np.c_[(0.5 - t) * size, 0 * t], half * size)
    dimmed = colour * np.float32(light.dimmed(0.8))
    sheet.dome(outline, dimmed, 0.95, uneven=sheet.grained(rng, 0.15, 0.1), rim=0.4, gloss=0.2)
    for off in (-0.18, 0.02, 0.2):
        seam = [[0.48 * size, off * 0.2 * size], [0.1 * size, off * size], [-0.3 * size, off * 1.2 * size]]
        sheet.stroke(seam, 0.04, 0.02, colour * np.float32(one_of(rng, (0.5, 1.4))), 0.5)
    return sheet


def film(rng: Rng, light: Light) -> Sheet:
    """A clear rag of skin or slime."""
    radius = any_size(rng, 0.5, 3, 1.1, 0.4)
    sheet = any_way(rng, light).sheet(radius * 2.4, fold=2)
    outline = blob(rng, radius, 0.17, 5, rng.uniform(1, 2.4), 60)
    colour = varied(rng, one_of(rng, _FILMS), 0.1)
    uneven = sheet.grained(rng, 0.3, 0.15)
    sheet.dome(outline, colour, rng.uniform(0.2, 0.45), shading=0.1, uneven=uneven, rim=0.4)
    return sheet


def seed(rng: Rng, light: Light) -> Sheet:
    """A glossy seed, wider at one end."""
    length = rng.uniform(0.5, 2.0)
    sheet = any_way(rng, light).sheet(length)
    outline = ellipse(0, 0, length / 2, length * rng.uniform(0.3, 0.75) / 2)
    outline[:, 1] *= 1 - 0.35 * outline[:, 0] / length
    uneven = sheet.grained(rng, 0.15, 0.12)
    sheet.dome(outline, varied(rng, one_of(rng, _SEEDS), 0.15), 0.96, shading=0.4, uneven=uneven, rim=0.4, gloss=0.4)
    return sheet
