"""Mites (and round springtail-like young) and eggs, single and in batches."""

import numpy as np

from vision.render.hands.glassy.form import egg_curve, lump, place, plan_form, straight, tube
from vision.render.hands.glassy.grain import bands, blots, cells, clouds, folds, rings, scatter, stretch
from vision.render.hands.glassy.limbs import Limb, jointed, lay_limbs, reach_mm, thread
from vision.render.hands.glassy.mood import deeper, flesh, take_mood, tint
from vision.render.hands.glassy.sheet import Colour, bend_away, develop, f32, lay, open_sheet, soften
from vision.render.hands.lent import Lent

MITES: tuple[Colour, ...] = (
    (0.6, 0.12, 0.05),
    (0.6, 0.4, 0.18),
    (0.85, 0.82, 0.68),
    (0.75, 0.72, 0.4),
    (0.4, 0.2, 0.1),
    (0.8, 0.55, 0.3),
)
EGGS: tuple[Colour, ...] = (
    (0.92, 0.9, 0.84),
    (0.85, 0.75, 0.35),
    (0.6, 0.42, 0.22),
    (0.05, 0.045, 0.04),
    (0.75, 0.8, 0.6),
    (0.8, 0.5, 0.25),
)


def draw_mite(below: bool, rng: np.random.Generator) -> Lent:
    """One mite of 0.2 to 0.6 mm with eight legs, or a round pale young springtail with six."""
    hexapod = rng.random() < 0.22
    length = float(rng.uniform(0.22, 0.6))
    width = length * rng.uniform(0.55, 0.85)
    mood = take_mood(rng, width, (55, 22, 9, 7, 7))
    half = f32(egg_curve(40, rng.uniform(0.8, 1.45), rng.uniform(0.45, 0.65)) * width / 2)
    spine = straight(length, 40, rng.normal(0, 0.12))
    guide = plan_form(spine, half)
    limbs: list[Limb] = []
    roots = (0.25, 0.36, 0.5) if hexapod else (0.12, 0.24, 0.5, 0.62)
    folded = float(rng.beta(1, 2))
    for number, along in enumerate(roots):
        for flank in (-1.0, 1.0):
            if rng.random() < 0.08:
                continue
            root, heading = place(guide, along, 0.8 * flank)
            lean = np.linspace(2.5, 0.7, len(roots))[number] + rng.normal(0, 0.2)
            long = length * rng.uniform(0.4, 0.65)
            bend = flank * (1.0 if number < 2 else -1.0) * (rng.uniform(0.1, 0.7) + folded)
            limbs.append(
                jointed(
                    root,
                    heading + flank * lean,
                    (long * 0.4, long * 0.35, long * 0.25),
                    (0.0, bend, bend * 0.4),
                    max(0.018, length * 0.055),
                    rng,
                )
            )
    for flank in (-1.0, 1.0):
        root, heading = place(guide, 0.02, 0.5 * flank)
        long = length * (rng.uniform(0.3, 0.5) if hexapod else 0.14)
        limbs.append(thread(root, heading + np.pi - flank * (0.6 if hexapod else 0.15), long, 0.3 * flank, 0.026, 0.5))
    hairs: list[Limb] = []
    if rng.random() < 0.65:
        for along in np.linspace(0.1, 0.98, 7):
            for flank in (-0.9, 0.9):
                root, heading = place(guide, float(along), flank)
                hairs.append(
                    thread(
                        root,
                        heading + flank * rng.uniform(0.5, 1.3),
                        length * rng.uniform(0.1, 0.4),
                        rng.normal(0, 0.4),
                        0.008,
                        0.4,
                    )
                )
    sheet = open_sheet(max(length * 0.6, reach_mm(limbs + hairs)) + 0.05 + 3 * mood.limb_blur_mm, below, rng)
    coat = tint(rng, MITES[2:4] if hexapod else MITES, mood)
    lay_limbs(sheet, limbs, deeper(coat, rng.uniform(0.6, 1.6)), mood.limb_density, 0.25, mood.limb_blur_mm, 1.0)
    lay_limbs(sheet, hairs, deeper(coat, 1.5), 0.5, 0.1, mood.blur_mm, 0.2)
    shape = tube(sheet, spine, half, 0.0, 0.85)
    inner = 0.35 * folds(shape, 9, 7, rng) + 0.3 * clouds(sheet, 0.03, rng) * shape.cover
    lines = rings(shape, f32([rng.uniform(0.28, 0.42)]), 0.025, rng.uniform(-0.1, 0.1))
    plan = rng.random()
    if plan < 0.35:
        ribs = bands(shape, f32([0.0]), 0.12) * stretch(shape, 0.3, 1.0, 0.1)
        inner -= 0.8 * ribs
    flesh(sheet, shape, mood, coat, f32(inner), rng, lines)
    if rng.random() < 0.55:
        flecks = []
        for flank in (-1.0, 1.0):
            for _ in range(int(rng.integers(1, 4))):
                at, way = place(shape, rng.uniform(0.38, 0.7), flank * rng.uniform(0.35, 0.65))
                flecks.append((float(at[0]), float(at[1]), length * rng.uniform(0.06, 0.12), length * 0.06, way))
        lay(
            sheet,
            blots(sheet, flecks, 0.008 + mood.blur_mm) * shape.cover * rng.uniform(0.5, 1.6),
            tint(rng, ((0.05, 0.04, 0.02), (0.2, 0.1, 0.04), (0.15, 0.2, 0.05))),
            0.1,
            0.7,
        )
    if rng.random() < 0.6:
        eyes = [place(shape, 0.2, flank)[0] for flank in (-0.7, 0.7)]
        lay(
            sheet,
            blots(sheet, [(float(at[0]), float(at[1]), 0.013, 0.013, 0.0) for at in eyes], mood.blur_mm) * 1.8,
            (0.4, 0.02, 0.02),
            0.1,
            0.7,
        )
    return develop(sheet, length, 2 * float(half.max()), False, rng, mood.blur_mm)


def draw_egg(below: bool, rng: np.random.Generator) -> Lent:
    """One egg of 0.25 to 1 mm, or a row or cluster of them; then the measures are those of the batch."""
    one = float(rng.uniform(0.25, 1.0))
    slim = rng.uniform(0.38, 0.95)
    plan = str(rng.choice(["one", "row", "cluster"], p=[0.62, 0.19, 0.19]))
    centres = [(0.0, 0.0, 0.0)]
    if plan != "one":
        one = min(one, 0.5)
        gap = one * slim * 1.02
    if plan == "row":
        count = int(rng.integers(2, 6))
        bow = rng.normal(0, 0.02)
        centres = [
            ((number - (count - 1) / 2) * gap, bow * (number - count / 2) ** 2, np.pi / 2 + rng.normal(0, 0.1))
            for number in range(count)
        ]
    elif plan == "cluster":
        rows = [(x, y) for y in range(3) for x in range(3)][: int(rng.integers(3, 8))]
        centres = [
            ((x - 1 + 0.5 * (y % 2)) * gap * 1.03, (y - 1) * one * 0.94, np.pi / 2 + rng.normal(0, 0.12))
            for x, y in rows
        ]
    at = f32([[x, y] for x, y, _ in centres])
    at = f32(at - (at.min(axis=0) + at.max(axis=0)) / 2)
    mood = take_mood(rng, one * slim, (50, 24, 13, 6, 7))
    sheet = open_sheet(float(np.linalg.norm(at, axis=1).max()) + one * 0.55 + 0.08 + 3 * mood.blur_mm, below, rng)
    coat = tint(rng, EGGS, mood)
    square = rng.choice([0.5, 0.5, 0.6, 0.75])
    blunt = rng.uniform(0.8, 1.25)
    texture = str(rng.choice(["smooth", "ribs", "net", "pits"], p=[0.4, 0.25, 0.2, 0.15]))
    _, wall = cells(sheet, one * rng.uniform(0.06, 0.1), rng)
    mottle = clouds(sheet, one * 0.07, rng)
    age = rng.random()
    for (x_mm, y_mm), (_, _, heading) in zip(at.tolist(), centres, strict=True):
        line = straight(one * rng.uniform(0.95, 1.0), 30, rng.normal(0, 0.1))
        turn = f32([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
        half = f32(egg_curve(30, blunt, square) * one * slim / 2)
        shape = tube(sheet, f32(line @ turn + f32([x_mm, y_mm])), half, rng.normal(0, 0.04), 0.9)
        inner = 0.25 * folds(shape, 6, 5, rng) + 0.12 * mottle * shape.cover
        grooves = np.zeros_like(shape.cover)
        if texture == "ribs":
            grooves = bands(shape, f32(np.sin(np.linspace(-1.4, 1.4, 11))), 0.05)
        elif texture == "net":
            grooves = f32(wall * shape.cover)
        elif texture == "pits":
            grooves = blots(sheet, scatter(shape, 30, one * 0.02, rng), 0.004)
        inner += 0.5 * grooves
        inner -= stretch(shape, 0.0, rng.uniform(0.05, 0.2), 0.05) * 0.6
        flesh(sheet, shape, mood, coat, f32(inner), rng, grooves)
        if age > 0.45 and mood.density < 1.6:
            spot, way = place(shape, 0.5 + rng.normal(0, 0.05), rng.normal(0, 0.1))
            core = blots(sheet, [(float(spot[0]), float(spot[1]), one * 0.36, one * slim * 0.3, way)], one * 0.05)
            lay(sheet, soften(sheet, core, mood.blur_mm) * rng.uniform(0.15, 0.7), deeper(coat, 1.8), 0.3, 0.8)
            if age > 0.7:
                eye = place(shape, 0.2, 0.3)[0]
                spots = blots(sheet, [(float(eye[0]), float(eye[1]), one * 0.05, one * 0.04, 0.0)], 0.006)
                lay(sheet, spots * 1.5, (0.2, 0.04, 0.03), 0.1, 0.7)
    if rng.random() < 0.35:
        glue = lump(
            sheet,
            (0.0, 0.0),
            (float(np.ptp(at[:, 0])) / 2 + one * 0.45, float(np.ptp(at[:, 1])) / 2 + one * 0.45),
            0.25,
            rng,
            0.2,
        )
        bend_away(sheet, soften(sheet, f32(glue.cover * (1 - sheet.body)), 0.02), rng.uniform(0.02, 0.15))
    inside = sheet.body > 0.5
    # The batch is measured along the frame in which it was set out.
    spans = [float(np.ptp(plane[inside])) + 1 / sheet.fine_px for plane in (sheet.x_mm, sheet.y_mm)]
    return develop(sheet, max(spans), min(spans), False, rng, mood.blur_mm)
