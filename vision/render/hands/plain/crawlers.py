"""Caterpillars, larvae, mites, gnats and eggs: figures in mm, rear to the left, head to the right."""

from __future__ import annotations

import numpy as np

from vision.render.hands.plain.anatomy import Colour, Mood, bands, legs, limb, pick, times, varied, wings
from vision.render.hands.plain.canvas import Figure, Ink, Part
from vision.render.hands.plain.outlines import oval, profile, tube


def caterpillar(rng: np.random.Generator, mood: Mood) -> Figure:
    """A segmented tube with a dark head, pale green, white when heated."""
    length = float(rng.uniform(3.0, 12.0) if rng.random() < 0.4 else rng.uniform(3.0, 6.5))
    width = length * float(rng.uniform(0.11, 0.19))
    greens: list[Colour] = [(0.66, 0.74, 0.42), (0.52, 0.64, 0.32), (0.80, 0.82, 0.60)]
    colour = varied((0.90, 0.88, 0.78), rng, 0.012) if mood.heated else pick(greens, rng)
    half, rings = width / 2, int(rng.integers(10, 14))
    head: Colour = varied((0.28, 0.17, 0.08), rng, 0.03) if rng.random() < 0.75 else times(colour, 0.6)
    stub = Ink(times(colour, 0.85))
    # Seen from its side the feet show along one edge, from above hardly at all.
    side = rng.choice([-1.0, 1.0])
    feet = (-0.4, -0.12, -0.04, 0.04, 0.28, 0.33, 0.38) if rng.random() < 0.6 else ()
    parts = [limb((f * length, side * 0.8 * half), [side * 85.0], [0.45 * half], 0.25 * half, stub) for f in feet]
    along = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, 90))
    swell = (
        half * (1 + 0.07 * np.cos(2 * np.pi * rings * along)) * np.sqrt(np.clip(1 - np.abs(2 * along - 1) ** 9, 0, 1))
    )
    swell *= np.interp(along, [0, 0.15, 0.8, 1], [0.75, 1, 0.97, 0.8])
    x = (along - 0.5) * length
    outline = np.concatenate([np.stack([x, swell], axis=1), np.stack([x, -swell], axis=1)[::-1]])
    parts.append(Part(outline, Ink(colour, rng.uniform(0.85, 1.0), rng.uniform(0.1, 0.4), 0.03), True))
    parts += bands(length, half, rings, Ink(times(colour, 0.7), rng.uniform(0.15, 0.4)), 0.06, 0.86)
    for across in (-0.45, 0.45) if rng.random() < 0.5 else (0.0,):
        stripe = np.stack([np.linspace(-0.45, 0.4, 14) * length, np.full(14, across * half)], axis=1)
        parts.append(Part(tube(stripe, 0.1 * half), Ink(times(colour, rng.choice([0.7, 1.15])), 0.5)))
    parts.append(Part(oval(0.075 * length, 1.55 * half, (0.462 * length, 0.0)), Ink(head, 0.95, 0.2), True))
    return Figure("caterpillar", length, width, tuple(parts), float(rng.uniform(-2.4, 2.4)))


def larva(rng: np.random.Generator, mood: Mood) -> Figure:
    """A see-through maggot, 0.4 to 0.9 mm: only its head end and gut are darker."""
    length = float(rng.uniform(0.4, 0.9))
    width = length * float(rng.uniform(0.22, 0.34))
    half = width / 2
    film = pick([(0.74, 0.70, 0.56), (0.70, 0.68, 0.60), (0.76, 0.66, 0.42)], rng)
    if mood.on_dark:
        film = times(film, 1.2)
    dark = pick([(0.30, 0.20, 0.10), (0.20, 0.17, 0.12)], rng)
    body = profile(length, [(0, 0.7 * half), (0.3, 1.05 * half), (0.7, 0.9 * half), (1, 0.5 * half)])
    gut = np.stack([np.linspace(-0.28, 0.25, 9) * length, 0.25 * half * np.sin(np.linspace(0, 5, 9))], axis=1)
    parts = [
        Part(body, Ink(film, rng.uniform(0.45, 0.75), -0.15), True),
        Part(tube(gut, half * rng.uniform(0.25, 0.4)), Ink(dark, rng.uniform(0.35, 0.65), soft_px=0.6)),
        Part(oval(0.14 * length, 0.8 * half, (0.42 * length, 0.0)), Ink(dark, rng.uniform(0.6, 0.9))),
    ]
    parts += bands(length, half, 6, Ink(times(film, 0.75), 0.3), 0.2, 0.8)
    return Figure("larva", length, width, tuple(parts), float(rng.normal(0, 0.6)))


def mite(rng: np.random.Generator, mood: Mood) -> Figure:
    """A round body with eight short legs, reddish, straw or brown."""
    length = float(rng.uniform(0.3, 0.6))
    width = length * float(rng.uniform(0.62, 0.85))
    colours: list[Colour] = [(0.66, 0.22, 0.12), (0.72, 0.58, 0.30), (0.40, 0.24, 0.13), (0.30, 0.16, 0.10)]
    colour = pick(colours[2:] if mood.heated else colours, rng)
    half, dark = width / 2, times(colour, 0.5)
    places = [(-0.16 * length, half), (-0.04 * length, half), (0.12 * length, half), (0.24 * length, 0.8 * half)]
    parts = legs(rng, places, length * rng.uniform(0.5, 0.75), 0.016, Ink(times(colour, 0.75), 0.9), (-1, 1))
    body = profile(length, [(0, 0.75 * half), (0.4, 1.05 * half), (0.7, 0.85 * half), (1, 0.35 * half)])
    parts.append(Part(body, Ink(colour, 0.95, rng.uniform(-0.1, 0.3)), True))
    if rng.random() < 0.5:
        parts += [Part(oval(0.3 * length, 0.35 * half, (-0.02 * length, s * 0.45 * half)), Ink(dark, 0.7, soft_px=0.5))
                  for s in (-1, 1)]  # fmt: skip
    return Figure("mite", length, width, tuple(parts))


def gnat(rng: np.random.Generator, mood: Mood) -> Figure:
    """A small dark fly: round head, humped back, slender rear, two wings, six long legs."""
    length = float(rng.uniform(1.5, 3.0))
    width = length * float(rng.uniform(0.2, 0.28))
    colour = pick([(0.13, 0.11, 0.10), (0.26, 0.19, 0.13), (0.34, 0.28, 0.16)], rng)
    if mood.heated:
        colour = times(colour, 1.2)
    half, limb_ink = width / 2, Ink(times(colour, 1.15), rng.uniform(0.7, 0.95))
    parts = legs(rng, [(0.08 * length, half), (0.17 * length, half), (0.28 * length, 0.8 * half)],
                 length * rng.uniform(0.7, 1.05), 0.013 * length, limb_ink, (-1, 1))  # fmt: skip
    for side in (-1, 1):
        turn = side * rng.uniform(15, 50)
        parts.append(limb((0.46 * length, side * 0.2 * half), [turn, 0.4 * turn], [0.12 * length, 0.18 * length],
                          0.008 * length, limb_ink))  # fmt: skip
    paler = times(colour, rng.uniform(1.1, 1.7))
    rear = profile(0.58 * length, [(0, 0.3 * half), (0.4, 0.8 * half), (1, 0.6 * half)]) - np.array(
        [0.21 * length, 0.0]
    )
    parts.append(Part(rear, Ink(paler, 0.97, 0.15), True))
    parts += [Part(piece.outline - np.array([0.2 * length, 0.0]), piece.ink)
              for piece in bands(0.58 * length, 0.8 * half, 5, Ink(times(colour, 0.7), 0.6), 0.15, 0.9)]  # fmt: skip
    parts.append(Part(oval(0.36 * length, width, (0.2 * length, 0.0)), Ink(colour, 1.0, 0.3), True))
    parts.append(Part(oval(0.16 * length, 1.2 * half, (0.42 * length, 0.0)), Ink(times(colour, 0.8), 1.0, 0.2), True))
    parts += wings(rng, 0.18 * length, 0.95 * length, 0.32 * length, rng.uniform(115, 172))
    return Figure("gnat", length, width, tuple(parts), float(rng.normal(0, 0.2)))


def egg(rng: np.random.Generator, mood: Mood) -> Figure:
    """A smooth oval, white to yellow, a few dark, with a glint."""
    length = float(rng.uniform(0.3, 0.8))
    width = length * float(rng.uniform(0.42, 0.75))
    pale: list[Colour] = [(0.90, 0.87, 0.70), (0.86, 0.76, 0.40), (0.80, 0.62, 0.32)]
    dark: list[Colour] = [(0.16, 0.14, 0.12), (0.42, 0.26, 0.14)]
    colour = pick(pale if mood.on_dark or rng.random() < 0.5 else pale[1:] + dark, rng)
    rim = Ink(times(colour, 0.6), 0.95)
    parts = [
        Part(oval(length, width), rim, True),
        Part(oval(0.84 * length, 0.82 * width), Ink(colour, 0.95, 0.25)),
        Part(oval(0.2 * length, 0.16 * width, (0.12 * length, -0.18 * width)), Ink((0.98, 0.98, 0.95), 0.6)),
    ]
    return Figure("egg", length, width, tuple(parts))
