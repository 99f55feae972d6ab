"""A tilted camera: the near side of the ground in focus, the far side not. A fault of a shot, never drawn by chance."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.recipe import Recipe
from vision.types import FloatArray

_STEPS = 6


def tilted(light: FloatArray, recipe: Recipe) -> FloatArray:
    """The picture (h, w, 3) with a blur that grows from its bottom to `tilt_blur_px` (standard deviation) at its top."""
    if recipe.tilt_blur_px <= 0:
        return light
    height = light.shape[0]
    sigmas = np.linspace(0, recipe.tilt_blur_px, _STEPS)
    wanted = np.linspace(recipe.tilt_blur_px, 0, height)
    out = np.zeros_like(light)
    step = recipe.tilt_blur_px / (_STEPS - 1)
    for sigma in sigmas:
        share = np.clip(1 - np.abs(wanted - sigma) / step, 0, 1).astype(np.float32)
        soft = light if sigma < 0.15 else cv2.GaussianBlur(light, (0, 0), float(sigma), borderType=cv2.BORDER_REPLICATE)
        out += np.asarray(soft, np.float32) * share[:, None, None]
    return out
