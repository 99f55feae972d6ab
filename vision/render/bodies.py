"""The first family of bodies: which kind is drawn by which function."""

from __future__ import annotations

import numpy as np

from vision.render.aphid import draw_aphid
from vision.render.caterpillar import draw_caterpillar
from vision.render.patch import BodyFamily, BodyWish, Patch
from vision.render.thrips import draw_thrips

DRAWN_BY: dict[str, BodyFamily] = {"aphid": draw_aphid, "thrips": draw_thrips, "caterpillar": draw_caterpillar}


def draw_body(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One insect of the kind wished for."""
    return DRAWN_BY[wish.kind](wish, rng)
