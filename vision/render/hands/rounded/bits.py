"""Bits of dirt: which one is drawn."""

from collections.abc import Callable

import numpy as np

from vision.render.hands.rounded import kernels, lumps, strands
from vision.render.hands.rounded.matter import (
    Points,
    Thing,
)

_Maker = Callable[[np.random.Generator], tuple[Thing, Points]]
_MAKERS: dict[str, _Maker] = {
    "bubble": lumps.bubble,
    "drop": lumps.drop,
    "grit": lumps.grit,
    "seed": kernels.seed,
    "bud": kernels.bud,
    "stalked": kernels.stalked,
    "husk": kernels.husk,
    "crumb": lumps.crumb,
    "starch": lumps.starch,
    "dust": lumps.dust,
    "fibre": strands.fibre,
    "leaf_bit": strands.leaf_bit,
    "sliver": strands.sliver,
    "rootlet": strands.rootlet,
}


def make(rng: np.random.Generator) -> tuple[str, Thing, Points]:
    """A bit's name, its parts and the view of it."""
    name = list(_MAKERS)[int(rng.integers(len(_MAKERS)))]
    thing, view = _MAKERS[name](rng)
    return name, thing, view
