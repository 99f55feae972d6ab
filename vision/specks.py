"""Where something differs from what is round it, on the ground and on produce, in both tones.

The density is freed of the slow change of each surface and searched at several scales (scales.py). The places that stand out are
put in order at a glance (glance.py), and the likelier ones are cut out along their own direction in colour (outline.py).
Nothing is judged here: what is listed is ranked later.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import copy_where, medians_of_known
from vision.covered import Covered
from vision.fine import Windows, windows_over
from vision.glance import KEPT, PATCH, Places, find_places, glance_at
from vision.light import coarse_to_fine, over_channels, sample_grid
from vision.looks import Looks, Spots
from vision.noise import measure_noise
from vision.outline import cut_out
from vision.parts import parted
from vision.pyramid import build_pyramid
from vision.rarity import count_colours, rarity_map
from vision.scales import ScaleMap, map_scales
from vision.trees import Trees
from vision.types import FloatArray, Light, MaskArray, Speck, Surfaces
from vision.weave import take_out, weave_gain
from vision.whitening import Tones

_LARGEST_SIGMA_MM = 1.3
_LARGEST_SIGMA_PX = 32.0
"""Without a scale: bodies of up to about 160 px."""
_GROUND_CELL_MM, _GROUND_CELL_PX = 4.0, 96.0
_PRODUCE_CELL_MM, _PRODUCE_CELL_PX = 2.5, 60.0
_MEANS_A_CELL = 8
"""Each way: a cell's level is the median of 64 means."""
_DARK_GROUND, _LIGHT_GROUND = 0.1, 0.25
"""Share of full-scale light up to which a ground is dark, and from which it is light."""
_UNEXPECTED, _UNLIKELY = 0.75, 0.5
"""Weight of what differs from a dark or a middling ground, and from a light one, in the tone that bodies seldom have there."""
_RIM_MM = 0.25
"""How far from the outline of produce a pixel may be a mixture of piece and ground: blur, and the outline's own error."""
_LEAST_LIKELY = -8.0
"""Log odds, at the mix of places it was learned on, below which a glance is enough: one in three thousand."""
MOST_LOOKS = 320
"""Places looked at closer, best first: a bound on time, far above what a person could answer."""
EVERY_LOOK = 3000
"""The same where all that stands out is asked for, however unlikely."""
_MOST_PATCHES = 1200
"""Places whose picture the network is shown, likeliest first by the numbers alone: a bound on time."""


@dataclass(frozen=True)
class Search:
    """A shot's scale maps and the places that stand out in them. `glances` (n, len(GLANCES)); `below` (n, 3): surface density."""

    windows: Windows
    maps: list[ScaleMap]
    places: Places
    below: FloatArray
    glances: NDArray[np.float32]

    def in_shot(self, which: NDArray[np.int64], step: int) -> Spots:
        """Some places in shot pixels, of which `step` make a working pixel."""
        sigma_px = np.array([scale.sigma_px for scale in self.maps], np.float64)[self.places.scale[which]] * step
        row, column = (at[which].astype(np.float64) for at in (self.places.row, self.places.column))
        middle = (step - 1) / 2
        return Spots(row * step + middle, column * step + middle, sigma_px)


def search_places(
    light: Light, surfaces: Surfaces, px_per_mm: float | None, pixels: NDArray[Any] | None = None, everything: bool = False
) -> Search | None:  # fmt: skip
    """The places of a shot that stand out; None where there is nothing to search.

    `px_per_mm` is the working picture's; `pixels` (h, w, 3) are the shot's own, from which small bodies are cut out; `everything`: all
    of a textured shot's thousands of places, not only the strongest.
    """
    h, w = surfaces.ground.shape
    if min(h, w) < 8 or not (surfaces.ground.any() or surfaces.produce.any()):
        return None
    residual, backgrounds = _residual(light.density, surfaces, px_per_mm)
    if not surfaces.produce.any():
        gain = weave_gain(residual.mean(axis=0), surfaces.ground)
        if gain is not None:
            take_out(residual, gain)
    largest = _LARGEST_SIGMA_PX if px_per_mm is None else max(2.0, _LARGEST_SIGMA_MM * px_per_mm)
    levels = max(1, int(np.ceil(np.log2(largest / 1.5))) + 1)
    pyramid = build_pyramid(residual, levels + 2)
    windows = windows_over(pyramid, pixels, light.step)
    colours = count_colours(light.density, ~surfaces.outside) if surfaces.produce.any() else None
    rarity = None if colours is None else rarity_map(light.density, colours)
    maps = map_scales(pyramid, surfaces, levels, rarity, _least_noise(light, surfaces, pixels), _tones(light))
    places = find_places(maps, surfaces, everything)
    below = np.zeros((len(places.row), 3), np.float32)
    on_produce = surfaces.produce[places.row, places.column]
    for kind in (False, True):
        at = on_produce == kind
        below[at] = sample_grid(backgrounds[kind], places.row[at], places.column[at], (h, w))
    return Search(
        windows, maps, places, below, glance_at(places, maps, windows, below, light.density, surfaces, px_per_mm)
    )


def _least_noise(light: Light, surfaces: Surfaces, pixels: NDArray[Any] | None) -> FloatArray | None:
    """What the camera's noise leaves of density from one working pixel to the next, (gh, gw); None where it cannot be told."""
    noise = None if pixels is None else measure_noise(pixels, surfaces.ground, light.step)
    return None if noise is None else noise.of_density(10 ** light.log_level.mean(axis=2)) / np.float32(light.step)


def _tones(light: Light) -> Tones:
    """What bodies on the ground are: darker than a panel or a white cloth, lighter than a dark tray."""
    level = float(np.median(10.0**light.log_level))
    if level < _DARK_GROUND:
        return Tones(darker=_UNEXPECTED, lighter=1.0)
    return Tones(darker=1.0, lighter=_UNEXPECTED if level < _LIGHT_GROUND else _UNLIKELY)


def find_specks(
    light: Light, surfaces: Surfaces, px_per_mm: float | None, glance: Trees, pixels: NDArray[Any] | None = None,
    everything: bool = False, looks: Looks | None = None,
) -> tuple[Speck, ...]:  # fmt: skip
    """Specks of a shot, those first that look most like insects at a glance; without a scale, bodies of 4 to 160 px.

    `everything`: look closer at whatever stands out, not only at what is likely. `looks`: the shot's pictures and the network that
    is shown them; without it numbers alone decide.
    """
    search = search_places(light, surfaces, px_per_mm, pixels, everything)
    if search is None or not len(search.places.row):
        return ()
    search, likely = glanced(search, glance, looks, light.step)
    order = np.argsort(-likely, kind="stable")
    response = np.stack([scale.signal_at(search.places.row, search.places.column) for scale in search.maps], axis=1)
    found: list[Speck] = []
    covered = Covered.nothing(surfaces, everything)
    looked = 0
    for k in order:
        if likely[k] < _LEAST_LIKELY and not everything:
            break
        at = int(search.places.finer[k])
        y, x = int(search.places.row[at]), int(search.places.column[at])
        if covered.hides(y, x, float(search.places.signal[at]), search.maps[int(search.places.scale[at])].sigma_px):
            continue
        looked += 1
        if looked > (EVERY_LOOK if everything else MOST_LOOKS):
            break
        kept = tuple(search.glances[k, -len(KEPT) :].tolist())
        speck = _look_closer(search, at, float(likely[k]), kept, surfaces, tuple(response[at].tolist()))
        if speck is not None:
            covered.cover(speck)
            found += parted(speck)
    return tuple(found)


def glanced(search: Search, glance: Trees, looks: Looks | None, step: int) -> tuple[Search, NDArray[np.float64]]:
    """The search with what the network says of the pictures of its likelier places, and the log odds (n,) of all of them."""
    likely = _log_odds(glance, search.glances)
    if looks is None:
        return search, likely
    which = np.argsort(-likely, kind="stable")[:_MOST_PATCHES]
    glances = search.glances.copy()
    glances[which, PATCH] = looks.at(search.in_shot(which, step))
    likely[which] = _log_odds(glance, glances[which])
    return replace(search, glances=glances), likely


def _log_odds(glance: Trees, glances: NDArray[np.float32]) -> NDArray[np.float64]:
    return np.round(glance.raw(glances)[:, 0], 6)


def _look_closer(
    search: Search, k: int, likely: float, glanced: tuple[float, ...], surfaces: Surfaces, response: tuple[float, ...]
) -> Speck | None:  # fmt: skip
    """What is cut out at place `k`; `glanced`: what is kept of the glance; `response`: signal to noise there in every scale."""
    y, x = int(search.places.row[k]), int(search.places.column[k])
    scale = search.maps[int(search.places.scale[k])]
    on_produce = bool(surfaces.produce[y, x])
    row, column = y >> scale.level, x >> scale.level
    direction = scale.inverse_at(row, column, on_produce) @ scale.smooth[:, row, column].astype(np.float64)
    below = (float(search.below[k, 0]), float(search.below[k, 1]), float(search.below[k, 2]))
    signal = float(search.places.signal[k])
    return cut_out(search.windows, scale, (y, x), direction, surfaces.produce, signal, likely, glanced, below, response)


def _background(density: FloatArray, mask: MaskArray, cell_px: float) -> FloatArray:
    """Median density of one surface in cells, (gh, gw, 3) float32; cells without any of it are filled from their neighbours.

    The medians are those of small means, or their own noise would drown large faint bodies.
    """
    h, w = mask.shape
    gh, gw = max(1, round(h / cell_px)), max(1, round(w / cell_px))
    if not mask.any():
        return np.zeros((gh, gw, 3), np.float32)
    n = _MEANS_A_CELL
    size = (gw * n, gh * n)
    picked = np.stack(
        [cv2.resize(plane, size, interpolation=cv2.INTER_AREA).reshape(gh * n, gw * n) for plane in density]
    )
    whole = cv2.resize(mask.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA).reshape(gh * n, gw * n) > 250
    picked[:, ~whole] = np.nan
    picked = picked.reshape(3, gh, n, gw, n).transpose(1, 3, 0, 2, 4).reshape(gh, gw, 3, n * n)
    enough = np.isfinite(picked[:, :, 0]).sum(axis=-1) >= n
    grid = np.zeros((gh, gw, 3), np.float32)
    if not enough.any():
        grid[:] = np.median(density[:, mask][:, :: max(1, int(mask.sum()) // 10_000)], axis=1)
        return grid
    grid[enough] = medians_of_known(picked[enough], axis=-1)
    return _fill(grid, enough)


def _fill(grid: FloatArray, known: MaskArray) -> FloatArray:
    """Unknown cells get the average of the known ones near by, from ever farther away; known cells are lightly smoothed."""
    weight = known.astype(np.float32)
    total, norm = np.zeros_like(grid), np.zeros_like(weight)
    for sigma, share in ((0.6, 1.0), (2.0, 1e-3), (8.0, 1e-6), (40.0, 1e-9)):
        total += share * cv2.GaussianBlur(grid * weight[..., None], (0, 0), sigma).reshape(grid.shape)
        norm += share * cv2.GaussianBlur(weight, (0, 0), sigma).reshape(weight.shape)
    return np.asarray(total / np.maximum(norm, 1e-20)[..., None], dtype=np.float32)


Backgrounds = dict[bool, FloatArray]
"""The slow density of the ground (False) and of produce (True), as coarse grids over the picture."""


def _residual(density: FloatArray, surfaces: Surfaces, px_per_mm: float | None) -> tuple[FloatArray, Backgrounds]:
    grids: Backgrounds = {}
    residual = np.zeros_like(density)
    for on_produce, mask, cell_mm, cell_px in (
        (False, surfaces.ground, _GROUND_CELL_MM, _GROUND_CELL_PX),
        (True, surfaces.produce, _PRODUCE_CELL_MM, _PRODUCE_CELL_PX),
    ):
        cell = cell_px if px_per_mm is None else max(16.0, cell_mm * px_per_mm)
        grids[on_produce] = _background(density, mask, cell)
        if mask.any():
            # One surface over all of a picture needs no choice from pixel to pixel, which is the slow part.
            _take_off(density, grids[on_produce], None if mask.all() else mask, residual)
    if surfaces.produce.any():
        reach = 4 if px_per_mm is None else max(3, round(_RIM_MM * px_per_mm))
        _explain_rim(residual, density, surfaces.produce, surfaces.outside, grids, reach)
    return residual, grids


def _take_off(density: FloatArray, grid: FloatArray, mask: MaskArray | None, residual: FloatArray) -> None:
    """Writes the density less the slow change of `grid` into `residual` where `mask` is set, a channel a thread."""

    def channel(k: int) -> None:
        slow = coarse_to_fine(grid[..., k], *density.shape[1:])
        np.subtract(density[k], slow, out=slow)
        if mask is None:
            residual[k] = slow
        else:
            copy_where(slow, mask, residual[k])

    over_channels(channel)


def _explain_rim(
    residual: FloatArray, density: FloatArray, produce: MaskArray, outside: MaskArray, grids: Backgrounds, reach: int
) -> None:
    """Along the rim of produce a pixel holds some of the piece and some of the ground: what such a mixture explains is no speck.

    The share of the piece is taken from the luminance, the colours follow from it; what is left over stays in `residual`, so
    that a body of another colour at the rim is still found.
    """
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    inside = produce.astype(np.uint8)
    band = (cv2.dilate(inside, kernel) > 0) & ~(cv2.erode(inside, kernel) > 0) & ~outside
    rows, cols = np.nonzero(band)
    if not len(rows):
        return
    own = density[:, rows, cols].T
    light = 10**-own
    bare = 10 ** -sample_grid(grids[False], rows, cols, produce.shape)
    piece = 10 ** -sample_grid(grids[True], rows, cols, produce.shape)
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)  # luminance, IEC 61966-2-1
    span = (bare - piece) @ weights
    share = np.clip(((bare - light) @ weights) / np.where(np.abs(span) < 1e-3, 1e-3, span), 0, 1)
    mixed = bare + share[:, None] * (piece - bare)
    residual[:, rows, cols] = (own + np.log10(np.maximum(mixed, 1e-5))).T
