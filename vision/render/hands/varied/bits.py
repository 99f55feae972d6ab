"""Bits of dirt: shapes that are no animals, in the same colours and looks as the animals."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.varied.animal import SAMPLES, limb, middle_line, profile
from vision.render.hands.varied.look import Look, colour, draw_look, limb_colour, paint
from vision.render.hands.varied.plans import Lobe, Spread
from vision.render.hands.varied.sheet import Sheet, Stroke, f32, reach_of, wobble
from vision.types import FloatArray

Drawn = tuple[Sheet, Look]
TURNING = f32(np.linspace(0, 1, 120, endpoint=False))


@dataclass(frozen=True)
class Oval:
    """Spreads of an oval bit: length, slimness, bend (radians) and bluntness; how many `stalks` it may have, their length and width
    as shares of the body's; one more than the most `ribs` and wrapping `scales`; how many `rings` it may have."""

    length_mm: Spread
    slim: Spread
    turn: Spread
    blunt: Spread
    stalks: tuple[int, ...] = (0,)
    stalk_share: Spread = (0.0, 0.0)
    stalk_stout: Spread = (0.0, 0.0)
    ribs: int = 1
    scales: int = 1
    rings: tuple[int, ...] = (0,)


GROWN = {
    "seed": Oval((0.35, 2.6), (1.1, 3.2), (0, 1), (0.3, 0.8), (0, 0, 1), (0.02, 0.12), (0.02, 0.1), rings=(0, 0, 0, 7)),
    "bud": Oval((0.5, 2.6), (1, 2), (0, 0.3), (0.35, 0.7), (1,), (0.1, 0.5), (0.06, 0.2), scales=5),
    "sliver": Oval((0.5, 3.8), (4, 14), (0, 0.9), (0.4, 1.3), ribs=7),
    "stalked": Oval(
        (0.4, 1.8), (1.2, 3.5), (0, 0.7), (0.35, 0.9), (1, 1, 2, 3, 5), (0.3, 1.3), (0.02, 0.1), rings=(0, 6)
    ),
    "husk": Oval((0.6, 3), (1.8, 4.5), (0.3, 2.2), (0.35, 0.8), ribs=6),
}
COLOURS = {
    "leaf_bit": "green green pale olive yellow brown",
    "bud": "green green pale olive yellow tan",
    "crumb": "brown black grey russet tan green",
    "grit": "grey glass black tan white amber",
}
NAMES = (*GROWN, "bubble", "drop", "fibre", "rootlet", "grit", "leaf_bit", "starch", "dust", "crumb")


def ragged(size_mm: float, slim: float, rough: float, waves: int, rng: np.random.Generator) -> FloatArray:
    """Return a closed outline (n, 2) about `size_mm` long, its edge wavering by `rough` in so many waves."""
    far = np.maximum(1 + rough * wobble(TURNING, waves, rng), 0.25) * size_mm / 2
    return f32(np.stack([np.cos(TURNING * 2 * np.pi) * far, np.sin(TURNING * 2 * np.pi) * far / slim], axis=1))


def thread(length_mm: float, curl: float, rng: np.random.Generator) -> FloatArray:
    """Return a wandering line (90, 2) in mm; `curl` is how much it turns, in radians."""
    at = f32(np.linspace(0, 1, 90))
    heading = curl * (wobble(f32(at * 0.7), 4, rng) + rng.normal(0, 0.7) * at)
    line = np.stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))], axis=1) * length_mm / 90
    return f32(line - (line.max(axis=0) + line.min(axis=0)) / 2)


def _clear(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw bubbles or drops: what they bend away of the light is dark at the rim and bright in the middle."""
    sizes = rng.uniform(0.12, 1.4) * rng.uniform(0.4, 1, int(rng.choice([1, 1, 1, 2, 3])))
    steps = np.r_[0.0, (sizes[1:] + sizes[:-1]) / 2 * rng.uniform(0.85, 1.1, len(sizes) - 1)]
    places = f32(np.stack([np.cumsum(steps), rng.normal(0, 0.1, len(sizes)) * sizes], axis=1))
    places -= places.mean(axis=0)
    sheet, bubble = Sheet(reach_of([places]) + sizes.max() * 0.9, below, rng), name == "bubble"
    wide, dark, lift, spot = rng.uniform((0.08, 0.4, 0.9, 0.4), (0.4, 0.97, 1.15, 0.8))
    tint, dull = f32(look.skin + (0.8 - look.skin) * rng.uniform(0.3, 1.0)), rng.uniform(0.02, 0.25)
    for place, size in zip(places, sizes, strict=True):
        outline = ragged(float(size), 1 if bubble else rng.uniform(1, 1.5), 0.01 if bubble else 0.12, 3, rng)
        form = sheet.blob([f32(outline + place)], 0.0)
        level = np.clip((form.along - 0.5) * 2 * sheet.light[0] + form.across * sheet.light[1], -1, 1)
        ring = np.exp(-(((1 - form.edge - wide * 0.4) / wide) ** 2)) * (1 if bubble else np.clip(0.5 - level, 0.1, 1.2))
        ring = np.clip(ring, 0, 1)
        inner = np.exp(-(((form.edge - spot) / 0.06) ** 2)) * rng.uniform(0, 0.35)
        light = lift - (lift - 1 + dark) * ring + inner * (1 if bubble else -0.5)
        glow, glint = dull * (form.thick * 0.3 + 0.5 * ring), rng.uniform(0.06, 0.2)
        for turn in (1, -1):
            gap = ((form.along - 0.5) * 2 - turn * 0.55 * sheet.light[0]) ** 2 + (
                form.across - turn * 0.55 * sheet.light[1]
            ) ** 2
            glow = glow + np.exp(-gap / glint**2) * (0.9 if turn == 1 else 0.35) * (0.3 if below else 1)
        cover = form.cover[..., None]
        sheet.lay(
            form.box,
            f32(1 - cover + cover * np.clip(light, 0.02, 1.2)[..., None] * (0.25 * tint + 0.78)),
            f32(np.clip(glow * sheet.lamp, 0, 0.95)[..., None] * cover * (0.6 + 0.4 * tint)),
        )
        np.maximum(sheet.body[form.box], form.cover, out=sheet.body[form.box])
    return sheet, replace(look, blur_px=look.blur_px * 0.6)


def _threads(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw a fibre, alone or in a tangle and frayed, or a branched rootlet with its hairs."""
    root, length = name == "rootlet", rng.uniform(0.6, 4.0)
    width = rng.uniform(0.03, 0.12) if root else rng.uniform(0.012, 0.06)
    curl = rng.uniform(0.2, 1.5) if root else rng.uniform(0.2, 5)
    main = [
        Stroke(f32(thread(length * rng.uniform(0.6, 1), curl, rng) + rng.normal(0, 0.05, 2)), width, width * 0.5)
        for _ in range(1 if root else int(rng.choice([1, 1, 1, 2, 4])))
    ]
    twigs = []
    for strand in main:
        for _ in range(int(rng.integers(2, 28) if root else rng.integers(-5, 5))):
            at, side = int(rng.integers(5, 88) if root else rng.choice([1, 2, 86, 88])), rng.choice([-1, 1])
            step = strand.points_mm[at] - strand.points_mm[at - 1]
            way = f32(step * rng.uniform(0.2, 1) + side * f32([-step[1], step[0]]))
            fine = 0.01 if root and rng.random() < 0.6 else width * 0.4
            twigs.append(limb(strand.points_mm[at], way, rng.uniform(0.05, 0.3) * length, (0.0, 0.4, -0.3), fine, rng))
    sheet = Sheet(reach_of([one.points_mm for one in main + twigs]) + 0.1, below, rng)
    sheet.strokes(main + twigs, look.skin, max(look.opacity, 0.35), True)
    if root or rng.random() < 0.5:
        # A hollow fibre, or the core of a root, shows as a second, thinner line within.
        core = [replace(one, start_mm=one.start_mm * 0.4, end_mm=one.end_mm * 0.4) for one in main]
        sheet.strokes(core, look.inner, float(rng.uniform(0.1, 0.7)))
    return sheet, look


def _shard(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw an angular grain whose facets are each a little lighter or darker than their neighbours."""
    size, slim = float(rng.uniform(0.12, 1.3) ** 1.3), rng.uniform(1, 2.2)
    sheet, turns = Sheet(size * 0.8, below, rng), np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(4, 10))))
    corners = np.stack([np.cos(turns), np.sin(turns) / slim], axis=1) * rng.uniform(0.7, 1.1, (len(turns), 1))
    outline = f32(cv2.convexHull(f32(corners))[:, 0])
    outline = f32((outline - (outline.max(axis=0) + outline.min(axis=0)) / 2) * size / 2)
    paint(sheet, sheet.blob([outline], look.flat), look, rng, ("fat", "core", "spots"))
    peak = f32(outline.mean(axis=0) + rng.normal(0, 0.06 * size, 2))
    for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        facet = replace(look, opacity=float(rng.uniform(0.02, 0.45)), organ=0.0, marking=0.0, rim=0.0)
        paint(sheet, sheet.blob([f32([start, end, peak])], 1.0), facet, rng, is_body=False)
    return sheet, look


def _grown(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw an oval bit with the engine of the animals' bodies, with stalks, ribs or wrapping scales."""
    oval = GROWN[name]
    length, slim, stalks = float(rng.uniform(*oval.length_mm)), rng.uniform(*oval.slim), []
    line = middle_line(length, rng.uniform(*oval.turn), False, rng)
    if name == "husk":
        look = replace(look, opacity=look.opacity * rng.uniform(0.3, 0.8), rim=float(rng.uniform(0.8, 3)), flat=0.8)
    for _ in range(int(rng.choice(oval.stalks))):
        tail = rng.random() < 0.6
        root, out = line[-12 if tail else 12], line[-1] - line[-30] if tail else line[0] - line[30]
        bends = tuple(float(bend) for bend in rng.normal(0, 0.3, 5))
        thick = float(np.clip(length * rng.uniform(*oval.stalk_stout), 0.012, 0.25))
        stalks.append(limb(root, f32(out), length * rng.uniform(*oval.stalk_share), bends, thick, rng))
    reach = reach_of([line, *(one.points_mm for one in stalks)])
    sheet = Sheet(max(reach + 0.1, length * (0.55 + 0.5 / slim)), below, rng)
    sheet.strokes(stalks, limb_colour(look, rng), max(0.35, look.opacity), True)
    lobes: list[Lobe] = [((0.4, 0.6), (0.5, 0.65), (1.0, 1.0), oval.blunt)]
    if rng.random() < 0.35:
        lobes.append(((0.05, 0.95), (0.1, 0.3), (0.2, 0.7), (0.4, 0.65)))
    wide = profile(tuple(lobes), int(rng.choice(oval.rings)), rng.uniform(0.02, 0.15), rng) * (length / slim / 2)
    at, rough = f32(np.linspace(0, 0.9, SAMPLES)), rng.uniform(0, 0.47) ** 2
    sides = [f32(np.maximum(wide * (1 + rough * wobble(at, 5, rng)), wide * 0.3)) for _ in range(2)]
    paint(sheet, sheet.chain(line, sides[0], sides[1], look.flat), look, rng)
    for _ in range(int(rng.integers(0, oval.scales))):
        scale = ragged(length * rng.uniform(0.4, 0.75), 2.2, 0.06, 3, rng)
        scale = f32(scale + f32([length * rng.uniform(-0.1, 0.15), rng.uniform(-0.2, 0.2) * length / slim]))
        paint(sheet, sheet.blob([scale], look.flat), replace(look, opacity=look.opacity * 0.5), rng, (), is_body=False)
    ribs = [
        Stroke(
            f32(line[10:-10:6] + f32([0, rng.uniform(-0.28, 0.28) * length / slim])), 0.014, 0.01, rng.uniform(0.3, 1)
        )
        for _ in range(int(rng.integers(0, oval.ribs)))
    ]
    sheet.strokes(ribs, look.inner, 0.6)
    return sheet, look


def _flake(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw a torn bit of leaf with veins and holes, or a smear of starch."""
    smear, slim = name == "starch", rng.uniform(1, 2.8)
    size, waves = float(rng.uniform(0.2, 2.5) if smear else rng.uniform(0.4, 3.6)), int(rng.integers(4, 26))
    sheet, outlines = Sheet(size, below, rng), [ragged(size, slim, rng.uniform(0.05, 0.33), waves, rng)]
    if smear:
        white = f32(look.skin + (0.85 - look.skin) * rng.uniform(0.4, 1.0))
        ring = float(rng.uniform(1, 3)) if rng.random() < 0.4 else look.rim
        look = replace(look, skin=white, opacity=float(rng.uniform(0.08, 0.5)), rim=ring, blur_px=rng.uniform(0.2, 1.6))
    for _ in range(int(rng.choice([0, 0, 1, 3]))):
        hole = ragged(size * rng.uniform(0.05, 0.25), 1.3, 0.3, 4, rng)
        outlines.append(f32(hole + rng.normal(0, size / slim / 7, 2)))
    paint(sheet, sheet.blob(outlines, 0.9), replace(look, solid=look.solid * 0.5), rng, ("fat", "spots", "core"))
    main, thick = thread(size * 0.9, rng.uniform(0, 0.7), rng), rng.uniform(0.012, 0.05)
    veins = [Stroke(main, thick, thick * 0.5)]
    for at in range(6, 84, int(rng.integers(7, 22))):
        for side in (-1, 1):
            way = f32([1, side * rng.uniform(0.5, 1.3)])
            veins.append(limb(main[at], way, size / slim * 0.28, (0.0, -0.2 * side), thick * 0.6, rng))
    if not smear and rng.random() < 0.75:
        sheet.strokes(veins, limb_colour(look, rng), float(rng.uniform(0.15, 0.7)))
    return sheet, look


def _clump(name: str, below: bool, look: Look, rng: np.random.Generator) -> Drawn:
    """Draw a crumb of many grains with some root hairs, or a few specks of dust."""
    dust = name == "dust"
    size, count = float(rng.uniform(0.25, 2.2)), int(rng.integers(1, 9) if dust else rng.integers(3, 14))
    spread = 0.0 if count == 1 else rng.uniform(0.05, 0.4) if dust else size / 6
    places = f32(rng.normal(0, spread, (count, 2)))
    hairs = [
        limb(place, f32(rng.normal(0, 1, 2)), size * rng.uniform(0.2, 0.5), (0.0, 0.4, -0.3), 0.015, rng)
        for place in places[: 0 if dust else int(rng.choice([0, 0, 2, 5]))]
    ]
    grain = (0.08, 0.35) if dust else (size * 0.12, size * 0.55)
    sheet = Sheet(reach_of([places, *(hair.points_mm for hair in hairs)]) + grain[1] * 0.9, below, rng)
    sheet.strokes(hairs, limb_colour(look, rng), 0.7)
    for place in places:
        outline = ragged(rng.uniform(*grain), rng.uniform(1, 1.9), rng.uniform(0.08, 0.35), 8, rng)
        tone = colour("any", rng) if rng.random() < 0.1 else f32(np.clip(look.skin * rng.uniform(0.5, 1.5), 0.01, 0.92))
        paint(sheet, sheet.blob([f32(outline + place)], look.flat), replace(look, skin=tone), rng, ("fat", "core"))
    return sheet, look


DRAW = {
    "bubble": _clear,
    "drop": _clear,
    "fibre": _threads,
    "rootlet": _threads,
    "grit": _shard,
    "leaf_bit": _flake,
    "starch": _flake,
    "dust": _clump,
    "crumb": _clump,
}


def bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """Draw one bit of dirt, seen against light from below or under a lamp; return its name and the drawing."""
    name = str(rng.choice(NAMES))
    look = draw_look(COLOURS.get(name, "any"), (0.15, 1.0), rng)
    sheet, look = DRAW.get(name, _grown)(name, below, look, rng)
    length_mm, width_mm = sheet.measure()
    return name, sheet.hand_over(length_mm, width_mm, False, look.blur_px)
