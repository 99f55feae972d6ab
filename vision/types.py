"""Every value that crosses a file, as frozen dataclasses with their units in the names.

Conventions everywhere: arrays are indexed [row, column] = [y, x]; pixel (0, 0) is the centre of the top-left pixel of the
upright picture; x runs to the right, y down; angles are in degrees, 0 along x, growing clockwise as seen. Colour channels are
in the order red, green, blue. Optical density is -log10 of a light ratio (CIE 17-24-090).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.conditions.numbers import Conditions

FloatArray = NDArray[np.float32]
MaskArray = NDArray[np.bool_]


class Ground(StrEnum):
    """What the produce, or what came off it, lies on."""

    PANEL = "panel"
    WATER = "water"
    CLOTH = "cloth"


class LitFrom(StrEnum):
    """Where the light that makes the picture comes from, seen from the ground."""

    BELOW = "below"
    ABOVE = "above"
    BOTH = "both"


class Surface(StrEnum):
    """What a speck lies on, as written in the table."""

    PANEL = "panel"
    WATER = "water"
    CLOTH = "cloth"
    PRODUCE = "produce"


class Tone(StrEnum):
    """A speck against what is round it."""

    DARKER = "darker"
    LIGHTER = "lighter"


class ScaleFrom(StrEnum):
    """Where millimetres come from."""

    NONE = "none"
    OPTION = "option"
    RULER = "ruler"
    """Two points a person showed on the shot, and the length between them."""
    PROFILE = "profile"
    SLIP = "slip"


class Usable(StrEnum):
    """Whether a shot can show what it is meant to show."""

    YES = "yes"
    NO = "no"


@dataclass(frozen=True)
class CameraFacts:
    """What the file says of its camera; '' and None where it says nothing."""

    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal_35mm: float | None = None
    """Focal length of the same field of view on 36 x 24 mm film (Exif 2.3, FocalLengthIn35mmFilm)."""
    digital_zoom: float | None = None
    jpeg_quality: int | None = None
    """Of the IJG scale 1..100, told from the quantisation tables; None where the file is no JPEG."""


@dataclass(frozen=True)
class Shot:
    """One photograph: upright, three channels, sRGB-encoded (IEC 61966-2-1), nothing thrown away but its metadata.

    `pixels` has shape (h, w, 3) and dtype uint8 or uint16; full scale is 255 or 65535.
    """

    pixels: NDArray[Any]
    sha256: str
    name: str
    taken_at: str | None = None
    notes: tuple[str, ...] = ()
    camera: CameraFacts = CameraFacts()

    def __post_init__(self) -> None:
        if self.pixels.ndim != 3 or self.pixels.shape[2] != 3 or self.pixels.dtype not in (np.uint8, np.uint16):
            raise ValueError("a shot is an (h, w, 3) array of uint8 or uint16")

    @property
    def height_px(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def width_px(self) -> int:
        return int(self.pixels.shape[1])


@dataclass(frozen=True)
class FixedMark:
    """Something on the empty panel that stays there: a scratch, stuck dust. Position and size in pixels of the profile's shots.

    `x_px`, `y_px`, `radius_px` are the circle round it. A scratch is far thinner than its circle: the strip says where it is.
    """

    x_px: float
    y_px: float
    radius_px: float
    density: float
    """Peak optical density of the mark (mean of the channels) in the blank shots; negative where it is lighter."""
    answer: str = ""
    """'scratch' once a person has said so, 'insect' where it was something lying there; '' while nobody has."""
    length_px: float = 0.0
    """Of the straight strip that holds the mark, centred on it; 0 where only the circle is known."""
    width_px: float = 0.0
    angle_deg: float = 0.0
    """Direction of the strip: 0 along x, clockwise as seen."""
    doubtful: bool = False
    """It could be an insect: no fixed mark before a person has said 'scratch'."""


@dataclass(frozen=True)
class EvenLight:
    """The empty panel's light as a coarse grid over the whole picture.

    `level` has shape (gh, gw, 3), float32, linear light 0..1; grid point (i, j) lies at the centre of cell (i, j) of a
    gh x gw division of the picture.
    """

    level: FloatArray
    width_px: int
    height_px: int


@dataclass(frozen=True)
class Lens:
    """A lens's distortion as the polynomial model of Brown (1971): with x = (px - centre) / focal and r^2 = x^2 + y^2, a point
    is seen at x (1 + k1 r^2 + k2 r^4)."""

    focal_px: float
    centre_x_px: float
    centre_y_px: float
    k1: float
    k2: float
    width_px: int
    height_px: int


@dataclass(frozen=True)
class GroundMap:
    """From pixels of the upright shot to millimetres on the ground's plane.

    `to_mm` (3, 3) float64 maps straightened pixel coordinates (x, y, 1), that is after `lens` is undone and with its own focal
    length and centre, to (x_mm, y_mm, 1) up to a factor; to_mm[2, 2] is 1. Millimetres are laid so that at (`x_px`, `y_px`), where
    the scale is quoted, x_mm runs along x_px and x_mm = x_px / px_per_mm, y_mm = y_px / px_per_mm. `covariance` (8, 8) float64 is
    that of the first eight entries of `to_mm`, row by row.
    """

    to_mm: NDArray[np.float64]
    covariance: NDArray[np.float64]
    x_px: float
    y_px: float
    lens: Lens | None = None


@dataclass(frozen=True)
class Sharpness:
    """How sharp the shot is, along shot pixels; frequencies in cycles per pixel.

    `blur_px` is the standard deviation of the Gaussian blur of camera and print together, with the camera's own sharpening
    undone; `mtf50_cy_px` and `mtf10_cy_px` are those of the picture as it is (ISO 12233 e-SFR), which sharpening raises.
    """

    blur_px: float
    mtf50_cy_px: float
    mtf10_cy_px: float | None
    overshoot: float
    """How far the edge's bright or dark side runs over its level, as a share of the step."""
    sharpened: bool
    from_slip: bool
    """True: measured on the slip's slanted edges; False: estimated from whatever edges the shot has."""
    smear_px: float = 0.0
    """Length of a motion smear; 0 where none was told."""
    smear_deg: float = 0.0
    """Its direction, 0 along x, clockwise as seen."""
    defocus_px: float = 0.0
    """Radius of the circle of confusion; 0 where none was told."""
    upsampled: float = 1.0
    """How many times the picture was enlarged after it was taken; 1 where not."""


@dataclass(frozen=True)
class Setup:
    """What is known of the stand and of the slip in the shot, before the shot is searched; each part known or not."""

    px_per_mm: float | None = None
    """Geometric mean of the two local scales where the scale is quoted (the slip's centre)."""
    scale_from: ScaleFrom = ScaleFrom.NONE
    ground_map: GroundMap | None = None
    """None: the same scale all over the picture."""
    slip_outlines_px: tuple[NDArray[np.float64], ...] = ()
    """Polygons (n, 2) of what is printed for us and never searched."""
    sharpness: Sharpness | None = None
    camera_mm: float | None = None
    """From the camera to the ground's plane, where the slip tells it."""
    black_over_white: float | None = None
    """Light of printed black against its white, where a slip shows it: a veil over the picture raises it."""
    even_light: EvenLight | None = None
    fixed_marks: tuple[FixedMark, ...] = ()
    ground: Ground | None = None
    """What the person said the ground is."""
    lit_from: LitFrom | None = None
    """What the person said of the light."""


@dataclass(frozen=True)
class Cut:
    """Which candidates a list holds: a score at least `min_score`, the best `max_flags` of them."""

    min_score: float = 0.02
    """Of drawn shots that the ranker did not learn on, half by other hands, an empty one then has about twelve false flags on average over
    all scenes."""
    max_flags: int | None = None


@dataclass(frozen=True)
class Light:
    """The shot as light at the resolution the search works at.

    `density` (3, h, w) float32, a plane a channel: optical density against the ground's light, `-log10(linear / level)`; 0 on bare ground,
    positive where it is darker, negative where lighter. `log_level` (gh, gw, 3) float32: decimal logarithm of the ground's
    linear light on a coarse grid over the picture. `clipped` (h, w) bool: at full scale in two channels or more.
    """

    density: FloatArray
    log_level: FloatArray
    clipped: MaskArray
    step: int
    """Shot pixels per working pixel."""


@dataclass(frozen=True)
class Surfaces:
    """What each working pixel shows. Arrays (h, w) bool, working resolution; every pixel is in exactly one of them."""

    ground: MaskArray
    produce: MaskArray
    outside: MaskArray


@dataclass(frozen=True)
class Speck:
    """A place that differs from what is round it. `mask` (bool, (n, m)) is the body inside a window whose pixel (0, 0) lies at
    (`top`, `left`) of the working picture and whose pixels are `zoom` working pixels wide (less than 1 where it was cut out of the
    shot itself); `contrast` (float32, (n, m)) is the difference from the surroundings along the speck's own direction in colour:
    about 1 on the body, 0 in the surroundings. `residual` (float32, (n, m, 3)) is the density against the surface round it.
    """

    top: float
    left: float
    zoom: float
    mask: MaskArray
    contrast: FloatArray
    strength: FloatArray
    """The same difference against one number for all of the body, (n, m) float32: 1 where it is strongest."""
    residual: FloatArray
    surface_density: tuple[float, float, float]
    """Density of the surface it lies on, against the ground's light."""
    on_produce: bool
    tone: Tone
    snr: float
    scale_px: float
    """Standard deviation, in working pixels, of the smoothing at which it stood out most."""
    likely: float
    """What the first glance made of the place: log odds of an insect at the mix it was learned on."""
    glanced: tuple[float, ...]
    """What that glance saw which the outline does not tell: see glance.KEPT."""
    smoothed_px: float
    """Standard deviation, in window pixels, of the smoothing that `contrast` has had against noise."""
    response: tuple[float, ...]
    """Signal to noise at its place in every scale of the search, finest first."""


@dataclass(frozen=True)
class Measures:
    """Size, form and colour of one speck (ISO 9276-6 names), in shot pixels and optical density; see measure.py."""

    x_px: float
    y_px: float
    left_px: int
    top_px: int
    wide_px: int
    high_px: int
    angle_deg: float
    length_px: float
    width_px: float
    max_feret_px: float
    min_feret_px: float
    area_px: float
    equivalent_diameter_px: float
    aspect_ratio: float
    circularity: float
    solidity: float
    delta_e: float
    density: float
    snr: float
    blur_px: float
    """Standard deviation of the blur its outline shows."""
    outline_px: FloatArray
    """(n, 2) float32: x, y of the grey-level contour in shot pixels."""


@dataclass(frozen=True)
class SizesMm:
    """Place, size and form of one speck on the ground's plane, in millimetres (ISO 9276-6 names)."""

    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float
    max_feret_mm: float
    min_feret_mm: float
    area_mm2: float
    equivalent_diameter_mm: float
    aspect_ratio: float
    circularity: float
    solidity: float


@dataclass(frozen=True)
class Candidate:
    """One row of candidates.csv before it is a row."""

    number: int
    measures: Measures
    surface: Surface
    tone: Tone
    shape: str
    """Key into shapes.SHAPES."""
    resembles: str
    why: str
    score: float
    sizes: SizesMm | None
    """None where the scale is unknown, or not known well enough at its place."""
    size_uncertainty: float | None
    """Relative standard uncertainty of length and width (GUM); None as `sizes`."""
    piece: int = 0
    """Number of the piece it lies on or hard by; 0 where on none."""


@dataclass(frozen=True)
class ShotQuality:
    """What the shot itself says of its light, sharpness and noise."""

    panel_level: float
    """Median linear light of the ground, 0..1 of full scale (mean of the channels)."""
    clipped: float
    """Share of pixels at full scale in two channels or more, 0..1."""
    uneven: float
    """(max - min) / max of the ground's light over the picture, 5th to 95th percentile."""
    sharpness_cy_px: float | None
    """Spatial frequency at which contrast falls to half (MTF50), estimated from the shot's own edges; None if it has none."""
    noise: float
    """Standard deviation of the ground's optical density from pixel to pixel (mean of the channels)."""
    unsearched: float
    """Share of the picture that was not searched, 0..1."""


@dataclass(frozen=True)
class Piece:
    """One piece of produce on the tray, in shot pixels: its middle and its upright box. Numbers run from 1 in tray order (pieces.py).

    `outline_px` is a coarse line round it, corner by corner, for pointing at it; empty where nobody drew one.
    """

    number: int
    x_px: float
    y_px: float
    left_px: int
    top_px: int
    wide_px: int
    high_px: int
    outline_px: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Inspection:
    """All that one photograph gave: the value from which picture and table rows are made."""

    shot_name: str
    shot_sha256: str
    width_px: int
    height_px: int
    taken_at: str | None
    px_per_mm: float | None
    scale_from: ScaleFrom
    ground: Ground
    lit_from: LitFrom
    quality: ShotQuality
    usable: Usable
    reasons: tuple[str, ...]
    """What limits this shot, in sentences."""
    limit_round_mm: float | None
    limit_linear_mm: float | None
    candidates: tuple[Candidate, ...]
    left_out: int
    """Candidates above the cut that --max-flags left out."""
    unsearched: MaskArray
    """(gh, gw) bool on a coarse grid over the picture: what was not searched, for hatching."""
    fixed_marks: tuple[FixedMark, ...] = ()
    """Marks of the profile that were not counted because nothing changed there."""
    produce_name: str = ""
    instruction: str = ""
    """The one thing to change first; '' where nothing was found that should be."""
    conditions: Conditions = field(default_factory=Conditions)
    ground_share: float = 0.0
    produce_share: float = 0.0
    searched_step: int = 1
    """Shot pixels per pixel of the picture that was searched."""
    pieces: tuple[Piece, ...] = ()
    by_piece: bool = False
    """Whether candidates are told apart by the numbers of the pieces they lie on, in the table and on the picture."""
