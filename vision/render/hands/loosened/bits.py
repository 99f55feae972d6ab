"""Bits of dirt: which there are, and those that are drawn as short chains (seeds, slivers, husks, stalked bits)."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, Hand, draw_hand
from vision.render.hands.loosened.chance import Colour, Points, Span, between, chance, choose_colour, fourier, skewed
from vision.render.hands.loosened.kinds import AMBER, BLACK, BROWN, CREAM, GREEN, GREY, LIME, OLIVE, RED, TAN, WHITE
from vision.render.hands.loosened.lumps import (
    draw_bud,
    draw_crumb,
    draw_dust,
    draw_grit,
    draw_leaf_bit,
    draw_starch,
)  # fmt: skip
from vision.render.hands.loosened.patch import chain_patch, dissolve, make_bow, measure, tear
from vision.render.hands.loosened.strands import Strand, jointed, lay_strands, reach_mm, waving
from vision.render.hands.loosened.textures import Look, choose_patterns, make_bounds, paint
from vision.render.hands.loosened.threads import draw_fibre, draw_rootlet, stuck_strands
from vision.render.hands.loosened.wet import draw_bubble, draw_drop


@dataclass(frozen=True)
class Short:
    """One sort of chain-shaped bit: spans of its numbers, colours and patterns."""

    length_mm: Span
    aspect: Span
    ends: Span
    power: Span
    turns: Span
    waver: Span
    opacity: Span
    flat: Span
    harm: float
    stalk: float
    bristles: float
    palette: tuple[Colour, ...]
    patterns: dict[str, float]


_SHORT: dict[str, Short] = {
    "seed": Short(
        (0.35, 2.6), (0.28, 0.8), (0.2, 0.5), (0.35, 0.8), (0, 0.9), (0.003, 0.02), (0.55, 0.99), (0.3, 1.2), 0.04,
        0.08, 0.12, (BROWN, TAN, BLACK, CREAM, AMBER, OLIVE, RED, GREY),
        {"streaks": 0.35, "spots": 0.3, "net": 0.35, "mottling": 0.35, "rim": 0.35, "slope": 0.35, "core": 0.3,
         "bands": 0.2, "grains": 0.3, "gut": 0.15, "pairs": 0.1},
    ),
    "sliver": Short(
        (0.3, 3.5), (0.03, 0.16), (0.02, 0.4), (0.5, 1.4), (0, 0.5), (0.02, 0.15), (0.3, 0.99), (0.1, 0.9), 0.35, 0.0,
        0.15, (TAN, BROWN, CREAM, BLACK, GREY, GREEN, AMBER),
        {"streaks": 0.75, "slope": 0.4, "mottling": 0.35, "rim": 0.3, "grains": 0.3, "bands": 0.15, "gut": 0.3},
    ),
    "stalked": Short(
        (0.35, 2.0), (0.3, 0.75), (0.15, 0.45), (0.35, 0.9), (0, 1.0), (0.01, 0.06), (0.4, 0.98), (0.3, 1.1), 0.1, 1.0,
        0.35, (GREEN, OLIVE, BROWN, TAN, LIME, BLACK, CREAM, RED),
        {"streaks": 0.3, "bands": 0.2, "mottling": 0.4, "core": 0.4, "rim": 0.3, "slope": 0.35, "spots": 0.25,
         "net": 0.25, "fat": 0.2, "gut": 0.25, "embryos": 0.15},
    ),
    "husk": Short(
        (0.4, 3.0), (0.2, 0.6), (0.05, 0.4), (0.4, 1.1), (0, 2.0), (0.01, 0.08), (0.1, 0.6), (-0.2, 0.5), 0.5, 0.15,
        0.1, (CREAM, TAN, AMBER, WHITE, BROWN, LIME),
        {"rim": 0.75, "streaks": 0.6, "net": 0.5, "mottling": 0.3, "slope": 0.4, "rings": 0.1, "grains": 0.25,
         "bands": 0.15},
    ),
}  # fmt: skip


def draw_bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """The name of one bit and its picture."""
    makers: dict[str, Callable[[Hand, np.random.Generator], Lent]] = {
        "bubble": draw_bubble, "fibre": draw_fibre, "grit": draw_grit, "leaf_bit": draw_leaf_bit, "bud": draw_bud,
        "drop": draw_drop, "dust": draw_dust, "crumb": draw_crumb, "rootlet": draw_rootlet, "starch": draw_starch,
    }  # fmt: skip
    names = (*makers, *_SHORT)
    name = names[int(rng.integers(0, len(names)))]
    hand = draw_hand(below, rng)
    return name, makers[name](hand, rng) if name in makers else _draw_short(_SHORT[name], hand, rng)


def _half_widths(short: Short, width_mm: float, rng: np.random.Generator) -> tuple[Points, Points]:
    """Half-widths (200,) in mm of the two sides, each with its own blunt or pointed ends and its own waver."""
    u = np.linspace(0, 1, 200)
    fat = between(rng, (0.3, 0.7))
    sides = []
    for _ in range(2):
        half = np.ones_like(u)
        for place, longest in ((u, fat), (1 - u, 1 - fat)):
            room = min(between(rng, short.ends) * 2, 1.0) * longest + 0.02
            power = between(rng, short.power)
            half = half * (1 - np.clip(1 - place / room, 0, 1) ** 2) ** power
        half = (
            half
            * between(rng, (0.7, 1.3))
            * np.clip(1 + fourier(u * 0.5, rng, skewed(rng, short.waver), 14, 0.7), 0.1, 2)
        )
        sides.append(half)
    most = float((sides[0] + sides[1]).max())
    return sides[0] * width_mm / most, sides[1] * width_mm / most


def _draw_short(short: Short, hand: Hand, rng: np.random.Generator) -> Lent:
    """One chain-shaped bit; a stalk and bristles are no part of its measured body."""
    length = skewed(rng, short.length_mm)
    width = max(length * between(rng, short.aspect), 0.03)
    shape = ("C", "J", "S")[int(rng.integers(0, 3))]
    bow = make_bow(length, min(between(rng, short.turns), 0.9 * length / width), shape, between(rng, (0, 0.06)), rng)
    left, right = _half_widths(short, width, rng)
    strays: list[Strand] = []
    if chance(rng, short.stalk):
        end = 0.0 if chance(rng, 0.5) else 1.0
        ahead = bow.heading(end) + (math.pi if end == 0 else 0) + rng.normal(0, 0.25)
        long, thick = length * between(rng, (0.15, 1.1)), skewed(rng, (0.02, 0.12)) * (0.6 + 0.4 * length)
        stalk = waving(bow.at(0.04 if end == 0 else 0.96), ahead, long, thick, between(rng, (0.5, 1)), rng, 0.8)
        strays.append(stalk)
        # Some stalks fork or carry a stump, as a limb would bend.
        if chance(rng, 0.3):
            start = stalk.places_mm[len(stalk.places_mm) // 2]
            strays.append(
                jointed(start, ahead + rng.choice((-1, 1)) * 0.8, long * 0.5, 2, thick * 0.6, 0.8, rng, 0, 0.4)
            )
    if chance(rng, short.bristles):
        strays = strays + stuck_strands(length, rng, bow)
    far = max(float(np.hypot(*bow.places_mm.T).max()) + width, reach_mm(strays))
    canvas = Canvas(far + 0.12, hand, rng)
    colour = choose_colour(rng, short.palette)
    shade = np.clip(colour * skewed(rng, (0.2, 1.5)), 0.01, 0.85)
    behind = chance(rng, 0.6)
    if behind:
        lay_strands(canvas, strays, shade, rng)
    patch = chain_patch(canvas, bow, left, right)
    if chance(rng, short.harm):
        torn = tear(patch, rng)
        patch = torn if float(torn.cover.sum()) > 0.35 * float(patch.cover.sum()) else patch
    if chance(rng, 0.1):
        patch = dissolve(patch, rng)
    opacity = between(rng, short.opacity) * (between(rng, (0.3, 0.7)) if chance(rng, 0.2) else 1)
    bounds = make_bounds(1 if chance(rng, 0.8) else int(rng.integers(2, 7)), rng, 0.6)
    patterns = choose_patterns(rng, short.patterns)
    look = Look(colour, opacity, between(rng, short.flat), bounds, between(rng, (0, 0.2)), patterns)
    paint(canvas, patch, look, rng)
    if not behind:
        lay_strands(canvas, strays, shade, rng)
    length_mm, width_mm = measure(patch, bow)
    chord = float(np.hypot(*(bow.places_mm[-1] - bow.places_mm[0])))
    return canvas.finish(length_mm, width_mm, chord < 0.93 * length)
