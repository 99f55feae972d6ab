"""Limbs of a creature: jointed legs, stubby legs, feelers, rear tubes and hairs, as random as the body."""

import math
from dataclasses import dataclass

import numpy as np

from vision.render.hands.loosened.chance import Points, between, chance
from vision.render.hands.loosened.kinds import Ranges
from vision.render.hands.loosened.patch import Bow
from vision.render.hands.loosened.strands import Strand, jointed, waving


@dataclass(frozen=True)
class Build:
    """A body's middle line and half-widths (n,) in mm, how it is seen, share of limbs lost and limb opacity."""

    bow: Bow
    left_mm: Points
    right_mm: Points
    view: str
    lost: float
    opacity: float

    def edge(self, u: float, side: int, share: float) -> Points:
        """Place (2,) in mm at share u along, at a share of the half-width on one side (1 left, -1 right)."""
        half = self.left_mm if side > 0 else self.right_mm
        return self.bow.at(u, side * share * float(np.interp(u, np.linspace(0, 1, len(half)), half)))


def legs(ranges: Ranges, build: Build, rng: np.random.Generator) -> list[Strand]:
    """Jointed legs in pairs; both of a pair on one side when the animal is seen from the side."""
    limbs = ranges.legs
    if limbs.pairs == 0 or limbs.length[1] == 0:
        return []
    tucked = chance(rng, 0.18)
    length = build.bow.length_mm * between(rng, limbs.length) * (between(rng, (0.35, 0.6)) if tucked else 1)
    thick = between(rng, limbs.thick_mm) * (0.7 + 0.3 * build.bow.length_mm / ranges.length_mm[1])
    wild, bend = between(rng, (0.08, 0.45)), between(rng, limbs.bend) * (2.2 if tucked else 1)
    sweep = between(rng, (-0.3, 0.3))
    found = []
    for pair in range(limbs.pairs):
        u = limbs.where[0] + (limbs.where[1] - limbs.where[0]) * pair / max(limbs.pairs - 1, 1)
        fan = 2.4 - 1.65 * pair / max(limbs.pairs - 1, 1) + sweep
        for side in (-1, 1):
            if chance(rng, build.lost):
                continue
            flip = 1 if build.view == "side" else side
            start = build.edge(u + rng.normal(0, 0.012), flip, 0.1 if build.view == "under" else 0.65)
            heading = build.bow.heading(u) + flip * (fan + rng.normal(0, 0.22))
            curl = flip * bend * (1 if pair < limbs.pairs / 2 else -1)
            long = length * (0.85 + 0.3 * pair / max(limbs.pairs - 1, 1)) * math.exp(rng.normal(0, 0.08))
            if chance(rng, build.lost * 0.5):
                long *= between(rng, (0.3, 0.7))
            joints = int(rng.integers(limbs.joints[0], limbs.joints[1] + 1))
            opacity = build.opacity * between(rng, (0.75, 1.0))
            found.append(jointed(start, heading, long, joints, thick, opacity, rng, curl, wild))
    return found


def feelers(ranges: Ranges, build: Build, rng: np.random.Generator) -> list[Strand]:
    """Two feelers from the front, thrown forward, sideways or back, some of them feathery."""
    if ranges.feelers[1] == 0:
        return []
    length = build.bow.length_mm * between(rng, ranges.feelers)
    thick = between(rng, ranges.feeler_mm)
    swing = between(rng, (0.15, 1.2)) if chance(rng, 0.7) else between(rng, (1.6, 2.7))
    plumed = chance(rng, ranges.plumed)
    found = []
    for side in (-1, 1):
        if chance(rng, build.lost * 0.7 + 0.05):
            continue
        heading = build.bow.heading(0) + math.pi - side * (swing + rng.normal(0, 0.25))
        start = build.edge(0.025, side, 0.6)
        line = jointed(
            start,
            heading,
            length,
            int(rng.integers(4, 7)),
            thick,
            build.opacity,
            rng,
            -side * between(rng, (-0.1, 0.2)),
            between(rng, (0.05, 0.25)),
        )
        found.append(line)
        if plumed:
            found.extend(_plume(line, rng))
    return found


def _plume(line: Strand, rng: np.random.Generator) -> list[Strand]:
    """Fine hairs on both sides of a feeler."""
    found = []
    long = between(rng, (0.08, 0.25))
    for place in np.linspace(0.1, 1, int(rng.integers(8, 18))):
        steps = np.linspace(0, 1, len(line.places_mm))
        foot = np.array([np.interp(place, steps, line.places_mm[:, axis]) for axis in (0, 1)])
        ahead = line.places_mm[-1] - line.places_mm[0]
        for side in (-1, 1):
            heading = math.atan2(ahead[1], ahead[0]) + side * between(rng, (0.4, 1.0))
            found.append(jointed(foot, heading, long, 1, 0.008, line.opacity * 0.6, rng, 0, 0))
    return found


def tubes(ranges: Ranges, build: Build, rng: np.random.Generator) -> list[Strand]:
    """Two small tubes near the rear and, now and then, a short tail."""
    if not chance(rng, ranges.tubes):
        return []
    length = build.bow.length_mm * between(rng, (0.08, 0.26))
    thick = between(rng, (0.03, 0.06)) * (0.5 + 0.25 * build.bow.length_mm)
    u = between(rng, (0.7, 0.82))
    found = []
    for side in (-1, 1):
        flip = 1 if build.view == "side" else side
        if chance(rng, build.lost * 0.4):
            continue
        heading = build.bow.heading(u) - (flip if build.view == "side" else -flip) * (between(rng, (0.2, 0.7)))
        share = -0.5 + 0.2 * side if build.view == "side" else 0.72
        found.append(jointed(build.edge(u, flip, share), heading, length, 2, thick, build.opacity, rng, 0, 0.06))
    if chance(rng, 0.5):
        found.append(
            jointed(build.bow.at(0.96), build.bow.heading(1), length * 0.6, 1, thick * 1.3, build.opacity, rng, 0, 0)
        )
    return found


def stubs(ranges: Ranges, build: Build, rng: np.random.Generator) -> list[Strand]:
    """Stubby false legs along the rear half of a tube-shaped body."""
    if build.view == "above" or not chance(rng, ranges.stubs):
        return []
    width = float((build.left_mm + build.right_mm).max())
    places = (0.5, 0.58, 0.66, 0.74, 0.95) if chance(rng, 0.7) else (0.7, 0.95)
    length, thick = width * between(rng, (0.12, 0.35)), width * between(rng, (0.15, 0.3))
    found = []
    for u in places:
        for side in (1,) if build.view == "side" else (-1, 1):
            if chance(rng, build.lost):
                continue
            heading = build.bow.heading(u) + side * (math.pi / 2 + rng.normal(0, 0.2))
            found.append(
                jointed(build.edge(u, side, 0.6), heading, length + 0.15 * width, 2, thick, build.opacity, rng, 0, 0.15)
            )
    return found


def hairs(ranges: Ranges, build: Build, rng: np.random.Generator) -> list[Strand]:
    """Fine hairs that stand out from the outline."""
    if not chance(rng, ranges.hairs):
        return []
    width = float((build.left_mm + build.right_mm).max())
    length, shade = width * between(rng, (0.12, 0.7)), between(rng, (0.2, 0.7))
    found = []
    for _ in range(int(rng.integers(6, 40))):
        u, side = between(rng, (0.05, 0.98)), 1 if chance(rng, 0.5) else -1
        heading = build.bow.heading(u) + side * (math.pi / 2 + rng.normal(0, 0.4))
        found.append(waving(build.edge(u, side, 0.9), heading, length, 0.009, shade, rng, 0.3))
    return found
