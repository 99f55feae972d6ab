"""Substances: how much light they swallow and scatter a millimetre, and the colour they throw back.

Colours are what macro photographs of the animals show, as sRGB values by eye (from memory): once with light through them, once from
above. What is swallowed follows from the first, so that a thick body has a deeper colour than a thin one of the same substance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.second.draws import choice
from vision.types import FloatArray

# Substance: (light through, light from above), each 8-bit sRGB.
_SEEN: dict[str, tuple[int, int]] = {
    "lime": (0xC9CF78, 0xB2BF72),
    "leaf": (0xA9C56A, 0x8FAF5A),
    "moss": (0x7F8A58, 0x6F7A52),
    "lemon": (0xE8D468, 0xDCCB66),
    "salmon": (0xE3A58C, 0xCF9580),
    "rust": (0xBC5230, 0x9C4026),
    "amber": (0xDE9C48, 0xC08238),
    "straw": (0xE0CC9A, 0xCFBD92),
    "tan": (0xCDAA7C, 0xBB9A6C),
    "chestnut": (0x94602F, 0x6E4A2C),
    "umber": (0x6E4A34, 0x4C382A),
    "soot": (0x5A5048, 0x2E2A28),
    "milk": (0xEDE6D2, 0xECE2BC),
    "ivory": (0xE8DDB8, 0xDDD3AC),
    "glass": (0xF1EEE2, 0xE2D5A2),
    "wax": (0xB4B6AE, 0xB4BAB4),
    "frass": (0x66743A, 0x55683A),
    "wine": (0x8A2A20, 0x7A1C18),
}


def _linear(code: int) -> NDArray[np.float64]:
    v = np.array([code >> 16, code >> 8 & 255, code & 255]) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


HAZE_HUE = np.array([0.88, 1.0, 1.16], np.float32)
"""Blue light is scattered more than red."""


@dataclass(frozen=True)
class Matter:
    """`swallows` (3,): natural-log absorbance a millimetre; `haze`: light scattered out of its way a millimetre; `colour` (3,)."""

    swallows: FloatArray
    haze: float
    colour: FloatArray

    def strength(self) -> float:
        """Loss a millimetre, over all colours."""
        return float(self.swallows.mean()) + self.haze

    def through(self, path_mm: FloatArray) -> FloatArray:
        """Share of light (k, 3) that passes a way through it.

        What is swallowed falls off by Beer and Lambert. What is scattered out of the way is partly made up for by light scattered
        in, from a panel that shines from all sides: the loss grows ever slower.
        """
        swallowed: FloatArray = np.exp(-path_mm[:, None] * self.swallows)
        return swallowed / (1 + (np.float32(self.haze) * path_mm)[:, None] * HAZE_HUE)

    def times(self, factor: float) -> Matter:
        """The same, that much stronger."""
        return Matter(self.swallows * np.float32(factor), self.haze * factor, self.colour)


def matter(
    rng: np.random.Generator,
    odds: Mapping[str, float] | str,
    passes: float,
    thick_mm: float,
    *,
    wild: bool = False,
    hazy: tuple[float, float] = (0.08, 0.42),
) -> Matter:
    """A substance of which about the share `passes` of the light gets through `thick_mm`. Two colours are mixed at random.

    `hazy`: which part of the loss is scattering. Wild ones have any colour.
    """
    names = {odds: 1.0} if isinstance(odds, str) else odds
    first, second, share = choice(rng, names), choice(rng, names), rng.uniform(0, 0.5)
    deep, seen = (
        np.exp((1 - share) * np.log(_linear(_SEEN[first][k])) + share * np.log(_linear(_SEEN[second][k])))
        for k in (0, 1)
    )
    hue = -np.log(deep)
    # What is near grey stays so: through a thick body, or in white, a slight tint would be a colour no animal has.
    vivid = float(np.ptp(hue) / hue.mean()) * (1 - float(seen.mean()))
    hue = hue * np.exp(rng.normal(0, 0.01 + 0.09 * min(vivid, 1), 3))
    seen = seen * np.exp(rng.normal(0, 0.12) + rng.normal(0, 0.015 + 0.06 * min(vivid, 1), 3))
    scatters = rng.uniform(*hazy)
    if wild:
        hue = hue * np.exp(rng.normal(0, 0.5, 3))
        seen = seen ** rng.uniform(0.5, 1.8) * np.exp(rng.normal(0, 0.3, 3))
        scatters = rng.uniform(0.02, 0.98)
    loss = -np.log(passes)
    swallows = (1 - scatters) * loss * hue / hue.mean() / thick_mm
    haze = float(np.expm1(scatters * loss)) / thick_mm
    return Matter(swallows.astype(np.float32), haze, np.clip(seen, 0.012, 0.9).astype(np.float32))


def passing(rng: np.random.Generator, low: float, high: float, *, wild: bool) -> float:
    """Share of light through the thickest part; wild ones of any translucency."""
    if wild and rng.random() < 0.6:
        low, high = 0.03, 0.9
    return float(low + (high - low) * rng.random() ** 1.2)
