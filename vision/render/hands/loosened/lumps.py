"""Bits that are mostly area, without segments and without two equal sides: grit, leaf, crumbs, starch, dust, buds."""

import math

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, Hand
from vision.render.hands.loosened.chance import Colour, Points, between, chance, choose_colour, fourier, skewed
from vision.render.hands.loosened.kinds import (
    AMBER,
    BLACK,
    BROWN,
    CREAM,
    GREEN,
    GREY,
    LIME,
    OLIVE,
    PINK,
    RED,
    TAN,
    WHITE,
    YELLOW,
)  # fmt: skip
from vision.render.hands.loosened.patch import Patch, dissolve, round_patch, span_mm, tear
from vision.render.hands.loosened.strands import Strand, jointed, lay_strands, reach_mm, waving
from vision.render.hands.loosened.textures import Look, choose_patterns, make_bounds, paint
from vision.render.hands.loosened.threads import stuck_strands

_ROUND = np.linspace(0, 1, 96, endpoint=False)


def _ragged(rng: np.random.Generator, strength: float, orders: int, decay: float) -> Points:
    """Rim (96,) of a ragged round."""
    return np.asarray(np.clip(1 + fourier(_ROUND, rng, strength, orders, decay), 0.3, 1.9), dtype=np.float64)


def _angular(rng: np.random.Generator) -> Points:
    """Rim (96,) of a many-cornered stone: the nearest of some straight cuts."""
    count = int(rng.integers(3, 9))
    facing = (np.arange(count) + rng.normal(0, 0.2, count)) / count * 2 * math.pi
    cuts = between(rng, (0.6, 0.8)) * np.exp(rng.normal(0, 0.15, count))
    lean = np.cos(_ROUND[:, None] * 2 * math.pi - facing[None, :])
    away = np.where(lean > 0.05, cuts[None, :] / np.maximum(lean, 0.05), 9.0)
    return np.asarray(np.minimum(away.min(axis=1), 1.3), dtype=np.float64)


def _look(
    colours: tuple[Colour, ...], likely: dict[str, float], opacity: tuple[float, float], rng: np.random.Generator
) -> Look:
    """A look without segments, its patterns run along no axis but that of the bit itself."""
    patterns = choose_patterns(rng, likely)
    accents = (BROWN, BLACK, RED, CREAM, YELLOW, GREEN)
    colour = choose_colour(rng, colours)
    return Look(colour, between(rng, opacity), between(rng, (0.1, 1.1)), make_bounds(1, rng, 0), 0, patterns, accents)


def _one(
    hand: Hand,
    half_mm: tuple[float, float],
    rim: Points,
    look: Look,
    strays: list[Strand],
    harm: float,
    rng: np.random.Generator,
) -> Lent:
    """Draw one lump with what sticks to it, torn or half dissolved now and then."""
    canvas = Canvas(max(max(half_mm) * float(rim.max()), reach_mm(strays)) + 0.15, hand, rng)
    shade = np.clip(look.colour * skewed(rng, (0.2, 1.3)), 0.01, 0.8)
    behind = chance(rng, 0.5)
    if behind:
        lay_strands(canvas, strays, shade, rng)
    patch = round_patch(canvas, np.zeros(2), half_mm, between(rng, (0, 3)), rim)
    patch = tear(patch, rng) if chance(rng, harm) else patch
    patch = dissolve(patch, rng) if chance(rng, 0.12) else patch
    paint(canvas, patch, look, rng)
    if not behind:
        lay_strands(canvas, strays, shade, rng)
    return canvas.finish(*span_mm([patch]), False)


def draw_grit(hand: Hand, rng: np.random.Generator) -> Lent:
    """A grain of sand or grit: glassy, milky or dark, with faces."""
    size = skewed(rng, (0.06, 0.6))
    likely = {"facets": 0.75, "rim": 0.5, "mottling": 0.3, "grains": 0.3, "core": 0.25, "spots": 0.15, "net": 0.15}
    look = _look((GREY, WHITE, AMBER, BLACK, TAN, RED, CREAM), likely, (0.35, 0.99), rng)
    return _one(hand, (size, size * between(rng, (0.5, 1))), _angular(rng), look, [], 0.05, rng)


def draw_leaf_bit(hand: Hand, rng: np.random.Generator) -> Lent:
    """A torn bit of leaf with veins."""
    size = skewed(rng, (0.25, 1.8))
    rim = _ragged(rng, between(rng, (0.08, 0.25)), 14, 0.8)
    half = size, size * between(rng, (0.3, 0.9))
    veins = []
    heading, wide = between(rng, (0, 6)), between(rng, (0.012, 0.04))
    for number in range(int(rng.integers(0, 6))):
        start = np.array([math.cos(heading), math.sin(heading)]) * half[1] * between(rng, (-0.7, 0.3))
        ahead = heading + (0 if number == 0 else (1 if number % 2 else -1) * between(rng, (0.4, 1.0)))
        veins.append(waving(start, ahead, half[1] * between(rng, (0.4, 0.9)), wide, between(rng, (0.2, 0.7)), rng, 0.3))
    likely = {
        "net": 0.5,
        "mottling": 0.6,
        "fat": 0.3,
        "slope": 0.3,
        "grains": 0.4,
        "rim": 0.25,
        "spots": 0.25,
        "streaks": 0.2,
    }
    look = _look((GREEN, LIME, OLIVE, YELLOW, BROWN, TAN, GREEN), likely, (0.25, 0.92), rng)
    return _one(hand, half, rim, look, veins, 0.6, rng)


def draw_crumb(hand: Hand, rng: np.random.Generator) -> Lent:
    """A crumb of soil or a frass pellet: several ragged grains stuck together."""
    size = skewed(rng, (0.08, 0.7))
    count = int(rng.integers(1, 7))
    strays = stuck_strands(size * 1.6, rng) if chance(rng, 0.3) else []
    canvas = Canvas(max(size * 3.2, reach_mm(strays)) + 0.1, hand, rng)
    likely = {"mottling": 0.6, "grains": 0.5, "fat": 0.3, "spots": 0.3, "rim": 0.2, "facets": 0.2, "core": 0.2}
    look = _look((BROWN, BLACK, OLIVE, TAN, GREY, AMBER, BROWN), likely, (0.4, 0.99), rng)
    lay_strands(canvas, strays, np.asarray(look.colour * 0.7), rng)
    patches: list[Patch] = []
    for _ in range(count):
        place = rng.normal(0, 0.4 * size, 2).clip(-size, size) if count > 1 else np.zeros(2)
        part = size * between(rng, (0.35, 0.9))
        rim = _ragged(rng, between(rng, (0.05, 0.2)), 16, 0.7)
        patch = round_patch(canvas, place, (part, part * between(rng, (0.5, 1))), between(rng, (0, 3)), rim)
        paint(canvas, patch, look, rng)
        patches.append(patch)
    return canvas.finish(*span_mm(patches), False)


def draw_starch(hand: Hand, rng: np.random.Generator) -> Lent:
    """A whitish smear, or a ring left where a drop dried."""
    size = skewed(rng, (0.12, 1.0))
    rim = _ragged(rng, between(rng, (0.05, 0.25)), 8, 0.9)
    likely = {"mottling": 0.7, "fat": 0.4, "rim": 0.7, "grains": 0.5, "core": 0.35, "slope": 0.4, "net": 0.25}
    look = _look((WHITE, CREAM, WHITE, GREY, LIME, PINK), likely, (0.1, 0.6), rng)
    return _one(hand, (size, size * between(rng, (0.3, 1))), rim, look, [], 0.35, rng)


def draw_dust(hand: Hand, rng: np.random.Generator) -> Lent:
    """A few specks and flecks near each other."""
    count = int(rng.integers(1, 8))
    spread = between(rng, (0.03, 0.3)) if count > 1 else 0.0
    canvas = Canvas(spread * 3 + 0.4, hand, rng)
    likely = {"mottling": 0.3, "rim": 0.3, "slope": 0.3, "facets": 0.2}
    look = _look((BLACK, BROWN, GREY, TAN, WHITE, RED, GREEN), likely, (0.3, 0.98), rng)
    patches: list[Patch] = []
    for _ in range(count):
        place = rng.normal(0, max(spread, 0.001), 2).clip(-2 * spread, 2 * spread)
        size = skewed(rng, (0.04, 0.13))
        rim = _ragged(rng, 0.15, 6, 0.8) if chance(rng, 0.6) else _angular(rng)
        patch = round_patch(canvas, place, (size, size * between(rng, (0.3, 1))), between(rng, (0, 3)), rim)
        paint(canvas, patch, look, rng)
        patches.append(patch)
    return canvas.finish(*span_mm(patches), False)


def draw_bud(hand: Hand, rng: np.random.Generator) -> Lent:
    """A round to oval bud with a stub of stalk; the measured body is the bud without it."""
    size = skewed(rng, (0.15, 1.1))
    half = size, size * between(rng, (0.5, 1))
    rim = _ragged(rng, between(rng, (0.01, 0.06)), 7, 0.8)
    start = np.array([half[1] * 0.8, 0.0])
    stub = jointed(start, rng.normal(0, 0.4), size * between(rng, (0.2, 0.9)), int(rng.integers(1, 3)),
                   size * between(rng, (0.12, 0.4)), between(rng, (0.5, 1)), rng, 0, 0.3)  # fmt: skip
    strays = [stub] if chance(rng, 0.85) else []
    if chance(rng, 0.25):
        strays = strays + stuck_strands(size * 1.5, rng)
    likely = {"streaks": 0.4, "net": 0.35, "mottling": 0.4, "rim": 0.4, "core": 0.45, "slope": 0.4, "bands": 0.3,
              "fat": 0.2, "spots": 0.2, "embryos": 0.15, "grains": 0.3}  # fmt: skip
    look = _look((GREEN, LIME, OLIVE, YELLOW, BROWN, CREAM, WHITE, PINK), likely, (0.4, 0.97), rng)
    return _one(hand, half, rim, look, strays, 0.1, rng)
