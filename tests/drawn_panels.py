"""Blanks of light panels drawn by numpy alone, away from the program's own renderer: falloff, lamps, coloured edges, perspective."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.light import encode_srgb
from vision.types import CameraFacts, Shot

Light = NDArray[np.float32]


@dataclass(frozen=True)
class Panel:
    """A panel of `wide` x `high` pixels; lengths in millimetres of `px_per_mm`."""

    wide: int = 2000
    high: int = 1500
    px_per_mm: float = 10.0
    view_deg: float = 20.0
    """Half the angle of view along the longer side; light falls with the fourth power of the cosine."""
    hot: float = 0.25
    hot_at: tuple[float, float] = (0.35, 0.6)
    pitch_mm: tuple[float, float] = (15.0, 0.0)
    """Lamps apart in rows and columns; 0: none in that direction."""
    ripple: float = 0.05
    colour: tuple[float, float, float] = (1.0, 0.96, 0.9)
    edge_cast: float = 0.06
    """Share by which blue gains and red loses at the edge."""
    tilt: float = 0.0
    """Perspective: share by which the far side is shorter."""
    marks: tuple[tuple[float, float, float, float, float, float], ...] = ()
    """x, y, length, width in pixels, degrees, density."""
    extra: Callable[[Light], Light] | None = field(default=None, compare=False)


def lamps(panel: Panel, shift: tuple[float, float] = (0.0, 0.0)) -> Light:
    """Linear light of the bare panel, (h, w, 3), about 0.55 in its middle; `shift`: pixels by which panel and marks lie further on."""
    y, x = np.mgrid[0 : panel.high, 0 : panel.wide].astype(np.float32)
    px, py = (x - shift[0]), (y - shift[1])
    if panel.tilt:
        depth = 1 + panel.tilt * (py / panel.high - 0.5)
        px, py = (px - panel.wide / 2) / depth + panel.wide / 2, (py - panel.high / 2) / depth + panel.high / 2
    far = np.hypot(x - panel.wide / 2, y - panel.high / 2) / (panel.wide / 2)
    falloff = np.cos(np.arctan(far * np.tan(np.deg2rad(panel.view_deg)))) ** 4
    spot = np.exp(-((px / panel.wide - panel.hot_at[0]) ** 2 + (py / panel.high - panel.hot_at[1]) ** 2) / 0.1)
    light = falloff * (1 + panel.hot * spot)
    for at, pitch in ((px, panel.pitch_mm[0]), (py, panel.pitch_mm[1])):
        if pitch:
            light = light * (1 + panel.ripple * np.cos(2 * np.pi * at / (pitch * panel.px_per_mm) + 0.7))
    edge = np.clip(far, 0, 1.2) ** 4
    tint = np.stack([1 - panel.edge_cast * edge, np.ones_like(edge), 1 + panel.edge_cast * edge], axis=-1)
    lit = (0.5 * light)[..., None] * tint * np.array(panel.colour, np.float32)
    for mx, my, long, wide, angle, density in panel.marks:
        cover = np.zeros((panel.high, panel.wide), np.float32)
        cv2.ellipse(cover, ((mx + shift[0], my + shift[1]), (long, wide), angle), (1.0,), -1, cv2.LINE_AA)
        lit *= 10 ** (-density * cv2.GaussianBlur(cover, (0, 0), 0.8))[..., None]
    return np.asarray(lit if panel.extra is None else panel.extra(lit), np.float32)


@cache
def _codes(bits: int) -> NDArray[Any]:
    codes = np.rint(encode_srgb(np.arange(65536) / 65535) * (2**bits - 1))
    return codes.astype(np.uint8 if bits == 8 else np.uint16)


def photograph(
    light: Light,
    seed: int,
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.01,
    bits: int = 8,
    bands: tuple[float, float, str] | None = None,
    camera: CameraFacts | None = None,
) -> Shot:
    """A shot of it with relative noise (at half of full scale, growing as 1/sqrt(light)); `bands`: amplitude, period in pixels, axis."""
    rng = np.random.default_rng(seed)
    lit = light * np.array(gain, np.float32)
    if bands is not None:
        amplitude, period, axis = bands
        i = np.arange(light.shape[0] if axis == "rows" else light.shape[1])
        wave = (1 + amplitude * np.cos(2 * np.pi * i / period + rng.uniform(0, 2 * np.pi))).astype(np.float32)
        lit = lit * (wave[:, None, None] if axis == "rows" else wave[None, :, None])
    grain = rng.standard_normal(lit.shape, dtype=np.float32) * noise / np.sqrt(np.maximum(lit / 0.5, 0.02))
    pixels = _codes(bits)[np.clip(np.rint(lit * (1 + grain) * 65535), 0, 65535).astype(np.uint16)]
    return Shot(pixels, f"{seed:064x}", f"blank{seed}.png", camera=camera or CameraFacts())


MARKS = (
    (300.0, 220.0, 26.0, 16.0, 20.0, 0.5), (1500.0, 300.0, 190.0, 3.0, 12.0, 0.15), (900.0, 1150.0, 240.0, 3.0, 100.0, 0.12),
    (1750.0, 1200.0, 18.0, 14.0, 0.0, 0.4), (420.0, 900.0, 160.0, 3.0, 60.0, 0.2), (1200.0, 650.0, 12.0, 10.0, 0.0, 0.35),
)  # fmt: skip
"""On a picture of 2000 x 1500 pixels."""
