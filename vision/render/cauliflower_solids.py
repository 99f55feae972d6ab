"""All pieces of cauliflower in a picture as one set of numbered solids, raised into a height field and cut where they are halved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.cauliflower_growth import Balls, Piece, granulated
from vision.render.florets_raster import IntArray, Relief, draw_balls, draw_discs, draw_tubes, draw_twigs
from vision.render.florets_solids import Tubes, merged
from vision.types import FloatArray, MaskArray

ROOT, STEM, CORE, KNOB, GRANULE, FACE = range(1, 7)
"""Parts, in the order their solids are numbered: the knife's face on the stalk, stems, clusters, knobs, granules, long cuts."""
_CORE_SHARE, _KNOB_SHARE = 0.74, 0.9
"""Radius of what lies under the knobs, and under the granules."""
_LIFT_MM = 40.0
"""Stems are drawn this much higher than curd in the plan of a long cut, so that they show through all of it."""


@dataclass(frozen=True)
class Model:
    """All pieces as one set of solids. `*_piece` (n,) int32: which piece each belongs to."""

    pieces: list[Piece]
    stems: Tubes
    stem_piece: IntArray
    clusters: Balls
    cluster_piece: IntArray
    knobs: Balls
    knob_piece: IntArray
    granules: Balls
    granule_knob: IntArray

    @property
    def first(self) -> dict[int, int]:
        """The number of each part's first solid."""
        solids = (self.pieces, self.stems, self.clusters, self.knobs, self.granules)
        starts = np.cumsum([1, *(len(group) for group in solids)])
        return {part: int(start) for part, start in zip(range(ROOT, FACE + 1), starts, strict=True)}


def _of(pieces: list[Piece], name: str) -> tuple[Balls, IntArray]:
    groups = [getattr(piece, name) for piece in pieces]
    owner = np.repeat(np.arange(len(pieces), dtype=np.int32), [len(g) for g in groups])
    parts = (np.concatenate([getattr(g, field) for g in groups]) for field in ("centre", "radius", "axis"))
    return Balls(*(np.asarray(part, dtype=np.float32) for part in parts)), owner


def _kept(balls: Balls, keep: MaskArray) -> Balls:
    return Balls(balls.centre[keep], balls.radius[keep], balls.axis[keep])


def modelled(rng: np.random.Generator, pieces: list[Piece], px_per_mm: float) -> Model:
    """All solids; of halved pieces only what lies under the knife."""
    knife = np.array([np.inf if p.knife_z_mm is None else p.knife_z_mm for p in pieces], dtype=np.float32)
    stems = merged([p.stems for p in pieces])
    stem_piece = np.repeat(np.arange(len(pieces), dtype=np.int32), [len(p.stems) for p in pieces])
    clusters, cluster_piece = _of(pieces, "clusters")
    knobs, knob_piece = _of(pieces, "knobs")
    keep = knobs.centre[:, 2] < knife[knob_piece] + 0.5 * knobs.radius
    knobs, knob_piece = _kept(knobs, keep), knob_piece[keep]
    granules, granule_knob = granulated(rng, knobs, coarse=float(np.clip(11.0 / px_per_mm, 1.0, 1.3)))
    keep = granules.centre[:, 2] < knife[knob_piece[granule_knob]] + granules.radius
    return Model(
        pieces, stems, stem_piece, clusters, cluster_piece, knobs, knob_piece, _kept(granules, keep), granule_knob[keep]
    )


def raised(relief: Relief, model: Model) -> Relief | None:
    """Put all solids into the relief, the large ones first; then cut the halved pieces. The cuts' plan, None where none is cut."""
    first = model.first
    roots = np.flatnonzero((model.stems.order == 0) & (model.stems.along == 0))
    axis = model.stems.end[roots] - model.stems.start[roots]
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    normal = np.stack([p.face_normal for p in model.pieces])
    number = np.arange(len(roots), dtype=np.int32) + first[ROOT]
    draw_discs(relief, model.stems.start[roots], normal, axis, model.stems.radius[roots, 0], number)
    knife = np.zeros((len(model.stems), 4), dtype=np.float32)
    stalk = model.stems.order == 0
    offset = np.einsum("ij,ij->i", normal, model.stems.start[roots])
    knife[stalk] = np.column_stack([normal, offset])[model.stem_piece[stalk]]
    stems = model.stems
    number = np.arange(len(stems), dtype=np.int32) + first[STEM]
    stout, thin = stems.order < 2, stems.order == 2
    draw_tubes(
        relief,
        stems.start[stout],
        stems.end[stout],
        stems.radius[stout],
        stems.along[stout],
        knife[stout],
        number[stout],
    )
    still = np.zeros((len(model.granules), 2), dtype=np.float32)
    for balls, share, part in (
        (model.clusters, _CORE_SHARE, CORE),
        (model.knobs, _KNOB_SHARE, KNOB),
        (model.granules, 1.0, GRANULE),
    ):
        numbers = np.arange(len(balls), dtype=np.int32) + first[part]
        draw_balls(relief, balls.centre, balls.radius * np.float32(share), still[: len(balls)], numbers)
    draw_twigs(relief, stems.start[thin], stems.end[thin], stems.radius[thin], number[thin])
    halved = np.array([p.knife_z_mm is not None for p in model.pieces])
    return _halved(relief, model, halved) if halved.any() else None


def _halved(relief: Relief, model: Model, halved: MaskArray) -> Relief:
    """Cuts the halved pieces level and gives the plan of their cut faces."""
    z = np.array([p.knife_z_mm or 0.0 for p in model.pieces], dtype=np.float32)
    plan = _planned(relief, model, halved, z)
    whose = piece_of(model)
    own = whose[relief.owner]
    planned = whose[plan.owner]
    over = (relief.owner > 0) & halved[own] & (relief.height_mm > z[own])
    face = (plan.owner > 0) & ((relief.height_mm <= z[planned]) | (own == planned))
    cut_piece = np.where(over, own, planned)
    face |= over
    relief.height_mm[face] = z[cut_piece[face]]
    relief.owner[face] = model.first[FACE] + cut_piece[face]
    return plan


def _planned(relief: Relief, model: Model, halved: MaskArray, z: FloatArray) -> Relief:
    """What a level cut at `z` (p,) mm goes through in each halved piece: the solids' sections, laid flat, stems above curd."""
    rows, columns = relief.owner.shape
    plan = Relief.empty(rows, columns, relief.px_per_mm)
    first, stems = model.first, model.stems
    middle = 0.5 * (stems.start[:, 2] + stems.end[:, 2]) - z[model.stem_piece]
    met = stems.radius.mean(axis=1) ** 2 - middle**2
    cut = np.flatnonzero(halved[model.stem_piece] & (met > 0))
    lifted = np.full(len(cut), _LIFT_MM)
    start, end = (np.column_stack([p[cut, :2], lifted]).astype(np.float32) for p in (stems.start, stems.end))
    radius = np.repeat(np.sqrt(met[cut])[:, None], 2, axis=1).astype(np.float32)
    knife = _root_lines(model)[model.stem_piece[cut]] * (stems.order[cut] == 0)[:, None]
    draw_tubes(plan, start, end, radius, stems.along[cut], knife, (cut + first[STEM]).astype(np.int32))
    curd = (
        (model.clusters, model.cluster_piece, CORE, _CORE_SHARE),
        (model.knobs, model.knob_piece, KNOB, _KNOB_SHARE),
        (model.granules, model.knob_piece[model.granule_knob], GRANULE, 1.0),
    )
    for balls, piece, part, share in curd:
        met = (share * balls.radius) ** 2 - (balls.centre[:, 2] - z[piece]) ** 2
        cut = np.flatnonzero(halved[piece] & (met > 0))
        centre = balls.centre[cut] * np.array([1, 1, 0], np.float32)
        still = np.zeros((len(cut), 2), dtype=np.float32)
        draw_balls(plan, centre, np.sqrt(met[cut]).astype(np.float32), still, (cut + first[part]).astype(np.int32))
    return plan


def _root_lines(model: Model) -> FloatArray:
    """(p, 4) for each piece, the upright plane in which its stalk is cut off: normal and offset in mm."""
    flat = np.stack([p.face_normal for p in model.pieces]) * np.array([1, 1, 0], np.float32)
    flat /= np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-3)
    root = np.stack([p.stems.start[0] for p in model.pieces])
    return np.column_stack([flat, np.einsum("ij,ij->i", flat, root)]).astype(np.float32)


def piece_of(model: Model) -> IntArray:
    """Which piece each solid's number belongs to; 0 for the ground, too."""
    every = np.arange(len(model.pieces), dtype=np.int32)
    granule_piece = model.knob_piece[model.granule_knob]
    rows = [every[:1], every, model.stem_piece, model.cluster_piece, model.knob_piece, granule_piece, every]
    return np.concatenate(rows).astype(np.int32)


def knob_places(relief: Relief, model: Model) -> FloatArray:
    """x_px, y_px, diameter_mm of knobs whose centre is in the picture and of which at least a third can be seen."""
    rows, columns = relief.owner.shape
    first = model.first
    last = first[FACE] + len(model.pieces)
    shown = np.bincount(relief.owner.reshape(-1), minlength=last)
    own = shown[first[KNOB] : first[GRANULE]].astype(float)
    np.add.at(own, model.granule_knob, shown[first[GRANULE] : first[FACE]])
    place = model.knobs.centre[:, :2] * np.float32(relief.px_per_mm)
    seen = own > 0.33 * np.pi * (model.knobs.radius * relief.px_per_mm) ** 2
    seen &= ((place >= 0) & (place <= np.array([columns - 1, rows - 1]))).all(axis=1)
    return np.column_stack([place, 2.0 * model.knobs.radius])[seen].astype(np.float32)
