"""Bits off plants that may be taken for animals, and the lot they are all drawn from."""

from __future__ import annotations

import numpy as np

from vision.render.hands.washed import bits
from vision.render.hands.washed.bits import EARTH, PALE, PLANT, STRAW, Painter, lumpy, placed, threads, turned_line
from vision.render.hands.washed.pose import profile, rounded
from vision.render.hands.washed.sheet import Colour, Rng, Sheet, Stamp, mixed, picked, toned

_DARK: Colour = (0.08, 0.06, 0.05)


def seed(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A hard oval with a scar at one end and a soft light; some with a stripe."""
    length = float(rng.uniform(0.5, 2.2)) * mm
    sheet = Sheet.blank(x, y, length)
    line = turned_line(rng, length, 0.0, 0.0)
    half = rounded(33, 2.0) * length * rng.uniform(0.28, 0.48) * sheet.fine
    shape = sheet.ribbon(placed(sheet, line, x, y), half)
    colour = picked(rng, EARTH[:2] + STRAW + EARTH[4:5], 0.2)
    if rng.random() < 0.25:
        roots = placed(sheet, line[rng.integers(0, 33, int(rng.integers(1, 6)))], x, y)
        threads(rng, sheet, roots, length * 0.8, mixed(colour, STRAW[0], float(rng.random())), 0.6)
    tone = 1.1 - 0.4 * shape.across**2 + 0.25 * shape.across
    tint = (np.asarray(colour, np.float32) * tone[..., None]).astype(np.float32)
    sheet.wash(rng, shape, tint, float(rng.uniform(0.8, 1)), float(rng.uniform(0, 0.5)), 0.2)
    scar = np.clip((shape.along - 0.88) * 12, 0, 1)
    sheet.wash(rng, shape.times(scar.astype(np.float32)), mixed(colour, STRAW[2], float(rng.uniform(0, 0.8))), 0.8)
    if rng.random() < 0.4:
        stripe = np.exp(-((shape.across / 0.12) ** 2)).astype(np.float32)
        sheet.wash(rng, shape.times(stripe), mixed(colour, _DARK, 0.6), 0.7)
    light = np.exp(-(((shape.across + 0.4) / 0.18) ** 2) - ((shape.along - 0.55) / 0.14) ** 2).astype(np.float32)
    sheet.wash(rng, shape.times(light), (1.0, 1.0, 0.96), float(rng.uniform(0, 0.6)))
    return sheet.stamp()


def stain(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A brown spot that bled outwards, with a darker heart or rim."""
    r = float(rng.uniform(0.15, 1.2)) * mm
    sheet = Sheet.blank(x, y, r * 3.2)
    colour = toned(rng, (0.5, 0.33, 0.16), 0.18)
    shape = sheet.polygon(placed(sheet, lumpy(rng, r, 0.2, rng.uniform(1, 2)), x, y))
    edge = float(rng.choice([0.0, 0.7]))
    sheet.wash(rng, shape, colour, float(rng.uniform(0.2, 0.6)), edge, 0.5, soft=r * 0.1 * sheet.fine)
    heart = sheet.polygon(placed(sheet, lumpy(rng, r * rng.uniform(0.2, 0.6), 0.2), x, y))
    sheet.wash(rng, heart, mixed(colour, _DARK, 0.6), float(rng.uniform(0, 0.8)), 0.0, 0.4, soft=r * 0.08 * sheet.fine)
    return sheet.stamp()


def skeleton(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A bare branching vein."""
    length = float(rng.uniform(0.8, 3.5)) * mm
    sheet = Sheet.blank(x, y, length * 0.75)
    line = turned_line(rng, length, rng.normal(0, 0.8), 0.0)
    lines = [line]
    for i in rng.integers(3, 29, int(rng.integers(2, 7))):
        step = line[i] - line[i - 1]
        way = np.arctan2(step[1], step[0]) + rng.choice([-1, 1]) * rng.uniform(0.4, 1.1)
        reach = length * rng.uniform(0.08, 0.25)
        lines.append(line[i] + np.array([[0, 0], [np.cos(way), np.sin(way)]]) * reach)
    wide = float(rng.uniform(0.6, 1.8)) * sheet.fine
    strokes = sheet.lines([placed(sheet, one, x, y) for one in lines], wide, wide * 0.5)
    sheet.wash(rng, strokes, picked(rng, PLANT + STRAW, 0.18), float(rng.uniform(0.5, 0.95)), 0.0, 0.3)
    return sheet.stamp()


def bud(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A dark fallen bud with sepals; on some a stub that looks like a limb."""
    r = float(rng.uniform(0.35, 1.0)) * mm
    sheet = Sheet.blank(x, y, r * 2.2)
    colour = picked(rng, PLANT[:3] + EARTH[:2], 0.2)
    if rng.random() < 0.6:
        stub = turned_line(rng, r * 2.6, rng.normal(0, 0.7), 0.0)[16:] * 1.2
        twig = sheet.lines([placed(sheet, stub, x, y)], 0.22 * r * sheet.fine, 2.0)
        sheet.wash(rng, twig, mixed(colour, STRAW[0], 0.4), 0.9)
    body = lumpy(rng, r, 0.07, rng.uniform(1, 1.7))
    sheet.wash(rng, sheet.polygon(placed(sheet, body, x, y)), colour, 0.95, float(rng.uniform(0, 0.7)), 0.3)
    for _ in range(3):
        seam = turned_line(rng, r * 1.3, rng.normal(0, 0.8), 0.0) * 0.9
        stroke = sheet.lines([placed(sheet, seam, x, y)], 2.0, 1.0)
        sheet.wash(rng, stroke, mixed(colour, _DARK, float(rng.uniform(-0.6, 0.8))), 0.5)
    return sheet.stamp()


def petal(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A thin veil of a petal or film, folded once."""
    length = float(rng.uniform(0.7, 3.0)) * mm
    sheet = Sheet.blank(x, y, length * 0.75)
    line = turned_line(rng, length, rng.normal(0, 0.5), 0.0)
    half = profile(33, (0, 0.3, 0.75, 1), (0.2, 0.7, 1.0, 0.7)) * length * rng.uniform(0.15, 0.35) * sheet.fine
    shape = sheet.ribbon(placed(sheet, line, x, y), half)
    colour = picked(rng, (*PALE, (0.88, 0.8, 0.35), (0.8, 0.86, 0.6)), 0.08)
    sheet.wash(rng, shape, colour, float(rng.uniform(0.2, 0.6)), 0.8, 0.4)
    marks = np.clip(np.sin(shape.across * 14 + shape.along * 2), 0, 1).astype(np.float32)
    sheet.wash(rng, shape.times(marks), mixed(colour, PLANT[4], 0.5), 0.35, 0.0, 0.5)
    fold = (shape.across > rng.uniform(0.1, 0.8)).astype(np.float32)
    sheet.wash(rng, shape.times(fold), colour, float(rng.uniform(0.1, 0.5)), 0.3)
    return sheet.stamp()


def stump(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """An end of stem with torn threads sticking out: it has something of a body with legs."""
    length, wide = float(rng.uniform(0.7, 2.6)) * mm, float(rng.uniform(0.3, 0.7))
    sheet = Sheet.blank(x, y, length * 1.2)
    line = placed(sheet, turned_line(rng, length, rng.normal(0, 0.4), 0.0), x, y)
    half = rounded(33, 8) * (1 + rng.normal(0, 0.06, 33)) * length * wide / 2 * rng.uniform(0.5, 1) * sheet.fine
    colour = picked(rng, PLANT + EARTH[1:2], 0.18)
    threads(rng, sheet, line[rng.integers(0, 33, int(rng.integers(2, 9)))], length * 0.4, colour, 0.7)
    shape = sheet.ribbon(line, np.clip(half, 0, None))
    marks = 1 + 0.14 * np.sin(shape.across * rng.uniform(6, 15) + rng.uniform(0, 6)) - 0.2 * shape.across**2
    tint = (np.asarray(colour, np.float32) * marks[..., None]).astype(np.float32)
    sheet.wash(rng, shape, tint, float(rng.uniform(0.7, 1)), float(rng.uniform(-0.2, 0.6)), 0.35)
    return sheet.stamp()


def crumb(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A clump of grains stuck together, of soil or of plant."""
    r = float(rng.uniform(0.2, 0.9)) * mm
    sheet = Sheet.blank(x, y, r * 2.4)
    colours = EARTH if rng.random() < 0.5 else PLANT
    roots = []
    for _ in range(int(rng.integers(4, 14))):
        at = rng.normal(0, r * 0.45, 2).clip(-r * 1.2, r * 1.2)
        outline = placed(sheet, lumpy(rng, r * rng.uniform(0.15, 0.5), 0.2, dots=12) + at, x, y)
        sheet.wash(rng, sheet.polygon(outline), picked(rng, colours, 0.25), float(rng.uniform(0.6, 1)), 0.4, 0.3)
        roots.append(outline[0])
    if rng.random() < 0.4:
        threads(rng, sheet, np.stack(roots[:4]), r * 1.1, picked(rng, STRAW + EARTH), 0.5)
    return sheet.stamp()


def husk(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A bent shell: bright along its ridge, dark inside."""
    length = float(rng.uniform(0.6, 2.2)) * mm
    sheet = Sheet.blank(x, y, length * 0.8)
    line = turned_line(rng, length, rng.uniform(0.6, 2.4), 0.0)
    half = rounded(33, 1.8) * length * rng.uniform(0.12, 0.24) * sheet.fine
    shape = sheet.ribbon(placed(sheet, line, x, y), half)
    colour = picked(rng, STRAW + EARTH[1:2], 0.15)
    sheet.wash(rng, shape, colour, float(rng.uniform(0.5, 0.95)), 0.4, 0.3)
    inside = np.clip(shape.across * 2 - 0.2, 0, 1)
    sheet.wash(rng, shape.times(inside), mixed(colour, _DARK, 0.6), float(rng.uniform(0.2, 0.8)))
    ridge = np.exp(-(((shape.across + 0.4) / 0.2) ** 2)).astype(np.float32)
    sheet.wash(rng, shape.times(ridge), mixed(colour, (1, 1, 0.95), 0.6), 0.5)
    return sheet.stamp()


def anther(rng: Rng, x: float, y: float, mm: float) -> Stamp:
    """A pair of yellow lobes on a thread."""
    length = float(rng.uniform(0.5, 1.2)) * mm
    sheet = Sheet.blank(x, y, length * 2.2)
    line = turned_line(rng, length, rng.normal(0, 0.4), 0.0)
    tail = line[0] + (line[0] - line[6])[None] * np.linspace(0, 4.5, 6)[:, None]
    sheet.wash(rng, sheet.lines([placed(sheet, tail, x, y)], 2.5, 1.5), picked(rng, PALE + STRAW), 0.7)
    colour = toned(rng, (0.78, 0.6, 0.2), 0.2)
    side = np.array([-(line[-1] - line[0])[1], (line[-1] - line[0])[0]]) * 0.13
    for s in (-1, 1):
        lobe = sheet.ribbon(placed(sheet, line + side * s, x, y), rounded(33) * length * 0.15 * sheet.fine)
        sheet.wash(rng, lobe, colour, 0.9, 0.5, 0.3)
    return sheet.stamp()


SORTS: tuple[Painter, ...] = (
    bits.dust, bits.grit, bits.starch, bits.fibre, bits.sliver, bits.shred, bits.bubble, bits.drop, seed, stain, skeleton,
    bud, petal, stump, crumb, husk, anther,
)  # fmt: skip
"""Every sort of bit."""


def mix(rng: Rng, leave_out: tuple[Painter, ...] = ()) -> tuple[tuple[Painter, ...], list[float]]:
    """The sorts a scene has and how often each comes: every scene has its own favourites, and a dozen sorts or more."""
    sorts = tuple(s for s in SORTS if s not in leave_out)
    often = rng.gamma(1.6, 1.0, len(sorts)) + 0.2
    return sorts, [float(v) for v in often / often.sum()]
