"""What things are made of, and the parts that make a thing: all lengths in millimetres, model axes x forward, z up."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Points = NDArray[np.float64]
Marks = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]
Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Stuff:
    """Optics of one part: `absorb` is optical depth per mm for R, G, B; `albedo` linear colour thrown back."""

    absorb: Colour
    albedo: Colour
    rim: float = 0.3  # loss of light at steep edges; negative makes them shine
    gloss: float = 0.2
    bump: float = 0.1
    grain: float = 0.15  # unevenness of the inside
    grain_mm: float = 0.12
    crease: float = 0.0  # optical depth of creases in the skin
    shell_mm: float = 0.0  # above 0: hollow, only its walls of this thickness take light
    ring: float = 0.0  # above 0: light is thrown aside where the surface is steeper than this cosine
    lens: float = 0.0  # share of light gathered in the middle
    mark_depth: Colour = (0.0, 0.0, 0.0)
    mark_albedo: Colour = (0.1, 0.08, 0.06)


@dataclass(frozen=True)
class Blobs:
    """Ellipsoids: centre (n, 3), radii (n, 3), frame (n, 3, 3) rows of unit axes, `along` (n,) 0..1, `dark` (n,)."""

    centre: Points
    radii: Points
    frame: Points
    along: Points
    dark: Points


@dataclass(frozen=True)
class Solid:
    """Smooth union of ellipsoids; `blend` is how sharply neighbours meet (3 soft, 12 with deep seams)."""

    blobs: Blobs
    stuff: Stuff
    blend: float = 5.0
    marks: Marks | None = None
    counts: bool = True  # part of the body's cover


@dataclass(frozen=True)
class Facets:
    """Convex stone: unit normals (n, 3) and distances (n,) of its planes from the origin."""

    normals: Points
    distance_mm: Points
    stuff: Stuff


@dataclass(frozen=True)
class Limb:
    """Chain of tapering capsules: points (n, 3) and radii (n,)."""

    points: Points
    radii_mm: Points
    stuff: Stuff
    counts: bool = False


@dataclass(frozen=True)
class Sheet:
    """Thin flat film: outline (n, 3), optical depth of the film and its colour."""

    outline: Points
    depth: Colour
    albedo: Colour
    rough: float = 0.3
    cell_mm: float = 0.15
    counts: bool = False


@dataclass(frozen=True)
class Hairs:
    """Fine hairs, each a line of points (n, 3), all of one width and optical depth."""

    lines: tuple[Points, ...]
    width_mm: float
    depth: float
    albedo: Colour
    counts: bool = False


@dataclass(frozen=True)
class Thing:
    """All parts of one drawn thing."""

    solids: tuple[Solid, ...]
    organs: tuple[Solid, ...] = ()
    limbs: tuple[Limb, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    hairs: tuple[Hairs, ...] = ()
    facets: tuple[Facets, ...] = ()
    length_mm: float = 1.0
    width_mm: float = 0.5
    curved: bool = False


@dataclass(frozen=True)
class State:
    """How a body came: its clarity, colour shift and damage."""

    clear: float  # factor on all absorption
    toast: float  # 0..1 browned by heat
    flat: float  # factor on height
    wide: float  # factor on width
    wrinkle: float
    keep: float  # share of limbs still there


def state(rng: np.random.Generator) -> State:
    """Fresh, soaked glassy, heated dark, squashed or swollen, with strong spread inside each."""
    pick = rng.choice(5, p=[0.42, 0.2, 0.16, 0.12, 0.1])
    keep = 1.0 if rng.random() < 0.5 else rng.uniform(0.2, 0.95)
    if pick == 1:
        return State(
            rng.uniform(0.1, 0.4), 0.0, rng.uniform(0.7, 1.1), rng.uniform(0.95, 1.15), rng.uniform(0, 0.4), keep
        )
    if pick == 2:
        return State(
            rng.uniform(1.1, 2.5), rng.uniform(0.4, 1.0), 0.75, rng.uniform(0.72, 0.95), rng.uniform(0.4, 1), keep
        )
    if pick == 3:
        return State(
            rng.uniform(0.5, 1.1), rng.uniform(0, 0.3), 0.4, rng.uniform(1.1, 1.4), rng.uniform(0.2, 0.8), keep
        )
    if pick == 4:
        return State(rng.uniform(0.4, 0.9), 0.0, 1.15, rng.uniform(1.1, 1.25), 0.0, keep)
    return State(rng.uniform(0.7, 1.4), rng.uniform(0, 0.15), 1.0, 1.0, rng.uniform(0, 0.25), keep)


def stuff(colour: Colour, opacity: float, depth_mm: float, how: State | None = None, **more: float) -> Stuff:
    """Stuff that stops the share `opacity` of light over `depth_mm`, letting its own `colour` through best."""
    rgb = np.asarray(colour, float)
    clear, toast, wrinkle = (how.clear, how.toast, how.wrinkle) if how else (1.0, 0.0, 0.0)
    rgb = rgb * (1.0 - toast) + toast * np.array([0.23, 0.11, 0.045]) * (0.4 + rgb.mean())
    share = rgb / max(float(rgb.max()), 0.05)
    weights = np.clip(1.0 + 1.15 * (share.mean() - share), 0.25, 2.2)
    depth = -np.log(max(1.0 - opacity, 0.004)) * clear
    absorb = depth * weights / max(depth_mm, 0.01)
    made = replace(Stuff(_triple(absorb), _triple(np.clip(rgb, 0.0, 0.92))), **more)  # type: ignore[arg-type]
    return replace(
        made,
        bump=made.bump + 0.5 * wrinkle,
        grain=made.grain + 0.3 * wrinkle,
        crease=made.crease + 0.4 * wrinkle * min(clear, 1.0),
    )


def vary(colour: Colour, rng: np.random.Generator, spread: float = 0.18) -> Colour:
    """The colour with its brightness and hue shifted at random."""
    rgb = np.asarray(colour, float) * np.exp(rng.normal(0.0, spread, 3) * 0.5 + rng.normal(0.0, spread))
    return _triple(np.clip(rgb, 0.01, 0.9))


def _triple(values: Points) -> Colour:
    return float(values[0]), float(values[1]), float(values[2])
