"""Gnats and small flies: a dark slim body with a humped thorax, clear veined wings, long legs and antennae."""

from __future__ import annotations

import numpy as np

from vision.render.canvas import Canvas, disc, limbs_of, mottle, open_canvas, polygon, strokes, tube
from vision.render.outlines import Profile, bend, box_round, half_width, middle_line, straightness
from vision.render.patch import BodyWish, Patch
from vision.render.small_bodies import on_line
from vision.render.tissue import Tissue, between, pick, plumpness, tissue
from vision.types import FloatArray

LENGTHS_MM: dict[str, tuple[float, float]] = {
    # Bradysia about 2 mm (wiki.pestinfo.org); larger sciarids 3-4 mm (AFBI) are left out.
    "gnat": (1.5, 3.0),
    # Phorid flies 2-3 mm (AFBI).
    "humped": (1.8, 3.0),
}
LENGTH_OVER_WIDTH = {"gnat": (3.4, 4.8), "humped": (2.3, 3.0)}  # from memory
_WING_COVERS = 0.3
_GNAT: Profile = (
    (0, 0.02, 0.07, 0.12, 0.15, 0.2, 0.28, 0.36, 0.42, 0.55, 0.7, 0.85, 0.95, 1),
    (0, 0.4, 0.62, 0.56, 0.3, 0.66, 1.0, 0.92, 0.58, 0.72, 0.7, 0.5, 0.24, 0),
)
_HUMPED: Profile = (
    (0, 0.02, 0.08, 0.14, 0.18, 0.26, 0.36, 0.46, 0.52, 0.65, 0.8, 0.93, 0.98, 1),
    (0, 0.4, 0.6, 0.54, 0.44, 0.9, 1.0, 0.92, 0.74, 0.84, 0.7, 0.42, 0.22, 0),
)


def draw_gnat(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One gnat or humped fly; wings folded over the back, half open or lost. See Patch."""
    form = pick(rng, {"gnat": 0.7, "humped": 0.3})
    length = between(rng, *LENGTHS_MM[form]) if wish.length_mm is None else wish.length_mm
    width = length / float(rng.uniform(*LENGTH_OVER_WIDTH[form]))
    angle = float(rng.uniform(0, 360)) if wish.angle_deg is None else wish.angle_deg
    line = middle_line(length, bend(rng, pick(rng, {"straight": 0.6, "C": 0.4}), float(rng.uniform(0.2, 1.0))), angle)
    left, right = half_width(_GNAT if form == "gnat" else _HUMPED, width, rng, 0.04)
    limbs = wish.limbs is not False
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * (0.8 if limbs else 0.15)), wish.stout)
    colour, (low, high) = pick(rng, {"black": 0.5, "grey": 0.3, "brown": 0.2}), (0.02, 0.14)
    core = float(rng.uniform(0.03, 0.7)) if wish.wild and rng.random() < 0.3 else between(rng, low, high)
    skin = tissue(colour, core, rng)
    # Dark all over: grey ones are dusted, not pale.
    skin = Tissue(skin.density, skin.albedo * (0.3 if colour == "grey" else 0.8))
    if limbs:
        _legs(canvas, line, rng, length, width, skin, shed=wish.heated)
        _feelers(canvas, line, rng, length * (0.4 if form == "gnat" else 0.12), width, skin)
    body = tube(canvas, line, left, right)
    abdomen = np.clip((body.t - 0.42) / 0.04, 0, 1)
    thick = body.dome ** plumpness(rng, wild=wish.wild) * (1 - rng.uniform(0.1, 0.4) * abdomen)
    thick = thick * (1 + rng.uniform(0.04, 0.2) * abdomen * np.cos(2 * np.pi * body.t / 0.085))
    thick = thick * (1 + 0.08 * mottle(canvas, rng, 0.12))
    canvas.lay(
        body.cover,
        skin.over(np.clip(thick, 0, None).astype(np.float32)),
        skin.albedo * (1 + 0.5 * abdomen[..., None]),
        height_mm=body.dome * width * 0.9,
        body=True,
    )
    _eyes(canvas, line, width)
    if limbs:
        _wings(canvas, line, rng, length, width)
    return canvas.patch(
        length_mm=length,
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        form=form,
        gloss=float(rng.uniform(0.2, 0.5)),
    )


def _legs(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, length: float, width: float, skin: Tissue, *, shed: bool
) -> None:
    """Three pairs, longer than those of most small insects, tangled when drowned."""
    keep = rng.uniform(0.2, 0.9) if shed else rng.uniform(0.6, 1.0)
    thighs, shins = [], []
    for t, aim in ((0.22, -0.6), (0.3, 0.3), (0.37, 1.0)):
        for side in (-1, 1):
            if rng.random() < keep:
                p, back, right = on_line(line, t)
                hip = p + right * side * width * 0.3
                knee = hip + (right * side + back * (aim + rng.normal(0, 0.3))) * length * rng.uniform(0.14, 0.24)
                ankle = knee + (right * side * rng.uniform(-0.2, 0.7) + back * (aim + 0.4)) * length * rng.uniform(
                    0.16, 0.28
                )
                foot = ankle + (right * side * rng.uniform(-0.4, 0.6) + back) * length * rng.uniform(0.08, 0.2)
                thighs.append(np.stack([hip, knee]))
                shins.append(np.stack([knee, ankle, foot]))
    canvas.lay(limbs_of(canvas, thighs, 0.06 * length**0.5), skin.density * 0.35, skin.albedo)
    canvas.lay(limbs_of(canvas, shins, 0.028), skin.density * 0.35, skin.albedo)


def _feelers(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, reach: float, width: float, skin: Tissue
) -> None:
    lines = []
    for side in (-1, 1):
        p, back, right = on_line(line, 0.02)
        root = p + right * side * width * 0.12
        mid = root - back * reach * 0.5 + right * side * reach * rng.uniform(0.1, 0.5)
        lines.append(np.stack([root, mid, mid - back * reach * 0.4 + right * side * reach * rng.uniform(0, 0.5)]))
    canvas.lay(limbs_of(canvas, lines, 0.03), skin.density * 0.3, skin.albedo)


def _eyes(canvas: Canvas, line: FloatArray, width: float) -> None:
    p, _, right = on_line(line, 0.06)
    for side in (-1, 1):
        x, y = p + right * side * width * 0.18
        canvas.lay(disc(canvas, float(x), float(y), width * 0.15), np.full(3, 1.5), np.array([0.05, 0.02, 0.02]))


def _wings(canvas: Canvas, line: FloatArray, rng: np.random.Generator, length: float, width: float) -> None:
    """Smoky, clear, as long as the body; a thick front edge and few veins."""
    if rng.random() < 0.15:
        return
    swing = np.deg2rad(rng.uniform(0, 12) if rng.random() < 0.6 else rng.uniform(20, 75))
    smoke = np.array([0.95, 1.0, 1.1]) * rng.uniform(0.06, 0.25)
    for side in (-1, 1):
        turn = swing * rng.uniform(0.8, 1.2) * side
        p, back, right = on_line(line, 0.3)
        axis, lead = np.cos(turn) * back + np.sin(turn) * right, np.cos(turn) * right - np.sin(turn) * back
        root, span, chord = (
            p + right * side * width * 0.25,
            length * rng.uniform(0.75, 0.9),
            length * rng.uniform(0.26, 0.32),
        )
        s = np.linspace(0, 1, 40)
        front = side * chord * 0.45 * np.sin(np.pi * s**0.8) ** 0.8
        rear = -side * chord * 0.6 * np.sin(np.pi * s**1.5) ** 0.8
        edge = [root + np.outer(s * span, axis) + np.outer(y, lead) for y in (front, rear)]
        # One sees through it: it tints what lies under it, and hides little of it.
        blade = polygon(canvas, np.concatenate([edge[0], edge[1][::-1]])) * np.float32(_WING_COVERS)
        canvas.lay(blade, smoke / _WING_COVERS, np.full(3, 0.35))
        canvas.lay(strokes(canvas, [edge[0][:30]], 0.035), np.full(3, 0.7), np.full(3, 0.1))
        veins = [
            root + np.outer(s * span * 0.95, axis) + np.outer(y * k, lead)
            for y, k in ((front, 0.45), (rear, 0.35), (rear, 0.7))
        ]
        canvas.lay(strokes(canvas, veins, 0.015), np.full(3, 0.4), np.full(3, 0.12))
