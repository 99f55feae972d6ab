"""The hand rounded: small solids of blended ellipsoids with light going through or falling on them. Sizes and colours from memory."""

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.rounded import aphid as aphids
from vision.render.hands.rounded import bits, flies, stage, worm
from vision.render.hands.rounded import round as rounds

__all__ = ["bit", "body"]

_BODIES = {
    "aphid": aphids.aphid,
    "skin": aphids.skin,
    "thrips": flies.thrips,
    "gnat": flies.gnat,
    "caterpillar": worm.caterpillar,
    "larva": worm.larva,
    "mite": rounds.mite,
    "egg": rounds.egg,
}


def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """One insect of the kind, lit from below or above: arrays (h, w, 3) and (h, w), lengths in mm."""
    thing, view = _BODIES[kind](rng)
    return stage.show(thing, view, below, rng)


def bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """One bit of dirt and its name, lit from below or above: arrays (h, w, 3) and (h, w), lengths in mm."""
    name, thing, view = bits.make(rng)
    return name, stage.show(thing, view, below, rng)
