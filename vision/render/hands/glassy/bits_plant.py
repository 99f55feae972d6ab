"""Bits of plants: seeds, buds, husks, slivers, stalked bits and torn leaf."""

import numpy as np

from vision.render.hands.glassy.bits_wet import finish
from vision.render.hands.glassy.form import egg_curve, lump, place, straight, tube
from vision.render.hands.glassy.grain import bands, blots, cells, clouds, folds, rings, scatter, stretch
from vision.render.hands.glassy.limbs import Limb, lay_limbs, strips, thread
from vision.render.hands.glassy.mood import deeper, flesh, take_mood, tint
from vision.render.hands.glassy.sheet import (
    Colour,
    bend_away,
    brighten,
    cover_with,
    f32,
    lay,
    open_sheet,
    relief,
    soften,
)
from vision.render.hands.lent import Lent
from vision.types import FloatArray

SEEDS: tuple[Colour, ...] = (
    (0.3, 0.17, 0.08),
    (0.06, 0.05, 0.045),
    (0.6, 0.45, 0.25),
    (0.75, 0.7, 0.55),
    (0.4, 0.38, 0.2),
    (0.45, 0.15, 0.08),
)
GREENS: tuple[Colour, ...] = (
    (0.2, 0.4, 0.06),
    (0.4, 0.55, 0.15),
    (0.6, 0.68, 0.4),
    (0.3, 0.2, 0.08),
    (0.6, 0.45, 0.2),
    (0.8, 0.78, 0.6),
    (0.35, 0.1, 0.18),
)


def draw_seed(below: bool, rng: np.random.Generator) -> Lent:
    """A smooth oval or drop-shaped seed with ribs, net or pits on its coat, its germ showing when clear."""
    length = float(rng.uniform(0.35, 2.2))
    mood = take_mood(rng, length * 0.5, (25, 45, 20, 5, 5))
    slim = rng.uniform(0.35, 0.95)
    half = f32(egg_curve(50, rng.uniform(0.65, 1.5), rng.choice([0.5, 0.6, 0.8])) * length * slim / 2)
    bow = rng.normal(0, 0.3)
    sheet = open_sheet(length * 0.72 + 0.12 + 3 * mood.blur_mm, below, rng)
    shape = tube(sheet, straight(length, 50, bow), half, rng.normal(0, 0.12), rng.uniform(0.6, 0.95))
    coat = tint(rng, SEEDS)
    plan = int(rng.integers(5))
    grooves = np.zeros_like(shape.cover)
    if plan == 0:
        grooves = bands(shape, f32(np.sin(np.linspace(-1.3, 1.3, int(rng.integers(5, 13))))), 0.06)
    elif plan == 1:
        grooves = f32(cells(sheet, length * 0.07, rng, rng.uniform(1, 2))[1] * shape.cover)
    elif plan == 2:
        grooves = blots(sheet, scatter(shape, 45, length * 0.018, rng, (0.03, 0.97)), 0.004)
    elif plan == 3:
        grooves = f32(rings(shape, f32(np.linspace(0.05, 0.95, int(rng.integers(9, 24)))), 0.012, 0.05))
    inner = (
        0.35 * folds(shape, 9, 6, rng)
        + 0.6 * grooves * rng.normal(0, 1)
        + 0.15 * clouds(sheet, 0.05, rng) * shape.cover
    )
    inner += stretch(shape, 0, rng.uniform(0.05, 0.15), 0.03) * rng.uniform(-0.8, 1.5)
    flesh(sheet, shape, mood, coat, f32(inner), rng, f32(grooves * 2))
    if mood.density < 1.1:
        at, way = place(shape, rng.uniform(0.4, 0.6), 0.0)
        germ = blots(
            sheet, [(float(at[0]), float(at[1]), length * 0.3, length * slim * 0.22, way)], 0.02 + mood.blur_mm
        )
        lay(sheet, germ * rng.uniform(0.2, 1), deeper(coat, 1.4), 0.3, 0.8)
    scar, way = place(shape, 0.03, rng.normal(0, 0.3))
    lay(
        sheet,
        blots(sheet, [(float(scar[0]), float(scar[1]), length * 0.05, length * 0.03, way)], 0.006) * 1.2,
        tint(rng, ((0.8, 0.75, 0.6), (0.05, 0.04, 0.03))),
        0.4,
        0.8,
    )
    return finish(sheet, mood, rng)


def draw_bud(below: bool, rng: np.random.Generator, stalk: bool = False) -> Lent:
    """A bud with overlapping scales and a stub; with ``stalk`` a long stem and a rag or two that pass for legs."""
    length = float(rng.uniform(0.4, 2.2) if stalk else rng.uniform(0.5, 2.6))
    mood = take_mood(rng, length * 0.5, (16, 48, 26, 5, 5))
    slim = rng.uniform(0.3, 0.6) if stalk else rng.uniform(0.5, 0.95)
    half = f32(egg_curve(50, rng.uniform(0.8, 1.5), rng.uniform(0.45, 0.75)) * length * slim / 2)
    spine = straight(length, 50, rng.normal(0, 0.3))
    sheet = open_sheet(length * (1.5 if stalk else 0.95) + 0.15, below, rng)
    coat = tint(rng, GREENS, mood)
    wide = length * rng.uniform(0.05, 0.1) if stalk else length * slim * rng.uniform(0.2, 0.4)
    long = length * (rng.uniform(0.3, 0.85) if stalk else rng.uniform(0.08, 0.3))
    stems: list[Limb] = [
        thread(spine[-2], float(rng.normal(0, 0.25)), long, rng.normal(0, 0.6), wide, rng.uniform(0.6, 1.2))
    ]
    stems.extend(
        thread(
            spine[int(rng.integers(2, 48))],
            rng.uniform(0, 6.3),
            length * rng.uniform(0.25, 0.6),
            rng.normal(0, 1),
            wide * rng.uniform(0.2, 0.6),
            0.4,
        )
        for _ in range(int(rng.choice([0, 1, 2, 4])) if stalk else 0)
    )
    lay_limbs(sheet, stems, deeper(coat, rng.uniform(0.7, 1.5)), mood.density * 0.9, 0.2, mood.blur_mm, mood.rim)
    shape = tube(sheet, spine, half, rng.normal(0, 0.08), 0.85)
    scales = np.zeros_like(shape.cover)
    if rng.random() < (0.45 if stalk else 0.85):
        wave = rng.uniform(0.1, 0.3)
        offset = wave * np.abs(np.sin(shape.across * rng.uniform(1.6, 4) + rng.uniform(0, 3)))
        phase = (shape.along + offset) * rng.uniform(3, 7)
        scales = np.exp(-((((phase % 1) - 0.5) / 0.09) ** 2)) * shape.cover
    veins = bands(shape, f32(np.sin(np.linspace(-1.3, 1.3, 9))), 0.04) * rng.uniform(0, 0.7)
    inner = 0.4 * folds(shape, 14, 6, rng) + rng.uniform(-0.6, 0.9) * scales + veins
    inner += 0.4 * (cells(sheet, 0.035, rng, 1.6)[0] - 0.5) * shape.cover
    inner += rng.uniform(-0.5, 1.2) * stretch(shape, 0, rng.uniform(0.1, 0.4), 0.1)
    flesh(sheet, shape, mood, coat, f32(inner), rng, f32(scales * 1.5))
    stain = np.clip(folds(shape, 5, 4, rng) - rng.uniform(0.3, 1.2), 0, 2) * shape.cover
    lay(sheet, soften(sheet, f32(stain), 0.02), tint(rng, ((0.25, 0.13, 0.05), (0.3, 0.08, 0.12))), 0.1, 0.75)
    cover_with(sheet, f32(strips(sheet, stems[:1]) * (0.0 if stalk else 1.0)))
    return finish(sheet, mood, rng)


def draw_stalked(below: bool, rng: np.random.Generator) -> Lent:
    """An oval bit of plant with a stem: like an animal until one looks twice."""
    return draw_bud(below, rng, True)


def draw_husk(below: bool, rng: np.random.Generator) -> Lent:
    """A thin empty hull with lengthwise nerves, wrinkles and an open side."""
    length = float(rng.uniform(0.4, 3.2))
    mood = take_mood(rng, length * 0.3)
    half = f32(egg_curve(60, rng.uniform(0.7, 1.5), rng.uniform(0.5, 1.0)) * length * rng.uniform(0.2, 0.6) / 2)
    bow = rng.normal(0, 0.7)
    sheet = open_sheet(length * 0.72 + 0.15 + 3 * mood.blur_mm, below, rng)
    shape = tube(sheet, straight(length, 60, bow), half, rng.normal(0, 0.15), 0.6)
    hue = tint(rng, ((0.8, 0.7, 0.45), (0.6, 0.4, 0.2), (0.9, 0.85, 0.7), (0.5, 0.5, 0.3), (0.4, 0.22, 0.12)))
    crumple = folds(shape, 18, 6, rng)
    nerves = bands(shape, f32(np.sin(np.linspace(-1.35, 1.35, int(rng.integers(3, 10))))), 0.05)
    torn = np.clip((crumple * 0.25 + shape.along - rng.uniform(0.75, 1.2)) * 9, 0, 1)
    gap = np.exp(-(((shape.across - rng.normal(0, 0.4)) / rng.uniform(0.05, 0.35)) ** 2)) * stretch(
        shape, 0.1, rng.uniform(0.5, 1), 0.15
    )
    cover = f32(shape.cover * (1 - torn))
    bend, shade, gloss = relief(
        sheet, soften(sheet, f32(shape.height_mm * (1 + 0.08 * crumple) * (1 - 0.4 * gap)), 0.01)
    )
    tone = cells(sheet, 0.04, rng, 2.2)[0]
    plane = (
        cover
        * (0.6 + 0.8 * nerves + 0.3 * np.abs(crumple) + 0.5 * (tone - 0.5))
        * (1 - 0.7 * gap)
        * rng.uniform(0.3, 1.9)
    )
    lay(sheet, soften(sheet, f32(np.clip(plane, 0, 4)), mood.blur_mm), hue, rng.uniform(0.1, 0.6), shade)
    bend_away(sheet, f32(bend * cover), rng.uniform(0.3, 1.2))
    brighten(sheet, f32(gloss * cover), rng.uniform(0, 0.6))
    cover_with(sheet, cover)
    return finish(sheet, mood, rng, abs(bow) > 1)


def draw_sliver(below: bool, rng: np.random.Generator) -> Lent:
    """A thin splinter with lengthwise grain and torn ends."""
    length = float(rng.uniform(0.5, 4.0))
    width = float(np.clip(length * rng.uniform(0.03, 0.2), 0.04, 0.5))
    mood = take_mood(rng, width, (16, 48, 26, 5, 5))
    grid = np.linspace(0, 1, 70)
    body = (
        np.clip(grid / rng.uniform(0.02, 0.5), 0, 1) ** 0.8 * np.clip((1 - grid) / rng.uniform(0.02, 0.5), 0, 1) ** 0.8
    )
    half = f32(body * (1 + 0.1 * np.cumsum(rng.normal(size=70)) / 4) * width / 2)
    spine = straight(length, 70, rng.normal(0, 0.35))
    sheet = open_sheet(length * 0.66 + 0.2 + 3 * mood.blur_mm, below, rng)
    hue = tint(rng, ((0.7, 0.55, 0.3), (0.35, 0.22, 0.1), (0.85, 0.8, 0.65), (0.4, 0.5, 0.15), (0.1, 0.07, 0.05)))
    shape = tube(sheet, spine, f32(np.clip(half, 0, None)), 0.0, rng.uniform(0.3, 0.8))
    grain = folds(shape, 4, 14, rng)
    rows = rings(shape, f32(np.linspace(0, 1, int(rng.integers(3, 22)))), 0.006) * rng.uniform(0, 0.9)
    rags = [
        thread(*place(shape, share, flank), width * rng.uniform(0.5, 2), rng.normal(0, 0.5), 0.016, 0.4)
        for share in (0.03, 0.97)
        for flank in rng.uniform(-0.8, 0.8, 3)
    ]
    lay_limbs(sheet, rags, hue, mood.density, 0.2, mood.limb_blur_mm, 0.8)
    flesh(
        sheet,
        shape,
        mood,
        hue,
        f32(0.6 * grain + rows + 0.3 * folds(shape, 20, 4, rng)),
        rng,
        f32(np.exp(-((grain / 0.25) ** 2)) * shape.cover * rng.uniform(0, 2)),
    )
    return finish(sheet, mood, rng)


def draw_leaf_bit(below: bool, rng: np.random.Generator) -> Lent:
    """A scrap of leaf: cells, branching veins, stains and a torn, fibrous edge."""
    size = float(rng.uniform(0.25, 1.9))
    mood = take_mood(rng, size)
    sheet = open_sheet(size * 1.75 + 0.2, below, rng)
    shape = lump(sheet, (0.0, 0.0), (size, size * rng.uniform(0.35, 0.9)), rng.uniform(0.1, 0.45), rng, 0.25, 10)
    fray = clouds(sheet, 0.07, rng)
    cover = f32(
        np.clip((shape.height_mm / (0.25 * size) - 0.3 + rng.uniform(0.02, 0.16) * fray) * 7, 0, 1) * shape.cover
    )
    veins = _veins(size, rng)
    net = strips(sheet, veins)
    tone, wall = cells(sheet, rng.uniform(0.03, 0.07), rng, rng.uniform(1, 2.5))
    hue = tint(rng, GREENS, mood)
    clear = rng.uniform(0.35, 1.9)
    blotch = np.clip(1 + 0.4 * clouds(sheet, size * 0.3, rng), 0.1, 2.2)
    plane = cover * clear * blotch * (0.75 + 0.7 * (tone - 0.5) - 0.35 * wall * rng.uniform(-1, 1)) * (1 - 0.45 * net)
    bend, shade, gloss = relief(sheet, f32(0.05 * clouds(sheet, size * 0.4, rng) + 0.02 * net + 0.006 * tone))
    lay(sheet, soften(sheet, f32(np.clip(plane, 0, 5)), mood.blur_mm), hue, rng.uniform(0.05, 0.35), shade)
    fold = np.exp(-(((sheet.y_mm - size * rng.normal(0, 0.3)) / (0.03 + 0.05 * size)) ** 2)) * (rng.random() < 0.4)
    bend_away(sheet, f32((bend * 0.8 + 0.4 * fold) * cover), rng.uniform(0.3, 1.2))
    stain = np.clip(clouds(sheet, size * 0.35, rng) - rng.uniform(0.3, 1.5), 0, 2) * cover
    lay(
        sheet,
        soften(sheet, f32(stain), 0.02),
        tint(rng, ((0.25, 0.12, 0.04), (0.1, 0.06, 0.03), (0.6, 0.5, 0.2))),
        0.1,
        0.75,
    )
    inside = [one for one in veins if np.linalg.norm(one.points_mm, axis=1).max() < size * 1.1]
    lay_limbs(sheet, inside, deeper(hue, rng.uniform(0.4, 1.2)), rng.uniform(0.1, 0.6), 0.3, mood.blur_mm, 1.0)
    brighten(sheet, f32(gloss * cover), rng.uniform(0, 0.35))
    cover_with(sheet, cover)
    return finish(sheet, mood, rng)


def _veins(size_mm: float, rng: np.random.Generator) -> list[Limb]:
    """A main vein and its branches."""
    root: FloatArray = f32([-size_mm * 0.95, size_mm * rng.normal(0, 0.15)])
    wide = rng.uniform(0.03, 0.08)
    main = thread(root, rng.normal(0, 0.15), size_mm * 1.8, rng.normal(0, 0.3), wide, 0.4)
    out = [main]
    for spot in range(1, 9):
        out += [
            thread(
                main.points_mm[spot],
                flank * rng.uniform(0.5, 1.0),
                size_mm * rng.uniform(0.25, 0.55),
                -flank * rng.uniform(0, 0.7),
                wide * 0.5,
                0.4,
            )
            for flank in (-1.0, 1.0)
            if rng.random() < 0.6
        ]
    return out
