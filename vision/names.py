"""What a speck may be called: insects, and what is mistaken for them. One list for drawing, learning, guides and tables."""

from __future__ import annotations

ANIMALS = ("aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin")
"""Animals and what they leave whole. The order is that of their random streams in the drawing: new ones come last."""
TRAIL = "trail"
"""What a miner leaves in thin tissue: counted as an insect."""
INSECTS = (*ANIMALS, TRAIL)
DISTINCT = frozenset({"aphid", "thrips", "caterpillar", "mite", "gnat"})
"""Names of which one excludes the others. A larva may be a young caterpillar, thrips or gnat; an egg or a skin may be anybody's."""
LOOK_ALIKES = {
    "bubble": "bubble", "fibre": "fibre", "grit": "grit", "seed": "grit", "seed_coat": "grit", "pollen": "grit",
    "leaf_bit": "leaf bit", "bud": "bud", "drop": "drop", "scratch": "scratch", "dust": "dust", "frass": "frass", "leg": "leg",
    "sliver": "leaf bit", "stalked": "leaf bit", "husk": "leaf bit", "crumb": "grit", "rootlet": "fibre", "starch": "dust",
}  # fmt: skip
"""Drawn things that are no insects -> the name a person reads."""
ON_PRODUCE, ON_GROUND = "plant part", "unevenness"
"""What a speck is called where nothing was drawn: the produce's own texture, or the ground's."""
NOT_INSECTS = (*dict.fromkeys(LOOK_ALIKES.values()), ON_PRODUCE, ON_GROUND)
KINDS = (*INSECTS, *NOT_INSECTS)
SOMETHING_ELSE = "something else, maybe alive"
"""What looks like an insect and like none of them more than the others."""
