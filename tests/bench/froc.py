"""Free-response counting: which flags hit which bodies, and recall at so many false flags a shot.

A flag hits a body within half its length (at least 0.5 mm) of its centre, best score first; a second flag on the same body, and
flags on bodies under 0.3 mm or less than half in view, count neither way (Chakraborty's FROC with a stated closeness rule).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.render import TrueBody
from vision.train import hit_radius_mm
from vision.types import Candidate

_SMALLEST_MM = 0.3
_LEAST_IN_VIEW = 0.5


@dataclass(frozen=True)
class ShotCount:
    """One shot: `hits` holds a score for each insect that counts (-1: not listed), `false` the scores of false flags."""

    bodies: tuple[TrueBody, ...]
    hits: tuple[float, ...]
    false: tuple[float, ...]


def count_shot(candidates: Sequence[Candidate], truth: Sequence[TrueBody], px_per_mm: float) -> ShotCount:
    """Flags against truth; `candidates` come best score first."""
    insects = [b for b in truth if b.insect]
    counted = [b for b in insects if b.length_mm >= _SMALLEST_MM and b.visible >= _LEAST_IN_VIEW]
    score_of: dict[int, float] = {}
    false: list[float] = []
    for c in candidates:
        away = [
            (np.hypot(c.measures.x_px - b.x_px, c.measures.y_px - b.y_px), k)
            for k, b in enumerate(insects)
            if np.hypot(c.measures.x_px - b.x_px, c.measures.y_px - b.y_px) <= hit_radius_mm(b) * px_per_mm
        ]
        free = [(d, k) for d, k in sorted(away) if k not in score_of]
        if free:
            score_of[free[0][1]] = c.score
        elif not away:
            false.append(c.score)
    hits = tuple(score_of.get(k, -1.0) for k, b in enumerate(insects) if b in counted)
    return ShotCount(tuple(counted), hits, tuple(false))


def recall_at(counts: Sequence[ShotCount], false_a_shot: float) -> tuple[float, float]:
    """Largest recall with at most that many false flags a shot, and the score at which it is reached."""
    false = np.sort(np.concatenate([np.array(c.false) for c in counts]))[::-1]
    allowed = int(false_a_shot * len(counts))
    cut = float(false[allowed]) if allowed < len(false) else -0.5
    hits = np.concatenate([np.array(c.hits) for c in counts])
    return float((hits > cut).mean()) if len(hits) else float("nan"), cut
