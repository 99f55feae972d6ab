"""Cut broccoli florets on a white ground, seen from above: reflectance, coverage, shadow, and where the buds are.

Florets are grown in millimetres (florets_tree), seen as a height field (florets_raster), coloured (florets_colour) and lit
(florets_light). Deterministic for one state of the random generator.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render import florets_colour as colour
from vision.render.florets_colour import BudTable, Grain, Palette, Part
from vision.render.florets_light import Lighting, light_up, rounded_joints
from vision.render.florets_raster import Relief, draw_balls, draw_discs, draw_domes, draw_tubes, draw_twigs
from vision.render.florets_tree import Floret, grow_floret, placed
from vision.types import FloatArray, MaskArray

VIEWS = ("underside", "opened")
_DOME_FLOOR = 0.3
_COVERED = (0.42, 0.6)
"""Share of the picture that produce is to cover, where there is room for it."""


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


def draw_florets(
    rng: np.random.Generator,
    height_px: int,
    width_px: int,
    px_per_mm: float,
    *,
    view: str,
    heated: bool,
    pieces: int | None = None,
    light_direction: tuple[float, float] = (-0.5, -0.7),
    specular: float = 0.05,
) -> ProduceLayer:
    """Draw cut broccoli florets, each at most about 76 by 38 mm (common practice, no source).

    `view` is "underside" (stalks and branches, buds round the rim) or "opened" (bud clusters fanned out); `heated` makes them
    olive, wet and partly browned. `pieces`: how many, None for as many as suit the picture. `light_direction`: x and y of the
    way towards the lamp for a rise of 1. `specular`: strength of the glints in reflectance. Raises ValueError for another view.
    """
    if view not in VIEWS:
        raise ValueError(f"view must be one of {VIEWS}, not {view!r}")
    relief = Relief.empty(height_px, width_px, px_per_mm)
    grain = Grain(rng)
    drawn: list[_Piece] = []
    number = 1
    for floret in _lay_out(rng, width_px / px_per_mm, height_px / px_per_mm, pieces, view, heated):
        piece = _draw_piece(rng, relief, floret, number, heated and view == "opened", heated)
        number = piece.last
        drawn.append(piece)
    return _developed(relief, drawn, grain, light_direction, specular)


def _lay_out(
    rng: np.random.Generator, width_mm: float, height_mm: float, pieces: int | None, view: str, heated: bool
) -> list[Floret]:
    """Florets where they lie: for each, of many random places the one that fills the picture without lying on another."""
    shape = (max(2, round(height_mm)), max(2, round(width_mm)))
    taken = np.zeros(shape, dtype=np.uint8)
    wanted = rng.uniform(*_COVERED) * taken.size
    laid: list[Floret] = []
    while pieces is None or len(laid) < pieces:
        floret = grow_floret(rng, view=view, heated=heated)
        best, best_score, best_mask = (0.0, 0.0, 0.0), -np.inf, taken
        for _ in range(30):
            place = (rng.uniform(0, 2 * np.pi), rng.uniform(-8, width_mm + 8), rng.uniform(-8, height_mm + 8))
            mask = floret.footprint(shape, *place)
            gain = cv2.countNonZero(mask)
            score = min(gain, wanted - cv2.countNonZero(taken)) - 5.0 * cv2.countNonZero(mask & taken)
            if score > best_score:
                best, best_score, best_mask = place, score, mask
        if pieces is None and laid and best_score < 0.02 * min(taken.size, 5000):
            break
        laid.append(placed(floret, best[0], np.array([best[1], best[2], 0.0], dtype=np.float32)))
        taken |= best_mask
        if pieces is None and cv2.countNonZero(taken) > 0.9 * wanted:
            break
    return laid


def _draw_piece(
    rng: np.random.Generator, relief: Relief, floret: Floret, first: int, loose: bool, heated: bool
) -> _Piece:
    """Put one floret's solids into the relief, numbered from `first` on, and choose its colours."""
    palette = colour.draw_palette(rng, heated=heated)
    buds = floret.buds
    table = colour.bud_table(rng, buds.axis, buds.cluster, buds.centre, palette)
    tubes, domes, discs = floret.tubes, floret.clusters, floret.discs
    counts = ((Part.STEM, len(tubes.start)), (Part.DOME, len(domes.centre)), (Part.CUT, len(discs.centre)))
    starts, last = {}, first
    for part, count in (*counts, (Part.BUD, len(buds.centre))):
        starts[part] = last
        last += count
    knife = np.zeros((len(tubes.start), 4), dtype=np.float32)
    knife[tubes.order == 0] = [*discs.normal[0], float(discs.normal[0] @ discs.centre[0])]
    thick = int(np.searchsorted(tubes.order, 2.5))
    draw_discs(relief, discs.centre, discs.normal, discs.radius, starts[Part.CUT])
    draw_tubes(
        relief, *(a[:thick] for a in (tubes.start, tubes.end, tubes.radius, tubes.along, knife)), starts[Part.STEM]
    )
    draw_domes(relief, domes.centre, domes.radius * (0.76 if loose else 0.88), domes.axis, _DOME_FLOOR, starts[Part.DOME])
    # A bud seen from the side is longer than wide: its long diameter is the one that is reported.
    stretch = 0.3 * buds.axis[:, :2]
    longest = 1.0 + np.linalg.norm(stretch, axis=1)
    draw_balls(relief, buds.centre, 0.5 * buds.diameter / longest, stretch, starts[Part.BUD])
    draw_twigs(relief, tubes.start[thick:], tubes.end[thick:], tubes.radius[thick:], starts[Part.STEM] + thick)
    return _Piece(floret, palette, table, starts, last)


def _developed(
    relief: Relief, drawn: list[_Piece], grain: Grain, light_direction: tuple[float, float], specular: float
) -> ProduceLayer:
    """Colour, light and soften the edges of what the relief holds."""
    albedo = np.zeros((*relief.owner.shape, 3), dtype=np.float32)
    bump = np.zeros_like(relief.height_mm)
    gloss, smooth = np.zeros_like(bump), np.zeros_like(bump)
    for piece in drawn:
        _paint(relief, piece, grain, albedo, bump, gloss)
        _mark_joints(relief, piece, smooth)
    height = rounded_joints(relief.height_mm, smooth, relief.px_per_mm)
    light = light_up(height, bump, relief.px_per_mm, light_direction)
    lit = _reflected(albedo, light, gloss, specular)
    covered = relief.owner > 0
    alpha = _softened(covered.astype(np.float32))
    spread = np.maximum(alpha, 1e-3)[..., None]
    reflectance = np.where(alpha[..., None] > 1e-3, _softened(lit * covered[..., None]) / spread, 0.0)
    ground = np.where(covered, 0.0, light.shade)
    weight = cv2.GaussianBlur(1.0 - covered.astype(np.float32), (0, 0), 2.0)
    below = cv2.GaussianBlur(ground, (0, 0), 2.0) / np.maximum(weight, 1e-3)
    ground_shadow = np.where(covered, np.where(weight > 1e-3, below, 0.3), light.shade)
    return ProduceLayer(
        reflectance=reflectance.astype(np.float32),
        alpha=np.clip(alpha, 0.0, 1.0).astype(np.float32),
        ground_shadow=np.clip(ground_shadow, 0.0, 1.0).astype(np.float32),
        depth_mm=height,
        shade=light.shade.astype(np.float32),
        bud_places=_bud_places(relief, drawn),
    )


def _softened(picture: FloatArray) -> FloatArray:
    """Edges of about one pixel, as a sensor that gathers light over its pixel would give."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.55), dtype=np.float32)


def _paint(
    relief: Relief, piece: _Piece, grain: Grain, albedo: FloatArray, bump: FloatArray, gloss: FloatArray
) -> None:
    """Fill in colour, fine relief and gloss for the pixels of one piece."""
    owner = relief.owner.reshape(-1)
    start = piece.first
    bounds = [start[Part.STEM], start[Part.DOME], start[Part.CUT], start[Part.BUD], piece.last]
    wet = piece.palette.wet
    for part, low, high in zip((Part.STEM, Part.DOME, Part.CUT, Part.BUD), bounds[:-1], bounds[1:], strict=True):
        at = np.flatnonzero((owner >= low) & (owner < high))
        if not at.size:
            continue
        which = owner[at] - low
        u, v = relief.u.reshape(-1)[at], relief.v.reshape(-1)[at]
        row, column = np.divmod(at, relief.owner.shape[1])
        x, y = (column / relief.px_per_mm).astype(np.float32), (row / relief.px_per_mm).astype(np.float32)
        if part is Part.BUD:
            rgb, fine = colour.colour_buds(piece.buds, which, u, v, x, y, grain)
        elif part is Part.STEM:
            tubes = piece.floret.tubes
            own = np.where(tubes.order[which] > 2, which, 10.0 * tubes.girth[which]).astype(np.float32)
            rgb, fine = colour.colour_stems(
                piece.palette, tubes.order[which], tubes.girth[which], u, v, own, grain
            )
        elif part is Part.CUT:
            rgb, fine = _cut_paint(piece, which, u, v, grain)
        else:
            rgb, fine = colour.colour_domes(piece.palette, x, y, grain)
        drops = np.clip(grain.at(x + 17, y, 4.0) * 0.6 + 0.4, 0.0, 1.0)
        albedo.reshape(-1, 3)[at] = rgb
        bump.reshape(-1)[at] = fine
        gloss.reshape(-1)[at] = 0.25 + wet * drops * (0.5 if part is Part.CUT else 1.0)


def _mark_joints(relief: Relief, piece: _Piece, smooth: FloatArray) -> None:
    """Set `smooth` to 1 on the stalk and branches, whose joints grow together; twigs and buds keep their outlines."""
    start = piece.first[Part.STEM]
    thick = start + int(np.searchsorted(piece.floret.tubes.order, 2.5))
    smooth[(relief.owner >= start) & (relief.owner < thick)] = 1.0


def _cut_paint(
    piece: _Piece, which: FloatArray, u: FloatArray, v: FloatArray, grain: Grain
) -> tuple[FloatArray, FloatArray]:
    normal = piece.floret.discs.normal[0]
    rise = -(u * normal[0] + v * normal[1]) / max(float(normal[2]), 0.05)
    out = np.sqrt(u * u + v * v + rise * rise) / piece.floret.discs.radius[0]
    return colour.colour_cut(piece.palette, out, np.arctan2(v, u), u, v, grain)


def _reflected(albedo: FloatArray, light: Lighting, gloss: FloatArray, specular: float) -> FloatArray:
    """Light sent back: diffuse, what green leaves pass on to each other in the gaps, a broad sheen and sharp wet glints."""
    powers = [light.glint]
    for _ in range(9):
        powers.append(powers[-1] * powers[-1])
    broad, narrow, sharp = powers[4], powers[6], powers[9]
    sheen = np.float32(specular) * light.direct * light.sky * (0.35 * broad + gloss * (1.2 * narrow + 6.0 * gloss * sharp))
    lit = np.empty_like(albedo)
    in_gaps = np.float32(0.55) * (1.0 - light.sky)
    for channel in range(3):
        own = albedo[..., channel]
        lit[..., channel] = own * (light.shade + in_gaps * own) + sheen
    return lit


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
