"""How a thing looks, animal or dirt alike, so that form alone tells them apart: colours, opacity, markings, insides."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.varied.sheet import Form, Sheet, f32, noise, wobble
from vision.types import FloatArray

COLOURS = {
    "green": (0.22, 0.42, 0.06),
    "pale": (0.55, 0.68, 0.30),
    "olive": (0.15, 0.17, 0.04),
    "yellow": (0.76, 0.56, 0.10),
    "brown": (0.20, 0.09, 0.03),
    "russet": (0.27, 0.07, 0.03),
    "black": (0.018, 0.016, 0.014),
    "grey": (0.26, 0.26, 0.25),
    "cream": (0.82, 0.72, 0.48),
    "white": (0.90, 0.90, 0.86),
    "pink": (0.76, 0.42, 0.36),
    "glass": (0.84, 0.84, 0.78),
    "tan": (0.52, 0.33, 0.15),
    "red": (0.50, 0.07, 0.03),
    "amber": (0.60, 0.28, 0.04),
}
MARKS = ("bands", "stripe", "dots", "tips", "lines", "blotch")
ORGANS = ("gut", "spots", "embryos", "fat", "core", "clots", "yolk")


def colour(names: str, rng: np.random.Generator) -> FloatArray:
    """Return a linear colour (3,) near one of the names (split by blanks); "any" stands for all of them."""
    every = list(COLOURS)
    listed = every if names == "any" else names.split()
    one = f32(COLOURS[listed[rng.integers(len(listed))]])
    other = f32(COLOURS[every[rng.integers(len(every))]])
    share = 0.3 * rng.random() ** 2
    mixed = ((1 - share) * one + share * other) * rng.lognormal(0, 0.22) * rng.lognormal(0, 0.1, 3)
    return f32(np.clip(mixed, 0.008, 0.93))


@dataclass(frozen=True)
class Look:
    """One way to look: colours (3,), shares 0..1 and widths; see `paint` for what each does."""

    skin: FloatArray
    inner: FloatArray
    mark: FloatArray
    opacity: float
    grey: float
    flat: float
    rim: float
    rim_width: float
    mottle: float
    mottle_mm: float
    solid: float
    gloss: float
    organ: float
    marking: float
    blur_px: float


def draw_look(names: str, opacity: tuple[float, float], rng: np.random.Generator) -> Look:
    """Draw a look with a skin colour near the names and a peak opacity within the range."""
    # One thing in six ignores what its kind mostly looks like: kinds overlap in life.
    skin = colour("any" if rng.random() < 0.16 else names, rng)
    inner = colour("brown black olive russet green red amber" if rng.random() < 0.75 else "any", rng)
    rim = float(rng.choice([0.0, 1.0, -1.0], p=[0.35, 0.4, 0.25]) * rng.uniform(0.2, 1.2))
    low = (0.15, 0.0, 0.04, 0.0, 0.05, 0.2, 0.1, 0.1, 0.15, -0.3)
    high = (0.8, 0.75, 0.25, 0.8, 0.35, 1.0, 0.8, 1.0, 1.0, 0.8)
    grey, flat, width, mottle, mottle_mm, solid, gloss, organ, marking, blur = rng.uniform(low, high).tolist()
    some = (rng.random(4) < (0.45, 0.45, 0.85, 0.55)).tolist()
    return Look(
        skin,
        inner,
        colour("any", rng),
        float(opacity[0] + (opacity[1] - opacity[0]) * rng.random() ** 0.7),
        grey,
        flat,
        rim,
        width,
        mottle * some[0],
        mottle_mm,
        solid,
        gloss * some[1],
        organ * some[2],
        marking * some[3],
        max(0.0, blur),
    )


def limb_colour(look: Look, rng: np.random.Generator) -> FloatArray:
    """Return a colour (3,) for limbs or stems: the skin's, paler or darker, or that of what lies inside."""
    base = look.skin if rng.random() < 0.65 else look.inner
    return f32(np.clip(base * rng.uniform(0.35, 1.15), 0.01, 0.9))


def _organ(name: str, form: Form, squeeze: float, rng: np.random.Generator) -> FloatArray:
    """Return one kind of inner structure (h, w), 0 where there is none, 1 where it is full."""
    along, across = form.along, form.across
    if name == "gut":
        bent = 0.25 * np.interp(along, np.linspace(0, 1, 40), wobble(f32(np.linspace(0, 0.7, 40)), 3, rng))
        wide = rng.uniform(0.08, 0.4)
        ends = np.clip((along - rng.uniform(0.02, 0.3)) * 9, 0, 1) * np.clip((rng.uniform(0.6, 0.98) - along) * 9, 0, 1)
        filled = np.clip(0.75 + 0.5 * np.sin(2 * np.pi * (along * rng.uniform(0.5, 4) + rng.random())), 0.1, 1)
        return f32(np.exp(-(((across - bent) / wide) ** 2)) * ends * filled)
    if name in ("spots", "embryos"):
        young, total = name == "embryos", np.zeros_like(along)
        for _ in range(int(rng.integers(2, 8) if young else rng.integers(3, 16))):
            at, side = rng.uniform(0.4 if young else 0.1, 0.9), rng.uniform(-0.65, 0.65)
            radius, stretch = rng.uniform(0.15, 0.3) if young else rng.uniform(0.06, 0.22), 1.6 if young else 1.0
            gap = ((along - at) / (stretch * radius * squeeze)) ** 2 + ((across - side) / radius) ** 2
            if young:
                eye = ((along - at + radius * squeeze) / 0.03) ** 2 + ((across - side) / 0.07) ** 2
                total += 0.35 * np.exp(-(gap**2)) + 0.4 * np.exp(-(((gap - 1) / 0.3) ** 2)) + 1.4 * np.exp(-eye)
            else:
                total = f32(np.maximum(total, rng.uniform(0.4, 1) * np.exp(-gap * gap)))
        return f32(np.clip(total, 0, 1.6))
    if name == "fat":
        return f32(np.clip(noise(along.shape, rng.uniform(7, 26), rng) * 0.9, 0, 1))
    if name == "core":
        return f32(np.clip(1 - form.edge * rng.uniform(1.2, 2.5), 0, 1))
    if name == "clots":
        at, side, radius = rng.uniform(0.3, 0.65), rng.uniform(0.3, 0.55), rng.uniform(0.2, 0.4)
        gap = ((along - at) / (1.2 * radius * max(squeeze, 0.3))) ** 2 + ((np.abs(across) - side) / radius) ** 2
        return f32(np.exp(-gap * gap))
    return f32(np.exp(-(((along - rng.uniform(0.3, 0.7)) / rng.uniform(0.1, 0.25)) ** 2)) * (1 - form.edge**2))


def _mark(name: str, form: Form, squeeze: float, rng: np.random.Generator) -> FloatArray:
    """Return one kind of marking (h, w), 0..1."""
    along, across = form.along, form.across
    if name == "bands":
        waves = np.sin(2 * np.pi * (along * rng.uniform(3, 12) + 0.12 * rng.standard_normal() * across**2))
        keep = np.clip((rng.uniform(0.5, 1.3) - np.abs(across)) * 6, 0, 1)
        return f32(np.clip(waves * 2 - rng.uniform(-0.5, 1.2), 0, 1) * keep)
    if name == "stripe":
        side = np.abs(across) if rng.random() < 0.5 else across
        return f32(np.clip(1.6 - np.abs(side - rng.uniform(0, 0.65)) / rng.uniform(0.06, 0.2), 0, 1))
    if name == "dots":
        rows = np.cos(2 * np.pi * along * rng.integers(4, 13)) * np.cos(np.pi * across * rng.uniform(1.5, 4))
        return f32(np.clip(rows * 3 - rng.uniform(0.9, 2.0), 0, 1))
    if name == "tips":
        tail = np.clip((along - rng.uniform(0.75, 1)) * 12, 0, 1)
        return f32(np.maximum(tail, np.clip((rng.uniform(0, 0.3) - along) * 12, 0, 1)))
    if name == "lines":
        return f32(np.clip(np.sin(across * rng.uniform(5, 18) + rng.uniform(0, 6)) * 1.5, 0, 1))
    return f32(np.clip((noise(along.shape, rng.uniform(8, 30), rng) - rng.uniform(-0.2, 0.8)) * 3, 0, 1))


def absorb(of: FloatArray, grey: float) -> FloatArray:
    """Return how strongly each colour of light is taken up (3,), mean 1, by stuff of colour `of` (3,)."""
    taken = -np.log(of)
    return f32(grey + (1 - grey) * taken / taken.mean())


def paint(
    sheet: Sheet,
    form: Form,
    look: Look,
    rng: np.random.Generator,
    organs: tuple[str, ...] = ORGANS,
    marks: tuple[str, ...] = MARKS,
    dark: FloatArray | None = None,
    is_body: bool = True,
) -> None:
    """Lay a form with a look, some of the `organs` and `marks`, and a part (h, w) always `dark`, on the sheet."""
    # Light from behind is taken up per thickness (Beer-Lambert) by the stuff itself, by organs and by markings.
    squeeze = form.depth_mm * sheet.scale / max(form.cover.shape) / 1.4
    organ, mark = np.zeros_like(form.cover), np.zeros_like(form.cover)
    if organs and look.organ > 0:
        for name in rng.choice(organs, int(rng.integers(1, 4))):
            organ = np.maximum(organ, _organ(str(name), form, squeeze, rng) * rng.uniform(0.4, 1))
    if marks and look.marking > 0:
        for name in rng.choice(marks, int(rng.integers(1, 3))):
            mark = np.maximum(mark, _mark(str(name), form, squeeze, rng) * look.marking)
    grain = np.exp(look.mottle * 0.4 * noise(form.cover.shape, look.mottle_mm * sheet.scale, rng))
    rim = look.rim * np.exp(-(1 - form.edge) / look.rim_width)
    peak = float(-np.log(1 - min(look.opacity, 0.985)))
    skin_tau = peak * form.thick * grain * np.clip(1 + rim, 0.15, 3) + 0.25 * np.maximum(rim, 0)
    organ_tau = (0.3 + 0.9 * peak) * look.organ * organ * np.sqrt(form.thick)
    mark_tau = (0.2 + 0.5 * peak) * mark * float(1 - look.mark.mean())
    taken = f32([absorb(stuff, look.grey) for stuff in (look.skin, look.inner, look.mark)])
    tau = f32(np.stack([skin_tau, organ_tau, mark_tau], axis=2)) @ taken
    dark = np.zeros_like(form.cover) if dark is None else dark
    through = np.exp(-tau - 2.2 * dark[..., None])
    raised = form.thick * (0.8 + 0.2 * np.clip(grain, 0, 2)) * (form.depth_mm * sheet.scale * 0.5)
    height = cv2.GaussianBlur(f32(raised), (0, 0), 1.5)
    slope_x, slope_y = cv2.Sobel(height, -1, 1, 0, scale=0.125), cv2.Sobel(height, -1, 0, 1, scale=0.125)
    up = 1 / np.sqrt(1 + slope_x**2 + slope_y**2)
    facing = np.clip((sheet.light[2] - slope_x * sheet.light[0] - slope_y * sheet.light[1]) * up, 0, 1)
    shade = (1 - look.solid) * 0.8 + look.solid * (0.18 + 0.82 * facing)
    inside = np.clip(organ * look.organ, 0, 1) * (0.75 - 0.5 * look.opacity)
    albedo = look.skin + (look.mark - look.skin) * mark[..., None]
    albedo = albedo + (look.inner - albedo) * inside[..., None]
    albedo = albedo * np.clip(1 - 0.45 * rim, 0.3, 1.6)[..., None] * (0.7 + 0.3 * np.clip(grain, 0, 2))[..., None]
    # Clear stuff throws little back; the share that does follows what it holds back of the light from behind.
    held = 1 - np.exp(-(skin_tau + organ_tau + mark_tau) * 1.3)
    own = albedo * (shade * held * (1 - 0.92 * dark))[..., None] * sheet.lamp
    if look.gloss > 0:
        halfway = (sheet.light + f32([0, 0, 1])) / float(np.sqrt(2 + 2 * sheet.light[2]))
        glint = np.clip((halfway[2] - slope_x * halfway[0] - slope_y * halfway[1]) * up, 0, 1) ** (8 + 60 * look.gloss)
        own = own + (look.gloss * glint * sheet.lamp * (0.35 if sheet.below else 0.9))[..., None]
    cover = form.cover[..., None]
    sheet.lay(form.box, f32(1 - cover + cover * through), f32(np.clip(own, 0, 0.95) * cover))
    if is_body:
        np.maximum(sheet.body[form.box], form.cover, out=sheet.body[form.box])
