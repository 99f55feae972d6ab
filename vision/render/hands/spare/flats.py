"""Flat grounds: the lit panel, rinse water in a white tray over it, and wet woven cloth."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare.fields import Rng, cloud, colour, wide_blurred
from vision.render.hands.spare.plate import Ground
from vision.types import FloatArray

_CASTS = ((1.0, 1.0, 1.0), (1.0, 0.97, 0.90), (0.93, 0.98, 1.0), (0.98, 1.0, 0.94), (1.0, 0.94, 0.86))


def cast(rng: Rng) -> FloatArray:
    """The colour (3,) of a lamp."""
    hue = np.array(_CASTS[int(rng.integers(len(_CASTS)))]) * np.exp(rng.normal(0, 0.015, 3))
    return np.asarray(hue / hue.max(), np.float32)


def panel(rng: Rng, height_px: int, width_px: int, level: float) -> FloatArray:
    """Light of a diffuse panel (h, w, 3): brightest somewhere about the middle, falling off a little, with a slow unevenness."""
    y = (np.arange(height_px, dtype=np.float32) / height_px - np.float32(rng.uniform(0.3, 0.7)))[:, None]
    x = (np.arange(width_px, dtype=np.float32) / width_px - np.float32(rng.uniform(0.3, 0.7)))[None, :]
    fall = np.exp(-np.float32(rng.uniform(0.05, 0.7)) * (x * x + y * y) + np.float32(rng.normal(0, 0.08)) * x)
    slow = cloud(rng, height_px, width_px, max(height_px / 3, 60)) * np.float32(rng.uniform(0.002, 0.02))
    return np.asarray((fall * (1 + slow) * np.float32(level))[..., None] * cast(rng), np.float32)


def water(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Rinse water: a little turbid and tinted, its waves gathering light in soft bright lines; sometimes a wall of the tray."""
    light = panel(rng, height_px, width_px, float(rng.uniform(0.55, 0.92)))
    turbid = cloud(rng, height_px, width_px, float(rng.uniform(80, 260))) * np.float32(rng.uniform(0.0, 0.035))
    tint = colour(
        *rng.choice([[0.10, 0.05, 0.16], [0.06, 0.06, 0.07], [0.12, 0.10, 0.22], [0.10, 0.04, 0.04]])
    ) * float(rng.uniform(0.2, 1.4))
    light *= np.exp(-(1 + turbid * 6)[..., None] * tint)
    if rng.random() < 0.6:
        grain = float(rng.uniform(50, 160))
        wave = np.abs(cloud(rng, height_px, width_px, grain, float(rng.uniform(1, 2.5))))
        light *= (1 + np.float32(rng.uniform(0.01, 0.06)) * (np.exp(-9 * wave * wave) - 0.2))[..., None]
    if rng.random() < 0.3:
        _wall(rng, light)
    flat = np.zeros((height_px, width_px), np.float32)
    return Ground(
        light,
        cast(rng) * np.float32(rng.uniform(0.02, 0.2)),
        flat,
        flat > 1,
        float(rng.uniform(0, 0.05)),
        "water",
        float(rng.uniform(0, 0.5)),
    )


def _wall(rng: Rng, light: FloatArray) -> None:
    """Darken one side of the picture, in place, as the tray's wall and the water's edge against it do."""
    h, w = light.shape[:2]
    upright = rng.random() < 0.5
    long_px = w if upright else h
    place = long_px * float(rng.uniform(0.01, 0.06))
    at = np.arange(long_px, dtype=np.float32)
    fade = (
        1
        - np.float32(rng.uniform(0.15, 0.5)) / (1 + np.exp((at - place) / 4))
        - 0.12 * np.exp(-(((at - place - 8) / 6) ** 2))
    )
    fade = fade[::-1] if rng.random() < 0.5 else fade
    light *= (fade[None, :] if upright else fade[:, None])[..., None]


def cloth(rng: Rng, height_px: int, width_px: int) -> Ground:
    """Wet woven cloth, white mostly: threads over and under each other, uneven, with folds and wet patches."""
    pitch_px = float(rng.uniform(0.28, 0.75)) * PX_PER_MM
    turn = float(rng.uniform(0, np.pi))
    y = np.arange(height_px, dtype=np.float32)[:, None]
    x = np.arange(width_px, dtype=np.float32)[None, :]
    warp_turn = turn + np.pi / 2 + float(rng.normal(0, 0.06))
    wander = np.float32(rng.uniform(0.1, 0.5))
    u, v = (
        (x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))) * np.float32(np.pi / pitch_px)
        + wander * cloud(rng, height_px, width_px, 60)
        for a in (turn, warp_turn)
    )
    # A plain weave: in |sin u| one thread a half wave, and the product of the two cosines' signs says which set lies over.
    cu, su, cv_, sv = np.cos(u), np.sin(u), np.cos(v), np.sin(v)
    over = 0.5 + 0.5 * np.tanh(3 * cu * cv_)
    threads = np.abs(su) * over + np.abs(sv) * (1 - over)
    twist = cloud(rng, height_px, width_px, max(pitch_px / 4, 1.5)) * np.float32(rng.uniform(0.02, 0.07))
    relief = cloud(rng, height_px, width_px, float(rng.uniform(150, 400)))
    dark = rng.random() < 0.22
    depth = float(rng.uniform(0.12, 0.5)) * (1.4 if dark else 1.0)
    dens = depth * (0.9 - threads) + twist * (2 if dark else 1) + relief * np.float32(rng.uniform(0.01, 0.06))
    hue = (
        np.array([[0.05, 0.06, 0.09], [0.07, 0.07, 0.07], [0.04, 0.08, 0.07], [0.12, 0.06, 0.05]][int(rng.integers(4))])
        if dark
        else np.array([0.80, 0.79, 0.76]) * np.exp(rng.normal(0, 0.03, 3))
    )
    light = panel(rng, height_px, width_px, float(rng.uniform(0.6, 0.95)))
    light *= hue.astype(np.float32)
    light *= np.asarray(cv2.exp(-dens), np.float32)[..., None]
    wet = cloud(rng, height_px, width_px, float(rng.uniform(120, 350))) > rng.uniform(-0.5, 1.5)
    soaked = wide_blurred(wet.astype(np.float32), 10)
    light *= (1 - np.float32(rng.uniform(0.03, 0.2)) * soaked)[..., None]
    flat = np.zeros((height_px, width_px), np.float32)
    return Ground(
        light,
        cast(rng) * np.float32(rng.uniform(0.35, 0.8)),
        flat,
        flat > 1,
        float(rng.uniform(0.15, 0.4)),
        "cloth",
        0.7,
    )
