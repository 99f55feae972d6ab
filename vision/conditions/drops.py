"""Drops of water on a bare panel lit from below: each is a lens that hides and bends what lies under it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.conditions.rings import Ring, Rings
from vision.types import Ground, LitFrom, Surfaces

_SIZE_MM = (0.8, 9.0)
_SIZE_SHARE = (0.006, 0.09)
"""The same as a share of the picture's longest side, where no scale is known."""
_FEW = 3
"""Drops a panel may have without a word."""
_WET = 0.1
"""Share of the ground from which a panel is as wet as matters: severity 1."""
_PLAINLY_WET = 0.02
"""Share from which rings on a ground that nobody named are drops: rinse water carries bubbles too, but fewer."""
_MOST_TOUCHING = 1.5
"""Bright middles for each outline: drops that touch become one, bubbles stay apart in rafts."""


@dataclass(frozen=True)
class Drops:
    """`count` drops cover `share` (0..1) of the searched picture; `severity` 0: nothing to say, 1: soaked."""

    count: int = 0
    share: float = 0.0
    severity: float = 0.0


def find_drops(
    rings: Rings, surfaces: Surfaces, ground: Ground | None, lit_from: LitFrom, px_per_mm: float | None
) -> Drops:
    """Drops on a panel; none where the ground is said to be something else or the light comes from above.

    `ground` is what was said of it, or None; `px_per_mm` is that of the working picture or None.
    """
    if lit_from != LitFrom.BELOW or ground not in (None, Ground.PANEL):
        return Drops()
    drops = _of_size(rings, px_per_mm, max(surfaces.ground.shape))
    searched = float((~surfaces.outside).sum())
    share = sum(np.pi / 4 * d.diameter_px**2 for d in drops) / max(searched, 1.0)
    told = len(drops) >= _FEW
    if ground is None:
        middles = sum(max(r.holes, 1) for r in rings.rings) / max(len(rings.rings), 1)
        told = told and share >= _PLAINLY_WET and middles < _MOST_TOUCHING
    return Drops(len(drops), min(share, 1.0), min(1.0, max(share / _WET, 0.05)) if told else 0.0)


def _of_size(rings: Rings, px_per_mm: float | None, longest_px: int) -> list[Ring]:
    unit, (low, high) = (longest_px, _SIZE_SHARE) if px_per_mm is None else (px_per_mm, _SIZE_MM)
    return [r for r in rings.rings if low * unit <= r.diameter_px / max(r.holes, 1) ** 0.5 <= high * unit]
