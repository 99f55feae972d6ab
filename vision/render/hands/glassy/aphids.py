"""Aphids, whole, soaked, winged or from the side, and their empty cast skins."""

import numpy as np

from vision.render.hands.glassy.form import Form, egg_curve, lump, place, plan_form, straight, tube, uneven
from vision.render.hands.glassy.grain import bands, blots, cells, clouds, folds, rings, scatter, stretch
from vision.render.hands.glassy.limbs import Limb, jointed, lay_limbs, reach_mm, strips, thread
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
from vision.render.hands.glassy.wings import Wing, lay_wings
from vision.render.hands.lent import Lent
from vision.types import FloatArray

COATS: tuple[Colour, ...] = (
    (0.42, 0.55, 0.14),
    (0.5, 0.62, 0.3),
    (0.25, 0.3, 0.07),
    (0.3, 0.18, 0.07),
    (0.05, 0.045, 0.04),
    (0.3, 0.3, 0.28),
    (0.5, 0.2, 0.13),
    (0.78, 0.76, 0.62),
    (0.72, 0.66, 0.25),
    (0.14, 0.16, 0.06),
)
DARK: Colour = (0.09, 0.055, 0.035)


def _legs(shape: Form, mood: Mood, side: bool, rng: np.random.Generator, drawn_up: float) -> list[Limb]:
    """Six legs of a body with its head at the start of its axis; ``drawn_up`` 0..1 folds them in."""
    length = float(np.linalg.norm(np.diff(shape.axis_mm, axis=0), axis=1).sum())
    width = float(shape.half_mm.max())
    out = []
    for number, along in enumerate((0.2, 0.31, 0.43)):
        for flank in (-1.0, 1.0):
            if rng.random() < 0.13:
                continue
            root, heading = place(shape, along, 0.75 if side else 0.7 * flank)
            lean = (2.35, 1.75, 0.75)[number] if not side else 1.5 + (0.7, 0.0, -0.7)[number]
            way = 1.0 if side else flank
            parts = (length * 0.11 + width * 0.3, length * (0.24 + 0.05 * number), length * 0.07)
            bend = rng.uniform(0.2, 0.8) + drawn_up * 1.8
            knee = -1.0 if number == 0 else 1.0
            first = heading + way * (lean + rng.normal(0, 0.25)) + (0.25 * flank if side else 0)
            keep = 1.0 if rng.random() < 0.8 else rng.uniform(0.35, 0.8)
            out.append(
                jointed(
                    root,
                    first,
                    parts,
                    (0.0, -way * knee * bend, -way * knee * rng.normal(0.2, 0.3)),
                    mood.limb_mm * 1.15,
                    rng,
                    keep,
                )
            )
    return out


def _feelers(shape: Form, mood: Mood, share: float, rng: np.random.Generator) -> list[Limb]:
    """Two antennae, ``share`` of the body's length."""
    length = float(np.linalg.norm(np.diff(shape.axis_mm, axis=0), axis=1).sum())
    out = []
    back = rng.random() < 0.55
    for flank in (-1.0, 1.0):
        if rng.random() < 0.1:
            continue
        root, heading = place(shape, 0.03, 0.6 * flank)
        spread = rng.uniform(1.0, 1.6) if back else rng.uniform(0.2, 0.8)
        out.append(
            thread(
                root,
                heading + np.pi - flank * spread,
                length * share * rng.uniform(0.75, 1.1),
                -flank * rng.uniform(0.2, 1.5) * (1 if back else 0.4),
                mood.limb_mm * 0.75,
                0.3,
            )
        )
    return out


def _tail(shape: Form, mood: Mood, side: bool, rng: np.random.Generator) -> list[Limb]:
    """The two small tubes near the rear, and the tail piece."""
    length = float(np.linalg.norm(np.diff(shape.axis_mm, axis=0), axis=1).sum())
    out = []
    size = rng.choice([0.04, 0.1, 0.15, 0.2])
    splay = rng.uniform(0.15, 0.8)
    for flank in (-1.0, 1.0):
        root, heading = place(shape, 0.82, -0.45 - 0.3 * (flank > 0) if side else 0.72 * flank)
        way = heading - (0.8 if side else -splay * flank) + rng.normal(0, 0.1)
        out.append(thread(root, way, length * size, rng.normal(0, 0.2), max(mood.limb_mm * 1.25, 0.022), 0.75))
    root, heading = place(shape, 0.96, 0.0)
    out.append(thread(root, heading, length * 0.11, rng.normal(0, 0.2), mood.limb_mm * 2, 0.4))
    return out


def _inside(sheet: Sheet, shape: Form, mood: Mood, rng: np.random.Generator) -> FloatArray:
    """Structure (h, w) about -1..1 seen through an aphid: gut, fat, segments, spots and a clear midline."""
    plan = rng.uniform(0, 1, 6)
    inner = 0.35 * folds(shape, 16, 8, rng) + 0.2 * clouds(sheet, 0.05, rng) * shape.cover
    lines = rings(shape, f32(np.linspace(0.2, 0.95, 9)), 0.008, rng.uniform(-0.05, 0.05))
    inner -= lines * rng.uniform(-0.3, 0.7)
    if plan[0] < 0.6:
        wander = 0.25 * np.sin(shape.along * rng.uniform(9, 22) + rng.uniform(0, 6))
        gut = np.exp(-(((shape.across - wander) / rng.uniform(0.12, 0.3)) ** 2)) * stretch(shape, 0.25, 0.9, 0.2)
        inner += gut * rng.uniform(-0.8, 1.4)
    if plan[1] < 0.35:
        rows = f32(rng.choice([-1.0, 1.0]) * np.array([-0.5, 0.5]) * rng.uniform(0.7, 1.2))
        inner += bands(shape, rows, 0.14) * rings(shape, f32(np.linspace(0.28, 0.85, 7)), 0.025) * rng.uniform(0.6, 2)
    if plan[2] < 0.5:
        inner -= blots(sheet, scatter(shape, int(rng.integers(8, 30)), 0.035, rng, (0.3, 0.9)), 0.01) * 0.6
    if plan[3] < 0.3:
        inner += stretch(shape, 0.0, rng.uniform(0.16, 0.42), 0.05) * rng.uniform(0.3, 1.5)
    if plan[4] < 0.25:
        tone, wall = cells(sheet, 0.04, rng)
        inner += 0.35 * (tone - 0.5) + 0.3 * wall * rng.uniform(0, 1)
    return f32(inner)


def _embryos(sheet: Sheet, shape: Form, mood: Mood, pigment: Colour, rng: np.random.Generator) -> None:
    """Unborn young in the abdomen: pale spindles, each with two dark eyes."""
    count = int(rng.integers(2, 9))
    ovals, eyes = [], []
    half = float(shape.half_mm.max())
    for _ in range(count):
        at, heading = place(shape, rng.uniform(0.42, 0.82), rng.uniform(-0.55, 0.55))
        turned = heading + rng.normal(0, 0.5)
        long = half * rng.uniform(0.25, 0.42)
        ovals.append((float(at[0]), float(at[1]), long, long * 0.42, turned))
        for flank in (-0.17, 0.17):
            tip = at + long * 0.7 * f32([np.cos(turned + flank), np.sin(turned + flank)])
            eyes.append((float(tip[0]), float(tip[1]), 0.012, 0.012, 0.0))
    plane = blots(sheet, ovals, 0.008 + mood.blur_mm) * shape.cover
    shell = np.clip(plane - soften(sheet, plane, 0.02), 0, 1)
    lay(sheet, f32((plane * 0.35 + shell * 1.6) * min(1.0, mood.density)), pigment, 0.5, 0.8)
    lay(sheet, blots(sheet, eyes, 0.006 + mood.blur_mm) * 1.2, (0.25, 0.04, 0.03), 0.1, 0.6)


def draw_aphid(below: bool, rng: np.random.Generator) -> Lent:
    """One aphid of 0.8 to 2.6 mm."""
    length = float(np.clip(rng.lognormal(np.log(1.45), 0.32), 0.8, 2.6))
    side = rng.random() < 0.28
    mood = take_mood(rng, length * 0.5)
    slim = rng.uniform(0.3, 0.48) if side else rng.uniform(0.38, 0.64)
    if mood.state in ("swollen", "squashed"):
        slim = min(0.75, slim * 1.2)
    if mood.state == "heated":
        slim *= rng.uniform(0.75, 1)
    half = egg_curve(60, rng.uniform(1.1, 1.75), rng.uniform(0.45, 0.7)) * (slim * length / 2)
    neck = np.exp(-(((np.linspace(0, 1, 60) - 0.16) / 0.05) ** 2))
    half = f32(half * (1 - rng.uniform(0.0, 0.14) * neck))
    if mood.state in ("heated", "squashed"):
        half = f32(half * (1 + rng.uniform(0.03, 0.13) * uneven(60, rng)))
    bow = rng.normal(0, 0.25) + (rng.uniform(-0.9, -0.1) if side else 0.0)
    if rng.random() < 0.08:
        bow *= 3
    spine = straight(length, 60, bow)
    guide = plan_form(spine, half)
    drawn_up = float(rng.beta(0.8, 2.0))
    bare = rng.random() < 0.1
    legs = [] if bare else _legs(guide, mood, side, rng, drawn_up)
    feelers = [] if bare and rng.random() < 0.5 else _feelers(guide, mood, rng.uniform(0.5, 1.15), rng)
    tail = _tail(guide, mood, side, rng)
    wings = _aphid_wings(guide, length, side, rng) if rng.random() < 0.15 else []
    far = max(length * 0.62, reach_mm(legs + feelers + tail), *[wing.reach_mm for wing in wings], 0.0)
    sheet = open_sheet(far + 3 * mood.limb_blur_mm + 0.06, below, rng)
    coat = tint(rng, COATS, mood)
    limb = tint(rng, (deeper(coat, 1.3), DARK, (0.55, 0.45, 0.25), (0.75, 0.7, 0.5)), mood)
    lay_limbs(sheet, legs + feelers, limb, mood.limb_density, 0.15, mood.limb_blur_mm, mood.rim)
    if mood.state == "squashed":
        _leak(sheet, length, coat, rng)
    shape = tube(sheet, spine, half, rng.uniform(0.1, 0.35) * (-1 if side else 0), rng.uniform(0.5, 0.95))
    inner = _inside(sheet, shape, mood, rng)
    grooves = rings(shape, f32(np.linspace(0.18, 0.95, 9)), 0.014, 0.03) * mood.wrinkle
    lay_limbs(
        sheet,
        tail,
        tint(rng, (deeper(coat, 1.4), coat, DARK), mood),
        mood.limb_density * 1.2,
        0.2,
        mood.limb_blur_mm,
        mood.rim,
    )
    flesh(sheet, shape, mood, coat, inner, rng, grooves)
    if rng.random() < 0.45 and mood.density < 1.3:
        _embryos(sheet, shape, mood, tint(rng, (coat, (0.75, 0.7, 0.4))), rng)
    eyes = [place(shape, 0.075, flank)[0] for flank in ((0.45,) if side else (-0.85, 0.85))]
    eye = length * rng.uniform(0.016, 0.026)
    spots = blots(sheet, [(float(at[0]), float(at[1]), eye, eye * 0.8, 0.0) for at in eyes], mood.blur_mm * 0.7)
    lay(sheet, spots * rng.uniform(1, 3), tint(rng, ((0.3, 0.03, 0.03), (0.03, 0.02, 0.02))), 0.1, 0.7)
    if rng.random() < 0.15:
        _air(sheet, shape, mood, rng)
    if rng.random() < 0.3:
        points = [place(shape, rng.uniform(0.02, 1), flank * 0.95) for flank in (-1, 1) for _ in range(14)]
        fuzz = [thread(at, heading + rng.uniform(0, 6.3), 0.07, 0.3, 0.008, 0.4) for at, heading in points]
        lay_limbs(sheet, fuzz, limb, 0.6, 0.1, mood.blur_mm, 0.3)
    lay_wings(sheet, wings, mood, rng)
    return develop(sheet, length, 2 * float(half.max()), abs(bow) > 1.0, rng, mood.blur_mm)


def _aphid_wings(shape: Form, length: float, side: bool, rng: np.random.Generator) -> list[Wing]:
    """Two long clear wings, laid back or spread."""
    out = []
    spread = rng.uniform(0.1, 1.2)
    for flank in (-1.0, 1.0):
        root, heading = place(shape, 0.28, 0.4 * flank if not side else -0.7)
        way = heading + (flank * spread if not side else -0.35 + 0.2 * flank)
        out.append(Wing(root, way, length * rng.uniform(0.95, 1.3), length * 0.36, flank, "few"))
    return out


def _leak(sheet: Sheet, length_mm: float, pigment: Colour, rng: np.random.Generator) -> None:
    """Juice pressed out of a body: a thin ragged stain beside it."""
    spot = rng.normal(0, 0.2 * length_mm, 2)
    size = length_mm * rng.uniform(0.15, 0.33)
    pool = lump(sheet, (float(spot[0]), float(spot[1])), (size, size * rng.uniform(0.4, 0.9)), 0.35, rng, 0.1)
    mottle = np.clip(0.6 + 0.5 * clouds(sheet, 0.08, rng), 0, 2)
    lay(sheet, soften(sheet, f32(pool.cover * mottle * rng.uniform(0.1, 0.5)), 0.03), pigment, 0.2, 0.8)


def _air(sheet: Sheet, shape: Form, mood: Mood, rng: np.random.Generator) -> None:
    """An air bubble inside: dark ring, clear middle."""
    at, _ = place(shape, rng.uniform(0.3, 0.8), rng.uniform(-0.4, 0.4))
    size = float(shape.half_mm.max()) * rng.uniform(0.15, 0.4)
    disc = blots(sheet, [(float(at[0]), float(at[1]), size, size * rng.uniform(0.7, 1), 0.0)], 0.003 + mood.blur_mm)
    ring = np.clip(disc - soften(sheet, disc, size * 0.35), 0, 1)
    bend_away(sheet, f32(ring), 3.5)
    brighten(sheet, f32(soften(sheet, disc, size * 0.2) * disc), 0.12)


def draw_skin(below: bool, rng: np.random.Generator) -> Lent:
    """The nearly clear, crumpled cast skin of an aphid, split along the back."""
    length = float(rng.uniform(0.6, 2.2))
    mood = take_mood(rng, length * 0.4, (1, 0, 0, 0, 0))
    half = egg_curve(60, rng.uniform(0.8, 1.6), rng.uniform(0.5, 0.9)) * (length * rng.uniform(0.28, 0.55) / 2)
    half = f32(half * (1 + 0.07 * np.cumsum(rng.normal(size=60)) / 4))
    bow = rng.normal(0, 0.5)
    spine = straight(length, 60, bow)
    guide = plan_form(spine, half)
    limbs = _legs(guide, mood, False, rng, float(rng.beta(1, 1))) + _feelers(guide, mood, rng.uniform(0.4, 1), rng)
    tail = _tail(guide, mood, False, rng)
    sheet = open_sheet(max(length * 0.65, reach_mm(limbs + tail)) + 0.3, below, rng)
    shape = tube(sheet, spine, half, rng.uniform(-0.2, 0.2), 0.5)
    wax = tint(rng, ((0.86, 0.85, 0.8), (0.8, 0.76, 0.62), (0.72, 0.66, 0.5)))
    cover = strips(sheet, limbs + tail)
    sheath = f32(np.clip(cover - soften(sheet, cover, mood.limb_mm * 0.3), 0, 1) * 2.2 + 0.12 * cover)
    lay(sheet, soften(sheet, sheath * rng.uniform(0.5, 1.4), mood.limb_blur_mm), deeper(wax, 1.8), 0.5, 0.9)
    crumple = folds(shape, 26, 8, rng) + 0.8 * folds(shape, 9, 14, rng)
    creases = np.exp(-((crumple / rng.uniform(0.12, 0.3)) ** 2)) * shape.cover
    slit = np.exp(-(((shape.across - 0.2 * np.sin(shape.along * 7)) / 0.12) ** 2)) * stretch(shape, 0.02, 0.5, 0.15)
    bend, shade, gloss = relief(sheet, soften(sheet, f32(shape.height_mm * (1 + 0.12 * crumple)), 0.012))
    seam = rings(shape, f32(np.linspace(0.15, 0.95, 10)), 0.007, 0.03)
    density = rng.uniform(0.1, 0.45) * shape.cover * (0.6 + 1.5 * creases + 1.2 * seam) * (1 - 0.85 * slit)
    lay(sheet, soften(sheet, f32(density), mood.blur_mm), wax, rng.uniform(0.1, 0.5), shade)
    bend_away(sheet, f32(bend * shape.cover * (1 - 0.5 * slit)), rng.uniform(0.25, 0.7))
    brighten(sheet, f32(gloss * shape.cover), 0.3)
    cover_with(sheet, shape.cover)
    return develop(sheet, length, 2 * float(half.max()), abs(bow) > 1, rng, mood.blur_mm)
