"""What insect is to be painted, before a brush is taken up: its kind, size, posture and colours."""

from __future__ import annotations

from dataclasses import dataclass

from vision.render.hands.washed.sheet import Colour, Rng, picked

GREENS: tuple[Colour, ...] = ((0.46, 0.56, 0.22), (0.62, 0.68, 0.34), (0.34, 0.46, 0.2), (0.7, 0.7, 0.42))
BROWNS: tuple[Colour, ...] = ((0.34, 0.2, 0.1), (0.46, 0.3, 0.16), (0.27, 0.17, 0.1), (0.55, 0.36, 0.2))
BLACKS: tuple[Colour, ...] = ((0.09, 0.08, 0.07), (0.14, 0.12, 0.1), (0.16, 0.17, 0.14))
_PALES: tuple[Colour, ...] = ((0.87, 0.83, 0.62), (0.83, 0.8, 0.7), (0.9, 0.86, 0.74), (0.76, 0.73, 0.55))
_YELLOWS: tuple[Colour, ...] = ((0.85, 0.74, 0.34), (0.9, 0.83, 0.52), (0.78, 0.62, 0.26))
_REDS: tuple[Colour, ...] = ((0.6, 0.22, 0.12), (0.72, 0.42, 0.2), (0.5, 0.16, 0.12))
_WHITES: tuple[Colour, ...] = ((0.9, 0.9, 0.83), (0.8, 0.83, 0.7), (0.86, 0.84, 0.74))
_KINDS = ("aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin")
_OFTEN = (0.35, 0.28, 0.07, 0.07, 0.07, 0.06, 0.06, 0.04)
_OFTEN_IN_SCALLION = (0.16, 0.46, 0.05, 0.14, 0.05, 0.04, 0.06, 0.04)
BENT_RAD, SWAYED_RAD = 0.45, 0.25
"""A body that turns by more than this from end to end, or sways by more, is called curved."""


@dataclass(frozen=True)
class Plan:
    """One insect to paint; `young` is the pale wingless form of thrips, `winged` an adult with wings."""

    kind: str
    length_mm: float
    width_mm: float
    bend_rad: float
    sway_rad: float
    colour: Colour
    opaque: float
    limbs: float
    """How likely each limb is to be seen."""
    side_view: bool
    winged: bool
    young: bool

    @property
    def curved(self) -> bool:
        """Whether its length is along a bow."""
        return abs(self.bend_rad) > BENT_RAD or abs(self.sway_rad) > SWAYED_RAD

    @property
    def reach_mm(self) -> float:
        """How far from its centre its limbs may go."""
        limbs = {"aphid": 1.1, "thrips": 0.35, "gnat": 1.5, "mite": 0.9, "skin": 0.8, "caterpillar": 0.1}
        wings = 0.9 if self.winged and self.kind == "aphid" else 0.0
        return self.length_mm * (0.56 + max(limbs.get(self.kind, 0.05), wings)) + 0.15


def planned(rng: Rng, scene: str) -> Plan:
    """An insect for a scene, drawn by lot."""
    return planned_as(rng, str(rng.choice(_KINDS, p=_OFTEN_IN_SCALLION if scene == "scallion" else _OFTEN)))


def planned_as(rng: Rng, kind: str) -> Plan:
    """An insect of a kind."""
    size, colours, bend, sway, opaque = _looks(rng, kind)
    length = float(rng.uniform(*size[0]))
    width = length * float(rng.uniform(*size[1]))
    young = kind == "thrips" and bool(rng.random() < 0.35)
    if kind == "thrips":
        width = float(rng.uniform(0.19, 0.3)) * (0.75 + 0.25 * length)
    return Plan(
        kind=kind, length_mm=length, width_mm=width, bend_rad=bend, sway_rad=sway,
        colour=picked(rng, _PALES[:2] + _YELLOWS[1:2] if young else colours, 0.1),
        opaque=opaque * (0.75 if young else 1.0), limbs=float(rng.choice([1.0, 0.9, 0.6, 0.3])),
        side_view=bool(rng.random() < 0.3), winged=bool(rng.random() < (0.16 if kind == "aphid" else 0.7)), young=young,
    )  # fmt: skip


_Ranges = tuple[tuple[float, float], tuple[float, float]]


def _looks(rng: Rng, kind: str) -> tuple[_Ranges, tuple[Colour, ...], float, float, float]:
    """Range of length and of width by length, colours, bend, sway and opacity of a kind."""
    little, much = float(rng.normal(0, 0.12)), float(rng.choice([-1, 1]) * rng.uniform(0.5, 1.6))
    if kind == "aphid":
        colours = (GREENS, BROWNS, BROWNS, BLACKS, _PALES)[int(rng.integers(5))]
        return ((1.0, 2.5), (0.44, 0.64)), colours, little, 0.0, float(rng.uniform(0.62, 0.97))
    if kind == "thrips":
        bend = much * 0.9 if rng.random() < 0.25 else little
        return ((0.8, 1.5), (0.17, 0.22)), _YELLOWS + BROWNS + BROWNS[:1], bend, 0.0, float(rng.uniform(0.65, 0.98))
    if kind == "caterpillar":
        bend = float(rng.choice([-1, 1]) * rng.uniform(0.6, 3.6)) if rng.random() < 0.55 else little
        sway = float(rng.normal(0, 0.5)) if rng.random() < 0.4 else 0.0
        length = (3.0, 12.0) if rng.random() < 0.3 else (3.0, 6.5)
        return (length, (0.11, 0.17)), _WHITES + GREENS[1:2], bend, sway, float(rng.uniform(0.7, 0.97))
    if kind == "larva":
        bend = much if rng.random() < 0.4 else little
        return ((0.4, 0.9), (0.22, 0.34)), _WHITES + _PALES, bend, 0.0, float(rng.uniform(0.25, 0.5))
    if kind == "mite":
        return ((0.3, 0.6), (0.62, 0.82)), _REDS + _PALES + BROWNS[:1], 0.0, 0.0, float(rng.uniform(0.55, 0.95))
    if kind == "gnat":
        return ((1.5, 3.0), (0.2, 0.27)), BLACKS + BROWNS, little + much * 0.15, 0.0, float(rng.uniform(0.75, 0.98))
    if kind == "egg":
        colours = _WHITES + _YELLOWS + _PALES + BLACKS[1:2]
        return ((0.3, 0.8), (0.4, 0.68)), colours, little, 0.0, float(rng.uniform(0.6, 0.95))
    return ((1.0, 2.2), (0.42, 0.6)), _WHITES + _PALES, little, 0.0, float(rng.uniform(0.2, 0.5))
