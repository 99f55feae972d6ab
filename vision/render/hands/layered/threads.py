"""Loose slim things that are no insects: fibres, hairs, rootlets, slips of stalk. Sizes and colours: common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.layered.colour import Rng, any_size, between, one_of, srgb, varied
from vision.render.hands.layered.curves import Points, blob, line_through, polar, tube
from vision.render.hands.layered.sheet import Light, Pose, Sheet, any_way

_HAIRS = (srgb(38, 28, 22), srgb(80, 56, 36), srgb(20, 18, 18), srgb(150, 120, 80))
_FIBRES = (
    srgb(60, 80, 150), srgb(160, 60, 70), srgb(50, 50, 54), srgb(205, 205, 205), srgb(150, 150, 150), srgb(90, 70, 120),
    srgb(240, 240, 240),
)  # fmt: skip
_FIBRES_OFTEN = (1.2, 0.8, 1.2, 2, 2, 0.5, 1.5)
_ROOTS = (srgb(190, 170, 120), srgb(110, 80, 50), srgb(140, 150, 90), srgb(210, 200, 160), srgb(64, 48, 34))
_STALKS, _CUT = (srgb(176, 196, 130), srgb(206, 206, 160), srgb(130, 156, 84), srgb(190, 176, 130)), srgb(120, 90, 50)


def _wandering(rng: Rng, length: float, turning: float) -> Points:
    """A line of a length about 0 that turns by `turning` a sixth of it."""
    heading = np.cumsum(rng.normal(0, turning, 6)) + rng.uniform(0, 6.3)
    line = np.cumsum(np.c_[np.cos(heading), np.sin(heading)] * length / 6, axis=0)
    return line_through(line - (line.min(0) + line.max(0)) / 2, 70)


def fibre(rng: Rng, light: Light) -> Sheet:
    """A thin wound thread of lint, white, grey or dyed."""
    line = _wandering(rng, any_size(rng, 1.2, 22, 3.5), 0.5)
    sheet = Pose(light).sheet(float(np.abs(line).max()) + 0.4, fold=2)
    width = rng.uniform(0.02, 0.05)
    sheet.stroke(line, width, width, one_of(rng, _FIBRES, _FIBRES_OFTEN), rng.uniform(0.4, 0.85))
    return sheet


def hair(rng: Rng, light: Light) -> Sheet:
    """A stiffer dark hair that ends in a point."""
    line = _wandering(rng, any_size(rng, 1.2, 22, 5), 0.25)
    sheet = Pose(light).sheet(float(np.abs(line).max()) + 0.4, fold=2)
    width = rng.uniform(0.045, 0.08)
    sheet.stroke(line, width, width * 0.4, one_of(rng, _HAIRS), rng.uniform(0.6, 0.9))
    return sheet


def root(rng: Rng, light: Light) -> Sheet:
    """A rootlet or stamen with side threads, like a body with legs."""
    length = any_size(rng, 0.7, 5, 1.6, 0.5)
    width = length * rng.uniform(0.06, 0.22)
    sheet = any_way(rng, light).sheet(length * 0.95, fold=3 if length < 3 else 2)
    colour = varied(rng, one_of(rng, _ROOTS), 0.12)
    line = line_through(np.c_[np.linspace(length / 2, -length / 2, 6), rng.normal(0, 0.07 * length, 6)], 40)
    for _ in range(rng.integers(0, 8)):
        base = line[rng.integers(3, 37)]
        angle, reach = rng.uniform(0.4, 2.6) * rng.choice([-1, 1]), length * rng.uniform(0.1, 0.35)
        side = [base, base + polar(reach / 2, angle), base + polar(reach, angle + 0.4)]
        sheet.stroke(side, 0.04, 0.015, colour * np.float32(0.8), 0.7)
    half = width / 2 * (1 + 0.15 * rng.normal(0, 1, 40).cumsum() / 6)
    outline = tube(line, np.maximum(half, 0.02) * np.linspace(1, rng.uniform(0.3, 1), 40))
    dimmed, uneven = colour * np.float32(light.dimmed(0.8)), sheet.grained(rng, 0.2, 0.12)
    sheet.dome(outline, dimmed, rng.uniform(0.6, 0.95), shading=0.3, uneven=uneven, rim=0.35)
    return sheet


def stalk(rng: Rng, light: Light) -> Sheet:
    """A pale slip of stalk or sepal, like a caterpillar without head or rings."""
    length = any_size(rng, 1.5, 9, 3.5, 0.4)
    width = length * rng.uniform(0.08, 0.25)
    sheet = any_way(rng, light).sheet(length * 0.7, fold=2)
    colour = varied(rng, one_of(rng, _STALKS), 0.1)
    line = line_through(np.c_[np.linspace(length / 2, -length / 2, 5), rng.normal(0, 0.06 * length, 5)], 50)
    half = width / 2 * np.linspace(1, rng.uniform(0.4, 1.3), 50) * (1 + 0.05 * rng.normal(0, 1, 50))
    dimmed, uneven = colour * np.float32(light.dimmed(0.85)), sheet.grained(rng, 0.4, 0.1, 4)
    sheet.dome(tube(line, half), dimmed, rng.uniform(0.6, 0.95), thick=1.5, shading=0.3, uneven=uneven, rim=0.3)
    clip = sheet.clip
    for off in rng.uniform(-0.8, 0.8, 4):
        streak = colour * np.float32(one_of(rng, (0.7, 1.3)))
        sheet.stroke(line + np.array([0, off * width / 2]), 0.05, None, streak, 0.4, clip)
    for end in (line[0], line[-1]):
        sheet.fill(blob(rng, width * 0.4, 0.3) + end, between(colour, _CUT, 0.7), 0.45, 0.05, clip)
    return sheet
