"""Mites, gnats and eggs. Sizes and colours: from memory, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.solid.creature import Creature, LegRoot, Seen, legs
from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.lines import bezier, girth, unit
from vision.render.hands.solid.matter import living, matter, one_of
from vision.render.hands.solid.model import Model, new_model

_MITE_LEGS = ((0.28, 0.95), (0.15, 0.4), (-0.08, -0.25), (-0.2, -0.8))
"""Share of the length from the middle, and how far forward each is held."""
_SPOT = matter((7, 8, 7), (0.05, 0.04, 0.03), 3.0)
_WING = matter((1.3, 1.4, 1.5), (0.55, 0.56, 0.58), 1.2)
_VEIN = matter((6, 6.5, 7), (0.15, 0.12, 0.1))


def mite(rng: Rng, seen: Seen) -> Creature:
    """A mite of 0.3 to 0.5 mm with eight legs."""
    length = rng.uniform(0.3, 0.5)
    width = length * rng.uniform(0.6, 0.82)
    model = new_model(rng, length * 1.15, seen.angle_rad, 4, seen.hiding, seen.strength)
    name = one_of(rng, ("pale", "yellow", "red", "brown", "amber"), (0.15, 0.15, 0.32, 0.22, 0.16))
    of = living(rng, name, 2.3)
    for side in (-1, 1):
        for x, forward in _MITE_LEGS:
            angle = forward + rng.normal(0, 0.15)
            root = np.array([x * length, side * width * 0.33])
            knee = root + unit(np.pi / 2 - angle) * [1, side] * length * 0.30
            foot = knee + unit(np.pi / 2 - angle * 1.3) * [1, side] * length * rng.uniform(0.2, 0.36)
            model.limb([root, knee, foot], 0.018, 0.011, of.made(0.9, 0.8, 0.85, 1.5))
    line = np.stack([np.linspace(0.5, -0.5, 9) * (length - width * 0.89), np.zeros(9)], 1)
    texture = model.grain(rng, 0.25, 0.09)
    model.sweep(line, width / 2 * np.linspace(0.78, 1, 9), of, 0.9, rng.uniform(0.2, 0.5), 0.0, True, texture)
    if rng.random() < 0.5:
        for side in (-1, 1):
            place = (rng.uniform(-0.1, 0.05) * length, side * width * 0.25)
            model.ellipsoid(place, (length * 0.13, width * 0.11, 0.06), 0, _SPOT, raised_mm=width * 0.4)
    model.ellipsoid((length * 0.49, 0), (length * 0.08, width * 0.12, 0.05), 0, of)
    return Creature("mite", model, length, width, False)


def gnat(rng: Rng, seen: Seen) -> Creature:
    """A small fly of 1.5 to 3 mm, its wings spread behind it."""
    length = rng.uniform(1.5, 3.0)
    width = length * rng.uniform(0.2, 0.27)
    model = new_model(rng, length * 1.35, seen.angle_rad, 3, seen.hiding, seen.strength)
    of = living(rng, one_of(rng, ("black", "brown")), 1.1)
    limbs = of.made(1.3, 0.8, scattered=1.5)
    for side in (-1, 1):
        _wing(model, rng, side, length, width)
    roots = [LegRoot(length * (0.3 - 0.1 * i), s, f) for i, f in enumerate((0.7, 0.0, -0.7)) for s in (-1, 1)]
    legs(model, rng, roots, width * 0.4, length * 0.75, 0.021, limbs, 0.12, 0.3)
    for side in (-1, 1):
        feeler = bezier(
            (length * 0.44, side * 0.04), (length * 0.6, side * length * 0.1), (length * 0.75, side * length * 0.22), 5
        )
        model.limb(feeler, 0.015, 0.009, limbs)
    share = np.linspace(0, 1, 24)
    radii = girth(share, [0, 0.08, 0.14, 0.2, 0.32, 0.42, 0.7, 1], [0.5, 0.6, 0.35, 0.85, 1, 0.75, 0.7, 0.25], width)
    line = np.stack([np.linspace(length / 2 - radii[0], -length / 2 + radii[-1], 24), np.zeros(24)], 1)
    banded = of.made((1 + 0.3 * np.cos(share * 50) * (share > 0.4))[:, None])
    model.sweep(line, radii, banded, rim=0.3, body=True)
    return Creature("gnat", model, length, width, False)


def egg(rng: Rng, seen: Seen) -> Creature:
    """A ribbed egg of 0.5 to 1 mm."""
    length = rng.uniform(0.5, 1.0)
    width = length * rng.uniform(0.42, 0.6)
    model = new_model(rng, length * 0.7, seen.angle_rad, 4, seen.hiding, seen.strength)
    of = living(rng, one_of(rng, ("yellow", "pale", "amber", "cream")), 2.2)
    half = (length / 2, width / 2, width / 2)
    model.ellipsoid((0, 0), half, 0, of, rng.uniform(0.5, 0.9), body=True, texture=model.grain(rng, 0.1, 0.1))
    for off in np.linspace(-0.3, 0.3, 5):
        rib = of.made(1.5, albedo=0.8)
        model.ellipsoid((0, off * width), (length * 0.4, width * 0.02, 0.02), 0, rib, raised_mm=width * 0.4)
    return Creature("egg", model, length, width, False)


def _wing(model: Model, rng: Rng, side: int, length: float, width: float) -> None:
    """A clear wing with three veins."""
    angle = np.pi - side * rng.uniform(0.15, 0.8)
    reach = length * rng.uniform(0.8, 1.0)
    along = unit(angle)
    across = np.array([-along[1], along[0]])
    root = np.array([length * 0.18, side * width * 0.25])
    model.ellipsoid(root + along * reach * 0.5, (reach * 0.5, reach * 0.19, 0.03), angle, _WING, 0.35, width * 0.5)
    for off in (-0.11, -0.03, 0.06):
        bow = root + along * reach * 0.5 + across * off * reach * 1.6
        vein = bezier(root, bow, root + along * reach * 0.95 + across * off * reach * 0.5, 6)
        model.limb(vein, 0.011, 0.007, _VEIN, width * 0.5)
