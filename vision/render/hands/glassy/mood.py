"""The state a thing is in: how soaked, cloudy, sharp and dark; and the colours that go with it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.render.hands.glassy.form import Form
from vision.render.hands.glassy.grain import folds
from vision.render.hands.glassy.sheet import (
    Colour,
    Sheet,
    bend_away,
    brighten,
    cover_with,
    f32,
    lay,
    relief,
    shut_out,
    soften,
)
from vision.types import FloatArray


@dataclass(frozen=True)
class Mood:
    """Optical state of one thing; blurs and limb widths in mm."""

    state: str
    density: float
    milk: float
    contrast: float
    rim: float
    gloss: float
    wrinkle: float
    blur_mm: float
    limb_blur_mm: float
    limb_mm: float
    limb_density: float


DENSITIES = {
    "soaked": (0.07, 0.5),
    "fresh": (0.45, 1.6),
    "heated": (1.0, 2.8),
    "squashed": (0.15, 1.0),
    "swollen": (0.1, 0.6),
}


def take_mood(rng: np.random.Generator, width_mm: float, chances: Sequence[float] = (52, 19, 14, 8, 7)) -> Mood:
    """A state for a thing of ``width_mm``; ``chances`` weigh soaked, fresh, heated, squashed and swollen."""
    weights = np.asarray(chances, dtype=np.float64)
    state = str(rng.choice(list(DENSITIES), p=weights / weights.sum()))
    low, high = DENSITIES[state]
    blur = min(0.12 * float(rng.beta(1.0, 4.2)), 0.09 * width_mm)
    return Mood(
        state,
        float(np.exp(rng.uniform(np.log(low), np.log(high)))),
        float(rng.uniform(0.05, 0.7)),
        float(rng.uniform(0.35, 1.3)),
        float(rng.uniform(0.06, 0.7) if state in ("soaked", "swollen") else rng.uniform(0.35, 1.4)),
        float(rng.uniform(0.0, 0.8)),
        float(rng.uniform(0.0, 1.0) + (0.8 if state == "heated" else 0.0)),
        blur,
        min(0.12, blur * float(rng.uniform(1.0, 1.8)) + float(rng.uniform(0, 0.012))),
        float(np.clip(width_mm * rng.uniform(0.02, 0.058), 0.012, 0.06)),
        float(rng.uniform(0.25, 1.0) if state in ("soaked", "swollen") else rng.uniform(0.5, 1.6)),
    )


def tint(rng: np.random.Generator, choices: Sequence[Colour], mood: Mood | None = None, spread: float = 0.12) -> Colour:
    """One of the colours (linear RGB), wandered by ``spread``; heat turns it to brown."""
    colour = np.asarray(choices[int(rng.integers(len(choices)))], dtype=np.float64)
    colour = colour * np.exp(rng.normal(0, spread) + rng.normal(0, spread * 0.6, 3))
    if mood is not None and mood.state == "heated":
        colour = colour * 0.45 + 0.55 * np.array([0.32, 0.17, 0.07]) * rng.uniform(0.5, 1.5)
    red, green, blue = (float(value) for value in np.clip(colour, 0.015, 0.95))
    return red, green, blue


def deeper(colour: Colour, power: float) -> Colour:
    """The same pigment thicker (power above 1) or thinner."""
    return colour[0] ** power, colour[1] ** power, colour[2] ** power


def flesh(
    sheet: Sheet,
    form: Form,
    mood: Mood,
    pigment: Colour,
    inner: FloatArray,
    rng: np.random.Generator,
    grooves: FloatArray | None = None,
) -> FloatArray:
    """Lay a translucent solid; ``inner`` (h, w) about -1..1 is what shows inside. Gives back its shading (h, w)."""
    rough = folds(form, 34, 7, rng) * 0.5 + folds(form, 14, 12, rng) * 0.5
    height = form.height_mm * (1 + 0.06 * mood.wrinkle * rough)
    top = float(form.height_mm.max()) + 1e-6
    if grooves is not None:
        height = height - grooves * (0.09 * top)
    bend, shade, gloss = relief(sheet, soften(sheet, f32(height), max(mood.blur_mm, 0.8 / sheet.fine_px)))
    thick = 0.3 + 0.7 * form.height_mm / top
    depth = mood.density * form.cover * thick * np.clip(1 + mood.contrast * inner, 0.12, 4)
    cover = soften(sheet, form.cover, mood.blur_mm)
    lay(sheet, soften(sheet, f32(depth), mood.blur_mm), pigment, mood.milk, shade)
    bend_away(sheet, f32(bend * cover), mood.rim)
    shut_out(sheet, cover, float(np.clip(mood.density * 0.55, 0, 0.85)))
    brighten(sheet, f32(gloss * cover), mood.gloss * (0.55 if sheet.below else 0.45))
    cover_with(sheet, form.cover)
    return shade
