"""Thrips, grown and young, and thin flies (gnats)."""

import numpy as np

from vision.render.hands.glassy.form import Form, axis, place, plan_form, straight, tube
from vision.render.hands.glassy.grain import bands, blots, folds, rings, scatter, stretch
from vision.render.hands.glassy.limbs import Limb, jointed, lay_limbs, reach_mm, thread
from vision.render.hands.glassy.mood import Mood, deeper, flesh, take_mood, tint
from vision.render.hands.glassy.sheet import Colour, Sheet, develop, f32, lay, open_sheet
from vision.render.hands.glassy.wings import Wing, lay_wings
from vision.render.hands.lent import Lent

GROWN: tuple[Colour, ...] = ((0.65, 0.45, 0.1), (0.3, 0.16, 0.06), (0.06, 0.045, 0.035), (0.7, 0.6, 0.25))
YOUNG: tuple[Colour, ...] = ((0.86, 0.84, 0.7), (0.8, 0.7, 0.3), (0.75, 0.78, 0.5), (0.85, 0.6, 0.25))
FLIES: tuple[Colour, ...] = (
    (0.08, 0.06, 0.05),
    (0.25, 0.17, 0.08),
    (0.5, 0.4, 0.18),
    (0.4, 0.45, 0.2),
    (0.16, 0.15, 0.14),
)


def draw_thrips(below: bool, rng: np.random.Generator) -> Lent:
    """One thrips of 0.5 to 1.6 mm; the young are pale and without wings."""
    young = rng.random() < 0.42
    length = float(rng.uniform(0.5, 1.1) if young else rng.uniform(0.75, 1.6))
    width = length * rng.uniform(0.155, 0.23)
    mood = take_mood(rng, width * 1.4, (60, 20, 8, 7, 5) if young else (25, 45, 18, 8, 4))
    grid = np.linspace(0, 1, 80)
    knots = np.array([0, 0.015, 0.07, 0.13, 0.15, 0.22, 0.27, 0.4, 0.44, 0.62, 0.82, 0.93, 1.0])
    wide = np.array([0, 0.42, 0.55, 0.5, 0.6, 0.72, 0.85, 0.92, 0.86, 1.0, 0.8, 0.4, 0.0])
    wide = wide * np.exp(rng.normal(0, 0.06, len(wide)))
    half = f32(np.interp(grid, knots, wide) * width / 2)
    half = f32(half / half.max() * width / 2 * (1 - 0.05 * (np.cos(grid * 2 * np.pi * 16) > 0.7) * (grid > 0.44)))
    bow = float(rng.normal(0, 0.45) if rng.random() < 0.8 else rng.uniform(1.1, 2.2) * rng.choice([-1, 1]))
    spine = straight(length, 80, bow)
    guide = plan_form(spine, half)
    limbs: list[Limb] = []
    for number, along in enumerate((0.19, 0.28, 0.38)):
        for flank in (-1.0, 1.0):
            if rng.random() < 0.15:
                continue
            root, heading = place(guide, along, 0.8 * flank)
            lean = (2.2, 1.7, 0.9)[number] + rng.normal(0, 0.25)
            bend = flank * (0.7 if number == 0 else -0.7) * rng.uniform(0.3, 1.6)
            limbs.append(
                jointed(
                    root,
                    heading + flank * lean,
                    (length * 0.09, length * 0.1, length * 0.03),
                    (0.0, bend, 0.2),
                    max(0.014, width * 0.16),
                    rng,
                )
            )
    beads: list[Limb] = []
    for flank in (-1.0, 1.0):
        root, heading = place(guide, 0.01, 0.5 * flank)
        feeler = thread(
            root,
            heading + np.pi - flank * rng.uniform(0.15, 0.75),
            length * rng.uniform(0.15, 0.22),
            rng.normal(0, 0.4),
            max(0.012, width * 0.13),
            0.5,
        )
        knob = 1 + 0.45 * np.cos(np.arange(10) * 2.1)
        beads.append(Limb(feeler.points_mm, f32(feeler.wide_mm * knob)))
    wings: list[Wing] = []
    if not young and rng.random() < 0.85:
        spread = rng.uniform(0.02, 0.18) if rng.random() < 0.6 else rng.uniform(0.3, 1.3)
        for flank in (-1.0, 1.0):
            root, heading = place(guide, 0.3, 0.3 * flank)
            wings.append(
                Wing(root, heading + flank * spread, length * rng.uniform(0.5, 0.62), width * 0.3, flank, "fringe")
            )
    far = max(length * 0.55, reach_mm(limbs + beads), *[wing.reach_mm + 0.15 * length for wing in wings], 0.0)
    sheet = open_sheet(far + 0.1 + 3 * mood.limb_blur_mm, below, rng)
    coat = tint(rng, YOUNG if young else GROWN, mood)
    limb = tint(rng, (coat, deeper(coat, 0.6)))
    lay_limbs(sheet, limbs, limb, mood.limb_density, 0.2, mood.limb_blur_mm, mood.rim)
    lay_limbs(sheet, beads, tint(rng, (coat, deeper(coat, 1.5))), mood.limb_density, 0.2, mood.limb_blur_mm, 0.5)
    shape = tube(sheet, spine, half, 0.0, 0.8)
    joints = f32(np.concatenate([[0.14, 0.24, 0.42], np.linspace(0.47, 0.95, 9)]))
    lines = rings(shape, joints, 0.009, rng.uniform(-0.03, 0.03))
    inner = 0.3 * folds(shape, 18, 5, rng) + lines * rng.uniform(-0.8, 1.2)
    gut = bands(shape, f32([rng.normal(0, 0.1)]), 0.3) * stretch(shape, 0.15, 0.85, 0.1)
    inner += gut * rng.uniform(0, 1.5) + blots(sheet, scatter(shape, 10, 0.02, rng, (0.4, 0.9)), 0.005) * rng.normal(
        0, 0.6
    )
    if rng.random() < 0.4:
        inner += stretch(shape, 0.44, 1, 0.02) * rng.uniform(0.3, 1.2) * (shape.along * 14 % 1 > 0.35)
    flesh(sheet, shape, mood, coat, f32(inner), rng, f32(lines))
    eye = width * rng.uniform(0.07, 0.12)
    eyes = [place(shape, 0.055, flank)[0] for flank in (-0.75, 0.75)]
    lay(
        sheet,
        blots(sheet, [(float(at[0]), float(at[1]), eye, eye, 0.0) for at in eyes], mood.blur_mm) * 2.0,
        (0.3, 0.02, 0.02) if young else (0.05, 0.02, 0.02),
        0.1,
        0.6,
    )
    tail = [
        thread(*place(shape, share, flank), 0.09 * length, flank * 0.3, 0.009, 0.4)
        for share in (0.8, 0.88, 0.95)
        for flank in (-0.8, 0.8)
    ]
    lay_limbs(sheet, tail, deeper(coat, 1.5), 0.7, 0.1, mood.limb_blur_mm, 0.2)
    lay_wings(sheet, wings, mood, rng)
    return develop(sheet, length, 2 * float(half.max()), abs(bow) > 1.0, rng, mood.blur_mm)


def draw_gnat(below: bool, rng: np.random.Generator) -> Lent:
    """One thin fly of 1 to 3 mm, from above or from the side."""
    length = float(rng.uniform(1.0, 3.0))
    side = rng.random() < 0.5
    slim = rng.uniform(0.15, 0.24)
    mood = take_mood(rng, length * slim * 1.3, (26, 42, 18, 9, 5))
    grid = np.linspace(0, 1, 90)
    hump = rng.uniform(1.1, 1.5) if side else rng.uniform(0.95, 1.25)
    knots = np.array([0, 0.03, 0.08, 0.115, 0.135, 0.19, 0.27, 0.36, 0.4, 0.6, 0.85, 0.96, 1])
    wide = np.array([0, 0.5, 0.55, 0.35, 0.3, hump * 0.8, hump, 0.7, 0.5, rng.uniform(0.5, 0.9), 0.45, 0.3, 0])
    half = f32(np.interp(grid, knots, wide))
    half = f32(half / half.max() * length * slim / 2)
    droop = rng.uniform(0.2, 1.6) if side else abs(rng.normal(0, 0.3))
    turns = -0.9 * (grid < 0.14) * side - 0.2 + droop * np.clip(grid - 0.35, 0, 1) / 0.65
    spine = axis(length, f32(turns))
    guide = plan_form(spine, half)
    limbs: list[Limb] = []
    for number, along in enumerate((0.2, 0.27, 0.33)):
        for flank in (-1.0, 1.0):
            if rng.random() < 0.2:
                continue
            root, heading = place(guide, along, 0.8 if side else 0.6 * flank)
            way = 1.0 if side else flank
            lean = (2.1, 1.5, 0.8)[number] + rng.normal(0, 0.35)
            parts = tuple(float(value) for value in length * np.array([0.24, 0.27, 0.3]) * rng.uniform(0.75, 1.25))
            bends = (0.0, -way * rng.uniform(-0.3, 1.5), way * rng.uniform(0.0, 0.7))
            limbs.append(
                jointed(
                    root,
                    heading + way * lean,
                    parts,
                    bends,
                    float(np.clip(mood.limb_mm, 0.014, 0.035)),
                    rng,
                    1.0 if rng.random() < 0.75 else 0.6,
                )
            )
    plume = rng.random() < 0.35
    hairs: list[Limb] = []
    for flank in (-1.0, 1.0):
        root, heading = place(guide, 0.03, 0.5 * flank)
        way = heading + np.pi - flank * rng.uniform(0.3, 0.9)
        stem = thread(root, way, length * rng.uniform(0.16, 0.3), rng.normal(0, 0.5), 0.018, 0.5)
        limbs.append(stem)
        for share in range(1, 9) if plume else ():
            hairs += [
                thread(stem.points_mm[share], way + edge, length * 0.09, -edge * 0.5, 0.007, 0.4)
                for edge in (-0.8, 0.8)
            ]
    wings: list[Wing] = []
    spread = rng.uniform(0.05, 0.3) if rng.random() < 0.5 else rng.uniform(0.5, 1.4)
    for flank in (-1.0, 1.0):
        if rng.random() < 0.1:
            continue
        root, heading = place(guide, 0.25, -0.7 if side else 0.5 * flank)
        way = heading - spread * 0.8 - 0.15 * flank if side else heading + flank * spread
        wings.append(Wing(root, way, length * rng.uniform(0.68, 0.95), length * rng.uniform(0.2, 0.3), flank, "many"))
    far = max(length * 0.6, reach_mm(limbs + hairs), *[wing.reach_mm for wing in wings], 0.0)
    sheet = open_sheet(far + 0.08 + 3 * mood.limb_blur_mm, below, rng)
    coat = tint(rng, FLIES, mood)
    first = wings if not side and rng.random() < 0.5 else []
    lay_wings(sheet, first, mood, rng)
    lay_limbs(
        sheet,
        limbs,
        tint(rng, (coat, deeper(coat, 0.6), (0.5, 0.38, 0.18))),
        mood.limb_density,
        0.15,
        mood.limb_blur_mm,
        mood.rim,
    )
    lay_limbs(sheet, hairs, coat, 0.5, 0.1, mood.limb_blur_mm, 0.2)
    shape = tube(sheet, spine, half, 0.0, 0.85)
    lines = rings(shape, f32(np.linspace(0.42, 0.95, 8)), 0.009)
    inner = 0.3 * folds(shape, 20, 6, rng) + stretch(shape, 0.13, 0.39, 0.03) * rng.uniform(0, 1.3)
    inner += stretch(shape, 0.4, 1.0, 0.02) * (rng.uniform(-0.5, 0.3) - 0.7 * lines)
    inner += rng.uniform(0, 1) * stretch(shape, 0.42, 0.98) * ((shape.along - 0.42) / 0.0757 % 1 > 0.5)
    inner += bands(shape, f32([0.0, -0.5, 0.5]), 0.12) * stretch(shape, 0.14, 0.36, 0.03) * rng.normal(0, 0.6)
    flesh(sheet, shape, mood, coat, f32(inner), rng, lines)
    _face(shape, mood, side, length * slim, rng, sheet)
    lay_wings(sheet, [] if first else wings, mood, rng)
    return develop(sheet, length, 2 * float(half.max()), droop > 0.7, rng, mood.blur_mm)


def _face(shape: Form, mood: Mood, side: bool, width_mm: float, rng: np.random.Generator, sheet: Sheet) -> None:
    """The big dark eyes of a fly."""
    size = width_mm * rng.uniform(0.15, 0.22)
    spots = [place(shape, 0.06, flank) for flank in ((0.1,) if side else (-0.7, 0.7))]
    ovals = [(float(at[0]), float(at[1]), size * (1.25 if side else 1), size * 0.75, way + 1.2) for at, way in spots]
    lay(sheet, blots(sheet, ovals, 0.004 + mood.blur_mm) * rng.uniform(1.2, 3), (0.14, 0.03, 0.025), 0.1, 0.7)
