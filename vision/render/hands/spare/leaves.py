"""Scallion: cut leaf layers, white to green along their length, with veins, laid across each other on the panel."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare.fields import Rng, blurred, cloud, colour, lit
from vision.render.hands.spare.flats import cast, panel
from vision.render.hands.spare.plate import Ground
from vision.types import FloatArray

_WHITE, _GREENS = (0.10, 0.09, 0.16), ((0.95, 0.42, 1.9), (0.75, 0.34, 1.5), (1.15, 0.62, 1.8), (0.60, 0.30, 1.35))
"""Densities of a layer's full thickness, at the root and towards the tip."""


def scallion(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Strips of leaf, one through another where they cross, on the panel."""
    light = panel(rng, height_px, width_px, float(rng.uniform(0.65, 0.98)))
    above = cast(rng) * np.float32(rng.uniform(0.25, 0.6))
    relief = np.zeros((height_px, width_px), np.float32)
    wide_px = min(float(rng.uniform(7, 15)) * PX_PER_MM, 0.55 * min(height_px, width_px))
    many = int(
        np.clip(round(height_px * width_px / (wide_px * max(height_px, width_px)) * rng.uniform(0.7, 1.5)), 2, 8)
    )
    lean = float(rng.uniform(0, np.pi))
    spread = float(rng.choice([0.08, 0.3, 1.0]))
    green = _GREENS[int(rng.integers(len(_GREENS)))]
    towards = float(rng.uniform(0, 2 * np.pi))
    aside = np.array([-np.sin(lean), np.cos(lean)])
    reach = abs(aside[0]) * width_px + abs(aside[1]) * height_px
    for n in range(many):
        off = ((n + 0.5 + rng.uniform(-0.4, 0.4)) / many - 0.5) * reach
        along = rng.uniform(-0.2, 0.2) * max(height_px, width_px)
        x = width_px / 2 + aside[0] * off + np.cos(lean) * along
        y = height_px / 2 + aside[1] * off + np.sin(lean) * along
        _strip(
            rng,
            light,
            relief,
            above,
            (x, y),
            lean + float(rng.normal(0, spread)),
            wide_px * float(rng.uniform(0.7, 1.2)),
            green,
            towards,
        )
    return Ground(light, above, relief, relief > 0.05, float(rng.uniform(0.1, 0.3)), "panel", 0.4)


def _strip(
    rng: Rng,
    light: FloatArray,
    relief: FloatArray,
    above: FloatArray,
    middle_px: tuple[float, float],
    angle_rad: float,
    wide_px: float,
    green: tuple[float, float, float],
    towards_rad: float,
) -> None:
    """Lay one strip over the light and the relief, in place."""
    h, w = relief.shape
    long_px = max(h, w) * float(rng.uniform(0.5, 1.3))
    columns, rows = int(long_px), int(wide_px)
    dens, thick = _tissue(rng, rows, columns, green)
    bend = float(rng.normal(0, 0.12)) / long_px
    # The strip is made straight in its own frame and carried over by one look-up, its bend in the look-up.
    cos, sin = float(np.cos(angle_rad)), float(np.sin(angle_rad))
    reach = np.abs([[cos, sin], [sin, cos]]) @ [long_px / 2, wide_px / 2 + abs(bend) * long_px**2 / 4] + 8
    left, top = (max(int(m - r), 0) for m, r in zip(middle_px, reach, strict=True))
    right, low = (min(int(m + r), side) for m, r, side in zip(middle_px, reach, (w, h), strict=True))
    if right - left < 2 or low - top < 2:
        return
    box = slice(top, low), slice(left, right)
    y = np.arange(top, low, dtype=np.float32)[:, None] - np.float32(middle_px[1])
    x = np.arange(left, right, dtype=np.float32)[None, :] - np.float32(middle_px[0])
    u = x * np.float32(cos) + y * np.float32(sin)
    v = y * np.float32(cos) - x * np.float32(sin) + np.float32(bend) * u * u + np.float32(rows / 2)
    seen = np.asarray(cv2.remap(np.dstack([dens, thick]), u + np.float32(columns / 2), v, cv2.INTER_LINEAR), np.float32)
    thickness = seen[..., 3]
    edge = np.minimum(thickness * 3, 1)
    shade = lit(thickness * np.float32(wide_px * 0.12), towards_rad, 1.0)
    through = np.asarray(cv2.exp(-seen[..., :3]), np.float32)
    shadow = blurred(np.roll(edge, (4, 3), (0, 1)), 4.0) * (1 - edge)
    light[box] *= through * (1 - 0.10 * shadow)[..., None]
    light[box] += (edge * shade)[..., None] * (through * through * (0.42 * above))
    np.maximum(relief[box], thickness * 0.5, out=relief[box])


def _tissue(rng: Rng, rows: int, columns: int, green: tuple[float, float, float]) -> tuple[FloatArray, FloatArray]:
    """Density (rows, columns, 3) and thickness (rows, columns) 0..1 of a straight strip, root to the left."""
    across = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    along = np.linspace(0, 1, columns, dtype=np.float32)[None, :]
    start, soft = float(rng.uniform(-0.4, 1.1)), float(rng.uniform(0.08, 0.3))
    ripen = 1 / (1 + np.exp(-(along - start + 0.05 * cloud(rng, rows, columns, 14, 8)) / soft))
    veins = np.float32(rng.uniform(0.5, 1.1)) * PX_PER_MM
    wobble = cloud(rng, rows, columns, 30, 10) * 0.8
    line = np.cos(across * np.float32(np.pi * rows / veins) + wobble)
    rib = np.exp(-4 * (1 - line)) * np.float32(rng.uniform(0.1, 0.4))
    cells = cloud(rng, rows, columns, 2.2, 6) * np.float32(rng.uniform(0.02, 0.05))
    patches = cloud(rng, rows, columns, 40, 4) * np.float32(0.07)
    body = np.sqrt(np.maximum(1 - np.abs(across) ** 6, 0)) * (0.7 + 0.3 * across * across)
    # Cut ends are not quite square, and the margin is where the layer is thinnest.
    cut = (along * columns > 6 + 6 * np.sin(across * 3)) & ((1 - along) * columns > 6 + 5 * np.cos(across * 4))
    thick = np.asarray((body + rib * 0.5) * cut, np.float32)
    amount = (thick * (1 + cells + patches) + rib * cut)[..., None]
    hue = colour(*_WHITE) + ripen[..., None] * (colour(*green) - colour(*_WHITE))
    stain = np.clip(cloud(rng, rows, columns, 18, 2.5) - np.float32(rng.uniform(1.6, 2.6)), 0, 1) * cut
    dens = np.maximum(amount * hue, 0) + stain[..., None] * colour(0.35, 0.6, 0.9)
    return np.asarray(dens, np.float32), thick * 0.9
