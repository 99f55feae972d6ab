"""Buds of broccoli and grains of cauliflower: grey stamps drawn once and laid by the thousand in colours.

Sizes: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from vision.render.hands.layered.colour import WHITE, Rng
from vision.render.hands.layered.curves import blob, ellipse, tube
from vision.render.hands.layered.laying import moved, px, windows
from vision.render.hands.layered.sheet import Light, Pose, Sheet
from vision.types import FloatArray

SMALLEST_MM, STEP_MM, STEPS = 0.6, 0.2, 7
TURNS, STRETCHES = 8, (1.0, 1.22, 1.5)
_LIGHT = Light(below=False, x=-0.55, y=-0.65, wet=False)
_SHADOW_OF_BUD, _SHADOW_OF_GRAIN = 0.34, 0.16


@dataclass(frozen=True)
class Stamp:
    """All (n, n) float32: `shade` times opacity `alpha`; `keep`, what is left of the light below, shadow and all; `glint`."""

    shade: FloatArray
    alpha: FloatArray
    keep: FloatArray
    glint: FloatArray


@dataclass(frozen=True)
class Buds:
    """Buds or grains that were laid: middles (n,) in px, and of each its size step (n,) and colour (n, 3) in linear light."""

    white: bool
    x_px: FloatArray
    y_px: FloatArray
    size: FloatArray
    colour: FloatArray


@lru_cache(maxsize=1024)
def stamp(white: bool, size: int, stretch: int, turn: int) -> Stamp:
    """A bud, or a grain where `white`, of a size step, turned by eighths of a circle."""
    rng = np.random.default_rng([int(white), size, stretch, turn])
    across, longer = SMALLEST_MM + STEP_MM * size, STRETCHES[stretch]
    sheet = Pose(_LIGHT, turn * 2 * math.pi / TURNS).sheet(across * (0.5 * longer + 0.22))
    (_grain if white else _bud)(sheet, rng, across, longer)
    layers = sheet.reduced()
    shadow = np.asarray(cv2.GaussianBlur(layers.alpha, (0, 0), px(0.1 * across)), np.float32)
    shadow = moved(shadow, int(px(0.07 * across)), int(px(0.09 * across)))
    dark = np.float32(_SHADOW_OF_GRAIN if white else _SHADOW_OF_BUD)
    rows, columns = np.mgrid[-layers.half_px : layers.half_px + 1, -layers.half_px : layers.half_px + 1]
    off = (columns + px(0.16 * across)) ** 2 + (rows + px(0.18 * across)) ** 2
    glint = np.exp(-off / (2 * (px(0.055 * across) + 0.5) ** 2)).astype(np.float32)
    keep = (1 - dark * shadow) * (1 - layers.alpha)
    made = Stamp(layers.colour[..., 0].copy(), layers.alpha, keep, glint * layers.alpha)
    for array in (made.shade, made.alpha, made.keep, made.glint):
        array.setflags(write=False)
    return made


def _bud(sheet: Sheet, rng: Rng, across: float, longer: float) -> None:
    """A closed bud with the seams of its sepals."""
    t = np.linspace(0, 1, 50)
    half = (
        0.49 * np.clip(1 - np.abs(2 * t - 1) ** 2.3, 0, 1) ** 0.5 * (1 + 0.16 * (t - 0.5)) * (1 + rng.normal(0, 0.04))
    )
    outline = tube(np.c_[(0.5 - t) * across * longer, 0 * t], half * across)
    sheet.dome(outline, WHITE, shading=0.42, rim=0.45, uneven=sheet.grained(rng, 0.2 * across, 0.07))
    clip, long = sheet.clip, across * longer
    for off in (rng.normal(-0.3, 0.08), rng.normal(0, 0.1), rng.normal(0.3, 0.08)):
        for aside, width, light, alpha in ((0.0, 0.035, 0.5, 0.5), (0.05, 0.03, 1.35, 0.4)):
            y = (off + aside) * across
            seam = [[0.47 * long, aside * across], [0.15 * long, y], [-0.35 * long, 1.1 * y]]
            sheet.stroke(seam, width * across, 0.02, light * WHITE, alpha, clip, 0.012 * across)
    sheet.fill(ellipse(0.32 * long, 0, 0.14 * across, 0.14 * across), 1.3 * WHITE, 0.4, 0.06 * across, clip)


def _grain(sheet: Sheet, rng: Rng, across: float, longer: float) -> None:
    """A soft pale grain with a few dents."""
    outline = blob(rng, across * 0.5, 0.12, 4, longer, 40)
    sheet.dome(outline, WHITE, shading=0.2, rim=0.12, uneven=sheet.grained(rng, 0.3 * across, 0.04))
    clip = sheet.clip
    for _ in range(rng.integers(2, 5)):
        x, y = rng.normal(0, 0.22, 2) * across
        light = 0.82 if rng.random() < 0.5 else 1.12
        sheet.fill(ellipse(x, y, 0.1 * across, 0.1 * across), light * WHITE, 0.5, 0.05 * across, clip)


def put(
    scene: FloatArray,
    x: int,
    y: int,
    one: Stamp,
    colour: FloatArray,
    glint: float = 0.0,
    cover: FloatArray | None = None,
) -> None:
    """Lays a stamp in a colour with its middle on a pixel; `cover` (h, w) grows by it."""
    both = windows(scene.shape, x, y, one.alpha.shape[0])
    if both is None:
        return
    here, own = both
    shade, light = one.shade[own], scene[here]
    light *= one.keep[own][..., None]
    for channel in range(3):
        light[..., channel] += shade * colour[channel]
    if glint > 0:
        light += (one.glint[own] * np.float32(glint))[..., None]
    if cover is not None:
        covered = cover[here]
        np.maximum(covered, one.alpha[own], out=covered)
