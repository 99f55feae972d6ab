"""Blank shots of a light panel -> its even light, its fixed marks, its noise.

The light is kept as a coarse map per channel, free of dust: medians within cells first, then the mean of what no mark covers.
Averaging n shots lowers the map's noise as 1/sqrt(n) (temporal noise of EMVA 1288; here relative, because a phone's numbers are
no photon counts).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.blank_bands import find_wandering, take_out
from calib.even_light import FINER, cell_medians, flattened, gains_of, panel_cells, reduced, without_things
from calib.marks import as_bytes, find_marks
from calib.registration import fit_panel, reduce_both
from vision.errors import ProfileError
from vision.light import linear_light
from vision.types import CameraFacts, EvenLight, FixedMark, FloatArray, Shot

_CELL = 16
"""Working pixels to a cell of the map: fine enough for the mottling of the lamps, coarse enough that noise averages out."""
_WORKING_PIXELS = 4.5e6
_LEAST_SIDE_PX = 128
_MOST_CLIPPED = 0.01
_LEAST_LEVEL = 0.05
_MOST_UNEVEN = 2 / 3
# Surfaces in view should differ by no more than 3:1 (Thompson, UC Davis Postharvest Center, on grading lights); beyond that it is
# no panel's falloff.
_MOST_MARKS = 400
_MOST_DOUBTFUL = 60

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class PanelMeasurement:
    """What blank shots say of a panel. Marks and light in pixels of the shots and in linear light 0..1."""

    even_light: EvenLight
    marks: tuple[FixedMark, ...]
    """Doubtful ones first."""
    moved: tuple[FixedMark, ...]
    """Seen in some of the blanks only: dust that moved, or an insect."""
    noise: Triple
    """Standard deviation of optical density from pixel to pixel in one shot: red, green, blue."""
    noise_from: str
    """'time': between shots of the same scene; 'place': within the only shot, which counts the panel's own texture too."""
    level: float
    """Median linear light of the panel (mean of the channels)."""
    uneven: float
    """(max - min) / max of the panel's light, 5th to 95th percentile."""
    panel_share: float
    """Share of the picture that the panel fills, 0..1."""
    exposure_spread: float
    """Largest over smallest exposure among the blanks."""
    shot_sha256: tuple[str, ...]
    px_per_mm: float | None
    camera: CameraFacts = field(default_factory=CameraFacts)
    """Of the first blank that says something of it."""
    colour: Triple = (0.0, 0.0, 0.0)
    """Median linear light of the panel: red, green, blue."""
    flicker: float = 0.0
    """Amplitude of bands that wander from blank to blank, as a share of the light; 0 where there are none."""
    pattern: float = 0.0
    """How much of the pattern of light and marks, as registration draws it, the first blank shows; 0 where there is none."""


def measure_panel(shots: Sequence[Shot], px_per_mm: float | None = None) -> PanelMeasurement:
    """Even light, fixed marks and noise from one or more shots of the empty panel, all of one size.

    Raises ProfileError with a sentence where the shots differ in size, are too bright or too dark, or do not show an empty panel.
    """
    _refuse_unlike(shots)
    if px_per_mm is not None and not 0.1 <= px_per_mm <= 10_000:
        raise ProfileError(f"{px_per_mm:g} pixels to a millimetre is not a scale: give a number from 0.1 to 10000.")
    step = max(1, math.ceil(math.sqrt(shots[0].width_px * shots[0].height_px / _WORKING_PIXELS)))
    lights = [reduced(shot.pixels, step) for shot in shots]
    high, wide = lights[0].shape[:2]
    grid = (round(high / _CELL), round(wide / _CELL))
    flicker = find_wandering(lights)
    for light, bands in zip(lights, flicker.bands, strict=False):
        take_out(light, bands)
    cells = np.stack([cell_medians(light, grid) for light in lights])
    for shot, own in zip(shots, cells, strict=True):
        _refuse_dark(shot, own)
    gains = gains_of(cells)
    first = np.asarray(np.median(cells / gains[:, None, None, :], axis=0), dtype=np.float32)
    panel = panel_cells(first)
    flat = flattened(lights, gains, *without_things(first, panel), panel)
    light_on_panel = flat.level[np.kron(panel, np.ones((FINER, FINER), bool))]
    on_panel = light_on_panel.mean(axis=1)
    low, top = np.percentile(on_panel, [5, 95])
    if top - low > _MOST_UNEVEN * top:
        raise ProfileError(
            f"This is not a shot of an empty panel, or the panel is not lit evenly enough: its light falls by "
            f"{100 * (1 - low / top):.0f}%. Take everything off and fill the picture with the panel."
        )
    found = find_marks(flat.densities, flat.grain, flat.inside, step, px_per_mm)
    _refuse_littered(found.fixed, found.area)
    noise, noise_from = measure_noise(shots)
    even_light = EvenLight(level=flat.level, width_px=shots[0].width_px, height_px=shots[0].height_px)
    own = fit_panel(reduce_both(even_light, shots[0]), found.fixed)
    return PanelMeasurement(
        even_light=even_light,
        marks=found.fixed,
        moved=found.moved,
        noise=noise,
        noise_from=noise_from,
        level=float(np.median(on_panel)),
        uneven=float((top - low) / top),
        panel_share=float(panel.mean()),
        exposure_spread=float(gains.mean(axis=1).max() / gains.mean(axis=1).min()),
        shot_sha256=tuple(shot.sha256 for shot in shots),
        px_per_mm=px_per_mm,
        camera=next((shot.camera for shot in shots if shot.camera != CameraFacts()), CameraFacts()),
        colour=_triple(np.median(light_on_panel, axis=0)),
        flicker=flicker.amplitude,
        pattern=own.share if own.could_tell > 0 else 0.0,
    )


def measure_noise(shots: Sequence[Shot]) -> tuple[Triple, str]:
    """Standard deviation of one shot's optical density from pixel to pixel per channel, and 'time' or 'place'.

    Between two shots the difference holds the noise of both, hence the square root of 2 (EMVA 1288 takes temporal noise the same
    way, in absolute units). Slow changes of light within a tile are taken out first. All shots have one size.
    """
    side = min(64, shots[0].height_px, shots[0].width_px)
    tops = np.linspace(0, shots[0].height_px - side, 8).astype(int)
    lefts = np.linspace(0, shots[0].width_px - side, 8).astype(int)
    windows = [(slice(t, t + side), slice(x, x + side)) for t in tops for x in lefts]
    bright = [w for w in windows if as_bytes(shots[0].pixels[w]).mean() > 40] or windows
    if len(shots) == 1:
        return _spread([_detail(_log(shots[0].pixels[w])) for w in bright]), "place"
    pairs = list(pairwise(shots))
    differences = [_detail(_log(a.pixels[w]) - _log(b.pixels[w])) / math.sqrt(2) for a, b in pairs for w in bright]
    return _spread(differences), "time"


def _triple(values: Any) -> Triple:
    red, green, blue = (float(v) for v in values)
    return red, green, blue


def _log(pixels: NDArray[Any]) -> FloatArray:
    return np.asarray(np.log10(np.maximum(linear_light(pixels), 1e-4)), dtype=np.float32)


def _detail(values: FloatArray) -> FloatArray:
    width = 9
    slow = cv2.blur(values, (width, width))
    # The mean of n values holds 1/n of the noise it is taken from.
    return np.asarray((values - slow) / math.sqrt(1 - 1 / width**2), dtype=np.float32)


def _spread(tiles: list[FloatArray]) -> Triple:
    """Per channel, without specks: standard deviation after cutting at 4 of it, twice."""
    values = np.concatenate([tile.reshape(-1, 3) for tile in tiles])
    out = []
    for channel in values.T:
        for _ in range(2):
            channel = channel[np.abs(channel) <= 4 * channel.std() + 1e-9]
        out.append(float(channel.std()))
    return out[0], out[1], out[2]


def _refuse_unlike(shots: Sequence[Shot]) -> None:
    if not shots:
        raise ProfileError("A panel profile needs at least one shot of the empty panel.")
    size = (shots[0].width_px, shots[0].height_px)
    if min(size) < _LEAST_SIDE_PX:
        raise ProfileError(
            f"{shots[0].name} is {size[0]} x {size[1]} pixels; a panel profile needs {_LEAST_SIDE_PX} or more each way."
        )
    for shot, other in combinations(shots, 2):
        if shot.sha256 == other.sha256:
            raise ProfileError(f"{shot.name} and {other.name} are the same shot: give each blank once.")
    for shot in shots:
        own = (shot.width_px, shot.height_px)
        if own != size:
            raise ProfileError(
                f"{shot.name} is {own[0]} x {own[1]} pixels and {shots[0].name} is {size[0]} x {size[1]}: "
                "take all blanks with the same camera, held the same way up."
            )
        # Camera processing often stops one step short of full scale, so the last two values of 8 bit count.
        full = 254 if shot.pixels.dtype == np.uint8 else 254 * 257
        clipped = float((cv2.inRange(shot.pixels, (0, 0, 0), (full - 1,) * 3) == 0).mean())
        if clipped > _MOST_CLIPPED:
            raise ProfileError(
                f"{shot.name} is over-exposed: {100 * clipped:.0f}% of it is at full scale. "
                "Expose less, until no part of the panel is pure white."
            )


def _refuse_dark(shot: Shot, cells: FloatArray) -> None:
    level = float(np.percentile(cells.mean(axis=2), 95))
    if level < _LEAST_LEVEL:
        raise ProfileError(
            f"{shot.name} is too dark: the panel reads {100 * level:.1f}% of full scale. "
            "Is the panel on? Expose more, to about half of full scale."
        )


def _refuse_littered(marks: tuple[FixedMark, ...], area: float) -> None:
    doubtful = sum(mark.doubtful for mark in marks)
    if doubtful > _MOST_DOUBTFUL or len(marks) > _MOST_MARKS or area > 0.03:
        raise ProfileError(
            f"This is not a shot of an empty panel: {len(marks)} marks, {doubtful} of which could be insects, "
            f"cover {100 * area:.1f}% of it. Wipe the panel and take the blanks again."
        )
