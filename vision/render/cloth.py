"""A wet woven cloth, white or dark, on a panel or under lamps: what passes through it and what it throws back.

A plain weave (every thread goes over one and under the next), drawn along its own threads on a finer grid and then turned into the
picture. Two makes: spun yarn, soft and fibrous, and smooth single filaments. All of the look is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.camera import blurred
from vision.render.panel import lumps
from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

_SAMPLES_A_THREAD = 6.0
_FINEST = 2
_STRIP = 256
_ACROSS_A_THREAD = 0.5
"""A thread's flank rises over about this share of its half width; slopes are told in those units."""
_WHITE = ((0.78, 0.78, 0.74), (0.74, 0.7, 0.6), (0.72, 0.75, 0.78))
_DARK = ((0.03, 0.03, 0.032), (0.022, 0.03, 0.055), (0.05, 0.036, 0.028), (0.026, 0.034, 0.029))


@dataclass(frozen=True)
class Cloth:
    """A cloth over the whole picture. Arrays (h, w, 3) float32 linear."""

    transmission: FloatArray
    """Share of the panel's light that passes."""
    reflectance: FloatArray
    """Colour by a lamp from above, shaded by its threads and wrinkles."""


@dataclass(frozen=True)
class _Make:
    """One bolt of cloth."""

    warp_mm: float
    weft_mm: float
    angle_rad: float
    white: bool
    spun: bool
    albedo: NDArray[np.float64]
    half_width: tuple[float, float]
    """Half of a warp's and of a weft's thickness in pitches: below 0.5 light falls through between them."""
    passes: float
    """Share of light through the middle of one thread."""
    scatter: float
    """Share that is scattered through however thick it is."""
    samples_per_mm: float
    """Of the fine grid it is drawn on."""


@dataclass(frozen=True)
class _Threads:
    """The threads of one direction on the fine grid, (n, m)."""

    number: NDArray[np.int16]
    thick: FloatArray
    """Relative thickness 0..1, 0 between threads."""


@dataclass(frozen=True)
class _Maps:
    """The weave on the fine grid, (n, m)."""

    gap: FloatArray
    """Share of light that falls straight through between the threads."""
    through: FloatArray
    """Share that passes through threads."""
    lit: FloatArray
    """Light a lamp makes on the threads, about 1."""


def draw_cloth(recipe: Recipe, to_lamp: tuple[float, float]) -> Cloth:
    """The cloth of a filled recipe, `to_lamp` being the way to the lamp for a rise of 1. Deterministic in the recipe."""
    rng = stream(recipe.seed, "cloth", 2)
    pitch_px = known(recipe.weave_pitch_mm) * min(known(recipe.weave_ratio), 1.0) * recipe.px_per_mm
    fold = int(np.clip(math.ceil(_SAMPLES_A_THREAD / pitch_px), 1, _FINEST))
    make = _make(recipe, rng, fold)
    maps = _woven(recipe, make, rng, fold, to_lamp)
    gap, through, lit = (_turned(m, recipe, make, fold) for m in (maps.gap, maps.through, maps.lit))
    slow, slope = _wrinkles(recipe, rng, to_lamp)
    soaked = _soaked(recipe, rng)
    tint = make.albedo / make.albedo.max()
    dense = (slow * soaked)[..., None]
    transmission = (gap[..., None] + through[..., None] * tint.astype(np.float32)) * np.exp(-dense)
    # What lies under the cloth is seen between the threads, and is dim.
    under = np.float32(rng.uniform(0.02, 0.12) if make.white else rng.uniform(0.005, 0.015)) * gap[..., None]
    # Water takes the paleness of dry yarn away and adds a sheen.
    wet = (1 - np.float32(0.3) * (1.3 - soaked))[..., None]
    reflectance = (lit[..., None] * make.albedo.astype(np.float32) * wet + under) * slope[..., None]
    fluff = _fluff(recipe, rng) if make.spun else None
    if fluff is not None:
        transmission *= 1 - (np.float32(0.25) * fluff)[..., None]
        pale = np.maximum(make.albedo * 1.6, 0.08).astype(np.float32)
        reflectance += (np.float32(0.5) * fluff)[..., None] * (pale - reflectance)
    return Cloth(np.ascontiguousarray(transmission, np.float32), np.ascontiguousarray(reflectance, np.float32))


def _make(recipe: Recipe, rng: np.random.Generator, fold: int) -> _Make:
    white = known(recipe.cloth_colour) == "white"
    spun = bool(rng.random() < 0.65)
    palette = _WHITE if white else _DARK
    albedo = np.array(palette[int(rng.integers(len(palette)))]) * np.exp(rng.normal(0, 0.06, 3))
    low, high = (0.36, 0.47) if spun else (0.24, 0.4)
    if white:
        passes, scatter = rng.uniform(0.35, 0.65), rng.uniform(0.12, 0.28)
    else:
        passes, scatter = rng.uniform(0.03, 0.14), 0.0
    pitch = known(recipe.weave_pitch_mm)
    return _Make(
        pitch,
        pitch * known(recipe.weave_ratio),
        math.radians(known(recipe.weave_angle_deg)),
        white,
        spun,
        albedo,
        (float(rng.uniform(low, high)), float(rng.uniform(low, high))),
        float(passes),
        float(scatter),
        recipe.px_per_mm * fold,
    )


def _coarse(
    rng: np.random.Generator, shape: tuple[int, int], cell: tuple[float, float], spread: float = 1.0
) -> FloatArray:
    """A random field (n, m) with lumps of `cell` samples down and across, standard deviation about `spread`."""
    gh, gw = max(int(shape[0] / cell[0]) + 3, 3), max(int(shape[1] / cell[1]) + 3, 3)
    field = rng.standard_normal((gh, gw), dtype=np.float32) * np.float32(spread)
    full = cv2.resize(field, (int(gw * cell[1]) + 1, int(gh * cell[0]) + 1), interpolation=cv2.INTER_LINEAR)
    return np.asarray(full[: shape[0], : shape[1]], np.float32)


def _threads(
    rng: np.random.Generator, shape: tuple[int, int], step_mm: float, pitch_mm: float, half: float, make: _Make
) -> _Threads:
    """Threads that run along the rows of a grid of that shape."""
    cell = pitch_mm / step_mm
    wild = 1.0 if make.spun else 0.4
    # Each thread wanders by itself, and whole bands of them are pulled aside.
    phase = _coarse(rng, shape, (cell, 9 * cell), 0.055 * wild)
    phase += _coarse(rng, shape, (7 * cell, 30 * cell), 0.16)
    phase += np.arange(shape[0], dtype=np.float32)[:, None] / np.float32(cell) + np.float32(rng.random())
    whole = np.floor(phase)
    phase -= whole
    phase -= np.float32(0.5)
    whole -= whole.min()
    number = whole.astype(np.int16)
    many = int(number.max()) + 1
    width = np.exp(rng.normal(0, 0.09 * wild, many))
    # Now and then two are laid as one, or one is thin.
    width[rng.random(many) < 0.02] *= 1.35 if make.spun else 1.0
    width[rng.random(many) < 0.006] *= 0.6
    widths = np.minimum(half * width, 0.56).astype(np.float32)[number]
    if make.spun:
        # Yarn is thicker here and thinner there, and its edge is frayed.
        uneven = _coarse(rng, shape, (cell, 2.2 * cell), 0.1)
        uneven += _coarse(rng, shape, (cell / 5, cell / 2), 0.1)
        uneven += 1
        widths *= uneven
    phase /= widths
    phase *= phase
    thick = np.sqrt(np.maximum(1 - phase, 0))
    if make.spun and cell > 5:
        thick *= 1 + _coarse(rng, shape, (cell / 6, 1.1 * cell), 0.22)
    return _Threads(number, np.clip(thick, 0, 1.6))


def _woven(recipe: Recipe, make: _Make, rng: np.random.Generator, fold: int, to_lamp: tuple[float, float]) -> _Maps:
    """The weave along its own threads: warps along the rows, wefts along the columns."""
    c, s = abs(math.cos(make.angle_rad)), abs(math.sin(make.angle_rad))
    w, h = recipe.width_px * fold, recipe.height_px * fold
    shape = (int(w * s + h * c) + 4, int(w * c + h * s) + 4)
    step = 1 / (recipe.px_per_mm * fold)
    warp = _threads(rng, shape, step, make.warp_mm, make.half_width[0], make)
    turned = _threads(rng, shape[::-1], step, make.weft_mm, make.half_width[1], make)
    weft = _Threads(turned.number.T, turned.thick.T)
    # Water stands in some of the holes and not in others.
    holes = np.exp(rng.normal(-0.05, 0.12, (64, 64))).astype(np.float32)
    maps = _Maps(*(np.empty(shape, np.float32) for _ in range(3)))
    for top in range(0, shape[0], _STRIP):
        # Strips keep the memory small; they overlap by what the slopes reach.
        low, high, stop = max(top - 4, 0), min(top + _STRIP + 4, shape[0]), min(top + _STRIP, shape[0])
        parts = [_Threads(t.number[low:high], np.ascontiguousarray(t.thick[low:high])) for t in (warp, weft)]
        strip = _strip(make, parts[0], parts[1], holes, to_lamp)
        for whole, part in ((maps.gap, strip.gap), (maps.through, strip.through), (maps.lit, strip.lit)):
            whole[top:stop] = part[top - low : stop - low]
    return maps


def _strip(make: _Make, warp: _Threads, weft: _Threads, holes: FloatArray, to_lamp: tuple[float, float]) -> _Maps:
    """Light through one thread and the next multiplies; some of it is scattered through all the same."""
    soft = np.float32(0.7 if make.spun else 1.3)
    dense = np.float32(math.log(make.passes)) * (warp.thick**soft + weft.thick**soft)
    if not make.spun:
        # A smooth filament bends light away at its rim and has a bright middle line.
        for t in (warp.thick, weft.thick):
            dense -= np.float32(0.5) * np.exp(-(((t - 0.3) / 0.25) ** 2)) * (t > 0)
    shut = np.minimum(np.float32(2.5) * np.maximum(warp.thick, weft.thick), 1)
    through = (np.float32(make.scatter) + np.float32(1 - make.scatter) * np.exp(dense)) * shut
    gap = (1 - shut) * holes[warp.number & 63, weft.number & 63]
    return _Maps(gap, through, _lit(make, warp, weft, shut, to_lamp))


def _lit(make: _Make, warp: _Threads, weft: _Threads, shut: FloatArray, to_lamp: tuple[float, float]) -> FloatArray:
    """Lamp light on the threads: the upper one of each crossing is the one that is seen."""
    over = ((warp.number + weft.number) & 1).astype(np.float32)
    rise = np.maximum(warp.thick * (0.55 + 0.45 * over), weft.thick * (1 - 0.45 * over))
    rise = blurred(rise, 0.6)
    c, s = math.cos(make.angle_rad), math.sin(make.angle_rad)
    along, down = to_lamp[0] * c + to_lamp[1] * s, to_lamp[1] * c - to_lamp[0] * s
    slope = _ACROSS_A_THREAD * min(make.half_width) * min(make.warp_mm, make.weft_mm) * make.samples_per_mm
    gy, gx = np.gradient(rise)
    facing = 1 - np.float32(0.3 * slope) * (gx * np.float32(along) + gy * np.float32(down))
    lit = np.clip(facing, 0.35, 1.8) * (0.45 + 0.55 * rise)
    shine = np.clip((facing - 1.25) / 0.3, 0, 1) ** 2
    lit += np.float32((0.15 if make.white else 0.6) * (0.5 if make.spun else 1.0)) * shine
    return np.asarray(lit * shut, np.float32)


def _turned(fine: FloatArray, recipe: Recipe, make: _Make, fold: int) -> FloatArray:
    """A map along the threads turned into the picture and averaged over each pixel's area."""
    w, h = recipe.width_px * fold, recipe.height_px * fold
    c, s = math.cos(make.angle_rad), math.sin(make.angle_rad)
    mx, my = (fine.shape[1] - 1) / 2, (fine.shape[0] - 1) / 2
    px, py = (w - 1) / 2, (h - 1) / 2
    # From the picture to the threads' own grid, as warpAffine wants it with WARP_INVERSE_MAP.
    m = np.array([[c, s, mx - c * px - s * py], [-s, c, my + s * px - c * py]], np.float64)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    full: Any = cv2.warpAffine(fine, m, (w, h), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    if fold > 1:
        full = cv2.resize(full, (recipe.width_px, recipe.height_px), interpolation=cv2.INTER_AREA)
    return np.asarray(full, np.float32)


def _wrinkles(recipe: Recipe, rng: np.random.Generator, to_lamp: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Slow natural-log density (h, w) of folds, and the lamp's light on their slopes (h, w), about 1."""
    h, w, step = recipe.height_px, recipe.width_px, 8
    gh, gw = -(-h // step) + 1, -(-w // step) + 1
    mm = recipe.px_per_mm / step
    y, x = np.mgrid[0:gh, 0:gw].astype(np.float32) / np.float32(mm)
    bent = 2.5 * lumps(rng, gh, gw, max(15 * mm, 2.0))
    height = 0.5 * lumps(rng, gh, gw, max(float(rng.uniform(10, 22)) * mm, 2.0))
    for _ in range(int(rng.integers(1, 7) * (2 if recipe.wild else 1))):
        a, wide = rng.uniform(0, np.pi), rng.uniform(0.5, 2.2)
        off = (x - rng.uniform(0, gw / mm)) * np.cos(a) + (y - rng.uniform(0, gh / mm)) * np.sin(a) + bent
        along = (y - gh / mm / 2) * np.cos(a) - (x - gw / mm / 2) * np.sin(a)
        length = rng.uniform(15, 60)
        height += rng.uniform(0.3, 1.0) * np.exp(-((off / wide) ** 2) - ((along - rng.normal(0, 20)) / length) ** 4)
    deep = np.float32(rng.uniform(0.06, 0.2) * (2 if recipe.wild else 1))
    gy, gx = np.gradient(height.astype(np.float32), 1 / mm)
    slope = np.clip(1 - 0.55 * (gx * to_lamp[0] + gy * to_lamp[1]), 0.35, 1.7)
    size = (gw * step, gh * step)
    slow, light = (
        np.asarray(cv2.resize(np.asarray(m, np.float32), size, interpolation=cv2.INTER_CUBIC)[:h, :w], np.float32)
        for m in (deep * (height - height.min()), slope)
    )
    return slow, light


def _soaked(recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """How dry the cloth is, (h, w), about 0.7 where it is soaked to 1.3 where it begins to dry."""
    h, w = recipe.height_px, recipe.width_px
    field = lumps(rng, h, w, max(float(rng.uniform(6, 20)) * recipe.px_per_mm, 4.0))
    field = field + np.float32(0.4) * lumps(rng, h, w, max(1.5 * recipe.px_per_mm, 3.0))
    return np.asarray(0.7 + 0.6 / (1 + np.exp(-(field - 0.7) * 4)), np.float32)


def _fluff(recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """Coverage (h, w) of the fine ends of fibres that stand out of spun yarn; the cloth's own, no lint."""
    h, w, ppm = recipe.height_px, recipe.width_px, recipe.px_per_mm
    mask = np.zeros((h, w), np.uint8)
    many = int(min(h * w / ppm**2 * rng.uniform(0.2, 1.2), 9000))
    starts, heading = rng.uniform(0, 1, (many, 2)) * [w, h], rng.uniform(0, 2 * np.pi, many)
    turn, length = rng.normal(0, 0.5, many), rng.uniform(0.15, 0.9, many) * ppm
    path = [starts]
    for k in range(5):
        a = heading + turn * k
        path.append(path[-1] + np.stack([np.cos(a), np.sin(a)], 1) * (length / 5)[:, None])
    lines = np.rint(np.stack(path, 1) * 16).astype(np.int32)
    cv2.polylines(mask, list(lines), False, 255, 1, cv2.LINE_AA, 4)
    # A fibre is some 0.015 mm thick: thinner than a pixel it covers it in part.
    return mask.astype(np.float32) * np.float32(min(1.0, 0.02 * ppm) / 255)
