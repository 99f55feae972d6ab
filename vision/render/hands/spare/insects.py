"""Insects by kind: which one, how it lies and how dense it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.render.hands.spare.fields import Rng
from vision.render.hands.spare.round_bodies import aphid, egg, gnat, mite, skin
from vision.render.hands.spare.slim_bodies import caterpillar, larva, thrips
from vision.render.hands.spare.stamps import Pose, Stamp
from vision.render.truth import moments

SHARES = {
    "aphid": 0.32, "thrips": 0.30, "caterpillar": 0.07, "larva": 0.09, "mite": 0.07, "gnat": 0.05, "egg": 0.06, "skin": 0.04,
}  # fmt: skip
"""How often each kind is drawn; aphids and thrips make up most, as common practice has it."""
_LENGTHS_MM = {
    "aphid": (1.0, 2.5), "thrips": (0.8, 1.5), "caterpillar": (3.0, 12.0), "larva": (0.4, 0.9), "mite": (0.3, 0.6),
    "gnat": (1.5, 3.0), "egg": (0.3, 0.8), "skin": (0.9, 2.2),
}  # fmt: skip
_BENDS_RAD = {
    "aphid": 0.2,
    "thrips": 0.45,
    "caterpillar": 1.3,
    "larva": 0.6,
    "mite": 0.0,
    "gnat": 0.25,
    "egg": 0.0,
    "skin": 0.35,
}
"""The usual bend of each kind, as the spread of a normal law."""
_MAKERS: dict[str, Callable[[Rng, Pose, float], tuple[Stamp, float]]] = {
    "aphid": aphid, "thrips": thrips, "caterpillar": caterpillar, "larva": larva, "mite": mite, "gnat": gnat, "egg": egg, "skin": skin,
}  # fmt: skip


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
    low, high = _LENGTHS_MM[kind]
    # Long ones are rarer than short ones: the share along the range is drawn low.
    length_mm = low + (high - low) * float(rng.beta(1.4, 2.0))
    bend = 0.0 if straight else float(np.clip(rng.normal(0, _BENDS_RAD[kind]), -2.6, 2.6))
    sway = 0.0 if straight or rng.random() < 0.6 else float(rng.normal(0, _BENDS_RAD[kind] * 0.3))
    pose = Pose(length_mm, float(rng.uniform(0, 2 * np.pi)), bend, sway)
    stamp, width_mm = _MAKERS[kind](rng, pose, strength)
    angle = moments(stamp.body)[2] if pose.curved else float(np.rad2deg(pose.angle_rad))
    return Insect(kind, stamp, length_mm, width_mm, angle % 180.0, pose.curved)


def chosen(rng: Rng, insects: int) -> list[str]:
    """The kinds of that many insects, at random by their shares; a shot has its own favourite."""
    names = list(SHARES)
    weights = np.array(list(SHARES.values())) * rng.gamma(2.0, 0.5, len(names))
    return [names[i] for i in rng.choice(len(names), insects, p=weights / weights.sum())]
