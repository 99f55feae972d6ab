"""Peeled layers of onion and leek: nearly colourless translucent skins with veins that run together, wrinkled and folded.

Densities are natural-log absorbance for red, green, blue; values by eye (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.layers_pile import FieldOf, Grid, Sheet, along_ridges, ridges, sheet, soft_step, streaks
from vision.render.layers_trails import FRASS, Tunnel
from vision.types import FloatArray

_HUES = {"onion": (0.9, 0.92, 1.2), "leek": (0.95, 0.8, 1.3), "brown": (0.7, 0.95, 1.6)}


@dataclass(frozen=True)
class SkinLook:
    """What a peeled layer is drawn as; `hue` (3,) is its absorbance."""

    length_mm: float
    width_mm: float
    hue: FloatArray
    pitch_mm: float
    vein: float
    meet: float
    wrinkled: float
    wet: float
    edge: float

    @property
    def covers_mm(self) -> tuple[float, float]:
        """About how long and how wide it is within its ragged outline."""
        return 0.87 * self.length_mm, 0.82 * self.width_mm

    @property
    def whole_mm(self) -> tuple[float, float]:
        """Length and width of its middle part, which no tear reaches."""
        return 0.5 * self.length_mm, 0.45 * self.width_mm


def draw_skin_look(rng: np.random.Generator, most_mm: float, *, heated: bool, wild: bool) -> SkinLook:
    """Looks of one layer, from the film of one cell to a fleshy leaf; `most_mm`: as large as is worth drawing."""
    kind = str(rng.choice(["onion", "leek", "brown"], p=[0.62, 0.33, 0.05]))
    film = rng.random() < 0.45
    thick = rng.uniform(0.06, 0.2) if film else rng.uniform(0.22, 0.6)
    thick *= (0.75 if heated else 1.0) * (np.exp(rng.normal(0, 0.6)) if wild else 1.0)
    hue = np.array(_HUES[kind]) * np.exp(rng.normal(0, 0.22 if wild else 0.05, 3))
    if heated:
        hue = hue * [0.95, 1.0, 1.35]
    stretch = float(np.exp(rng.normal(0, 0.5))) if wild else 1.0
    return SkinLook(
        length_mm=min(float(rng.uniform(35.0, 90.0)), most_mm),
        width_mm=min(float(rng.uniform(18.0, 48.0)), 0.8 * most_mm),
        hue=np.clip(hue * thick, 0.03, 2.0).astype(np.float32),
        pitch_mm=float(np.clip(rng.uniform(0.7, 1.9) * stretch, 0.3, 4.0)),
        vein=float(rng.uniform(0.04, 0.1) if film else rng.uniform(0.07, 0.2)),
        meet=float(rng.uniform(0.0, 0.55)),
        wrinkled=float(rng.uniform(0.5, 1.5) if film else rng.uniform(0.0, 0.5)),
        wet=float(rng.uniform(0.4, 0.9) if heated else rng.uniform(0.1, 0.8)),
        edge=float(rng.uniform(0.12, 0.3)),
    )


def draw_skin(rng: np.random.Generator, look: SkinLook, grid: Grid, tunnels: list[Tunnel]) -> Sheet:
    """One layer with the miners' `tunnels` in it, as far as `grid` goes."""
    shape, px_per_mm, s, v = grid.shape, grid.px_per_mm, grid.along, grid.across

    def field_of(across_mm: float, along_mm: float) -> FloatArray:
        return streaks(rng, shape, across_mm * px_per_mm, along_mm * px_per_mm)

    # Veins run together towards the ends of the bulb's layer, which lie beyond the piece or at one end of it.
    pole = s / np.float32(look.length_mm) + np.float32(rng.uniform(-0.4, 0.4))
    narrowing = 1.0 - np.float32(look.meet) * np.minimum(4.0 * pole * pole, 1.5) * 0.6
    apart = v / narrowing + 0.2 * field_of(9.0, 25.0)
    profile, per_mm = ridges(rng, 2.6 * look.width_mm + 4.0, look.pitch_mm, px_per_mm)
    veins = along_ridges(profile, per_mm, apart + np.float32(1.3 * look.width_mm + 2.0))
    cells = field_of(0.07, 0.38) + 0.6 * field_of(0.16, 0.7)
    amount = 1.0 + 0.16 * field_of(7.0, 14.0) + 0.07 * field_of(0.9, 6.0)
    level = field_of(6.0, 10.0) + 0.4 * field_of(1.5, 2.2) + np.float32(2.0 * look.wet - 1.0)
    wet = 0.5 + 0.5 * np.tanh(8.0 * level)
    density = look.hue * (np.maximum(amount, 0.2) * (1.0 - 0.25 * wet))[..., None]
    lines = np.float32(look.vein) * veins * (1.0 - 0.25 * wet)
    lines += (0.012 + 0.02 * np.float32(look.hue.mean())) * cells * (1.0 - 0.5 * wet)
    lines += 0.05 * np.exp(-((level / 0.04) ** 2))
    lines += _wrinkles(look, field_of, px_per_mm) * (1.0 - 0.5 * wet)
    inside, flap = _outline(rng, look, s, v, shape, px_per_mm), None
    if not tunnels and rng.random() < 0.3:
        inside, flap = _folded(rng, look, inside, s, v, px_per_mm)
    # An edge bends the light aside: a thin dark line, and a paler one inside it.
    thin = np.float32(np.hypot(0.07, 0.35 / px_per_mm))
    rim = np.exp(-(((inside - thin) / thin) ** 2)) - 0.35 * np.exp(-(((inside - 3.2 * thin) / (1.5 * thin)) ** 2))
    lines += np.float32(look.edge) * rim
    lines += _folds(rng, look, s, v, px_per_mm)
    density = density + lines[..., None] * np.array([1.0, 1.0, 1.08], np.float32)
    if flap is not None:
        density *= (1.0 + 0.9 * soft_step(flap, px_per_mm))[..., None]
        density += (0.16 * np.exp(-((flap / (1.2 * thin)) ** 2)))[..., None]
    for tunnel in tunnels:
        density *= (1.0 - np.float32(rng.uniform(0.3, 0.65)) * tunnel.body)[..., None]
        density += (0.1 * 4.0 * tunnel.body * (1.0 - tunnel.body))[..., None]
        density += tunnel.frass[..., None] * FRASS * np.float32(rng.uniform(0.6, 1.1))
    return sheet(density, soft_step(inside, px_per_mm), grid, haze_mm=0.16 * float(min(look.hue.mean(), 1.0)))


def _outline(
    rng: np.random.Generator, look: SkinLook, s: FloatArray, v: FloatArray, shape: tuple[int, int], px_per_mm: float
) -> FloatArray:
    """Depth inside the torn outline in mm."""
    high, wide = shape
    inside = np.full(shape, np.inf, np.float32)
    half_v, half_s = look.width_mm / 2, look.length_mm / 2
    bulge = rng.uniform(0.0, 0.35)
    for side in (-1.0, 1.0):
        waves = [(2.2, 20.0), (0.5, 5.0), (0.12, 0.8)]
        edge = sum(size * streaks(rng, (1, wide), 1.0, pitch * px_per_mm) for size, pitch in waves)
        room = 0.1 * look.width_mm + bulge * half_v * (s / np.float32(half_s)) ** 2
        inside = np.minimum(inside, half_v - room - side * v + np.clip(edge, -0.2 * half_v, room))
    for side in (-1.0, 1.0):
        waves = [(3.5, 14.0), (1.1, 4.0), (0.18, 0.8), (0.06, 0.2)]
        edge = sum(size * streaks(rng, (high, 1), pitch * px_per_mm, 1.0) for size, pitch in waves)
        tilt = rng.uniform(-0.4, 0.4) * v
        inside = np.minimum(inside, 0.87 * half_s - side * s + np.clip(edge + tilt, -0.33 * half_s, 0.13 * half_s))
    return inside


def _folded(
    rng: np.random.Generator, look: SkinLook, inside: FloatArray, s: FloatArray, v: FloatArray, px_per_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Depth inside the outline after a corner is folded back over the rest, and inside the part that then lies double."""
    half_v, half_s = look.width_mm / 2, look.length_mm / 2
    a = rng.uniform(0, 2 * np.pi)
    reach = abs(np.cos(a)) * half_s + abs(np.sin(a)) * half_v
    # The corner beyond the line is folded back over it.
    along = s * np.float32(np.sin(a)) - v * np.float32(np.cos(a))
    beyond = rng.uniform(0.5, 0.8) * reach - (s * np.float32(np.cos(a)) + v * np.float32(np.sin(a)))
    beyond = (
        beyond
        + rng.uniform(-0.012, 0.004) * along**2
        + np.float32(0.15) * np.sin(along * np.float32(rng.uniform(0.3, 0.9)))
    )
    wave = 0.6 * streaks(rng, (inside.shape[0], inside.shape[1]), 6.0 * px_per_mm, 6.0 * px_per_mm)
    flap = np.minimum(beyond, rng.uniform(0.1, 0.3) * reach + wave - beyond)
    return np.minimum(inside, beyond), flap.astype(np.float32)


def _wrinkles(look: SkinLook, field_of: FieldOf, px_per_mm: float) -> FloatArray:
    """Fine folds mostly along the veins: where a slow field crosses zero there is a dark line with a pale side."""
    total = np.zeros((1, 1), np.float32)
    for across, along, size in ((2.2, 16.0, 0.11), (0.8, 5.0, 0.05)):
        slow, where = field_of(across, along), field_of(4.0 * across, along)
        sharp = max(0.09, 0.5 / (px_per_mm * across))
        line = np.exp(-((slow / sharp) ** 2)) - 0.5 * np.exp(-(((slow - 2.2 * sharp) / (1.4 * sharp)) ** 2))
        total = total + size * line * np.clip(where - 0.3 + 0.4 * look.wrinkled, 0.0, 1.0)
    return np.asarray(total * np.float32(look.wrinkled), np.float32)


def _folds(rng: np.random.Generator, look: SkinLook, s: FloatArray, v: FloatArray, px_per_mm: float) -> FloatArray:
    """Narrow pleats: a strip that lies threefold, dark, with sharp sides."""
    total = np.zeros(np.broadcast_shapes(s.shape, v.shape), np.float32)
    for _ in range(int(rng.poisson(0.4))):
        a = rng.normal(0.0, 0.25) if rng.random() < 0.7 else rng.uniform(0, np.pi)
        off = v * np.float32(np.cos(a)) - s * np.float32(np.sin(a)) - np.float32(rng.uniform(-0.4, 0.4) * look.width_mm)
        along = s * np.float32(np.cos(a)) + v * np.float32(np.sin(a))
        off = off + np.float32(0.5) * np.sin(
            along * np.float32(rng.uniform(0.05, 0.2)) + np.float32(rng.uniform(0, 6.3))
        )
        fade = np.clip(rng.uniform(0.3, 1.0) * look.length_mm / 2 - np.abs(along - rng.normal(0, 10.0)), 0.0, 6.0) / 6.0
        wide = rng.uniform(0.03, 0.3) * np.sqrt(fade)
        strip = soft_step(wide - np.abs(off), px_per_mm)
        total += strip * np.float32(2.0 * look.hue.mean() * rng.uniform(0.4, 1.0) + 0.04) * fade
    return total
