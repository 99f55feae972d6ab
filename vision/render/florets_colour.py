"""Colour of broccoli before light falls on it: buds, stems, cut faces, in linear reflectance.

Starting values from memory: green buds about (0.06-0.14, 0.12-0.25, 0.03-0.09), pale stems (0.3-0.45, 0.4-0.55, 0.2-0.3),
browned buds (0.12-0.2, 0.09-0.13, 0.04-0.06). Each piece gets its own palette.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import cv2
import numpy as np

from vision.render.florets_raster import IntArray
from vision.render.florets_solids import Buds
from vision.types import FloatArray

_TILE_PX = 512


class Part(IntEnum):
    """What a solid is."""

    GROUND = 0
    STEM = 1
    DOME = 2
    CUT = 3
    BUD = 4


@dataclass(frozen=True)
class Palette:
    """One piece's colours, linear reflectance (3,), and how much of it has turned."""

    bud: FloatArray
    seam: FloatArray
    stem: FloatArray
    twig: FloatArray
    brown: FloatArray
    yellow: FloatArray
    browned_share: float
    yellowed_share: float
    wet: float


def draw_palette(rng: np.random.Generator, *, heated: bool) -> Palette:
    """A palette for one piece: bluish, yellowish or purplish green when fresh, olive and wet when heated."""
    depth = rng.uniform(0.75, 1.15)
    if heated:
        leaning = np.array([1.25, 1.0, 0.62]) * rng.uniform([0.9, 0.95, 0.8], [1.12, 1.05, 1.2])
        bud = np.array([0.088, 0.15, 0.05]) * depth * leaning
    else:
        tints = np.array([[0.84, 1.0, 1.3], [1.2, 1.08, 0.72], [1.22, 0.9, 1.25], [1.0, 1.0, 1.0]])
        leaning = rng.dirichlet([0.6, 0.6, 0.25, 0.8]) @ tints
        bud = np.array([0.078, 0.152, 0.066]) * depth * leaning
    stem = np.array([0.37, 0.47, 0.22]) * rng.uniform([0.82, 0.86, 0.75], [1.12, 1.1, 1.2])
    if heated:
        stem = stem * np.array([0.86, 0.85, 0.73])
    return Palette(
        bud=bud.astype(np.float32),
        seam=(bud * rng.uniform(1.7, 2.3) + np.array([0.02, 0.03, 0.012])).astype(np.float32),
        stem=stem.astype(np.float32),
        twig=(0.5 * stem + 0.9 * bud).astype(np.float32),
        brown=(np.array([0.16, 0.108, 0.05]) * rng.uniform(0.75, 1.2)).astype(np.float32),
        yellow=(np.array([0.34, 0.31, 0.075]) * rng.uniform(0.8, 1.15)).astype(np.float32),
        browned_share=float(rng.uniform(0.05, 0.3) if heated else rng.uniform(0.0, 0.03)),
        yellowed_share=float(rng.uniform(0.03, 0.15) if heated else rng.uniform(0.0, 0.04)),
        wet=float(rng.uniform(0.5, 1.0) if heated else rng.uniform(0.0, 0.25)),
    )


class Grain:
    """Repeating noise of unit spread, one tile each for several feature widths, looked up at any place."""

    def __init__(self, rng: np.random.Generator) -> None:
        noise = rng.standard_normal((_TILE_PX, _TILE_PX)).astype(np.float32)
        wrapped = np.pad(noise, 32, mode="wrap")
        blurred = np.asarray(cv2.GaussianBlur(wrapped, (0, 0), 2.5), dtype=np.float32)[32:-32, 32:-32]
        self._tile = np.pad(blurred / blurred.std(), ((0, 1), (0, 1)), mode="wrap")

    def at(self, x: FloatArray, y: FloatArray, width_x: float, width_y: float | None = None) -> FloatArray:
        """Noise (n,) float32 at `x`, `y` (n,) whose features are about `width_x` by `width_y` units across."""
        step_x, step_y = width_x / 6.0, (width_x if width_y is None else width_y) / 6.0
        n = x.size
        columns = min(2048, max(1, n))
        rows = -(-n // columns)
        place = np.zeros((2, rows * columns), dtype=np.float32)
        np.mod(x / np.float32(step_x), np.float32(_TILE_PX), out=place[0, :n])
        np.mod(y / np.float32(step_y), np.float32(_TILE_PX), out=place[1, :n])
        grid = place.reshape(2, rows, columns)
        return np.asarray(cv2.remap(self._tile, grid[0], grid[1], cv2.INTER_LINEAR), dtype=np.float32).reshape(-1)[:n]


@dataclass(frozen=True)
class BudTable:
    """Per bud: `first`, `second`, `tip` (n, 3) its own frame, `colour` and `seam` (n, 3), `turned` (n, 4): rgb it turns to, how far."""

    first: FloatArray
    second: FloatArray
    tip: FloatArray
    colour: FloatArray
    seam: FloatArray
    turned: FloatArray


def bud_table(rng: np.random.Generator, buds: Buds, palette: Palette) -> BudTable:
    """Frames and colours of one piece's buds; browning comes in patches, with lone buds between."""
    axis, cluster, centre = buds.axis, buds.cluster, buds.centre
    n = len(axis)
    spare = np.where(np.abs(axis[:, :1]) < 0.8, np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))
    spin = rng.uniform(0.0, np.pi, (n, 1))
    raw = np.cross(spare, axis)
    raw /= np.maximum(np.linalg.norm(raw, axis=1, keepdims=True), 1e-6)
    other = np.cross(axis, raw)
    first = np.cos(spin) * raw + np.sin(spin) * other
    second = np.cross(axis, first)
    groups = int(cluster.max()) + 1 if n else 1
    tone = 1.0 + rng.normal(0.0, 0.08, (groups, 1))[cluster.astype(int)] + rng.normal(0.0, 0.13, (n, 1))
    hue = 1.0 + rng.normal(0.0, 0.05, (n, 3))
    colour = palette.bud * np.clip(tone, 0.6, 1.5) * hue
    seam = palette.seam * np.clip(tone, 0.7, 1.3) * hue
    wave = rng.normal(0.0, 0.45, (3, 4))
    patch = np.sin(centre @ wave + rng.uniform(0, 6.3, 4)).sum(axis=1) / 1.4
    mood = 0.75 * patch + rng.normal(0.0, 0.75, n) + rng.normal(0.0, 0.4, groups)[cluster.astype(int)]
    rank = mood.argsort().argsort() / max(1, n)
    brown, yellow = rank > 1.0 - palette.browned_share, rank < palette.yellowed_share
    target = np.where(brown[:, None], palette.brown, palette.yellow) * rng.uniform(0.7, 1.3, (n, 1))
    amount = np.where(brown | yellow, rng.beta(2.2, 1.2, n), 0.0)
    turned = np.concatenate([target, amount[:, None]], axis=1)
    return BudTable(*(np.asarray(v, dtype=np.float32) for v in (first, second, axis, colour, seam, turned)))


def colour_buds(
    table: BudTable,
    which: IntArray,
    u: FloatArray,
    v: FloatArray,
    x_mm: FloatArray,
    y_mm: FloatArray,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """Reflectance (n, 3) and fine relief in mm (n,) of bud pixels: four sepals with paler seams, a tip, mottling."""
    w = np.sqrt(np.maximum(1.0 - u * u - v * v, 0.0))
    place = np.stack([u, v, w], axis=1)
    first = np.einsum("ij,ij->i", place, table.first[which])
    second = np.einsum("ij,ij->i", place, table.second[which])
    tip = np.einsum("ij,ij->i", place, table.tip[which])
    nearest = np.minimum(np.abs(first), np.abs(second))
    seam = np.exp(-((nearest / 0.085) ** 2)) * np.clip(1.5 * tip + 0.25, 0.0, 1.0)
    mottle = grain.at(x_mm, y_mm, 0.35)
    fine = grain.at(x_mm + 7, y_mm + 3, 0.07)
    tone = (1.0 + 0.1 * mottle + 0.07 * fine) * (0.86 + 0.2 * np.clip(tip, -1, 1))
    colour = table.colour[which] * tone[:, None]
    colour += (table.seam[which] - colour) * (
        seam * np.clip(0.36 + 0.12 * mottle, 0, 1) + 0.3 * np.clip(tip * 6.0 - 5.2, 0, 1)
    )[:, None]
    turned = table.turned[which]
    how_far = np.clip(turned[:, 3] * (0.75 + 0.45 * tip + 0.2 * mottle), 0.0, 1.0)
    colour += (turned[:, :3] * tone[:, None] - colour) * how_far[:, None]
    relief = -0.035 * seam + 0.006 * mottle + 0.003 * fine
    return np.maximum(colour, 0.004).astype(np.float32), relief.astype(np.float32)


def colour_stems(
    palette: Palette,
    order: FloatArray,
    radius_mm: FloatArray,
    along_mm: FloatArray,
    across: FloatArray,
    own: FloatArray,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """Reflectance (n, 3) and fine relief in mm (n,) of stem pixels: lengthwise fibres, pale pits, small bruises."""
    round_mm = np.arcsin(np.clip(across, -1.0, 1.0)) * radius_mm + own * np.float32(13.7)
    along = along_mm + own * np.float32(5.3)
    # A branch takes on its own colour and fibres gradually from where it leaves the thicker stem.
    own_part = np.where((order > 0) & (order < 3), np.clip(along_mm / 7.0, 0.0, 1.0), 1.0)
    age = order - 1.0 + np.where(order > 0, own_part, 1.0)
    fibre = grain.at(along, round_mm, 9.0, 0.4) * (0.15 + 0.85 * own_part)
    hair = grain.at(along, round_mm + 3, 3.0, 0.16)
    thread = grain.at(along + 5, round_mm, 0.9, 0.06)
    blotch = grain.at(along + 11, round_mm, 7.0, 3.5)
    pit = np.clip(grain.at(along, round_mm + 9, 0.9, 0.5) - 2.0, 0.0, 1.0)
    bruise = np.clip(grain.at(along + 23, round_mm + 5, 3.6, 2.2) - 2.1, 0.0, 0.8)
    green = np.clip(0.12 + 0.24 * age + 0.1 * blotch + 0.07 * fibre, 0.0, 1.0)[:, None]
    colour = palette.stem * (1.0 - green) + palette.twig * green
    colour = colour * (1.0 + 0.055 * fibre + 0.045 * hair + 0.035 * thread + 0.05 * blotch)[:, None]
    colour += (np.array([0.5, 0.55, 0.36], dtype=np.float32) - colour) * (0.6 * pit)[:, None]
    colour += (palette.brown * 1.1 - colour) * bruise[:, None]
    relief = np.minimum(radius_mm, 2.0) * (0.007 * fibre + 0.004 * hair) - 0.03 * bruise
    return np.maximum(colour, 0.01).astype(np.float32), relief.astype(np.float32)


def colour_cut(
    palette: Palette, out: FloatArray, angle: FloatArray, x_mm: FloatArray, y_mm: FloatArray, grain: Grain
) -> tuple[FloatArray, FloatArray]:
    """Reflectance (n, 3) and fine relief in mm (n,) of a cut face; `out` is 0 in the middle and 1 at the rim."""
    wavy = out + 0.03 * grain.at(x_mm, y_mm, 2.6)
    cells = grain.at(x_mm, y_mm, 0.28)
    stains = np.clip(grain.at(x_mm + 31, y_mm, 3.0) - 1.0, 0.0, 0.6)
    ring = np.exp(-(((wavy - 0.74) / 0.07) ** 2))
    bundles = ring * np.clip(0.55 + 0.6 * grain.at(angle * 6.0, out * 0 + 1.0, 1.1), 0.0, 1.0)
    skin = np.clip((wavy - 0.9) / 0.06, 0.0, 1.0)
    dry = np.clip(0.35 * skin + stains + 0.12 * ring, 0.0, 0.75)
    pith = np.minimum(palette.stem * 1.25 + np.array([0.06, 0.03, 0.03], dtype=np.float32), 0.72)
    colour = pith * (1.0 + 0.06 * cells)[:, None]
    colour += (palette.stem * 0.78 - colour) * np.maximum(0.75 * bundles, 0.7 * skin)[:, None]
    colour += (np.array([0.33, 0.25, 0.12], dtype=np.float32) - colour) * dry[:, None] * 0.7
    relief = 0.012 * cells - 0.05 * skin + 0.03 * bundles
    return np.maximum(colour, 0.01).astype(np.float32), relief.astype(np.float32)


def colour_domes(palette: Palette, x_mm: FloatArray, y_mm: FloatArray, grain: Grain) -> tuple[FloatArray, FloatArray]:
    """Reflectance (n, 3) and fine relief in mm (n,) of what lies between the buds: crowded bud bases, dark green."""
    knobs = grain.at(x_mm, y_mm, 0.9)
    colour = (0.75 * palette.bud + 0.15 * palette.twig) * np.clip(1.0 + 0.3 * knobs, 0.3, 1.8)[:, None]
    return np.maximum(colour, 0.004).astype(np.float32), (0.08 * knobs).astype(np.float32)
