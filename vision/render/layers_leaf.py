"""Opened leaf tubes and sheaths of scallions, laid flat and lit through: how they take light away.

Densities are natural-log absorbance for red, green, blue; values by eye (common practice, no source). Veins 0.2 to 0.6 mm apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.layers_pile import FieldOf, Grid, Sheet, along_ridges, ridges, sheet, soft_step, streaks
from vision.render.layers_trails import FRASS, Tunnel
from vision.types import FloatArray

WIDTH_MM = (8.0, 20.0)
_WHITE, _PALE, _DEEP = (0.36, 0.31, 0.52), (0.6, 0.36, 1.15), (1.5, 0.9, 2.5)
_SCAR = np.array([-0.12, 0.06, 0.55], np.float32)
VEIN_PITCH_MM = (0.2, 0.6)
_TORN_MM = 3.0
"""How far a torn end may stand out or be cut back."""


@dataclass(frozen=True)
class LeafLook:
    """What a leaf is drawn as. `white`, `green` (3,): absorbance at the two ends; `turn` 0..1: where it is half green."""

    length_mm: float
    width_mm: float
    white: FloatArray
    green: FloatArray
    turn: float
    fade: float
    pitch_mm: float
    vein: float
    wet: float
    texture: float

    @property
    def covers_mm(self) -> tuple[float, float]:
        """About how long and how wide it is within its ragged outline."""
        return self.length_mm - 7.0, 0.9 * self.width_mm - 0.8

    @property
    def whole_mm(self) -> tuple[float, float]:
        """Length and width of its middle part, which no tear reaches."""
        return self.length_mm - 4.0 * _TORN_MM - 1.0, 0.85 * self.width_mm - 2.4


def draw_leaf_look(rng: np.random.Generator, most_mm: float, *, heated: bool, wild: bool) -> LeafLook:
    """Looks of one opened leaf or sheath; `most_mm`: as long as is worth drawing."""
    deep = float(rng.beta(1.3, 1.5))
    white = np.array(_WHITE) * rng.uniform(0.75, 1.5) * np.exp(rng.normal(0, 0.06, 3))
    green = np.array(_PALE) * (1 - deep) + np.array(_DEEP) * deep
    green = green * np.exp(rng.normal(0, 0.08, 3) + rng.normal(0, 0.1))
    if heated:
        # Green turns olive, and water in the tissue lets more light straight through.
        white, green = white * [0.62, 0.66, 0.95], green * [0.72, 0.86, 0.88]
    if wild:
        white, green = (v * np.exp(rng.normal(0, 0.25, 3) + rng.normal(0, 0.45)) for v in (white, green))
    stretch = float(np.exp(rng.normal(0, 0.45))) if wild else 1.0
    return LeafLook(
        length_mm=min(float(rng.uniform(60.0, 150.0)), most_mm),
        width_mm=float(rng.uniform(*WIDTH_MM)),
        white=np.clip(white, 0.05, 3.0).astype(np.float32),
        green=np.clip(green, 0.1, 4.0).astype(np.float32),
        turn=float(rng.choice([rng.uniform(0.15, 0.85), -0.6, 1.6], p=[0.6, 0.3, 0.1])),
        fade=float(rng.uniform(0.08, 0.3)),
        pitch_mm=float(np.clip(rng.uniform(*VEIN_PITCH_MM) * stretch, 0.15, 1.2)),
        vein=float(rng.uniform(0.3, 0.75)) * (float(rng.uniform(-1.0, 1.8)) if wild else 1.0),
        wet=float(rng.uniform(0.3, 0.9) if heated else rng.uniform(0.0, 0.5)),
        texture=float(rng.uniform(0.6, 1.3)) * stretch,
    )


def green_share(look: LeafLook, along: FloatArray) -> FloatArray:
    """How green the leaf is at `along` 0..1 of its length."""
    return np.asarray(1.0 / (1.0 + np.exp(-(along - look.turn) / look.fade * 3.0)), np.float32)


def draw_leaf(rng: np.random.Generator, look: LeafLook, grid: Grid, tunnels: list[Tunnel]) -> Sheet:
    """One leaf with the miners' `tunnels` in it, as far as `grid` goes."""
    shape, px_per_mm, s, v = grid.shape, grid.px_per_mm, grid.along, grid.across

    def field_of(across_mm: float, along_mm: float) -> FloatArray:
        return streaks(rng, shape, across_mm * px_per_mm, along_mm * px_per_mm)

    green = green_share(look, s / np.float32(look.length_mm) + 0.5 + 0.035 * field_of(1.2, 14.0))
    density = look.white + (look.green - look.white) * green[..., None]
    wander = v + 0.12 * field_of(5.0, 22.0)
    profile, per_mm = ridges(rng, look.width_mm + 4.0, look.pitch_mm, px_per_mm)
    veins = along_ridges(profile, per_mm, wander + np.float32(look.width_mm / 2 + 2.0))
    # Veins hold no green: paler where the leaf is green, and denser than the flesh between them where it is white.
    amount = np.asarray(1.0 + np.float32(look.vein) * veins * (0.5 - 1.4 * green), np.float32)
    amount += np.float32(look.texture) * (
        0.1 * field_of(2.5, 18.0) + 0.05 * field_of(0.5, 3.0) + 0.07 * field_of(0.07, 0.3) + 0.04 * field_of(0.14, 0.14)
    )
    middle = np.clip(1.0 - np.abs(v) / np.float32(look.width_mm / 2), 0.0, 1.0).astype(np.float32)
    amount *= 1.0 + 0.16 * (1.0 - green) * middle
    amount += _pith(field_of) * (0.25 + 0.2 * green)
    inside = _outline(rng, look, px_per_mm, s, v, shape)
    # Slit edges curl a little and dry: a thin denser line, paler inside it.
    thin = np.float32(np.hypot(0.09, 0.35 / px_per_mm))
    amount += 0.3 * np.exp(-((inside / thin) ** 2)) - 0.12 * np.exp(-(((inside - 3.0 * thin) / (2.0 * thin)) ** 2))
    amount += _creases(rng, look, s, v, px_per_mm)
    amount = _flap(rng, look, amount, v, field_of(3.0, 9.0))
    dry_edge, wet = _wet(look, field_of)
    amount = amount * (1.0 - 0.16 * wet) + 0.1 * dry_edge
    density = density * np.maximum(amount, 0.08)[..., None]
    density += _scars(rng, look, s, v, field_of)[..., None] * _SCAR
    for tunnel in tunnels:
        left = np.float32(rng.uniform(0.22, 0.55)) + np.float32(0.05) * field_of(0.25, 0.4)
        # The tunnel's walls are cut sharply; its rim dries and scatters a little.
        rim = 4.0 * tunnel.body * (1.0 - tunnel.body)
        density *= (1.0 - tunnel.body * (1.0 - left) + 0.05 * rim)[..., None]
        density += tunnel.frass[..., None] * FRASS * np.float32(rng.uniform(0.7, 1.2))
    return sheet(density, soft_step(inside, px_per_mm), grid, haze_mm=0.14)


def _pith(field_of: FieldOf) -> FloatArray:
    """Shreds of the white pith that lined the tube."""
    return np.asarray(np.clip(0.7 * field_of(1.0, 4.0) + 0.35 * field_of(0.2, 0.9) - 1.1, 0.0, 0.8), np.float32)


def _outline(
    rng: np.random.Generator, look: LeafLook, px_per_mm: float, s: FloatArray, v: FloatArray, shape: tuple[int, int]
) -> FloatArray:
    """Depth inside the outline in mm: slit edges along the leaf, ends torn along the veins or cut."""
    high, wide = shape
    half = look.width_mm / 2
    # Beyond half its width a leaf narrows only slowly; low side waves come from the slit.
    taper = 1.0 - rng.uniform(0.0, 0.15) * (s / np.float32(look.length_mm) + 0.5)
    inside = np.full(shape, np.inf, np.float32)
    for side in (-1.0, 1.0):
        wave = 0.25 * streaks(rng, (1, wide), 1.0, 14.0 * px_per_mm) + 0.05 * streaks(
            rng, (1, wide), 1.0, 1.3 * px_per_mm
        )
        inside = np.minimum(inside, half * taper - 0.4 + wave - side * v)
    for side in (-1.0, 1.0):
        end = 0.6 * streaks(rng, (high, 1), 4.0 * px_per_mm, 1.0) + rng.uniform(-0.25, 0.25) * v
        if rng.random() < 0.7:
            torn = (
                streaks(rng, (high, 1), rng.uniform(0.9, 2.5) * px_per_mm, 1.0),
                streaks(rng, (high, 1), 0.25 * px_per_mm, 1.0),
            )
            end = end + rng.uniform(0.3, 1.5) * torn[0] + rng.uniform(0.05, 0.3) * torn[1]
        room = _TORN_MM
        inside = np.minimum(inside, look.length_mm / 2 - room - side * s + np.clip(end, -_TORN_MM, room))
    return inside


def _creases(rng: np.random.Generator, look: LeafLook, s: FloatArray, v: FloatArray, px_per_mm: float) -> FloatArray:
    """Where the tube was pressed flat, and kinks across it: thin dark lines, pale on one side."""
    lines = np.zeros(np.broadcast_shapes(s.shape, v.shape), np.float32)
    for across in [False] * int(rng.integers(0, 3)) + [True] * int(rng.poisson(0.8)):
        wide = np.float32(np.hypot(rng.uniform(0.05, 0.14), 0.4 / px_per_mm))
        slope = rng.normal(0.0, 0.35 if across else 0.012)
        where = rng.uniform(-0.45, 0.45) * (look.length_mm if across else look.width_mm)
        off = (s - where - slope * v) if across else (v - where - slope * s)
        off = off + np.float32(0.12 if across else 0.05) * np.sin(v * 1.7 if across else s * 0.4)
        reach = np.clip(
            1.3 - np.abs((v if across else s) * rng.uniform(0.2, 2.0) / look.width_mm + rng.normal(0, 0.4)), 0, 1
        )
        bend = np.exp(-((off / wide) ** 2)) - 0.4 * np.exp(-(((off - 2.2 * wide) / (1.6 * wide)) ** 2))
        lines += np.float32(rng.uniform(0.15, 0.5)) * bend * reach
    return lines


def _flap(
    rng: np.random.Generator, look: LeafLook, amount: FloatArray, v: FloatArray, ragged: FloatArray
) -> FloatArray:
    """Now and then one long edge is folded in: double there, with a dark line where the flap ends."""
    if rng.random() > 0.35:
        return amount
    reach = rng.uniform(0.08, 0.25) * look.width_mm
    depth = look.width_mm / 2 - 0.4 - float(rng.choice([-1.0, 1.0])) * v
    over = np.clip((reach * (1.0 + 0.15 * ragged) - depth) * 12.0, 0.0, 1.0)
    end = np.exp(-(((reach * (1.0 + 0.15 * ragged) - depth) / 0.1) ** 2))
    return np.asarray(amount * (1.0 + 0.85 * over) + 0.12 * end, np.float32)


def _wet(look: LeafLook, field_of: FieldOf) -> tuple[FloatArray, FloatArray]:
    """Rims of the patches where water holds the leaf to the panel, and the patches themselves, 0..1."""
    level = field_of(5.0, 9.0) + 0.35 * field_of(1.2, 2.0) + np.float32(2.0 * look.wet - 1.3)
    wet = 0.5 + 0.5 * np.tanh(7.0 * level)
    return np.exp(-((level / 0.05) ** 2)).astype(np.float32), wet.astype(np.float32)


def _scars(rng: np.random.Generator, look: LeafLook, s: FloatArray, v: FloatArray, field_of: FieldOf) -> FloatArray:
    """Yellow scars along the veins, 0..1."""
    scars = np.zeros(np.broadcast_shapes(s.shape, v.shape), np.float32)
    for _ in range(int(rng.poisson(0.7))):
        at, across = rng.uniform(-0.5, 0.5) * look.length_mm, rng.uniform(-0.45, 0.45) * look.width_mm
        long, wide = rng.uniform(3.0, 20.0), rng.uniform(0.2, 0.6)
        scars += np.exp(-(((s - at) / (0.5 * long)) ** 4) - ((v - across) / (0.5 * wide)) ** 2).astype(np.float32)
    return scars * np.clip(0.7 + 0.35 * field_of(0.15, 0.8), 0.0, 1.2) if scars.any() else scars
