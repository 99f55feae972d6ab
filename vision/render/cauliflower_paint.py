"""Colours, fine relief and gloss of every pixel that a piece of cauliflower covers."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render import cauliflower_colour as colour
from vision.render.cauliflower_solids import CORE, FACE, GRANULE, KNOB, ROOT, STEM, Model, piece_of
from vision.render.florets_colour import Grain
from vision.render.florets_raster import IntArray, Relief
from vision.types import FloatArray

_STEMMY = np.array([1.0, 0.85, 0.4], dtype=np.float32)
"""How much stalk, branches and branchlets look like stem where they are cut lengthways, rather than like curd."""


@dataclass(frozen=True)
class Paint:
    """`albedo` (h, w, 3) linear; `bump_mm`, `gloss`, `joined` (h, w); float32."""

    albedo: FloatArray
    bump_mm: FloatArray
    gloss: FloatArray
    joined: FloatArray


def painted(
    rng: np.random.Generator, relief: Relief, plan: Relief | None, model: Model, palettes: colour.Palettes, grain: Grain
) -> Paint:
    """Paint for every pixel that a piece covers; `plan`: what the cut faces of halved pieces show (`cauliflower_solids.raised`)."""
    shape = relief.owner.shape
    paint = Paint(np.zeros((*shape, 3), np.float32), *(np.zeros(shape, np.float32) for _ in range(3)))
    owner = relief.owner.reshape(-1)
    covered = np.flatnonzero(owner)
    part_of = np.searchsorted([model.first[p] for p in range(ROOT, FACE + 1)], owner[covered], side="right")
    whose = piece_of(model)
    knob_tone = rng.normal(0.0, 1.0, len(model.knobs)).astype(np.float32)
    curd_at: list[NDArray[np.intp]] = []
    for part in (int(p) for p in np.unique(part_of)):
        at = covered[part_of == part]
        spots = _Spots.of(relief, at, whose[owner[at]], owner[at] - model.first[part])
        if part in (KNOB, GRANULE):
            curd_at.append(at)
        rgb, fine = _coloured(part, spots, at, plan, model, knob_tone, palettes, grain)
        drops = np.clip(grain.at(spots.x + 17, spots.y, 4.0) * 0.6 + 0.4, 0.0, 1.0)
        paint.albedo.reshape(-1, 3)[at] = rgb
        paint.bump_mm.reshape(-1)[at] = fine
        paint.gloss.reshape(-1)[at] = 0.2 + palettes.wet[spots.piece] * drops
        paint.joined.reshape(-1)[at] = part in (STEM, CORE)
    if curd_at:
        _speckled(rng, paint.albedo, np.concatenate(curd_at), relief, len(model.pieces), grain)
    return paint


@dataclass(frozen=True)
class _Spots:
    """Pixels that show one part, all (n,): the piece, which of the part's solids, the place on it, the place in mm."""

    piece: IntArray
    which: IntArray
    u: FloatArray
    v: FloatArray
    x: FloatArray
    y: FloatArray

    @classmethod
    def of(cls, relief: Relief, at: NDArray[np.intp], piece: IntArray, which: IntArray) -> _Spots:
        row, column = np.divmod(at, relief.owner.shape[1])
        x, y = ((k / relief.px_per_mm).astype(np.float32) for k in (column, row))
        return cls(piece, which, relief.u.reshape(-1)[at], relief.v.reshape(-1)[at], x, y)


def _coloured(
    part: int,
    spots: _Spots,
    at: NDArray[np.intp],
    plan: Relief | None,
    model: Model,
    knob_tone: FloatArray,
    palettes: colour.Palettes,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """Reflectance (n, 3) and fine relief (n,) of one part's pixels."""
    piece, u, v, x, y = spots.piece, spots.u, spots.v, spots.x, spots.y
    if part in (CORE, KNOB, GRANULE):
        top = np.sqrt(np.maximum(1.0 - u * u - v * v, 0.0)) if part == GRANULE else np.zeros_like(u)
        on_knob = model.granule_knob[spots.which] if part == GRANULE else spots.which
        tone = np.full_like(u, -1.0) if part == CORE else knob_tone[on_knob]
        return colour.colour_curd(palettes, piece, tone, top, x, y, grain)
    if part == STEM:
        order, girth = model.stems.order[spots.which], model.stems.girth[spots.which]
        return colour.colour_stems(palettes, piece, order, girth, u, v, grain)
    if part == ROOT:
        normal = np.stack([p.face_normal for p in model.pieces])[piece]
        rise = -(u * normal[:, 0] + v * normal[:, 1]) / np.maximum(normal[:, 2], 0.05)
        roots = model.stems.radius[(model.stems.order == 0) & (model.stems.along == 0), 0]
        out = np.sqrt(u * u + v * v + rise * rise) / roots[piece]
        return colour.colour_root_face(palettes, piece, out, np.arctan2(v, u), x, y, grain)
    assert plan is not None
    is_stem = (plan.owner >= model.first[STEM]) & (plan.owner < model.first[CORE])
    order = model.stems.order[np.where(is_stem, plan.owner - model.first[STEM], 0)].astype(int)
    in_stem = np.where(is_stem, _STEMMY[order], np.float32(0))
    blurred = np.asarray(cv2.GaussianBlur(in_stem, (0, 0), max(0.35 * plan.px_per_mm, 0.5)), np.float32)
    across = np.where(is_stem, plan.v, np.float32(2.0)).reshape(-1)[at]
    return colour.colour_long_cut(palettes, piece, blurred.reshape(-1)[at], plan.u.reshape(-1)[at], across, x, y, grain)


def _speckled(
    rng: np.random.Generator, albedo: FloatArray, curd_at: NDArray[np.intp], relief: Relief, pieces: int, grain: Grain
) -> None:
    """Browned specks painted on the curd, in place."""
    rows, columns = relief.owner.shape
    some = curd_at[rng.integers(0, len(curd_at), 400)]
    places = np.stack(np.divmod(some, columns)[::-1], axis=1).astype(np.float32) / np.float32(relief.px_per_mm)
    for speck in colour.draw_specks(rng, places, pieces):
        cx, cy, reach = (v * relief.px_per_mm for v in (speck.x_mm, speck.y_mm, 2.5 * speck.radius_mm))
        left, right = (int(np.clip(cx + s, 0, columns)) for s in (-reach, reach + 1))
        top, bottom = (int(np.clip(cy + s, 0, rows)) for s in (-reach, reach + 1))
        if right <= left or bottom <= top:
            continue
        window = slice(top, bottom), slice(left, right)
        y, x = (v.astype(np.float32) / np.float32(relief.px_per_mm) for v in np.mgrid[top:bottom, left:right])
        ragged = np.clip(1.0 + 0.3 * grain.at(x.reshape(-1), y.reshape(-1), 0.45).reshape(x.shape), 0.4, 2.0)
        far = np.hypot(x - speck.x_mm, y - speck.y_mm) / speck.radius_mm * ragged
        amount = speck.strength * np.exp(-(far**2.5)) * (relief.owner[window] > 0)
        albedo[window] += amount[..., None].astype(np.float32) * (speck.colour - albedo[window])
