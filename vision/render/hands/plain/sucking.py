"""Aphids, their cast skins, and thrips: figures in mm, rear to the left, head to the right, before they are bent and put somewhere."""

from __future__ import annotations

import numpy as np

from vision.render.hands.plain.anatomy import Colour, Mood, bands, legs, limb, pick, times, varied, wings
from vision.render.hands.plain.canvas import Figure, Ink, Part
from vision.render.hands.plain.outlines import Outline, oval, profile, tube

_APHIDS: list[Colour] = [
    (0.56, 0.66, 0.28), (0.38, 0.48, 0.20), (0.13, 0.11, 0.09), (0.24, 0.17, 0.10), (0.62, 0.38, 0.26),
    (0.80, 0.80, 0.50), (0.55, 0.58, 0.52), (0.20, 0.24, 0.14),
]  # fmt: skip
_HEATED: list[Colour] = [(0.45, 0.28, 0.13), (0.34, 0.21, 0.10), (0.57, 0.40, 0.20), (0.25, 0.15, 0.08)]


def _aphid_outline(length: float, width: float) -> Outline:
    half = width / 2
    return profile(
        length, [(0, 0.45 * half), (0.12, 0.8 * half), (0.35, 1.06 * half), (0.62, 0.8 * half),
                 (0.8, 0.5 * half), (0.9, 0.4 * half), (1, 0.28 * half)]
    )  # fmt: skip


def aphid(rng: np.random.Generator, mood: Mood) -> Figure:
    """A pear-shaped body with two tubes on its back, from above or from its side; one in seven has wings."""
    length = float(rng.uniform(1.0, 2.5))
    width = length * float(rng.uniform(0.46, 0.66))
    colour = pick(_HEATED if mood.heated and rng.random() < 0.8 else _APHIDS, rng)
    if mood.on_dark and max(colour) < 0.4 and rng.random() < 0.7:
        colour = pick([_APHIDS[0], _APHIDS[5], _APHIDS[6]], rng)
    half, dark = width / 2, times(colour, rng.uniform(0.35, 0.6))
    horn = Ink(dark if rng.random() < 0.6 else times(colour, 0.85), rng.uniform(0.7, 1.0))
    thick = length * rng.uniform(0.012, 0.02)
    sides = (-1, 1) if rng.random() < 0.75 else (1,)
    parts = legs(rng, [(-0.02 * length, half), (0.14 * length, 0.8 * half), (0.26 * length, 0.6 * half)],
                  length * rng.uniform(0.55, 0.8), thick, horn, sides)  # fmt: skip
    swept = rng.uniform(120, 165) if rng.random() < 0.6 else rng.uniform(15, 50)
    for side in (-1, 1):
        if rng.random() < 0.93:
            turn = side * (swept + rng.normal(0, 8))
            parts.append(limb((0.44 * length, side * 0.12 * width), [turn * 0.5, turn, turn + rng.normal(0, 12)],
                               [0.1 * length, 0.4 * length, 0.3 * length], 0.7 * thick, horn))  # fmt: skip
        parts.append(limb((-0.3 * length, side * 0.55 * half), [180 - side * rng.uniform(12, 35)],
                           [length * rng.uniform(0.16, 0.26)], 1.4 * thick, Ink(dark)))  # fmt: skip
    parts.append(Part(tube(np.array([[-0.46, 0.0], [-0.5, 0.0], [-0.55, 0.0]]) * length, 0.03 * length), horn))
    parts.append(Part(_aphid_outline(length, width),
                      Ink(colour, rng.uniform(0.85, 1.0), rng.uniform(-0.25, 0.35), rng.uniform(0.0, 0.07)), True))  # fmt: skip
    parts += bands(length, half, int(rng.integers(4, 7)), Ink(dark, rng.uniform(0.1, 0.4)), 0.2, 0.72)
    parts.append(Part(oval(0.17 * length, 0.3 * width, (0.4 * length, 0.0)), Ink(dark, rng.uniform(0.2, 0.6))))
    eyes = (-1, 1) if len(sides) == 2 else (1,)
    parts += [Part(oval(0.05 * length, 0.05 * length, (0.4 * length, s * 0.17 * width)), Ink((0.22, 0.05, 0.04), 0.9))
              for s in eyes]  # fmt: skip
    if rng.random() < 0.14:
        parts += wings(rng, 0.2 * length, 1.5 * length, 0.5 * length, rng.uniform(155, 172))
    return Figure("aphid", length, width, tuple(parts), float(rng.normal(0, 0.15)))


def skin(rng: np.random.Generator, mood: Mood) -> Figure:
    """What an aphid leaves behind when it grows: empty, pale, split along the back."""
    length = float(rng.uniform(0.8, 2.0))
    width = length * float(rng.uniform(0.4, 0.6))
    pale = varied((0.86, 0.82, 0.70) if not mood.heated else (0.72, 0.62, 0.46), rng, 0.014)
    edge = Ink(times(pale, 0.6), rng.uniform(0.5, 0.8))
    parts = legs(rng, [(-0.02 * length, width / 2), (0.14 * length, 0.4 * width), (0.26 * length, 0.3 * width)],
                  0.6 * length, 0.015 * length, edge, (-1, 1))  # fmt: skip
    whole = _aphid_outline(length, width)
    parts.append(Part(whole, Ink(times(pale, 0.72), rng.uniform(0.6, 0.85)), True))
    parts.append(Part(whole * 0.8, Ink(pale, rng.uniform(0.5, 0.8), mottle=0.06)))
    split = np.stack([np.linspace(-0.1, 0.42, 8) * length, rng.normal(0, 0.02, 8) * length], axis=1)
    parts.append(Part(tube(split, np.sin(np.linspace(0.2, 3.0, 8)) * 0.05 * length), Ink(times(pale, 1.12), 0.8)))
    parts += bands(length, width / 2, 4, edge, 0.15, 0.5)
    return Figure("skin", length, width, tuple(parts), float(rng.normal(0, 0.4)))


def thrips(rng: np.random.Generator, mood: Mood) -> Figure:
    """A spindle with two fringed straps along its back, or a young one without."""
    young = rng.random() < 0.35
    length = float(rng.uniform(0.8, 1.2) if young else rng.uniform(0.95, 1.5))
    width = float(rng.uniform(0.2, 0.3))
    grown: list[Colour] = [(0.74, 0.60, 0.26), (0.52, 0.36, 0.16), (0.27, 0.17, 0.09), (0.12, 0.09, 0.07)]
    colour = pick([(0.86, 0.78, 0.42), (0.80, 0.70, 0.30)], rng) if young else pick(grown, rng)
    if mood.heated:
        colour = times(colour, 0.8)
    half, dark = width / 2, times(colour, 0.55)
    horn = Ink(times(colour, 0.8), 0.9)
    parts = legs(rng, [(0.06 * length, half), (0.17 * length, half), (0.3 * length, 0.8 * half)],
                  length * rng.uniform(0.2, 0.3), 0.018, horn, (-1, 1))  # fmt: skip
    for side in (-1, 1):
        turn = side * rng.uniform(10, 40)
        parts.append(
            limb((0.46 * length, side * 0.2 * half), [turn, turn * 0.6], [0.09 * length, 0.1 * length], 0.017, horn)
        )
    stations = [(0, 0.16 * half), (0.15, 0.6 * half), (0.4, 1.06 * half), (0.56, 0.9 * half), (0.66, 1.0 * half),
                (0.8, 0.75 * half), (0.86, 0.6 * half), (1, 0.5 * half)]  # fmt: skip
    parts.append(Part(profile(length, stations), Ink(colour, rng.uniform(0.88, 1.0), rng.uniform(-0.2, 0.25)), True))
    parts += bands(length, half, 6, Ink(dark, rng.uniform(0.2, 0.5)), 0.15, 0.5)
    parts.append(Part(oval(0.09 * length, 1.1 * half, (0.44 * length, 0.0)), Ink(dark, 0.5)))
    parts += [Part(oval(0.04, 0.04, (0.45 * length, s * 0.38 * half)), Ink((0.3, 0.05, 0.05), 0.9)) for s in (-1, 1)]
    if not young:
        parts += _fringed_wings(rng, length, half, colour)
    return Figure("thrips", length, width, tuple(parts), float(rng.normal(0, 0.25)))


def _fringed_wings(rng: np.random.Generator, length: float, half: float, colour: Colour) -> list[Part]:
    """Two narrow straps along the back with hairs behind them; now and then one stands off."""
    tint = times(colour, 0.6) if rng.random() < 0.5 else varied((0.80, 0.76, 0.66), rng, 0.03)
    spread = rng.uniform(12, 40) if rng.random() < 0.25 else rng.uniform(1, 5)
    strap, hair = Ink(tint, rng.uniform(0.5, 0.8)), Ink(tint, 0.35)
    parts = []
    for side in (-1, 1):
        turn = np.deg2rad(180 - side * spread)
        line = np.array([0.18 * length, side * 0.3 * half]) + np.linspace(0, 0.62 * length, 6)[:, None] * [
            np.cos(turn), np.sin(turn)
        ]  # fmt: skip
        parts += [limb((p[0], p[1]), [180 - side * (spread + 22)], [0.2], 0.01, hair) for p in line[2:]]
        parts.append(Part(tube(line, np.array([0.2, 0.34, 0.34, 0.3, 0.24, 0.1]) * half), strap))
    return parts
