"""What is asked of one drawn shot. Every field left at None is drawn from the shot's seed (the panel's from `panel_seed`)."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from vision.render.prints import Print

T = TypeVar("T")

KINDS = ("blank", "water", "broccoli")
INSECTS = ("aphid", "thrips", "caterpillar")

# Numbers that keep the layers' random streams apart, so that one layer's draws never move another's.
STREAMS = {
    "panel": 1,
    "marks": 2,
    "water": 3,
    "camera": 4,
    "noise": 5,
    "counts": 6,
    "produce": 7,
    "insects": 8,
    "debris": 9,
    "lamp": 10,
    "heat": 11,
    "faults": 12,
}


def stream(seed: int, layer: str, *index: int) -> np.random.Generator:
    """The generator of one layer, or of one thing in it."""
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(STREAMS[layer], *index)))


@dataclass(frozen=True)
class Recipe:
    """One shot to draw. Linear light is 1 at full scale; `seed` fixes all that is not given."""

    kind: str
    seed: int
    width_px: int = 2000
    height_px: int = 1500
    px_per_mm: float = 20.0
    insects: tuple[tuple[str, int], ...] | None = None
    """(kind, how many); None: drawn."""
    clutter: float = 1.0
    """1: as much bycatch as rinse water carries; 0: none."""
    heated: bool | None = None
    wild: bool = False
    """Draw everything from distributions far beyond what looks right."""

    panel_seed: int | None = None
    """The panel itself: the same number is the same panel, with the same shading, scratches and stuck dust."""
    panel_colour: tuple[float, float, float] | None = None
    """Linear light of the panel, red green blue, largest 1."""
    unevenness: float | None = None
    """Loss of light from the brightest to the darkest place, 0..1."""
    led_mottling: float | None = None
    """Relative amplitude of the lamps showing through."""
    grain: float | None = None
    """Relative amplitude of the diffuser's fine texture."""
    burnt_out: float | None = None
    """Extra light of a burnt-out patch, relative to the panel."""
    marks: float | None = None
    """How scratched and dusty the panel is; 1 is usual."""
    room_light: float | None = None
    """Light from above while the panel is on, relative to the panel: it shows an opaque body's own colour."""

    ripple: float | None = None
    """Relative amplitude of the light gathered and spread by the water's surface."""
    film: float | None = None
    """Relative amplitude of scum and smears with soft outlines."""
    glare: float | None = None
    """Light of a lamp mirrored by the water, relative to the panel."""
    water_colour: tuple[float, float, float] | None = None
    """Transmission of the water's whole depth, red green blue."""
    water_depth_mm: float | None = None
    vessel_edge: str | None = None
    """'none', 'straight' or 'round': the tray's wall in the picture."""

    view: str | None = None
    """'underside' or 'opened' florets."""
    pieces: int | None = None
    apart_mm: float | None = None
    """Least distance between florets; None: they are laid to fill the picture and may touch."""
    touching: int = 0
    """How many florets are pushed against their neighbour."""
    white_ground: float | None = None
    """Reflectance of the panel that serves as the ground, 0..1."""
    light_angle_deg: float | None = None
    """Direction towards the lamp, 0 along x, clockwise as seen."""
    light_gradient: float | None = None
    """Relative fall of the lamp's light over the picture's diagonal."""
    specular: float | None = None

    exposure: float | None = None
    """Linear level of the brightest panel, or of a white surface lit from above; above 1 it burns out."""
    optics_blur_px: float | None = None
    """Standard deviation of the lens's blur at the middle of the picture."""
    edge_blur: float | None = None
    """How many times that at the corner."""
    defocus_px: float | None = None
    """Radius of the circle of confusion of the whole shot."""
    depth_blur_px_per_mm: float | None = None
    """How fast a body gets out of focus with its distance from the plane in focus."""
    focus_height_mm: float | None = None
    shake_px: float | None = None
    """Length of the smear of a shaken shot."""
    flare: float | None = None
    """Share of the picture's mean light that veils all of it."""
    fringe_px: float | None = None
    """Lateral colour at the corner."""
    full_well_e: float | None = None
    """Electrons at full scale: sets the shot noise."""
    read_noise_e: float | None = None
    white_gain: tuple[float, float, float] | None = None
    """White-balance gains, which also scale each channel's noise."""
    crosstalk: float | None = None
    """How much the colour filters overlap; undone by a matrix that raises the noise."""
    edge_aware: bool | None = None
    """Edge-aware demosaicing instead of bilinear."""
    denoise: float | None = None
    """0..1."""
    sharpen: float | None = None
    """Amount of the unsharp mask."""
    sharpen_radius_px: float | None = None
    tone_curve: float | None = None
    """0: plain sRGB; 1: a phone's strong contrast curve."""
    jpeg_quality: int | None = None
    chroma_halved: bool | None = None

    # Faults: never drawn by chance, each absent at 0.
    smear: float = 0.0
    """Share of the light that a smeared lens throws into a wide halo, 0..1."""
    smear_reach: float = 0.025
    """Standard deviation of the halo's narrow part as a share of the picture's width; the wide part's is three times that."""
    steam: float = 0.0
    """Share of the light that steam takes and replaces by grey-white light where it is thickest, 0..1."""
    steam_lump_mm: float = 25.0
    film_glare: float = 0.0
    """Light of a lamp mirrored by film or a wet tray over the scene, relative to the ground."""
    panel_on: float = 0.0
    """Light of a panel left on under produce lit from above, relative to the lamps' on a white surface."""
    wet_panel: float = 0.0
    """Share of a dry panel that drops of water cover."""
    foam: float = 0.0
    """Share of the water that rafts of bubbles cover."""
    condensation: float = 0.0
    """Share of the picture, from one side inwards, that mist on a cover or on the tray's rim hides."""
    prints: tuple[Print, ...] = ()
    """Printed pieces that lie flat on the ground."""
    tilt_blur_px: float = 0.0
    """Standard deviation of the blur at the picture's top, falling to none at its bottom: a tilted camera's."""
    deep_shade: float = 0.0
    """How much darker produce is that the lamp reaches little: exponent over 1 of its illumination."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind must be one of {', '.join(KINDS)}")
        if min(self.width_px, self.height_px) < 16 or not 1 <= self.px_per_mm <= 400:
            raise ValueError("a drawn shot has at least 16 x 16 pixels, at 1 to 400 pixels per millimetre")
        unknown = [kind for kind, _ in self.insects or () if kind not in INSECTS]
        if unknown:
            raise ValueError(f"cannot draw {unknown[0]}: known are {', '.join(INSECTS)}")


def tidy(
    kind: str,
    seed: int,
    *,
    width_px: int = 2000,
    height_px: int = 1500,
    px_per_mm: float = 20.0,
    panel_seed: int | None = None,
) -> Recipe:
    """A shot from a well-set stand: modest variation only."""
    return Recipe(kind, seed, width_px, height_px, px_per_mm, panel_seed=panel_seed)


def vary(
    kind: str, seed: int, *, width_px: int = 2000, height_px: int = 1500, px_per_mm: float | None = None
) -> Recipe:
    """A shot for learning: everything varies far beyond what looks right; without `px_per_mm`, 8 to 45 pixels a millimetre."""
    rng = stream(seed, "counts", 1)
    drawn = float(np.exp(rng.uniform(np.log(8), np.log(45))))
    clutter = float(rng.choice([0.2, 0.6, 1.0, 1.6, 2.5]))
    return Recipe(
        kind, seed, width_px, height_px, drawn if px_per_mm is None else px_per_mm, clutter=clutter, wild=True
    )


def _tint(rng: np.random.Generator, spread: float) -> tuple[float, float, float]:
    """A white that is off mostly between warm and cold, less between green and magenta; largest channel 1."""
    warm, green = rng.normal(0, spread), rng.normal(0, spread * 0.35)
    c = np.exp(np.array([warm, green, -1.2 * warm]) + rng.normal(0, spread * 0.12, 3))
    r, g, b = (c / c.max()).tolist()
    return r, g, b


def _panel_fields(rng: np.random.Generator, wild: bool) -> dict[str, Any]:
    colour = _tint(rng, 0.22 if wild else 0.05)
    if wild and rng.random() < 0.06:
        # A strongly coloured lamp, as some stands have.
        colour = tuple(np.clip(rng.uniform(0.05, 1, 3), 0.05, 1).tolist())
    return {
        "panel_colour": colour,
        "unevenness": float(rng.uniform(0.02, 0.65) if wild else rng.uniform(0.08, 0.35)),
        "led_mottling": float(rng.choice([0, rng.uniform(0, 0.06)]) if wild else rng.uniform(0, 0.012)),
        "grain": float(rng.uniform(0, 0.012) if wild else rng.uniform(0.001, 0.004)),
        "marks": float(rng.uniform(0, 3) if wild else rng.uniform(0.5, 1.3)),
    }


def _shot_fields(rng: np.random.Generator, wild: bool, kind: str) -> dict[str, Any]:
    vessels, odds = ("none", "straight", "round"), (0.6, 0.22, 0.18) if wild else (0.85, 0.1, 0.05)
    depth = float(rng.uniform(2, 20) if wild else rng.uniform(4, 9))
    return {
        "heated": bool(rng.random() < 0.5),
        "room_light": float(rng.uniform(0, 0.15) if wild else rng.uniform(0.004, 0.03)),
        "ripple": float(abs(rng.normal(0, 0.05)) if wild else abs(rng.normal(0, 0.007))),
        "film": float(abs(rng.normal(0, 0.05)) if wild else abs(rng.normal(0, 0.012))),
        "glare": float(rng.uniform(0.1, 1.2) if wild and rng.random() < 0.12 else 0.0),
        "water_colour": _tint(rng, 0.08 if wild else 0.015),
        "water_depth_mm": depth,
        "vessel_edge": str(rng.choice(vessels, p=odds)) if kind == "water" else "none",
        "view": str(rng.choice(["underside", "opened"])),
        "white_ground": float(rng.uniform(0.45, 0.95) if wild else rng.uniform(0.62, 0.88)),
        "light_angle_deg": float(rng.uniform(0, 360)),
        "light_gradient": float(rng.uniform(0, 0.6) if wild else rng.uniform(0.03, 0.2)),
        "specular": float(rng.uniform(0, 0.2) if wild else rng.uniform(0.02, 0.08)),
        "burnt_out": float(rng.uniform(0.2, 1.5) if wild and rng.random() < 0.15 else 0),
        "exposure": float(rng.uniform(0.25, 1.1) if wild else rng.uniform(0.6, 0.86))
        * (1.2 if kind == "broccoli" else 1.0),
    }


def _camera_fields(rng: np.random.Generator, wild: bool, kind: str, depth_mm: float) -> dict[str, Any]:
    blurred = wild and rng.random() < 0.12
    gains = (
        (rng.uniform(1.2, 2.4), 1.0, rng.uniform(1.2, 2.4))
        if wild
        else (rng.uniform(1.6, 2.0), 1.0, rng.uniform(1.4, 1.8))
    )
    top = 25.0 if kind == "broccoli" else depth_mm
    return {
        "optics_blur_px": float(np.exp(rng.uniform(np.log(0.4), np.log(2.6))) if wild else rng.uniform(0.55, 0.95)),
        "edge_blur": float(rng.uniform(1, 2.2) if wild else rng.uniform(1.05, 1.4)),
        "defocus_px": float(rng.uniform(1, 6) if blurred else 0.0),
        "depth_blur_px_per_mm": float(abs(rng.normal(0, 0.35)) if wild else rng.uniform(0.02, 0.1))
        * (0.4 if kind == "broccoli" else 1.0),
        "focus_height_mm": float(rng.uniform(0, top) if wild else rng.uniform(0.1, 0.6) * top),
        "shake_px": float(rng.uniform(1, 6) if wild and rng.random() < 0.1 else 0.0),
        "flare": float(rng.uniform(0, 0.12) if wild else rng.uniform(0.004, 0.02)),
        "fringe_px": float(abs(rng.normal(0, 0.7)) if wild else rng.uniform(0, 0.25)),
        "full_well_e": float(np.exp(rng.uniform(np.log(400), np.log(40000))) if wild else rng.uniform(5000, 20000)),
        "read_noise_e": float(rng.uniform(1, 12) if wild else rng.uniform(2, 4)),
        "white_gain": tuple(float(g) for g in gains),
        "crosstalk": float(rng.uniform(0, 0.3) if wild else rng.uniform(0.08, 0.18)),
        "edge_aware": bool(rng.random() < 0.6),
        "denoise": float(rng.uniform(0, 1) if wild else rng.uniform(0.25, 0.6)),
        "sharpen": float(rng.choice([0, rng.uniform(0, 1.8)]) if wild else rng.uniform(0.2, 0.7)),
        "sharpen_radius_px": float(rng.uniform(0.6, 2.5) if wild else rng.uniform(0.8, 1.3)),
        "tone_curve": float(rng.choice([0, rng.uniform(0, 1)]) if wild else 0.0),
        "jpeg_quality": int(rng.integers(60, 98) if wild else rng.integers(88, 97)),
        "chroma_halved": bool(rng.random() < 0.8),
    }


def known(value: T | None) -> T:
    """A field of a filled recipe. Raises ValueError where the recipe was not filled."""
    if value is None:
        raise ValueError("fill the recipe first")
    return value


def filled(recipe: Recipe) -> Recipe:
    """The same recipe with every None drawn; giving one field never changes what another is drawn as."""
    panel_seed = recipe.seed if recipe.panel_seed is None else recipe.panel_seed
    given: dict[str, Any] = {"panel_seed": panel_seed}
    given |= _panel_fields(stream(panel_seed, "panel"), recipe.wild)
    shot = _shot_fields(stream(recipe.seed, "water", 1), recipe.wild, recipe.kind)
    depth = shot["water_depth_mm"] if recipe.water_depth_mm is None else recipe.water_depth_mm
    given |= shot | _camera_fields(stream(recipe.seed, "camera"), recipe.wild, recipe.kind, depth)
    missing = {f.name: given[f.name] for f in fields(recipe) if f.name in given and getattr(recipe, f.name) is None}
    return replace(recipe, **missing)
