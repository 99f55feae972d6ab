"""Heads of broccoli and cauliflower grown into a relief: stalks that fan out into clusters, and crowns of buds or curd on them.

Sizes and colours: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.relief import BUD, CURD, FLESH, Relief, element

_GOLDEN_RAD = 2.39996
"""Between one bud and the next, as seeds stand in a sunflower."""
_MOST_ELEMENTS, _ENOUGH_ELEMENTS, _ENOUGH_COVERED = 11000, 8000, 0.41


@dataclass(frozen=True)
class _Cluster:
    """A cluster's middle (2,), its radius, and how high it begins; all in pixels."""

    middle: NDArray[Any]
    radius_px: float
    base_px: float


@dataclass(frozen=True)
class _Crop:
    """What all heads of a shot share: how blue their bloom is, and how browned they are, round which place (2,)."""

    blue: float
    browned: float
    brown_at: NDArray[Any]
    flesh: tuple[float, float, float]
    crown: Callable[[Relief, Rng, _Cluster, _Crop], None]


def grow(relief: Relief, rng: Rng, cauliflower: bool) -> None:
    """Lays heads into the relief until about half to three quarters of it is covered."""
    height_px, width_px = relief.height_px.shape
    target, blue = rng.uniform(0.45, 0.78), rng.uniform(0, 0.7)
    brown_at = rng.uniform([0, 0], [width_px, height_px])
    browned = rng.uniform(0, 1) ** 2
    if cauliflower:
        crop = _Crop(blue, browned * 0.6, brown_at, (0.66, 0.70, 0.44), _curds)
    else:
        crop = _Crop(blue, browned, brown_at, (0.30, 0.39, 0.145), _buds)
    for number in range(20):
        covered, elements = relief.covered(), len(relief.elements)
        crowded = elements > _MOST_ELEMENTS or (elements > _ENOUGH_ELEMENTS and covered > _ENOUGH_COVERED)
        if number and (covered > target or crowded):
            break
        _head(relief, rng, _free_place(relief, rng), crop)


def _free_place(relief: Relief, rng: Rng) -> NDArray[Any]:
    height_px, width_px = relief.height_px.shape
    for _ in range(10):
        place = rng.uniform([100, 100], [width_px - 100, height_px - 100])
        if relief.top[int(place[1]), int(place[0])] < 0:
            break
    return place


def _head(relief: Relief, rng: Rng, middle: NDArray[Any], crop: _Crop) -> None:
    """One floret: cut stalk, branches, clusters; about one in three is seen from above and shows no stalk."""
    size, heading, from_top = rng.uniform(230, 440), rng.uniform(0, 6.28), rng.random() < 0.35
    colour = np.array(crop.flesh) * rng.uniform(0.8, 1.1)
    low = rng.uniform(0, 12)
    root = middle - unit(heading) * size * 0.3
    if not from_top:
        base = middle - unit(heading) * size * rng.uniform(0.6, 0.95)
        radii = (size * rng.uniform(0.11, 0.19), size * rng.uniform(0.15, 0.2))
        relief.stalk(base, root, radii, (low, low + 10), colour, 0.55)
        cut = colour * np.array([1.25, 1.12, 1.35])
        end = element(base, heading, size * 0.05, size * 0.13, FLESH, cut)
        relief.dome(end, low + size * 0.03, size * 0.05)
    count = int(rng.integers(7, 13))
    clusters = []
    for k in range(count):
        if from_top:
            out = size * 0.75 * np.sqrt((k + 0.3) / count)
            place = middle + out * unit(k * 2.4 + rng.normal(0, 0.2))
            height = low + 60 * (1 - (out / size) ** 2)
        else:
            place = root + size * rng.uniform(0.45, 1.0) * unit(
                heading + np.linspace(-1.15, 1.15, count)[k] + rng.normal(0, 0.1)
            )
            height = low + rng.uniform(5, 45)
            _branch(relief, rng, root, place, size, (low, height), colour)
        clusters.append(_Cluster(place, size * rng.uniform(0.19, 0.32), height))
    for cluster in clusters:
        crop.crown(relief, rng, cluster, crop)


def _branch(
    relief: Relief,
    rng: Rng,
    root: NDArray[Any],
    end: NDArray[Any],
    size: float,
    heights: tuple[float, float],
    colour: NDArray[Any],
) -> None:
    """A branch to a cluster, which fans out into smaller ones."""
    low, high = heights
    start = root + rng.normal(0, size * 0.05, 2)
    radii = (size * rng.uniform(0.06, 0.1), size * rng.uniform(0.04, 0.07))
    relief.stalk(start, end, radii, (low + 8, high), colour * rng.uniform(0.85, 1.1))
    for _ in range(4):
        tip = end + rng.normal(0, size * 0.12, 2)
        fork = root + (end - root) * rng.uniform(0.4, 0.7)
        thin = (size * 0.03, size * 0.018)
        relief.stalk(fork, tip, thin, (low + 10, high + 4), colour * np.array([0.85, 0.98, 0.8]))


def _buds(relief: Relief, rng: Rng, cluster: _Cluster, crop: _Crop) -> None:
    """Broccoli's crown: buds of 0.8 to 1.35 mm in a spiral over a dome, some yellow, some brown."""
    radius, turn, bud = cluster.radius_px, rng.uniform(0, 6.28), rng.uniform(8.0, 13.5)
    bloom = crop.blue * rng.uniform(0, 1)
    base = np.array([0.105, 0.165, 0.048]) * rng.uniform(0.75, 1.4) * (1 - bloom)
    base = base + np.array([0.094, 0.154, 0.116]) * bloom
    flesh = base * np.array([0.8, 0.9, 0.7])
    under = element(cluster.middle, turn, radius * 0.85, radius * 0.8, FLESH, flesh)
    relief.dome(under, cluster.base_px * 0.8, radius * 0.5)
    count = int(1.75 * (radius / bud) ** 2)
    out = np.sqrt((np.arange(count) + 0.5) / max(count, 1))
    angle = np.arange(count) * _GOLDEN_RAD + rng.normal(0, 0.16, count)
    own = np.stack([np.cos(angle), np.sin(angle) * rng.uniform(0.75, 1)], 1) * (radius * out)[:, None]
    own = own + rng.normal(0, bud * 0.17, (count, 2))
    cos, sin = unit(turn)
    places = cluster.middle + own @ np.array([[cos, sin], [-sin, cos]])
    facing = np.arctan2(own[:, 1], own[:, 0]) + turn
    radii = bud * rng.uniform(0.72, 1.12, count)
    heights = cluster.base_px + radius * 0.55 * np.sqrt(1 - out * out * 0.9) + rng.normal(0, bud * 0.25, count)
    colours = _bud_colours(rng, places, base, crop)
    rows, columns = relief.height_px.shape
    inside = (places > -20).all(axis=1) & (places < [columns + 20, rows + 20]).all(axis=1)
    for i in np.nonzero((rng.random(count) > 0.03) & inside)[0]:
        along = radii[i] * (1 + 0.2 * out[i] ** 2) * 0.95
        it = element(places[i], facing[i], along, radii[i] * 0.88, BUD, colours[i])
        relief.dome(it, heights[i], radii[i] * 0.85)


def _bud_colours(rng: Rng, places: NDArray[Any], base: NDArray[Any], crop: _Crop) -> NDArray[Any]:
    """(n, 3) linear light."""
    count = len(places)
    colours = base * rng.uniform(0.78, 1.3, (count, 1)) * (1 + rng.normal(0, 0.06, (count, 3)))
    yellow = rng.random(count) < (0.5 if rng.random() < 0.14 else 0.008)
    colours[yellow] = np.array([0.33, 0.29, 0.05]) * rng.uniform(0.5, 1.1, (int(yellow.sum()), 1))
    heat = crop.browned * np.exp(-((places - crop.brown_at) ** 2).sum(axis=1) / 500**2)
    brown = rng.random(count) < 0.01 + 0.5 * heat
    colours[brown] = np.array([0.15, 0.095, 0.04]) * rng.uniform(0.5, 1.5, (int(brown.sum()), 1))
    return colours


def _curds(relief: Relief, rng: Rng, cluster: _Cluster, crop: _Crop) -> None:
    """Cauliflower's crown: knobs in a spiral over a dome, each of grains."""
    radius, turn = cluster.radius_px, rng.uniform(0, 6.28)
    base = np.array([0.80, 0.74, 0.56]) * rng.uniform(0.88, 1.12) * (1 + rng.normal(0, 0.02, 3))
    under = element(cluster.middle, turn, radius * 0.82, radius * 0.78, FLESH, base * 0.8)
    relief.dome(under, cluster.base_px * 0.5, radius * 0.4)
    knob = radius * rng.uniform(0.24, 0.36)
    count = int(1.45 * (radius / knob) ** 2)
    rows, columns = relief.height_px.shape
    for i in range(count):
        out = np.sqrt((i + 0.4) / count)
        angle = i * _GOLDEN_RAD + rng.normal(0, 0.25) + turn
        place = cluster.middle + unit(angle) * radius * out + rng.normal(0, knob * 0.15, 2)
        if not (-60 < place[0] < columns + 60 and -60 < place[1] < rows + 60):
            continue
        height = cluster.base_px + radius * 0.5 * np.sqrt(1 - out * out * 0.9) + rng.normal(0, knob * 0.15)
        own = _Cluster(place, knob * rng.uniform(0.75, 1.15), height)
        _grains(relief, rng, own, angle, base * rng.uniform(0.94, 1.05), crop.browned)


def _grains(relief: Relief, rng: Rng, knob: _Cluster, turn: float, colour: NDArray[Any], browned: float) -> None:
    """One knob of curd with its grains of 0.7 to 1 mm; a few knobs are browned."""
    radius, grain = knob.radius_px, rng.uniform(7, 10.5)
    body = element(knob.middle, turn, radius, radius * 0.95, FLESH, colour * 0.93)
    relief.dome(body, knob.base_px, radius * 0.75)
    count = int(min(34, (radius / grain) ** 2))
    out = np.sqrt((np.arange(count) + 0.4) / max(count, 1))
    angles = np.arange(count) * _GOLDEN_RAD + turn
    places = knob.middle + np.stack([np.cos(angles), np.sin(angles)], 1) * (radius * out * 0.95)[:, None]
    places = places + rng.normal(0, grain * 0.25, (count, 2))
    heights = knob.base_px + radius * 0.75 * np.sqrt(1 - out * out * 0.92) - grain * 0.2
    heights = heights + rng.normal(0, grain * 0.12, count)
    colours = colour * rng.uniform(0.95, 1.05, (count, 1))
    if rng.random() < 0.05 + 0.2 * browned:
        brown = rng.random(count) < 0.6
        colours[brown] *= np.array([0.62, 0.46, 0.32]) * rng.uniform(0.7, 1.2, (int(brown.sum()), 1))
    along = grain * rng.uniform(0.85, 1.3, count)
    for i in range(count):
        it = element(places[i], angles[i], along[i], grain, CURD, colours[i])
        relief.dome(it, heights[i], grain * 0.8)
