"""Bodies of each kind, one function a kind, in any posture; colours are linear light let through at full thickness."""

from __future__ import annotations

import numpy as np

from vision.render.hands.spare.fields import Colour, Points, Rng, between, blurred, cloud, colour, dome
from vision.render.hands.spare.stamps import FINE_PER_MM, Pose, Slate, Stamp, leg, outline, oval
from vision.types import FloatArray

_APHIDS = (
    (0.34, 0.19, 0.09), (0.24, 0.15, 0.09), (0.46, 0.30, 0.14),
    (0.50, 0.60, 0.20), (0.36, 0.46, 0.16), (0.62, 0.66, 0.32), (0.10, 0.09, 0.08), (0.16, 0.17, 0.13), (0.50, 0.28, 0.18),
)  # fmt: skip
"""Browns first (heated ones), then greens, blacks, a pink."""
_MITES = ((0.55, 0.20, 0.08), (0.58, 0.42, 0.22), (0.46, 0.32, 0.20), (0.66, 0.58, 0.32))
_EGGS = ((0.70, 0.62, 0.34), (0.66, 0.66, 0.54), (0.58, 0.38, 0.18), (0.32, 0.23, 0.15))
_GNATS = ((0.12, 0.10, 0.08), (0.20, 0.15, 0.10), (0.34, 0.24, 0.14))
_PEAR = ((0, 0.16), (0.08, 0.55), (0.36, 1), (0.6, 0.84), (0.76, 0.6), (0.86, 0.46), (0.96, 0.34), (1, 0.16))
_THRIPS = ((0.62, 0.46, 0.14), (0.50, 0.32, 0.10), (0.34, 0.20, 0.08), (0.20, 0.12, 0.06), (0.13, 0.09, 0.06))
_CATERPILLARS = ((0.60, 0.68, 0.34), (0.50, 0.60, 0.24), (0.66, 0.66, 0.42), (0.68, 0.64, 0.52))
_FLY = ((0, 0.2), (0.1, 0.5), (0.35, 0.62), (0.55, 0.5), (0.74, 1), (0.84, 0.7), (0.87, 0.4), (0.93, 0.62), (1, 0.3))
_GROWN = (
    (0, 0.06),
    (0.07, 0.34),
    (0.2, 0.72),
    (0.42, 1),
    (0.58, 0.88),
    (0.74, 0.9),
    (0.84, 0.52),
    (0.97, 0.5),
    (1, 0.3),
)
_YOUNG = ((0, 0.2), (0.08, 0.5), (0.3, 0.95), (0.5, 1), (0.7, 0.86), (0.85, 0.6), (0.96, 0.45), (1, 0.25))
"""Outlines of aphids, gnats and thrips, as `outline` takes them."""
_SIDES = (-1.0, 1.0)


def density(rng: Rng, let_through: Colour, strength: float) -> FloatArray:
    """Density (3,) of a pigment from the light it lets through, each body a little off."""
    return np.asarray(-np.log(np.array(let_through)) * np.exp(rng.normal(0, 0.10, 3)) * strength, np.float32)


def legs(rng: Rng, pose: Pose, roots_mm: tuple[float, float], half_mm: float, reach_mm: float) -> list[Points]:
    """Legs on both sides, roots between two places along the body; a dead one holds them any way, and some are lost."""
    folded, lost = rng.random() < 0.3, rng.choice([0.03, 0.25])
    lines = []
    for side, (n, x) in [(s, v) for s in _SIDES for v in enumerate(np.linspace(roots_mm[1], roots_mm[0], 3))]:
        if rng.random() < lost:
            continue
        heading = side * (0.75 + 0.6 * n + rng.normal(0, 0.18))
        knee = side * (rng.uniform(0.9, 1.9) if folded else rng.uniform(0.2, 0.8)) * (1.0 if n else -0.6)
        long_mm = reach_mm * (0.85 + 0.15 * n) * between(rng, 0.85, 1.15)
        lines.append(pose.laid(leg(rng, (float(x), side * half_mm * 0.7), long_mm, heading, knee)))
    return lines


def feelers(rng: Rng, pose: Pose, reach_mm: float, spread_rad: float = 0.5) -> list[Points]:
    """Two antennae from the head, bent back."""
    lines = []
    for side in _SIDES:
        root, aim = (pose.length_mm * 0.46, side * pose.length_mm * 0.04), spread_rad + float(rng.normal(0, 0.15))
        lines.append(pose.laid(leg(rng, root, reach_mm, side * aim, side * between(rng, 0.3, 1.0))))
    return lines


def rings(slate: Slate, pose: Pose, width_mm: float, places: Points, line_mm: float = 0.04) -> FloatArray:
    """Soft cross lines (side, side) at places along the body (-0.5 .. 0.5 of its length), bowed a little to the tail."""
    half = width_mm / 2
    lines = [pose.line((x, -half), (x - 0.2 * half, 0.0), (x, half)) for x in places * pose.length_mm]
    return blurred(slate.drawn(lines, line_mm), 0.9)


def wings(rng: Rng, pose: Pose, slate: Slate, long_mm: float, wide_mm: float, spread_rad: float) -> None:
    """Lay two glassy wings with veins, from the thorax back."""
    for side in _SIDES:
        turn = np.pi - side * (spread_rad + rng.normal(0, 0.1))
        spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        root = np.array([0.2, side * 0.06]) * pose.length_mm
        shape = oval(long_mm * 0.52, 0, long_mm, wide_mm)
        shape[:, 1] *= np.interp(shape[:, 0], [0, long_mm * 0.6], [0.35, 1.0])
        film = slate.filled(pose.laid(shape @ spin + root))
        edge = np.abs(blurred(film, 1.2) - blurred(film, 2.4)) * 4
        slate.add(film * 0.09 + edge * 0.15, colour(1.0, 1.05, 1.15), 0.5, 0.2)
        ends = np.array([-0.3, -0.1, 0.12, 0.3]) * wide_mm
        fan = [np.array([[0.0, 0.0], [0.5 * long_mm, 0.6 * y], [0.96 * long_mm, y]]) @ spin + root for y in ends]
        slate.add(slate.drawn([pose.laid(vein) for vein in fan], 0.02) * film, colour(0.5, 0.55, 0.6))


def aphid(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A pear-shaped body with six legs, two antennae and two cornicles, sometimes winged; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.44, 0.66)
    slate = Slate(length * 1.35)
    flesh = density(rng, _APHIDS[int(rng.choice(9, p=[0.2, 0.13, 0.13, 0.12, 0.1, 0.1, 0.08, 0.07, 0.07]))], strength)
    shell = np.asarray(flesh * 0.5 + 0.7 * strength, np.float32)
    lines = legs(rng, pose, (-0.02 * length, 0.28 * length), width * 0.45, length * between(rng, 0.5, 0.8))
    slate.limbs(lines, 0.03 + 0.012 * length, shell * 0.75)
    slate.limbs(feelers(rng, pose, length * between(rng, 0.45, 0.95)), 0.03, shell * 0.6)
    body, thick = slate.trunk(pose.laid(outline(_PEAR, length, width)), flesh, 0.3)
    # Embryos and gut make the abdomen uneven; the seams of its rings let a little more through.
    inner = cloud(rng, slate.side, slate.side, 0.16 * length * FINE_PER_MM) * thick
    slate.add(np.clip(inner, 0, 2) * 0.16, flesh)
    slate.pale(rings(slate, pose, width, np.linspace(-0.38, 0.3, 7)) * thick, between(rng, 0.05, 0.2))
    slate.add(slate.filled(pose.laid(oval(0.41 * length, 0, 0.15 * length, 0.22 * length))) * body * 0.3, shell)
    for side in _SIDES:
        slate.add(slate.spot(pose.at(0.42 * length, side * 0.10 * length), 0.028), colour(1.6, 1.8, 1.8))
    splay = width * between(rng, 0.36, 0.5)
    tubes = [pose.line((-0.26 * length, s * width * 0.30), (-0.44 * length, s * splay)) for s in _SIDES]
    tail = pose.line((-0.46 * length, 0.0), (-0.55 * length, 0.0))
    slate.add(slate.drawn([*tubes, tail], 0.04 + 0.02 * length), shell * between(rng, 0.5, 1.1))
    if rng.random() < 0.12:
        wings(rng, pose, slate, length * 1.05, 0.36 * length, between(rng, 0.1, 0.5))
    return slate.stamp(body), width


def skin(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """An empty cast skin of an aphid: a thin shell, seen by its rim and folds; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.40, 0.58)
    slate = Slate(length * 1.2)
    shell = density(rng, (0.62, 0.52, 0.36), max(strength, 0.7))
    lines = legs(rng, pose, (0.0, 0.28 * length), width * 0.4, length * between(rng, 0.5, 0.8))
    slate.limbs([*lines, *feelers(rng, pose, length * 0.6)], 0.04, shell * 0.8)
    body = slate.filled(pose.laid(outline(_PEAR, length, width)))
    # Looked through, a thin shell is densest where the line of sight runs along it: at the rim and in its folds.
    rim = (1.0 - dome(body, 0.10 * FINE_PER_MM)) * body
    folds = np.clip(0.4 - np.abs(cloud(rng, slate.side, slate.side, 0.2 * length * FINE_PER_MM)), 0, 1) * body
    slate.add(body * 0.4 + rim * 0.7 + folds * 0.9, shell, 0.65, 0.4)
    return slate.stamp(body), width


def mite(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A drop-shaped body with eight legs; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.58, 0.78)
    slate = Slate(length * 1.2)
    flesh = density(rng, _MITES[int(rng.integers(4))], strength * 1.1)
    bend, lines = between(rng, -0.2, 0.6), []
    for x, turn in ((0.34, 0.35), (0.22, 0.85), (-0.02, 1.9), (-0.14, 2.4)):
        roots = [(s, (x * length, s * width * 0.3)) for s in _SIDES]
        lines += [pose.laid(leg(rng, root, length * 0.6, s * turn, s * bend)) for s, root in roots]
    slate.limbs(lines, 0.025, flesh * 0.5)
    shape = [(0, 0.3), (0.12, 0.8), (0.4, 1.0), (0.7, 0.8), (0.9, 0.42), (1, 0.2)]
    body, _ = slate.trunk(pose.laid(outline(shape, length, width)), flesh, 0.35)
    for side in _SIDES:
        lump = slate.spot(pose.at(-0.08 * length, side * width * 0.22), 0.09 * length)
        slate.add(lump * body, flesh * between(rng, 0.3, 1.0))
    return slate.stamp(body), width


def gnat(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A small fly: round head, humped thorax, slim abdomen, two wings and long legs; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.22, 0.30)
    slate = Slate(length * 1.5)
    flesh = density(rng, _GNATS[int(rng.integers(3))], strength)
    lines = legs(rng, pose, (0.1 * length, 0.26 * length), width * 0.4, length * between(rng, 0.9, 1.25))
    slate.limbs([*lines, *feelers(rng, pose, length * 0.45)], 0.04, flesh * 0.55)
    wings(rng, pose, slate, length * between(rng, 0.8, 1.0), length * 0.34, float(rng.choice([0.15, 0.5, 1.1])))
    body, _ = slate.trunk(pose.laid(outline(_FLY, length, width)), flesh, 0.25)
    slate.pale(rings(slate, pose, width, np.linspace(-0.42, 0.0, 6), 0.05) * body, 0.25)
    return slate.stamp(body), width


def egg(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A smooth oval, denser to the rim where it bends the light away; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.45, 0.75)
    slate = Slate(length * 0.7)
    flesh = density(rng, _EGGS[int(rng.choice(4, p=[0.35, 0.3, 0.2, 0.15]))], strength)
    body, thick = slate.trunk(pose.laid(oval(0, 0, length, width)), flesh, 0.6)
    slate.add((1 - thick) * body * 0.5, flesh)
    slate.pale(slate.spot(pose.at(0.1 * length, -0.1 * width), 0.12 * width), 0.5)
    return slate.stamp(body), width


def thrips(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A spindle with a pointed tail, fringed wings along the back and six short legs, or a pale wingless larva; and its width in mm."""
    length = pose.length_mm
    young = rng.random() < 0.3
    width = float(np.clip(length * rng.uniform(0.18, 0.24), 0.2, 0.3))
    slate = Slate(length * 0.95)
    flesh = density(rng, (0.70, 0.58, 0.18) if young else _THRIPS[int(rng.integers(5))], strength)
    lines = legs(rng, pose, (0.1 * length, 0.32 * length), width * 0.45, length * between(rng, 0.13, 0.22))
    slate.limbs([*lines, *feelers(rng, pose, length * 0.19, 0.4)], 0.028, flesh * 0.65)
    body, _ = slate.trunk(pose.laid(outline(_YOUNG if young else _GROWN, length, width)), flesh, 0.35, 0.3)
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
        tip = np.array([-0.5 * length, side * (width_mm * 0.06 + opened * length * between(rng, 0.7, 1.2))])
        straps.append(pose.laid(root + (tip - root) * np.linspace(0, 1, 8)[:, None]))
        for t in np.linspace(0.45, 1.0, 12):
            start = root + (tip - root) * t
            flow = np.array([-0.09, side * between(rng, 0.03, 0.07)]) * length
            hairs.append(pose.laid(np.stack([start, start + flow])))
    slate.add(slate.drawn(straps, 0.05), flesh * 0.35 + 0.06)
    slate.add(slate.drawn(hairs, 0.012), flesh * 0.3 + 0.08)


def caterpillar(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A ringed tube with a dark head, short feet in front and stubs behind; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.10, 0.16)
    slate = Slate(length * 0.58 + 0.3)
    flesh = density(rng, _CATERPILLARS[int(rng.integers(4))], strength)
    sides = (-1.0,) if rng.random() < 0.5 else (-1.0, 1.0)

    def pegs(places: tuple[float, ...], out: float) -> list[Points]:
        at = [(x * length, s * width) for x in places for s in sides]
        return [pose.line((x, y * 0.4), (x + 0.1 * width, y * out)) for x, y in at]

    slate.limbs(pegs((0.33, 0.37, 0.41), 0.72), 0.05, flesh + 0.4)
    slate.add(slate.drawn(pegs((-0.42, -0.2, -0.12, -0.04), 0.56), width * 0.2), flesh * 0.6, 0.5)
    # Each ring of the body bulges a little between its seams.
    at = np.linspace(0.05, 0.93, 61)
    bulge = (0.92 + 0.08 * np.abs(np.sin(np.pi * at * 12))) * np.interp(at, [0, 0.2, 0.85, 1], [0.8, 1.0, 0.98, 0.8])
    shape = [(0.0, 0.35), (0.03, 0.62), *zip(at, bulge, strict=True), (0.96, 0.7), (1.0, 0.3)]
    body, _ = slate.trunk(pose.laid(outline(shape, length, width)), flesh, between(rng, 0.45, 0.75), 0.1)
    slate.add(rings(slate, pose, width, np.linspace(-0.42, 0.38, 12), 0.06) * body * 0.4, flesh)
    gut = pose.laid(np.stack([np.linspace(-0.46, 0.36, 24) * length, rng.normal(0, 0.02, 24) * width], 1))
    slate.add(blurred(slate.drawn([gut], width * 0.24), 2.0) * body * between(rng, 0.1, 0.7), flesh)
    shell = density(rng, ((0.20, 0.11, 0.05), (0.40, 0.26, 0.12))[int(rng.random() < 0.3)], 0.6 + 0.4 * strength)
    cap = outline([(0, 0.5), (0.15, 0.85), (0.6, 0.95), (1, 0.3)], width * 0.8, width)
    cap[:, 0] += length / 2 - width * 0.4
    slate.add(slate.filled(pose.laid(cap)) * body * 0.8, shell, 0.2)
    return slate.stamp(body), width


def larva(rng: Rng, pose: Pose, strength: float) -> tuple[Stamp, float]:
    """A glassy little maggot of which only the head end and the gut are darker; and its width in mm."""
    length = pose.length_mm
    width = length * between(rng, 0.24, 0.34)
    slate = Slate(length * 0.75)
    flesh, dark = density(rng, (0.72, 0.67, 0.54), strength), density(rng, (0.36, 0.26, 0.14), strength)
    shape = [(0, 0.5), (0.08, 0.8), (0.3, 1.0), (0.6, 0.9), (0.85, 0.62), (0.95, 0.45), (1, 0.2)]
    body, _ = slate.trunk(pose.laid(outline(shape, length, width)), flesh * 0.7, 0.6, 0.5)
    slate.add((1 - dome(body, 0.06 * FINE_PER_MM)) * body * 0.5, flesh)
    slate.add(slate.spot(pose.at(0.42 * length, 0.0), 0.16 * width) * body, dark * 1.3)
    gut = pose.laid(np.stack([np.linspace(-0.3, 0.25, 10) * length, np.cumsum(rng.normal(0, 0.03, 10)) * width], 1))
    slate.add(blurred(slate.drawn([gut], width * 0.3), 1.5) * body * between(rng, 0.2, 0.8), dark)
    return slate.stamp(body), width
