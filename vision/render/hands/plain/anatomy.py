"""What bodies are put together from: colours that vary, jointed limbs, bands across a body, wings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.hands.plain.canvas import Ink, Part
from vision.render.hands.plain.outlines import tube

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Mood:
    """What the insects of one scene share: heated ones are brown or white, `on_dark` ones lie on something dark."""

    heated: bool
    on_dark: bool


def varied(colour: Colour, rng: np.random.Generator, by: float = 0.05) -> Colour:
    """The colour a little lighter or darker, and a little off in hue."""
    light, hue = rng.normal(1.0, 2 * by), rng.normal(0.0, by, 3)
    r, g, b = (float(np.clip(c * (light + d), 0.01, 0.99)) for c, d in zip(colour, hue, strict=True))
    return r, g, b


def times(colour: Colour, by: float) -> Colour:
    """The colour that much lighter or darker."""
    r, g, b = (min(c * by, 1.0) for c in colour)
    return r, g, b


def pick(choices: list[Colour], rng: np.random.Generator) -> Colour:
    """One of the colours, varied."""
    return varied(choices[int(rng.integers(len(choices)))], rng)


def limb(start: tuple[float, float], turns_deg: list[float], lengths: list[float], half_mm: float, ink: Ink) -> Part:
    """A jointed limb: each piece in its own direction (clockwise from x), thinner to its tip."""
    joints = [np.array(start)]
    for turn, length in zip(turns_deg, lengths, strict=True):
        joints.append(joints[-1] + length * np.array([np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))]))
    along = np.linspace(0, len(joints) - 1, 4 * len(joints) - 3)
    corner = np.array(joints)
    line = np.stack([np.interp(along, np.arange(len(joints)), corner[:, axis]) for axis in (0, 1)], axis=1)
    return Part(tube(line, np.linspace(half_mm, 0.55 * half_mm, len(line))), ink)


def legs(
    rng: np.random.Generator,
    places: list[tuple[float, float]],
    reach: float,
    half_mm: float,
    ink: Ink,
    sides: tuple[int, ...],
) -> list[Part]:
    """A jointed leg at every place (x, half width there) on the given sides; some are drawn up, a few are lost."""
    drawn_up = rng.random() < 0.25
    parts = []
    for number, (x, half) in enumerate(places):
        lean = np.interp(number, [0, len(places) - 1], [130.0, 45.0]) + rng.normal(0, 12)
        for side in sides:
            if rng.random() < 0.08:
                continue
            out = side * (lean + rng.normal(0, 8))
            knee = out + side * (rng.normal(95, 20) if drawn_up else rng.normal(25, 22)) * (1 if lean > 80 else -1)
            parts.append(
                limb((x, side * 0.75 * half), [out, knee, knee + rng.normal(0, 20)],
                      [reach * 0.45, reach * 0.45, reach * 0.2], half_mm, ink)
            )  # fmt: skip
    return parts


def bands(length: float, half: float, count: int, ink: Ink, start: float, end: float) -> list[Part]:
    """Faint lines across a body between two places along it (0 rear, 1 front)."""
    parts = []
    for place in np.linspace(start, end, count):
        x = (place - 0.5) * length
        wide = half * float(np.sqrt(max(1 - (2 * place - 1) ** 2, 0.1))) * 0.82
        y = np.linspace(-wide, wide, 7)
        line = np.stack([x - 0.06 * length * (y / half) ** 2 * np.sign(0.5 - place), y], axis=1)
        parts.append(Part(tube(line, 0.012 * length), ink))
    return parts


def wings(rng: np.random.Generator, root: float, length: float, width: float, turn_deg: float) -> list[Part]:
    """Two see-through wings with their veins, rooted at `root` on the axis."""
    grey = float(rng.uniform(0.5, 0.8))
    film, vein = Ink((grey, grey, 0.95 * grey), rng.uniform(0.2, 0.4)), Ink((0.3, 0.26, 0.2), rng.uniform(0.3, 0.6))
    parts = []
    for side in (-1, 1):
        turn = np.deg2rad(side * turn_deg)
        way = np.array([np.cos(turn), np.sin(turn)])
        place = np.linspace(0, 1, 12)
        half = 0.5 * width * np.sin(np.pi * np.clip(place, 0.02, 0.98) ** 1.4) ** 0.7
        line = np.array([root, 0.0]) + place[:, None] * length * way
        parts.append(Part(tube(line, half), film))
        parts.append(Part(tube(line[:-1] + side * 0.25 * half[:-1, None] * [way[1], -way[0]], 0.012 * length), vein))
        parts.append(Part(tube(line[:-2], 0.01 * length), vein))
    return parts
