"""One leaf sheath: drawn flat in its own frame, then bent into the picture. Colours and sizes are from memory."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.scene import Lamp, Scene
from vision.render.hands.pieced.textures import cloud, enlarged, quarter, rise, texture
from vision.types import FloatArray

_WHITE = np.array([0.34, 0.26, 0.50], np.float32)
_GREEN = np.array([1.30, 0.72, 1.75], np.float32)
"""What the white and the green part of a leaf take from red, green and blue light, as exponents."""
_ALONG = 2
"""Picture pixels a pixel of the sheath's frame along it; across it is drawn at the picture's own."""
_PROFILE = 1400
"""Steps across a leaf, rim to rim, of its veins and streaks."""


@dataclass(frozen=True)
class _Frame:
    """The sheath's own frame (2 `half_high`, n): `u` (1, n) half steps along, `across` (2 `half_high`, n) -1 .. 1 rim to rim,
    `edge` px to the nearer rim, `mask` 0 .. 1."""

    half_high: int
    u: FloatArray
    across: FloatArray
    edge: FloatArray
    mask: FloatArray


def _ragged(count: int, rng: np.random.Generator) -> FloatArray:
    """(n,) px by which a cut rim wanders."""

    def corners(step: int, spread: float) -> FloatArray:
        at = np.arange(0, count + step, step)
        return np.interp(np.arange(count), at, rng.normal(0, spread, len(at))).astype(np.float32)

    return np.asarray(
        cv2.GaussianBlur(corners(30, 2.2)[None], (0, 0), 8)[0] + corners(7, 0.35) + corners(2, 0.15), np.float32
    )


def _frame(half_width: float, count: int, rng: np.random.Generator) -> _Frame:
    """A strip with ragged rims, perhaps with an end, and torn along its veins."""
    half_high = int(half_width * 1.25) + 20
    u = (2 * np.arange(count) - count).astype(np.float32)[None]
    v = (np.arange(2 * half_high) - half_high).astype(np.float32)[:, None]
    half = (half_width * np.clip(1 + rng.normal(0, 0.12) * u / 1000, 0.7, 1.22)).astype(np.float32)
    rims = _ragged(count, rng), _ragged(count, rng)
    edge = half - np.abs(v) + np.where(v > 0, *rims)
    mask = rise(-1, 1, edge)
    if rng.random() < 0.45:  # it ends inside the picture
        wavy = cv2.GaussianBlur(rng.normal(0, 22, (2 * half_high, 1)).astype(np.float32), (0, 0), 16)
        side = 1 if rng.random() < 0.5 else -1
        mask = mask * rise(-1.5, 1.5, side * (u - rng.uniform(-0.45, 0.45) * count) + wavy + rng.uniform(-0.5, 0.5) * v)
    for _ in range(int(rng.integers(0, 4))):
        at_u, at_v = rng.uniform(-0.7, 0.7) * count, rng.uniform(-0.8, 0.8) * half_width
        long, wide = rng.uniform(80, 420), rng.uniform(3, 16)
        mask = mask * (1 - rise(-1, 1, wide * (1 - ((u - at_u) / long) ** 2) - np.abs(v - at_v + 1.2 * rims[1])))
    return _Frame(
        half_high, u, np.asarray(v / half, np.float32), np.asarray(edge, np.float32), np.asarray(mask, np.float32)
    )


def _veins(half_width: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """(n,) profiles from -1.15 to 1.15 across: veins, about 1 high, and streaks of spread 1."""
    place = np.linspace(-1.15, 1.15, _PROFILE)
    apart, at, veins = rng.uniform(9, 20) / half_width, -0.98, np.zeros(_PROFILE)
    while at < 0.98:
        veins += rng.uniform(0.5, 1.2) * np.exp(-(((place - at) * half_width / 1.5) ** 2))
        at += apart * rng.uniform(0.75, 1.3)
    streaks = cv2.GaussianBlur(rng.standard_normal((1, _PROFILE)).astype(np.float32), (0, 0), 5)[0]
    return veins.astype(np.float32), np.asarray(streaks / streaks.std(), np.float32)


def _greenness(frame: _Frame, slow: FloatArray, rng: np.random.Generator) -> FloatArray:
    """0 white .. 1 green: one of them all over, or one turning into the other along the leaf."""
    if rng.random() < 0.5:
        even = rng.uniform(0.05, 0.25) if rng.random() < 0.5 else rng.uniform(0.6, 1.0)
        return np.full_like(frame.across, even)
    start, end = np.sort(rng.uniform(-1.2, 1.2, 2) * frame.u.shape[1])
    green = rise(start - 300, end + 300, frame.u + 60 * slow)
    return np.asarray(1 - green if rng.random() < 0.5 else green, np.float32)


def _sheath(
    frame: _Frame, half_width: float, across_to_lamp: float, lamp: Lamp, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """What passes through it and its own light, (2 `half_high`, n, 3) each."""
    shape = frame.across.shape
    veins, streaks = _veins(half_width, rng)
    step = np.clip((frame.across + 1.15) * ((_PROFILE - 1) / 2.3), 0, _PROFILE - 1).astype(np.int32)
    vein, streak = veins[step], streaks[step]
    grain = 0.6 * texture("grass", shape, rng, 0.7, 0, 3.5) + 0.4 * texture("brick", shape, rng, 0.35, 0, 3)
    slow = enlarged(cloud((shape[0] // 4, shape[1] // 4), rng, 60, 2), shape)
    green = np.clip(_greenness(frame, slow, rng) + 0.06 * streak + 0.05 * slow, 0, 1)
    dense = (0.55 + 0.55 * green) * (1 + 0.10 * streak + 0.06 * grain) + 0.16 * vein * (0.5 + green)
    dense = (dense + 0.3 * np.exp(-np.clip(frame.edge, 0, None) / 5)) * rng.uniform(0.75, 1.2)
    takes = _WHITE + (_GREEN - _WHITE) * green[..., None]
    through, cover = np.exp(-takes * dense[..., None]), frame.mask[..., None]
    if lamp.below:
        own = (0.015 * frame.mask * (1 + 0.4 * streak))[..., None].repeat(3, axis=2)
        return np.asarray(1 - cover * (1 - through), np.float32), np.asarray(own, np.float32)
    colour = np.exp(-takes * (0.55 + 0.75 * dense)[..., None]) * (0.95 + 0.05 * grain)[..., None]
    waxy = enlarged(cloud((shape[0] // 4, shape[1] // 4), rng, 36, 3), shape) + 0.3 * grain
    wax = (rise(0.2, 2.0, waxy) * rng.uniform(0, 0.35))[..., None]
    shade = np.clip(1 + 0.16 * frame.across * across_to_lamp + 0.05 * streak - 0.10 * vein, 0.4, 1.2)[..., None]
    colour = (colour * (1 - wax) + np.array([0.62, 0.68, 0.66], np.float32) * wax) * shade
    glossy = np.exp(-(((frame.across - rng.uniform(-0.5, 0.5)) / rng.uniform(0.06, 0.15)) ** 2)) * rng.uniform(0, 0.14)
    gloss = (glossy * np.clip(1 + 0.5 * slow, 0, 2))[..., None]
    return np.asarray(1 - cover + 0.22 * cover * through, np.float32), np.asarray(
        (colour * 0.78 + gloss) * cover, np.float32
    )


@dataclass(frozen=True)
class _Lie:
    """How the sheath lies in the picture (h, w): turned, off its middle, bowed and wavy."""

    shape: tuple[int, int]
    angle_rad: float
    off_px: float
    bow: float
    wave_px: float
    wave_long_px: float
    wave_at: float

    def places(
        self, count: int, half_high: int, step: int, dx: float = 0.0, dy: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """For every `step`-th pixel, moved by (`dx`, `dy`), its place in the sheath's frame."""
        h, w = self.shape
        y, x = np.mgrid[0:h:step, 0:w:step].astype(np.float32)
        x, y = x - np.float32(w / 2 - dx), y - np.float32(h / 2 - dy)
        c, s = np.float32(np.cos(self.angle_rad)), np.float32(np.sin(self.angle_rad))
        u, v = x * c + y * s, y * c - x * s
        wave = np.float32(self.wave_px) * np.sin(u / np.float32(self.wave_long_px) + np.float32(self.wave_at))
        v = v - np.float32(self.off_px) + np.float32(self.bow) * u * u + wave
        return u / np.float32(_ALONG) + np.float32(count / 2), v + np.float32(half_high)


def _bent(sheet: FloatArray, places: tuple[FloatArray, FloatArray], outside: float) -> FloatArray:
    return np.asarray(cv2.remap(sheet, *places, cv2.INTER_LINEAR, borderValue=(outside,) * 4), np.float32)


def lay_leaf(scene: Scene, angle_rad: float, off_px: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Lay a leaf across the picture, `off_px` from its middle; gives where it lies, (h / 4, w / 4)."""
    half_width, lamp = rng.uniform(110, 255), scene.lamp
    count = int(np.hypot(*scene.shape) * 1.05 / _ALONG)
    frame = _frame(half_width, count, rng)
    to_lamp = float(np.cos(angle_rad) * lamp.y - np.sin(angle_rad) * lamp.x)
    through, own = _sheath(frame, half_width, to_lamp, lamp, rng)
    waves = rng.uniform(0, 22), rng.uniform(300, 700), rng.uniform(0, 6.3)
    lie = _Lie(scene.shape, angle_rad, off_px, rng.normal(0, 6e-5), *waves)
    light = scene.light
    if not lamp.below:
        soft = cv2.GaussianBlur(quarter(frame.mask), (0, 0), 2)
        along, across = (
            np.asarray(p / 4, np.float32) for p in lie.places(count, frame.half_high, 4, lamp.x * 6, lamp.y * 6)
        )
        shadow = _bent(np.asarray(soft, np.float32), (along, across), 0)
        light *= (1 - 0.28 * enlarged(shadow, scene.shape))[..., None]
    places = lie.places(count, frame.half_high, 1)
    light *= _bent(through, places, 1)
    light += _bent(own, places, 0)
    return np.asarray(_bent(frame.mask, lie.places(count, frame.half_high, 4), 0) > 0.5)
