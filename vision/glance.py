"""Places that stand out, and what a first glance at each tells, before anything is cut out or measured.

A textured shot has thousands of such places and time for a few hundred closer looks. A glance reads the scale maps at the place
alone, for all places at once: how it stands out at finer and coarser scales, in which colour, on what, and whether it is a
point or a ridge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.alike import ALIKE, differ_from_neighbours
from vision.fine import Windows
from vision.rarity import count_colours
from vision.scales import ScaleMap
from vision.types import FloatArray, Surfaces

LEAST_GROUND = 5.0
LEAST_PRODUCE = 3.6
"""Signal to noise from which a place is one. Five is the figure usually given to Rose for reliable seeing; on produce texture,
not noise, makes the list."""
_MOST_PER_SCALE = 1200
"""Places of one scale that are glanced at, strongest first: a bound on time."""
_ALL_PER_SCALE = 8000
"""The same where all that stands out is asked for."""
_NEIGHBOURS = (-4, -3, -2, -1, 1, 2, 3, 4)
"""Steps of scale that a glance compares with the place's own."""
_BEYOND_DOUBT, _STILL_PLAIN = 40.0, 0.4
"""Signal to noise from which it no longer tells a body's size: where the ground changes slowly, a wide dark body stands out most at scales
far finer than itself. From there on every scale is one to look at where no neighbour stands out two and a half times as much."""
_SAME_BODY = 1.5
"""How far from a place, in its scales, the strongest place of the same body lies at most: a body is about 2.6 wide."""
_ROUND = 2.4
"""How far out, in scales, a place is compared with what lies round it."""

GLANCES: tuple[str, ...] = (
    "signal", *(f"signal_{n:+d}" for n in _NEIGHBOURS), "red", "green", "blue", "red_green", "blue_green",
    *(f"{c}_{n:+d}" for n in (-2, 2, 4) for c in ("red_green", "blue_green", "luminance")),
    "below_red", "below_green", "below_blue", "noise", "ridge", "line", "sharpness", "scale_mm", "on_produce",
    "here_red", "here_green", "here_blue", "rarer", "rarer_-2", "rarer_+2", "rarity", "rarity_of_hue", *ALIKE,
    "round_most", "round_second", "round_middle", "round_least", "goes_on", "patch",
)  # fmt: skip


_OWN = GLANCES.index("here_red")
KEPT = GLANCES[GLANCES.index("rarer") :]
"""What a closer look keeps of the glance: how a place compares with the whole shot and with its neighbours, and its picture."""
PATCH = GLANCES.index("patch")
"""What the network says of the place's picture (net.py); NaN where it was not asked."""


@dataclass(frozen=True)
class Places:
    """Local maxima of signal over space and scale, strongest first: arrays (n,). `row`, `column` in working pixels; `finer`: the place from
    which the same body is cut out more finely, or the place itself."""

    signal: NDArray[np.float32]
    scale: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    finer: NDArray[np.int64]


def find_places(maps: list[ScaleMap], surfaces: Surfaces, everything: bool = False) -> Places:
    """Places of a shot: strongest in their 3 x 3 neighbourhood and not weaker than one scale finer or coarser, or beyond doubt.

    `everything`: far more of them; as all are looked at, a body needs no second place for its own scale to be asked about.
    """
    most_per_scale = _ALL_PER_SCALE if everything else _MOST_PER_SCALE
    found: list[tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]] = []
    for n, scale in enumerate(maps):
        signal = scale.signal
        peak = (signal >= cv2.dilate(signal, np.ones((3, 3), np.uint8))) & (signal > LEAST_PRODUCE)
        rows, columns = np.divmod(np.flatnonzero(peak), peak.shape[1])
        step = 2**scale.level
        y, x = rows * step, columns * step
        value = signal[rows, columns]
        keep = surfaces.produce[y, x] | (value > LEAST_GROUND)
        strongest = np.ones(len(value), bool)
        # A flat-topped body stands out equally at all scales up to its own, and its own is the one that sees it whole.
        # Points are held against points: not every scale is looked at along lines.
        on_line = value > scale.stands_at(y, x)
        for near, share in ((n - 1, 0.95), (n + 1, 1.0)):
            if 0 <= near < len(maps):
                other = np.where(on_line, maps[near].signal_at(y, x), maps[near].stands_at(y, x))
                strongest &= value >= share * other
                doubtless = (value > _BEYOND_DOUBT) & (not everything)
                keep &= value >= np.where(doubtless, _STILL_PLAIN, share) * other
        some = np.flatnonzero(keep)
        if len(some) > most_per_scale:
            some = some[np.sort(np.argsort(-value[some], kind="stable")[:most_per_scale])]
        found.append((value[some], np.full(len(some), n), y[some], x[some], strongest[some]))
    every: list[NDArray[Any]] = [np.concatenate([f[k] for f in found]) for k in range(5)]
    signal, scale_of, row, column, strongest = every
    order = np.lexsort((column, row, scale_of, -signal))
    signal, scale_of, row, column, strongest = (values[order] for values in every)
    sigma_px = np.array([scale.sigma_px for scale in maps])[scale_of]
    return Places(signal, scale_of, row, column, _cut_out_from(signal, sigma_px, row, column, strongest))


def _cut_out_from(
    signal: NDArray[np.float32], sigma_px: NDArray[np.float64], row: NDArray[np.int64], column: NDArray[np.int64],
    strongest: NDArray[np.bool_],
) -> NDArray[np.int64]:  # fmt: skip
    """For places, strongest first, the place each is cut out from: one that is not the strongest of its scales, from that which is."""
    out = np.arange(len(signal))
    finer = np.flatnonzero(strongest & (signal > _BEYOND_DOUBT))
    for k in np.flatnonzero(~strongest):
        near = np.hypot(row[finer] - row[k], column[finer] - column[k]) <= _SAME_BODY * sigma_px[k]
        first = np.flatnonzero(near & (sigma_px[finer] < sigma_px[k]))
        if len(first):
            out[k] = finer[first[0]]
    return out


def glance_at(
    places: Places, maps: list[ScaleMap], windows: Windows, below: FloatArray, density: FloatArray, surfaces: Surfaces,
    px_per_mm: float | None,
) -> NDArray[np.float32]:  # fmt: skip
    """What a glance tells of each place: (n, len(GLANCES)) float32.

    `below` (n, 3): density of the surface it lies on; `density` (3, h, w): that of the picture.
    """
    n = len(places.row)
    out = np.zeros((n, _OWN), np.float32)
    here = np.zeros((n, 3), np.float32)
    rarer = np.zeros((n, 3), np.float32)
    round_it = np.zeros((n, 5), np.float32)
    for k, scale in enumerate(maps):
        at = np.flatnonzero(places.scale == k)
        if len(at):
            y, x = places.row[at], places.column[at]
            out[at] = _glance(k, scale, y, x, maps, below[at], surfaces, px_per_mm)
            here[at] = below[at] + _level_at(windows.pyramid[scale.level], scale.level, y, x)
            near = [maps[j].rarer_at(y, x) if 0 <= j < len(maps) else np.zeros(len(at)) for j in (k, k - 2, k + 2)]
            rarer[at] = np.stack(near, axis=1)
            round_it[at] = _round(scale, y, x)
    rarity = np.zeros((n, 2), np.float32)
    alike = np.zeros((n, len(ALIKE)), np.float32)
    sigma = np.array([scale.sigma_px for scale in maps])[places.scale]
    on_produce = surfaces.produce[places.row, places.column]
    for kind, mask in ((False, surfaces.ground), (True, surfaces.produce)):
        at = np.flatnonzero(on_produce == kind)
        colours = count_colours(density, mask) if len(at) else None
        if colours is not None:
            rarity[at] = colours.rarity(here[at])
        alike[at] = differ_from_neighbours(places.row[at], places.column[at], sigma[at], here[at], places.signal[at])
    unseen = np.full((n, 1), np.nan, np.float32)
    return np.concatenate([out, here, rarer, rarity, alike, round_it, unseen], axis=1)


def _level_at(planes: FloatArray, level: int, y: NDArray[np.int64], x: NDArray[np.int64]) -> FloatArray:
    half, (h, w) = (1 << level) >> 1, planes.shape[1:]
    return np.asarray(planes[:, np.minimum((y + half) >> level, h - 1), np.minimum((x + half) >> level, w - 1)].T)


def _round(scale: ScaleMap, y: NDArray[np.int64], x: NDArray[np.int64]) -> NDArray[np.float32]:
    """Share of a place's own contrast that is still there in eight directions: most, second, middle and least of them, and how
    well it goes on both ways along a line. (n, 5)."""
    h, w = scale.signal.shape
    own = scale.smooth_at(y, x).astype(np.float64)
    norm = np.maximum((own * own).sum(axis=1), 1e-8)
    reach = _ROUND * scale.sigma_px
    shares = np.empty((len(y), 8))
    for k in range(8):
        i = np.clip(np.rint((y + reach * np.sin(np.pi * k / 4)) / 2**scale.level).astype(np.intp), 0, h - 1)
        j = np.clip(np.rint((x + reach * np.cos(np.pi * k / 4)) / 2**scale.level).astype(np.intp), 0, w - 1)
        shares[:, k] = (scale.smooth[:, i, j].T * own).sum(axis=1) / norm
    shares = np.clip(shares, -2, 2)
    line = np.minimum(shares[:, :4], shares[:, 4:]).max(axis=1)
    ordered = np.sort(shares, axis=1)
    middle = (ordered[:, 3] + ordered[:, 4]) / 2
    return np.stack([ordered[:, 7], ordered[:, 6], middle, ordered[:, 0], line], axis=1).astype(np.float32)


def _glance(
    n: int, scale: ScaleMap, y: NDArray[np.int64], x: NDArray[np.int64], maps: list[ScaleMap], below: FloatArray,
    surfaces: Surfaces, px_per_mm: float | None,
) -> NDArray[np.float32]:  # fmt: skip
    on_produce = surfaces.produce[y, x]
    signal = np.maximum(scale.signal_at(y, x), 1e-3)
    others = [_signal(maps, n + k, y, x) / signal for k in _NEIGHBOURS]
    own = scale.smooth_at(y, x)
    contrast = np.maximum(np.abs(own).max(axis=1), 1e-4)
    beside = []
    for k in (-2, 2, 4):
        c = maps[n + k].smooth_at(y, x) if 0 <= n + k < len(maps) else np.zeros_like(own)
        beside += [(c[:, 0] - c[:, 1]) / contrast, (c[:, 2] - c[:, 1]) / contrast, c.mean(axis=1) / contrast]
    ridge, sharp = _curvature(scale, y, x)
    line = np.minimum(scale.line_at(y, x) / np.maximum(scale.stands_at(y, x), 0.1), 3)
    mm = np.full(len(y), np.nan if px_per_mm is None else scale.sigma_px / px_per_mm)
    return np.stack(
        [
            np.log10(signal), *others, own[:, 0], own[:, 1], own[:, 2], (own[:, 0] - own[:, 1]) / contrast,
            (own[:, 2] - own[:, 1]) / contrast, *beside, below[:, 0], below[:, 1], below[:, 2],
            np.log10(contrast / signal), ridge, line, sharp, mm, on_produce.astype(float),
        ], axis=1,
    ).astype(np.float32)  # fmt: skip


def _signal(maps: list[ScaleMap], n: int, y: NDArray[np.int64], x: NDArray[np.int64]) -> NDArray[np.float32]:
    return maps[n].signal_at(y, x) if 0 <= n < len(maps) else np.zeros(len(y), np.float32)


def _curvature(
    scale: ScaleMap, y: NDArray[np.int64], x: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Smaller over larger curvature of the signal at its peak (0 for a ridge, 1 for a point), and how sharp the peak is."""
    s = scale.signal
    h, w = s.shape
    i = np.clip(y >> scale.level, 1, h - 2)
    j = np.clip(x >> scale.level, 1, w - 2)
    yy = s[i - 1, j] - 2 * s[i, j] + s[i + 1, j]
    xx = s[i, j - 1] - 2 * s[i, j] + s[i, j + 1]
    xy = (s[i + 1, j + 1] - s[i + 1, j - 1] - s[i - 1, j + 1] + s[i - 1, j - 1]) / 4
    middle, half = (yy + xx) / 2, np.hypot((yy - xx) / 2, xy)
    steep, shallow = middle - half, middle + half
    ridge = shallow / np.where(np.abs(steep) < 1e-6, -1e-6, steep)
    return np.clip(ridge, -1, 1), -steep / np.maximum(s[i, j], 1e-3)
