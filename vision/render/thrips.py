"""Thrips: slim, tapered, banded; adults carry narrow fringed wings as a darker line along the back; larvae are pale."""

from __future__ import annotations

import numpy as np

from vision.render.canvas import Canvas, Tube, disc, limbs_of, mottle, open_canvas, strokes, tube
from vision.render.outlines import bend, box_round, half_width, middle_line, straightness
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import Tissue, between, pick, plumpness, tissue
from vision.types import FloatArray

LENGTHS_MM: dict[str, tuple[float, float]] = {
    # First larva 0.35-0.38, second 0.7-0.9 mm: Univ. Florida MREC / NC State text.
    "larva": (0.35, 0.9),
    # Thrips tabaci 0.8-1.2 mm (Bayer Crop Science), Frankliniella occidentalis to 1.4 mm (second-hand copy).
    "adult": (0.8, 1.5),
}
LENGTH_OVER_WIDTH = (4.0, 6.0)  # from memory
_ADULT = (
    (0, 0.02, 0.08, 0.13, 0.16, 0.22, 0.26, 0.33, 0.42, 0.47, 0.62, 0.76, 0.88, 0.96, 1),
    (0, 0.38, 0.52, 0.5, 0.68, 0.76, 0.84, 1.0, 0.9, 0.92, 1.0, 0.86, 0.55, 0.24, 0),
)
_LARVA = (
    (0, 0.02, 0.09, 0.15, 0.3, 0.5, 0.66, 0.8, 0.92, 0.98, 1),
    (0, 0.34, 0.5, 0.6, 0.86, 1.0, 0.98, 0.76, 0.42, 0.2, 0),
)


def draw_thrips(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One thrips; see Patch."""
    form = pick(rng, {"adult": 0.62, "larva": 0.38})
    low, high = LENGTHS_MM[form]
    length = rng.uniform(low, high) if wish.length_mm is None else wish.length_mm
    width = length / rng.uniform(*LENGTH_OVER_WIDTH)
    angle = rng.uniform(0, 360) if wish.angle_deg is None else wish.angle_deg
    limbs = wish.limbs is not False
    left, right = half_width(_ADULT if form == "adult" else _LARVA, width, rng, 0.03)
    curl = bool(rng.random() < 0.2)
    turn = bend(rng, pick(rng, {"C": 1, "S": 1}) if curl else "straight", rng.uniform(0.5, 1.4) if curl else 0.5)
    line = middle_line(length, turn, angle)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * (0.45 if limbs else 0.12)), wish.stout)
    colour, core = _colour(rng, form, wish)
    skin = tissue(colour, core, rng)
    if limbs:
        _limbs(canvas, line, rng, length, width, skin, shed=wish.heated)
    body = tube(canvas, line, left, right)
    _trunk(canvas, body, rng, skin, form, width, wild=wish.wild)
    if form == "adult" and limbs:
        _wings(canvas, body, line, rng, length, width, core)
    _eyes(canvas, line, width, form, rng)
    return canvas.patch(
        length_mm=float(length),
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        form=form,
        gloss=float(rng.uniform(0.1, 0.5)),
    )


def _colour(rng: np.random.Generator, form: str, wish: BodyWish) -> tuple[str, float]:
    """Colour and share of light through the thickest part. Brown ones stay dark in heat, pale ones tend to brown."""
    if form == "larva":
        colour, core = pick(rng, {"yellow": 0.5, "white": 0.35, "tan": 0.15}), between(rng, 0.45, 0.85)
        if wish.heated and rng.random() < 0.6:
            colour, core = pick(rng, {"tan": 0.7, "brown": 0.3}), between(rng, 0.25, 0.7)
    else:
        colour = pick(rng, {"brown": 0.42, "black": 0.22, "yellow": 0.24, "grey": 0.12})
        low, high = {"brown": (0.05, 0.35), "black": (0.02, 0.12), "yellow": (0.25, 0.6), "grey": (0.12, 0.4)}[colour]
        core = between(rng, low, high)
        if wish.heated and colour == "yellow" and rng.random() < 0.75:
            colour, core = "brown", between(rng, 0.08, 0.4)
    if wish.wild and rng.random() < 0.4:
        core = float(rng.uniform(0.03, 0.9))
    return colour, core


def _trunk(
    canvas: Canvas, body: Tube, rng: np.random.Generator, skin: Tissue, form: str, width_mm: float, *, wild: bool
) -> None:
    """Ten bands on the abdomen, the plates dark and the joints pale; the middle of the body thickest."""
    thick = body.dome ** plumpness(rng, wild=wild) * (0.75 + 0.25 * np.sin(np.pi * np.clip(body.t, 0, 1)))
    bands = np.cos(2 * np.pi * (body.t - 0.42) / 0.056)
    depth = rng.uniform(0.1, 0.35) if form == "adult" else rng.uniform(0.0, 0.15)
    thick = thick * (1 + depth * bands * (body.t > 0.42))
    joints = sum(np.exp(-(((body.t - at) / 0.008) ** 2)) for at in (0.135, 0.245, 0.41))
    thick = thick * (1 - rng.uniform(0.1, 0.45) * joints)
    thick = thick * (1 + 0.06 * mottle(canvas, rng, 0.05))
    density = skin.over(np.clip(thick, 0, None).astype(np.float32))
    if form == "larva":
        # The gut shows through as a darker or brighter yellow streak.
        gut = np.exp(-(((body.t - rng.uniform(0.45, 0.65)) / 0.18) ** 2) - (body.q / rng.uniform(0.25, 0.5)) ** 2)
        density += gut[..., None] * np.array([0.1, 0.2, 0.45], np.float32) * np.float32(rng.uniform(0, 1.2))
    else:
        # Onion thrips: brownish blotches on a pale body.
        density += (
            (np.clip(mottle(canvas, rng, 0.12), 0, 2) * rng.uniform(0, 0.5))[..., None]
            * np.array([0.3, 0.45, 0.6], np.float32)
            * body.dome[..., None]
        )
    albedo = skin.albedo * np.ones((*body.t.shape, 3)) * (1 - 0.35 * depth * bands * (body.t > 0.42))[..., None]
    canvas.lay(body.cover, density, np.clip(albedo, 0.01, 0.95), height_mm=body.dome * width_mm * 0.8, body=True)


def _at(line: FloatArray, t: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, direction towards the tail and direction to the right at a share of the length."""
    i = min(int(t * (len(line) - 2)), len(line) - 2)
    step = (line[i + 1] - line[i]).astype(float)
    step /= np.hypot(*step)
    return line[i].astype(float), step, np.array([-step[1], step[0]])


def _wings(
    canvas: Canvas, body: Tube, line: FloatArray, rng: np.random.Generator, length: float, width: float, core: float
) -> None:
    """Folded: a dark narrow line on the back with its fringe past the tail; or one or both stuck out sideways."""
    for side in (-1, 1):
        start, back, right = _at(line, 0.3)
        stuck_out = rng.random() < 0.07
        swing = np.deg2rad(rng.uniform(20, 70) if stuck_out else rng.uniform(-3, 4)) * side
        axis = np.cos(swing) * back + np.sin(swing) * right
        root = start + right * side * width * (0.3 if stuck_out else 0.12)
        tip = root + axis * length * rng.uniform(0.5, 0.62)
        vane = strokes(canvas, [np.stack([root, tip])], width * 0.2)
        canvas.lay(vane, np.array([0.75, 0.9, 1.05]) * rng.uniform(0.15, 0.9), np.array([0.12, 0.09, 0.06]))
        hairs = []
        for share in np.linspace(0.25, 1, 12):
            p = root + (tip - root) * share
            lean = axis * 0.7 + np.array([-axis[1], axis[0]]) * side * rng.uniform(0.6, 1.0)
            hairs.append(np.stack([p, p + lean * width * rng.uniform(0.5, 0.9)]))
        canvas.lay(strokes(canvas, hairs, 0.005), np.full(3, 0.8), np.full(3, 0.1))


def _limbs(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, length: float, width: float, skin: Tissue, *, shed: bool
) -> None:
    """Short legs and antennae; often folded under the body or lost."""
    keep = rng.uniform(0, 0.8) if shed else rng.uniform(0.4, 1.0)
    legs, feelers = [], []
    for t, aim in ((0.18, -0.5), (0.27, 0.2), (0.38, 0.8)):
        for side in (-1, 1):
            if rng.random() < keep:
                p, back, right = _at(line, t)
                hip = p + right * side * width * 0.35
                knee = hip + (right * side + back * (aim + rng.normal(0, 0.2))) * width * rng.uniform(0.35, 0.6)
                legs.append(np.stack([hip, knee, knee + (back * aim + right * side * 0.3) * width * 0.6]))
    for side in (-1, 1):
        if rng.random() < 0.3 + 0.7 * keep:
            p, back, right = _at(line, 0.01)
            mid = p + right * side * width * 0.15 - back * length * 0.08
            feelers.append(
                np.stack(
                    [
                        p + right * side * width * 0.12,
                        mid,
                        mid - back * length * 0.1 + right * side * length * rng.uniform(-0.02, 0.07),
                    ]
                )
            )
    canvas.lay(limbs_of(canvas, legs, 0.022), skin.density * 0.5, skin.albedo)
    canvas.lay(limbs_of(canvas, feelers, 0.018), skin.density * 0.7, skin.albedo)


def _eyes(canvas: Canvas, line: FloatArray, width: float, form: str, rng: np.random.Generator) -> None:
    p, _, right = _at(line, 0.05)
    colour = np.array([0.6, 1.6, 1.6]) if form == "larva" else np.full(3, 1.8)
    for side in (-1, 1):
        x, y = p + right * side * width * 0.2
        canvas.lay(disc(canvas, float(x), float(y), width * 0.075), colour, np.array([0.08, 0.02, 0.02]))
