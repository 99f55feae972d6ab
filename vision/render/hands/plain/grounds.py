"""What everything lies on: a lit panel, water in a white tray over it, wet woven cloth. All sRGB 0..1, (h, w, 3)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.plain.anatomy import Colour, varied
from vision.render.hands.plain.canvas import spots


def panel(h: int, w: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """An even white plate, a little off white."""
    colour = np.array([0.9, 0.9, 0.9]) * rng.uniform(0.92, 1.05) + rng.normal(0, 0.012, 3)
    plate = np.empty((h, w, 3), np.float32)
    plate[:] = colour.astype(np.float32)
    return plate


def water(h: int, w: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """The panel through water: slow waves of light, cloudiness, and perhaps the wall of the tray along one side."""
    plate = panel(h, w, rng)
    tint = np.array([1.0, 1.0, 1.0]) - np.abs(rng.normal(0, 0.03, 3)) * rng.uniform(0, 1.5)
    waves = rng.uniform(0.002, 0.014) * spots(rng, h, w, int(rng.integers(25, 70)))
    waves += rng.uniform(0.004, 0.02) * spots(rng, h, w, int(rng.integers(120, 260)))
    plate *= (np.float32(1) + waves.astype(np.float32))[..., None] * tint.astype(np.float32)
    if rng.random() < 0.4:
        wall = _wall(h, w, rng)
        plate *= wall[..., None]
    return plate


def _wall(h: int, w: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """The light where the tray bends up along a side: a dark line at the bend, then a band a little darker."""
    turn, room = rng.uniform(-0.05, 0.05), min(h, w)
    across = np.arange(w, dtype=np.float32)[None, :] + np.float32(turn) * np.arange(h, dtype=np.float32)[:, None]
    past = np.float32(rng.uniform(0.04, 0.12) * room + 48) - across
    band = 1 / (1 + np.exp(np.clip(-past / 6, -30, 30)))
    line = np.exp(-((past / 9) ** 2))
    wall = (1 - rng.uniform(0.06, 0.2) * band - rng.uniform(0.05, 0.2) * line).astype(np.float32)
    return wall if rng.random() < 0.5 else wall[:, ::-1]


def cloth(h: int, w: int, rng: np.random.Generator, dark: bool) -> NDArray[np.float32]:
    """A plain weave at any angle: threads over and under each other, uneven threads, a few darker wet patches."""
    pale: list[Colour] = [(0.88, 0.88, 0.87), (0.85, 0.86, 0.89), (0.88, 0.85, 0.78)]
    deep: list[Colour] = [(0.13, 0.15, 0.22), (0.16, 0.16, 0.16), (0.12, 0.22, 0.24), (0.30, 0.14, 0.15)]
    plain = deep if dark else pale
    colour = np.array(varied(plain[int(rng.integers(len(plain)))], rng, 0.015), np.float32)
    turn, pitch = rng.uniform(0, np.pi), float(rng.uniform(7.0, 17.0))
    cos, sin = np.float32(np.cos(turn) / pitch), np.float32(np.sin(turn) / pitch)
    xs, ys = np.arange(w, dtype=np.float32)[None, :], np.arange(h, dtype=np.float32)[:, None]
    stray = spots(rng, h, w, 90) * np.float32(rng.uniform(0.05, 0.4))
    u = xs * cos + ys * sin + stray + np.float32(4000)
    v = (ys * cos - xs * sin) * np.float32(rng.uniform(0.85, 1.15)) + stray[::-1] + np.float32(4000)
    across, down = u.astype(np.int32), v.astype(np.int32)
    over = ((across + down) & 1).astype(np.float32)
    # A thread is brightest along its middle, and sinks where it goes under its neighbour.
    fu, fv = u - across - np.float32(0.5), v - down - np.float32(0.5)
    along_over, along_under = over * fu + (1 - over) * fv, over * fv + (1 - over) * fu
    relief = 1 - 3.2 * along_over * along_over - 1.2 * along_under * along_under
    uneven = rng.normal(0, 1, 8192).astype(np.float32)
    threads = over * uneven[across & 8191] + (1 - over) * uneven[(down + 977) & 8191]
    depth = np.float32(rng.uniform(0.08, 0.3))
    tone = 1 + depth * (relief - np.float32(0.6)) + np.float32(rng.uniform(0.01, 0.035)) * threads
    wet = spots(rng, h, w, int(rng.integers(90, 200)))
    tone *= 1 - np.float32(rng.uniform(0, 0.1)) * np.clip(2 * wet, 0, 1)
    return np.asarray(tone[..., None] * colour, np.float32)
