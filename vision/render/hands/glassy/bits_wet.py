"""Bits that are mostly water, air or starch: bubbles, drops, smears; and what floats: dust and fibres."""

import numpy as np

from vision.render.hands.glassy.form import lump
from vision.render.hands.glassy.grain import blots, clouds, folds
from vision.render.hands.glassy.limbs import Limb, lay_limbs, reach_mm, strips, thread
from vision.render.hands.glassy.mood import Mood, deeper, flesh, take_mood, tint
from vision.render.hands.glassy.sheet import (
    Colour,
    Sheet,
    bend_away,
    brighten,
    cover_with,
    develop,
    f32,
    lay,
    open_sheet,
    relief,
    soften,
)
from vision.render.hands.lent import Lent
from vision.types import FloatArray

THREADS: tuple[Colour, ...] = (
    (0.8, 0.8, 0.78),
    (0.15, 0.25, 0.6),
    (0.6, 0.1, 0.1),
    (0.04, 0.04, 0.05),
    (0.6, 0.45, 0.25),
    (0.3, 0.5, 0.3),
    (0.5, 0.5, 0.55),
)


def finish(sheet: Sheet, mood: Mood, rng: np.random.Generator, curved: bool = False) -> Lent:
    """Develop a bit, measured by its own cover."""
    inside = sheet.body > 0.5
    if inside.sum() < 6:
        return develop(sheet, 0.1, 0.05, curved, rng, mood.blur_mm)
    points = np.stack([sheet.x_mm[inside], sheet.y_mm[inside]], axis=1).astype(np.float64)
    _, vectors = np.linalg.eigh(np.cov(points.T))
    spans = np.ptp(points @ vectors, axis=0) + 1 / sheet.fine_px
    return develop(sheet, float(spans.max()), float(spans.min()), curved, rng, mood.blur_mm)


def draw_bubble(below: bool, rng: np.random.Generator) -> Lent:
    """One to three air bubbles: black rims that send the light aside, bright middles, small sharp reflections."""
    first = float(rng.uniform(0.06, 0.6))
    mood = take_mood(rng, first)
    spots = [(0.0, 0.0, first)]
    for _ in range(int(rng.choice([0, 0, 0, 1, 1, 2]))):
        size = first * rng.uniform(0.25, 0.9)
        way = rng.uniform(0, 6.3)
        far = (first + size) * rng.uniform(0.93, 1.05)
        spots.append((far * np.cos(way), far * np.sin(way), size))
    sheet = open_sheet(max(float(np.hypot(x, y)) + size for x, y, size in spots) + 0.1 + 3 * mood.blur_mm, below, rng)
    core, dark = rng.uniform(0.25, 0.7), rng.uniform(1.0, 4.0)
    for x_mm, y_mm, size in spots:
        disc = lump(sheet, (x_mm, y_mm), (size, size * rng.uniform(0.86, 1)), 0.01, rng)
        out = np.sqrt(np.clip(1 - (disc.height_mm / (disc.height_mm.max() + 1e-6)) ** 2, 0, 1))
        rise = np.clip((out - core) / (1 - core), 0, 1)
        ring = rise ** rng.uniform(0.6, 1.6) * (1 - 0.5 * np.exp(-(((out - 0.9) / 0.04) ** 2)))
        bend_away(sheet, soften(sheet, f32(ring * disc.cover), mood.blur_mm), dark * (1.0 if below else 0.7))
        shine = np.exp(-(((out - core * 0.8) / 0.12) ** 2)) * disc.cover
        sheet.passing[...] *= (1 + 0.12 * soften(sheet, f32(shine), mood.blur_mm))[..., None]
        way = rng.uniform(0, 6.3)
        glint = [
            (x_mm + size * 0.55 * np.cos(way), y_mm + size * 0.55 * np.sin(way), size * 0.16, size * 0.07, way + 1.57),
            (x_mm - size * 0.6 * np.cos(way), y_mm - size * 0.6 * np.sin(way), size * 0.2, size * 0.04, way + 1.57),
        ]
        brighten(sheet, blots(sheet, glint, 0.008 + mood.blur_mm), 0.9)
        cover_with(sheet, disc.cover)
    return finish(sheet, mood, rng)


def draw_drop(below: bool, rng: np.random.Generator) -> Lent:
    """A drop or oil blob that works as a lens, now and then with things in it."""
    size = float(rng.uniform(0.1, 1.1))
    mood = take_mood(rng, size, (1, 0, 0, 0, 0))
    sheet = open_sheet(size * 1.6 + 0.15, below, rng)
    shape = lump(
        sheet,
        (0.0, 0.0),
        (size, size * rng.uniform(0.55, 1.0)),
        rng.uniform(0.02, 0.22),
        rng,
        rng.uniform(0.25, 0.8),
        4,
    )
    bend, shade, gloss = relief(sheet, soften(sheet, shape.height_mm, 0.015))
    hue = tint(rng, ((0.92, 0.93, 0.93), (0.9, 0.8, 0.45), (0.75, 0.55, 0.25), (0.85, 0.9, 0.8)))
    lay(sheet, f32(shape.cover * rng.uniform(0.02, 0.5)), hue, rng.uniform(0, 0.3), shade)
    bend_away(sheet, soften(sheet, f32(bend * shape.cover), mood.blur_mm), rng.uniform(0.6, 2.2))
    lens = shape.height_mm / (shape.height_mm.max() + 1e-6)
    sheet.passing[...] *= (1 + rng.uniform(0, 0.16) * lens**2)[..., None]
    brighten(sheet, f32(gloss * shape.cover), 0.8)
    if rng.random() < 0.4:
        spots = [
            (float(x), float(y), size * rng.uniform(0.03, 0.12), size * 0.06, 0.0)
            for x, y in rng.normal(0, 0.3 * size, (int(rng.integers(1, 7)), 2))
        ]
        lay(sheet, blots(sheet, spots, 0.01) * shape.cover, tint(rng, ((0.3, 0.2, 0.1), (0.6, 0.6, 0.5))), 0.2, 0.8)
    cover_with(sheet, shape.cover)
    return finish(sheet, mood, rng)


def draw_starch(below: bool, rng: np.random.Generator) -> Lent:
    """A whitish smear of grains, or one to a few grains with rings round an off-centre point."""
    ringed = rng.random() < 0.5
    size = float(rng.uniform(0.08, 0.45) if ringed else rng.uniform(0.3, 1.6))
    mood = take_mood(rng, size)
    sheet = open_sheet(size * (2.2 if ringed else 1.7) + 0.2, below, rng)
    white = tint(rng, ((0.92, 0.9, 0.86), (0.88, 0.84, 0.72), (0.8, 0.8, 0.82)), None, 0.05)
    if ringed:
        for number in range(int(rng.integers(1, 5))):
            away = size * 1.1 * (number > 0)
            spot = (away * np.cos(number * 2.2), away * np.sin(number * 2.2))
            grain = lump(sheet, spot, (size * rng.uniform(0.5, 1), size * rng.uniform(0.4, 0.8)), 0.08, rng, 0.8, 3)
            far = np.hypot(grain.along - rng.uniform(0.3, 0.6), grain.across * 0.4) * rng.uniform(18, 50)
            inner = 0.5 * np.sin(far) * grain.cover + 0.3 * folds(grain, 8, 6, rng)
            flesh(sheet, grain, mood, white, f32(inner), rng)
        return finish(sheet, mood, rng)
    area = lump(sheet, (0.0, 0.0), (size, size * rng.uniform(0.3, 0.9)), 0.4, rng, 0.3)
    haze = np.clip(0.55 + 0.45 * clouds(sheet, 0.15, rng) + 0.35 * clouds(sheet, 0.04, rng), 0, 2)
    plane = soften(sheet, f32(area.cover * haze), 0.012 + mood.blur_mm)
    lay(sheet, f32(plane * rng.uniform(0.25, 1.3)), white, rng.uniform(0.3, 1.0), 0.9)
    grains = blots(
        sheet, [(float(x), float(y), 0.02, 0.015, 0.0) for x, y in rng.normal(0, size * 0.3, (60, 2))], 0.005
    )
    bend_away(sheet, f32(np.clip(grains - soften(sheet, grains, 0.012), 0, 1) * area.cover), 2.0)
    cover_with(sheet, f32(np.clip(plane * 1.2, 0, 1) * (plane > 0.1)))
    return finish(sheet, mood, rng)


def _wander(length_mm: float, bends: float, rng: np.random.Generator) -> FloatArray:
    """The course (n, 2) in mm of a loose thread."""
    grid = np.linspace(0, 1, 90)
    turns = np.zeros(90)
    for wave in (0.5, 1, 1.7, 3.1):
        turns += bends / wave**0.7 * rng.normal() * np.sin(2 * np.pi * wave * grid + rng.uniform(0, 6.3))
    steps = np.stack([np.cos(turns), np.sin(turns)], axis=1) * length_mm / 90
    points = np.cumsum(steps, axis=0)
    return f32(points - (points.min(axis=0) + points.max(axis=0)) / 2)


def draw_fibre(below: bool, rng: np.random.Generator) -> Lent:
    """A thread, often twisted like cotton and frayed at its end, sometimes two or three together."""
    length = float(rng.uniform(0.5, 4.0))
    wide = float(rng.uniform(0.012, 0.06))
    mood = take_mood(rng, wide * 3)
    twist = rng.uniform(0.1, 0.45) * (rng.random() < 0.6)
    threads: list[Limb] = []
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        course = _wander(length * rng.uniform(0.5, 1), rng.uniform(0.4, 1.7), rng)
        swell = 1 + twist * np.sin(np.arange(90) * rng.uniform(0.4, 1.1))
        threads.append(Limb(f32(course), f32(wide * swell)))
    frays: list[Limb] = []
    if rng.random() < 0.5:
        for end, other in ((0, 1), (-1, -2)):
            way = threads[0].points_mm[end] - threads[0].points_mm[other]
            frays.extend(
                thread(
                    threads[0].points_mm[end],
                    float(np.arctan2(way[1], way[0])) + rng.normal(0, 0.4),
                    rng.uniform(0.08, 0.35),
                    rng.normal(0, 1),
                    wide * 0.4,
                    0.4,
                )
                for _ in range(int(rng.integers(2, 6)))
            )
    sheet = open_sheet(reach_mm(threads + frays) + 0.12 + 3 * mood.limb_blur_mm, below, rng)
    hue = tint(rng, THREADS)
    density = rng.uniform(0.3, 1.8)
    lay_limbs(sheet, frays, hue, density * 0.6, 0.3, mood.limb_blur_mm, 0.5)
    lay_limbs(sheet, threads, hue, density, rng.uniform(0.1, 0.5), mood.blur_mm, rng.uniform(0.5, 2.5))
    if wide > 0.03:
        lay_limbs(
            sheet,
            [Limb(one.points_mm, one.wide_mm * 0.3) for one in threads],
            deeper(hue, 1.6),
            density * 0.7,
            0.1,
            mood.blur_mm,
            0.2,
        )
    cover_with(sheet, strips(sheet, threads))
    return finish(sheet, mood, rng, True)


def draw_dust(below: bool, rng: np.random.Generator) -> Lent:
    """A speck, or a loose flock of specks and short hairs."""
    size = float(rng.uniform(0.1, 0.35))
    mood = take_mood(rng, size, (15, 50, 25, 5, 5))
    sheet = open_sheet(size * 2.2 + 0.25, below, rng)
    count = int(rng.choice([1, 1, 2, 4, 9]))
    hue = tint(rng, ((0.2, 0.15, 0.1), (0.5, 0.45, 0.4), (0.08, 0.08, 0.08), (0.7, 0.65, 0.5), (0.35, 0.2, 0.1)))
    for number in range(count):
        spot = rng.normal(0, size * 0.5, 2) * (number > 0)
        radius = size * rng.uniform(0.4, 0.8) / (1 + 0.15 * count)
        speck = lump(sheet, (float(spot[0]), float(spot[1])), (radius, radius * rng.uniform(0.4, 1)), 0.5, rng, 0.6, 9)
        flesh(sheet, speck, mood, tint(rng, (hue,)), f32(0.7 * folds(speck, 7, 7, rng)), rng)
    hairs = [
        thread(
            f32(rng.normal(0, size * 0.3, 2)),
            rng.uniform(0, 6.3),
            size * rng.uniform(0.5, 1.5),
            rng.normal(0, 1.2),
            0.014,
            0.6,
        )
        for _ in range(int(rng.choice([0, 0, 1, 3, 6])))
    ]
    lay_limbs(sheet, hairs, hue, 0.6, 0.2, mood.limb_blur_mm, 0.8)
    return finish(sheet, mood, rng)
