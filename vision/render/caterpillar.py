"""Caterpillars: straight or curved along a line, creased into segments, with a darker head capsule; pale and opaque after heat."""

from __future__ import annotations

import numpy as np

from vision.render.canvas import Canvas, Tube, disc, limbs_of, mottle, open_canvas, strokes, tube
from vision.render.outlines import STEPS, bend, box_round, half_width, middle_line, straightness
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import Tissue, between, pick, plumpness, tissue
from vision.types import FloatArray

# Plutella xylostella about 1.7 mm in the first stage to 11.2 mm grown (from memory; to 10 mm: Barmac page).
LENGTHS_MM = (1.5, 12.0)
LENGTH_OVER_WIDTH = (5.0, 8.0)  # from memory
_PLUMP = (
    (0, 0.015, 0.05, 0.09, 0.15, 0.3, 0.6, 0.78, 0.9, 0.96, 0.99, 1),
    (0, 0.5, 0.72, 0.78, 0.9, 1.0, 1.0, 0.93, 0.72, 0.5, 0.26, 0),
)
_TAPERED = (
    (0, 0.015, 0.05, 0.1, 0.2, 0.42, 0.6, 0.78, 0.9, 0.97, 0.99, 1),
    (0, 0.36, 0.54, 0.62, 0.82, 1.0, 0.98, 0.8, 0.54, 0.32, 0.2, 0),
)


def draw_caterpillar(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One caterpillar; see Patch."""
    length = between(rng, *LENGTHS_MM) if wish.length_mm is None else wish.length_mm
    width = length / rng.uniform(*LENGTH_OVER_WIDTH)
    angle = rng.uniform(0, 360) if wish.angle_deg is None else wish.angle_deg
    style = pick(rng, {"C": 0.36, "S": 0.18, "J": 0.2, "straight": 0.26})
    turn = {"C": rng.uniform(0.9, 4.4), "S": rng.uniform(1.6, 4.2), "J": rng.uniform(0.9, 2.8)}.get(style, 0.5)
    line = middle_line(length, bend(rng, style, turn), angle)
    left, right = half_width(_TAPERED if rng.random() < 0.5 else _PLUMP, width, rng, 0.02)
    segments = 13
    grid = np.linspace(0, 1, STEPS)
    crease = np.cos(2 * np.pi * segments * grid) * np.clip((grid - 0.08) / 0.05, 0, 1)
    pinch = rng.uniform(0.01, 0.05)
    left, right = (np.asarray(side * (1 - pinch + pinch * crease), np.float32) for side in (left, right))
    limbs = wish.limbs is not False
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, width * (1.3 if limbs else 0.8)), wish.stout)
    body = tube(canvas, line, left, right)
    colour, core = _colour(rng, length, wish)
    skin = tissue(colour, core, rng)
    head_share = float(np.clip(rng.uniform(0.6, 0.9) * width / length, 0.04, 0.16)) * (1.3 if length < 3 else 1.0)
    if limbs:
        _legs_and_hairs(canvas, line, np.asarray((left + right) / 2, np.float32), rng, width, skin)
    _trunk(canvas, body, rng, skin, width, segments, opaque=wish.heated, wild=wish.wild)
    _head(canvas, body, line, rng, width, length, head_share)
    return canvas.patch(
        length_mm=float(length),
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        form=style if style != "straight" else "straight",
        gloss=float(rng.uniform(0.15, 0.6)),
    )


def _colour(rng: np.random.Generator, length: float, wish: BodyWish) -> tuple[str, float]:
    """Fresh: green, the young whitish and nearly clear. Heated: pale and opaque as a tendency (common practice, no source)."""
    odds = {"green": 0.62, "yellow": 0.16, "olive": 0.12, "white": 0.1}
    low, high = 0.15, 0.55
    if length < 3.5:
        odds = {"green": 0.35, "white": 0.35, "yellow": 0.3}
        low, high = 0.35, 0.75
    if wish.heated and rng.random() < 0.85:
        odds = {"white": 0.45, "tan": 0.35, "yellow": 0.15, "brown": 0.05}
        low, high = 0.18, 0.5
    colour, core = pick(rng, odds), between(rng, low, high)
    if wish.wild and rng.random() < 0.4:
        core = float(rng.uniform(0.03, 0.9))
    return colour, core


def _trunk(
    canvas: Canvas,
    body: Tube,
    rng: np.random.Generator,
    skin: Tissue,
    width_mm: float,
    segments: int,
    *,
    opaque: bool,
    wild: bool,
) -> None:
    """Creased cylinder with the gut, lines along the sides, and air tubes."""
    phase = np.cos(2 * np.pi * segments * body.t)
    crease = np.exp(-((np.abs((body.t * segments) % 1.0 - 0.5) - 0.5) ** 2) / 0.012).astype(np.float32)
    thick = body.dome ** plumpness(rng, wild=wild) * (1 + 0.06 * phase)
    thick = thick * (1 + rng.uniform(-0.12, 0.35) * crease) * (1 + 0.05 * mottle(canvas, rng, width_mm * 0.25))
    density = skin.over(np.clip(thick, 0, None).astype(np.float32))
    gut_hue = np.array([1.0, 0.55, 1.3], np.float32) if not opaque else np.array([0.8, 0.95, 1.2], np.float32)
    ends = np.clip((body.t - 0.12) / 0.08, 0, 1) * np.clip((0.9 - body.t) / 0.08, 0, 1)
    fill = np.clip(0.6 + 0.5 * mottle(canvas, rng, width_mm * 0.9), 0, 1.5)
    gut = np.exp(-((body.q / rng.uniform(0.3, 0.6)) ** 2)) * ends * fill * rng.uniform(0, 0.9) * (0.5 if opaque else 1)
    density += gut[..., None] * gut_hue
    albedo = skin.albedo * np.ones((*body.t.shape, 3)) * (1 - 0.25 * crease)[..., None]
    albedo = albedo * (1 - np.clip(0.35 * gut, 0, 0.6)[..., None] * np.array([1.0, 0.5, 1.0]))
    if rng.random() < 0.5:
        # Pale lines along the flanks, as on loopers, or one along the back, as on cabbage whites.
        at = rng.choice([0.0, 0.62, 0.75])
        stripe = np.exp(-(((np.abs(body.q) - at) / 0.09) ** 2)) * rng.uniform(0.2, 0.7)
        albedo = albedo * (1 - stripe[..., None]) + stripe[..., None] * np.array([0.75, 0.72, 0.4])
        density *= (1 - 0.3 * stripe)[..., None].astype(np.float32)
    canvas.lay(body.cover, density, np.clip(albedo, 0.01, 0.95), height_mm=body.dome * width_mm * 0.9, body=True)


def _head(
    canvas: Canvas, body: Tube, line: FloatArray, rng: np.random.Generator, width: float, length: float, share: float
) -> None:
    """The capsule: a hard cap over the front, from barely tinted to black."""
    colour = pick(rng, {"brown": 0.45, "black": 0.25, "tan": 0.3})
    cap = tissue(colour, {"brown": 0.2, "black": 0.04, "tan": 0.5}[colour] * rng.uniform(0.6, 1.4), rng)
    edge = np.clip((share - body.t) * length * canvas.per_mm * 0.5 + 0.5, 0, 1) * body.cover
    canvas.lay(edge.astype(np.float32), cap.over(np.sqrt(np.clip(1 - body.q**2 * 0.6, 0, 1))), cap.albedo, body=True)
    i = int(share * 0.5 * (len(line) - 2))
    step = (line[i + 1] - line[i]).astype(float)
    right = np.array([-step[1], step[0]]) / np.hypot(*step)
    for side in (-1, 1):
        x, y = line[i] + right * side * width * 0.24
        canvas.lay(disc(canvas, float(x), float(y), max(width * 0.05, 0.015)), np.full(3, 1.5), np.full(3, 0.03))


def _flank(line: FloatArray, half: FloatArray, t: float, side: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A point on the flank, the way out from it and the way to the tail, at a share of the length."""
    i = int(t * (len(line) - 2))
    step = (line[i + 1] - line[i]).astype(float)
    step /= np.hypot(*step)
    out = np.array([-step[1], step[0]]) * side
    return line[i] + out * float(np.interp(t, np.linspace(0, 1, STEPS), half)), out, step


def _legs_and_hairs(
    canvas: Canvas, line: FloatArray, half: FloatArray, rng: np.random.Generator, width: float, skin: Tissue
) -> None:
    """Three pairs of short true legs, stubby prolegs, sparse bristles; legs show on the flank a body on its side turns up."""
    sides = pick(rng, {"none": 0.45, "one": 0.4, "both": 0.15})
    one = float(rng.choice([-1, 1]))
    flanks = {"none": (), "one": (one,), "both": (-1.0, 1.0)}[sides]
    true_legs, prolegs, hairs = [], [], []
    for side in flanks:
        for t in (0.12, 0.17, 0.22):
            root, out, back = _flank(line, half, t, side)
            tip = root + (out * rng.uniform(0.12, 0.26) + back * rng.normal(0, 0.08)) * width
            true_legs.append(np.stack([root - out * 0.1 * width, tip]))
        for t in (0.46, 0.53, 0.6, 0.67, 0.95):
            root, out, back = _flank(line, half, t, side)
            tip = root + (out * rng.uniform(0.0, 0.1) + back * rng.normal(0, 0.05)) * width
            prolegs.append(np.stack([root - out * 0.15 * width, tip]))
    for _ in range(int(rng.integers(0, 40))):
        root, out, back = _flank(line, half, rng.uniform(0.08, 0.98), float(rng.choice([-1, 1])))
        hairs.append(np.stack([root, root + (out + back * rng.normal(0, 0.6)) * width * rng.uniform(0.1, 0.35)]))
    canvas.lay(limbs_of(canvas, prolegs, width * 0.13), skin.density * 0.45, skin.albedo)
    canvas.lay(limbs_of(canvas, true_legs, width * 0.06), skin.density * 0.6 + 0.2, skin.albedo * 0.6)
    canvas.lay(strokes(canvas, hairs, 0.008), np.full(3, 1.2), np.full(3, 0.04))
