"""What other hands draw, lent to our own scenes: their bodies and bits as patches on our grounds, in our light, before our camera.

Where every insect on a ground is by one hand, the ground tells what insects look like; lent ones break that.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.patch import BodyWish, Patch
from vision.types import FloatArray

_PANEL = 0.85
"""Light of a hand's own panel, to which what a body throws back is compared where the light comes from below."""
_MOST_PASSES, _LEAST_OPAQUE = 1.25, 0.02
_THICKER = 0.45
"""Spread of the log of how many times as dense as drawn a lent thing is in a wild shot."""
_ROUND_OF_WIDTH = 0.35
"""Height of a body above its rim, in widths."""


@dataclass(frozen=True)
class Lent:
    """A thing at PX_PER_MM: the light behind it becomes `light * passing + own`, both (h, w, 3); `body` (h, w) is its cover without limbs.

    Its origin lies in the middle of the arrays, to a pixel.
    """

    passing: FloatArray
    own: FloatArray
    body: FloatArray
    length_mm: float
    width_mm: float
    curved: bool = False


def patch_of(lent: Lent, wish: BodyWish, rng: np.random.Generator) -> Patch:
    """The same as a patch: in light from below what it throws back is a share of what shines behind it; from above it is its colour."""
    passing, own, body = (
        _resized(values, wish.px_per_mm / PX_PER_MM) for values in (lent.passing, lent.own, lent.body)
    )
    passing = np.clip(passing, 0, _MOST_PASSES)
    if wish.wild:
        passing = passing ** np.float32(np.exp(rng.normal(0, _THICKER)))
    cover = np.clip(1 - passing.min(axis=2), 0, 1)
    opaque = np.maximum(1 - passing, _LEAST_OPAQUE)
    colour = np.clip(own / opaque, 0, 1)
    through = np.sqrt(passing) if wish.to_lamp is not None else np.clip(passing + own / _PANEL, 0, _MOST_PASSES)
    h, w = cover.shape
    return Patch(
        transmission=np.asarray(through, np.float32), reflectance=np.asarray(colour, np.float32), cover=cover,
        body=np.clip(body, 0, 1), height_mm=_domed(body, lent.width_mm), left_px=-(w // 2), top_px=-(h // 2),
        length_mm=lent.length_mm, width_mm=lent.width_mm, curved=lent.curved, form="", gloss=float(rng.uniform(0, 0.15)),
    )  # fmt: skip


def _resized(values: FloatArray, by: float) -> FloatArray:
    h, w = (max(3, round(side * by)) for side in values.shape[:2])
    how = cv2.INTER_AREA if by < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(values, (w, h), interpolation=how), np.float32)


def _domed(body: FloatArray, width_mm: float) -> FloatArray:
    """Height (h, w) in mm of a body that is round across."""
    inwards = cv2.distanceTransform((body > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    deep = inwards / max(float(inwards.max()), 1.0)
    return np.asarray(np.sqrt(1 - (1 - deep) ** 2) * np.float32(_ROUND_OF_WIDTH * width_mm), np.float32)
