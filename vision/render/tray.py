"""A tray under lamps, dark or white: moulded plastic with a mild sheen, wet in places. All of the look is common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.camera import blurred
from vision.render.panel import mirrored_lamp
from vision.render.recipe import Recipe, known, stream
from vision.render.ruled import ruled_light
from vision.types import FloatArray

_PLASTICS = (
    (0.028, 0.029, 0.031),  # black
    (0.075, 0.078, 0.082),  # grey
    (0.022, 0.032, 0.062),  # navy
    (0.045, 0.044, 0.042),  # charcoal
)


@dataclass(frozen=True)
class Tray:
    """The bare tray. `light` (h, w, 3) linear under a lamp of 1; `film` (h, w): 1 where water stands, 0 where it is dry."""

    light: FloatArray
    film: FloatArray


def draw_tray(recipe: Recipe, lamp: FloatArray, to_lamp: tuple[float, float]) -> Tray:
    """The tray of a filled recipe under `lamp` (h, w, 3). Deterministic in the recipe."""
    rng = stream(recipe.seed, "produce", 1)
    h, w, ppm = recipe.height_px, recipe.width_px, recipe.px_per_mm
    colour = np.array(_PLASTICS[int(rng.integers(len(_PLASTICS)))]) * np.exp(
        rng.normal(0, 0.15) + rng.normal(0, 0.05, 3)
    )
    if recipe.tray_white:
        colour = colour / colour.max() * recipe.tray_white
    film, rim = _film(recipe, rng)
    relief = _moulded(recipe, rng)
    gy, gx = np.gradient(relief)
    shaded = 1 - (gx * np.float32(to_lamp[0]) + gy * np.float32(to_lamp[1])) * np.float32(ppm)
    # Water fills the grain and makes the plastic darker and smoother.
    dry = 1 - np.float32(0.8) * film
    body = (1 + (np.clip(shaded, 0.3, 2.2) - 1) * dry) * (1 - np.float32(rng.uniform(0.1, 0.3)) * film)
    stain = 1 + np.float32(rng.uniform(0.02, 0.1)) * soft_field(rng, h, w, 6 * ppm)
    light = lamp * (body * stain)[..., None] * colour.astype(np.float32)
    # The sheen of the plastic is white, not its own colour; rough grain breaks it up, water carries ripples in it.
    sheen = mirrored_lamp(recipe, 1.0)
    wide = blurred(sheen, max(3.0 * ppm, 1.0))
    sparkle = np.clip(shaded, 0, 3) ** 2
    gloss = np.float32(rng.uniform(0.008, 0.035)) * wide * (1 + (sparkle - 1) * dry)
    gloss = gloss + np.float32(rng.uniform(0.002, 0.01))
    if rng.random() < 0.35:
        gloss = gloss + np.float32(rng.uniform(0.02, 0.12)) * sheen * film
    lines = ruled_light(recipe)
    if lines is not None:
        light = light * lines
    edge = np.float32(rng.uniform(0.02, 0.08)) * np.clip(rim, 0, None) - np.float32(0.02) * np.clip(-rim, 0, None)
    light = light + lamp * (gloss + edge)[..., None]
    return Tray(np.ascontiguousarray(np.clip(light, 0, None), np.float32), film)


def soft_field(rng: np.random.Generator, height: int, width: int, sigma_px: float) -> FloatArray:
    """A random field (height, width), mean about 0, standard deviation 1, whose lumps have no preferred direction."""
    step = max(sigma_px / 3.0, 1.0)
    shape = int(height / step) + 3, int(width / step) + 3
    white = rng.standard_normal(shape, dtype=np.float32)
    smooth = np.asarray(
        cv2.GaussianBlur(white, (0, 0), max(sigma_px / step, 0.5), borderType=cv2.BORDER_REFLECT), np.float32
    )
    smooth /= np.float32(max(float(smooth.std()), 1e-6))
    size = (int(shape[1] * step) + 1, int(shape[0] * step) + 1)
    full = cv2.resize(smooth, size, interpolation=cv2.INTER_CUBIC) if step > 1 else smooth
    return np.asarray(full[:height, :width], np.float32)


def _moulded(recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """Height in millimetres (h, w) of the grain that the mould leaves, and of its faint flow lines."""
    h, w, ppm = recipe.height_px, recipe.width_px, recipe.px_per_mm
    cell = float(rng.uniform(0.06, 0.25))
    rough = float(rng.uniform(0.01, 0.12)) * cell
    grain = np.float32(rough) * soft_field(rng, h, w, cell * ppm)
    grain = grain + np.float32(rng.uniform(0.002, 0.01)) * soft_field(rng, h, w, 2.5 * ppm)
    y, x = np.ogrid[0:h, 0:w]
    a = rng.uniform(0, np.pi)
    across = (x * np.cos(a) + y * np.sin(a)).astype(np.float32) / np.float32(ppm)
    pitch = float(rng.uniform(0.4, 1.2))
    return np.asarray(
        grain + np.float32(rng.uniform(0, 0.006)) * np.sin(across * np.float32(2 * np.pi / pitch)), np.float32
    )


def _film(recipe: Recipe, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Where water stands, 0..1 (h, w), and its rim: positive on the side that mirrors the lamp, negative on the other."""
    h, w, ppm = recipe.height_px, recipe.width_px, recipe.px_per_mm
    field = soft_field(rng, h, w, float(rng.uniform(4, 12)) * ppm)
    field = field + np.float32(0.25) * soft_field(rng, h, w, 1.2 * ppm)
    level = float(rng.uniform(-0.2, 1.6))
    slope = blurred(np.asarray(np.clip((field - level) * 6, -4, 4), np.float32), max(0.1 * ppm, 0.5))
    film = 1 / (1 + np.exp(-6 * slope))
    # The surface of the water climbs down to the plastic over some tenths of a millimetre, and mirrors there.
    gy, gx = np.gradient(blurred(film.astype(np.float32), max(0.12 * ppm, 0.5)))
    a = np.deg2rad(known(recipe.light_angle_deg))
    rim = (gx * np.float32(np.cos(a)) + gy * np.float32(np.sin(a))) * np.float32(0.35 * ppm)
    return film.astype(np.float32), np.asarray(np.clip(rim, -1, 1), np.float32)
