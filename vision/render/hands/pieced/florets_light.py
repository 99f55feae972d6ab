"""Light on a pile of buds: slopes to the lamp, darkness between and under them, glints of water, browning. Common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands.pieced.pile import Pile
from vision.render.hands.pieced.scene import Lamp
from vision.render.hands.pieced.textures import Plane, enlarged, linear, quarter, rise, texture, wide_cloud
from vision.types import FloatArray

_STEEPEST = 4.0


def _slopes(pile: Pile, curd: bool, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """(h, w) slopes along x and y of the pile, roughened with grain."""
    on = pile.height > 0
    if curd:
        rough = 1.1 * pile.grain + 3.0 * texture("gravel", pile.height.shape, rng, 0.9)
        high = cv2.GaussianBlur(np.where(on, pile.height + rough, 0).astype(np.float32), (0, 0), 2.4)
    else:
        high = cv2.GaussianBlur(pile.height + np.float32(0.45) * pile.grain * on, (0, 0), 1.0)
    gx, gy = (np.clip(cv2.Sobel(high, -1, *o, scale=0.125), -_STEEPEST, _STEEPEST) for o in ((1, 0), (0, 1)))
    return np.asarray(gx, np.float32), np.asarray(gy, np.float32)


def _cast(small: FloatArray, lamp: Lamp) -> FloatArray:
    """Share of the lamp's light that higher parts towards it let by, at a quarter of the size."""
    passing = np.ones_like(small)
    for step in range(1, 9):
        moved = np.array([[1, 0, -lamp.x * step * 2], [0, 1, -lamp.y * step * 2]], np.float32)
        nearer = cv2.warpAffine(small, moved, small.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        passing = np.minimum(passing, 1 - rise(0, 14, nearer - small - step * 7.0))
    return np.asarray(cv2.GaussianBlur(passing, (0, 0), 1.6), np.float32)


def shadow_on_panel(height: FloatArray, lamp: Lamp) -> FloatArray:
    """(h, w) share of the panel's light that the florets leave."""
    small = (quarter(height) > 0).astype(np.float32)
    moved = np.array([[1, 0, -lamp.x * 5], [0, 1, -lamp.y * 5]], np.float32)
    dark = np.asarray(cv2.GaussianBlur(cv2.warpAffine(small, moved, small.shape[::-1]), (0, 0), 6), np.float32)
    return np.asarray(1 - (0.12 if lamp.below else 0.5) * enlarged(dark, height.shape), np.float32)


def lit_florets(pile: Pile, lamp: Lamp, curd: bool, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Linear light (h, w, 3) of the pile, and (h, w) the share of the lamp's light that falls where, 0.3 to about 1."""
    shape, height = pile.height.shape, pile.height
    gx, gy = _slopes(pile, curd, rng)
    upright = 1 / np.sqrt(1 + gx * gx + gy * gy)
    small = quarter(height)
    cast = enlarged(_cast(small, lamp), shape)
    blurred = cv2.GaussianBlur(height, (0, 0), 6)
    sunk = enlarged(np.asarray(cv2.GaussianBlur(small, (0, 0), 9) - small, np.float32), shape)
    open_sky = np.clip(1 - (blurred - height) / (46 if curd else 22), 0.2, 1.1) * np.clip(1 - sunk / 110, 0.45, 1.08)
    facing = np.clip(upright * (0.82 - 0.5 * (gx * lamp.x + gy * lamp.y)), 0, 1.3)
    if lamp.below:
        shade = (0.55 + 0.5 * facing) * open_sky * 0.92
    else:
        ambient = 0.52 if curd else 0.36
        shade = (ambient + (1 - ambient) * facing * (0.35 + 0.65 * cast)) * open_sky
    grain = texture("gravel", shape, rng, 0.5)
    value = _value(pile, curd, grain) * shade
    if lamp.below:  # thin rims glow a little
        value = value * (1 + 0.8 * np.exp(-blurred / 22))
    light = pile.light()[pile.number] * value.astype(np.float32)[..., None]
    if curd:
        light = _browned(light, rng)
    light += _glints(upright, gx, gy, grain, lamp, rng)[..., None] * cast[..., None]
    if curd and not lamp.below:
        light = _through_flesh(light)
    return light, np.clip(shade, 0.3, 1.05).astype(np.float32)


def _value(pile: Pile, curd: bool, grain: FloatArray) -> FloatArray:
    """(h, w) light of the surface itself: buds are paler in their middle."""
    if curd:
        return np.asarray(np.clip(1 + 0.05 * pile.grain, 0.6, 1.3), np.float32)
    on_bud = np.array(pile.bud, np.float32)[pile.number]
    value = 1 + on_bud * (0.42 * np.clip(pile.inward * 1.6, 0, 1) - 0.22)
    return np.asarray(value * np.clip(1 + 0.17 * pile.grain + 0.05 * grain, 0.4, 1.7), np.float32)


def _browned(light: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Curds with brown patches."""
    patches = rise(1.3, 2.4, wide_cloud(light.shape, rng, 90, 3)) * np.float32(rng.uniform(0, 0.7))
    takes = 1 - linear((176, 134, 84)) / linear((236, 224, 190))
    return np.asarray(light * (1 - patches[..., None] * takes), np.float32)


def _glints(
    upright: Plane, gx: FloatArray, gy: FloatArray, grain: FloatArray, lamp: Lamp, rng: np.random.Generator
) -> FloatArray:
    """(h, w) the lamp mirrored where the surface is wet and turned the right way."""
    wet = rise(0.2, 1.2, wide_cloud(gx.shape, rng, 120, 3)) * rng.uniform(0.15, 0.7)
    off = (gx * upright + 0.45 * lamp.x) ** 2 + (gy * upright + 0.45 * lamp.y) ** 2
    bright = np.exp(-off / 0.016) * (0.05 + wet) * rise(0.2, 1.5, grain + 1)
    return np.asarray(bright * (0.2 if lamp.below else 0.7), np.float32)


def _through_flesh(light: FloatArray) -> FloatArray:
    """Pale flesh spreads light a little."""
    spread = enlarged(np.asarray(cv2.GaussianBlur(quarter(light), (0, 0), 1.3), np.float32), light.shape)
    return np.asarray(np.float32(0.8) * light + spread * np.array([0.204, 0.2, 0.18], np.float32), np.float32)
