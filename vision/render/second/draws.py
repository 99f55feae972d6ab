"""What every kind draws first: a form, a length, a direction."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.render.patch import BodyWish

Range = tuple[float, float]


def choice(rng: np.random.Generator, odds: Mapping[str, float]) -> str:
    """One name, by its share of the total."""
    at = rng.random() * sum(odds.values())
    for name, share in odds.items():
        at -= share
        if at < 0:
            return name
    return next(iter(odds))


def log_even(rng: np.random.Generator, low: float, high: float) -> float:
    """Evenly drawn in ratio: as often between 1 and 2 as between 2 and 4."""
    return float(low * (high / low) ** rng.random())


def form_and_length(
    wish: BodyWish, rng: np.random.Generator, odds: Mapping[str, float], lengths_mm: Mapping[str, Range]
) -> tuple[str, float]:
    """A form and a length within that form's range; a length wished for chooses among the forms that reach it, if any do."""
    if wish.length_mm is None:
        form = choice(rng, odds)
        return form, float(rng.uniform(*lengths_mm[form]))
    fitting = {k: v for k, v in odds.items() if lengths_mm[k][0] <= wish.length_mm <= lengths_mm[k][1]}
    return choice(rng, fitting or odds), float(wish.length_mm)


def direction(wish: BodyWish, rng: np.random.Generator) -> float:
    """Long axis in degrees, 0 along x, clockwise as seen."""
    return float(rng.uniform(0, 360)) if wish.angle_deg is None else float(wish.angle_deg)
