"""Colours and coats that animals and dirt share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.render.hands.strewn.solids import Doubles

Rng = np.random.Generator
DARKS = "black dark_brown brown"
# Linear light; one palette for animals and dirt alike, so that colour alone says nothing.
COLOURS: dict[str, tuple[float, float, float]] = {
    "green": (0.30, 0.52, 0.12),
    "lime": (0.55, 0.75, 0.25),
    "olive": (0.22, 0.24, 0.07),
    "dark_green": (0.06, 0.14, 0.04),
    "brown": (0.24, 0.11, 0.04),
    "dark_brown": (0.07, 0.035, 0.02),
    "black": (0.015, 0.014, 0.014),
    "grey": (0.32, 0.33, 0.32),
    "slate": (0.12, 0.14, 0.17),
    "red": (0.48, 0.08, 0.04),
    "pink": (0.72, 0.42, 0.36),
    "white": (0.88, 0.88, 0.84),
    "cream": (0.82, 0.74, 0.52),
    "yellow": (0.80, 0.62, 0.14),
    "tan": (0.52, 0.34, 0.16),
    "amber": (0.60, 0.30, 0.05),
    "orange": (0.70, 0.28, 0.05),
    "blue": (0.10, 0.18, 0.42),
    "purple": (0.18, 0.06, 0.14),
}


def colour(rng: Rng, names: str = "") -> Doubles:
    """(3,) a shaken colour, one of the given space-separated names or of all."""
    choice = names.split() if names else list(COLOURS)
    base = np.asarray(COLOURS[choice[int(rng.integers(len(choice)))]])
    base = base * np.exp(rng.normal(0, 0.16, 3)) * np.exp(rng.normal(0, 0.22))
    return np.asarray(np.clip(base, 0.008, 0.93))


@dataclass(frozen=True)
class Coat:
    """What a part is made of. Depths are optical: 1 lets through just the colour, more lets through less."""

    skin: Doubles
    flesh: Doubles
    skin_depth: float = 0.3
    flesh_depth: float = 0.6
    haze: float = 0.5
    rim: float = 0.4
    glint: float = 0.2
    bump: float = 0.1
    mottle: float = 0.15
    grain_mm: float = 0.06
    rings: int = 0
    ring_gain: float = 0.0
    stripes: tuple[tuple[float, float, float], ...] = ()
    spots: float = 0.0
    lens: float = 0.0


def random_coat(rng: Rng, skins: str = "", fleshes: str = "") -> Coat:
    """A coat from the broad spread that animals and dirt share."""
    uni, opacity = rng.uniform, rng.uniform(0.15, 1.0)
    skin = colour(rng, skins)
    flesh = colour(rng, fleshes or skins) if rng.random() < 0.6 else np.clip(skin * uni(0.6, 1.5), 0.01, 0.93)
    return Coat(
        skin,
        flesh,
        skin_depth=opacity * uni(0.15, 0.9),
        flesh_depth=opacity * uni(0.2, 1.5),
        haze=uni(0.05, 0.9),
        rim=uni(0.1, 0.85),
        glint=rng.choice([0, uni(0, 0.6)]),
        bump=uni(0.0, 0.35),
        mottle=uni(0.03, 0.4),
        grain_mm=uni(0.025, 0.12),
        spots=max(0.0, uni(-8, 4)),
    )


def aged(coat: Coat, rng: Rng) -> Coat:
    """The same coat fresh, soaked until nearly glassy, or dark and shrivelled from heat."""
    fate = rng.random()
    if fate < 0.2:
        return replace(
            coat,
            skin_depth=coat.skin_depth * 0.35,
            flesh_depth=coat.flesh_depth * 0.3,
            skin=np.clip(coat.skin * 0.4 + 0.42, 0, 0.93),
            haze=coat.haze * 0.5,
        )
    if fate < 0.4:
        brown = np.asarray(COLOURS["brown"])
        return replace(
            coat,
            skin=coat.skin * 0.35 + brown * 0.6,
            flesh=coat.flesh * 0.35 + brown * 0.5,
            skin_depth=coat.skin_depth * 1.5,
            bump=coat.bump + 0.3,
            mottle=coat.mottle + 0.2,
        )
    return coat
