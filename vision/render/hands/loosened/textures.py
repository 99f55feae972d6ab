"""The grammar of textures: one set of patterns dresses insects and bits alike; kinds only change how likely each is."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.loosened.canvas import Canvas
from vision.render.hands.loosened.chance import Colour, Points, between, chance, choose_colour, mottle, rise
from vision.render.hands.loosened.patch import Patch
from vision.types import FloatArray

PALE: tuple[Colour, ...] = ((0.8, 0.78, 0.7), (0.8, 0.7, 0.4), (0.6, 0.68, 0.4))
DARK: tuple[Colour, ...] = ((0.03, 0.025, 0.02), (0.12, 0.05, 0.02), (0.06, 0.08, 0.02), (0.2, 0.06, 0.03))


@dataclass(frozen=True)
class Look:
    """What a patch is made of: colour (3,), opacity 0..1, flatness of its thickness, segment bounds and patterns."""

    colour: Points
    opacity: float
    flatness: float
    bounds: Points
    unlike: float
    patterns: tuple[str, ...]
    accents: tuple[Colour, ...] = PALE + DARK


def choose_patterns(rng: np.random.Generator, likely: Mapping[str, float]) -> tuple[str, ...]:
    """Names of the patterns that happen, in random order, from how likely each is."""
    names = [name for name, share in likely.items() if chance(rng, share)]
    return tuple(str(name) for name in rng.permutation(names)) if names else ()


def make_bounds(count: int, rng: np.random.Generator, uneven: float) -> Points:
    """Bounds (count + 1,) of segments along 0..1, more or less even."""
    sizes = np.exp(rng.normal(0, uneven, max(count, 1)))
    return np.asarray(np.concatenate([[0.0], np.cumsum(sizes) / sizes.sum()]), dtype=np.float64)


def _bands(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Cross bands, one to a segment (or free ones where there are none), straight, bowed or broken."""
    phase = _phase(patch, look) if len(look.bounds) > 2 else patch.u * np.float32(between(rng, (2, 9)))
    phase = phase + np.float32(between(rng, (-0.3, 0.3))) * patch.t**2 + np.float32(rng.random())
    wave = np.abs((phase % 1) - 0.5) * 2
    mask = rise(wave.astype(np.float32), 1 - between(rng, (0.1, 0.7)), 1 - between(rng, (0.0, 0.05)))
    if chance(rng, 0.4):
        mask = mask * rise(np.abs(patch.t), *((0.2, 0.35) if chance(rng, 0.5) else (0.8, 0.5)))
    return mask


def _rings(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Thin lines at the bounds of segments."""
    phase = _phase(patch, look) + np.float32(between(rng, (-0.2, 0.2))) * patch.t**2
    return rise(np.abs((phase + 0.5) % 1 - 0.5).astype(np.float32), between(rng, (0.12, 0.3)), 0.02)


def _spots(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Round spots: strewn, in rows along the body, or in pairs."""
    mask = np.zeros_like(patch.u)
    long = float(np.ptp(patch.x_mm) + np.ptp(patch.y_mm)) / 2 / max(patch.half_mm, 0.02)
    count = int(rng.integers(2, 14))
    size = between(rng, (0.08, 0.3))
    rows = chance(rng, 0.5)
    off = between(rng, (0.0, 0.6))
    for number in range(count):
        u = (number + 0.5) / count if rows else float(rng.random())
        t = off * (1 if number % 2 else -1) if rows else between(rng, (-0.8, 0.8))
        away = np.hypot((patch.u - u) * long, patch.t - t) / (size * math.exp(rng.normal(0, 0.3)))
        mask = np.maximum(mask, rise(away.astype(np.float32), 1.15, between(rng, (0.4, 1.0))))
    return mask


def _streaks(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Stripes along, wavering, paired or single."""
    mask = np.zeros_like(patch.u)
    waver = mottle(patch.u, patch.t, rng, between(rng, (2, 9))) * np.float32(between(rng, (0, 0.15)))
    for _ in range(int(rng.integers(1, 4))):
        place = between(rng, (0, 0.85))
        wide = between(rng, (0.04, 0.22))
        across = np.abs(patch.t) if chance(rng, 0.8) else patch.t
        mask = np.maximum(mask, rise(np.abs(across + waver - place).astype(np.float32), wide, wide * 0.4))
    return mask


def _mottling(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Clouds and blotches in two sizes."""
    cells = between(rng, (1.2, 4)) / max(patch.half_mm, 0.03)
    grain = mottle(patch.x_mm, patch.y_mm, rng, cells) + 0.5 * mottle(patch.x_mm, patch.y_mm, rng, cells * 2.3)
    start = between(rng, (-0.5, 0.4))
    return rise(grain, start, start + between(rng, (0.05, 0.9)))


def _grains(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Fine grain all over."""
    return rise(mottle(patch.x_mm, patch.y_mm, rng, between(rng, (9, 25))), -0.6, 0.8)


def _gut(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """A beaded line down the middle, over part of the length."""
    waver = mottle(patch.u, patch.u * 0, rng, between(rng, (3, 12)))
    wide = (0.08 + 0.35 * rng.random()) * (1 + 0.6 * waver)
    middle = between(rng, (-0.3, 0.3)) + 0.25 * mottle(patch.u, patch.u * 0, rng, between(rng, (2, 5)))
    start, end = between(rng, (-0.1, 0.4)), between(rng, (0.55, 1.1))
    ends = rise(patch.u, start, start + 0.1) * rise(patch.u, end, end - 0.1)
    return rise((np.abs(patch.t - middle) / np.maximum(wide, 0.03)).astype(np.float32), 1.3, 0.5) * ends


def _fat(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Many small rounded lumps, as of fat or starch seen through a skin."""
    grain = mottle(patch.x_mm, patch.y_mm, rng, between(rng, (2.5, 6)) / max(patch.half_mm, 0.03))
    return rise(np.abs(grain), between(rng, (0.2, 0.35)), 0.05)


def _embryos(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Long ovals packed in the rear two thirds."""
    mask = np.zeros_like(patch.u)
    for _ in range(int(rng.integers(2, 8))):
        u, t, lean = between(rng, (0.4, 0.85)), between(rng, (-0.55, 0.55)), rng.normal(0, 0.4)
        du, dt = (patch.u - u) * 3.2, patch.t - t
        along, across = du * math.cos(lean) + dt * math.sin(lean), dt * math.cos(lean) - du * math.sin(lean)
        away = np.hypot(along / between(rng, (0.25, 0.45)), across / between(rng, (0.1, 0.2)))
        mask = np.maximum(mask, rise(away.astype(np.float32), 1.2, 0.7))
    return mask


def _rim(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """A line or a soft shade along the outline."""
    return rise(patch.thick / max(float(patch.thick.max()), 1e-3), between(rng, (0.3, 0.75)), between(rng, (0.0, 0.25)))


def _core(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """A large soft inner body, off the middle."""
    u, t, wide = between(rng, (0.3, 0.75)), between(rng, (-0.25, 0.25)), between(rng, (0.18, 0.4))
    grain = 0.3 * mottle(patch.u, patch.t, rng, 3)
    away = np.hypot((patch.u - u) / wide, (patch.t - t) / (1.8 * wide)) + grain
    return rise(away.astype(np.float32), 1.2, between(rng, (0.2, 0.9)))


def _pairs(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """One large blotch on each flank."""
    u, t, size = between(rng, (0.35, 0.6)), between(rng, (0.35, 0.6)), between(rng, (0.12, 0.32))
    away = np.hypot((patch.u - u) * 1.4, np.abs(patch.t) - t) / size + 0.4 * mottle(patch.u, patch.t, rng, 6)
    return rise(away.astype(np.float32), 1.1, 0.7)


def _slope(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """From one end or one side to the other."""
    place = patch.u if chance(rng, 0.6) else patch.t * 0.5 + 0.5
    return rise(place, *((0.0, 1.0) if chance(rng, 0.5) else (1.0, 0.3)))


def _facets(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Flat faces of unlike brightness."""
    count = int(rng.integers(3, 10))
    places = rng.uniform(-0.8, 0.8, (count, 2)).astype(np.float32)
    away = np.stack([np.hypot(patch.u * 2 - 1 - a, patch.t - b) for a, b in places])
    return np.asarray(rng.random(count)[away.argmin(axis=0)], dtype=np.float32)


def _net(patch: Patch, look: Look, rng: np.random.Generator) -> FloatArray:
    """Wrinkles or a net: lines where two random fields cross zero."""
    cells = between(rng, (2, 7)) / max(patch.half_mm, 0.05)
    return rise(np.abs(mottle(patch.x_mm, patch.y_mm, rng, cells)), between(rng, (0.08, 0.25)), 0.0)


_PATTERNS: dict[str, Callable[[Patch, Look, np.random.Generator], FloatArray]] = {
    "bands": _bands, "rings": _rings, "spots": _spots, "streaks": _streaks, "mottling": _mottling,
    "grains": _grains, "gut": _gut, "fat": _fat, "embryos": _embryos, "rim": _rim, "core": _core,
    "pairs": _pairs, "slope": _slope, "facets": _facets, "net": _net,
}  # fmt: skip
# Patterns that mostly darken and thicken, and those that mostly do the reverse; all others go either way.
_DARKER = {"gut": 0.85, "core": 0.75, "pairs": 0.9, "rim": 0.7, "embryos": 0.6, "fat": 0.15}


def paint(canvas: Canvas, patch: Patch, look: Look, rng: np.random.Generator, solid: bool = True) -> None:
    """Dress a patch in its look and lay it on the canvas; a solid one counts as body."""
    if patch.u.size == 0:
        return
    hand = canvas.hand
    colour = np.tile(look.colour.astype(np.float32), (patch.u.size, 1))
    density = np.maximum(patch.thick, 0.03) ** np.float32(look.flatness)
    if len(look.bounds) > 2:
        segment = np.clip(np.searchsorted(look.bounds, patch.u) - 1, 0, len(look.bounds) - 2)
        shake = rng.normal(0, look.unlike, (len(look.bounds) - 1, 4)).astype(np.float32)
        colour *= np.exp(0.5 * shake[segment, :3] + 0.4 * shake[segment, 3:])
        density = density * np.exp(-shake[segment, 3])
    for name in look.patterns:
        mask = _PATTERNS[name](patch, look, rng) * np.float32(between(rng, (0.3, 1)) * hand.boldness)
        darker = chance(rng, _DARKER.get(name, 0.55))
        target = _accent(look, darker, rng)
        colour += mask[:, None] * (target - colour)
        density = density * (1 + mask * np.float32(between(rng, (0.4, 2.5)) if darker else between(rng, (-0.75, 0.3))))
    peak = -math.log(1 - 0.985 * look.opacity) * (1.0 if hand.below else 1.6)
    lay_dense(canvas, patch, np.clip(colour, 0.005, 0.95), density * np.float32(peak))
    if solid:
        canvas.cover_body((patch.rows, patch.cols), patch.cover)


def lay_dense(canvas: Canvas, patch: Patch, colour: FloatArray, density: FloatArray) -> None:
    """Turn colour (n, 3) and density (n,) into light let through and thrown back, shaded as something round."""
    hand = canvas.hand
    take = hand.greyness + (1 - hand.greyness) * 1.7 * (1 - colour)
    through = np.exp(-density[:, None] * take)
    slope_x, slope_y = _slopes(patch, canvas.scale)
    lit = slope_x * hand.toward[0] + slope_y * hand.toward[1]
    shade = np.clip(1 - 0.45 * hand.relief + hand.relief * lit, 0.15, 1.3)
    own = colour * (hand.lamp * shade * (1 - np.exp(-density * hand.scatter)))[:, None]
    if hand.gloss:
        away = (slope_x - 0.45 * hand.toward[0]) ** 2 + (slope_y - 0.45 * hand.toward[1]) ** 2
        own = own + (hand.gloss * hand.lamp * np.exp(-away / 0.03) * np.minimum(density, 1))[:, None]
    lay = np.asarray(own, dtype=np.float32)
    canvas.lay((patch.rows, patch.cols), patch.cover, np.asarray(through, dtype=np.float32), lay)


def _slopes(patch: Patch, scale: float) -> tuple[FloatArray, FloatArray]:
    """Downhill slope (n,) of the rounded surface along x and y, each about -1..1."""
    top, left = int(patch.rows.min()), int(patch.cols.min())
    height = np.zeros((int(patch.rows.max()) - top + 1, int(patch.cols.max()) - left + 1), dtype=np.float32)
    height[patch.rows - top, patch.cols - left] = patch.thick * patch.cover
    height = np.asarray(cv2.blur(height, (3, 3)), dtype=np.float32)
    factor = np.float32(patch.half_mm * scale * 0.5)
    x = -cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=0.25)[patch.rows - top, patch.cols - left] * factor
    y = -cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=0.25)[patch.rows - top, patch.cols - left] * factor
    return np.asarray(np.tanh(x), dtype=np.float32), np.asarray(np.tanh(y), dtype=np.float32)


def _phase(patch: Patch, look: Look) -> FloatArray:
    """Segment number plus share of it, so that bounds fall on whole numbers."""
    return np.asarray(np.interp(patch.u, look.bounds, np.arange(len(look.bounds))), dtype=np.float32)


def _accent(look: Look, darker: bool, rng: np.random.Generator) -> FloatArray:
    """A colour (3,) of a pattern: the ground's own shade, or one of the accents."""
    if chance(rng, 0.6):
        factor = between(rng, (0.12, 0.6)) if darker else between(rng, (1.2, 2.2))
        return np.asarray(np.clip(look.colour * factor, 0.005, 0.9), dtype=np.float32)
    palette: Sequence[Colour] = look.accents if chance(rng, 0.35) else (DARK if darker else PALE)
    return np.asarray(choose_colour(rng, palette), dtype=np.float32)
