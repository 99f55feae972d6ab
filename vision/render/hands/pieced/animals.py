"""What an animal is before it is drawn: sizes, colour, posture and limbs, drawn from what its kind comes in.

Sizes, proportions and colours are from memory, angles of limbs common practice, no source. Lengths run along the back, without feelers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vision.render.hands.pieced.textures import pick

Colour = tuple[float, float, float]
"""sRGB, 0..255."""


@dataclass(frozen=True)
class Leg:
    """Where it leaves the body (share of the length), on which side (1 or -1), and how its parts lie; 0 rad points to the head."""

    at: float
    side: int
    angle_rad: float
    femur_mm: float
    tibia_mm: float
    knee_rad: float


@dataclass(frozen=True)
class Feelers:
    """Two antennae: their length, how far they stand off the long axis, and how far each turns along its way."""

    length_mm: float
    angle_rad: float
    turn_rad: float


@dataclass(frozen=True)
class Wing:
    """A clear wing spread to one side."""

    side: int
    angle_rad: float
    length_mm: float
    width_mm: float


@dataclass(frozen=True)
class Animal:
    """One animal. `opacity` 0..1 is how far its body hides what lies below."""

    kind: str
    length_mm: float
    width_mm: float
    colour: Colour
    opacity: float
    heading_rad: float
    bend_rad: float = 0.0
    """How far the body turns from head to tail, to one side."""
    second_bend_rad: float = 0.0
    """The same of an S."""
    from_side: bool = False
    legs: tuple[Leg, ...] = ()
    feelers: Feelers | None = None
    wings: tuple[Wing, ...] = ()
    limb_mm: float = 0.03
    limb_opacity: float = 0.8
    limb_colour: Colour = (60.0, 50.0, 40.0)
    reach_mm: float = 0.2
    """How far limbs reach beyond the body."""

    @property
    def curved(self) -> bool:
        return abs(self.bend_rad) + abs(self.second_bend_rad) > 0.5

    @property
    def flanks(self) -> tuple[float, float]:
        """How far the body reaches to either side of its middle line, as shares of half its width: an aphid from the side is humped."""
        return (1.15, 0.75) if self.from_side and self.kind == "aphid" else (1.0, 1.0)


def _varied(rng: np.random.Generator, colours: list[Colour], spread: float) -> Colour:
    r, g, b = np.asarray(pick(rng, colours)) + rng.normal(0, spread, 3)
    return float(r), float(g), float(b)


def _times(colour: Colour, share: float) -> Colour:
    return colour[0] * share, colour[1] * share, colour[2] * share


def _log_normal(rng: np.random.Generator, middle: float, spread: float, least: float, most: float) -> float:
    return float(np.clip(rng.lognormal(np.log(middle), spread), least, most))


def _heading(rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 2 * np.pi))


_APHIDS: dict[str, tuple[list[Colour], float, float]] = {
    "green": ([(112, 140, 60), (140, 160, 78), (92, 122, 58)], 0.62, 0.32),
    "brown": ([(104, 74, 48), (84, 58, 40)], 0.82, 0.2),
    "grey": ([(116, 118, 112), (96, 102, 98)], 0.75, 0.15),
    "black": ([(38, 35, 34), (50, 46, 40)], 0.94, 0.17),
    "pale": ([(212, 208, 160), (222, 216, 184)], 0.5, 0.12),
    "red": ([(150, 84, 66)], 0.75, 0.04),
}
"""Colours, opacity, and how often."""


def _aphid_legs(rng: np.random.Generator, length: float, from_side: bool) -> tuple[Leg, ...]:
    legs = []
    for k, (at, angle, knee) in enumerate([(0.2, 45, -25), (0.3, 85, 22), (0.4, 128, 30)]):
        for side in (1, -1):
            turned = angle + rng.normal(0, 12) + (14 * side if from_side else 0)
            bent = np.radians(knee + rng.normal(0, 14))
            if rng.random() < 0.06:  # some have lost one
                continue
            shown = -1 if from_side else side
            femur, tibia = length * (0.24 + 0.05 * k), length * (0.3 + 0.09 * k)
            legs.append(Leg(at, shown, float(np.radians(turned)), femur, tibia, float(bent)))
    return tuple(legs)


def _aphid(rng: np.random.Generator, wet: bool) -> Animal:
    length = _log_normal(rng, 1.6, 0.3, 0.8, 2.5)
    colours, opacity, _ = _APHIDS[pick(rng, list(_APHIDS), [a[2] for a in _APHIDS.values()])]
    pale = opacity == _APHIDS["pale"][1]
    colour = _varied(rng, colours, 9)
    if wet and rng.random() < 0.5:  # soaked bodies let light through
        opacity *= rng.uniform(0.45, 0.85)
    from_side = bool(rng.random() < 0.25)
    return Animal(
        "aphid", length, length * rng.uniform(0.46, 0.64), colour, opacity, _heading(rng), rng.normal(0, 0.12),
        from_side=from_side, legs=_aphid_legs(rng, length, from_side),
        feelers=Feelers(length * rng.uniform(0.55, 1.0), float(np.radians(rng.uniform(20, 45))), rng.uniform(0.6, 1.5)),
        limb_mm=rng.uniform(0.03, 0.045) * (length / 1.6) ** 0.5, limb_opacity=0.6 if pale else 0.85,
        limb_colour=_times(colour, rng.uniform(0.5, 0.8)), reach_mm=length * 0.62,
    )  # fmt: skip


def _skin(rng: np.random.Generator, wet: bool) -> Animal:
    length = _log_normal(rng, 1.6, 0.3, 0.9, 1.9)
    return Animal(
        "skin", length, length * rng.uniform(0.46, 0.64), (232, 228, 214), 0.22, _heading(rng), rng.normal(0, 0.12),
        legs=_aphid_legs(rng, length, False),
        feelers=Feelers(length * rng.uniform(0.55, 1.0), float(np.radians(rng.uniform(20, 45))), rng.uniform(0.6, 1.5)),
        limb_mm=rng.uniform(0.03, 0.045) * (length / 1.6) ** 0.5, limb_opacity=0.4, limb_colour=(205, 198, 180),
        reach_mm=length * 0.62,
    )  # fmt: skip


def _paired(
    rng: np.random.Generator,
    rows: Sequence[tuple[float, float, float]],
    loose_deg: float,
    femur: float,
    tibia: tuple[float, ...],
) -> tuple[Leg, ...]:
    """Legs in pairs: `rows` hold where, angle and knee in degrees; `tibia` has one length a pair."""
    return tuple(
        Leg(at, side, float(np.radians(angle + rng.normal(0, loose_deg))), femur, long, float(np.radians(knee)))
        for (at, angle, knee), long in zip(rows, tibia, strict=True)
        for side in (1, -1)
    )


_THRIPS: list[tuple[Colour, float]] = [
    ((205, 170, 80), 0.68), ((176, 128, 60), 0.78), ((120, 82, 46), 0.86), ((70, 50, 36), 0.92), ((36, 31, 29), 0.95),
]  # fmt: skip


def _thrips(rng: np.random.Generator, wet: bool) -> Animal:
    length = rng.uniform(0.7, 1.6)
    width = float(np.clip(length * rng.uniform(0.19, 0.25), 0.2, 0.35))
    tone, opacity = pick(rng, _THRIPS, [0.2, 0.2, 0.24, 0.2, 0.16])
    colour = _varied(rng, [tone], 8)
    tibia = tuple(width * (0.55 + 0.15 * k) for k in range(3))
    legs = _paired(rng, [(0.17, 50, -20), (0.3, 95, 25), (0.38, 130, 30)], 12, width * 0.55, tibia)
    return Animal(
        "thrips", length, width, colour, opacity, _heading(rng), rng.normal(0, 0.22), legs=legs,
        feelers=Feelers(length * 0.2, float(np.radians(22)), 0.4), limb_colour=_times(colour, 0.8), reach_mm=0.3,
    )  # fmt: skip


_CATERPILLARS: list[Colour] = [(168, 188, 104), (190, 202, 136), (146, 172, 92), (222, 212, 170), (206, 192, 150)]


def _posture(rng: np.random.Generator) -> tuple[float, float]:
    """Bend and second bend of a caterpillar: straight, an arc up to a ring, or an S."""
    way, side = rng.random(), pick(rng, (-1, 1))
    if way < 0.4:
        return rng.normal(0, 0.15), 0.0
    if way < 0.8:
        return side * rng.uniform(0.7, 3.4), 0.0
    return rng.normal(0, 0.4), side * rng.uniform(0.6, 1.5)


def _caterpillar(rng: np.random.Generator, wet: bool) -> Animal:
    length = _log_normal(rng, 6, 0.4, 3, 12)
    width = float(np.clip(length * rng.uniform(0.12, 0.19), 0.5, 1.6))
    colour = _varied(rng, _CATERPILLARS, 7)
    bend, second = _posture(rng)
    from_side = bool(rng.random() < 0.5)
    legs = tuple(
        Leg(at, -1 if from_side else side, float(np.radians(80 + rng.normal(0, 10))), width * 0.13, width * 0.12, -0.4)
        for at in (0.07, 0.11, 0.15)
        for side in (1, -1)
    )
    return Animal(
        "caterpillar", length, width, colour, rng.uniform(0.7, 0.95), _heading(rng), bend, second, from_side, legs,
        limb_mm=0.09 * width, limb_colour=_times(colour, 0.72), reach_mm=0.4,
    )  # fmt: skip


_LARVAE: list[Colour] = [(232, 226, 190), (228, 208, 126), (216, 186, 92), (226, 226, 206)]


def _larva(rng: np.random.Generator, wet: bool) -> Animal:
    length = rng.uniform(0.4, 0.9)
    width = float(np.clip(length * rng.uniform(0.24, 0.34), 0.13, 0.26))
    colour = _varied(rng, _LARVAE, 5)
    legs = _paired(rng, [(0.18, 55, 23), (0.28, 95, 23), (0.37, 125, 23)], 10, width * 0.35, (width * 0.4,) * 3)
    return Animal(
        "larva", length, width, colour, rng.uniform(0.4, 0.75), _heading(rng), rng.normal(0, 0.35), legs=legs,
        feelers=Feelers(length * 0.16, float(np.radians(25)), 0.3), limb_mm=0.022, limb_opacity=0.5,
        limb_colour=_times(colour, 0.8),
    )  # fmt: skip


_MITES: list[Colour] = [(214, 202, 150), (196, 120, 66), (160, 62, 40), (112, 74, 48), (186, 176, 96)]


def _mite(rng: np.random.Generator, wet: bool) -> Animal:
    length = rng.uniform(0.3, 0.5)
    colour = _varied(rng, _MITES, 8)
    rows = [(0.18, 32.0, -15.0), (0.3, 62.0, 10.0), (0.52, 112.0, 20.0), (0.62, 140.0, 25.0)]
    return Animal(
        "mite", length, length * rng.uniform(0.6, 0.78), colour, rng.uniform(0.65, 0.92), _heading(rng), rng.normal(0, 0.12),
        legs=_paired(rng, rows, 8, length * 0.27, (length * 0.3,) * 4), limb_mm=0.026, limb_colour=_times(colour, 0.75),
        reach_mm=length * 0.6,
    )  # fmt: skip


def _gnat(rng: np.random.Generator, wet: bool) -> Animal:
    length = rng.uniform(1.3, 2.8)
    colour = _varied(rng, [(52, 44, 38), (84, 66, 48), (40, 38, 40)], 0)
    rows = [(at, angle, rng.normal(15, 25)) for at, angle in ((0.22, 50), (0.3, 90), (0.38, 130))]
    wings = tuple(
        Wing(
            side,
            float(np.radians(rng.uniform(115, 165))),
            length * rng.uniform(0.75, 1.0),
            length * rng.uniform(0.26, 0.34),
        )
        for side in (1, -1)
    )
    return Animal(
        "gnat", length, length * rng.uniform(0.2, 0.27), colour, 0.92, _heading(rng), rng.normal(0, 0.12),
        legs=_paired(rng, rows, 15, length * 0.3, (length * 0.42,) * 3),
        feelers=Feelers(length * 0.3, float(np.radians(30)), 0.5), wings=wings, limb_mm=0.035, limb_colour=colour,
        reach_mm=length * 0.8,
    )  # fmt: skip


_EGGS: list[tuple[Colour, float]] = [
    ((228, 216, 160), 0.75), ((214, 178, 92), 0.8), ((46, 40, 34), 0.96), ((236, 232, 212), 0.7),
]  # fmt: skip


def _egg(rng: np.random.Generator, wet: bool) -> Animal:
    length = rng.uniform(0.35, 0.7)
    colour, opacity = pick(rng, _EGGS)
    return Animal("egg", length, length * rng.uniform(0.48, 0.66), colour, opacity, _heading(rng), reach_mm=0.15)


MAKERS: dict[str, Callable[[np.random.Generator, bool], Animal]] = {
    "aphid": _aphid, "thrips": _thrips, "caterpillar": _caterpillar, "larva": _larva, "mite": _mite, "gnat": _gnat,
    "egg": _egg, "skin": _skin,
}  # fmt: skip
_ON_WHAT_IS_GROWN = [0.36, 0.18, 0.16, 0.11, 0.08, 0.04, 0.04, 0.03]


def some_animal(kind_of_shot: str, rng: np.random.Generator) -> Animal:
    """An animal of a kind that such a shot has."""
    if kind_of_shot == "scallion":
        kind = pick(rng, ("larva", "thrips", "mite"), [0.42, 0.4, 0.18])
    else:
        kind = pick(rng, list(MAKERS), _ON_WHAT_IS_GROWN)
    return MAKERS[kind](rng, kind_of_shot == "water")
