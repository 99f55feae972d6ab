"""The hand glassy: things as a macro lens sees them, soaked, in shallow water over a bright light. Sizes and colours from memory."""

from collections.abc import Callable

import numpy as np

from vision.render.hands.glassy.aphids import draw_aphid, draw_skin
from vision.render.hands.glassy.bits_dry import draw_crumb, draw_grit, draw_rootlet
from vision.render.hands.glassy.bits_plant import (
    draw_bud,
    draw_husk,
    draw_leaf_bit,
    draw_seed,
    draw_sliver,
    draw_stalked,
)
from vision.render.hands.glassy.bits_wet import draw_bubble, draw_drop, draw_dust, draw_fibre, draw_starch
from vision.render.hands.glassy.small import draw_egg, draw_mite
from vision.render.hands.glassy.winged import draw_gnat, draw_thrips
from vision.render.hands.glassy.worms import draw_caterpillar, draw_larva
from vision.render.hands.lent import Lent

__all__ = ["bit", "body"]

Drawer = Callable[[bool, np.random.Generator], Lent]

BODIES: dict[str, Drawer] = {
    "aphid": draw_aphid,
    "thrips": draw_thrips,
    "caterpillar": draw_caterpillar,
    "larva": draw_larva,
    "mite": draw_mite,
    "gnat": draw_gnat,
    "egg": draw_egg,
    "skin": draw_skin,
}
BITS: dict[str, tuple[Drawer, float]] = {
    "bubble": (draw_bubble, 1.0),
    "fibre": (draw_fibre, 1.1),
    "grit": (draw_grit, 1.1),
    "seed": (draw_seed, 1.1),
    "leaf_bit": (draw_leaf_bit, 1.3),
    "bud": (draw_bud, 1.1),
    "drop": (draw_drop, 0.7),
    "dust": (draw_dust, 0.9),
    "sliver": (draw_sliver, 1.0),
    "stalked": (draw_stalked, 1.2),
    "husk": (draw_husk, 1.1),
    "crumb": (draw_crumb, 1.2),
    "rootlet": (draw_rootlet, 0.9),
    "starch": (draw_starch, 0.8),
}


def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """One animal of a kind at 20 px a millimetre; ``below`` when the light comes through the panel under it."""
    return BODIES[kind](below, rng)


def bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """One bit of dirt and its name at 20 px a millimetre."""
    names = list(BITS)
    weights = np.array([BITS[name][1] for name in names])
    name = str(rng.choice(names, p=weights / weights.sum()))
    return name, BITS[name][0](below, rng)
