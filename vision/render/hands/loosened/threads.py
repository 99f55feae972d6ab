"""Bits that are mostly line: fibres, rootlets, and the strands that stick to any dirt."""

import math

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, Hand
from vision.render.hands.loosened.chance import Colour, Points, between, chance, choose_colour, fourier, skewed
from vision.render.hands.loosened.kinds import BLACK, BROWN, CREAM, GREY, OLIVE, RED, TAN, WHITE
from vision.render.hands.loosened.patch import Bow, chain_patch, make_bow, measure
from vision.render.hands.loosened.strands import Strand, jointed, lay_strands, reach_mm, waving
from vision.render.hands.loosened.textures import Look, choose_patterns, make_bounds, paint

_DYES: tuple[Colour, ...] = ((0.05, 0.1, 0.5), (0.55, 0.06, 0.1), (0.1, 0.4, 0.45), BLACK, WHITE, GREY, RED, TAN)


def draw_fibre(hand: Hand, rng: np.random.Generator) -> Lent:
    """A thread, curled or nearly straight, with frayed ends or split along."""
    length = skewed(rng, (0.5, 4.0))
    bow = make_bow(
        length, between(rng, (0, 5.5)), ("C", "J", "S")[int(rng.integers(0, 3))], between(rng, (0.05, 0.9)), rng
    )
    thick = skewed(rng, (0.018, 0.11))
    strays: list[Strand] = []
    for _ in range(int(rng.integers(0, 9)) if chance(rng, 0.5) else 0):
        u = float(rng.beta(0.4, 0.4))
        ahead = bow.heading(u) + (math.pi if u < 0.5 else 0) + rng.normal(0, 0.5)
        strays.append(
            waving(
                bow.at(u), ahead, length * between(rng, (0.05, 0.25)), thick * 0.4, between(rng, (0.3, 0.9)), rng, 0.8
            )
        )
    colour = choose_colour(rng, _DYES)
    likely = {"bands": 0.3, "streaks": 0.3, "slope": 0.4, "mottling": 0.4, "grains": 0.2, "rim": 0.35, "rings": 0.25}
    bounds = make_bounds(int(rng.integers(1, 24)), rng, 0.4)
    look = Look(colour, between(rng, (0.25, 0.98)), between(rng, (0.1, 1)), bounds, between(rng, (0, 0.4)),
                choose_patterns(rng, likely))  # fmt: skip
    return _line(hand, bow, thick, strays, look, rng)


def draw_rootlet(hand: Hand, rng: np.random.Generator) -> Lent:
    """A small root: a knobbly line with side branches and root hairs."""
    length = skewed(rng, (0.5, 3.5))
    bow = make_bow(
        length, between(rng, (0, 2.2)), ("C", "J", "S")[int(rng.integers(0, 3))], between(rng, (0.05, 0.4)), rng
    )
    thick = skewed(rng, (0.03, 0.16))
    strays: list[Strand] = []
    for _ in range(int(rng.integers(1, 8))):
        u, side = between(rng, (0.1, 0.95)), 1 if chance(rng, 0.5) else -1
        ahead = bow.heading(u) + side * between(rng, (0.5, 1.4))
        long = length * between(rng, (0.08, 0.4))
        branch = waving(bow.at(u), ahead, long, thick * between(rng, (0.3, 0.7)), between(rng, (0.5, 1)), rng, 0.7)
        strays.append(branch)
        if chance(rng, 0.4):
            start = branch.places_mm[len(branch.places_mm) // 2]
            strays.append(waving(start, ahead - side * 0.8, long * 0.5, thick * 0.3, 0.7, rng, 0.6))
    if chance(rng, 0.4):
        for _ in range(int(rng.integers(8, 40))):
            u, side = float(rng.random()), 1 if chance(rng, 0.5) else -1
            ahead = bow.heading(u) + side * between(rng, (0.9, 2.0))
            strays.append(waving(bow.at(u), ahead, between(rng, (0.05, 0.3)), 0.009, 0.35, rng, 0.5))
    colour = choose_colour(rng, (CREAM, TAN, BROWN, WHITE, BROWN, OLIVE))
    likely = {"streaks": 0.4, "mottling": 0.5, "gut": 0.35, "rings": 0.3, "rim": 0.4, "bands": 0.25, "slope": 0.3}
    bounds = make_bounds(int(rng.integers(1, 14)), rng, 0.5)
    look = Look(colour, between(rng, (0.3, 0.98)), between(rng, (0.3, 1)), bounds, between(rng, (0, 0.3)),
                choose_patterns(rng, likely))  # fmt: skip
    return _line(hand, bow, thick, strays, look, rng)


def _line(hand: Hand, bow: Bow, thick_mm: float, strays: list[Strand], look: Look, rng: np.random.Generator) -> Lent:
    """Draw a bow of even thickness with its strays; the measured body is the bow alone."""
    u = np.linspace(0, 1, 200)
    taper = np.linspace(1, between(rng, (0.3, 1)), 200) * np.clip(
        1 + fourier(u, rng, between(rng, (0.02, 0.2)), 12), 0.3, 2
    )
    half = np.maximum(taper * thick_mm / 2, 0.006)
    far = max(float(np.hypot(*bow.places_mm.T).max()) + thick_mm, reach_mm(strays))
    canvas = Canvas(far + 0.12, hand, rng)
    lay_strands(canvas, strays, look.colour, rng)
    patch = chain_patch(canvas, bow, half, half)
    paint(canvas, patch, look, rng)
    length, width = measure(patch, bow)
    chord = float(np.hypot(*(bow.places_mm[-1] - bow.places_mm[0])))
    return canvas.finish(length, min(width, 2.2 * thick_mm), chord < 0.93 * length)


def stuck_strands(size_mm: float, rng: np.random.Generator, bow: Bow | None = None) -> list[Strand]:
    """Threads and stiff bristles that happen to stick to a bit of dirt; sometimes as many as an insect has legs.

    They stand on a round of about size_mm, or along a bow where there is one.
    """
    found = []
    count = int(rng.integers(1, 4)) if chance(rng, 0.6) else int(rng.integers(4, 9))
    thick, bent = between(rng, (0.012, 0.045)), chance(rng, 0.5)
    long = size_mm * between(rng, (0.25, 0.9))
    for _ in range(count):
        angle = between(rng, (0, 2 * math.pi))
        start: Points = size_mm * 0.35 * np.array([math.cos(angle), math.sin(angle)])
        if bow is not None:
            start = bow.at(float(rng.random()))
        ahead, length = angle + rng.normal(0, 0.7), long * between(rng, (0.3, 1.2))
        shade = between(rng, (0.3, 1))
        if bent:
            found.append(jointed(start, ahead, length, int(rng.integers(1, 4)), thick, shade, rng, 0.0, 0.6))
        else:
            found.append(waving(start, ahead, length, thick, shade, rng, 1.0))
    return found
