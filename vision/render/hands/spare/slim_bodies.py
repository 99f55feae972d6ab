"""Slender bodies: thrips, caterpillars and translucent larvae."""

from __future__ import annotations

import numpy as np

from vision.render.hands.spare.fields import Rng, blurred, colour, dome
from vision.render.hands.spare.round_bodies import density, feelers, legs, rings
from vision.render.hands.spare.stamps import FINE_PER_MM, Pose, Slate, Stamp, leg, outline
from vision.types import FloatArray

_THRIPS = ((0.62, 0.46, 0.14), (0.50, 0.32, 0.10), (0.34, 0.20, 0.08), (0.20, 0.12, 0.06), (0.13, 0.09, 0.06))
_CATERPILLARS = ((0.60, 0.68, 0.34), (0.50, 0.60, 0.24), (0.66, 0.66, 0.42), (0.68, 0.64, 0.52))


def thrips(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A spindle with a pointed tail, fringed wings along the back and six short legs, or a pale wingless larva; and its width in mm."""
    length = pose.length_mm
    young = rng.random() < 0.3
    width = float(np.clip(length * rng.uniform(0.18, 0.24), 0.2, 0.3))
    slate = Slate(length * 0.95)
    flesh = density(rng, (0.70, 0.58, 0.18) if young else _THRIPS[int(rng.integers(5))], strength)
    lines = legs(rng, pose, (0.1 * length, 0.32 * length), width * 0.45, length * float(rng.uniform(0.13, 0.22)))
    slate.limbs(lines, 0.028, flesh * 0.6)
    slate.limbs(feelers(rng, pose, length * 0.19, 0.4), 0.03, flesh * 0.7)
    grown = [
        (0, 0.06),
        (0.07, 0.34),
        (0.2, 0.72),
        (0.42, 1.0),
        (0.58, 0.88),
        (0.74, 0.9),
        (0.84, 0.52),
        (0.97, 0.5),
        (1, 0.3),
    ]
    larval = [(0, 0.2), (0.08, 0.5), (0.3, 0.95), (0.5, 1.0), (0.7, 0.86), (0.85, 0.6), (0.96, 0.45), (1, 0.25)]
    body, _ = slate.trunk(pose.laid(outline(larval if young else grown, length, width)), flesh, 0.35, 0.3)
    slate.pale(rings(slate, pose, width, np.linspace(-0.40, 0.04, 8), 0.03) * body, 0.15 if young else 0.35)
    for side in (-1.0, 1.0):
        slate.add(slate.spot(pose.at(0.45 * length, side * width * 0.17), 0.022), colour(1.2, 1.6, 1.8) * strength)
    if not young:
        _fringe(rng, pose, slate, width, flesh)
    return slate.stamp(body), width


def _fringe(rng: Rng, pose: Pose, slate: Slate, width_mm: float, flesh: FloatArray) -> None:
    """Lay straps of wings folded along the back, or half open, with hairs behind the tail and at the sides."""
    length = pose.length_mm
    opened = float(rng.choice([0.0, 0.05, 0.25], p=[0.5, 0.35, 0.15]))
    straps, hairs = [], []
    for side in (-1.0, 1.0):
        root = np.array([0.16 * length, side * width_mm * 0.12])
        tip = np.array([-0.5 * length, side * (width_mm * 0.06 + opened * length * float(rng.uniform(0.7, 1.2)))])
        straps.append(pose.laid(root + (tip - root) * np.linspace(0, 1, 8)[:, None]))
        for t in np.linspace(0.45, 1.0, 12):
            start = root + (tip - root) * t
            flow = np.array([-0.09, side * float(rng.uniform(0.03, 0.07))]) * length
            hairs.append(pose.laid(np.stack([start, start + flow])))
    slate.add(slate.drawn(straps, 0.05), np.asarray(flesh * 0.35 + 0.06, np.float32))
    slate.add(slate.drawn(hairs, 0.012), np.asarray(flesh * 0.3 + 0.08, np.float32))


def caterpillar(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A ringed tube with a dark head, short feet in front and stubs behind; and its width in mm."""
    length = pose.length_mm
    width = length * float(rng.uniform(0.10, 0.16))
    slate = Slate(length * 0.58 + 0.3)
    flesh = density(rng, _CATERPILLARS[int(rng.integers(4))], strength)
    sides = (-1.0,) if rng.random() < 0.5 else (-1.0, 1.0)
    feet = [
        pose.laid(leg(rng, x * length, s * width * 0.42, width * 0.4, s * 1.3, 0.3))
        for x in (0.33, 0.37, 0.41)
        for s in sides
    ]
    stubs = [
        pose.line((x * length, s * width * 0.4), (x * length, s * width * 0.56))
        for x in (-0.42, -0.2, -0.12, -0.04)
        for s in sides
    ]
    slate.limbs(feet, 0.05, flesh + 0.4)
    slate.add(slate.drawn(stubs, width * 0.2), flesh * 0.6, 0.5 * np.exp(-0.8 * flesh))
    # Each ring of the body bulges a little between its seams.
    at = np.linspace(0.05, 0.93, 61)
    bulge = (0.92 + 0.08 * np.abs(np.sin(np.pi * at * 12))) * np.interp(at, [0, 0.2, 0.85, 1], [0.8, 1.0, 0.98, 0.8])
    shape = [(0.0, 0.35), (0.03, 0.62), *zip(at, bulge, strict=True), (0.96, 0.7), (1.0, 0.3)]
    body, _ = slate.trunk(pose.laid(outline(shape, length, width)), flesh, float(rng.uniform(0.45, 0.75)), 0.1)
    slate.add(
        rings(slate, pose, width, np.linspace(-0.42, 0.38, 12), 0.06) * body * 0.3, flesh, colour(0.2, 0.2, 0.15), 0.6
    )
    gut = pose.laid(np.stack([np.linspace(-0.46, 0.36, 24) * length, rng.normal(0, 0.02, 24) * width], 1))
    slate.add(blurred(slate.drawn([gut], width * 0.24), 2.0) * body * float(rng.uniform(0.1, 0.7)), flesh)
    shell = density(rng, ((0.20, 0.11, 0.05), (0.40, 0.26, 0.12))[int(rng.random() < 0.3)], 0.6 + 0.4 * strength)
    cap = outline([(0, 0.5), (0.15, 0.85), (0.6, 0.95), (1, 0.3)], width * 0.8, width)
    cap[:, 0] += length / 2 - width * 0.4
    slate.add(slate.filled(pose.laid(cap)) * body * 0.8, shell, 0.2 * np.exp(-0.8 * shell))
    return slate.stamp(body), width


def larva(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A glassy little maggot of which only the head end and the gut are darker; and its width in mm."""
    length = pose.length_mm
    width = length * float(rng.uniform(0.24, 0.34))
    slate = Slate(length * 0.75)
    flesh, dark = density(rng, (0.72, 0.67, 0.54), strength), density(rng, (0.36, 0.26, 0.14), strength)
    shape = [(0, 0.5), (0.08, 0.8), (0.3, 1.0), (0.6, 0.9), (0.85, 0.62), (0.95, 0.45), (1, 0.2)]
    body, _ = slate.trunk(pose.laid(outline(shape, length, width)), flesh * 0.7, 0.6, 0.5, 0.5)
    slate.add((1 - dome(body, 0.06 * FINE_PER_MM)) * body * 0.5, flesh)
    slate.add(slate.spot(pose.at(0.42 * length, 0.0), 0.16 * width) * body, dark * 1.3)
    gut = pose.laid(np.stack([np.linspace(-0.3, 0.25, 10) * length, np.cumsum(rng.normal(0, 0.03, 10)) * width], 1))
    slate.add(blurred(slate.drawn([gut], width * 0.3), 1.5) * body * float(rng.uniform(0.2, 0.8)), dark)
    return slate.stamp(body), width
