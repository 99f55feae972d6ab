"""A creature before it has a place, and the jointed legs that most of them have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.matter import Matter
from vision.render.hands.solid.model import Model


@dataclass(frozen=True)
class Seen:
    """How a creature comes up: its heading, how much it hides (see stamps.Light) and how dense it is, 1 being its substance's own."""

    angle_rad: float
    hiding: float
    strength: float


@dataclass(frozen=True)
class Creature:
    """`length_mm` along the curve and `width_mm` are those of the body without limbs; the head lies at +x of the model."""

    kind: str
    model: Model
    length_mm: float
    width_mm: float
    curved: bool


@dataclass(frozen=True)
class LegRoot:
    """Where a leg leaves the body: along it, on which side (-1 or 1), and how far forward it is held."""

    x_mm: float
    side: int
    forward_rad: float


def legs(
    model: Model,
    rng: Rng,
    roots: Sequence[LegRoot],
    half_width_mm: float,
    reach_mm: float,
    radius_mm: float,
    of: Matter,
    lost: float = 0.06,
    slack_rad: float = 0.25,
) -> None:
    """Legs of three parts, out, down and along; `lost` is the share that has come off."""
    for root in roots:
        if rng.random() < lost:
            continue
        first = root.forward_rad + rng.normal(0, slack_rad)
        reach = reach_mm * rng.uniform(0.82, 1.12)
        second = first * rng.uniform(1.2, 1.8) + rng.normal(0, slack_rad * 0.8)
        third = second + rng.normal(0, 0.4)
        out, down, along = (unit(np.pi / 2 - a) * [1, root.side] for a in (first, second, third))
        hip = np.array([root.x_mm, root.side * half_width_mm * 0.55])
        knee = hip + out * (reach * 0.42 + half_width_mm * 0.4)
        heel = knee + down * reach * 0.45
        model.limb([hip, knee], radius_mm * 1.5, radius_mm * 1.05, of)
        model.limb([knee, heel], radius_mm, radius_mm * 0.75, of)
        model.limb([heel, heel + along * reach * 0.14], radius_mm * 0.7, radius_mm * 0.6, of.made(1.3))
