"""The engine of animals: a chain along a bent middle line, with limbs, wings, tubes and hairs, in a random state."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.varied.look import Look, colour, draw_look, limb_colour, paint
from vision.render.hands.varied.plans import PLANS, Lobe, Plan
from vision.render.hands.varied.sheet import Form, Sheet, Stroke, f32, noise, reach_of, wobble
from vision.types import FloatArray

SAMPLES = 240


@dataclass(frozen=True)
class Frame:
    """A body's middle line (n, 2), its sideways directions (n, 2) and half-widths (n,), all in mm, head first."""

    line_mm: FloatArray
    aside: FloatArray
    left_mm: FloatArray
    right_mm: FloatArray
    length_mm: float
    turn: float

    def spot(self, along: float, across: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the point (2,) in mm at shares of length and half-width, and the ways (2,) headward and sideways."""
        at = int(np.clip(round(along * (SAMPLES - 1)), 0, SAMPLES - 1))
        right = self.aside[at]
        half = self.right_mm[at] if across > 0 else self.left_mm[at]
        return f32(self.line_mm[at] + right * (across * half)), f32([-right[1], right[0]]), right


def middle_line(length_mm: float, turn: float, winding: bool, rng: np.random.Generator) -> FloatArray:
    """Return a line (SAMPLES, 2) of that length in mm that turns by `turn` radians in all, or winds to and fro."""
    at = f32(np.linspace(0, 1, SAMPLES))
    where = rng.uniform(0.3, 0.7)
    bend = np.exp(-(((at - where) / rng.uniform(0.2, 0.9)) ** 2))
    if winding:
        bend = np.sin(2 * np.pi * (at * rng.uniform(0.8, 1.3) + rng.uniform(-0.1, 0.1)))
    heading = np.cumsum(bend) / np.abs(bend).sum() * turn
    line = np.stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))], axis=1) * length_mm / (SAMPLES - 1)
    return f32(line - line.mean(axis=0))


def profile(lobes: tuple[Lobe, ...], rings: int, depth: float, rng: np.random.Generator) -> FloatArray:
    """Return half-widths (SAMPLES,), greatest 1, of an outline made of lobes and nicked by rings."""
    at = np.linspace(-0.1, 1.1, 600)
    wide = np.zeros_like(at)
    for lobe in lobes:
        middle, half, height, blunt = (rng.uniform(*spread) for spread in lobe)
        wide = np.maximum(wide, height * np.clip(1 - (np.abs(at - middle) / half) ** 2, 0, 1) ** blunt)
    # Only the stretch that has width counts, so that the length asked for is the length drawn.
    there = np.flatnonzero(wide > 0.1)
    wide = np.interp(np.linspace(there[0], there[-1], SAMPLES), np.arange(600), wide)
    wide[4:-4] = np.convolve(wide, np.ones(9) / 9, mode="valid")
    if rings > 0:
        wide *= 1 - depth * np.abs(np.cos(np.pi * rings * np.linspace(0, 1, SAMPLES) ** rng.uniform(0.9, 1.15))) ** 4
    return f32(wide / wide.max())


def frame_of(plan: Plan, length_mm: float, slim: float, shrivel: float, rng: np.random.Generator) -> Frame:
    """Draw a body's shape; `shrivel` 0..1 dents its outline."""
    # Most are nearly straight, and none can bend tighter than its own half-width lets it.
    bent = plan.turn[0] + (plan.turn[1] - plan.turn[0]) * rng.random() ** 1.5
    turn = float(min(bent, 1.3 * slim) * rng.choice([-1, 1]))
    line = middle_line(length_mm, turn, rng.random() < 0.3, rng)
    tangent = f32(np.gradient(line, axis=0))
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    aside = f32(np.stack([-tangent[:, 1], tangent[:, 0]], axis=1))
    rings = int(rng.integers(*plan.rings)) if plan.rings[1] > plan.rings[0] else plan.rings[0]
    base = profile(plan.lobes, rings, rng.uniform(*plan.ring_depth), rng) * (length_mm / slim / 2)
    lean = rng.uniform(-0.35, 0.35) * (rng.random() < 0.4)
    at = f32(np.linspace(0, 0.9, SAMPLES))
    dents = [1 + (0.03 + 0.3 * shrivel) * wobble(at, 2 + int(7 * shrivel), rng) for _ in range(2)]
    left, right = (f32(base * np.maximum(dent + way, 0.3)) for dent, way in zip(dents, (lean, -lean), strict=True))
    return Frame(line, aside, left, right, length_mm, abs(turn))


def limb(
    root: FloatArray,
    way: FloatArray,
    length_mm: float,
    bends: tuple[float, ...],
    thick_mm: float,
    rng: np.random.Generator,
) -> Stroke:
    """Return a jointed limb from `root` (2,) along `way` (2,), turning by each of `bends` radians at a joint."""
    points, heading = [root], float(np.arctan2(way[1], way[0]))
    for bend in bends:
        heading += bend
        part = length_mm / len(bends) * rng.uniform(0.8, 1.2)
        for _ in range(2):
            points.append(f32(points[-1] + part / 2 * f32([np.cos(heading), np.sin(heading)])))
            heading += rng.normal(0, 0.06)
    return Stroke(f32(points), thick_mm, thick_mm * rng.uniform(0.3, 0.8))


def legs_of(frame: Frame, plan: Plan, view: str, rng: np.random.Generator) -> list[Stroke]:
    """Draw the legs that are there, in the posture of the view ("top", "side" or "tucked")."""
    limbs: list[Stroke] = []
    share = rng.uniform(*plan.leg_length) * (rng.uniform(0.25, 0.55) if view == "tucked" else 1.0)
    thick = float(np.clip(rng.uniform(0.012, 0.055) * (0.3 + 0.5 * frame.length_mm), 0.01, 0.06))
    missing = float(rng.choice([0.0, 0.12, 0.5], p=[0.55, 0.3, 0.15]))
    fan, knee, order = rng.uniform(0.5, 1.1), rng.uniform(0.1, 1.3), rng.choice([-1, 1])
    for leg in np.flatnonzero(rng.random(plan.legs) >= missing):
        rank, flank = (leg // 2) / (plan.legs // 2 - 1), float(order if view == "side" else (-1) ** leg)
        root, ahead, right = frame.spot(plan.leg_zone[0] + (plan.leg_zone[1] - plan.leg_zone[0]) * rank, 0.75 * flank)
        slant = (1 - 2 * rank) * fan + rng.normal(0, 0.25)
        way = f32(np.cos(slant) * flank * right + np.sin(slant) * ahead)
        # Front feet reach forward and hind feet back, as on any six-legged walker.
        fold = -flank * (1 if rank < 0.4 else -1) * knee * rng.uniform(0.5, 1.3)
        bends = (-0.5 * fold, 0.9 * fold, float(rng.normal(0, 0.2)) - 0.2 * fold)
        reach = share * frame.length_mm * (0.85 + 0.35 * rank) * rng.uniform(0.75, 1.15)
        limbs.append(limb(root, way, reach, bends, thick, rng))
    return limbs


def fore_parts(frame: Frame, plan: Plan, rng: np.random.Generator) -> list[Stroke]:
    """Draw antennae, plain or feathery, and the tubes near the rear of an aphid."""
    limbs: list[Stroke] = []
    share, thick = rng.uniform(*plan.antenna), rng.uniform(0.008, 0.022)
    spread, curl, feathery = rng.uniform(0.15, 1.3), rng.normal(0, 0.3), rng.random() < plan.feathery
    for side in (-1, 1):
        if share < 0.01 or rng.random() < 0.12:
            continue
        root, ahead, right = frame.spot(0.05, 0.5 * side)
        way = f32(ahead * np.cos(spread) + side * right * np.sin(spread))
        bends = tuple(float(side * curl * 0.6 + rng.normal(0, 0.12)) for _ in range(5))
        feeler = limb(root, way, share * frame.length_mm, bends, thick, rng)
        limbs.append(feeler)
        for at in range(2, len(feeler.points_mm) - 1) if feathery else ():
            for tilt in (-1.0, 1.0):
                step = f32(feeler.points_mm[at + 1] - feeler.points_mm[at])
                limbs.append(limb(feeler.points_mm[at], step, 0.28 * share * frame.length_mm, (tilt,), 0.007, rng))
    if rng.random() < plan.tubes:
        size, wide = rng.uniform(0.05, 0.22) * frame.length_mm, rng.uniform(0.025, 0.06)
        for side in (-1, 1):
            root, ahead, right = frame.spot(rng.uniform(0.76, 0.84), 0.75 * side)
            way = f32(side * right * rng.uniform(0.3, 0.9) - ahead)
            limbs.append(limb(root, way, size, (0.0, rng.normal(0, 0.2)), wide, rng))
    return limbs


def hairs_of(frame: Frame, plan: Plan, rng: np.random.Generator) -> list[Stroke]:
    """Draw hairs, and the stubby legs of a caterpillar, along the sides."""
    hairs: list[Stroke] = []
    size, count = rng.uniform(0.05, 0.35) * float(frame.left_mm.max()) * 2, int(rng.integers(6, 34))
    for _ in range(count if rng.random() < plan.hairs else 0):
        side = rng.choice([-1, 1])
        root, ahead, right = frame.spot(rng.uniform(0.02, 0.99), 0.95 * side)
        way = f32(side * right + ahead * rng.normal(-0.2, 0.4))
        hairs.append(limb(root, way, size * rng.uniform(0.5, 1.3), (0.0, 0.2), 0.008, rng))
    if rng.random() < plan.prolegs:
        side, stub = rng.choice([-1, 1]), rng.uniform(0.2, 0.45) * float(frame.left_mm.max())
        for along in [*np.linspace(0.42, 0.42 + rng.uniform(0.1, 0.3), int(rng.integers(2, 5))), 0.95]:
            root, ahead, right = frame.spot(float(along), 0.85 * side)
            hairs.append(limb(root, f32(side * right - 0.3 * ahead), stub, (0.0, 0.3), stub * 0.8, rng))
    return hairs


def wings_of(frame: Frame, plan: Plan, rng: np.random.Generator) -> list[tuple[FloatArray, list[Stroke]]]:
    """Return each wing's outline (n, 2) in mm with its veins and fringe."""
    wings = []
    length = frame.length_mm * (rng.uniform(0.55, 0.75) if plan.fringed else rng.uniform(0.7, 1.35))
    spread = rng.choice([rng.uniform(0.0, 0.25), rng.uniform(0.4, 1.5)])
    slim = rng.uniform(0.05, 0.09) if plan.fringed else rng.uniform(0.28, 0.45)
    at = f32(np.linspace(0, 1, 24))
    for side in (-1, 1):
        if rng.random() < 0.12:
            continue
        root, ahead, right = frame.spot(0.3, 0.5 * side)
        angle = spread + rng.normal(0, 0.12)
        out = -ahead * np.cos(angle) + side * right * np.sin(angle)
        axes = f32([out, [-out[1], out[0]]]) * length
        half = slim * np.abs(np.sin(np.pi * at**0.8)) ** 0.7 * (0.5 + 0.6 * at)
        crease = slim * 0.08 * wobble(at, 2, rng)
        rim = np.r_[half * 0.8 + crease, (crease - half)[::-1]]
        outline = f32(root + np.stack([np.r_[at, at[::-1]], rim], axis=1) @ axes)
        thin = rng.uniform(0.008, 0.018)
        veins = [
            Stroke(f32(root + np.stack([at, half * level + crease], axis=1) @ axes), thin, thin * 0.6, 0.8)
            for level in np.linspace(-0.95, 0.75, int(rng.integers(3, 7)))
        ]
        if plan.fringed:
            for share in np.linspace(0.15, 1.0, 26):
                for way in (-1, 1):
                    hair = f32(axes[0] + way * axes[1] * 1.2)
                    veins.append(limb(f32(root + share * axes[0]), hair, 0.13 * length, (0.0,), 0.007, rng))
        wings.append((outline, veins))
    return wings


def dark_parts(form: Form, plan: Plan, view: str, rng: np.random.Generator) -> FloatArray:
    """Return (h, w) 0..1 of what is always dark: eyes, a head capsule, a mouth hook."""
    dark = np.zeros_like(form.cover)
    end = plan.head_end
    if rng.random() < plan.dark_head:
        dark = f32(np.clip((end * rng.uniform(0.7, 1.1) - form.along) / end * 5, 0, 1) * rng.uniform(0.25, 0.9))
    elif rng.random() < plan.hook:
        hook = np.abs(form.across - 0.2 * np.sin(form.along * 40)) < 0.22
        dark = f32(cv2.blur(f32(hook & (form.along > 0.03) & (form.along < rng.uniform(0.08, 0.2))), (3, 3)))
    if rng.random() < plan.eyes:
        side, size = rng.uniform(0.55, 0.9), rng.uniform(0.2, 0.42)
        across = form.across if view == "side" else np.abs(form.across)
        gap = ((form.along - 0.6 * end) / (0.33 * end)) ** 2 + ((across - side) / size) ** 2
        dark = f32(np.maximum(dark, np.exp(-(gap**2))))
    return dark


def _state(plan: Plan, look: Look, rng: np.random.Generator) -> tuple[Look, float]:
    """Return the look after what befell the animal, and how shrivelled (0..1) its outline is."""
    fate = rng.choice(["whole", "soaked", "heated", "squashed"], p=[0.54, 0.18, 0.18, 0.10])
    if fate == "soaked":
        pale = f32(look.skin + (0.8 - look.skin) * rng.uniform(0.2, 0.7))
        return replace(look, skin=pale, opacity=min(look.opacity, float(rng.uniform(0.12, 0.4)))), 0.05
    if fate == "heated":
        brown = f32(look.skin * 0.4 + colour("brown tan russet amber", rng) * 0.5)
        return replace(look, skin=brown, opacity=max(look.opacity * 0.9, plan.opacity[1] * 0.7)), rng.uniform(0.1, 0.6)
    return look, float(rng.uniform(0.3, 0.8) if fate == "squashed" else rng.uniform(0, 0.15))


def _egg(below: bool, rng: np.random.Generator) -> Lent:
    """Draw one egg, or a row or cluster of alike ones."""
    plan = PLANS["egg"]
    look, count = draw_look(plan.colours, plan.opacity, rng), int(rng.choice([1, 1, 1, 2, 3, 5, 8]))
    slim = rng.uniform(*plan.slim) if count == 1 else rng.uniform(*plan.slim) * 0.7 + 0.4
    length = rng.uniform(*plan.length_mm) if count == 1 else rng.uniform(0.25, 0.5)
    width, row = length / slim, rng.random() < 0.5
    places = [f32([0, 0])]
    for index in range(1, count):
        way = rng.normal(0, 0.25) if row else rng.uniform(0, 2 * np.pi)
        base = places[-1] if row else places[int(rng.integers(index))]
        places.append(f32(base + width * rng.uniform(0.85, 1.1) * f32([np.sin(way), np.cos(way)])))
    middle = np.mean(places, axis=0)
    sheet = Sheet(reach_of([f32(places - middle)]) + length * 0.75, below, rng)
    for place in places:
        frame = frame_of(plan, length * rng.uniform(0.93, 1.07), slim, 0.0, rng)
        form = sheet.chain(f32(frame.line_mm + place - middle), frame.left_mm, frame.right_mm, look.flat)
        paint(sheet, form, look, rng, plan.organs, plan.marks)
    return sheet.hand_over(*sheet.measure(), False, look.blur_px)


def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """Draw one animal of a kind, seen against light from below or under a lamp from above; 20 pixels a millimetre."""
    if kind == "egg":
        return _egg(below, rng)
    plan = PLANS[kind]
    look, shrivel = _state(plan, draw_look(plan.colours, plan.opacity, rng), rng)
    if kind == "skin":
        look, shrivel = (
            replace(
                look,
                opacity=float(rng.uniform(*plan.opacity)),
                rim=float(rng.uniform(0.6, 3)),
                flat=0.75,
                organ=0.0,
                mottle=0.8,
            ),
            float(rng.uniform(0.1, 0.5)),
        )
    length = float(plan.length_mm[0] + (plan.length_mm[1] - plan.length_mm[0]) * rng.random() ** 1.25)
    view = str(rng.choice(["top", "side", "tucked"], p=[0.6, 0.25, 0.15]))
    frame = frame_of(plan, length, rng.uniform(*plan.slim), shrivel, rng)
    legs = [*legs_of(frame, plan, view, rng), *fore_parts(frame, plan, rng)]
    hairs = hairs_of(frame, plan, rng)
    wings = wings_of(frame, plan, rng) if rng.random() < plan.wings else []
    reach = [
        frame.line_mm,
        *(stroke.points_mm for stroke in legs + hairs),
        *(outline for outline, _ in wings),
        *(vein.points_mm for _, veins in wings for vein in veins),
    ]
    width = float((frame.left_mm + frame.right_mm).max())
    sheet = Sheet(max(reach_of(reach) + 0.05, length / 2 + width / 2), below, rng)
    tone, bold = limb_colour(look, rng), float(np.clip(look.opacity * rng.uniform(0.6, 1.6), 0.2, 1.0))
    sheet.strokes(legs, tone, bold if kind != "skin" else bold * 0.7)
    sheet.strokes(hairs, tone, bold * 0.8)
    form = sheet.chain(frame.line_mm, frame.left_mm, frame.right_mm, look.flat)
    if kind == "skin":
        folds = np.abs(noise(form.cover.shape, rng.uniform(5, 14), rng))
        form = replace(form, thick=f32(form.thick * (0.4 + 1.6 * np.exp(-((folds / 0.25) ** 2)))))
    paint(sheet, form, look, rng, plan.organs, plan.marks, dark_parts(form, plan, view, rng))
    membrane = replace(
        look,
        opacity=float(rng.uniform(0.04, 0.35)),
        skin=colour("glass grey tan amber", rng),
        flat=0.9,
        rim=0.0,
        marking=look.marking * 0.4,
        organ=0.0,
        solid=0.2,
        mottle=look.mottle * 0.4,
        gloss=look.gloss * 0.3,
    )
    for outline, veins in wings:
        paint(sheet, sheet.blob([outline], 0.9), membrane, rng, (), ("blotch", "bands"), is_body=False)
        sheet.strokes(veins, tone, bold * 0.7)
    return sheet.hand_over(length, width, frame.turn > 1.6, look.blur_px)
