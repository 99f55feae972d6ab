"""Rinse water over the panel: ripples, stains, the vessel's wall, mirrored lamps, edges of films, and what was washed off."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands.solid.draws import Rng, anywhere, blurred, coarse_noise, enlarged, how_many, smooth_noise
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.scene import Scene, panel, scatter, silt
from vision.render.hands.solid.stamps import Light
from vision.types import FloatArray

_MIX = {
    "grit": 1.3,
    "soil": 1.0,
    "flake": 2.4,
    "bud": 0.9,
    "sliver": 1.3,
    "fibre": 1.7,
    "bubble": 1.2,
    "drop": 0.25,
}


def water(rng: Rng, height_px: int, width_px: int) -> Scene:
    """Water with loose things in it, lit from below or mostly from above."""
    picture, tint = panel(rng, height_px, width_px, rng.uniform(0.62, 0.86))
    from_below = rng.random() < 0.7
    above = tint * (0.12 if from_below else 0.75) * rng.uniform(0.7, 1.2)
    light = Light(1.0, above, 0.0, 1.0) if from_below else Light(0.45, above, 0.3, 2.5)
    if rng.random() < 0.7:
        # Soft caustics of ripples.
        ripple = coarse_noise(rng, (height_px, width_px), 4, rng.uniform(14, 40), 2)
        picture *= (1 + np.float32(rng.uniform(0.01, 0.05)) * (np.exp(-np.abs(ripple) * 2.2) - 0.3))[..., None]
    stain = np.clip(coarse_noise(rng, (height_px, width_px), 8, 40, 3), 0, 3)[..., None]
    picture *= np.exp(-stain * np.array([0.02, 0.02, 0.045], np.float32) * np.float32(rng.uniform(0, 1.3)))
    if rng.random() < 0.4:
        _wall(picture, rng)
    for _ in range(rng.integers(0, 3)):
        _mirrored(picture, rng)
    for _ in range(rng.integers(0, 4)):
        _film_edge(picture, rng)
    silt(picture, rng, how_many(rng, 300, 1800, picture), rng.uniform(0.4, 1))
    mix = {name: weight * rng.uniform(0.4, 1.8) for name, weight in _MIX.items()}
    scatter(picture, rng, how_many(rng, 60, 151, picture), mix, light, blur_px=1.3)
    return Scene(picture, "water", light)


def _wall(picture: FloatArray, rng: Rng) -> None:
    """The vessel's round wall across a side of the picture: dark and bright bands, dimmer behind it."""
    height_px, width_px = picture.shape[:2]
    y, x = np.mgrid[0:height_px:4, 0:width_px:4].astype(np.float32)
    half = np.hypot(height_px, width_px) / 2
    radius, reach = half * rng.uniform(0.9, 1.85), half * rng.uniform(0.45, 0.72)
    middle = np.array([width_px / 2, height_px / 2]) + unit(rng.uniform(0, 6.28)) * (reach - radius) * [1, 0.9]
    out = np.hypot(x - middle[0], y - middle[1]) - radius
    wide = rng.uniform(10, 26)
    dark = 0.55 * np.exp(-((out / wide) ** 2)) - 0.25 * np.exp(-(((out - 2.2 * wide) / (wide * 0.6)) ** 2))
    dark = dark + 0.35 * np.exp(-(((out - 4 * wide) / wide) ** 2)) + (out > 4 * wide) * rng.uniform(0.1, 0.5)
    dark = enlarged(blurred(dark.astype(np.float32), 1.5), height_px, width_px)
    picture *= np.exp(-dark * np.float32(rng.uniform(0.6, 1.4)))[..., None]


def _mirrored(picture: FloatArray, rng: Rng) -> None:
    """A lamp or window mirrored in the water."""
    height_px, width_px = picture.shape[:2]
    spot = np.zeros((height_px // 8 + 1, width_px // 8 + 1), np.float32)
    x, y = anywhere(rng, spot)
    size = (float(rng.uniform(6, 50)), float(rng.uniform(4, 26)))
    cv2.ellipse(spot, ((float(x), float(y)), size, float(rng.uniform(0, 180))), (1.0,), -1)
    spot = blurred(spot, rng.uniform(0.8, 4)) * (1 + 0.25 * smooth_noise(rng, spot.shape, 9, 2))
    picture += enlarged(spot, height_px, width_px, smooth=True)[..., None] * np.float32(rng.uniform(0.03, 0.16))


def _film_edge(picture: FloatArray, rng: Rng) -> None:
    """The edge of a film: a dark and a bright line side by side."""
    height_px, width_px = picture.shape[:2]
    walk = np.cumsum(rng.normal(0, 1, (60, 2)), axis=0).astype(np.float32)
    points = np.asarray(cv2.GaussianBlur(walk, (1, 19), 1, sigmaY=3)) * rng.uniform(25, 60) + anywhere(rng, picture)
    drawn = np.zeros((height_px, width_px), np.uint8)
    cv2.polylines(drawn, [(points * 16).astype(np.int32).reshape(-1, 1, 2)], False, (255,), 2, cv2.LINE_AA, 4)
    line = blurred(np.asarray(drawn / 255, np.float32), rng.uniform(0.8, 1.8))
    picture *= (1 - np.float32(rng.uniform(0.1, 0.35)) * line + np.float32(0.2) * np.roll(line, 3, 0))[..., None]
