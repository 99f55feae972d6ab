"""Substances: what they swallow and scatter a millimetre, and the colour they throw back.

The numbers were tuned by eye until thin and thick bodies looked like macro photographs of the animals (from memory, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.render.hands.solid.draws import Rng


@dataclass(frozen=True)
class Matter:
    """`swallowed_per_mm` (3,) or (n, 3) along a body; `albedo` likewise, linear light 0..1; `scattered_per_mm` one number."""

    swallowed_per_mm: NDArray[Any]
    albedo: NDArray[Any]
    scattered_per_mm: float

    def made(
        self, swallowed: ArrayLike = 1.0, more: ArrayLike = 0.0, albedo: ArrayLike = 1.0, scattered: float | None = None
    ) -> Matter:
        """Matter that swallows `swallowed` times as much and `more` a mm, with its colour times `albedo`."""
        return Matter(
            self.swallowed_per_mm * np.asarray(swallowed) + np.asarray(more),
            self.albedo * np.asarray(albedo),
            self.scattered_per_mm if scattered is None else scattered,
        )


def matter(swallowed_per_mm: ArrayLike, albedo: ArrayLike, scattered_per_mm: float = 1.5) -> Matter:
    """Matter from plain numbers."""
    return Matter(np.asarray(swallowed_per_mm, float), np.asarray(albedo, float), scattered_per_mm)


_SUBSTANCES = {
    "green": ((1.8, 0.85, 2.5), (0.22, 0.34, 0.10), 1.4),
    "palegreen": ((0.9, 0.35, 1.5), (0.46, 0.58, 0.24), 1.5),
    "brown": ((1.9, 2.9, 4.3), (0.20, 0.11, 0.055), 1.2),
    "grey": ((1.7, 1.65, 1.75), (0.33, 0.35, 0.33), 2.0),
    "black": ((5.5, 5.8, 6.0), (0.022, 0.021, 0.022), 1.0),
    "pale": ((0.55, 0.62, 0.95), (0.72, 0.69, 0.54), 2.0),
    "yellow": ((0.75, 1.05, 3.0), (0.68, 0.52, 0.15), 1.6),
    "red": ((1.0, 3.4, 3.8), (0.38, 0.11, 0.06), 1.4),
    "cream": ((0.6, 0.75, 1.3), (0.75, 0.68, 0.48), 2.2),
    "olive": ((2.2, 1.7, 3.4), (0.20, 0.21, 0.07), 1.4),
    "amber": ((0.9, 1.9, 4.2), (0.50, 0.27, 0.07), 1.3),
}


def substance(name: str) -> Matter:
    """The substance as it stands in the table."""
    return matter(*_SUBSTANCES[name])


def one_of(rng: Rng, names: Sequence[str], weights: Sequence[float] | None = None) -> str:
    """A name, by weights that need not sum to one."""
    share = None if weights is None else np.asarray(weights) / np.sum(weights)
    return names[int(rng.choice(len(names), p=share))]


def living(rng: Rng, name: str, gain: float) -> Matter:
    """A substance as one animal has it: `gain` times as dense as in the table, its hue a little off."""
    table = substance(name)
    return Matter(
        table.swallowed_per_mm * rng.uniform(0.8, 1.25, 3) * rng.uniform(0.75, 1.35) * gain,
        np.clip(table.albedo * rng.uniform(0.85, 1.15, 3) * rng.uniform(0.8, 1.2), 0, 0.9),
        table.scattered_per_mm * gain,
    )


EYE = matter((15, 17, 17), (0.04, 0.01, 0.01), 5.0)
