"""Insects by kind: which one, how it lies and how dense it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.render.hands.spare.bodies import aphid, caterpillar, egg, gnat, larva, mite, skin, thrips
from vision.render.hands.spare.fields import Rng, between
from vision.render.hands.spare.stamps import Pose, Stamp
from vision.render.truth import moments

_Maker = Callable[[Rng, Pose, float], tuple[Stamp, float]]
KINDS: dict[str, tuple[float, tuple[float, float], float, _Maker]] = {
    "aphid": (0.32, (1.0, 2.5), 0.2, aphid), "thrips": (0.30, (0.8, 1.5), 0.45, thrips), "egg": (0.06, (0.3, 0.8), 0.0, egg),
    "caterpillar": (0.07, (3.0, 12.0), 1.3, caterpillar), "larva": (0.09, (0.4, 0.9), 0.6, larva), "mite": (0.07, (0.3, 0.6), 0.0, mite),
    "gnat": (0.05, (1.5, 3.0), 0.25, gnat), "skin": (0.04, (0.9, 2.2), 0.35, skin),
}  # fmt: skip
"""By kind: how often it is drawn (aphids and thrips most, as common practice has it), its lengths in mm, the spread of its bend in radians,
and what draws it."""


@dataclass(frozen=True)
class Insect:
    """An insect ready to be laid; `angle_deg` is that of its long axis, clockwise as seen."""

    kind: str
    stamp: Stamp
    length_mm: float
    width_mm: float
    angle_deg: float
    curved: bool


def made(rng: Rng, kind: str, strength: float, straight: bool = False) -> Insect:
    """An insect of that kind in a random posture; `strength` about 1 scales how dense it is."""
    _, (low, high), spread, maker = KINDS[kind]
    spread = 0.0 if straight else spread
    # Long ones are rarer than short ones: the share along the range is drawn low.
    length_mm = low + (high - low) * float(rng.beta(1.4, 2.0))
    bend = float(np.clip(rng.normal(0, spread), -2.6, 2.6))
    sway = float(rng.normal(0, 0.3 * spread)) * (rng.random() < 0.4)
    pose = Pose(length_mm, between(rng, 0, 2 * np.pi), bend, sway)
    stamp, width_mm = maker(rng, pose, strength)
    angle = moments(stamp.body)[2] if pose.curved else float(np.rad2deg(pose.angle_rad))
    return Insect(kind, stamp, length_mm, width_mm, angle % 180.0, pose.curved)


def chosen(rng: Rng, insects: int) -> list[str]:
    """The kinds of that many insects, at random by their shares; a shot has its own favourite."""
    weights = np.array([share for share, *_ in KINDS.values()]) * rng.gamma(2.0, 0.5, len(KINDS))
    return [str(kind) for kind in rng.choice(list(KINDS), insects, p=weights / weights.sum())]
