"""What bodies are made of: how they take light away as it passes, and what colour they show by light from above.

A substance takes light by Beer-Lambert: natural-log absorbance = hue x strength x thickness. Hues are shapes of absorption over
red, green and blue, mean 1; the values are chosen by eye (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

HUES: dict[str, tuple[float, float, float]] = {
    "green": (1.05, 0.62, 1.45),
    "yellow": (0.55, 0.7, 1.75),
    "grey": (1.0, 1.0, 1.02),
    "black": (1.0, 1.02, 1.03),
    "brown": (0.72, 1.02, 1.3),
    "tan": (0.68, 0.95, 1.45),
    "olive": (0.95, 0.78, 1.4),
    "pink": (0.72, 1.2, 1.12),
    "white": (0.86, 0.98, 1.22),
}

ALBEDOS: dict[str, tuple[float, float, float]] = {
    "green": (0.22, 0.34, 0.07),
    "yellow": (0.52, 0.47, 0.14),
    "grey": (0.34, 0.36, 0.33),
    "black": (0.022, 0.02, 0.019),
    "brown": (0.15, 0.085, 0.035),
    "tan": (0.48, 0.36, 0.19),
    "olive": (0.18, 0.19, 0.05),
    "pink": (0.48, 0.26, 0.2),
    "white": (0.68, 0.67, 0.58),
}


@dataclass(frozen=True)
class Tissue:
    """One substance: natural-log absorbance at the body's full thickness, and reflectance; red, green, blue."""

    density: NDArray[np.float64]
    albedo: NDArray[np.float64]

    def over(self, relative_thickness: FloatArray) -> FloatArray:
        """Absorbance (h, w, 3) where the body is that thick."""
        return relative_thickness[..., None] * self.density.astype(np.float32)

    def darker(self, times: float) -> Tissue:
        """The same substance, `times` as dense."""
        return Tissue(self.density * times, self.albedo / times**0.7)


def tissue(colour: str, core: float, rng: np.random.Generator, spread: float = 0.1) -> Tissue:
    """`core`: share of the light that passes at full thickness, 0..1. Hue and reflectance are jittered by `spread`."""
    # Neutral substances stay neutral: through a dense body a slight tint would grow into a colour.
    tinted = 0.15 if colour in ("grey", "black") else 0.6
    hue = np.array(HUES[colour]) * np.exp(rng.normal(0, spread, 3) * tinted)
    albedo = np.array(ALBEDOS[colour]) * np.exp(rng.normal(0, spread * 1.5) + rng.normal(0, spread * 0.6, 3))
    return Tissue(-np.log(core) * hue / hue.mean(), np.clip(albedo, 0.01, 0.9))


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Drawn evenly on a logarithmic scale."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def pick(rng: np.random.Generator, odds: dict[str, float]) -> str:
    """One name by its weight."""
    names = list(odds)
    weights: NDArray[Any] = np.array([odds[name] for name in names], float)
    return names[int(rng.choice(len(names), p=weights / weights.sum()))]


def plumpness(rng: np.random.Generator, *, wild: bool) -> float:
    """Power on the round cross-section: 1 a cylinder, less a flattened body with a steep rim, more a keeled one."""
    return float(rng.uniform(0.12, 1.6) if wild else rng.uniform(0.6, 1.15))
