"""Aphids: pear-shaped, with cornicles, six legs and two antennae that may be spread, tucked or shed.

Lengths follow the sources named in LENGTHS_MM; widths and everything else of the look are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.canvas import Canvas, Tube, disc, limbs_of, mottle, open_canvas, strokes, tube
from vision.render.outlines import STEPS, bend, half_width, middle_line, straightness
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import Tissue, between, pick, plumpness, tissue
from vision.types import FloatArray

LENGTHS_MM: dict[str, tuple[float, float]] = {
    # Nymphs: the youngest 0.5-0.6 mm (from memory); full-grown below the adult's length.
    "nymph": (0.5, 1.5),
    # Brevicoryne brassicae 1.6-2.8 mm: INRAE Encyclop'Aphid. Myzus persicae 1.5-2.0 mm: Univ. Florida Entomology.
    "wingless": (1.5, 2.8),
    "winged": (1.5, 2.1),
    # Swollen by a parasite; length as the adult's (from memory).
    "mummy": (1.5, 2.3),
}
LENGTH_OVER_WIDTH: dict[str, tuple[float, float]] = {
    # About 1.5-2 (from memory); a mummy is rounder.
    "nymph": (1.55, 2.05),
    "wingless": (1.5, 2.0),
    "winged": (1.7, 2.1),
    "mummy": (1.2, 1.5),
}
_CORE = {  # share of light passing at full thickness
    "green": (0.10, 0.45),
    "yellow": (0.15, 0.55),
    "pink": (0.12, 0.45),
    "grey": (0.04, 0.22),
    "black": (0.008, 0.08),
    "brown": (0.03, 0.3),
    "tan": (0.2, 0.6),
    "olive": (0.06, 0.35),
}
_PEAR = (
    (0, 0.02, 0.07, 0.14, 0.28, 0.45, 0.62, 0.76, 0.88, 0.95, 0.985, 1),
    (0, 0.2, 0.33, 0.42, 0.62, 0.87, 1.0, 0.93, 0.68, 0.4, 0.16, 0),
)
_SPINDLE = (
    (0, 0.02, 0.08, 0.16, 0.26, 0.34, 0.42, 0.6, 0.75, 0.88, 0.96, 1),
    (0, 0.26, 0.42, 0.5, 0.66, 0.62, 0.74, 1.0, 0.9, 0.6, 0.3, 0),
)
_BALL = (
    (0, 0.02, 0.07, 0.15, 0.3, 0.5, 0.7, 0.85, 0.94, 0.985, 1),
    (0, 0.28, 0.42, 0.6, 0.88, 1.0, 0.97, 0.76, 0.5, 0.22, 0),
)


@dataclass(frozen=True)
class _Frame:
    """Body coordinates to canvas millimetres: along 0..1 from the head, across in half widths."""

    line: FloatArray
    left: FloatArray
    right: FloatArray

    def at(self, t: float, q: float) -> np.ndarray:
        i = min(int(t * (len(self.line) - 2)), len(self.line) - 2)
        step = (self.line[i + 1] - self.line[i]).astype(float)
        step /= np.hypot(*step)
        half = float(np.interp(t, np.linspace(0, 1, STEPS), self.left if q < 0 else self.right))
        return np.asarray(self.line[i] + q * half * np.array([-step[1], step[0]]))

    @property
    def heading(self) -> np.ndarray:
        step = (self.line[0] - self.line[-1]).astype(float)
        return np.asarray(step / np.hypot(*step))


def draw_aphid(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One aphid; see Patch."""
    form = pick(rng, {"wingless": 0.47, "nymph": 0.36, "winged": 0.09, "mummy": 0.08})
    low, high = LENGTHS_MM[form]
    length = rng.uniform(low, high) if wish.length_mm is None else wish.length_mm
    width = length / rng.uniform(*LENGTH_OVER_WIDTH[form])
    angle = rng.uniform(0, 360) if wish.angle_deg is None else wish.angle_deg
    limbs = wish.limbs is not False
    colour, core = _colour(rng, form, wish)
    skin = tissue(colour, core, rng)

    profile = {"mummy": _BALL, "winged": _SPINDLE}.get(form) or (_PEAR if rng.random() < 0.75 else _SPINDLE)
    left, right = half_width(profile, width, rng, 0.035)
    lies_on_side = bool(rng.random() < 0.28)
    if lies_on_side:
        # Seen from the side the belly bulges and the back is flat.
        push = rng.uniform(0.1, 0.4)
        left, right = left * np.float32(1 - push), right * np.float32(1 + push)
    line = middle_line(length, bend(rng, "straight", rng.uniform(0, 0.5)), angle)
    reach = length * (0.75 + (0.75 if limbs else 0))
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach), wish.stout)
    frame = _Frame(line, left, right)
    dark = tissue("black" if rng.random() < 0.6 else "brown", between(rng, 0.03, 0.4), rng)
    if form == "mummy":
        dark = skin.darker(1.2)
    body = tube(canvas, line, left, right)
    if limbs:
        # What lies under the body is seen through scattering tissue: faint and soft.
        clear = 1 - np.float32(rng.uniform(0.55, 0.95)) * body.cover
        _limbs(
            canvas, clear, frame, rng, length, skin, dark, shed=wish.heated or form == "mummy", one_sided=lies_on_side
        )
    _trunk(canvas, body, rng, skin, form, width, core, wild=wish.wild)
    _details(canvas, frame, rng, length, dark, form)
    if form == "winged" and limbs:
        _wings(canvas, frame, rng, length)
    # Width as drawn: pushing the middle line aside does not change the sum of both sides by more than the wobble.
    return canvas.patch(
        length_mm=float(length),
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        form=form,
        gloss=0.05 if colour == "grey" else float(rng.uniform(0.1, 0.5)),
    )


def _colour(rng: np.random.Generator, form: str, wish: BodyWish) -> tuple[str, float]:
    """Colour and share of light through the thickest part. Heat browns as a tendency (common practice, no source)."""
    if form == "mummy":
        return pick(rng, {"tan": 0.6, "brown": 0.4}), between(rng, 0.03, 0.25)
    odds = {"green": 0.3, "grey": 0.32, "yellow": 0.16, "pink": 0.05, "black": 0.12, "olive": 0.05}
    if form == "winged":
        odds = {"green": 0.35, "black": 0.4, "grey": 0.25}
    if wish.heated and rng.random() < 0.85:
        odds = {"brown": 0.5, "tan": 0.2, "olive": 0.12, "black": 0.1, "grey": 0.08}
    colour = pick(rng, odds)
    core = between(rng, *_CORE[colour])
    if form == "nymph":
        core = core ** rng.uniform(0.35, 0.75)
    if wish.wild and rng.random() < 0.4:
        core = float(rng.uniform(0.03, 0.9))
    return colour, core


def _trunk(
    canvas: Canvas,
    body: Tube,
    rng: np.random.Generator,
    skin: Tissue,
    form: str,
    width_mm: float,
    core: float,
    *,
    wild: bool,
) -> None:
    """The body: thick in the middle, pale at the rim, with what shows through the skin."""
    width_here = np.clip(np.sin(np.pi * np.clip(body.t, 0, 1) ** 0.8), 0, 1)
    thick = body.dome ** plumpness(rng, wild=wild) * (0.55 + 0.45 * width_here)
    thick = thick * (1 + rng.uniform(0.03, 0.1) * mottle(canvas, rng, width_mm * 0.18))
    # Light that meets the steep flank is bent away: a thin darker line some bodies show at the very rim.
    thick = thick + rng.uniform(0, 0.4) * np.exp(-(((np.abs(body.q) - 0.93) / 0.06) ** 2)).astype(np.float32)
    # Rings of the abdomen, faint.
    rings = 1 + rng.uniform(0, 0.12) * np.cos(2 * np.pi * body.t * rng.uniform(8, 10)) * (body.t > 0.35)
    thick = np.clip(thick * rings, 0, None).astype(np.float32)
    density = skin.over(thick)
    gut = rng.uniform(0.05, 0.9) * min(1.0, 2 * core + 0.2)
    for _ in range(int(rng.integers(1, 7)) if form != "mummy" else 0):
        # Food and embryos in the abdomen.
        t0, q0 = rng.uniform(0.4, 0.85), rng.uniform(-0.55, 0.55)
        size_t, size_q = rng.uniform(0.05, 0.14), rng.uniform(0.12, 0.35)
        blob = np.exp(-(((body.t - t0) / size_t) ** 2) - ((body.q - q0) / size_q) ** 2)
        density += (gut * blob)[..., None] * skin.density.astype(np.float32) * np.float32(rng.uniform(0.3, 1.2))
    front = np.clip((0.16 - body.t) / 0.08, 0, 1) if form != "winged" else np.clip((0.42 - body.t) / 0.06, 0, 1)
    head = rng.uniform(0.1, 1.5) if form != "winged" else rng.uniform(1.2, 3.0)
    density += (head * front * body.dome)[..., None] * np.float32(0.6)
    albedo = np.broadcast_to(skin.albedo.astype(np.float32), (*body.t.shape, 3))
    albedo = albedo * (1 - np.clip(head * front * 0.45, 0, 0.9))[..., None]
    albedo = albedo * (1 + 0.1 * mottle(canvas, rng, 0.08))[..., None]
    canvas.lay(body.cover, density, np.clip(albedo, 0.01, 0.95), height_mm=body.dome * width_mm * 0.75, body=True)


def _details(canvas: Canvas, frame: _Frame, rng: np.random.Generator, length: float, dark: Tissue, form: str) -> None:
    """Eyes, cornicles, tail and the dark marks on the back."""
    for side in (-1, 1):
        x, y = frame.at(0.07, side * 0.82)
        canvas.lay(disc(canvas, x, y, 0.022 * length**0.5), np.full(3, 2.2), np.full(3, 0.03))
    if form == "mummy":
        return
    tube_length = length * rng.uniform(0.05, 0.22)
    for side in (-1, 1):
        start = frame.at(0.8, side * 0.7)
        out = (start - frame.at(0.8, 0)) / (np.hypot(*(start - frame.at(0.8, 0))) + 1e-6)
        end = start + tube_length * (out * rng.uniform(0.3, 0.9) - frame.heading * rng.uniform(0.6, 1.0))
        canvas.lay(strokes(canvas, [np.stack([start, end])], 0.03 * length), dark.density * 0.7, dark.albedo)
    tail = np.stack([frame.at(0.97, 0), frame.at(0.999, 0) - frame.heading * length * rng.uniform(0.02, 0.07)])
    canvas.lay(strokes(canvas, [tail], 0.045 * length), dark.density * 0.6, dark.albedo)
    if form != "nymph" and rng.random() < 0.4:
        for row in range(int(rng.integers(3, 7))):
            t = 0.35 + row * 0.08
            for side in (-1, 1):
                a, b = frame.at(t, side * 0.15), frame.at(t, side * rng.uniform(0.4, 0.6))
                bar = strokes(canvas, [np.stack([a, b])], 0.035 * length)
                canvas.lay(bar * np.float32(0.6), dark.density * 0.6, dark.albedo)


def _limbs(
    canvas: Canvas,
    clear: FloatArray,
    frame: _Frame,
    rng: np.random.Generator,
    length: float,
    skin: Tissue,
    dark: Tissue,
    *,
    shed: bool,
    one_sided: bool,
) -> None:
    """Six legs and two antennae. Heat and handling cost some of them. `clear` (n, m): how plainly a limb shows at each place."""
    keep = rng.uniform(0.15, 1.0) if shed else rng.uniform(0.7, 1.0)
    spread = rng.choice([0.35, 0.7, 1.0])
    pale = rng.random() < 0.5
    colour = Tissue(skin.density * 0.5, skin.albedo) if pale else Tissue(dark.density * 0.7, dark.albedo)
    ahead, thighs, shins = frame.heading, [], []
    for t, aim in ((0.2, 35), (0.3, 95), (0.4, 140)):
        for side in (-1, 1):
            if rng.random() > keep:
                continue
            lean = abs(side) if one_sided else side
            hip = frame.at(t, side * 0.7)
            knee = hip + _turned(ahead, lean * (aim + rng.normal(0, 15))) * length * rng.uniform(0.2, 0.3) * spread
            knee += _turned(ahead, lean * 90) * length * 0.14
            foot_aim = lean * (aim + rng.uniform(10, 50) * (1 if aim > 90 else -0.3))
            foot = knee + _turned(ahead, foot_aim) * length * rng.uniform(0.22, 0.42) * (0.4 + 0.6 * spread)
            thighs.append(np.stack([hip, knee]))
            shins.append(np.stack([knee, (knee + foot) / 2 + rng.normal(0, 0.015 * length, 2), foot]))
    canvas.lay(clear * limbs_of(canvas, thighs, 0.04 * length**0.7), colour.density, colour.albedo)
    canvas.lay(clear * limbs_of(canvas, shins, 0.024 * length**0.7), colour.density, colour.albedo)
    feelers = []
    for flank in (-1, 1):
        if rng.random() < keep:
            root = frame.at(0.03, flank * 0.5)
            reach, swing = length * rng.uniform(0.35, 0.9), flank * rng.uniform(10, 150)
            mid = root + _turned(ahead, flank * rng.uniform(15, 50)) * reach * 0.4
            feelers.append(np.stack([root, mid, mid + _turned(ahead, swing) * reach * 0.6]))
    canvas.lay(clear * limbs_of(canvas, feelers, 0.02 * length**0.6), colour.density * 0.9, colour.albedo)


def _turned(direction: np.ndarray, angle_deg: float) -> np.ndarray:
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.array([c * direction[0] - s * direction[1], s * direction[0] + c * direction[1]])


def _wings(canvas: Canvas, frame: _Frame, rng: np.random.Generator, length: float) -> None:
    """Two clear wings with veins, folded over the back or spread."""
    open_deg = rng.choice([12.0, 30.0, 75.0])
    for side in (-1, 1):
        if rng.random() < 0.12:
            continue
        root = frame.at(0.3, side * 0.5)
        axis = _turned(-frame.heading, -side * (open_deg + rng.normal(0, 8)))
        across = np.array([-axis[1], axis[0]]) * side
        long, wide = length * rng.uniform(1.05, 1.3), length * rng.uniform(0.32, 0.42)
        dx, dy = canvas.x_mm - np.float32(root[0]), canvas.y_mm - np.float32(root[1])
        u = (dx * axis[0] + dy * axis[1]) / long
        v = (dx * across[0] + dy * across[1]) / wide
        shape = np.clip(u, 0, 1) ** 0.6 * np.sqrt(np.clip(1 - np.clip(u, 0, 1) ** 4, 0, 1))
        cover = np.clip((shape * 0.5 - np.abs(v)) * wide * canvas.per_mm + 0.5, 0, 1) * ((u > 0) & (u < 1))
        canvas.lay(cover.astype(np.float32) * np.float32(0.5), np.full(3, rng.uniform(0.08, 0.3)), np.full(3, 0.5))
        edge = root + axis * long * 0.75 - across * wide * 0.3
        veins = [np.stack([root, edge])]
        for share in (0.3, 0.5, 0.7):
            start = root + (edge - root) * share
            veins.append(
                np.stack([start, root + axis * long * min(share + 0.35, 0.98) + across * wide * (0.45 - share * 0.35)])
            )
        canvas.lay(strokes(canvas, veins, 0.015), np.full(3, 0.9), np.full(3, 0.1))
