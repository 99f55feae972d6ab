"""Bubbles and drops: clear rounds that bend light instead of holding it back."""

import math

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.loosened.canvas import Canvas, Hand
from vision.render.hands.loosened.chance import Points, between, chance, choose_colour, fourier, mottle, rise, skewed
from vision.render.hands.loosened.patch import Patch, round_patch, span_mm


def draw_bubble(hand: Hand, rng: np.random.Generator) -> Lent:
    """One to four air bubbles that touch: dark rings with bright middles."""
    count = int(rng.choice(4, p=(0.55, 0.22, 0.14, 0.09))) + 1
    size = skewed(rng, (0.06, 0.7)) if count == 1 else skewed(rng, (0.06, 0.35))
    radii = size * np.exp(rng.normal(0, 0.3, count))
    places = [np.zeros(2)]
    angle = between(rng, (0, 6))
    for number in range(1, count):
        angle += rng.normal(0, 0.7)
        away = (radii[number - 1] + radii[number]) * between(rng, (0.8, 1.02))
        places.append(places[-1] + away * np.array([math.cos(angle), math.sin(angle)]))
    middles = np.array(places) - np.mean(places, axis=0)
    canvas = Canvas(float(np.hypot(*middles.T).max() + radii.max() * 1.5 + 0.1), hand, rng)
    wall, dark = skewed(rng, (2.2, 14)), between(rng, (0.7, 6))
    waver = 0.0 if chance(rng, 0.5) else between(rng, (0.01, 0.06))
    patches = []
    for middle, radius in zip(middles, radii, strict=True):
        patch = _clear_round(canvas, middle, float(radius), between(rng, (0.86, 1)), waver, rng)
        _lens(canvas, patch, wall, dark, between(rng, (0.9, 1.15)), np.array([0.5, 0.5, 0.5]), rng)
        patches.append(patch)
    return canvas.finish(*span_mm(patches), False)


def draw_drop(hand: Hand, rng: np.random.Generator) -> Lent:
    """A drop of water, oil or sap: a soft uneven rim, a tint, and sometimes clouds within."""
    radius = skewed(rng, (0.1, 1.0))
    canvas = Canvas(radius * 1.9 + 0.1, hand, rng)
    patch = _clear_round(canvas, np.zeros(2), radius, between(rng, (0.45, 1)), between(rng, (0.02, 0.13)), rng)
    tint = choose_colour(rng, ((0.6, 0.6, 0.6), (0.7, 0.55, 0.2), (0.4, 0.5, 0.2), (0.5, 0.25, 0.08)))
    _lens(canvas, patch, skewed(rng, (1.2, 6)), between(rng, (0.2, 1.5)), between(rng, (0.75, 1.1)), tint, rng)
    return canvas.finish(*span_mm([patch]), False)


def _clear_round(
    canvas: Canvas, middle_mm: Points, radius_mm: float, slim: float, waver: float, rng: np.random.Generator
) -> Patch:
    """A nearly round patch with a wavering rim."""
    rim = np.clip(1 + fourier(np.linspace(0, 1, 64, endpoint=False), rng, waver, 4), 0.5, 1.5)
    return round_patch(canvas, middle_mm, (radius_mm, radius_mm * slim), between(rng, (0, 3)), rim)


def _lens(
    canvas: Canvas, patch: Patch, wall: float, dark: float, bright: float, tint: Points, rng: np.random.Generator
) -> None:
    """Lay a clear round: the dark grows toward the rim as a power `wall`; `bright` is the middle's passing."""
    if patch.u.size == 0:
        return
    hand = canvas.hand
    share = np.sqrt(np.clip(1 - patch.thick**2, 0, 1))
    lit = (patch.u - 0.5) * 2 * hand.toward[0] + patch.t * hand.toward[1]
    uneven = 1 + between(rng, (0, 0.7)) * lit + between(rng, (0, 0.4)) * mottle(patch.u, patch.t, rng, 3)
    density = dark * share**wall * np.clip(uneven, 0.1, 2)
    clear = bright - (bright - 1) * share
    through = clear[:, None] * np.exp(-density[:, None] * (1.5 - tint)) * (1 - 0.35 * (0.6 - tint).clip(0, 1))
    own = np.zeros_like(through)
    own += (0.25 * hand.lamp * share**wall * between(rng, (0, 0.6)))[:, None] * tint
    for _ in range(int(rng.integers(0, 3))):
        place = rng.uniform(-0.6, 0.6, 2)
        away = np.hypot((patch.u - 0.5) * 2 - place[0], patch.t - place[1]).astype(np.float32)
        wide = between(rng, (0.08, 0.3))
        own += (rise(away, wide, wide * 0.4) * between(rng, (0.2, 0.9)) * hand.lamp)[:, None]
    where = patch.rows, patch.cols
    canvas.lay(where, patch.cover, np.clip(through, 0, 1.15).astype(np.float32), own.astype(np.float32))
    canvas.cover_body(where, patch.cover)
