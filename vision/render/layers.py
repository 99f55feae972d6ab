"""Thin plant tissue lying on the light panel, lit from below: what passes of the light, and the miners' trails in it.

Deterministic for one state of the random generator; everything is drawn in millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.layers_bits import draw_crumb, draw_gills, draw_scale
from vision.render.layers_leaf import LeafLook, draw_leaf, draw_leaf_look, green_share
from vision.render.layers_pile import Pile, Place, Stamp, stamped, streaks
from vision.render.layers_skin import SkinLook, draw_skin, draw_skin_look
from vision.render.layers_trails import LENGTH_MM, Path, Points, dug, walk
from vision.render.truth import moments
from vision.types import FloatArray

KINDS = ("scallion", "layers", "asparagus", "gills")
_BARE_OF_SHEETS, _BARE_OF_BITS = (0.09, 0.34), (0.16, 0.42)
"""Share of the panel at which no more is laid; never less than 5 or 10 % stays bare, never more than 40 or 50 %."""
_LEAST_BARE = 0.055
_PLAN_PX_PER_MM = 4.0


Look = LeafLook | SkinLook


@dataclass(frozen=True)
class Trail:
    """A miner's trail as it lies in the picture. (0, 0) is the centre of the top left pixel."""

    x_px: float
    y_px: float
    """Centre of its area."""
    length_mm: float
    """Along the path."""
    width_mm: float
    """Mean."""
    angle_deg: float
    """Long axis, 0 along x, clockwise as seen, 0..180."""
    curved: bool
    left_px: int
    top_px: int
    body: FloatArray
    """(h, w) float32: coverage in its window."""


@dataclass(frozen=True)
class Layers:
    """Tissue over the panel's light: light from below times 1 - alpha + alpha * transmission."""

    transmission: FloatArray
    """(h, w, 3) float32: linear share of the light that passes where it is covered; 1 where nothing lies."""
    alpha: FloatArray
    """(h, w) float32: coverage 0..1."""
    trails: tuple[Trail, ...]
    """What they do to the light is in `transmission`."""


def draw_layers(
    rng: np.random.Generator,
    height_px: int,
    width_px: int,
    px_per_mm: float,
    kind: str,
    *,
    heated: bool,
    wild: bool,
    trails: int | None = None,
) -> Layers:
    """Draw tissue of a `kind`: "scallion", "layers" (onion and leek), "asparagus" (scale leaves) or "gills" (mushroom).

    `wild`: far wider variation of colours, pitches and thickness. `trails`: how many miners' trails, None for as many as come
    (none or one in scallion, none elsewhere); only leaves and layers hold any, and where there is no room fewer are drawn.
    Raises ValueError for another kind.
    """
    if kind not in KINDS:
        raise ValueError(f"kind must be one of {KINDS}, not {kind!r}")
    pile = Pile.empty(height_px, width_px, px_per_mm)
    found: list[Trail] = []
    if kind == "scallion":
        wanted = int(rng.random() < 0.4) if trails is None else trails
        found = _lay_sheets(rng, pile, partial(draw_leaf_look, rng, heated=heated, wild=wild), wanted)
    elif kind == "layers":
        found = _lay_sheets(rng, pile, partial(draw_skin_look, rng, heated=heated, wild=wild), trails or 0)
    elif kind == "asparagus":
        _strew_scales(rng, pile, heated, wild)
    else:
        _strew_gills(rng, pile, heated, wild)
    alpha = 1.0 - pile.bare
    passing = (pile.light - pile.bare[..., None]) / np.maximum(alpha, 1e-3)[..., None]
    transmission = np.where(alpha[..., None] > 1e-3, np.clip(passing, 0.0, 1.0), 1.0)
    return Layers(transmission.astype(np.float32), alpha.astype(np.float32), tuple(found))


@dataclass(frozen=True)
class _Laid:
    look: Look
    place: Place


def _laid_out(
    rng: np.random.Generator, pile: Pile, draw_look: Callable[[float], Look], lie: float, target: float
) -> list[_Laid]:
    """Sheets and their places, chosen on a coarse plan: as many as leave about the share `target` of the panel bare."""
    scale = min(_PLAN_PX_PER_MM, pile.px_per_mm)
    width_mm, height_mm = pile.size_mm
    size = max(2, round(width_mm * scale)), max(2, round(height_mm * scale))
    taken = (cv2.resize(pile.bare, size, interpolation=cv2.INTER_AREA) < 0.5).astype(np.uint8)
    bare = 1.0 - float(taken.mean())
    least = max(0.065, target - 0.08)
    laid: list[_Laid] = []
    for _ in range(250):
        if bare <= target:
            break
        look = draw_look(1.6 * float(np.hypot(width_mm, height_mm)))
        angle = lie + rng.normal(0.0, 0.25) if rng.random() < 0.75 else rng.uniform(0, np.pi)
        angle += np.pi * int(rng.integers(0, 2))
        x, y = (float(rng.uniform(-0.1, 1.1) * side) for side in (width_mm, height_mm))
        bend = float(rng.normal(0.0, 8e-4))
        place = Place(x, y, float(angle), bend, bool(rng.random() < 0.5))
        with_it = taken.copy()
        outline = place.outline_px(*look.covers_mm, scale)
        cv2.fillPoly(with_it, [outline], 1)
        left = 1.0 - float(with_it.mean())
        # A new sheet mostly lies where the panel is bare, so that seldom more than three lie on each other.
        gain = (bare - left) / max(_inside_share(outline, taken.shape), 1e-6)
        if left < least or left > bare - 0.015 or gain < rng.uniform(0.2, 0.75):
            continue
        taken, bare = with_it, left
        laid.append(_Laid(look, place))
    return laid


def _inside_share(outline: NDArray[np.int32], shape: tuple[int, ...]) -> float:
    """Share of the plan that the outline fills."""
    alone = np.zeros(shape, np.uint8)
    cv2.fillPoly(alone, [outline], 1)
    return float(alone.mean())


def _lay_sheets(rng: np.random.Generator, pile: Pile, draw_look: Callable[[float], Look], wanted: int) -> list[Trail]:
    """Leaves or layers with the miners' trails in them. Their ragged outlines cover less or more than planned, so that a
    second round may be needed, or a sheet be left away."""
    target, lie = float(rng.uniform(*_BARE_OF_SHEETS)), float(rng.uniform(0, np.pi))
    trails: list[Trail] = []
    for _ in range(5):
        laid = _laid_out(rng, pile, draw_look, lie, target)
        mined = _mined(rng, pile, laid, wanted - len(trails))
        for k, one in enumerate(laid):
            trails += _lay_sheet(rng, pile, one, [path for owner, path in mined if owner == k])
        if float(pile.bare.mean()) <= target + 0.04:
            break
    return trails


def _lay_sheet(rng: np.random.Generator, pile: Pile, one: _Laid, paths: list[Path]) -> list[Trail]:
    look, place = one.look, one.place
    grid = place.grid(look.length_mm, look.width_mm, pile.size_mm, pile.px_per_mm)
    if grid is None:
        return []
    tunnels = [dug(rng, path, grid) for path in paths]
    drawn = draw_leaf(rng, look, grid, tunnels) if isinstance(look, LeafLook) else draw_skin(rng, look, grid, tunnels)
    if not paths and float((pile.bare * (1.0 - pile.shown(drawn.cover, grid, place))).mean()) < _LEAST_BARE:
        return []
    pile.lay(drawn, place)
    return [_seen(pile.shown(t.body, grid, place), path) for t, path in zip(tunnels, paths, strict=True)]


def _mined(rng: np.random.Generator, pile: Pile, laid: list[_Laid], wanted: int) -> list[tuple[int, Path]]:
    """Paths of miners, each with the number of its leaf: in the green, inside the leaf and the picture, apart from each other."""
    found: list[tuple[int, Path]] = []
    for _ in range(200 * wanted if laid else 0):
        if len(found) == wanted:
            break
        k = int(rng.integers(len(laid)))
        look, place = laid[k].look, laid[k].place
        half = np.array(look.whole_mm) / 2
        others = [path.points for owner, path in found if owner == k]

        def allowed(
            points: Points, half: NDArray[np.float64] = half, place: Place = place, others: list[Points] = others
        ) -> NDArray[np.bool_]:
            inside = (np.abs(points) < half).all(axis=1)
            x, y = place.in_picture(points[:, 0], points[:, 1])
            inside &= (np.minimum(x, y) > 0.5) & (x < pile.size_mm[0] - 0.5) & (y < pile.size_mm[1] - 0.5)
            for other in others:
                inside &= np.hypot(*(points[:, None] - other).transpose(2, 0, 1)).min(axis=1) > 2.0
            return np.asarray(inside)

        start = rng.uniform(-1.0, 1.0, 2) * half
        if not allowed(start[None])[0] or rng.random() > 0.1 + _wanted_by_miners(look, float(start[0])):
            continue
        path = walk(rng, start, allowed, float(np.exp(rng.uniform(*np.log(LENGTH_MM)))) + 0.5)
        if path is not None:
            found.append((k, path))
    return found


def _wanted_by_miners(look: Look, along_mm: float) -> float:
    """0..1: green leaf, and layers that are thick enough to hold a larva."""
    if isinstance(look, LeafLook):
        return float(green_share(look, np.array(along_mm / look.length_mm + 0.5, np.float32)))
    return float(look.hue.mean() > 0.2)


def _seen(body: FloatArray, path: Path) -> Trail:
    rows, columns = np.flatnonzero(body.any(axis=1)), np.flatnonzero(body.any(axis=0))
    top, left = int(rows[0]), int(columns[0])
    window = np.ascontiguousarray(body[top : rows[-1] + 1, left : columns[-1] + 1])
    x, y, angle = moments(window)
    return Trail(x + left, y + top, path.length_mm, path.width_mm, angle, path.curved, left, top, window)


def _strew_scales(rng: np.random.Generator, pile: Pile, heated: bool, wild: bool) -> None:
    """Scale leaves from a stock, each turned its own way."""
    usual = pile.size_mm[0] * pile.size_mm[1] / 35.0
    stock = [draw_scale(rng, pile.px_per_mm, heated=heated, wild=wild) for _ in range(min(90, int(usual) + 8))]
    for x_mm, y_mm in _strewn(rng, pile, usual):
        place = Place(x_mm, y_mm, float(rng.uniform(0, 2 * np.pi)), 0.0, bool(rng.random() < 0.5))
        pile.lay(stock[int(rng.integers(len(stock)))], place)


def _strew_gills(rng: np.random.Generator, pile: Pile, heated: bool, wild: bool) -> None:
    """Gill fragments and crumbs from a stock that is turned beforehand, because there are thousands; then spores."""
    scale = pile.px_per_mm
    usual = pile.size_mm[0] * pile.size_mm[1] / 4.0
    lie = float(rng.uniform(0, np.pi))
    stock = []
    for _ in range(min(260, int(0.5 * usual) + 8)):
        crumb = rng.random() < 0.3
        bit = draw_crumb(rng, scale, wild=wild) if crumb else draw_gills(rng, scale, heated=heated, wild=wild)
        # Half of them lie the way they were scraped.
        stock.append(
            stamped(bit, float(lie + rng.normal(0.0, 0.7) if rng.random() < 0.5 else rng.uniform(0, 2 * np.pi)))
        )
    for x_mm, y_mm in _strewn(rng, pile, usual):
        one = stock[int(rng.integers(len(stock)))]
        if rng.random() < 0.5:
            one = Stamp(one.light[::-1, ::-1], one.bare[::-1, ::-1])
        if rng.random() < 0.25:
            one = Stamp(one.light[::-1], one.bare[::-1])
        high, wide = one.bare.shape
        pile.press(one, round(x_mm * scale - wide / 2), round(y_mm * scale - high / 2))
    _dust(rng, pile, wild)


def _strewn(rng: np.random.Generator, pile: Pile, usual: float) -> Iterator[tuple[float, float]]:
    """Places in mm, closer in some parts than in others, until little enough is bare; `usual`: about how many that takes."""
    target = float(rng.uniform(*_BARE_OF_BITS))
    heap = streaks(rng, (32, 32), 9.0, 9.0)
    check = max(1, int(usual / 60))
    for count in range(int(40 * usual) + 40):
        if count % check == 0 and float(pile.bare[::3, ::3].mean()) <= target:
            return
        u, v = rng.random(2)
        if rng.random() < 0.6 + 0.22 * heap[int(v * 32), int(u * 32)]:
            yield float(u * pile.size_mm[0]), float(v * pile.size_mm[1])


def _dust(rng: np.random.Generator, pile: Pile, wild: bool) -> None:
    """Spores: a brown veil in drifts, grainy because they lie in groups."""
    shape = pile.bare.shape
    scale = pile.px_per_mm
    drift = np.clip(0.5 + 0.6 * streaks(rng, shape, 12.0 * scale, 12.0 * scale), 0.0, 2.0)
    grains = np.clip(streaks(rng, shape, 0.09 * scale, 0.09 * scale) - 1.1, 0.0, 2.0)
    amount = np.float32(rng.uniform(0.01, 0.08) * (2.5 if wild else 1.0)) * drift * (0.4 + 2.2 * grains)
    pile.light *= np.exp(-amount[..., None] * np.array([0.8, 1.0, 1.25], np.float32))
    # Dust covers nothing wholly: its light is kept where pieces lie and thinned where the panel is bare.
    pile.bare *= np.exp(-0.05 * amount)
