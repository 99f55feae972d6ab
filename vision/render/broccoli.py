"""Cut broccoli florets on a white ground, seen from above: reflectance, coverage, shadow, and where the buds are.

Florets are grown in millimetres (florets_tree), seen as a height field (florets_raster), coloured (florets_colour) and lit
(florets_light). Deterministic for one state of the random generator.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render import florets_colour as colour
from vision.render.florets_colour import BudTable, Grain, Palette, Part
from vision.render.florets_laying import lay_out
from vision.render.florets_light import Lighting, light_up, rounded_joints
from vision.render.florets_raster import IntArray, Relief, draw_balls, draw_discs, draw_domes, draw_tubes, draw_twigs
from vision.render.florets_solids import Floret, merged
from vision.types import FloatArray, MaskArray

VIEWS = ("underside", "opened")
_PARTS = (Part.STEM, Part.DOME, Part.CUT, Part.BUD)
_DOME_FLOOR = 0.3


@dataclass(frozen=True)
class ProduceLayer:
    """Produce ready to be laid over a ground. Arrays (h, w) or (h, w, 3) float32.

    `reflectance`: linear, with its own shading, shadow and glints; `alpha`: coverage 0..1; `ground_shadow`: factor on the
    ground's light beside and below the pieces; `depth_mm`: height of the surface above the ground; `shade`: illumination
    0..1.2 that is already in `reflectance`; `bud_places` (n, 3): x_px, y_px, diameter_mm of the buds that can be seen.
    """

    reflectance: FloatArray
    alpha: FloatArray
    ground_shadow: FloatArray
    depth_mm: FloatArray
    shade: FloatArray
    bud_places: FloatArray


@dataclass(frozen=True)
class _Piece:
    floret: Floret
    palette: Palette
    buds: BudTable
    first: dict[Part, int]
    last: int


@dataclass(frozen=True)
class _Paint:
    """What the light falls on, float32: `albedo` (3, h, w) linear; `bump_mm`, `gloss`, `joined` (h, w)."""

    albedo: FloatArray
    bump_mm: FloatArray
    gloss: FloatArray
    joined: FloatArray
    """1 on the stalk and branches, whose joints grow together; twigs and buds keep their outlines."""


def draw_florets(
    rng: np.random.Generator,
    height_px: int,
    width_px: int,
    px_per_mm: float,
    *,
    view: str,
    heated: bool,
    pieces: int | None = None,
    apart_mm: float | None = None,
    touching: int = 0,
    light_direction: tuple[float, float] = (-0.5, -0.7),
    specular: float = 0.05,
) -> ProduceLayer:
    """Draw cut broccoli florets, each at most about 76 by 38 mm (common practice, no source).

    `view` is "underside" (stalks and branches, buds round the rim) or "opened" (bud clusters fanned out); `heated` makes them
    olive, wet and partly browned. `pieces`: how many, None for as many as suit the picture; `apart_mm`, `touching`: how far apart
    they lie and how many of them are pushed against another (lay_out). `light_direction`: x and y of the
    way towards the lamp for a rise of 1. `specular`: strength of the glints in reflectance. Raises ValueError for another view.
    """
    if view not in VIEWS:
        raise ValueError(f"view must be one of {VIEWS}, not {view!r}")
    relief = Relief.empty(height_px, width_px, px_per_mm)
    grain = Grain(rng)
    drawn: list[_Piece] = []
    number = 1
    size_mm = width_px / px_per_mm, height_px / px_per_mm
    for floret in lay_out(rng, *size_mm, pieces, view, heated, apart_mm, touching):
        drawn.append(_dressed(rng, floret, number, heated))
        number = drawn[-1].last
    if drawn:
        _raise(relief, drawn, loose=heated and view == "opened")
    return _developed(relief, drawn, grain, light_direction, specular)


def _dressed(rng: np.random.Generator, floret: Floret, first: int, heated: bool) -> _Piece:
    """A piece with its colours, its solids numbered from `first` on."""
    palette = colour.draw_palette(rng, heated=heated)
    table = colour.bud_table(rng, floret.buds, palette)
    starts, last = {}, first
    counts = (len(floret.tubes), len(floret.clusters), len(floret.discs), len(floret.buds))
    for part, count in zip(_PARTS, counts, strict=True):
        starts[part] = last
        last += count
    return _Piece(floret, palette, table, starts, last)


def _raise(relief: Relief, drawn: list[_Piece], *, loose: bool) -> None:
    """Put all pieces' solids into the relief, the large ones first, so that what they hide is left out."""

    def numbers(part: Part, sizes: list[int]) -> IntArray:
        runs = [np.arange(size) + piece.first[part] for piece, size in zip(drawn, sizes, strict=True)]
        return np.concatenate(runs).astype(np.int32)

    discs = merged([p.floret.discs for p in drawn])
    draw_discs(
        relief,
        discs.centre,
        discs.normal,
        discs.stem,
        discs.radius,
        numbers(Part.CUT, [len(p.floret.discs) for p in drawn]),
    )
    tubes = merged([p.floret.tubes for p in drawn])
    number = numbers(Part.STEM, [len(p.floret.tubes) for p in drawn])
    knife = np.concatenate([_knife(p.floret) for p in drawn])
    thick, thin = tubes.order < 3, tubes.order >= 3
    draw_tubes(
        relief,
        tubes.start[thick],
        tubes.end[thick],
        tubes.radius[thick],
        tubes.along[thick],
        knife[thick],
        number[thick],
    )
    domes = merged([p.floret.clusters for p in drawn])
    core = domes.radius * np.float32(0.76 if loose else 0.88)
    draw_domes(
        relief, domes.centre, core, domes.axis, _DOME_FLOOR, numbers(Part.DOME, [len(p.floret.clusters) for p in drawn])
    )
    buds = merged([p.floret.buds for p in drawn])
    # A bud seen from the side is longer than wide: its long diameter is the one that is reported.
    stretch = np.float32(0.3) * buds.axis[:, :2]
    radius = 0.5 * buds.diameter / (1.0 + np.linalg.norm(stretch, axis=1))
    draw_balls(relief, buds.centre, radius, stretch, numbers(Part.BUD, [len(p.floret.buds) for p in drawn]))
    draw_twigs(relief, tubes.start[thin], tubes.end[thin], tubes.radius[thin], number[thin])


def _knife(floret: Floret) -> FloatArray:
    """(n, 4) the plane each stem is cut off at: normal and offset in mm for the stalk, zeros for the others."""
    knife = np.zeros((len(floret.tubes), 4), dtype=np.float32)
    normal, centre = floret.discs.normal[0], floret.discs.centre[0]
    knife[floret.tubes.order == 0] = [*normal, float(normal @ centre)]
    return knife


def _developed(
    relief: Relief, drawn: list[_Piece], grain: Grain, light_direction: tuple[float, float], specular: float
) -> ProduceLayer:
    """Colour, light and soften the edges of what the relief holds."""
    paint = _paint(relief, drawn, grain)
    height = rounded_joints(relief.height_mm, paint.joined, relief.px_per_mm)
    light = light_up(height, paint.bump_mm, relief.px_per_mm, light_direction)
    covered = relief.owner > 0
    alpha = _softened(covered.astype(np.float32))
    per_cover = 1.0 / np.maximum(alpha, 1e-3)
    planes = [_softened(plane) * per_cover for plane in _reflected(paint, light, specular)]
    reflectance = np.asarray(cv2.merge(planes), dtype=np.float32)
    ground = np.where(covered, 0.0, light.shade)
    weight = cv2.GaussianBlur(1.0 - covered.astype(np.float32), (0, 0), 2.0)
    below = cv2.GaussianBlur(ground, (0, 0), 2.0) / np.maximum(weight, 1e-3)
    ground_shadow = np.where(covered, np.where(weight > 1e-3, below, 0.3), light.shade)
    return ProduceLayer(
        reflectance=reflectance,
        alpha=np.clip(alpha, 0.0, 1.0),
        ground_shadow=np.clip(ground_shadow, 0.0, 1.0).astype(np.float32),
        depth_mm=height,
        shade=light.shade.astype(np.float32),
        bud_places=_bud_places(relief, drawn),
    )


def _softened(picture: FloatArray) -> FloatArray:
    """Edges of about one pixel, as a sensor that gathers light over its pixel would give."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.55), dtype=np.float32)


def _grouped(relief: Relief, drawn: list[_Piece]) -> Iterator[tuple[_Piece, Part, NDArray[np.intp]]]:
    """For each piece and part, the places (flat index) where it is the highest; the picture is gone through only once."""
    covered = np.flatnonzero(relief.owner)
    starts = [piece.first[part] for piece in drawn for part in _PARTS]
    group = np.zeros(drawn[-1].last if drawn else 1, dtype=np.uint16)
    group[starts] = 1
    # Part after part of piece after piece is numbered in a row, so a running count names the group (from 1 on).
    group = np.cumsum(group, dtype=np.uint16)
    of_place = group[relief.owner.reshape(-1)[covered]]
    sorted_places = covered[np.argsort(of_place, kind="stable")]
    ends = np.cumsum(np.bincount(of_place, minlength=len(starts) + 1))
    for number, (low, high) in enumerate(pairwise(ends)):
        if high > low:
            yield drawn[number // len(_PARTS)], _PARTS[number % len(_PARTS)], sorted_places[low:high]


def _paint(relief: Relief, drawn: list[_Piece], grain: Grain) -> _Paint:
    """Colour, fine relief, gloss and grown-together stems of every pixel that a piece covers."""
    shape = relief.owner.shape
    paint = _Paint(np.zeros((3, *shape), dtype=np.float32), *(np.zeros(shape, dtype=np.float32) for _ in range(3)))
    for piece, part, at in _grouped(relief, drawn):
        which = relief.owner.reshape(-1)[at] - piece.first[part]
        u, v = relief.u.reshape(-1)[at], relief.v.reshape(-1)[at]
        row, column = np.divmod(at, shape[1])
        x, y = (column / relief.px_per_mm).astype(np.float32), (row / relief.px_per_mm).astype(np.float32)
        if part is Part.BUD:
            rgb, fine = colour.colour_buds(piece.buds, which, u, v, x, y, grain)
        elif part is Part.STEM:
            tubes = piece.floret.tubes
            order, girth = tubes.order[which], tubes.girth[which]
            own = np.where(order > 2, which, 10.0 * girth).astype(np.float32)
            rgb, fine = colour.colour_stems(piece.palette, order, girth, u, v, own, grain)
            paint.joined.reshape(-1)[at] = order < 3
        elif part is Part.CUT:
            rgb, fine = _cut_paint(piece, u, v, grain)
        else:
            rgb, fine = colour.colour_domes(piece.palette, x, y, grain)
        drops = np.clip(grain.at(x + 17, y, 4.0) * 0.6 + 0.4, 0.0, 1.0)
        for channel in range(3):
            paint.albedo[channel].reshape(-1)[at] = rgb[:, channel]
        paint.bump_mm.reshape(-1)[at] = fine
        paint.gloss.reshape(-1)[at] = 0.25 + piece.palette.wet * drops * (0.5 if part is Part.CUT else 1.0)
    return paint


def _cut_paint(piece: _Piece, u: FloatArray, v: FloatArray, grain: Grain) -> tuple[FloatArray, FloatArray]:
    normal = piece.floret.discs.normal[0]
    rise = -(u * normal[0] + v * normal[1]) / max(float(normal[2]), 0.05)
    out = np.sqrt(u * u + v * v + rise * rise) / piece.floret.discs.radius[0]
    return colour.colour_cut(piece.palette, out, np.arctan2(v, u), u, v, grain)


def _reflected(paint: _Paint, light: Lighting, specular: float) -> list[FloatArray]:
    """Light sent back: diffuse, what green leaves pass on to each other in the gaps, a broad sheen and sharp wet glints."""
    powers = [light.glint]
    for _ in range(9):
        powers.append(powers[-1] * powers[-1])
    broad, narrow, sharp = powers[4], powers[6], powers[9]
    sheen = (
        np.float32(specular)
        * light.direct
        * light.sky
        * paint.gloss
        * (broad + 1.2 * narrow + 6.0 * paint.gloss * sharp)
    )
    in_gaps = np.float32(0.55) * (1.0 - light.sky)
    return [plane * (light.shade + in_gaps * plane) + sheen for plane in paint.albedo]


def _bud_places(relief: Relief, drawn: list[_Piece]) -> FloatArray:
    """x_px, y_px, diameter_mm of buds whose centre is in the picture and of which at least a third can be seen."""
    rows, columns = relief.owner.shape
    shown = np.bincount(relief.owner.reshape(-1), minlength=drawn[-1].last if drawn else 1)
    found = []
    for piece in drawn:
        buds = piece.floret.buds
        place = buds.centre[:, :2] * relief.px_per_mm
        area = np.pi / 4.0 * (buds.diameter * relief.px_per_mm) ** 2
        seen: MaskArray = shown[piece.first[Part.BUD] : piece.last] > 0.33 * area
        seen &= (place[:, 0] >= 0) & (place[:, 0] <= columns - 1) & (place[:, 1] >= 0) & (place[:, 1] <= rows - 1)
        found.append(np.column_stack([place, buds.diameter])[seen])
    return np.concatenate(found).astype(np.float32) if found else np.zeros((0, 3), dtype=np.float32)
