"""The smallest of the first family: pale larvae, mites, eggs alone and in rows, cast skins.

Lengths follow the sources named beside them; widths and everything else of the look are from memory.
"""

from __future__ import annotations

import numpy as np

from vision.render.canvas import Canvas, Tube, disc, limbs_of, mottle, open_canvas, strokes, tube
from vision.render.outlines import Profile, bend, box_round, half_width, middle_line, straightness
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import Tissue, between, pick, plumpness, tissue
from vision.types import FloatArray

# Thrips larvae 0.35-0.38 and 0.7-0.9 mm: UF MREC / NC State text. Fly maggots of that size are newly hatched (from memory).
LARVA_MM = (0.4, 0.9)
LARVA_LENGTH_OVER_WIDTH = (4.0, 6.0)  # from memory
# Tetranychus urticae 0.25-0.5 mm: Pacific Northwest handbook page; larger ones among mould mites (from memory).
MITE_MM = (0.25, 0.6)
MITE_LENGTH_OVER_WIDTH = (1.5, 2.0)  # 0.4-0.5 by 0.2-0.3 mm: dimensions.com, low grade
EGGS_MM: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    # Length, length over width. Plutella 0.44 x 0.26 mm: second-hand copy of the extension text; Pieris rapae 1.0 x 0.5 mm,
    # white to yellow: UF/IFAS Featured Creatures.
    "moth": ((0.4, 1.05), (1.6, 2.0)),
    # Asparagus beetle 1.2-1.6 mm, dark: second-hand copy of a handbook. Length over width: from memory.
    "beetle": ((1.1, 1.5), (2.2, 3.0)),
    # Fungus gnat 0.7 x 0.3 mm, phorid 0.5 x 0.2 mm: second-hand copy of a handbook.
    "fly": ((0.45, 0.8), (2.2, 2.6)),
}
SKIN_MM = (0.6, 2.0)  # as the nymphs that leave them, from memory

_LARVA: Profile = (
    (0, 0.02, 0.09, 0.16, 0.3, 0.5, 0.68, 0.82, 0.92, 0.98, 1),
    (0, 0.36, 0.54, 0.62, 0.86, 1.0, 0.98, 0.8, 0.48, 0.24, 0),
)
_MAGGOT: Profile = (
    (0, 0.03, 0.12, 0.3, 0.55, 0.8, 0.93, 0.98, 1),
    (0, 0.2, 0.42, 0.74, 0.95, 1.0, 0.9, 0.6, 0),
)
_OVAL: Profile = (
    (0, 0.03, 0.1, 0.22, 0.4, 0.6, 0.8, 0.92, 0.98, 1),
    (0, 0.34, 0.6, 0.84, 0.98, 1.0, 0.86, 0.6, 0.32, 0),
)
_EGG: Profile = (
    (0, 0.02, 0.08, 0.2, 0.45, 0.7, 0.88, 0.97, 1),
    (0, 0.28, 0.56, 0.84, 1.0, 0.96, 0.72, 0.38, 0),
)
_HUSK: Profile = (
    (0, 0.03, 0.1, 0.2, 0.34, 0.5, 0.66, 0.8, 0.92, 0.98, 1),
    (0, 0.36, 0.48, 0.62, 0.78, 0.95, 1.0, 0.88, 0.6, 0.3, 0),
)


def _angle(wish: BodyWish, rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 360)) if wish.angle_deg is None else wish.angle_deg


def _core(rng: np.random.Generator, wish: BodyWish, low: float, high: float) -> float:
    """Share of light through the thickest part."""
    usual = float(rng.uniform(low, high))
    return float(rng.uniform(0.05, 0.95)) if wish.wild and rng.random() < 0.3 else usual


def on_line(line: FloatArray, t: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, direction towards the tail and direction to the right at a share of the length."""
    i = int(np.clip(t, 0, 1) * (len(line) - 2))
    back = (line[i + 1] - line[i]).astype(float)
    back /= np.hypot(*back)
    return line[i].astype(float), back, np.array([-back[1], back[0]])


def draw_larva(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A larva one sees through: of a thrips, with a head, six legs and red eyes, or of a fly, pointed and blunt, without either."""
    form = pick(rng, {"thrips": 0.6, "maggot": 0.4})
    length = float(rng.uniform(*LARVA_MM)) if wish.length_mm is None else wish.length_mm
    width = length / float(rng.uniform(*LARVA_LENGTH_OVER_WIDTH))
    curl = bool(rng.random() < 0.3)
    turn = bend(rng, pick(rng, {"C": 2, "S": 1}) if curl else "straight", float(rng.uniform(0.6, 1.8)) if curl else 0.5)
    line = middle_line(length, turn, _angle(wish, rng))
    left, right = half_width(_LARVA if form == "thrips" else _MAGGOT, width, rng, 0.03)
    limbs = wish.limbs is not False and form == "thrips"
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * 0.3 if limbs else width), wish.stout)
    colour, core = pick(rng, {"white": 0.55, "yellow": 0.3, "tan": 0.15}), _core(rng, wish, 0.5, 0.9)
    if wish.heated and rng.random() < 0.5:
        # Heat clouds and browns a body a little (common practice, no source).
        colour, core = pick(rng, {"white": 0.5, "tan": 0.5}), _core(rng, wish, 0.4, 0.75)
    flesh = tissue(colour, core, rng)
    if limbs:
        _short_legs(canvas, line, rng, width, flesh)
    body = tube(canvas, line, left, right)
    _clear_trunk(canvas, body, rng, flesh, width, wild=wish.wild)
    _front(canvas, line, rng, width, form)
    return canvas.patch(
        length_mm=length,
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        form=form,
        gloss=float(rng.uniform(0.3, 0.8)),
    )


def _clear_trunk(
    canvas: Canvas, body: Tube, rng: np.random.Generator, flesh: Tissue, width_mm: float, *, wild: bool
) -> None:
    """A wet cylinder: it bends light away at its rim, is creased a little, and lets its gut be seen."""
    joints = float(rng.integers(9, 13))
    thick = body.dome ** plumpness(rng, wild=wild) * (1 + rng.uniform(0, 0.15) * np.cos(2 * np.pi * joints * body.t))
    thick = thick * (1 + 0.08 * mottle(canvas, rng, width_mm * 0.4))
    density = flesh.over(np.clip(thick, 0, None).astype(np.float32))
    rim = np.exp(-(((np.abs(body.q) - 0.93) / 0.1) ** 2)) * rng.uniform(0.05, 0.3)
    start, end = np.sort(rng.uniform(0.2, 0.9, 2))
    gut = np.exp(-((body.q / rng.uniform(0.25, 0.5)) ** 2)) * ((body.t > start) & (body.t < end))
    gut = gut * rng.choice([0.0, 1.0], p=(0.35, 0.65)) * rng.uniform(0.05, 0.5)
    density += rim[..., None] + gut[..., None] * np.array([0.35, 0.55, 1.0], np.float32)
    canvas.lay(body.cover, density, flesh.albedo, height_mm=body.dome * width_mm * 0.85, body=True)


def _short_legs(canvas: Canvas, line: FloatArray, rng: np.random.Generator, width: float, flesh: Tissue) -> None:
    legs = []
    for t, aim in ((0.18, -0.4), (0.27, 0.2), (0.37, 0.7)):
        for side in (-1, 1):
            if rng.random() < 0.75:
                p, back, right = on_line(line, t)
                hip = p + right * side * width * 0.32
                knee = hip + (right * side + back * (aim + rng.normal(0, 0.2))) * width * rng.uniform(0.3, 0.5)
                legs.append(np.stack([hip, knee, knee + (back * aim + right * side * 0.3) * width * 0.45]))
    for side in (-1, 1):
        p, back, right = on_line(line, 0.01)
        root = p + right * side * width * 0.12
        legs.append(np.stack([root, root - back * width * 0.45 + right * side * width * rng.uniform(0, 0.25)]))
    canvas.lay(limbs_of(canvas, legs, 0.018), flesh.density * 0.6 + 0.1, flesh.albedo)


def _front(canvas: Canvas, line: FloatArray, rng: np.random.Generator, width: float, form: str) -> None:
    """Red eyes of a thrips; a maggot's dark mouth hooks."""
    if form == "thrips":
        p, _, right = on_line(line, 0.06)
        for side in (-1, 1):
            x, y = p + right * side * width * 0.2
            canvas.lay(
                disc(canvas, float(x), float(y), width * 0.07), np.array([0.5, 1.5, 1.5]), np.array([0.2, 0.03, 0.03])
            )
        return
    tip, into = on_line(line, 0.03)[0], on_line(line, rng.uniform(0.1, 0.16))[0]
    canvas.lay(
        strokes(canvas, [np.stack([tip, into])], width * 0.14), np.full(3, rng.uniform(0.4, 1.6)), np.full(3, 0.05)
    )


def draw_mite(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A mite: an oval on eight legs, pale with two dark spots, red, or pearly with long bristles."""
    form = pick(rng, {"spotted": 0.5, "red": 0.2, "pearly": 0.3})
    length = float(rng.uniform(*MITE_MM)) if wish.length_mm is None else wish.length_mm
    width = length / float(rng.uniform(*MITE_LENGTH_OVER_WIDTH))
    line = middle_line(length, bend(rng, "straight", 0.15), _angle(wish, rng))
    left, right = half_width(_OVAL, width, rng, 0.03)
    limbs = wish.limbs is not False
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * (0.75 if limbs else 0.3)), wish.stout)
    colour = {"spotted": pick(rng, {"yellow": 0.5, "green": 0.5}), "red": "pink", "pearly": "white"}[form]
    low, high = {"spotted": (0.4, 0.75), "red": (0.12, 0.4), "pearly": (0.45, 0.8)}[form]
    flesh = tissue(colour, _core(rng, wish, low, high), rng, 0.15)
    if limbs:
        _eight_legs(canvas, line, rng, length, width, flesh)
    body = tube(canvas, line, left, right)
    thick = body.dome ** plumpness(rng, wild=wish.wild) * (1 + 0.1 * mottle(canvas, rng, length * 0.15))
    density = flesh.over(np.clip(thick, 0, None).astype(np.float32))
    if form == "spotted":
        for side in (-1, 1):
            spot = np.exp(
                -(((body.q - side * 0.5) / rng.uniform(0.22, 0.35)) ** 2)
                - ((body.t - rng.uniform(0.42, 0.58)) / rng.uniform(0.1, 0.2)) ** 2
            )
            density += (spot * rng.uniform(0.5, 2.0))[..., None] * np.array([1.0, 0.95, 1.1], np.float32)
    canvas.lay(body.cover, density, flesh.albedo, height_mm=body.dome * width * 0.8, body=True)
    return canvas.patch(
        length_mm=length, width_mm=float(np.max(left + right)), form=form, gloss=float(rng.uniform(0.2, 0.7))
    )


def _eight_legs(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, length: float, width: float, flesh: Tissue
) -> None:
    """Two pairs reach forwards, two backwards; some lost; bristles between them."""
    legs, bristles = [], []
    for t, aim in ((0.14, -1.3), (0.26, -0.5), (0.52, 0.5), (0.64, 1.2)):
        for side in (-1, 1):
            if rng.random() < 0.85:
                p, back, right = on_line(line, t)
                hip = p + right * side * width * 0.4
                knee = hip + (right * side + back * (aim + rng.normal(0, 0.25))) * length * rng.uniform(0.13, 0.2)
                foot = knee + (right * side * 0.5 + back * (aim * 0.8 + rng.normal(0, 0.2))) * length * rng.uniform(
                    0.14, 0.22
                )
                legs.append(np.stack([hip, knee, foot]))
    for _ in range(int(rng.integers(4, 14))):
        p, back, right = on_line(line, float(rng.uniform(0.2, 1)))
        aside = float(rng.choice([-1, 1]))
        bristles.append(
            np.stack([p, p + (right * aside + back * rng.uniform(0.2, 1.4)) * width * rng.uniform(0.6, 0.9)])
        )
    canvas.lay(strokes(canvas, bristles, 0.006), np.full(3, 0.5), flesh.albedo)
    canvas.lay(limbs_of(canvas, legs, max(0.014, length * 0.045)), flesh.density * 0.5 + 0.25, flesh.albedo * 0.8)


def draw_egg(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """An egg of a moth, a beetle or a fly; some lie two to four side by side, and are then measured as one."""
    form = pick(rng, {"moth": 0.5, "beetle": 0.25, "fly": 0.25})
    lengths, over_width = EGGS_MM[form]
    many = int(rng.integers(2, 5)) if rng.random() < 0.25 else 1
    angle = _angle(wish, rng)
    long = float(rng.uniform(*lengths)) if wish.length_mm is None else wish.length_mm
    wide = long / float(rng.uniform(*over_width))
    pitch = wide * float(rng.uniform(0.98, 1.12))
    across_row = many > 1 and (many - 1) * pitch + wide > long
    if wish.length_mm is not None and across_row:
        # What is asked for is the length of the whole row.
        shrink = long / ((many - 1) * pitch + wide)
        long, wide, pitch = long * shrink, wide * shrink, pitch * shrink
    row = (many - 1) * pitch + wide
    eggs_deg = angle + (90.0 if across_row else 0.0)
    reach = 0.6 * float(np.hypot(long, row)) + 0.1
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach), wish.stout)
    shell = _shell(rng, wish, form)
    a = np.deg2rad(eggs_deg + 90.0)
    for k in range(many):
        off = np.array([np.cos(a), np.sin(a)]) * (k - (many - 1) / 2) * pitch
        line = middle_line(long, 0.0, eggs_deg + float(rng.normal(0, 3.0)) * (many > 1)) + off.astype(np.float32)
        _one_egg(canvas, line, rng, wide, shell, ribbed=form == "moth" and long > 0.7)
    return canvas.patch(
        length_mm=max(long, row),
        width_mm=min(long, row),
        form=f"{form} row" if many > 1 else form,
        gloss=float(rng.uniform(0.3, 0.9)),
    )


def _shell(rng: np.random.Generator, wish: BodyWish, form: str) -> Tissue:
    odds = {
        "moth": {"yellow": 0.6, "white": 0.4},
        "beetle": {"brown": 0.5, "black": 0.3, "olive": 0.2},
        "fly": {"white": 1.0},
    }
    low, high = {"moth": (0.25, 0.6), "beetle": (0.03, 0.2), "fly": (0.4, 0.8)}[form]
    return tissue(pick(rng, odds[form]), _core(rng, wish, low, high), rng)


def _one_egg(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, wide: float, shell: Tissue, *, ribbed: bool
) -> None:
    left, right = half_width(_EGG, wide, rng, 0.015)
    body = tube(canvas, line, left, right)
    thick = body.dome * (1 + 0.06 * mottle(canvas, rng, wide * 0.4))
    if ribbed:
        # A cabbage white's egg has a dozen ribs along it, six of them in view.
        thick = thick * (1 + rng.uniform(0.08, 0.2) * np.cos(6 * np.pi * np.arcsin(body.q) / np.pi * 2))
    # Clear as it is, a round egg sends the light at its rim aside.
    rim = np.exp(-(((np.abs(body.q) - 0.95) / 0.1) ** 2)) * rng.uniform(0.15, 0.6)
    density = shell.over(np.clip(thick, 0, None).astype(np.float32)) + rim[..., None]
    canvas.lay(body.cover, density, shell.albedo, height_mm=body.dome * wide * 0.9, body=True)


def draw_skin(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """The cast skin of an aphid's nymph: an empty husk, seen by its rim, its folds and its empty legs; nearly no density."""
    length = between(rng, *SKIN_MM) if wish.length_mm is None else wish.length_mm
    width = length / float(rng.uniform(1.7, 2.8))
    line = middle_line(length, bend(rng, "straight", 0.8), _angle(wish, rng))
    left, right = half_width(_HUSK, width, rng, 0.09)
    limbs = wish.limbs is not False
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, box_round(line, length * (0.5 if limbs else 0.2)), wish.stout)
    film = float(rng.uniform(0.02, 0.1) * (2.5 if wish.wild else 1.0))
    stuff = tissue(pick(rng, {"white": 0.8, "tan": 0.2}), float(np.exp(-film)), rng)
    if limbs:
        _empty_legs(canvas, line, rng, length, width, film, stuff)
    body = tube(canvas, line, left, right)
    reach = float(rng.uniform(0.05, 0.12))
    rim = np.exp(-(((np.abs(body.q) - (1 - reach)) / reach) ** 2)) * rng.uniform(1.5, 4.0)
    folds = sum(
        rng.uniform(0.8, 3.0) * np.exp(-(((body.t - at - rng.normal(0, 0.06) * body.q) / rng.uniform(0.01, 0.02)) ** 2))
        for at in np.linspace(0.18, 0.9, int(rng.integers(4, 8))) + rng.normal(0, 0.02)
    )
    # It splits along the back, from the head to the middle.
    split = np.exp(-(((body.q - rng.uniform(-0.3, 0.3)) / 0.08) ** 2)) * (body.t < rng.uniform(0.4, 0.65))
    crumple = np.abs(mottle(canvas, rng, width * 0.25))
    thick = np.clip(0.6 + rim + folds + 0.8 * crumple - 0.6 * split, 0, None).astype(np.float32)
    canvas.lay(body.cover, stuff.over(thick), stuff.albedo, height_mm=0.12 * width * np.clip(thick, 0, 2), body=True)
    return canvas.patch(
        length_mm=length,
        width_mm=float(np.max(left + right)),
        curved=straightness(line) < 0.9,
        gloss=float(rng.uniform(0.2, 0.6)),
    )


def _empty_legs(
    canvas: Canvas, line: FloatArray, rng: np.random.Generator, length: float, width: float, film: float, stuff: Tissue
) -> None:
    legs = []
    for t in (0.2, 0.3, 0.42):
        for side in (-1, 1):
            if rng.random() < 0.7:
                p, back, right = on_line(line, t)
                hip = p + right * side * width * 0.3
                knee = hip + (right * side * rng.uniform(0.4, 1) + back * rng.normal(0.3, 0.5)) * length * 0.2
                legs.append(
                    np.stack([hip, knee, knee + (back * rng.normal(0.6, 0.4) + right * side * 0.3) * length * 0.2])
                )
    canvas.lay(limbs_of(canvas, legs, 0.022), stuff.density * 3 + film, stuff.albedo)
