"""Eggs of the second family: smooth ellipsoids, one or a few side by side.

Plutella 0.44 by 0.26 mm (second-hand copy of the extension text), Pieris rapae 1.0 by 0.5 mm, white to yellow (UF/IFAS), aphid
0.6 mm, green then black (Univ. Florida), gnat 0.7 by 0.3 and phorid 0.5 by 0.2 mm, asparagus beetle 1.2-1.6 mm, dark (second-hand
copy of a handbook). Length over width 2-3.5 and the rest of the look from memory.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from vision.render.patch import BodyWish, Patch
from vision.render.second.draws import Range, choice, direction, log_even
from vision.render.second.filling import Filling, Marks, Organ, Skin, fill, skin, spot
from vision.render.second.matter import Matter, matter, passing
from vision.render.second.solids import Inside, balls, ellipsoid, inside
from vision.render.second.spine import Spine, joints, laid, spine
from vision.render.second.stage import Stage, stage_over
from vision.render.second.trunk import Trunk

LENGTHS_MM: Range = (0.4, 1.5)
_SLIM: Range = (2.0, 3.5)
_PASSES: dict[str, Range] = {
    "milk": (0.35, 0.8),
    "ivory": (0.3, 0.75),
    "lemon": (0.25, 0.65),
    "glass": (0.5, 0.85),
    "moss": (0.08, 0.35),
    "umber": (0.02, 0.2),
    "soot": (0.01, 0.1),
    "chestnut": (0.06, 0.35),
    "straw": (0.3, 0.65),
}


def draw_egg(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One egg, or 2-4 in a row, of which length and width are one egg's; see Patch."""
    length = log_even(rng, *LENGTHS_MM) if wish.length_mm is None else float(wish.length_mm)
    width = length / rng.uniform(*_SLIM)
    number = 1 if rng.random() < 0.7 else int(rng.integers(2, 5))
    angle = direction(wish, rng)
    bow = joints(rng, "C", rng.uniform(0, 0.35))
    radius = ellipsoid(length, width, rng.uniform(-0.15, 0.15), rng.uniform(0.5, 1.0))
    name = _colour(rng, heated=wish.heated)
    flat = float(rng.uniform(0.85, 1.0))
    main = matter(rng, name, passing(rng, *_PASSES[name], wild=wish.wild), flat * width, wild=wish.wild)
    look = skin(rng, glassy=name in ("glass", "milk"), wild=wish.wild)
    look = dataclasses.replace(look, grain=look.grain * 0.35)
    eggs = [
        _moved(laid(spine(length, bow), radius, angle + tilt), shift) for shift, tilt in _row(rng, number, width, angle)
    ]
    trunks = [Trunk(line, radius, balls(line, radius)) for line in eggs]
    stage = stage_over(wish, [one.extent for one in trunks])
    ribs = np.float32(rng.uniform(0.02, 0.12)) if rng.random() < 0.25 else np.float32(0)
    grown = rng.random() < 0.25
    for one in trunks:
        _shell(stage, rng, one, inside(stage, one.row), flat, main, look, ribs, grown=grown)
    return stage.patch(
        length_mm=length,
        width_mm=trunks[0].width_mm,
        curved=False,
        form="" if number == 1 else "row",
        gloss=float(rng.uniform(0.2, 0.8)),
    )


def _colour(rng: np.random.Generator, *, heated: bool) -> str:
    if heated and rng.random() < 0.6:
        return choice(rng, {"ivory": 0.3, "straw": 0.3, "chestnut": 0.2, "umber": 0.2})
    return choice(
        rng,
        {
            "milk": 0.22,
            "ivory": 0.2,
            "lemon": 0.16,
            "glass": 0.1,
            "moss": 0.06,
            "umber": 0.1,
            "soot": 0.12,
            "chestnut": 0.04,
        },
    )


def _row(
    rng: np.random.Generator, number: int, width: float, angle_deg: float
) -> list[tuple[NDArray[np.float64], float]]:
    """Where each egg lies and how far it is turned out of the row."""
    across = np.deg2rad(angle_deg + 90 + rng.normal(0, 8))
    pitch = width * rng.uniform(1.06, 1.35)
    steps = (np.arange(number) - (number - 1) / 2) * pitch
    shifts = steps[:, None] * np.array([np.cos(across), np.sin(across)]) + rng.normal(0, 0.06 * width, (number, 2))
    return [(shift - shifts.mean(axis=0), float(rng.normal(0, 4)) if number > 1 else 0.0) for shift in shifts]


def _moved(line: Spine, shift_mm: NDArray[np.float64]) -> Spine:
    return Spine(line.points_mm + shift_mm, line.ahead, line.length_mm)


def _shell(
    stage: Stage,
    rng: np.random.Generator,
    one: Trunk,
    solid: Inside,
    flat: float,
    main: Matter,
    look: Skin,
    ribs: np.float32,
    *,
    grown: bool,
) -> None:
    what = Filling(solid, flat, look, [(1.0, main)])
    upper, lower = solid.round_angle(0.0)
    if ribs > 0:
        lines = [ribs * np.cos(12 * side) ** 2 * np.float32(1) for side in (upper, lower)]
        what.marks.append(Marks(lines[0], lines[1], np.ones(3, np.float32)))
        what.relief = lines[0]
    if grown:
        # Shortly before it hatches the larva's head shows as a dark spot at one end.
        deep = np.float32(rng.uniform(0.2, 1.2))
        head = spot(solid.t, upper, 0.13, 0.0, 0.09, 0.8)
        what.marks.append(Marks(deep * head, np.zeros_like(head), np.array([0.85, 1, 1.1], np.float32)))
    if rng.random() < 0.6:
        # Yolk: denser in the middle, drawn back from the ends.
        yolk = one.pip(
            one.at(rng.uniform(0.42, 0.58)),
            one.length_mm * rng.uniform(0.5, 0.8),
            one.width_mm * 0.75,
            one.heading(0.5),
        )
        what.organs.append(Organ(inside(stage, yolk), main.times(rng.uniform(0.8, 1.7)), 1.0, 0.0, 1.8))
    fill(stage, rng, what)
