"""Loose bits that are mistaken for insects: grit, soil, flakes of plants, buds and seeds, splinters, fibres and hairs.

Sizes and colours: common practice, no source.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng, blurred, log_uniform, slopes, smooth_noise
from vision.render.hands.solid.lines import bezier, spine, unit
from vision.render.hands.solid.matter import Matter, matter, one_of, substance
from vision.render.hands.solid.model import Model, new_model
from vision.render.hands.solid.stamps import Stamp
from vision.types import FloatArray


def _whole(model: Model) -> tuple[slice, slice]:
    return slice(0, model.side), slice(0, model.side)


def grit(rng: Rng, hiding: float) -> Stamp:
    """A grain with cut faces, brown, black or of clear quartz, 0.2 to 1.8 mm across."""
    size = log_uniform(rng, 0.12, 0.9)
    model = new_model(rng, size * 1.1, rng.uniform(0, 6.3), 3 if size < 0.5 else 2, hiding)
    x, y = model.grid_mm()
    high = np.minimum((size - np.hypot(x, y)) * 1.5, size * 0.5 + 0.3 * (x * rng.normal() + y * rng.normal()))
    for _ in range(rng.integers(6, 11)):
        face, off = rng.uniform(0, 6.3), size * rng.uniform(0.45, 0.95)
        high = np.minimum(high, (off - x * np.cos(face) - y * np.sin(face)) * rng.uniform(0.6, 2.5))
    thick = np.asarray(np.clip(high, 0, None) * model.grain(rng, 0.1, size * 0.3), np.float32)
    which = rng.random()
    swallowed, albedo = ((2.5, 3.0, 3.8), (0.2, 0.15, 0.1)) if which < 0.5 else ((5, 5.2, 5.5), (0.1, 0.1, 0.1))
    rim = None
    if which >= 0.7:
        swallowed, albedo = (0.35, 0.45, 0.7), (0.6, 0.55, 0.48)
        # A clear grain bends light away at its steep faces.
        steep = np.hypot(*slopes(thick)) * model.fine_per_mm
        rim = np.asarray(np.clip(steep * 0.25, 0, 1.2) * (thick > 0), np.float32)
    of = matter(np.array(swallowed) * rng.uniform(0.6, 1.6) / max(size, 0.3), albedo)
    model.add(_whole(model), thick, of, rim)
    return model.stamp(0.35)


def soil(rng: Rng, hiding: float) -> Stamp:
    """A crumb of lumps."""
    size = rng.uniform(0.15, 0.9)
    model = new_model(rng, size * 1.5, 0, 2, hiding)
    swallowed = np.array([2.2, 3.0, 4.0]) * rng.uniform(0.6, 1.8) / max(0.4, size)
    texture = model.grain(rng, 0.4, 0.15)
    stretch = rng.uniform(0.3, 1, 2)
    for _ in range(rng.integers(4, 14)):
        r = size * rng.uniform(0.12, 0.45)
        half = (r, r * rng.uniform(0.5, 1), r * 0.5)
        lump = matter(swallowed * rng.uniform(0.5, 1.3), np.array([0.16, 0.105, 0.06]) * rng.uniform(0.6, 1.4))
        model.ellipsoid(rng.normal(0, size * 0.38, 2) * stretch, half, rng.uniform(0, 3.1), lump, texture=texture)
    return model.stamp(0.08)


def flake(rng: Rng, hiding: float, size_mm: float | None = None) -> Stamp:
    """A flat torn flake of a plant, 0.35 to 2.6 mm long: cells or veins within, darker edges."""
    size = size_mm or log_uniform(rng, 0.35, 2.6)
    slim = rng.uniform(0.22, 1) if rng.random() < 0.75 else rng.uniform(0.1, 0.22)
    model = new_model(rng, size * 0.62, 0, 2, hiding)
    per_mm = model.fine_per_mm
    inward, across = _torn(rng, model, size, slim)
    edge = np.clip(inward * per_mm * size * 0.25, 0, 1)
    name = one_of(rng, ("green", "olive", "brown", "pale", "amber", "palegreen"), (0.3, 0.15, 0.2, 0.13, 0.1, 0.12))
    thick_mm = rng.uniform(0.12, 0.32)
    if rng.random() < 0.55:
        wavy = across / slim * rng.uniform(5, 14) + 1.3 * smooth_noise(rng, across.shape, per_mm * size * 0.3, 1)
        uneven: NDArray[Any] = 1 + rng.uniform(0.08, 0.28) * np.cos(wavy)
    else:
        uneven = 1 + 0.35 * smooth_noise(rng, across.shape, rng.uniform(4, 9), 2)
    uneven = uneven + rng.uniform(0, 0.9) * np.exp(-np.clip(inward, 0, 9) * 9)
    uneven = uneven + 0.25 * smooth_noise(rng, across.shape, per_mm * size * 0.5, 1)
    of = substance(name).made(rng.uniform(0.6, 1.5) * 2.2, albedo=rng.uniform(0.7, 1.2), scattered=3.0)
    model.add(_whole(model), np.asarray(edge * thick_mm * np.clip(uneven, 0.25, 3), np.float32), of)
    curl = np.asarray(edge * 0.04 * smooth_noise(rng, across.shape, per_mm * size * 0.4, 2), np.float32)
    model.height_mm[:] += curl
    return model.stamp(0.15)


def _torn(rng: Rng, model: Model, size: float, slim: float) -> tuple[FloatArray, FloatArray]:
    """How far inside a noise-edged oval each fine pixel lies (negative outside), and its place across the oval."""
    x, y = (v / np.float32(size * 0.5) for v in model.grid_mm())
    cos, sin = unit(rng.uniform(0, 6.3))
    along, across = x * cos + y * sin, y * cos - x * sin
    across = across + rng.normal(0, 0.12) * (along * along - 0.4)
    power = rng.uniform(1.6, 3.5)
    inward = 1 - (np.abs(along) / 0.9) ** power - (np.abs(across) / (0.9 * slim)) ** power
    ragged = smooth_noise(rng, x.shape, max(4.0, model.fine_per_mm * size * slim * 0.35), 3)
    return np.asarray(inward + 0.30 * ragged, np.float32), np.asarray(across, np.float32)


def bud(rng: Rng, hiding: float) -> Stamp:
    """A loose flower bud or seed of 0.7 to 1.9 mm, on its stalk or off: the aphids' double."""
    length = rng.uniform(0.7, 1.9)
    width = length * rng.uniform(0.5, 0.8)
    model = new_model(rng, length * 1.4, rng.uniform(0, 6.3), 2, hiding)
    name = one_of(rng, ("green", "olive", "brown", "yellow", "amber"), (0.35, 0.2, 0.2, 0.12, 0.13))
    of = substance(name).made(rng.uniform(0.7, 1.5) / length**0.5)
    if rng.random() < 0.55:
        bow, end = (-length * 0.7, rng.normal(0, 0.2)), (-length * 1.1, rng.normal(0, 0.35))
        model.limb(bezier((-length * 0.3, 0), bow, end, 6), width * 0.11, width * 0.09, of.made(0.9, scattered=1.5))
    texture = model.grain(rng, 0.2, 0.25)
    model.ellipsoid((0, 0), (length / 2, width / 2, width / 2), 0, of, 0.3, texture=texture)
    for off in (-0.18, 0.2):
        seam = bezier((-length * 0.42, off * width * 0.3), (0, off * width * 1.6), (length * 0.46, 0), 8)
        model.sweep(seam, np.full(8, width * 0.03), of.made(2, albedo=0.6, scattered=1.5), raised_mm=width * 0.45)
    return model.stamp(0.3)


def sliver(rng: Rng, hiding: float) -> Stamp:
    """A straight or bent splinter, stem thread or bit of root, 0.6 to 7 mm long: the caterpillars' and thrips' double."""
    length = log_uniform(rng, 0.6, 7)
    width = length * rng.uniform(0.05, 0.2) if length < 2 else rng.uniform(0.08, 0.5)
    line = spine(rng, length, rng.normal(0, 0.7), bool(rng.random() < 0.2), 30)
    model = new_model(rng, float(np.abs(line).max()) + width + 0.1, rng.uniform(0, 6.3), 2, hiding)
    of = substance(one_of(rng, ("brown", "olive", "pale", "green", "amber", "cream", "palegreen")))
    walk = np.cumsum(rng.normal(0, 0.5, 30)) / 2
    radii = width / 2 * np.clip(1 + 0.15 * walk + rng.normal(0, 0.05, 30), 0.35, 1.6)
    radii[[0, -1]] *= rng.uniform(0.3, 1, 2)
    stained = (1 + 0.2 * np.cumsum(rng.normal(0, 0.3, 30))).clip(0.5, 1.8)
    of = of.made((rng.uniform(0.6, 1.4) / max(width, 0.25) ** 0.7 * stained)[:, None])
    texture = model.grain(rng, 0.3, 0.2, 3)
    model.sweep(line, radii, of, rng.uniform(0.5, 1), rng.uniform(0, 0.3), texture=texture)
    return model.stamp(0.12)


def fibre(rng: Rng, hiding: float) -> Stamp:
    """A textile fibre of 0.6 to 6 mm or a hair of 2 to 18 mm."""
    hair = rng.random() < 0.4
    length = rng.uniform(2, 18) if hair else log_uniform(rng, 0.6, 6)
    wander = 0.035 if hair else rng.uniform(0.04, 0.3)
    heading = np.cumsum(rng.normal(0, wander, 50)) + np.linspace(0, rng.normal(0, 1.6), 50) + rng.uniform(0, 6.3)
    points = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * length / 50, axis=0)
    points = points - points.mean(axis=0)
    model = new_model(rng, float(np.abs(points).max()) + 0.1, 0, 2, hiding)
    radius_mm = rng.uniform(0.018, 0.038) if hair else rng.uniform(0.008, 0.024)
    drawn = np.zeros((model.side, model.side), np.uint8)
    at = (model.fine_px(points) * 16).round().astype(np.int32).reshape(-1, 1, 2)
    wide = 2 * radius_mm * model.fine_per_mm
    cv2.polylines(drawn, [at], False, (255,), max(1, round(wide)), cv2.LINE_AA, 4)
    thick = blurred(np.asarray(drawn / 255, np.float32), 0.7) * np.float32(2 * radius_mm * min(1, wide))
    model.add(_whole(model), thick, _fibre_matter(rng, hair))
    return model.stamp(0.2)


def _fibre_matter(rng: Rng, hair: bool) -> Matter:
    """Dark hair, or white, blue or red yarn."""
    which = rng.random()
    if hair and which < 0.7:
        return matter((14, 16, 19), (0.06, 0.04, 0.03), 5.0)
    if which < 0.75:
        return matter((3, 3, 3), (0.6, 0.6, 0.62), 5.0)
    if which < 0.9:
        return matter((11, 6, 3), (0.12, 0.2, 0.5), 5.0)
    return matter((3, 11, 9), (0.5, 0.1, 0.12), 5.0)
