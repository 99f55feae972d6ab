"""What is asked of one drawn shot. Every field left at None is drawn from the shot's seed (the panel's from `panel_seed`)."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from vision import names
from vision.render.drawn_fields import camera_fields, cloth_fields, panel_fields, shot_fields, under_fields
from vision.render.prints import Print

T = TypeVar("T")

KINDS = ("blank", "water", "broccoli", "cauliflower", "scallion", "layers", "asparagus", "gills", "cloth", "tray")
FLORETS = ("broccoli", "cauliflower")
"""Pieces of produce under lamps."""
THIN = ("scallion", "layers", "asparagus", "gills")
"""Plant tissue that the panel shines through."""
INSECTS = names.ANIMALS
TRAIL = names.TRAIL
"""Drawn with the tissue."""
BODIES = ("first", "second", "lent", "small")
CLOTH_COLOURS, CLOTH_LIT = ("white", "dark"), ("below", "above", "both")

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
    "cloth": 13,
    "ruled": 14,
    "lent": 15,
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
    """(kind, how many); None: drawn. Thin tissue may also hold ('trail', how many)."""
    bodies: str = "first"
    """'first' or 'second': which of two families that share no code draws the insects; 'lent' and 'small': other hands in turn, whole
    ones or small ones that draw bodies and bits alone."""
    clutter: float = 1.0
    """1: as much bycatch as rinse water carries; 0: none."""
    plant_bits: float = 0.0
    """How much lies there of what resembles animals more closely than the bycatch does (plant_bits.py); 1: much."""
    lent_bits: float = 0.0
    """How much bycatch other hands have drawn lies there besides (hands/lenders.py), those of `bodies` or else the whole ones; 1: as much
    as of our own."""
    stout: float = 1.0
    """How many times as thick the first family's legs and antennae are as usual."""
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
    ruled: float | None = None
    """Optical density of lines printed on what lies under produce or water; 0: none."""
    tray_white: float | None = None
    """Reflectance of a white tray; 0: the tray is dark."""
    vessel_edge: str | None = None
    """'none', 'straight' or 'round': the tray's wall in the picture."""

    view: str | None = None
    """'underside' or 'opened' broccoli, 'top' or 'opened' cauliflower."""
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

    cloth_colour: str | None = None
    """'white' or 'dark' threads."""
    cloth_lit: str | None = None
    """'below', 'above' or 'both': where the cloth's light comes from."""
    weave_pitch_mm: float | None = None
    """From one warp thread to the next."""
    weave_ratio: float | None = None
    """The weft's pitch against the warp's."""
    weave_angle_deg: float | None = None
    """Direction in which the warp threads run, 0 along x, clockwise as seen."""

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
        drawn = (*INSECTS, TRAIL) if self.kind in THIN else INSECTS
        unknown = [kind for kind, _ in self.insects or () if kind not in drawn]
        if unknown:
            raise ValueError(f"cannot draw {unknown[0]}: known are {', '.join(drawn)}")
        for name, value, allowed in (
            ("bodies", self.bodies, BODIES),
            ("cloth_colour", self.cloth_colour or "white", CLOTH_COLOURS),
            ("cloth_lit", self.cloth_lit or "below", CLOTH_LIT),
        ):
            if value not in allowed:
                raise ValueError(f"{name} must be one of {', '.join(allowed)}")

    @property
    def under_lamps(self) -> bool:
        """Whether the light that makes the picture comes from above; the recipe of a cloth must be filled."""
        return self.kind in (*FLORETS, "tray") or (self.kind == "cloth" and known(self.cloth_lit) == "above")


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


def known(value: T | None) -> T:
    """A field of a filled recipe. Raises ValueError where the recipe was not filled."""
    if value is None:
        raise ValueError("fill the recipe first")
    return value


def filled(recipe: Recipe) -> Recipe:
    """The same recipe with every None drawn; giving one field never changes what another is drawn as."""
    panel_seed = recipe.seed if recipe.panel_seed is None else recipe.panel_seed
    given: dict[str, Any] = {"panel_seed": panel_seed}
    given |= panel_fields(stream(panel_seed, "panel"), recipe.wild)
    shot = shot_fields(stream(recipe.seed, "water", 1), recipe.wild, recipe.kind)
    given |= under_fields(stream(recipe.seed, "ruled"), recipe.wild)
    given |= cloth_fields(stream(recipe.seed, "cloth"), recipe.wild)
    depth = shot["water_depth_mm"] if recipe.water_depth_mm is None else recipe.water_depth_mm
    given |= shot | camera_fields(stream(recipe.seed, "camera"), recipe.wild, recipe.kind, depth)
    missing = {f.name: given[f.name] for f in fields(recipe) if f.name in given and getattr(recipe, f.name) is None}
    return replace(recipe, **missing)
