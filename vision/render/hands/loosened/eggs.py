"""Eggs: short chains or rounds, alone, in a row or in a batch."""

import math

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, draw_hand
from vision.render.hands.loosened.chance import Points, between, chance, choose_colour, fourier, skewed
from vision.render.hands.loosened.kinds import AMBER, BLACK, BROWN, CREAM, LIME, TAN, WHITE, YELLOW
from vision.render.hands.loosened.patch import dissolve, round_patch, span_mm, tear
from vision.render.hands.loosened.textures import Look, choose_patterns, make_bounds, paint


def _places(count: int, long_mm: float, wide_mm: float, rng: np.random.Generator) -> tuple[Points, Points]:
    """Middles (count, 2) in mm and leans (count,) of the eggs of a batch: a row side by side, or a packed heap."""
    lean = rng.normal(0, between(rng, (0.05, 0.4)), count)
    step = wide_mm * between(rng, (0.9, 1.15))
    if chance(rng, 0.45):
        x = (np.arange(count) - (count - 1) / 2) * step
        return np.stack([rng.normal(0, 0.08 * long_mm, count), x + 0 * lean], axis=1), lean
    ring = np.arange(count) + 0.5
    away = np.sqrt(ring) * 0.6 * math.sqrt(long_mm * wide_mm)
    angle = ring * 2.4 + rng.normal(0, 0.2, count)
    return np.stack([away * np.cos(angle), away * np.sin(angle)], axis=1), lean + rng.random() * 3


def draw_egg(below: bool, rng: np.random.Generator) -> Lent:
    """One egg or one batch; length and width are then those of the batch."""
    hand = draw_hand(below, rng)
    count = 1 if chance(rng, 0.55) else int(rng.integers(2, 8))
    long = between(rng, (0.25, 1.0)) if count == 1 else between(rng, (0.22, 0.5))
    wide = long * between(rng, (0.28, 0.9))
    places, leans = _places(count, long, wide, rng) if count > 1 else (np.zeros((1, 2)), np.zeros(1))
    canvas = Canvas(float(np.hypot(*places.T).max()) + 0.75 * long + 0.15, hand, rng)
    colour = choose_colour(rng, (WHITE, YELLOW, TAN, BLACK, CREAM, AMBER, LIME, BROWN, WHITE))
    patterns = choose_patterns(rng, {"rim": 0.6, "core": 0.45, "fat": 0.25, "net": 0.25, "streaks": 0.25, "slope": 0.25,
                                     "bands": 0.12, "spots": 0.15, "grains": 0.25, "gut": 0.1})  # fmt: skip
    opacity, flat = between(rng, (0.25, 0.98)), between(rng, (0.2, 1.0))
    point, waver = between(rng, (-0.12, 0.12)), skewed(rng, (0.003, 0.04))
    power = between(rng, (1.6, 2.0)) if chance(rng, 0.3) else between(rng, (2.0, 2.6))
    angle = np.linspace(0, 2 * math.pi, 64, endpoint=False)
    patches = []
    for place, lean in zip(places, leans, strict=True):
        rim = (np.abs(np.cos(angle)) ** power + np.abs(np.sin(angle)) ** power) ** (-1 / power)
        rim = rim + point * np.cos(angle) + fourier(angle / 2 / math.pi, rng, waver, 5)
        # A collapsed egg has a dent in one flank.
        if chance(rng, 0.12):
            rim = rim - between(rng, (0.2, 0.5)) * np.exp(-((angle - between(rng, (1, 5))) ** 2) / 0.15)
        size = long / 2 * math.exp(rng.normal(0, 0.04)), wide / 2 * math.exp(rng.normal(0, 0.04))
        patch = round_patch(canvas, place, size, float(lean), np.clip(rim, 0.3, 1.5))
        if chance(rng, 0.08):
            patch = tear(patch, rng)
        if chance(rng, 0.1):
            patch = dissolve(patch, rng)
        shade = np.clip(colour * np.exp(rng.normal(0, 0.08)), 0.01, 0.92)
        paint(canvas, patch, Look(shade, opacity, flat, make_bounds(1, rng, 0), 0, patterns), rng)
        patches.append(patch)
    length, width = span_mm(patches)
    return canvas.finish(length, width, False)
