"""Aphids, from above or from the side, and the skins they cast. Sizes and colours: from memory, no source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands.solid.creature import Creature, LegRoot, Seen, legs
from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.lines import Points, bezier, girth
from vision.render.hands.solid.matter import EYE, Matter, living, matter, one_of
from vision.render.hands.solid.model import Model, new_model

_COLOURS = ("green", "palegreen", "brown", "grey", "black", "pale", "olive", "red")
_SHARES = (0.24, 0.14, 0.15, 0.14, 0.15, 0.06, 0.08, 0.04)
_FORWARD_RAD = (0.55, 0.05, -0.55)
_PLATE = matter((9, 9, 9), (0.05, 0.05, 0.04), 3.0)
_SPLIT = (3.0, 3.0, 3.5)
"""What the open seam of a cast skin swallows a millimetre."""


@dataclass(frozen=True)
class _Aphid:
    """One aphid's measures and matter; `limbs` is what legs and feelers are made of."""

    length_mm: float
    width_mm: float
    from_side: bool
    of: Matter
    limbs: Matter
    limb_mm: float
    black: bool

    def x_mm(self, share: float) -> float:
        """Place along the body at `share` of its length from the head."""
        return self.length_mm * (0.5 - share)


def aphid(rng: Rng, seen: Seen) -> Creature:
    """An aphid of 0.8 to 2.5 mm."""
    one = _measures(rng)
    name = one_of(rng, _COLOURS, _SHARES)
    of = living(rng, name, 1.35 / max(one[0], 1.0) ** 0.5)
    dark = 1.0 if name == "black" else rng.uniform(0.5, 1)
    limbs = of.made(1.5 * (1 + dark), 1.4 * dark + 1.1, 0.75 - 0.35 * dark, 1.5)
    own = _Aphid(*one, of, limbs, _limb_mm(rng, one[0]), name == "black")
    model = new_model(rng, own.length_mm * 1.45, seen.angle_rad, 3, seen.hiding, seen.strength)
    _appendages(model, rng, own)
    share, line, radii = _outline(rng, own)
    texture = model.grain(rng, rng.uniform(0.1, 0.28), own.width_mm * 0.28)
    flat = rng.uniform(0.75, 1.0)
    model.sweep(line, radii, _ringed(rng, of, share), flat, rng.uniform(0.15, 0.55), 0.0, True, texture)
    if not own.black:
        _inside(model, rng, own, line, radii, flat)
    _eyes(model, own, line)
    return Creature("aphid", model, own.length_mm, own.width_mm, False)


def cast_skin(rng: Rng, seen: Seen) -> Creature:
    """The empty skin of an aphid, split along the back."""
    one = _measures(rng)
    of = matter(np.array([0.55, 0.6, 0.75]) * rng.uniform(0.6, 1.3), (0.75, 0.73, 0.66), 1.6)
    own = _Aphid(*one, of, matter((1.6, 1.8, 2.2), of.albedo * 0.8), _limb_mm(rng, one[0]), False)
    model = new_model(rng, own.length_mm * 1.45, seen.angle_rad, 3, seen.hiding, seen.strength)
    _appendages(model, rng, own)
    share, line, radii = _outline(rng, own)
    texture = model.grain(rng, rng.uniform(0.1, 0.28), own.width_mm * 0.28)
    shell = _ringed(rng, of, share).made(0.5, scattered=0.5)
    model.sweep(line, radii, shell, 0.32, rng.uniform(0.35, 0.7), 0.0, True, texture)
    seam = [(own.length_mm * 0.35, 0), (-own.length_mm * 0.05, rng.normal(0, 0.05))]
    model.limb(seam, 0.02, 0.012, matter(_SPLIT, of.albedo * 0.7))
    _eyes(model, own, line)
    return Creature("skin", model, own.length_mm, own.width_mm, False)


def _measures(rng: Rng) -> tuple[float, float, bool]:
    length_mm = rng.uniform(0.8, 2.5) if rng.random() < 0.7 else rng.uniform(0.9, 1.7)
    return length_mm, length_mm * rng.uniform(0.44, 0.62), rng.random() < 0.28


def _limb_mm(rng: Rng, length_mm: float) -> float:
    return 0.017 + 0.011 * length_mm / 1.5 + rng.uniform(0, 0.006)


def _outline(rng: Rng, own: _Aphid) -> tuple[Points, Points, Points]:
    """Shares of the length, the axis and the radii of the pear-shaped body."""
    share = np.linspace(0, 1, 30)
    widest = rng.uniform(0.55, 0.7)
    radii = girth(share, [0, 0.1, 0.28, widest, 0.85, 1], [0.36, 0.50, 0.74, 1, 0.82, 0.42], own.width_mm)
    radii = np.convolve(np.pad(radii, 2, mode="edge"), np.ones(5) / 5, "valid")
    along = np.linspace(own.length_mm / 2 - radii[0], -own.length_mm / 2 + radii[-1], 30)
    across = rng.normal(0, 0.05) * own.length_mm * (1 - (2 * share - 1) ** 2)
    if own.from_side:
        across = -own.width_mm * 0.18 * np.sin(np.pi * share) ** 1.2
    return share, np.stack([along, across], 1), radii


def _ringed(rng: Rng, of: Matter, share: Points) -> Matter:
    """Matter along the body: a darker head, another tail, and faint segments."""
    end = 1 + np.interp(share, [0, 0.15, 0.3, 1], [0.45, 0.2, 0, rng.uniform(-0.1, 0.3)])
    return of.made((end * (1 + 0.13 * np.cos(share * 2 * np.pi * 9)))[:, None])


def _inside(model: Model, rng: Rng, own: _Aphid, line: Points, radii: Points, flat: float) -> None:
    """The gut seen through the body, and on some dark plates across the back."""
    gut = own.of.made(0.8, albedo=0.85, scattered=own.of.scattered_per_mm * 0.4)
    model.sweep(line[8:24], radii[8:24] * rng.uniform(0.35, 0.55), gut, flat, raised_mm=own.width_mm * 0.3)
    if rng.random() < 0.35:
        for k in range(4):
            half = (0.04 * own.length_mm, own.width_mm * rng.uniform(0.12, 0.28), 0.03)
            model.ellipsoid((own.x_mm(0.42 + 0.11 * k), line[12, 1]), half, 0, _PLATE, raised_mm=own.width_mm * 0.42)


def _eyes(model: Model, own: _Aphid, line: Points) -> None:
    radius = 0.032 * own.length_mm**0.6
    for side in (1,) if own.from_side else (-1, 1):
        y = line[3, 1] - own.width_mm * 0.02 if own.from_side else side * own.width_mm * 0.17
        model.ellipsoid((own.x_mm(0.09), y), (radius, radius, 0.04), 0, EYE, raised_mm=own.width_mm * 0.3)


def _appendages(model: Model, rng: Rng, own: _Aphid) -> None:
    """Legs, feelers swept back, tail tubes and the tail."""
    length, width = own.length_mm, own.width_mm
    if own.from_side:
        roots = [
            LegRoot(own.x_mm(0.26 + 0.13 * i), 1, f * 1.1 + rng.normal(0, 0.15))
            for i, f in enumerate(_FORWARD_RAD)
            for _ in range(2)
        ]
        legs(model, rng, roots, width * 0.3, length * 0.55, own.limb_mm, own.limbs, 0.1, 0.3)
    else:
        roots = [LegRoot(own.x_mm(0.24 + 0.12 * i), s, f) for i, f in enumerate(_FORWARD_RAD) for s in (-1, 1)]
        legs(model, rng, roots, width * 0.42, length * rng.uniform(0.5, 0.68), own.limb_mm, own.limbs)
    _feelers(model, rng, own)
    _tubes(model, rng, own)
    tail = [(own.x_mm(0.96), 0), (own.x_mm(1.0) - length * 0.06, 0)]
    model.limb(tail, width * 0.09, width * 0.05, own.of.made(1.2, scattered=1.5))


def _feelers(model: Model, rng: Rng, own: _Aphid) -> None:
    length, width = own.length_mm, own.width_mm
    reach = length * rng.uniform(0.55, 1.05)
    for side in (-1, 1):
        if rng.random() < 0.08:
            continue
        out = (0.1 if own.from_side else 1) * side
        lifted = reach if own.from_side else 0.0
        bend = rng.uniform(0.2, 0.9)
        root = (length * 0.47, out * width * 0.14)
        pull = (length * 0.47 + reach * 0.35, out * (width * 0.2 + reach * 0.25 * bend) - lifted * 0.25)
        tip_x = length * 0.47 + reach * rng.uniform(-0.35, 0.5)
        tip = (tip_x, out * (width * 0.3 + reach * 0.55 * bend) - lifted * 0.45)
        model.limb(bezier(root, pull, tip), own.limb_mm * 0.75, own.limb_mm * 0.4, own.limbs)


def _tubes(model: Model, rng: Rng, own: _Aphid) -> None:
    """The two tubes on the back, often black."""
    length = own.length_mm * rng.uniform(0.10, 0.24) + own.width_mm * 0.14
    of = own.limbs
    if rng.random() < 0.55:
        of = Matter(np.maximum(of.swallowed_per_mm, 2.5), of.albedo, of.scattered_per_mm)
    for side in (-1, 1):
        y = -own.width_mm * (0.36 + 0.03 * side) if own.from_side else side * own.width_mm * 0.30
        way = np.array([-0.8, -0.7 + 0.1 * side]) if own.from_side else np.array([-1, side * rng.uniform(0.25, 0.7)])
        root = np.array([own.x_mm(0.80), y])
        tip = root + way / np.linalg.norm(way) * length
        model.limb([root, tip], own.limb_mm * 1.5, own.limb_mm * 1.1, of)
