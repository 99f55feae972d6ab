"""What one drawn thing is: a small picture of how it passes, and how it throws back, light. Any family of bodies gives this.

A family is one function `(wish, rng) -> Patch`; the scene knows nothing else of it, so that a second family that shares no code
with the first can be put beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.types import FloatArray


@dataclass(frozen=True)
class BodyWish:
    """What the scene asks a family for. Whatever is None is drawn from the generator."""

    kind: str
    px_per_mm: float
    sub_px: tuple[float, float] = (0.0, 0.0)
    """Where the body's origin lies from the centre of its anchor pixel, x and y, within -0.5..0.5."""
    heated: bool = False
    wild: bool = False
    """Draw from the wide distributions, far beyond what looks right."""
    length_mm: float | None = None
    angle_deg: float | None = None
    to_lamp: tuple[float, float] | None = None
    """Way to the lamp for a rise of 1, where the light comes from above; None where it comes from below."""
    stout: float = 1.0
    """How many times as thick legs and antennae are as usual: those seen with their bristles, in folds or against the light."""
    limbs: bool | None = None
    """False: without legs, antennae and wings."""


@dataclass(frozen=True)
class Patch:
    """One drawn thing at the picture's resolution. Arrays (h, w) or (h, w, 3), float32, linear light.

    Its first pixel lies `left_px`, `top_px` from the anchor pixel. A pixel's values are means over its area, so that edges are
    exact to a fraction of a pixel.
    """

    transmission: FloatArray
    """(h, w, 3): share of the light from below that passes; 1 outside; above 1 where light is gathered."""
    reflectance: FloatArray
    """(h, w, 3): colour by light from above, of the covered part."""
    cover: FloatArray
    """(h, w): share of the pixel that is covered, limbs included."""
    body: FloatArray
    """(h, w): the same without legs, antennae and wings."""
    height_mm: FloatArray
    """(h, w): thickness, for shading by light from above."""
    left_px: int
    top_px: int
    length_mm: float
    """Along the curve, without limbs."""
    width_mm: float
    curved: bool
    form: str
    """What form of its kind it is: nymph, winged, mummy, larva, ... or ''."""
    gloss: float = 0.1
    """Strength of the highlight by light from above."""


BodyFamily = Callable[[BodyWish, np.random.Generator], Patch]
