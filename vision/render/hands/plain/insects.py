"""Which insect is drawn next."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.render.hands.plain.anatomy import Mood
from vision.render.hands.plain.canvas import Figure
from vision.render.hands.plain.crawlers import caterpillar, egg, gnat, larva, mite
from vision.render.hands.plain.sucking import aphid, skin, thrips

MAKERS: dict[str, tuple[float, Callable[[np.random.Generator, Mood], Figure]]] = {
    "aphid": (0.34, aphid),
    "thrips": (0.24, thrips),
    "caterpillar": (0.08, caterpillar),
    "larva": (0.08, larva),
    "mite": (0.06, mite),
    "gnat": (0.08, gnat),
    "egg": (0.06, egg),
    "skin": (0.06, skin),
}
"""How often each is drawn, and how."""


def insect(rng: np.random.Generator, mood: Mood, room_mm: float, often: tuple[str, ...]) -> Figure:
    """Any insect no longer than `room_mm`, aphids and thrips most often, those named in `often` twice as often."""
    shares = np.array([share * (2 if name in often else 1) for name, (share, _) in MAKERS.items()])
    makers = [maker for _, maker in MAKERS.values()]
    for _ in range(20):
        figure = makers[int(rng.choice(len(makers), p=shares / shares.sum()))](rng, mood)
        if figure.length_mm <= room_mm:
            return figure
    return egg(rng, mood)
