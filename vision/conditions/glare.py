"""Lamps mirrored by water, film or wet produce: soft-edged, colourless patches at or near full scale, and the veil round them.

A mirror image adds the lamp's light to what lies there, whatever that is. It is told from a bright thing by its soft edge, from
the glint of a bud or a bubble by its size, and from a ground that is bright all over by the ground round it, which is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.conditions.coarse import Coarse
from vision.types import FloatArray, MaskArray

_NEAR_FULL = 0.8
"""Linear light, of the darkest channel, from which a patch is near burnt out."""
_OVER_GROUND = 1.2
"""How many times the ground's light a patch must have."""
_COLOURLESS = 0.25
"""Most a patch's channels may differ from one another, as a share of the brightest."""
_SMALLEST_MM, _SMALLEST_SHARE = 2.5, 0.012
"""Width of the smallest patch; without a scale as a share of the picture's longest side."""
_SOFT_MM, _SOFT_SHARE, _SOFT_PX = 0.5, 0.004, 3.5
"""Width over which its light falls off at least; a sharp edge takes up to three coarse pixels."""
_REACH_MM, _REACH_SHARE = 7.0, 0.05
"""How far the veil may reach."""
_LARGEST = 0.35
"""Share of the picture beyond which it is no patch any more."""
_BRIGHT = 1.12
"""Light against the ground's from which a pale thing, or the middle of a veil, is told from it."""
_VEIL = 1.06
"""Light against the ground's from which the veil round a patch counts as part of it."""
_SKIP = 8
_LIT = 0.7
_ANOTHER_LIGHT = 0.25
"""Natural logarithm of the light from which something is lit otherwise than the ground."""


@dataclass(frozen=True)
class Glare:
    """Where lamps are mirrored. `mask` (h, w) bool, coarse pixels (Coarse.enlarged brings it over the working picture); `share` of
    what is judged, 0..1; `where` in words, of the largest patch: 'at the top left', 'on the left', 'in the middle', '' for none."""

    mask: MaskArray
    share: float
    where: str


def find_glare(view: Coarse) -> Glare:
    """Glare in a shot."""
    none = Glare(np.zeros(view.judged.shape, bool), 0.0, "")
    level = _ground_level(view)
    if level is None:
        return none
    light = view.light
    darkest, brightest = light.min(axis=0), light.max(axis=0)
    over = (light / level).min(axis=0)
    core = (
        view.judged & (darkest > _NEAR_FULL) & (over > _OVER_GROUND) & (brightest - darkest < _COLOURLESS * brightest)
    )
    if not core.any() or core.mean() > _LARGEST:
        return none
    wide = max(1, round(view.px(_SMALLEST_MM, _SMALLEST_SHARE) / 2)) * 2 + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    closed = cv2.morphologyEx(core.view(np.uint8), cv2.MORPH_CLOSE, disc)
    opened = cv2.morphologyEx(cv2.copyMakeBorder(closed, *(wide,) * 4, cv2.BORDER_REPLICATE), cv2.MORPH_OPEN, disc)
    opened = np.ascontiguousarray(opened[wide:-wide, wide:-wide])
    count, labels, stats, centres = cv2.connectedComponentsWithStats(opened, connectivity=8)
    bright = view.judged & (over > _BRIGHT) & (brightest - darkest < _COLOURLESS * brightest)
    mask, best, where = np.zeros(core.shape, bool), 0, ""
    for k in range(1, count):
        patch = _patch(labels == k, bright, over, view)
        if patch is None:
            continue
        mask |= patch
        if stats[k, cv2.CC_STAT_AREA] > best:
            best, where = (
                int(stats[k, cv2.CC_STAT_AREA]),
                place_in_words(float(centres[k][0]), float(centres[k][1]), core.shape),
            )
    mask &= view.judged
    return Glare(mask, float(mask.sum()) / max(int(view.judged.sum()), 1), where)


def _ground_level(view: Coarse) -> FloatArray | None:
    """The ground's light (3, h, w), unshaded and unmirrored, as a quadratic in log light; None without a ground.

    It runs through the upper third of the ground (quantile regression by reweighting): shade lies below it, and glare, of which
    there is less, above.
    """
    h, w = view.ground.shape
    ground = view.ground
    if ground.any() and ground.mean() < _LARGEST and view.burnt[ground].mean() > 0.5:
        # The mirrored lamp itself was taken for the ground: being bright and smooth, it looks like one.
        ground = view.judged & ~cv2.dilate(ground.view(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    rows, cols = np.nonzero(ground[::_SKIP, ::_SKIP])
    if len(rows) < 30:
        return None
    y, x = (np.linspace(-1, 1, n, dtype=np.float32) for n in (h, w))
    y, x = np.meshgrid(y, x, indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    used = terms[:, ::_SKIP, ::_SKIP][:, rows, cols].T.astype(float)
    values = np.log(np.maximum(view.light[:, ::_SKIP, ::_SKIP][:, rows, cols], 1e-4)).mean(axis=0).astype(float)
    start = float(np.percentile(values, 100 * _LIT))
    error, fit = values - start, np.zeros(6)
    for _ in range(12):
        weights = np.where(error > 0, _LIT, 1 - _LIT) / np.maximum(np.abs(error), 0.02)
        weights /= 1 + (error / _ANOTHER_LIGHT) ** 4
        # A little ridge, so that a strip of ground says nothing of the far side.
        lhs = (used * weights[:, None]).T @ used + np.diag([0, 3, 3, 100, 100, 100]) * 3e-3 * weights.sum()
        fit = np.linalg.solve(lhs, (used * weights[:, None]).T @ values)
        error = values - used @ fit
    shape = np.exp(np.tensordot(fit.astype(np.float32), terms, axes=1))
    near = np.abs(error) < _ANOTHER_LIGHT
    colour = np.median(view.light[:, ::_SKIP, ::_SKIP][:, rows, cols][:, near] / np.exp(used[near] @ fit), axis=1)
    return np.asarray(shape * (colour / colour.mean())[:, None, None], np.float32)


def _patch(core: MaskArray, bright: MaskArray, over: FloatArray, view: Coarse) -> MaskArray | None:
    """A core with the veil round it, (h, w) bool; None where an edge too sharp for a mirror image goes round it.

    `bright` (h, w): colourless and brighter than the ground. A pale thing with a bright middle is bright up to its outline.
    """
    _, labels = cv2.connectedComponents((bright | core).view(np.uint8))
    whole = np.isin(labels, np.unique(labels[core]))
    outside = cv2.distanceTransform((~whole).view(np.uint8), cv2.DIST_L2, 5)
    inside = cv2.distanceTransform(
        cv2.copyMakeBorder(whole.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_REPLICATE), cv2.DIST_L2, 5
    )
    depth = np.where(whole, -inside[1:-1, 1:-1], outside)
    reach = max(12, round(view.px(_REACH_MM, _REACH_SHARE)))
    near = (np.abs(depth) < reach) & view.judged
    bins = np.floor(depth[near] + reach).astype(int)
    number = np.bincount(bins, minlength=2 * reach)
    profile = np.bincount(bins, weights=over[near], minlength=2 * reach)[number > 0] / number[number > 0]
    far = float(np.median(profile[-(reach // 2) :]))
    height = float(np.median(over[core])) - far
    if height < (_OVER_GROUND - 1) * min(far, 1.0) or len(profile) < 4:
        return None
    # The steepest fall from pixel to pixel against the height of the whole step: how many pixels the edge is wide at least.
    wide = height / max(float(np.max(profile[:-2] - profile[2:])) / 2, 1e-6)
    if wide < max(_SOFT_PX, view.px(_SOFT_MM, _SOFT_SHARE)):
        return None
    return np.asarray(whole | ((outside < wide) & (view.produce | (over > _VEIL))))


def place_in_words(x: float, y: float, shape: tuple[int, ...]) -> str:
    """Where a place (x, y) lies in a picture of `shape` (h, w): 'at the top left', 'on the right', 'in the middle'."""
    down, along = min(2, int(3 * y / shape[0])), min(2, int(3 * x / shape[1]))
    rows, cols = ("top", "", "bottom"), ("left", "", "right")
    if rows[down]:
        return f"at the {rows[down]} {cols[along]}".rstrip()
    return f"on the {cols[along]}" if cols[along] else "in the middle"
