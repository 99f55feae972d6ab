"""The hand loosened: one grammar of segments, outlines, limbs and textures, with very wide ranges. Sizes and colours from memory."""

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.bits import draw_bit
from vision.render.hands.loosened.creature import draw_creature
from vision.render.hands.loosened.eggs import draw_egg

__all__ = ["bit", "body"]


def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """One insect, egg or cast skin; below means that light comes through from below. Arrays at 20 px to the mm."""
    if kind == "egg":
        return draw_egg(below, rng)
    return draw_creature(kind, below, rng)


def bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """The name of one bit of dirt and its picture. Arrays at 20 px to the mm."""
    return draw_bit(below, rng)
