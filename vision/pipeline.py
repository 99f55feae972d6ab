"""THE STRAIGHT LINE: one photograph in, one inspection out. Every command goes through `inspect` and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.conditions.found import find_conditions
from vision.features import features_of
from vision.foreground import find_surfaces
from vision.ground import find_level, read_cells
from vision.guides import Guide
from vision.hidden import hidden_mask, without_cells, without_hidden
from vision.joining import join_lines
from vision.light import coarse_to_fine, log_light, log_light_averaged, over_channels
from vision.listing import list_candidates
from vision.looks import Looks, views_of
from vision.measure import Measured, measure_specks
from vision.pieces import on_pieces
from vision.quality import find_unsearched, limits_mm, measure_quality
from vision.rank import Ranker
from vision.specks import find_specks
from vision.types import (
    Cut,
    FixedMark,
    Ground,
    Inspection,
    Light,
    LitFrom,
    MaskArray,
    Setup,
    Shot,
    Surfaces,
    Usable,
)
from vision.unchanged import without_marks

_SEARCH_PX_PER_MM = 10.0
"""Least resolution of the search: finer shots are averaged down by a whole number, never below it. A thrips 0.2 mm wide is then
two pixels across, which is what finding it takes; it is cut out and measured at the shot's own resolution."""
_MOST_WORKING_PX = 26e6
"""Working pixels at most: about three gigabytes. A shot of more is searched more coarsely than it could be, and says so."""
_CELL_MM, _CELLS_ACROSS = 1.0, 160
_LEAST_PRODUCE = 0.05
"""Share of the picture below which what reads as produce may be a tray's wall and says nothing of the light."""
_TELLS_FROM_ABOVE = 0.02
"""Texture (spread of density within a millimetre) from which produce is lit from our side: a silhouette has none."""


@dataclass(frozen=True)
class Seen:
    """A shot up to the point where it is judged: what the ranker learns from and judges."""

    light: Light
    surfaces: Surfaces
    lit_from: LitFrom
    measured: tuple[Measured, ...]
    features: NDArray[np.float32]
    unchanged: tuple[FixedMark, ...]


def inspect(shot: Shot, setup: Setup, guide: Guide | None, ranker: Ranker, cut: Cut) -> Inspection:
    """Everything one photograph gave. Pure: the same values in, the same value out, at any number of threads.

    Whether the shot is good enough for its task is not judged here: calib/check.py does that from this value.
    """
    return inspect_seen(
        observe(shot, setup, guide, ranker, everything=cut.min_score <= 0), shot, setup, guide, ranker, cut
    )


def inspect_seen(seen: Seen, shot: Shot, setup: Setup, guide: Guide | None, ranker: Ranker, cut: Cut) -> Inspection:
    """The same from what was observed in the shot with the same values."""
    told = setup.ground or (guide.ground if guide else None)
    found = find_conditions(shot, seen.light, seen.surfaces, seen.measured, seen.lit_from, told, setup)
    unsearched = find_unsearched(seen.light, seen.surfaces, found.hidden)
    quality = measure_quality(seen.light, seen.surfaces, seen.measured, unsearched, shot.pixels, setup.sharpness)
    limit_round, limit_linear = limits_mm(quality, setup.px_per_mm, seen.surfaces)
    ground = told or Ground.PANEL
    listed, left_out = list_candidates(seen.measured, seen.features, ranker, guide, cut, ground, setup, seen.light.step)
    listed = on_pieces(listed, found.where, setup.px_per_mm)
    return Inspection(
        shot.name, shot.sha256, shot.width_px, shot.height_px, shot.taken_at, setup.px_per_mm, setup.scale_from,
        ground, seen.lit_from, quality, Usable.YES, (), limit_round, limit_linear, listed, left_out, unsearched,
        seen.unchanged, guide.name if guide else "", conditions=found.conditions,
        ground_share=float(seen.surfaces.ground.mean()), produce_share=float(seen.surfaces.produce.mean()),
        searched_step=seen.light.step if seen.light.step > _needed_step(setup.px_per_mm) else 1,
        pieces=found.where.pieces,
    )  # fmt: skip


def observe(shot: Shot, setup: Setup, guide: Guide | None, ranker: Ranker, everything: bool = False) -> Seen:
    """Light, surfaces, specks, measures and features of a shot; of `everything` that stands out, or of what is likely."""
    light = see_light(shot, setup)
    told = setup.ground or (guide.ground if guide else None)
    scale = None if setup.px_per_mm is None else setup.px_per_mm / light.step
    hidden = hidden_mask(setup.slip_outlines_px, light.clipped.shape, light.step)
    surfaces = without_hidden(find_surfaces(light.density, told, scale), hidden)
    lit_from = setup.lit_from or (guide.lit_from if guide else None) or tell_lit_from(light, surfaces)
    looks = Looks(ranker.net, views_of(shot, light, setup.px_per_mm), ranker.of_bodies)
    specks = find_specks(light, surfaces, scale, ranker.glance, shot.pixels, everything, looks)
    measured = _joined(measure_specks(specks, light.step), light.step)
    measured, unchanged = without_marks(measured, setup.fixed_marks)
    features = features_of(measured, surfaces, lit_from, setup.px_per_mm, light.step, looks)
    return Seen(light, surfaces, lit_from, measured, features, unchanged)


def _joined(measured: tuple[Measured, ...], step: int) -> tuple[Measured, ...]:
    """The same with pieces of one line taken together."""
    specks, pieces = join_lines(measured, step)
    return (*(m for k, m in enumerate(measured) if k not in pieces), *measure_specks(specks, step))


def see_light(shot: Shot, setup: Setup) -> Light:
    """The shot as density against its own ground, at the resolution the search needs."""
    step = max(_needed_step(setup.px_per_mm), _affordable_step(shot))
    step = min(step, shot.height_px, shot.width_px)
    clipped = _at_full_scale(shot, step)
    log = log_light(shot.pixels) if step == 1 else log_light_averaged(shot.pixels, step)
    h, w = log.shape[1:]
    cell = max(h, w) / _CELLS_ACROSS if setup.px_per_mm is None else _CELL_MM * setup.px_per_mm / step
    hidden = hidden_mask(setup.slip_outlines_px, (h, w), step)
    level, _ = find_level(without_cells(read_cells(log, max(cell, 1.0)), hidden), setup.even_light)

    def channel(k: int) -> None:
        np.subtract(coarse_to_fine(level[..., k], h, w), log[k], out=log[k])
        if hidden is not None:
            log[k][hidden] = 0  # nothing to see there, and no edge at its border

    over_channels(channel)
    if hidden is not None:
        clipped &= ~hidden
    return Light(log, level, clipped, step)


def _needed_step(px_per_mm: float | None) -> int:
    """Shot pixels per working pixel that the search can do with."""
    return 1 if px_per_mm is None else max(1, int(px_per_mm / _SEARCH_PX_PER_MM))


def _affordable_step(shot: Shot) -> int:
    """Shot pixels per working pixel that keep the work within a few gigabytes."""
    return int(np.ceil(np.sqrt(shot.height_px * shot.width_px / _MOST_WORKING_PX)))


def _at_full_scale(shot: Shot, step: int) -> MaskArray:
    """Working pixels within one level of 8 bits of full scale in two channels or more: with one, the others still tell."""
    full = np.iinfo(shot.pixels.dtype).max
    h, w = shot.height_px // step, shot.width_px // step
    picked = cv2.resize(shot.pixels[: h * step, : w * step], (w, h), interpolation=cv2.INTER_NEAREST)
    red, green, blue = cv2.split(picked)
    second = cv2.max(cv2.min(red, green), cv2.min(cv2.max(red, green), blue))
    return np.asarray(second >= full - full // 255)


def tell_lit_from(light: Light, surfaces: Surfaces) -> LitFrom:
    """Where the light comes from, from the shot itself: produce that shows its texture is lit from our side."""
    if float(np.median(10.0**light.log_level)) < 0.1:
        return LitFrom.ABOVE  # a panel that shines is never this dark
    share = float(surfaces.produce.mean())
    if share < _LEAST_PRODUCE:
        return LitFrom.BELOW
    density = light.density[:, ::4, ::4].mean(axis=0)
    produce = surfaces.produce[::4, ::4]
    fine = np.abs(density - cv2.GaussianBlur(density, (0, 0), 2.0))
    texture = float(np.median(fine[produce])) if produce.any() else 0.0
    return LitFrom.ABOVE if texture > _TELLS_FROM_ABOVE else LitFrom.BELOW
