"""The light panel and the water on it, as linear light. Everything in millimetres, so that it is the same at any resolution."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

COARSE_PX = 8


def _coarse_mm(recipe: Recipe) -> tuple[FloatArray, FloatArray]:
    """Coordinates in millimetres of a coarse grid over the picture."""
    gh, gw = -(-recipe.height_px // COARSE_PX) + 1, -(-recipe.width_px // COARSE_PX) + 1
    x, y = np.meshgrid(np.arange(gw, dtype=np.float32), np.arange(gh, dtype=np.float32))
    return x * np.float32(COARSE_PX / recipe.px_per_mm), y * np.float32(COARSE_PX / recipe.px_per_mm)


def spread(coarse: FloatArray, recipe: Recipe) -> FloatArray:
    """A coarse grid interpolated over the whole picture."""
    size = (coarse.shape[1] * COARSE_PX, coarse.shape[0] * COARSE_PX)
    full = cv2.resize(coarse, size, interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[: recipe.height_px, : recipe.width_px], np.float32)


def lumps(rng: np.random.Generator, height: int, width: int, cell: float) -> FloatArray:
    """A smooth random field (height, width) with lumps of `cell` samples, standard deviation about 1."""
    gh, gw = int(height / cell) + 4, int(width / cell) + 4
    coarse = rng.standard_normal((gh, gw), dtype=np.float32)
    full = cv2.resize(coarse, (int(gw * cell) + 1, int(gh * cell) + 1), interpolation=cv2.INTER_CUBIC)
    return np.asarray(full[:height, :width], np.float32)


def panel_light(recipe: Recipe) -> FloatArray:
    """The bare panel, (h, w, 3), linear, brightest about 1: uneven light, lamps showing through, colour cast, fine grain."""
    rng = stream(known(recipe.panel_seed), "panel", 1)
    x, y = _coarse_mm(recipe)
    gh, gw = x.shape
    u, v = (x / x.max() - 0.5) * 2, (y / y.max() - 0.5) * 2
    cx, cy, tilt = rng.normal(0, 0.2), rng.normal(0, 0.2), rng.uniform(0, 2 * np.pi)
    bowl = ((u - cx) ** 2 + (v - cy) ** 2) * rng.uniform(0.2, 0.6)
    slope = (u * np.cos(tilt) + v * np.sin(tilt)) * rng.uniform(0, 0.5)
    cloud = lumps(rng, gh, gw, gh / 3) * 0.15
    fall = bowl + slope + cloud
    fall = (fall - fall.min()) / max(float(np.ptp(fall)), 1e-6)
    shade = 1 - known(recipe.unevenness) * fall
    shade = shade * (1 + known(recipe.led_mottling) * _lamps(rng, x, y))
    if recipe.burnt_out:
        own = stream(recipe.seed, "lamp", 1)
        bx, by, wide = own.uniform(-0.8, 0.8), own.uniform(-0.8, 0.8), own.uniform(0.15, 0.5)
        shade = shade + recipe.burnt_out * np.exp(-((u - bx) ** 2 + (v - by) ** 2) / wide**2)
    blotchy = 0.02 if recipe.wild else 0.004
    cast = np.stack([1 + blotchy * lumps(rng, gh, gw, gh / 2) for _ in range(3)], axis=-1)
    coarse = shade[..., None] * np.array(known(recipe.panel_colour), np.float32) * cast
    light = spread(coarse.astype(np.float32), recipe)
    if recipe.grain:
        texture = lumps(rng, recipe.height_px, recipe.width_px, max(0.06 * recipe.px_per_mm, 1.0))
        light *= (1 + np.float32(recipe.grain) * texture)[..., None]
    return light


def _lamps(rng: np.random.Generator, x: FloatArray, y: FloatArray) -> FloatArray:
    """Lamps behind the diffuser in rows, or along one edge, as a field of about -1..1."""
    pitch, a = rng.uniform(8, 26), rng.uniform(-0.06, 0.06)
    xr, yr = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    along = np.cos(2 * np.pi * (xr / pitch + rng.random()))
    if rng.random() < 0.45:
        fade = np.exp(-np.abs(yr - rng.choice([0.0, float(y.max())])) / rng.uniform(5, 15))
        return np.asarray(along * fade, np.float32)
    return np.asarray(0.5 * (along + np.cos(2 * np.pi * (yr / pitch + rng.random()))), np.float32)


def water_light(recipe: Recipe) -> FloatArray:
    """What the water's own colour and its uneven surface do to the light, (h, w, 3), about 1.

    A surface of height f gathers light in proportion to its curvature (paraxial ray optics): a share 1 - c * laplacian(f).
    """
    rng = stream(recipe.seed, "water", 2)
    x, y = _coarse_mm(recipe)
    field = np.zeros_like(x)
    height, width = x.shape
    for cell_mm, weight in ((14.0, 0.7), (6.0, 0.5), (2.8, 0.35)):
        field += weight * lumps(rng, height, width, max(cell_mm * recipe.px_per_mm / COARSE_PX, 1.5))
    for _ in range(int(rng.integers(0, 4))):
        wave, a = rng.uniform(3, 14), rng.uniform(0, 2 * np.pi)
        field += 0.7 * np.cos(2 * np.pi * (x * np.cos(a) + y * np.sin(a)) / wave + rng.uniform(0, 6.3)).astype(
            np.float32
        )
    smear = 1 / (1 + np.exp(-(_film(recipe, rng, x) - 0.8) * 6))
    light = np.exp(np.float32(known(recipe.ripple)) * field - np.float32(known(recipe.film)) * smear)
    return spread((light[..., None] * np.array(known(recipe.water_colour), np.float32)).astype(np.float32), recipe)


def _film(recipe: Recipe, rng: np.random.Generator, x: FloatArray) -> FloatArray:
    """Where scum gathers: lumps drawn out along one direction, as fields of about 1."""
    height, width = x.shape
    cell = rng.uniform(1.5, 8) * recipe.px_per_mm / COARSE_PX
    drawn_out = rng.uniform(1.0, 3.5)
    wide = lumps(rng, height, max(int(width / drawn_out), 2), max(cell, 1.2))
    fine = lumps(rng, height, width, max(cell / 3, 1.2))
    return np.asarray(cv2.resize(wide, (width, height), interpolation=cv2.INTER_CUBIC) + 0.5 * fine, np.float32)


def mirrored_lamp(recipe: Recipe, bright: float) -> FloatArray:
    """A lamp or window mirrored by the surface, (h, w), `bright` relative to the panel: a soft-edged patch torn by ripples."""
    rng = stream(recipe.seed, "lamp", 2)
    x, y = _coarse_mm(recipe)
    u, v = (x / x.max() - 0.5) * 2, (y / y.max() - 0.5) * 2
    a, cx, cy = rng.uniform(0, np.pi), rng.uniform(-0.8, 0.8), rng.uniform(-0.8, 0.8)
    along, across = (u - cx) * np.cos(a) + (v - cy) * np.sin(a), (v - cy) * np.cos(a) - (u - cx) * np.sin(a)
    torn = 0.25 * lumps(rng, x.shape[0], x.shape[1], max(3.0 * recipe.px_per_mm / COARSE_PX, 1.5))
    far = np.hypot(along / rng.uniform(0.1, 0.5), across / rng.uniform(0.05, 0.25)) + torn
    return spread(np.asarray(bright / (1 + np.exp((far - 1) * 7)), np.float32), recipe)


def vessel(recipe: Recipe) -> tuple[FloatArray, FloatArray] | None:
    """The tray's wall where it is in the picture: light factor (h, w), and distance inside the wall in millimetres (h, w)."""
    if recipe.vessel_edge == "none":
        return None
    rng = stream(recipe.seed, "water", 3)
    x, y = _coarse_mm(recipe)
    w, h = float(x.max()), float(y.max())
    if recipe.vessel_edge == "straight":
        a = np.deg2rad(rng.choice([0, 90, 180, 270]) + rng.normal(0, 4))
        inset = rng.uniform(0.02, 0.16) * min(w, h)
        reach = abs(np.cos(a)) * w / 2 + abs(np.sin(a)) * h / 2
        inside = reach - inset - ((x - w / 2) * np.cos(a) + (y - h / 2) * np.sin(a))
    else:
        radius = rng.uniform(0.56, 0.75) * float(np.hypot(w, h))
        off = rng.uniform(0.1, 0.3) * min(w, h)
        a = rng.uniform(0, 2 * np.pi)
        inside = radius - np.hypot(x - w / 2 - off * np.cos(a), y - h / 2 - off * np.sin(a))
    inside_full = spread(inside.astype(np.float32), recipe)
    wall = rng.uniform(1.0, 3.0)
    ripple = rng.uniform(0.3, 0.9)
    # Meniscus just inside, then the wall seen from above with its two dark faces, then the bare panel beyond.
    light = (
        1
        - ripple * np.exp(-(((inside_full - 0.4) / 0.35) ** 2))
        + rng.uniform(0, 0.25) * np.exp(-(((inside_full - 1.5) / 0.5) ** 2))
    )
    for at, depth, wide in (
        (0.0, rng.uniform(0.4, 0.9), 0.18),
        (-wall, rng.uniform(0.3, 0.9), 0.22),
        (-wall * 0.5, rng.uniform(-0.2, 0.4), wall * 0.25),
    ):
        light *= 1 - depth * np.exp(-(((inside_full - at) / wide) ** 2))
    light *= np.where(inside_full < -wall, rng.uniform(0.5, 1.05), 1.0)
    return light.astype(np.float32), inside_full
