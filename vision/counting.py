"""Free-response counting on drawn shots: which flags hit which bodies, and recall at so many false flags a shot.

A flag hits a body within half its length (at least 0.5 mm) of its centre, best score first; a second flag on the same body, and
flags on bodies under 0.3 mm or less than half in view, count neither way (Chakraborty's FROC with a stated closeness rule).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.render import TrueBody
from vision.types import Candidate

NEVER = -1e9
"""The score of what is not listed."""
_SMALLEST_MM = 0.3
_LEAST_IN_VIEW = 0.5


@dataclass(frozen=True)
class ShotCount:
    """One shot: `bodies` are the insects that count; `hits` a score for each (NEVER: not listed), `flags` the index of the flag that
    hit it (-1: none); `false` the scores of false flags."""

    bodies: tuple[TrueBody, ...]
    hits: tuple[float, ...]
    flags: tuple[int, ...]
    false: tuple[float, ...]


def count_shot(candidates: Sequence[Candidate], truth: Sequence[TrueBody], px_per_mm: float) -> ShotCount:
    """Flags against truth; `candidates` come best score first."""
    return count_places([(c.measures.x_px, c.measures.y_px, c.score) for c in candidates], truth, px_per_mm)


def count_places(
    places: Sequence[tuple[float, float, float]], truth: Sequence[TrueBody], px_per_mm: float
) -> ShotCount:
    """Places (x_px, y_px, score) against truth, best score first whatever their order."""
    insects = [b for b in truth if b.insect]
    counted = [k for k, b in enumerate(insects) if counts(b)]
    centres = np.array([(b.x_px, b.y_px) for b in insects]).reshape(-1, 2)
    reach = np.array([hit_radius_mm(b) * px_per_mm for b in insects])
    hit_by: dict[int, int] = {}
    false: list[float] = []
    for n in sorted(range(len(places)), key=lambda n: -places[n][2]):
        x, y, score = places[n]
        away = np.hypot(centres[:, 0] - x, centres[:, 1] - y)
        near = [int(k) for k in np.argsort(away, kind="stable") if away[k] <= reach[k]]
        free = [k for k in near if k not in hit_by]
        if free:
            hit_by[free[0]] = n
        elif not near:
            false.append(score)
    flags = tuple(hit_by.get(k, -1) for k in counted)
    hits = tuple(NEVER if n < 0 else places[n][2] for n in flags)
    return ShotCount(tuple(insects[k] for k in counted), hits, flags, tuple(false))


def hit_radius_mm(body: TrueBody) -> float:
    """How far a flag may lie from a body's centre and still mean it: half its length, at least half a millimetre."""
    return max(0.5 * body.length_mm, 0.5)


def counts(body: TrueBody) -> bool:
    """Whether an insect counts: large enough and far enough in view that a flag could be asked for."""
    return body.length_mm >= _SMALLEST_MM and body.visible >= _LEAST_IN_VIEW


def recall_at(shots: Sequence[ShotCount], false_a_shot: float) -> tuple[float, float]:
    """Largest recall with at most that many false flags a shot, and the score above which it is reached."""
    false = np.sort(np.concatenate([np.array(c.false) for c in shots]))[::-1]
    allowed = int(false_a_shot * len(shots))
    cut = float(false[allowed]) if allowed < len(false) else NEVER / 2
    hits = np.concatenate([np.array(c.hits) for c in shots])
    return float((hits > cut).mean()) if len(hits) else float("nan"), cut
