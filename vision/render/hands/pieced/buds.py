"""The small solids of a floret: green buds whose sepals meet at the tip, or the knobs of a curd; stalks. Sizes are from memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands.pieced.pile import Solid, solid
from vision.render.hands.pieced.textures import cloud, pick, rise, texture
from vision.types import FloatArray

SIZES, TURNS = 6, 12
_STRETCHES = (1.0, 1.2, 1.45)


@dataclass(frozen=True)
class Buds:
    """Buds of some sizes, stretches and turns to set down many times, and a large cut (n, n) of grain for them."""

    ready: dict[tuple[int, int, int], Solid]
    grain: FloatArray

    def one(self, size: int, stretch: int, turn: int, rng: np.random.Generator) -> Solid:
        """A bud with grain of its own."""
        made = self.ready[size, stretch, turn]
        return Solid(made.height, made.inward, self.cut(made.height.shape, rng))

    def cut(self, shape: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
        """(h, w) of the grain."""
        top, left = (int(rng.integers(0, whole - side)) for whole, side in zip(self.grain.shape, shape, strict=True))
        return self.grain[top : top + shape[0], left : left + shape[1]]


def _bud(radius: float, stretch: float, turn: float, curd: bool, rng: np.random.Generator) -> Solid:
    n = int(radius * stretch * 1.12) + 2
    y, x = np.mgrid[-n : n + 1, -n : n + 1].astype(np.float32)
    u, v = (x * np.cos(turn) + y * np.sin(turn)) / stretch, y * np.cos(turn) - x * np.sin(turn)
    angle = np.arctan2(v, u)
    uneven = rng.uniform(0.02, 0.07) * np.cos(2 * angle + rng.uniform(0, 6)) + 0.05 * np.cos(
        3 * angle + rng.uniform(0, 6)
    )
    out = np.hypot(u, v) / (radius * (1 + uneven))
    height = radius * (0.75 if curd else 0.95) * np.sqrt(np.clip(1 - out * out, 0, 1))
    if not curd:
        seam = np.abs(np.sin((angle + rng.uniform(0, 3)) * pick(rng, (3, 4)) / 2))
        deep = np.exp(-((seam * out / 0.10) ** 2)) * rise(0.02, 0.3, out) * rise(1.0, 0.7, out)
        height = height - radius * 0.16 * deep
    return solid(height, out < 1, 1 - out, out)


def buds(curd: bool, rng: np.random.Generator) -> Buds:
    """Buds 0.8 to 2 mm wide and more, or a curd's knobs."""
    radii = np.linspace(7, 20, SIZES) if curd else np.linspace(8, 18, SIZES)
    ready = {
        (size, stretched, turn): _bud(radius, stretch, turn * np.pi / 6 + rng.uniform(0, 0.4), curd, rng)
        for size, radius in enumerate(radii)
        for stretched, stretch in enumerate(_STRETCHES)
        for turn in range(TURNS)
    }
    whole = (760, 760)
    grain = 0.65 * texture("moon" if curd else "immunohistochemistry", whole, rng, 0.6) + 0.5 * texture(
        "grass", whole, rng, 0.5
    )
    if curd:
        grain = 0.5 * grain + 0.5 * texture("gravel", whole, rng, 0.5)
    return Buds(ready, np.asarray(grain, np.float32))


def stalk(
    start: tuple[float, float],
    end: tuple[float, float],
    half_px: float,
    shape: tuple[int, ...],
    rng: np.random.Generator,
) -> tuple[Solid, float, float] | None:
    """The part that lies in a picture (h, w) of a stalk between two points (x, y), and where its middle lies; None beside it."""
    (x0, y0), (x1, y1) = start, end
    long = float(np.hypot(x1 - x0, y1 - y0)) + 1e-6
    way_x, way_y = (x1 - x0) / long, (y1 - y0) / long
    reach = half_px * 1.3
    left, right = max(0, int(min(x0, x1) - reach)), min(shape[1], int(max(x0, x1) + reach) + 2)
    top, bottom = max(0, int(min(y0, y1) - reach)), min(shape[0], int(max(y0, y1) + reach) + 2)
    if right - left < 3 or bottom - top < 3:
        return None
    y, x = np.mgrid[top:bottom, left:right].astype(np.float32)
    along = np.clip((x - x0) * way_x + (y - y0) * way_y, 0, long)
    away = np.hypot(x - x0 - along * way_x, y - y0 - along * way_y)
    wavy = 0.12 * np.sin(along / rng.uniform(30, 60) + rng.uniform(0, 6))
    half = half_px * (1 - 0.25 * along / long + wavy)
    out = away / half
    height = half * 0.8 * np.sqrt(np.clip(1 - out * out, 0, 1)) - half_px * 0.25
    streaks = texture("grass", out.shape, rng, 0.8, float(np.arctan2(way_y, way_x)), 5)
    return solid(height, out < 1, 1 - out, streaks), left + (right - left) // 2, top + (bottom - top) // 2


def bed(radius: float, grown: Buds, rng: np.random.Generator) -> Solid:
    """The dark ground that is seen between the buds of a head."""
    n = min(int(radius), grown.grain.shape[0] // 2 - 2)
    out = np.hypot(*np.mgrid[-n : n + 1, -n : n + 1].astype(np.float32)) / n
    out = out + 0.12 * cloud(out.shape, rng, max(4.0, n / 3), 2)
    return solid(8 * (1 - out), out < 1, np.full_like(out, 0.3), grown.cut(out.shape, rng))
