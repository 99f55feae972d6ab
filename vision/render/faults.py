"""What goes wrong with the light of a shot: a smeared lens, steam, a lamp mirrored by film, a panel left on, deep shade.

Each is absent at its default, so that a recipe that asks for none is drawn as it always was.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.panel import lumps, mirrored_lamp, panel_light, spread
from vision.render.recipe import Recipe, known, stream
from vision.types import FloatArray

_WIDER = 3.0
"""The wide part of a smear's halo against its narrow part."""
_COARSE_PX = 8


def smeared(light: FloatArray, recipe: Recipe) -> FloatArray:
    """Linear light (h, w, 3) through a smeared lens: a share of it is thrown into a wide halo of two scales.

    A film of grease scatters forward into a narrow and a wide lobe; what a Gaussian pair with equal shares makes of it is near
    enough for a veil that darkens nothing and brightens what is dark.
    """
    if recipe.smear <= 0:
        return light
    h, w = light.shape[:2]
    small = cv2.resize(light, (max(1, w // _COARSE_PX), max(1, h // _COARSE_PX)), interpolation=cv2.INTER_AREA)
    narrow, broad = (
        cv2.GaussianBlur(small, (0, 0), max(sigma, 0.3), borderType=cv2.BORDER_REPLICATE)
        for sigma in (f * recipe.smear_reach * w / _COARSE_PX for f in (1.0, _WIDER))
    )
    wide = cv2.resize(0.5 * narrow + 0.5 * broad, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(light + np.float32(recipe.smear) * (wide - light), np.float32)


def steamed(light: FloatArray, recipe: Recipe, warm: FloatArray | None) -> FloatArray:
    """Linear light (h, w, 3) through steam: a grey-white veil in soft lumps, thicker over `warm` produce (h, w, 0..1)."""
    if recipe.steam <= 0:
        return light
    gh, gw = -(-recipe.height_px // _COARSE_PX) + 1, -(-recipe.width_px // _COARSE_PX) + 1
    rng = stream(recipe.seed, "faults", 1)
    field = lumps(rng, gh, gw, max(recipe.steam_lump_mm * recipe.px_per_mm / _COARSE_PX, 2.0))
    thin, thick = np.percentile(field, [5, 98])
    share = np.clip((field - thin) / max(float(thick - thin), 1e-6), 0, 1)
    if warm is not None:
        over = cv2.resize(warm, (gw, gh), interpolation=cv2.INTER_AREA)
        share = share * (0.4 + 0.6 * cv2.GaussianBlur(over, (0, 0), 8 * recipe.px_per_mm / _COARSE_PX))
    veil = spread(np.asarray(recipe.steam * share, np.float32), recipe)[..., None]
    white = np.float32(rng.uniform(0.5, 0.9)) * np.array(known(recipe.panel_colour), np.float32)
    return np.asarray(light + veil * (white - light), np.float32)


def film_glare(recipe: Recipe) -> FloatArray | None:
    """A lamp mirrored by film or a wet tray over the whole scene, (h, w), relative to the ground's light; None without one."""
    if recipe.film_glare <= 0:
        return None
    return np.asarray(mirrored_lamp(recipe, recipe.film_glare), np.float32)


def panel_left_on(recipe: Recipe) -> FloatArray | None:
    """Light of a panel left on under produce that is lit from above, (h, w, 3); None where it is off or low."""
    if recipe.panel_on <= 0:
        return None
    return np.asarray(np.float32(recipe.panel_on) * panel_light(recipe), np.float32)


def shaded(reflectance: FloatArray, shade: FloatArray, recipe: Recipe) -> FloatArray:
    """Reflectance (h, w, 3) where what the lamp reaches little (`shade` (h, w), 1 in the open) is reached less still."""
    if recipe.deep_shade <= 0:
        return reflectance
    reached = np.clip(shade, 1e-3, 1.0) ** np.float32(recipe.deep_shade)
    return np.asarray(reflectance * reached[..., None], np.float32)
