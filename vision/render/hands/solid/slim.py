"""Thrips and their larvae. Sizes and colours: from memory, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.solid.creature import Creature, Seen
from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.lines import Points, girth, normals, spine, unit
from vision.render.hands.solid.matter import EYE, Matter, living, matter, one_of, substance
from vision.render.hands.solid.model import Model, new_model

_EYE_MM = (0.024, 0.022, 0.03)
_THRIPS_ENDS, _LARVA_ENDS = 0.26, 0.325
"""How far head and tail reach past the ends of the axis together, in widths."""


def thrips(rng: Rng, seen: Seen) -> Creature:
    """A thrips of 0.7 to 1.6 mm, mostly with its fringed wings folded along the back."""
    length = rng.uniform(0.7, 1.6)
    width = float(np.clip(length * rng.uniform(0.17, 0.26), 0.2, 0.35))
    model = new_model(rng, length * 0.85, seen.angle_rad, 4, seen.hiding, seen.strength)
    name = one_of(rng, ("yellow", "amber", "brown", "black", "olive"), (0.24, 0.24, 0.27, 0.17, 0.08))
    of = living(rng, name, 2.6)
    turn = rng.normal(0, 0.35) if rng.random() < 0.4 else rng.normal(0, 0.08)
    line = spine(rng, length - width * _THRIPS_ENDS, turn)
    across = normals(line)
    share = np.linspace(0, 1, len(line))
    radii = girth(
        share, [0, 0.07, 0.13, 0.2, 0.36, 0.55, 0.8, 0.93, 1], [0.42, 0.6, 0.55, 0.85, 0.98, 1, 0.72, 0.34, 0.1], width
    )
    _thrips_legs(model, rng, line, radii, width, of.made(1.1, 0.6, 0.8, 1.5))
    _beads(model, rng, line[0], across[0], length, width, of)
    banded, dark = _bands(rng, share)
    body = Matter(
        of.swallowed_per_mm * (banded * dark)[:, None],
        of.albedo / (0.5 + 0.5 * dark)[:, None],
        of.scattered_per_mm,
    )
    model.sweep(line, radii, body, 0.8, rng.uniform(0.1, 0.35), 0.0, True, model.grain(rng, 0.15, 0.12))
    for side in (-1, 1):
        model.ellipsoid(line[1] + across[1] * side * radii[1] * 0.7, _EYE_MM, 0, EYE, raised_mm=width * 0.4)
    if rng.random() < 0.72:
        _wings(model, rng, line, across, width, of)
    return Creature("thrips", model, length, width, bool(abs(turn) > 0.35))


def larva(rng: Rng, seen: Seen) -> Creature:
    """A pale larva of 0.4 to 0.9 mm with short legs."""
    length = rng.uniform(0.4, 0.9)
    width = length * rng.uniform(0.22, 0.32)
    model = new_model(rng, length * 0.8, seen.angle_rad, 4, seen.hiding, seen.strength)
    of = living(rng, one_of(rng, ("pale", "yellow", "cream")), 2.5)
    of = of.made(scattered=of.scattered_per_mm * 1.5)
    turn = rng.normal(0, 0.5)
    line = spine(rng, length - width * _LARVA_ENDS, turn)
    across = normals(line)
    share = np.linspace(0, 1, len(line))
    radii = girth(share, [0, 0.08, 0.16, 0.25, 0.5, 0.75, 0.93, 1], [0.45, 0.6, 0.6, 0.84, 1, 0.86, 0.45, 0.2], width)
    for i in (8, 12, 15):
        for side in (-1, 1):
            root = line[i] + across[i] * side * radii[i] * 0.7
            knee = (
                root
                + across[i] * side * width * rng.uniform(0.35, 0.55)
                + np.array([rng.uniform(-0.3, 0.4), 0]) * width
            )
            foot = knee + np.array([rng.uniform(-0.5, 0.3), side * 0.15]) * width
            model.limb([root, knee, foot], 0.017, 0.012, of.made(1.2, albedo=0.9, scattered=1.5))
    for side in (-1, 1):
        tip = line[0] + np.array([0.17, side * rng.uniform(0.04, 0.12)]) * length
        model.limb([line[0] + across[0] * side * 0.02, tip], 0.016, 0.008, of.made(1.4, albedo=0.8, scattered=1.5))
    banded = of.made((1 + rng.uniform(0.05, 0.3) * np.cos(2 * np.pi * 10 * share))[:, None])
    model.sweep(line, radii, banded, 0.85, rng.uniform(0.15, 0.4), 0.0, True, model.grain(rng, 0.15, 0.1))
    if rng.random() < 0.5:
        gut = Matter(substance("green").swallowed_per_mm * rng.uniform(0.4, 1.6), of.albedo * 0.8, 0.4)
        model.sweep(line[12:32], radii[12:32] * 0.4, gut, raised_mm=width * 0.3)
    if rng.random() < 0.7:
        for side in (-1, 1):
            model.ellipsoid(line[2] + across[2] * side * radii[2] * 0.55, _EYE_MM, 0, EYE, raised_mm=width * 0.45)
    return Creature("larva", model, length, width, bool(abs(turn) > 0.5))


def _bands(rng: Rng, share: Points) -> tuple[Points, Points]:
    """Factors along a thrips: rings on the hind body; a darker tail tip and head."""
    behind = np.clip((share - 0.34) / 0.66, 0, 1)
    rings = 1 + rng.uniform(0.15, 0.55) * np.cos(2 * np.pi * 10.5 * behind) * (share > 0.34)
    dark = 1 + rng.uniform(0.8, 2.2) * np.clip((share - 0.84) / 0.1, 0, 1) + rng.uniform(0, 0.6) * (share < 0.13)
    return rings, dark


def _thrips_legs(model: Model, rng: Rng, line: Points, radii: Points, width: float, of: Matter) -> None:
    across = normals(line)
    for i, forward in ((6, 0.6), (11, -0.1), (14, -0.5)):
        for side in (-1, 1):
            root = line[i] + across[i] * side * radii[i] * 0.6
            knee = root + across[i] * side * width * rng.uniform(0.45, 0.75) + np.array([forward, 0]) * width * 0.7
            foot = knee + np.array([rng.uniform(-0.5, 0.4), side * rng.uniform(-0.05, 0.4)]) * width
            model.limb([root, knee, foot], 0.022, 0.014, of)


def _beads(model: Model, rng: Rng, head: Points, across: Points, length: float, width: float, of: Matter) -> None:
    """Feelers of six beads, the outer ones darker."""
    for side in (-1, 1):
        reach = length * rng.uniform(0.17, 0.24)
        angle = side * rng.uniform(0.15, 0.6)
        for k in range(6):
            place = head + unit(angle) * reach * (k + 0.5) / 6 + across * side * width * 0.1
            bead = of.made(1.1, 0.6, 0.6, 1.5).made(1.6 if k > 2 else 0.9)
            model.ellipsoid(place, (reach / 10, 0.016, 0.014), angle, bead)


def _wings(model: Model, rng: Rng, line: Points, across: Points, width: float, of: Matter) -> None:
    """Two narrow wings along the back with their fringes of hairs."""
    swallowed = (1.2, 1.3, 1.6) if rng.random() < 0.6 else (3.2, 3.6, 4.4)
    for side in (-1, 1):
        axis = line[12:36] + across[12:36] * (side * width * np.linspace(0.18, 0.05, 24))[:, None]
        radii = np.interp(np.arange(24), [0, 4, 23], [0.02, width * 0.17, 0.012])
        model.sweep(axis, radii, matter(swallowed, (0.62, 0.60, 0.52), 1.2), 0.35, 0.06, width * 0.42)
        for k in range(10, 36, 2):
            root = line[k] + across[k] * side * width * 0.2
            hair = across[k] * side * width * rng.uniform(0.35, 0.6) + (line[k + 1] - line[k - 1]) * rng.uniform(
                1.4, 2.6
            )
            model.limb([root, root + hair], 0.005, 0.003, matter((8, 8, 9), of.albedo * 0.7))
