"""What lies in rinse water and on panels and is no insect. Sizes and colours: common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.interpolate import CubicSpline

from vision.render.bubbles import draw_bubble, draw_drop
from vision.render.canvas import Canvas, disc, mottle, open_canvas, polygon, strokes, tube
from vision.render.outlines import bend, box_round, half_width, middle_line, rough_ring, straightness
from vision.render.patch import BodyFamily, BodyWish, Patch
from vision.render.plant_bits import DRAWN_BY as PLANT_BITS
from vision.render.tissue import between, pick, tissue


def _angle(wish: BodyWish, rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 360)) if wish.angle_deg is None else wish.angle_deg


def draw_fibre(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """Cloth or paper fibre: thin, long, curly, of any colour; sometimes a short stiff plant hair."""
    hair = bool(rng.random() < 0.3)
    length = (between(rng, 0.3, 1.6) if hair else between(rng, 0.6, 14)) if wish.length_mm is None else wish.length_mm
    width = rng.uniform(0.010, 0.030)
    n = max(60, int(length * 25))
    knots = max(4, int(length * rng.uniform(0.4, 2.5)))
    curl = rng.normal(0, 0.15 if hair else rng.uniform(0.3, 1.6), knots)
    smooth = CubicSpline(np.arange(knots), curl)(np.linspace(0, knots - 1, n))
    heading = np.cumsum(smooth) * length / n * 1.6
    step = length / n
    points = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * step, axis=0)
    a = np.deg2rad(_angle(wish, rng))
    points = (points - points.mean(axis=0)) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    line = points.astype(np.float32)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, 0.1))
    density = np.array([1.0, 1.0, 1.0]) * rng.uniform(0.3, 1.6)
    albedo = np.full(3, rng.uniform(0.05, 0.75))
    if not hair:
        name = pick(rng, {"plain": 0.5, "blue": 0.2, "red": 0.12, "black": 0.12, "green": 0.06})
        shade = {
            "blue": (1.8, 1.1, 0.35),
            "red": (0.3, 1.7, 1.5),
            "black": (2.5, 2.5, 2.5),
            "green": (1.5, 0.6, 1.4),
        }.get(name)
        if shade is not None:
            density = np.array(shade) * rng.uniform(0.4, 1.3)
            albedo = np.exp(-np.array(shade)) * 0.8
    cover = strokes(canvas, [line], width)
    # A round fibre in water bends light little; in focus it shows two dark edges, at these scales one line.
    canvas.lay(cover, density, albedo, height_mm=width, body=True)
    chord = float(np.hypot(*(line[-1] - line[0])))
    return canvas.patch(length_mm=length, width_mm=width, curved=chord < 0.9 * length, form="hair" if hair else "")


def draw_grit(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """Soil grain: angular, mostly opaque; some are quartz, clear with dark edges."""
    size = between(rng, 0.06, 0.85) if wish.length_mm is None else wish.length_mm
    n = int(rng.integers(5, 10))
    a = np.sort(rng.uniform(0, 2 * np.pi, n) * 0.35 + np.linspace(0, 2 * np.pi, n, endpoint=False) * 0.9)
    ring = np.stack([np.cos(a), np.sin(a)], 1) * rng.uniform(0.65, 1.1, (n, 1))
    ring[:, 1] *= rng.uniform(0.5, 1.0)
    t = np.deg2rad(_angle(wish, rng))
    ring = ring @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    ring = (ring - ring.mean(axis=0)) * size / 2
    reach = size * 0.8
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    cover = polygon(canvas, ring)
    clear = bool(rng.random() < 0.2)
    core = rng.uniform(0.35, 0.8) if clear else between(rng, 0.004, 0.15)
    stuff = tissue(pick(rng, {"brown": 0.4, "black": 0.25, "grey": 0.25, "tan": 0.1}), core, rng, 0.2)
    thick = np.clip(1 + 0.35 * mottle(canvas, rng, size * 0.25), 0.2, 2)
    if clear:
        # Facets bend the light away near the edges.
        soft = np.clip(_inside_mm(canvas, cover) / (0.25 * size), 0, 1)
        thick = thick * (0.3 + 2.2 * (1 - soft))
    tone = np.clip(1 + 0.3 * mottle(canvas, rng, size * 0.3), 0.3, 2)[..., None]
    canvas.lay(cover, stuff.over(thick.astype(np.float32)), stuff.albedo * tone, height_mm=size * 0.5, body=True)
    return canvas.patch(length_mm=size, width_mm=size * 0.75, form="quartz" if clear else "", gloss=0.3)


def _inside_mm(canvas: Canvas, cover: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 5)) / canvas.per_mm


def draw_leaf_bit(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A torn bit of leaf or bract: green, thin, veined, irregular; olive after heat."""
    size = between(rng, 0.3, 5.0) if wish.length_mm is None else wish.length_mm
    stretch = rng.uniform(1.0, 3.2)
    ring = rough_ring(rng, 140, rng.uniform(0.08, 0.3), stretch, _angle(wish, rng)) * size / 2 / stretch**0.5
    reach = float(np.abs(ring).max()) + 0.05
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    cover = polygon(canvas, ring)
    odds = (
        {"olive": 0.5, "brown": 0.2, "green": 0.2, "yellow": 0.1}
        if wish.heated
        else {"green": 0.72, "yellow": 0.14, "olive": 0.14}
    )
    stuff = tissue(pick(rng, odds), between(rng, 0.12, 0.75), rng, 0.15)
    thick = 1 + 0.25 * mottle(canvas, rng, max(0.3, size * 0.2)) + 0.15 * mottle(canvas, rng, 0.06)
    if rng.random() < 0.5:
        thick = thick + 0.6 * strokes(canvas, _veins(rng, size), 0.04)
    if rng.random() < 0.35:
        # A fold: twice as thick on one side of a line.
        a, off = rng.uniform(0, 6.3), rng.uniform(0.05, 0.3) * size
        thick = thick + np.clip((canvas.x_mm * np.cos(a) + canvas.y_mm * np.sin(a) - off) * 20, 0, 1)
    tone = np.clip(0.8 + 0.2 * thick, 0.3, 2)[..., None]
    lifted = 0.15 + 0.1 * mottle(canvas, rng, size * 0.4)
    canvas.lay(
        cover,
        stuff.over(np.clip(thick, 0.15, None).astype(np.float32)),
        stuff.albedo * tone,
        height_mm=np.clip(lifted, 0.05, 1),
        body=True,
    )
    return canvas.patch(length_mm=size, width_mm=size / stretch)


def _veins(rng: np.random.Generator, size: float) -> list[np.ndarray]:
    a = rng.uniform(0, 2 * np.pi)
    axis, across = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    lines = [np.stack([-axis * size, axis * size])]
    for k in range(6):
        root = axis * size * (k / 6 - 0.5)
        side = 1 if k % 2 else -1
        lines.append(np.stack([root, root + (axis * 0.8 + across * side) * size * 0.5]))
    return lines


def draw_bud(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A shed flower bud, 1 to 2 mm: rounder than an aphid, sepals closed over it, mostly with a stub of its stalk."""
    length = rng.uniform(0.9, 2.1) if wish.length_mm is None else wish.length_mm
    width = length / rng.uniform(1.03, 1.45)
    profile = ((0, 0.03, 0.1, 0.25, 0.45, 0.7, 0.88, 0.97, 1), (0, 0.38, 0.62, 0.88, 1.0, 0.92, 0.62, 0.34, 0))
    line = middle_line(length, 0.0, _angle(wish, rng))
    left, right = half_width(profile, width, rng, 0.03)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, max(length * 0.75, width)))
    odds = (
        {"brown": 0.4, "olive": 0.45, "green": 0.15} if wish.heated else {"green": 0.75, "olive": 0.15, "yellow": 0.1}
    )
    stuff = tissue(pick(rng, odds), between(rng, 0.02, 0.22), rng, 0.12)
    body = tube(canvas, line, left, right)
    if rng.random() < 0.8:
        tail = (line[-1] - line[0]).astype(float) / length
        bent = np.array([-tail[1], tail[0]]) * rng.uniform(-0.2, 0.2)
        stub = np.stack([line[-1] - tail * 0.05, line[-1] + (tail + bent) * length * rng.uniform(0.1, 0.65)])
        cover = strokes(canvas, [stub], length * rng.uniform(0.12, 0.22)) * (1 - body.cover)
        ribbed = stuff.density * (0.5 + 0.12 * mottle(canvas, rng, 0.12))[..., None]
        canvas.lay(cover, ribbed, stuff.albedo * 1.2, height_mm=0.15 * length)
    thick = body.dome * (1 + 0.1 * mottle(canvas, rng, 0.15))
    at = rng.uniform(-0.35, 0.35)
    seam = np.exp(-(((body.q - at * (1 - body.t)) / 0.07) ** 2)) + np.exp(-(((body.q + 0.6 - 0.3 * at) / 0.06) ** 2))
    thick = thick * (1 + rng.uniform(0, 0.4) * seam)
    tip = np.clip((0.3 - body.t) / 0.3, 0, 1)[..., None]
    albedo = stuff.albedo * (1 + 0.5 * tip) * (1 - 0.35 * np.clip(seam, 0, 1))[..., None]
    canvas.lay(
        body.cover,
        stuff.over(thick.astype(np.float32)),
        np.clip(albedo, 0.01, 0.9),
        height_mm=body.dome * width * 0.9,
        body=True,
    )
    return canvas.patch(length_mm=length, width_mm=width, gloss=0.15)


def draw_seed(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A small round seed, or its empty coat: a thin brown shell."""
    size = rng.uniform(1.0, 2.3) if wish.length_mm is None else wish.length_mm
    empty = bool(rng.random() < 0.5)
    ring = rough_ring(rng, 90, 0.1 if empty else 0.015, rng.uniform(1.0, 1.25), _angle(wish, rng)) * size / 2.2
    reach = float(np.abs(ring).max()) + 0.1
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    cover = polygon(canvas, ring)
    deep = np.clip(_inside_mm(canvas, cover) / (size * 0.45), 0, 1).astype(np.float32)
    stuff = tissue(
        pick(rng, {"brown": 0.6, "black": 0.25, "tan": 0.15}),
        between(rng, 0.15, 0.6) if empty else between(rng, 0.004, 0.04),
        rng,
        0.15,
    )
    # A shell is thickest to the light at its rim, a full seed in its middle.
    thick = (0.5 + 1.1 * (1 - deep) ** 3) if empty else np.sqrt(np.clip(1 - (1 - deep) ** 2, 0, 1)) * 1.1
    if empty and rng.random() < 0.7:
        a = rng.uniform(0, 6.3)
        cover = cover * (
            1 - disc(canvas, size * 0.45 * np.cos(a), size * 0.45 * np.sin(a), size * rng.uniform(0.15, 0.35))
        )
    thick = thick * (1 + 0.12 * mottle(canvas, rng, 0.08))
    canvas.lay(cover, stuff.over(thick.astype(np.float32)), stuff.albedo, height_mm=deep * size * 0.6, body=True)
    return canvas.patch(length_mm=size, width_mm=size * 0.9, form="coat" if empty else "", gloss=0.4)


def draw_pollen(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """Pollen: yellow grains of 0.02 to 0.05 mm, alone or in a clump."""
    grain = rng.uniform(0.02, 0.05)
    count = int(rng.choice([1, 1, 2, 4, 9, 16]))
    spots = rng.normal(0, grain * 0.55 * count**0.5, (count, 2)) if count > 1 else np.zeros((1, 2))
    reach = float(np.abs(spots).max()) + grain * 2
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    for x, y in spots:
        canvas.lay(
            disc(canvas, x, y, grain / 2),
            np.array([0.3, 0.5, 1.4]) * rng.uniform(0.5, 1.2),
            np.array([0.6, 0.5, 0.08]),
            body=True,
        )
    size = float(np.ptp(spots, axis=0).max()) + grain
    return canvas.patch(length_mm=size, width_mm=size)


def draw_dust(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A speck of dust: small, irregular, grey or brown, half clear."""
    size = between(rng, 0.03, 0.28) if wish.length_mm is None else wish.length_mm
    ring = rough_ring(rng, 40, 0.25, rng.uniform(1, 2.5), _angle(wish, rng)) * size / 2.6
    reach = float(np.abs(ring).max()) + 0.03
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    stuff = tissue(pick(rng, {"grey": 0.5, "brown": 0.3, "black": 0.2}), between(rng, 0.05, 0.8), rng, 0.2)
    canvas.lay(polygon(canvas, ring), stuff.density, stuff.albedo, height_mm=size * 0.3, body=True)
    return canvas.patch(length_mm=size, width_mm=size * 0.6)


def draw_frass(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A caterpillar's dropping: a short dark green barrel, crumbly at the edge."""
    length = between(rng, 0.25, 1.2) if wish.length_mm is None else wish.length_mm
    width = length / rng.uniform(1.1, 1.7)
    line = middle_line(length, bend(rng, "straight", 0.4), _angle(wish, rng))
    left, right = half_width(((0, 0.04, 0.15, 0.5, 0.85, 0.96, 1), (0, 0.48, 0.82, 1, 0.85, 0.52, 0)), width, rng, 0.08)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, width))
    body = tube(canvas, line, left, right)
    stuff = tissue(pick(rng, {"olive": 0.45, "green": 0.3, "black": 0.25}), between(rng, 0.01, 0.12), rng, 0.15)
    thick = np.clip(body.dome * (1 + 0.3 * mottle(canvas, rng, 0.09)), 0, None)
    canvas.lay(
        body.cover,
        stuff.over(thick.astype(np.float32)),
        stuff.albedo * 0.6,
        height_mm=body.dome * width * 0.8,
        body=True,
    )
    return canvas.patch(length_mm=length, width_mm=width)


def draw_leg(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A leg or antenna shed by a body: short, bent, thin."""
    length = between(rng, 0.25, 1.0) if wish.length_mm is None else wish.length_mm
    heading = np.array([0.0, 0.0, rng.uniform(0.3, 1.8), rng.uniform(0.3, 1.8)])
    line = middle_line(length, heading, _angle(wish, rng))
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, 0.1))
    width = rng.uniform(0.02, 0.05)
    stuff = tissue(pick(rng, {"brown": 0.6, "black": 0.2, "tan": 0.2}), between(rng, 0.1, 0.7), rng)
    canvas.lay(strokes(canvas, [line], width), stuff.density, stuff.albedo, height_mm=width, body=True)
    return canvas.patch(length_mm=length, width_mm=width, curved=straightness(line) < 0.9)


def draw_scratch(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A scratch in the panel's cover: a fine line, darker or lighter than the panel."""
    length = between(rng, 1.5, 18) if wish.length_mm is None else wish.length_mm
    line = middle_line(length, bend(rng, "straight", 0.25), _angle(wish, rng))
    width = rng.uniform(0.02, 0.09)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, 0.2))
    fade = np.clip(0.6 + 0.5 * mottle(canvas, rng, 1.2), 0, 1)
    strength = rng.uniform(0.15, 0.7) if rng.random() < 0.65 else -rng.uniform(0.05, 0.2)
    cover = strokes(canvas, [line], width)
    canvas.density += (cover * fade * np.float32(strength))[..., None]
    canvas.body[:] = cover
    return canvas.patch(length_mm=length, width_mm=width)


DRAWN_BY: dict[str, BodyFamily] = {
    "bubble": draw_bubble,
    "drop": draw_drop,
    "fibre": draw_fibre,
    "grit": draw_grit,
    "leaf_bit": draw_leaf_bit,
    "bud": draw_bud,
    "seed": draw_seed,
    "pollen": draw_pollen,
    "dust": draw_dust,
    "frass": draw_frass,
    "leg": draw_leg,
    "scratch": draw_scratch,
    **PLANT_BITS,
}
