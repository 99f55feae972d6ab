"""Bits of ground: grit, crumbs of soil, and rootlets."""

import numpy as np

from vision.render.hands.glassy.bits_wet import finish
from vision.render.hands.glassy.form import lump
from vision.render.hands.glassy.grain import blots, cells, clouds, folds
from vision.render.hands.glassy.limbs import Limb, lay_limbs, reach_mm, strips, thread
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
    shut_out,
    soften,
)
from vision.render.hands.lent import Lent

STONES: tuple[Colour, ...] = (
    (0.9, 0.9, 0.88),
    (0.85, 0.75, 0.55),
    (0.7, 0.4, 0.2),
    (0.04, 0.04, 0.045),
    (0.12, 0.1, 0.09),
    (0.5, 0.5, 0.5),
    (0.75, 0.6, 0.55),
)
SOILS: tuple[Colour, ...] = (
    (0.12, 0.07, 0.04),
    (0.25, 0.16, 0.09),
    (0.05, 0.04, 0.035),
    (0.35, 0.28, 0.2),
    (0.2, 0.19, 0.1),
)


def draw_grit(below: bool, rng: np.random.Generator) -> Lent:
    """An angular grain, glassy or black, its facets each catching the light another way."""
    size = float(np.exp(rng.uniform(np.log(0.06), np.log(0.7))))
    mood = take_mood(rng, size * 1.5)
    sheet = open_sheet(size * 1.5 + 0.15 + 3 * mood.blur_mm, below, rng)
    height = np.full(sheet.body.shape, size * rng.uniform(0.4, 0.9), np.float32)
    edge = np.full(sheet.body.shape, 9.0, np.float32)
    slim = rng.uniform(0.5, 1)
    # Planes cut a corner each: the lowest of them at a place is the facet seen there.
    corners = int(rng.integers(5, 12))
    for way in (np.arange(corners) + rng.uniform(-0.42, 0.42, corners)) * (2 * np.pi / corners):
        span = size * rng.uniform(0.65, 1.0) * float(np.hypot(np.cos(way), slim * np.sin(way)))
        gap = span - sheet.x_mm * np.cos(way) - sheet.y_mm * np.sin(way)
        edge = np.minimum(edge, gap)
        height = np.minimum(height, gap * rng.uniform(0.4, 2.5))
    for _ in range(int(rng.integers(1, 5))):
        tilt = rng.normal(0, 0.6, 2)
        height = np.minimum(height, size * rng.uniform(0.3, 0.8) + sheet.x_mm * tilt[0] + sheet.y_mm * tilt[1])
    edge = np.minimum(edge, 1.4 * size - np.hypot(sheet.x_mm, sheet.y_mm))
    cover = f32(np.clip(edge * sheet.fine_px + 0.5, 0, 1))
    height = f32(np.clip(height, 0, None) * cover)
    bend, shade, gloss = relief(sheet, height + f32(0.012 * size * clouds(sheet, size * 0.12, rng)))
    hue = tint(rng, STONES)
    clear = max(hue) > 0.4
    density = rng.uniform(0.1, 0.9) if clear else rng.uniform(1.2, 3)
    stain = np.clip(1 + 0.5 * clouds(sheet, size * 0.3, rng), 0.2, 3)
    top = float(height.max()) + 1e-6
    lay(
        sheet,
        soften(sheet, f32(cover * density * stain * (0.4 + 0.6 * height / top)), mood.blur_mm),
        hue,
        rng.uniform(0, 0.5),
        f32(shade),
    )
    bend_away(sheet, soften(sheet, f32(bend * cover), mood.blur_mm), rng.uniform(0.6, 2.2))
    facets = np.clip(shade - 0.75, 0, 1) * cover
    brighten(sheet, soften(sheet, f32(gloss * cover + facets), mood.blur_mm), rng.uniform(0.2, 0.9))
    if not below and not clear:
        shut_out(sheet, cover, 0.9)
    flaws = blots(
        sheet,
        [(float(x), float(y), size * 0.07, size * 0.04, 0.0) for x, y in rng.normal(0, size * 0.4, (5, 2))],
        0.006,
    )
    bend_away(sheet, f32(flaws * cover), rng.uniform(0, 1.5))
    cover_with(sheet, cover)
    return finish(sheet, mood, rng)


def draw_crumb(below: bool, rng: np.random.Generator) -> Lent:
    """A ragged crumb of soil with pores, mineral flecks and hairs hanging out."""
    size = float(np.exp(rng.uniform(np.log(0.12), np.log(1.3))))
    mood = take_mood(rng, size)
    hairs = [
        thread(
            f32(rng.normal(0, size * 0.3, 2)),
            rng.uniform(0, 6.3),
            size * rng.uniform(0.7, 1.5),
            rng.normal(0, 1),
            rng.uniform(0.012, 0.03),
            0.5,
        )
        for _ in range(int(rng.choice([0, 0, 1, 2, 5])))
    ]
    sheet = open_sheet(max(size * 1.75, reach_mm(hairs)) + 0.2, below, rng)
    hue = tint(rng, SOILS)
    lay_limbs(sheet, hairs, tint(rng, ((0.6, 0.5, 0.3), hue)), 0.8, 0.2, mood.limb_blur_mm, 1)
    shape = lump(sheet, (0.0, 0.0), (size, size * rng.uniform(0.45, 1)), 0.35, rng, 0.7, 14)
    rough = clouds(sheet, size * 0.22, rng) + 0.6 * clouds(sheet, size * 0.09, rng)
    solid = np.clip((shape.height_mm / size - rng.uniform(0.05, 0.25) + rng.uniform(0.03, 0.13) * rough) * 14, 0, 1)
    solid = solid * np.clip(shape.height_mm / size * 9, 0, 1)
    tone, _ = cells(sheet, max(0.03, size * 0.1), rng)
    bend, shade, gloss = relief(sheet, soften(sheet, f32(shape.height_mm + 0.09 * size * rough), 0.01))
    plane = solid * np.clip(0.7 + 0.35 * rough + 0.7 * (tone - 0.5), 0.1, 3) * rng.uniform(0.8, 3.0)
    lay(sheet, soften(sheet, f32(plane), mood.blur_mm), hue, rng.uniform(0.05, 0.4), shade)
    lay(sheet, f32((tone > 0.93) * solid * rng.uniform(0, 0.8)), tint(rng, STONES), 0.5, 0.95)
    bend_away(sheet, f32(bend * solid), rng.uniform(0.2, 0.9))
    brighten(sheet, f32(gloss * solid * (tone > 0.6)), rng.uniform(0, 0.6))
    shut_out(sheet, f32(solid), 0.7)
    cover_with(sheet, f32(solid))
    return finish(sheet, mood, rng)


def draw_rootlet(below: bool, rng: np.random.Generator) -> Lent:
    """A branched rootlet with a darker core, root hairs and clinging grains; short ones can look like legs."""
    length = float(rng.uniform(0.6, 3.6))
    wide = float(rng.uniform(0.04, 0.16))
    mood = take_mood(rng, wide * 2)
    main = thread(f32([-length / 2, 0]), rng.normal(0, 0.3), length, rng.normal(0, 1.0), wide, rng.uniform(0.3, 0.8))
    limbs: list[Limb] = [main]
    for _ in range(int(rng.integers(1, 6))):
        spot = int(rng.integers(1, 8))
        way = main.points_mm[spot + 1] - main.points_mm[spot]
        limbs.append(
            thread(
                main.points_mm[spot],
                float(np.arctan2(way[1], way[0])) + rng.choice([-1, 1]) * rng.uniform(0.4, 1.2),
                length * rng.uniform(0.15, 0.45),
                rng.normal(0, 0.9),
                wide * rng.uniform(0.35, 0.7),
                0.5,
            )
        )
    hairs = []
    if rng.random() < 0.5:
        for _ in range(40):
            limb = limbs[int(rng.integers(len(limbs)))]
            hairs.append(
                thread(
                    limb.points_mm[int(rng.integers(1, 9))] + f32(rng.normal(0, wide * 0.3, 2)),
                    rng.uniform(0, 6.3),
                    rng.uniform(0.08, 0.25),
                    rng.normal(0, 0.8),
                    0.008,
                    0.5,
                )
            )
    sheet = open_sheet(reach_mm(limbs + hairs) + 0.15 + 3 * mood.limb_blur_mm, below, rng)
    hue = tint(rng, ((0.85, 0.8, 0.65), (0.6, 0.45, 0.25), (0.3, 0.2, 0.1), (0.75, 0.7, 0.6)))
    lay_limbs(sheet, hairs, hue, 0.4, 0.2, mood.limb_blur_mm, 0.5)
    lay_limbs(sheet, limbs, hue, rng.uniform(0.4, 2.0), rng.uniform(0.1, 0.5), mood.blur_mm, rng.uniform(0.6, 2.2))
    core = [Limb(limb.points_mm, limb.wide_mm * 0.35) for limb in limbs]
    lay_limbs(sheet, core, deeper(hue, 1.5), rng.uniform(0.2, 0.9), 0.1, 0.006 + mood.blur_mm, 0.1)
    cover = strips(sheet, limbs)
    lay(sheet, f32(cover * np.clip(clouds(sheet, 0.05, rng), 0, 2) * rng.uniform(0, 0.5)), deeper(hue, 1.5), 0.2, 0.7)
    if not below:
        lay(sheet, f32(cover * 0.25), hue, 0.6, 0.85)
    for _ in range(int(rng.choice([0, 1, 3]))):
        spot = main.points_mm[int(rng.integers(1, 9))]
        grain = lump(sheet, (float(spot[0]), float(spot[1])), (wide * 0.6, wide * 0.4), 0.4, rng)
        flesh(sheet, grain, mood, tint(rng, SOILS), f32(0.5 * folds(grain, 5, 5, rng)), rng)
    cover_with(sheet, cover)
    return finish(sheet, mood, rng, abs(float(main.points_mm[-1, 1] - main.points_mm[0, 1])) > 0.4 * length)
