"""Light through a solid body: its tissues, what lies inside it, its skin and the marks on its skin."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.render.second.draws import log_even
from vision.render.second.matter import HAZE_HUE, Matter
from vision.render.second.solids import Inside
from vision.render.second.stage import Stage
from vision.types import FloatArray

_BLACK = np.float32(0.012)


@dataclass(frozen=True)
class Organ:
    """Something inside a body. `flat`: its height over its width; `depth`: where it lies, 1 the back, -1 the belly."""

    solid: Inside
    matter: Matter
    flat: float = 1.0
    depth: float = 0.0
    edge: float = 1.0
    """Power on its thickness: 1 a sharp outline, more a soft one."""


@dataclass(frozen=True)
class Marks:
    """Pigment in the skin: absorbance (k,) of the upper and of the lower surface, and its hue (3,), mean about 1."""

    upper: FloatArray
    lower: FloatArray
    hue: FloatArray


@dataclass(frozen=True)
class Skin:
    """How the surface treats light."""

    rim: float
    """Share of light lost where the surface is steep; below 0 it is gathered there."""
    steep: float
    """How near the rim that begins: a power."""
    gather: float
    """A body like a lens: so much brighter in the middle."""
    shell: float
    """Absorbance of the skin itself at one crossing."""
    glow: float
    """By light from above: how much paler (above 0) or darker the rim is, where the light comes through."""
    grain: float
    """Relative unevenness of thickness and colour."""


def skin(rng: np.random.Generator, *, glassy: bool = False, wild: bool = False) -> Skin:
    """A random skin. Glassy ones lose little inside and show their rim."""
    rim = rng.uniform(-0.12, 0.5) if not glassy else rng.uniform(0.05, 0.55)
    if wild:
        rim = rng.uniform(-0.25, 0.9)
    return Skin(
        rim=float(rim),
        steep=log_even(rng, 2.0, 6.0),
        gather=float(rng.uniform(0, 0.1)) if glassy else 0.0,
        shell=log_even(rng, 0.003, 0.03) if glassy else log_even(rng, 0.005, 0.08),
        glow=float(rng.uniform(-0.25, 0.3)),
        grain=float(rng.uniform(0.02, 0.1) * (2.5 if wild else 1)),
    )


@dataclass
class Filling:
    """A body about to be painted: which share of each tissue is where, and what is in and on it."""

    solid: Inside
    flat: float
    """Height over width of its cross-section."""
    skin: Skin
    tissues: list[tuple[FloatArray | float, Matter]]
    """Shares (k,) that add up to about 1."""
    organs: list[Organ] = field(default_factory=list)
    marks: list[Marks] = field(default_factory=list)
    relief: FloatArray | None = None
    """(k,): how much lower the surface lies in folds, as a share of its height."""


def ripple(rng: np.random.Generator, solid: Inside, side: FloatArray, along: float, around: float) -> FloatArray:
    """A smooth random pattern (k,) on a body, standard deviation about 1.

    `side`: angle round the axis; `along`, `around`: most waves over the length and round the body.
    """
    total = np.zeros(solid.t.size, np.float32)
    for _ in range(7):
        u, v = rng.uniform(0.15, 1, 2) * (along, around) * rng.choice([-1, 1], 2)
        phase = np.float32(2 * np.pi * u) * solid.t + np.float32(v) * side + np.float32(rng.uniform(0, 2 * np.pi))
        total += np.cos(phase)
    return total * np.float32(np.sqrt(2 / 7))


def band(t: FloatArray, start: float, end: float, soft: float = 0.02) -> FloatArray:
    """1 between two shares of the length, 0 outside, with soft ends."""
    rise = np.clip((t - np.float32(start)) / np.float32(soft) + np.float32(0.5), 0, 1)
    return np.asarray(rise * np.clip((np.float32(end) - t) / np.float32(soft) + np.float32(0.5), 0, 1), np.float32)


def spot(t: FloatArray, side: FloatArray, at: float, around: float, long: float, wide: float) -> FloatArray:
    """A soft-edged round mark on the skin, 0..1; `around`, `wide`: angles round the axis."""
    far = ((t - np.float32(at)) / np.float32(long)) ** 2 + ((side - np.float32(around)) / np.float32(wide)) ** 2
    return np.asarray(1 / (1 + far**3), np.float32)


def fill(stage: Stage, rng: np.random.Generator, what: Filling) -> None:
    """Paints the body on the stage."""
    solid, look = what.solid, what.skin
    half = solid.half_mm * np.float32(what.flat)
    side, _ = solid.round_angle(0.0)
    uneven = 1 + np.float32(look.grain) * ripple(rng, solid, side, 5, 5)
    path = 2 * half * np.clip(uneven, 0.3, 2)
    swallowed, haze = np.zeros((path.size, 3), np.float32), np.zeros(path.size, np.float32)
    colour = np.zeros((path.size, 3), np.float32)
    own = np.zeros(path.size, np.float32)
    inner = [_lookup(stage, organ, solid, path) for organ in what.organs]
    rest = np.maximum(path - sum((w for w, _ in inner), start=np.zeros_like(path)), 0)
    for share, stuff in what.tissues:
        share = np.broadcast_to(np.asarray(share, np.float32), path.shape)
        swallowed += (share * rest)[:, None] * stuff.swallows
        haze += share * rest * np.float32(stuff.haze)
        colour += share[:, None] * stuff.colour
        own += share * np.float32(stuff.strength())
    colour = colour * np.clip(1 + np.float32(1.2 * look.grain) * ripple(rng, solid, side, 8, 9), 0.5, 1.5)[:, None]
    for organ, (way, top) in zip(what.organs, inner, strict=True):
        swallowed += way[:, None] * organ.matter.swallows
        haze += way * np.float32(organ.matter.haze)
        # An organ shows by light from above as far as the tissue over it lets it be seen.
        seen = np.exp(-own * np.maximum(half - top, 0)) * (1 - np.exp(-way * np.float32(2 * organ.matter.strength())))
        colour += seen[:, None] * (organ.matter.colour - colour)
    # Through the skin the way is the longer the steeper it is.
    slant = np.minimum(1 / np.maximum(solid.dome, 0.05), 6)
    swallowed += (2 * np.float32(look.shell) * slant)[:, None]
    least = 0.4 * swallowed
    for mark in what.marks:
        swallowed += ((mark.upper + mark.lower) * np.minimum(slant, 2))[:, None] * mark.hue
        colour = colour * np.exp(-1.3 * mark.upper[:, None] * mark.hue)
    # Pale marks thin the tissue under them; they do not add light.
    swallowed = np.maximum(swallowed, least)
    steep = (1 - solid.dome) ** np.float32(look.steep)
    through = np.exp(-swallowed) / (1 + haze[:, None] * HAZE_HUE)
    lens = 1 + np.float32(look.gather) * (2 * solid.dome**2 - 1)
    through = through * ((1 - np.float32(look.rim) * steep) * lens)[:, None]
    colour = np.maximum(colour * (1 + np.float32(look.glow) * (1 - solid.dome) ** 2)[:, None], _BLACK)
    high = 2 * half * (1 if what.relief is None else 1 - what.relief)
    stage.paint(solid.at, solid.cover, through.astype(np.float32), colour, body=True, high_mm=high)


def _lookup(stage: Stage, organ: Organ, body: Inside, path: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Way of the light through an organ at the samples of its body, and how high its top lies there."""
    way, top = np.zeros(stage.count, np.float32), np.zeros(stage.count, np.float32)
    solid = organ.solid
    half = solid.half_mm * solid.dome ** np.float32(organ.edge - 1) * np.float32(organ.flat)
    way[solid.at] = 2 * half * solid.cover
    top[solid.at] = half
    room = path / 2
    top_here = np.minimum(top[body.at] + np.float32(organ.depth) * np.maximum(room - top[body.at], 0), room)
    return np.minimum(way[body.at], path), top_here
