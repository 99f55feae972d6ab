"""Whole insects: a chain of segments along a bow, with limbs, in a random condition."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, draw_hand
from vision.render.hands.loosened.chance import Points, between, chance, choose_colour, fourier, skewed
from vision.render.hands.loosened.kinds import BLACK, BROWN, KINDS, TAN, Ranges
from vision.render.hands.loosened.limbs import Build, feelers, hairs, legs, stubs, tubes
from vision.render.hands.loosened.patch import Bow, chain_patch, dissolve, make_bow, measure, round_patch, tear
from vision.render.hands.loosened.strands import lay_strands, reach_mm
from vision.render.hands.loosened.textures import Look, choose_patterns, make_bounds, paint
from vision.render.hands.loosened.wings import lay_wings, make_wings, wings_reach_mm


@dataclass(frozen=True)
class Condition:
    """What became of the animal in the water, the pan or the wash."""

    fade: float
    roast: float
    swell: float
    wrinkle: float
    torn: bool
    dissolved: bool
    leak: bool
    lost: float
    limb_opacity: float


def draw_condition(rng: np.random.Generator) -> Condition:
    """A random condition; about half of all animals are nearly whole."""
    fate = rng.random()
    soaked, roasted, squashed = fate < 0.2, 0.2 <= fate < 0.36, 0.36 <= fate < 0.5
    return Condition(
        fade=between(rng, (0.25, 0.6)) if soaked else 1.0,
        roast=between(rng, (0.3, 1.0)) if roasted else 0.0,
        swell=between(rng, (1.05, 1.4)) if soaked or squashed else between(rng, (0.75, 1)) if roasted else 1.0,
        wrinkle=skewed(rng, (0.03, 0.12)) if roasted or squashed else skewed(rng, (0.003, 0.035)),
        torn=chance(rng, 0.3 if squashed else 0.05),
        dissolved=chance(rng, 0.5 if soaked else 0.06),
        leak=chance(rng, 0.6 if squashed else 0.04),
        lost=between(rng, (0.2, 0.8)) if chance(rng, 0.3) else between(rng, (0, 0.12)),
        limb_opacity=between(rng, (0.2, 0.6)) if soaked else between(rng, (0.45, 1.0)),
    )


def widths_mm(
    ranges: Ranges, width_mm: float, bounds: Points, state: Condition, lopsided: float, rng: np.random.Generator
) -> tuple[Points, Points]:
    """Half-widths (200,) in mm on the left and on the right at even steps along the body."""
    u = np.linspace(0, 1, 200)
    profile = np.array(ranges.profiles[int(rng.integers(0, len(ranges.profiles)))])
    profile = profile * np.exp(rng.normal(0, 0.05, len(profile)))
    half = np.asarray(PchipInterpolator(np.linspace(0, 1, len(profile)), profile / profile.max())(u))
    segment = np.clip(np.searchsorted(bounds, u) - 1, 0, len(bounds) - 2)
    middle = (bounds[1:] + bounds[:-1]) / 2
    sizes = np.exp(rng.normal(0, 0.03, len(middle)))
    half = half * np.interp(u, middle, sizes)
    within = (u - bounds[segment]) / (bounds[segment + 1] - bounds[segment])
    half = half * (1 - between(rng, ranges.scallop) * np.abs(2 * within - 1) ** between(rng, (1.5, 5)))
    for end, place in zip(ranges.ends, (u, 1 - u), strict=True):
        # Rounding of one end must leave room for that of the other.
        room = min(max(between(rng, end), 0.02), 0.49)
        half = half * np.sqrt(1 - np.clip(1 - place / room, 0, 1) ** 2)
    sides = []
    for sign in (-1, 1):
        wave = fourier(u * 0.5, rng, state.wrinkle, 9, 0.6)
        sides.append(np.clip(half * (1 + sign * lopsided) * (1 + wave), 0.0, None))
    most = float((sides[0] + sides[1]).max())
    return sides[0] * width_mm / most, sides[1] * width_mm / most


def _bend(ranges: Ranges, length_mm: float, width_mm: float, rng: np.random.Generator) -> Bow:
    """The middle line; it never turns tighter than the body is thick."""
    turn = between(rng, ranges.turns) if chance(rng, ranges.bowed) else between(rng, (0, ranges.turns[0]))
    shape = ("C", "J", "S")[int(rng.choice(3, p=(0.5, 0.25, 0.25)))]
    turn = min(turn, (1.1 if shape == "C" else 0.7) * length_mm / width_mm)
    return make_bow(length_mm, turn, shape, min(0.12 * turn, 0.15), rng)


def draw_creature(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """One insect of a kind named in KINDS."""
    ranges = KINDS[kind]
    hand = draw_hand(below, rng)
    state = draw_condition(rng)
    length = skewed(rng, ranges.length_mm)
    width = length * between(rng, ranges.aspect) * state.swell
    view = ("above", "side", "under")[int(rng.choice(3, p=ranges.sides))]
    lopsided = between(rng, (0.08, 0.35)) if view == "side" else float(rng.normal(0, 0.03))
    bounds = make_bounds(int(rng.integers(ranges.segments[0], ranges.segments[1] + 1)), rng, between(rng, (0.03, 0.2)))
    bow = _bend(ranges, length, width, rng)
    left, right = widths_mm(ranges, width, bounds, state, lopsided, rng)
    build = Build(bow, left, right, view, state.lost, state.limb_opacity)
    colour = choose_colour(rng, ranges.palette)
    burnt = choose_colour(rng, (BROWN, TAN, BLACK, BROWN))
    colour = colour * (1 - state.roast) + burnt * state.roast
    # Limbs are paler, alike or darker than the body; black ones on pale bodies are common.
    limb_colour = np.clip(colour * skewed(rng, (0.15, 1.6)), 0.01, 0.85)
    limb_lots = [legs(ranges, build, rng), tubes(ranges, build, rng)]
    stub_lot = stubs(ranges, build, rng)
    feeler_lot, hair_lot = feelers(ranges, build, rng), hairs(ranges, build, rng)
    wings = make_wings(ranges.wing, bow, width, view == "side", rng) if chance(rng, ranges.winged) else []
    everything = [s for lot in (*limb_lots, stub_lot, feeler_lot, hair_lot) for s in lot]
    half = max(float(np.hypot(*bow.places_mm.T).max()) + width, reach_mm(everything), wings_reach_mm(wings))
    canvas = Canvas(half + 0.15, hand, rng)
    blade, vein = choose_colour(rng, ((0.6, 0.6, 0.55), (0.4, 0.35, 0.25))), np.clip(colour * 0.6, 0.01, 0.5)
    if state.leak:
        _leak(canvas, build, width, colour, rng)
    wings_behind = view == "under" or (view == "side" and chance(rng, 0.4))
    if wings_behind:
        lay_wings(canvas, wings, blade, vein, rng)
    over = view == "under"
    lay_strands(canvas, hair_lot + ([] if over else limb_lots[0]), limb_colour, rng)
    lay_strands(canvas, stub_lot, np.clip(colour * between(rng, (0.5, 1.1)), 0.01, 0.9), rng)
    patch = chain_patch(canvas, bow, left, right)
    if state.torn:
        torn = tear(patch, rng)
        patch = torn if float(torn.cover.sum()) > 0.4 * float(patch.cover.sum()) else patch
    elif state.dissolved:
        patch = dissolve(patch, rng)
    patterns = choose_patterns(rng, ranges.patterns)
    opacity = max(between(rng, ranges.opacity) * state.fade, 0.12)
    flat = between(rng, (0.3, 1.2)) if kind != "skin" else between(rng, (0.0, 0.4))
    unlike = between(rng, (0.02, 0.3))
    look = Look(colour, opacity, flat, bounds, unlike, patterns, ranges.accents)
    paint(canvas, patch, look, rng)
    if not state.torn and chance(rng, ranges.cap):
        _cap(canvas, build, ranges, width, colour, rng)
    lay_strands(canvas, feeler_lot + limb_lots[1] + (limb_lots[0] if over else []), limb_colour, rng)
    if not state.torn and chance(rng, ranges.eyes):
        _eyes(canvas, build, rng)
    if not wings_behind:
        lay_wings(canvas, wings, blade, vein, rng)
    length_mm, width_mm = measure(patch, bow)
    chord = float(np.hypot(*(bow.places_mm[-1] - bow.places_mm[0])))
    return canvas.finish(length_mm, width_mm, chord < 0.93 * length)


def _cap(
    canvas: Canvas, build: Build, ranges: Ranges, width_mm: float, colour: Points, rng: np.random.Generator
) -> None:
    """A hard head: the front of the body once more, darker and glossier, with its own outline."""
    share = between(rng, ranges.cap_share)
    u = np.linspace(0, 1, 200)
    # The cap ends where the body goes on, so its half-width falls to nothing there.
    end = np.sqrt(np.clip(1 - (u / share) ** between(rng, (3, 8)), 0, 1))
    swell = between(rng, (0.92, 1.12))
    patch = chain_patch(canvas, build.bow, build.left_mm * end * swell, build.right_mm * end * swell)
    shade = choose_colour(rng, (BLACK, BROWN, TAN, (0.4, 0.2, 0.05), BLACK))
    if chance(rng, 0.15):
        shade = np.clip(colour * 0.6, 0.01, 0.8)
    patterns = choose_patterns(rng, {"spots": 0.3, "slope": 0.4, "mottling": 0.2, "rim": 0.3})
    paint(canvas, patch, Look(shade, between(rng, (0.5, 0.98)), 0.5, np.array([0.0, 1.0]), 0.0, patterns), rng)


def _eyes(canvas: Canvas, build: Build, rng: np.random.Generator) -> None:
    """Dark or red dots near the front; one when seen from the side."""
    u = between(rng, (0.04, 0.09))
    shade = choose_colour(rng, (BLACK, BLACK, (0.25, 0.03, 0.02)))
    size = between(rng, (0.018, 0.035)) * (0.6 + 0.4 * build.bow.length_mm)
    for side in (-1, 1) if build.view != "side" else (1,):
        middle = build.edge(u, side, between(rng, (0.6, 0.9)) if build.view != "side" else 0.2)
        patch = round_patch(canvas, middle, (size, size * between(rng, (0.6, 1))), float(rng.random() * 3), np.ones(8))
        paint(
            canvas, patch, Look(shade, between(rng, (0.6, 0.99)), 0.4, np.array([0.0, 1.0]), 0.0, ()), rng, solid=False
        )


def _leak(canvas: Canvas, build: Build, width_mm: float, colour: Points, rng: np.random.Generator) -> None:
    """A pale puddle of what was inside, under part of the body; no part of the measured body."""
    rim = np.clip(1 + fourier(np.linspace(0, 1, 64, endpoint=False), rng, 0.18, 6), 0.4, 1.8)
    size = width_mm * between(rng, (0.35, 0.8)), width_mm * between(rng, (0.25, 0.6))
    middle = build.edge(between(rng, (0.2, 1.0)), 1 if chance(rng, 0.5) else -1, 0.8)
    patch = round_patch(canvas, middle, size, between(rng, (0, math.pi)), rim)
    patterns = choose_patterns(rng, {"mottling": 0.6, "fat": 0.5, "rim": 0.4, "grains": 0.4})
    look = Look(np.clip(colour * 1.3, 0.02, 0.9), between(rng, (0.1, 0.4)), 0.5, np.array([0.0, 1.0]), 0.0, patterns)
    paint(canvas, patch, look, rng, solid=False)
