"""Caterpillars and larvae: maggots, young caterpillars, grubs, and springtail-like young."""

import numpy as np

from vision.render.hands.glassy.form import Form, axis, place, plan_form, tube, uneven
from vision.render.hands.glassy.grain import bands, blots, clouds, folds, rings, scatter, stretch
from vision.render.hands.glassy.limbs import Limb, jointed, lay_limbs, reach_mm, thread
from vision.render.hands.glassy.mood import Mood, deeper, flesh, take_mood, tint
from vision.render.hands.glassy.sheet import Colour, Sheet, develop, f32, lay, open_sheet, soften
from vision.render.hands.lent import Lent
from vision.types import FloatArray

CATERPILLARS: tuple[Colour, ...] = (
    (0.35, 0.52, 0.12),
    (0.55, 0.68, 0.35),
    (0.8, 0.76, 0.52),
    (0.45, 0.3, 0.14),
    (0.8, 0.82, 0.72),
    (0.2, 0.26, 0.08),
    (0.6, 0.45, 0.35),
)
PALE: tuple[Colour, ...] = (
    (0.9, 0.88, 0.8),
    (0.86, 0.82, 0.62),
    (0.82, 0.84, 0.74),
    (0.82, 0.7, 0.45),
    (0.7, 0.76, 0.5),
)
HEADS: tuple[Colour, ...] = ((0.05, 0.03, 0.02), (0.35, 0.18, 0.06), (0.55, 0.38, 0.15), (0.2, 0.1, 0.04))


def _posture(length_mm: float, width_mm: float, rng: np.random.Generator, curl: float) -> tuple[FloatArray, bool]:
    """An axis (n, 2) in mm: straight, wavy, C, S, J or arched, and whether it is bent; ``curl`` 0..1 bends more."""
    grid = np.linspace(0, 1, 120)
    most = min(5.2, 0.75 * length_mm / width_mm)
    kind = str(
        rng.choice(["straight", "C", "S", "J", "hump"], p=[0.42 - 0.3 * curl, 0.2 + 0.3 * curl, 0.14, 0.14, 0.1])
    )
    way = float(rng.choice([-1.0, 1.0]))
    turns = rng.normal(0, 0.12) * np.sin(grid * rng.uniform(4, 9)) + rng.normal(0, 0.12) * grid
    if kind == "C":
        turns = turns + way * grid * rng.uniform(1.2, most)
    elif kind == "S":
        turns = turns + way * rng.uniform(0.5, min(1.5, most / 2)) * np.sin(grid * 2 * np.pi)
    elif kind == "J":
        turns = turns + way * rng.uniform(1.2, min(2.6, most)) * np.clip((grid - 0.55) / 0.45, 0, 1) ** 1.2
    elif kind == "hump":
        turns = turns + way * rng.uniform(0.6, 1.2) * np.cos(grid * 2 * np.pi)
    return axis(length_mm, f32(turns)), kind != "straight"


def draw_caterpillar(below: bool, rng: np.random.Generator) -> Lent:
    """One caterpillar of 2 to 12 mm."""
    length = float(np.clip(rng.lognormal(np.log(4.2), 0.5), 2, 12))
    width = length * rng.uniform(0.1, 0.2) * (0.85 if length > 7 else 1)
    mood = take_mood(rng, width, (50, 22, 14, 8, 6))
    spine, curved = _posture(length, width, rng, 0.15)
    grid = np.linspace(0, 1, 120)
    rounds = int(rng.integers(11, 14))
    body = np.clip(np.minimum(grid / 0.07, 1), 0, 1) ** 0.5 * np.clip((1 - grid) / 0.16, 0, 1) ** 0.5
    body = body * (0.8 + 0.2 * np.sin(np.pi * grid))
    beads = np.abs(np.sin(np.pi * grid * rounds)) ** 0.6
    half = f32(body * (1 - rng.uniform(0.04, 0.14) * (1 - beads)) * width / 2)
    guide = plan_form(spine, half)
    side = rng.random() < 0.6
    flank = float(rng.choice([-1.0, 1.0]))
    limbs: list[Limb] = []
    if side:
        for along in (0.11, 0.18, 0.25):
            root, heading = place(guide, along, 0.85 * flank)
            limbs.append(
                jointed(
                    root,
                    heading + flank * rng.normal(1.9, 0.2),
                    (width * 0.2, width * 0.2),
                    (0.0, flank * 0.6),
                    width * 0.13,
                    rng,
                )
            )
        for along in (0.45, 0.53, 0.61, 0.69, 0.94) if rng.random() < 0.75 else (0.7, 0.94):
            root, heading = place(guide, along, 0.8 * flank)
            limbs.append(thread(root, heading + flank * rng.normal(1.57, 0.15), width * 0.27, 0.0, width * 0.25, 0.8))
    bristles: list[Limb] = []
    if rng.random() < 0.6:
        for along in (np.arange(rounds) + 0.5) / rounds:
            for edge in (-0.9, -0.4, 0.4, 0.9):
                root, heading = place(guide, float(along), edge)
                bristles.append(
                    thread(
                        root,
                        heading + np.sign(edge) * rng.normal(1.5, 0.4),
                        width * rng.uniform(0.1, 0.5),
                        rng.normal(0, 0.4),
                        0.012,
                        0.4,
                    )
                )
    far = max(float(np.linalg.norm(spine, axis=1).max()) + width * 0.6, reach_mm(limbs + bristles))
    sheet = open_sheet(far + 0.08 + 3 * mood.limb_blur_mm, below, rng)
    coat = tint(rng, CATERPILLARS, mood)
    lay_limbs(sheet, limbs, deeper(coat, rng.uniform(0.8, 1.6)), mood.density * 0.9, 0.2, mood.limb_blur_mm, mood.rim)
    shape = tube(sheet, spine, half, 0.0, 0.85)
    joints = f32(np.arange(1, rounds) / rounds)
    fine = f32(np.arange(1, rounds * 4) / (rounds * 4))
    lines = rings(shape, joints, 0.006) + 0.35 * rings(shape, fine, 0.003)
    inner = (
        0.3 * folds(shape, 40, 7, rng) + 0.15 * clouds(sheet, 0.06, rng) * shape.cover - 0.5 * lines * rng.uniform(0, 1)
    )
    if rng.random() < 0.6:
        rows = f32([[0.0], [-0.5, 0.5], [0.0, -0.62, 0.62]][int(rng.integers(3))])
        inner += bands(shape, rows, rng.uniform(0.06, 0.16)) * rng.uniform(-0.9, 1.6)
    inner += blots(sheet, scatter(shape, int(rng.integers(10, 60)), width * 0.05, rng), 0.01) * rng.normal(0, 0.7)
    shade = flesh(sheet, shape, mood, coat, f32(inner), rng, f32(lines))
    if mood.density < 1.4:
        wander = 0.12 * np.sin(shape.along * 21 + rng.uniform(0, 6))
        lumpy = np.clip(0.7 + 0.5 * folds(shape, 30, 3, rng), 0, 1.6)
        gut = np.exp(-(((shape.across - wander) / rng.uniform(0.2, 0.45)) ** 2)) * stretch(shape, 0.1, 0.95, 0.06)
        food = tint(rng, ((0.2, 0.35, 0.05), (0.12, 0.14, 0.04), (0.4, 0.3, 0.12)), mood)
        lay(sheet, soften(sheet, f32(gut * lumpy * rng.uniform(0.1, 0.8)), 0.015 + mood.blur_mm), food, 0.1, shade)
    dots = [place(shape, float(along), 0.55 * flank)[0] for along in (np.arange(rounds) + 0.5) / rounds]
    lay(
        sheet,
        blots(sheet, [(float(at[0]), float(at[1]), width * 0.03, width * 0.03, 0.0) for at in dots], 0.005)
        * rng.uniform(0, 1.5),
        deeper(coat, 2.5),
        0.1,
        0.7,
    )
    lay_limbs(sheet, bristles, deeper(coat, 2), 0.7, 0.1, mood.blur_mm, 0.2)
    _head(sheet, shape, mood, 0.075, tint(rng, (*HEADS, coat), mood), rng)
    return develop(sheet, length, 2 * float(half.max()), curved, rng, mood.blur_mm)


def _head(sheet: Sheet, shape: Form, mood: Mood, share: float, pigment: Colour, rng: np.random.Generator) -> None:
    """A hard head capsule over the first ``share`` of a form, with eye spots, a seam and jaws."""
    dome = stretch(shape, -0.1, share, 0.012)
    seam = bands(shape, f32([0.0]), 0.1) * dome
    plane = soften(sheet, f32(dome * (0.8 + 0.25 * folds(shape, 40, 5, rng)) - 0.4 * seam), mood.blur_mm)
    lay(sheet, f32(np.clip(plane, 0, 2) * rng.uniform(0.6, 1.8)), pigment, 0.15, 0.75)
    eyes = []
    for flank in (-0.7, 0.7):
        for step in range(3):
            at, _ = place(shape, share * (0.35 + 0.16 * step), flank)
            eyes.append((float(at[0]), float(at[1]), 0.014, 0.014, 0.0))
    lay(sheet, blots(sheet, eyes, 0.004 + mood.blur_mm) * 1.5, (0.03, 0.02, 0.02), 0.1, 0.6)


def draw_larva(below: bool, rng: np.random.Generator) -> Lent:
    """One larva of 0.4 to 1.6 mm: maggot, young caterpillar or springtail-like young."""
    plan = str(rng.choice(["maggot", "young", "springtail"], p=[0.38, 0.34, 0.28]))
    length = float(rng.uniform(0.4, 1.6))
    width = (
        length
        * {"maggot": rng.uniform(0.2, 0.36), "young": rng.uniform(0.15, 0.25), "springtail": rng.uniform(0.2, 0.32)}[
            plan
        ]
    )
    mood = take_mood(rng, width * 1.2, (62, 16, 8, 7, 7))
    spine, curved = _posture(length, width, rng, 0.0 if plan == "springtail" else 0.5)
    if plan == "springtail":
        spine, curved = axis(length, f32(np.linspace(0, rng.normal(0, 0.35), 120))), False
    grid = np.linspace(0, 1, 120)
    rounds = {"maggot": 11, "young": 13, "springtail": 9}[plan]
    if plan == "maggot":
        body = np.clip(grid * 1.02, 0, 1) ** rng.uniform(0.4, 0.75) * np.clip((1 - grid) / 0.22, 0, 1) ** 0.5
    elif plan == "young":
        body = np.clip(grid / 0.06, 0, 1) ** 0.5 * np.clip((1 - grid) / 0.2, 0, 1) ** 0.5
        body = body * (0.85 + 0.3 * (grid < 0.12) * (rng.random() < 0.6))
    else:
        knots = np.array([0, 0.03, 0.1, 0.17, 0.2, 0.3, 0.55, 0.75, 0.9, 1])
        body = np.interp(grid, knots, [0, 0.55, 0.8, 0.62, 0.55, 0.75, 1, 0.95, 0.55, 0])
    body = body * (1 - rng.uniform(0.03, 0.12) * (np.cos(grid * rounds * 2 * np.pi) > 0.5))
    if mood.state in ("heated", "squashed"):
        body = body * (1 + 0.12 * uneven(120, rng))
    half = f32(body / body.max() * width / 2)
    guide = plan_form(spine, half)
    limbs = _small_limbs(guide, plan, length, width, rng)
    far = max(float(np.linalg.norm(spine, axis=1).max()) + width * 0.6, reach_mm(limbs))
    sheet = open_sheet(far + 0.08 + 3 * mood.limb_blur_mm, below, rng)
    coat = tint(rng, PALE, mood, 0.08)
    lay_limbs(sheet, limbs, deeper(coat, rng.uniform(1.0, 2.5)), mood.limb_density * 0.9, 0.3, mood.limb_blur_mm, 1.0)
    shape = tube(sheet, spine, half, 0.0, 0.9)
    lines = rings(shape, f32(np.arange(1, rounds) / rounds), 0.009)
    inner = 0.3 * folds(shape, 22, 6, rng) + lines * rng.uniform(-0.6, 0.8)
    inner += blots(sheet, scatter(shape, int(rng.integers(6, 30)), width * 0.09, rng), 0.006) * rng.normal(0, 0.7)
    flesh(sheet, shape, mood, coat, f32(inner), rng, lines)
    wander = 0.22 * np.sin(shape.along * rng.uniform(8, 18))
    gut = np.exp(-(((shape.across - wander) / rng.uniform(0.15, 0.35)) ** 2)) * stretch(shape, 0.15, 0.85, 0.08)
    food = tint(rng, ((0.25, 0.3, 0.08), (0.35, 0.2, 0.08), (0.6, 0.5, 0.25), (0.1, 0.08, 0.05)), mood)
    lay(sheet, soften(sheet, f32(gut * rng.uniform(0.0, 0.9)), 0.01 + mood.blur_mm), food, 0.15, 0.7)
    if plan == "maggot":
        if rng.random() < 0.6:
            lay(
                sheet,
                bands(shape, f32([-0.45, 0.45]), 0.07) * stretch(shape, 0.1, 0.97) * rng.uniform(0.2, 0.8),
                (0.5, 0.45, 0.4),
                0.5,
                0.9,
            )
        hook = [place(shape, along, across) for along, across in ((0.03, 0.2), (0.07, -0.2), (0.11, 0.2))]
        ovals = [(float(at[0]), float(at[1]), length * 0.028, width * 0.045, way) for at, way in hook]
        lay(sheet, blots(sheet, ovals, 0.004 + mood.blur_mm) * 2.2, (0.06, 0.03, 0.02), 0.1, 0.6)
        rear = [place(shape, 0.97, across)[0] for across in (-0.4, 0.4)]
        lay(
            sheet,
            blots(sheet, [(float(at[0]), float(at[1]), 0.015, 0.015, 0.0) for at in rear], 0.004) * rng.uniform(0, 1.5),
            (0.3, 0.15, 0.06),
            0.1,
            0.7,
        )
    elif plan == "young":
        _head(sheet, shape, mood, 0.12, tint(rng, HEADS, mood), rng)
    else:
        eyes = [place(shape, 0.08, across)[0] for across in (-0.6, 0.6)]
        lay(
            sheet,
            blots(sheet, [(float(at[0]), float(at[1]), 0.018, 0.014, 0.0) for at in eyes], mood.blur_mm)
            * rng.uniform(0.2, 2),
            (0.08, 0.05, 0.08),
            0.1,
            0.6,
        )
    return develop(sheet, length, 2 * float(half.max()), curved, rng, mood.blur_mm)


def _small_limbs(guide: Form, plan: str, length: float, width: float, rng: np.random.Generator) -> list[Limb]:
    """Six short legs, antennae and a springing fork, or a few bristles."""
    limbs: list[Limb] = []
    if plan != "maggot":
        long = width * (0.75 if plan == "springtail" else 0.3)
        for along in (0.22, 0.32, 0.42) if plan == "springtail" else (0.14, 0.2, 0.26):
            for flank in (-1.0, 1.0):
                root, heading = place(guide, along, 0.75 * flank)
                limbs.append(
                    jointed(
                        root,
                        heading + flank * rng.normal(1.5, 0.35),
                        (long * 0.5, long * 0.5),
                        (0.0, flank * rng.normal(0.2, 0.4)),
                        max(0.014, width * 0.1),
                        rng,
                    )
                )
    if plan == "springtail":
        for flank in (-1.0, 1.0):
            root, heading = place(guide, 0.03, 0.5 * flank)
            limbs.append(
                thread(
                    root,
                    heading + np.pi - flank * rng.uniform(0.3, 0.9),
                    length * rng.uniform(0.14, 0.3),
                    rng.normal(0, 0.4),
                    max(0.016, width * 0.11),
                    0.7,
                )
            )
            if rng.random() < 0.5:
                root, heading = place(guide, 0.93, 0.2 * flank)
                limbs.append(thread(root, heading + flank * 0.15, length * 0.18, 0.2 * flank, 0.018, 0.4))
    if rng.random() < 0.6:
        for along in np.linspace(0.12, 0.97, 10):
            for flank in (-0.95, 0.95):
                root, heading = place(guide, float(along), flank)
                limbs.append(
                    thread(root, heading + flank * rng.normal(1.1, 0.3), width * rng.uniform(0.1, 0.3), 0.0, 0.009, 0.4)
                )
    return limbs
