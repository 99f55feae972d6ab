"""Caterpillars. Sizes and colours: from memory, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.solid.creature import Creature, Seen
from vision.render.hands.solid.draws import Rng, log_uniform
from vision.render.hands.solid.lines import Points, girth, normals, spine
from vision.render.hands.solid.matter import Matter, living, matter, one_of, substance
from vision.render.hands.solid.model import Model, new_model

_POINTS = 60
_FEET = (6, 10, 15, 27, 32, 37, 43, 57)
"""Points of the axis above the feet: three pairs of thin ones, then the fleshy ones."""
_SPOT = matter((12, 12, 12), (0.04, 0.03, 0.03), 4.0)
_BRISTLE = matter((7, 7, 8), (0.2, 0.18, 0.14))


def caterpillar(rng: Rng, seen: Seen) -> Creature:
    """A caterpillar of 3 to 12 mm, straight, bent or in an S."""
    length = log_uniform(rng, 3, 12)
    width = float(np.clip(length * rng.uniform(0.11, 0.17), 0.5, 1.6))
    curved = rng.random() < 0.6
    turn = rng.choice([-1, 1]) * (rng.uniform(0.7, 2.6) if curved else rng.uniform(0, 0.3))
    line = spine(rng, length - width * 0.7, turn, bool(curved and rng.random() < 0.3), _POINTS)
    half = float(np.abs(line).max() + width * 0.9)
    model = new_model(rng, half, seen.angle_rad, 2 if length > 5 else 3, seen.hiding, seen.strength)
    name = one_of(rng, ("palegreen", "green", "cream", "pale", "amber"), (0.42, 0.2, 0.2, 0.1, 0.08))
    of = living(rng, name, 0.85 / width**0.6)
    share = np.linspace(0, 1, _POINTS)
    in_segment = np.abs(2 * ((share * 12.5) % 1) - 1)
    radii = girth(share, [0, 0.08, 0.25, 0.75, 0.95, 1], [0.72, 0.86, 1, 1, 0.74, 0.5], width)
    radii = radii * (1 - rng.uniform(0.04, 0.1) * in_segment**3)
    _feet(model, rng, line, radii, width, of.made(1.6, 0.5, 0.85, 1.5))
    folds = 1 + rng.uniform(0.15, 0.4) * in_segment**4
    skin = Matter(
        of.swallowed_per_mm * folds[:, None], of.albedo * (1.08 - 0.2 * (folds - 1))[:, None], of.scattered_per_mm
    )
    texture = model.grain(rng, 0.13, width * 0.2, 3)
    model.sweep(line, radii, skin, 0.9, rng.uniform(0.12, 0.4), 0.0, True, texture)
    gut = substance(one_of(rng, ("green", "olive", "brown"))).swallowed_per_mm * rng.uniform(0.1, 0.5) / width
    inner = radii[6:55] * rng.uniform(0.3, 0.5)
    model.sweep(line[6:55], inner, Matter(gut, of.albedo * 0.8, 0.25), 0.8, 0.0, width * 0.2, texture=texture)
    _markings(model, rng, line, radii, width, of)
    _head(model, rng, line, width, of)
    return Creature("caterpillar", model, length, width, bool(curved))


def _feet(model: Model, rng: Rng, line: Points, radii: Points, width: float, of: Matter) -> None:
    across = normals(line)
    from_side = rng.random() < 0.45
    for i in _FEET:
        for side in (1,) if from_side else (-1, 1):
            root = line[i] + across[i] * side * radii[i] * 0.8
            length = width * (rng.uniform(0.22, 0.32) if from_side else rng.uniform(0.08, 0.16))
            tip = root + across[i] * side * (length + radii[i] * 0.2)
            if i < 20:
                model.limb([root, tip], width * 0.05, width * 0.025, of.made(1.5))
            else:
                model.limb([root, tip], width * 0.10, width * 0.07, of)


def _markings(model: Model, rng: Rng, line: Points, radii: Points, width: float, of: Matter) -> None:
    """Stripes along the body, or rows of dark spots, or neither; bristles on most."""
    across = normals(line)
    which = rng.random()
    if which < 0.4:
        for off in rng.choice([-0.55, 0, 0.55], rng.integers(1, 4), replace=False):
            albedo = np.clip(of.albedo * rng.choice([0.5, 1.35]), 0, 0.9)
            stripe = line[3:57] + across[3:57] * (off * radii[3:57])[:, None]
            of_stripe = Matter(of.swallowed_per_mm * 2 + 1, albedo, 2.0)
            model.sweep(stripe, np.full(54, width * 0.035), of_stripe, raised_mm=width * 0.48)
    elif which < 0.65:
        for i in range(5, 57, 5):
            for off in (-0.45, 0.45):
                half = (width * 0.045, width * 0.045, 0.03)
                model.ellipsoid(line[i] + across[i] * off * radii[i], half, 0, _SPOT, raised_mm=width * 0.45)
    for i in rng.integers(2, 58, 26 if rng.random() < 0.6 else 0):
        side = rng.choice([-1, 1])
        root = line[i] + across[i] * side * radii[i] * 0.9
        model.limb([root, root + (across[i] * side + rng.normal(0, 0.4, 2)) * width * 0.3], 0.008, 0.004, _BRISTLE)


def _head(model: Model, rng: Rng, line: Points, width: float, of: Matter) -> None:
    """The head capsule, black, brown or like the body, and the plate behind it."""
    which = rng.random()
    if which < 0.5:
        capsule = matter((10, 11, 12), (0.035, 0.02, 0.015), 3.0)
    elif which < 0.85:
        capsule = matter((3.5, 6, 9), (0.16, 0.075, 0.03), 3.0)
    else:
        capsule = of.made(2, albedo=0.8, scattered=3.0)
    ahead = (line[0] - line[2]) / np.linalg.norm(line[0] - line[2])
    angle = float(np.arctan2(ahead[1], ahead[0]))
    half = (width * 0.3, width * 0.37, width * 0.34)
    shell = capsule.made(1 / max(width, 0.6))
    model.ellipsoid(line[0] + ahead * width * 0.22, half, angle, shell, 0.3, width * 0.1, body=True)
    plate = capsule.made(0.5, albedo=1.3, scattered=2.0)
    half = (width * 0.13, width * 0.3, width * 0.08)
    model.ellipsoid(line[1] - ahead * width * 0.05, half, angle, plate, raised_mm=width * 0.3)
