"""Mites, gnats and eggs. Sizes and colours from memory."""

from __future__ import annotations

import math

import numpy as np

from vision.render.hands.layered.colour import Rng, between, one_of, srgb, varied
from vision.render.hands.layered.curves import ellipse, profile, tube
from vision.render.hands.layered.drawn import Drawn
from vision.render.hands.layered.limbs import SIDES, jointed, leg, wing
from vision.render.hands.layered.sheet import Pose, Sheet
from vision.types import FloatArray

_MITES = (srgb(200, 176, 120), srgb(176, 70, 40), srgb(140, 50, 34), srgb(110, 70, 44), srgb(214, 196, 130))
_MITES_OFTEN = (1.3, 2, 2, 2, 1)
_MITE_LEGS, _MITE_SPOTS = srgb(90, 50, 30), srgb(30, 22, 18)
_GNATS, _GNAT_BELLY = (srgb(40, 34, 30), srgb(74, 58, 42), srgb(110, 92, 60)), srgb(130, 105, 70)
_EGGS, _EGGS_OFTEN = (srgb(232, 214, 140), srgb(226, 196, 90), srgb(240, 236, 215), srgb(60, 50, 40)), (2, 2, 1, 1)
_EGG_FROM_BELOW, _EGG_RIM = np.array([0.72, 0.66, 0.55], np.float32), srgb(110, 90, 50)


def mite(rng: Rng, pose: Pose) -> Drawn:
    """A mite of 0.32-0.52 mm: oval, eight legs, some with two dark spots."""
    length = float(rng.uniform(0.32, 0.52))
    width = length * rng.uniform(0.58, 0.78)
    sheet = pose.sheet(length * 1.1, fold=4)
    colour = varied(rng, one_of(rng, _MITES, _MITES_OFTEN), 0.12) * np.float32(pose.light.dimmed(0.7))
    legs = between(colour, _MITE_LEGS, 0.4) * np.float32(0.7)
    for side in SIDES:
        for ahead, degrees in ((0.3, 28), (0.2, 62), (-0.06, 112), (-0.16, 146)):
            angle = math.radians(degrees + rng.normal(0, 9))
            hip = np.array([ahead * length, side * width * 0.3])
            reach = length * rng.uniform(0.42, 0.58)
            joints = jointed(hip, reach * 0.55, angle, reach * 0.5, angle + rng.normal(0, 0.3), side)
            sheet.stroke(joints, 0.034, 0.022, legs, 0.85, count=10)
    shares = np.array([0.08, 0.22, 0.44, 0.5, 0.33, 0.02]) * width
    t, half = profile([0, 0.06, 0.3, 0.6, 0.88, 1], list(shares))
    outline = tube(np.c_[length / 2 - t * length, 0 * t], half)
    sheet.dome(outline, colour, rng.uniform(0.85, 0.98), thick=2.2, rim=0.55, gloss=0.3)
    if rng.random() < 0.5:
        for side in SIDES:
            spot = ellipse(-0.03 * length, side * width * 0.22, 0.13 * length, 0.1 * width)
            sheet.fill(spot, _MITE_SPOTS, 0.75, 0.015)
    sheet.dot(length * 0.52, 0, 0.045 * length, legs, 0.9)
    return Drawn(sheet, length, width)


def gnat(rng: Rng, pose: Pose) -> Drawn:
    """A gnat of 1.3-2.8 mm with long legs and two clear wings."""
    length = float(rng.uniform(1.3, 2.8))
    width = length * rng.uniform(0.18, 0.26)
    sheet = pose.sheet(length * 1.35)
    colour = varied(rng, one_of(rng, _GNATS), 0.15)
    _gnat_limbs(sheet, rng, length, colour)
    t, half = profile([0, 0.3, 0.8, 1], [0.55, 0.5, 0.36, 0.06])
    belly = tube(np.c_[(0.12 - t * 0.62) * length, 0 * t], half * width * 0.8)
    sheet.dome(belly, between(colour, _GNAT_BELLY, 0.3), 0.92, shading=0.3, rim=0.5)
    clip = sheet.clip
    for j in range(6):
        x = (0.02 - j * 0.08) * length
        ends = [[x, -width * 0.5], [x, width * 0.5]]
        sheet.stroke(ends, 0.03 * length, None, colour * np.float32(0.5), 0.6, clip, count=4)
    sheet.dome(ellipse(0.22 * length, 0, 0.17 * length, width * 0.52), colour, 0.97, shading=0.4, rim=0.4, gloss=0.3)
    sheet.dome(ellipse(0.43 * length, 0, 0.07 * length, width * 0.36), colour * np.float32(0.7), 0.97, rim=0.4)
    for side in SIDES:
        base = (0.2 * length, side * 0.07 * length)
        wing(sheet, base, 0.95 * length, 0.34 * length, math.pi - side * rng.uniform(0.1, 1.0), 0.25)
    return Drawn(sheet, length, width)


def _gnat_limbs(sheet: Sheet, rng: Rng, length: float, colour: FloatArray) -> None:
    for side in SIDES:
        for ahead, degrees, long in ((0.3, 50, 0.7), (0.22, 95, 0.75), (0.15, 140, 0.95)):
            angle = math.radians(degrees + rng.normal(0, 18))
            hip = np.array([ahead * length, side * 0.08 * length])
            bent = angle + rng.normal(0.5, 0.3)
            leg(
                sheet,
                rng,
                jointed(hip, long * length * 0.4, angle, long * length * 0.6, bent, side),
                0.04,
                colour,
                0.85,
            )
        angle = rng.uniform(0.3, 0.8)
        base = np.array([0.47 * length, side * 0.03 * length])
        joints = jointed(base, 0.17 * length, angle * 0.9, 0.16 * length, angle * 1.1, side)
        sheet.stroke(joints, 0.03, 0.015, colour, 0.85)


def egg(rng: Rng, pose: Pose) -> Drawn:
    """A glossy oval egg of 0.45-1.0 mm, some ribbed."""
    length = float(rng.uniform(0.45, 1.0))
    width = length * rng.uniform(0.45, 0.7)
    sheet = pose.sheet(length * 0.8, fold=4)
    colour = varied(rng, one_of(rng, _EGGS, _EGGS_OFTEN), 0.08)
    if pose.light.below:
        colour = colour * _EGG_FROM_BELOW
    outline = ellipse(0, 0, length / 2, width / 2)
    rim = between(colour, _EGG_RIM, 0.5)
    sheet.dome(outline, colour, 0.9, thick=2, shading=0.4, rim=0.7, rim_colour=rim, gloss=0.5)
    if rng.random() < 0.6:
        clip = sheet.clip
        for y in np.arange(-4, 5) / 10 * width:
            rib = [[-length * 0.45, y * 0.2], [0, y], [length * 0.45, y * 0.2]]
            sheet.stroke(rib, 0.015, None, colour * np.float32(0.5), 0.3, clip)
    return Drawn(sheet, length, width)
