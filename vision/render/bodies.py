"""The families of bodies: which kind is drawn by which function."""

from __future__ import annotations

import numpy as np

from vision.render.aphid import draw_aphid
from vision.render.caterpillar import draw_caterpillar
from vision.render.flies import draw_gnat
from vision.render.patch import BodyFamily, BodyWish, Patch
from vision.render.small_bodies import draw_egg, draw_larva, draw_mite, draw_skin
from vision.render.thrips import draw_thrips

DRAWN_BY: dict[str, BodyFamily] = {
    "aphid": draw_aphid,
    "thrips": draw_thrips,
    "caterpillar": draw_caterpillar,
    "larva": draw_larva,
    "mite": draw_mite,
    "gnat": draw_gnat,
    "egg": draw_egg,
    "skin": draw_skin,
}


def draw_body(wish: BodyWish, rng: np.random.Generator, family: str = "first") -> Patch:
    """One insect of the kind wished for, by the 'first' or the 'second' family, or by a family of other hands."""
    if family == "first":
        return DRAWN_BY[wish.kind](wish, rng)
    if family == "second":
        from vision.render.second import DRAWN_BY as SECOND

        return SECOND[wish.kind](wish, rng)
    from vision.render.hands.lenders import lent_body

    return lent_body(wish, rng, family)
