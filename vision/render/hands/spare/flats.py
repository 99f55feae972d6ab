"""Flat grounds: the lit panel, rinse water in a white tray over it, wet woven cloth, and strips of scallion leaf."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare.fields import Colour, Points, Rng, between, blurred, cloud, colour, lit
from vision.render.hands.spare.plate import Ground, flat_ground
from vision.types import FloatArray

_CASTS = ((1.0, 1.0, 1.0), (1.0, 0.97, 0.90), (0.93, 0.98, 1.0), (0.98, 1.0, 0.94), (1.0, 0.94, 0.86))
_WATERS = ((0.10, 0.05, 0.16), (0.06, 0.06, 0.07), (0.12, 0.10, 0.22), (0.10, 0.04, 0.04))
_DYES = ((0.05, 0.06, 0.09), (0.07, 0.07, 0.07), (0.04, 0.08, 0.07), (0.12, 0.06, 0.05))
_WHITE, _GREENS = (0.10, 0.09, 0.16), ((0.95, 0.42, 1.9), (0.75, 0.34, 1.5), (1.15, 0.62, 1.8), (0.60, 0.30, 1.35))
"""Densities of a layer's full thickness, at the root and towards the tip."""


def cast(rng: Rng) -> FloatArray:
    """The colour (3,) of a lamp."""
    hue = np.array(_CASTS[int(rng.integers(len(_CASTS)))]) * np.exp(rng.normal(0, 0.015, 3))
    return np.asarray(hue / hue.max(), np.float32)


def panel(rng: Rng, height_px: int, width_px: int, level: float) -> FloatArray:
    """Light of a diffuse panel (h, w, 3): brightest somewhere about the middle, falling off a little, with a slow unevenness."""
    y = (np.arange(height_px, dtype=np.float32) / height_px - between(rng, 0.3, 0.7))[:, None]
    x = (np.arange(width_px, dtype=np.float32) / width_px - between(rng, 0.3, 0.7))[None, :]
    fall = np.exp(-between(rng, 0.05, 0.7) * (x * x + y * y) + np.float32(rng.normal(0, 0.08)) * x)
    slow = cloud(rng, height_px, width_px, max(height_px / 3, 60)) * between(rng, 0.002, 0.02)
    return np.asarray((fall * (1 + slow) * np.float32(level))[..., None] * cast(rng), np.float32)


def water(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Rinse water: a little turbid and tinted, its waves gathering light in soft bright lines."""
    light = panel(rng, height_px, width_px, between(rng, 0.55, 0.92))
    turbid = cloud(rng, height_px, width_px, between(rng, 80, 260)) * between(rng, 0.0, 0.035)
    tint = colour(*_WATERS[int(rng.integers(4))]) * between(rng, 0.2, 1.4)
    light *= np.exp(-(1 + turbid * 6)[..., None] * tint)
    if rng.random() < 0.6:
        grain = between(rng, 50, 160)
        # Two sizes together hide the lattice that each alone would show in its ridges.
        octaves = [cloud(rng, height_px, width_px, grain * part, between(rng, 1, 2)) for part in (1.0, 0.43)]
        wave = octaves[0] + 0.5 * octaves[1]
        light *= (1 + between(rng, 0.01, 0.06) * (np.exp(-9 * wave * wave) - 0.2))[..., None]
    return flat_ground(light, cast(rng) * between(rng, 0.02, 0.2), between(rng, 0, 0.05), "water", between(rng, 0, 0.5))


def cloth(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Wet woven cloth, white mostly: threads over and under each other, uneven, with folds and wet patches."""
    pitch_px = between(rng, 0.28, 0.75) * PX_PER_MM
    turn = between(rng, 0, np.pi)
    y, x = np.arange(height_px, dtype=np.float32)[:, None], np.arange(width_px, dtype=np.float32)[None, :]
    wander, phases = between(rng, 0.1, 0.5), []
    for a in (turn, turn + np.pi / 2 + float(rng.normal(0, 0.06))):
        straight = (x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))) * np.float32(np.pi / pitch_px)
        phases.append(straight + wander * cloud(rng, height_px, width_px, 60))
    # A plain weave: in |sin u| one thread a half wave, and the product of the two cosines' signs says which set lies over.
    (cu, su), (cv, sv) = ((np.cos(p), np.sin(p)) for p in phases)
    over = 0.5 + 0.5 * np.tanh(3 * cu * cv)
    threads = np.abs(su) * over + np.abs(sv) * (1 - over)
    twist = cloud(rng, height_px, width_px, max(pitch_px / 4, 1.5)) * between(rng, 0.02, 0.07)
    relief = cloud(rng, height_px, width_px, between(rng, 150, 400))
    dark = rng.random() < 0.22
    depth = between(rng, 0.12, 0.5) * (1.4 if dark else 1.0)
    dens = depth * (0.9 - threads) + twist * (2 if dark else 1) + relief * between(rng, 0.01, 0.06)
    hue = colour(*_DYES[int(rng.integers(4))]) if dark else colour(0.80, 0.79, 0.76)
    light = panel(rng, height_px, width_px, between(rng, 0.6, 0.95))
    light *= hue * np.exp(rng.normal(0, 0.03, 3)).astype(np.float32)
    light *= np.asarray(cv2.exp(-dens), np.float32)[..., None]
    wet = cloud(rng, height_px, width_px, between(rng, 120, 350)) > rng.uniform(-0.5, 1.5)
    soaked = blurred(wet.astype(np.float32), between(rng, 6, 40))
    light *= (1 - between(rng, 0.03, 0.2) * soaked)[..., None]
    return flat_ground(light, cast(rng) * between(rng, 0.35, 0.8), between(rng, 0.15, 0.4), "cloth", 0.7)


def scallion(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Strips of leaf, one through another where they cross, on the panel."""
    light = panel(rng, height_px, width_px, between(rng, 0.65, 0.98))
    ground = flat_ground(light, cast(rng) * between(rng, 0.25, 0.6), between(rng, 0.1, 0.3), "panel", 0.4)
    wide_px = min(between(rng, 7, 15) * PX_PER_MM, 0.55 * min(height_px, width_px))
    many = int(np.clip(round(min(height_px, width_px) / wide_px * rng.uniform(0.7, 1.5)), 2, 8))
    lean, spread, sun_rad = between(rng, 0, np.pi), float(rng.choice([0.08, 0.3, 1.0])), between(rng, 0, 6.3)
    green = _GREENS[int(rng.integers(len(_GREENS)))]
    aside, along = np.array([-np.sin(lean), np.cos(lean)]), np.array([np.cos(lean), np.sin(lean)])
    reach = abs(aside[0]) * width_px + abs(aside[1]) * height_px
    for n in range(many):
        off = ((n + 0.5 + rng.uniform(-0.4, 0.4)) / many - 0.5) * reach
        at = (
            np.array([width_px, height_px]) / 2
            + aside * off
            + along * rng.uniform(-0.2, 0.2) * max(height_px, width_px)
        )
        _strip(rng, ground, at, lean + float(rng.normal(0, spread)), wide_px * between(rng, 0.7, 1.2), green, sun_rad)
    return replace(ground, produce=ground.relief > 0.05)


def _strip(rng: Rng, on: Ground, at: Points, turn_rad: float, wide_px: float, green: Colour, sun_rad: float) -> None:
    """Lay one strip about a point (2,) over the ground's light and relief, in place."""
    h, w = on.relief.shape
    long_px = max(h, w) * between(rng, 0.5, 1.3)
    columns, rows = int(long_px), int(wide_px)
    dens, thick = _tissue(rng, rows, columns, green)
    bend = float(rng.normal(0, 0.12)) / long_px
    # The strip is made straight in its own frame and carried over by one look-up, its bend in the look-up.
    cos, sin = float(np.cos(turn_rad)), float(np.sin(turn_rad))
    reach = np.abs([[cos, sin], [sin, cos]]) @ [long_px / 2, wide_px / 2 + abs(bend) * long_px**2 / 4] + 24
    left, top = (max(int(m - r), 0) for m, r in zip(at, reach, strict=True))
    right, low = (min(int(m + r), side) for m, r, side in zip(at, reach, (w, h), strict=True))
    if right - left < 5 or low - top < 5:
        return
    box = slice(top, low), slice(left, right)
    y = np.arange(top, low, dtype=np.float32)[:, None] - np.float32(at[1])
    x = np.arange(left, right, dtype=np.float32)[None, :] - np.float32(at[0])
    u = x * np.float32(cos) + y * np.float32(sin)
    v = y * np.float32(cos) - x * np.float32(sin) + np.float32(bend) * u * u + np.float32(rows / 2)
    seen = np.asarray(cv2.remap(np.dstack([dens, thick]), u + np.float32(columns / 2), v, cv2.INTER_LINEAR), np.float32)
    thickness = seen[..., 3]
    edge = np.minimum(thickness * 3, 1)
    shade = lit(thickness * np.float32(wide_px * 0.12), sun_rad, 1.0)
    through = np.asarray(cv2.exp(-seen[..., :3]), np.float32)
    shadow = np.zeros_like(edge)
    shadow[4:, 3:] = edge[:-4, :-3]
    shadow = blurred(shadow, 4.0) * (1 - edge)
    on.light[box] *= through * (1 - 0.10 * shadow)[..., None]
    on.light[box] += (edge * shade)[..., None] * (through * through * (0.42 * on.above))
    np.maximum(on.relief[box], edge * 0.5, out=on.relief[box])


def _tissue(rng: Rng, rows: int, columns: int, green: Colour) -> tuple[FloatArray, FloatArray]:
    """Density (rows, columns, 3) and thickness (rows, columns) 0..1 of a straight strip, root to the left."""
    across = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    along = np.linspace(0, 1, columns, dtype=np.float32)[None, :]
    start, soft = between(rng, -0.4, 1.1), between(rng, 0.08, 0.3)
    ripen = 1 / (1 + np.exp(-(along - start + 0.05 * cloud(rng, rows, columns, 14, 8)) / soft))
    veins = between(rng, 0.5, 1.1) * PX_PER_MM
    wobble = cloud(rng, rows, columns, 30, 10) * 0.8
    line = np.cos(across * np.float32(np.pi * rows / veins) + wobble)
    rib = np.exp(-4 * (1 - line)) * between(rng, 0.1, 0.4)
    cells = cloud(rng, rows, columns, 2.2, 6) * between(rng, 0.02, 0.05)
    patches = cloud(rng, rows, columns, 40, 4) * np.float32(0.07)
    body = np.sqrt(np.maximum(1 - np.abs(across) ** 6, 0)) * (0.7 + 0.3 * across * across)
    # Cut ends are not quite square, and the margin is where the layer is thinnest.
    cut = (along * columns > 6 + 6 * np.sin(across * 3)) & ((1 - along) * columns > 6 + 5 * np.cos(across * 4))
    thick = np.asarray((body + rib * 0.5) * cut, np.float32)
    amount = (thick * (1 + cells + patches) + rib * cut)[..., None]
    hue = colour(*_WHITE) + ripen[..., None] * (colour(*green) - colour(*_WHITE))
    stain = np.clip(cloud(rng, rows, columns, 18, 2.5) - between(rng, 1.6, 2.6), 0, 1) * cut
    dens = np.maximum(amount * hue, 0) + stain[..., None] * colour(0.35, 0.6, 0.9)
    return np.asarray(dens, np.float32), thick * 0.9
