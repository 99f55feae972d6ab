"""A smeared lens and steam: both lay light over a picture that does not come from what lies there, and are told by where it lies.

A smear throws a share of all light into a wide halo (grease scatters forward by a few degrees), so that no place is darker than
that share of the light round it, and produce near bright ground gets more of it than produce amid its own. Steam drifts in soft
lumps of centimetres that go by warm produce, not by what is bright, and lifts black there and not beside it.
Both are read from produce lit from above that has a colour and shade of its own; where nothing dark could be in view, as in water
with pale larvae, nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.conditions.coarse import Coarse
from vision.conditions.veil import Veil, measure_veil
from vision.types import FloatArray

_LEAST_WINDOWS = 30
_NEAR, _FAR = 0.03, 0.06
"""Standard deviations of the halo as shares of the picture's width: within the reach of either kind of smear."""
_DARKEST = 1.0
"""Percentile that stands for the darkest places of the produce."""
_NOWHERE_DARKER = 0.15
"""Share of the light round it below which the darkest of produce lies with a wiped lens: gaps between buds, shade under leaves."""
_LEAST_SMEAR = 0.05
"""Veil per light of the ground round it, from which a lens is smeared."""
_LEAST_FLAT = 0.03
"""Veil from which it is one whatever lies round it."""
_CELL = 0.06
"""Side of the cells in which steam is looked for, as a share of the picture's longest side: about 5 mm."""
_STEAM_TENTH, _STEAM_TWENTIETH = 0.06, 0.09
"""Veil from which a tenth, or a twentieth, of the cells is steamed."""
_PATCHY = 0.08
"""By how much the veil must vary from cell to cell: a smear's does not once its halo is taken off."""
_SOMEWHERE_DARK = 0.05
_SAME_HUE = np.cos(np.deg2rad(12.0))
"""Steam changes how dark a thing is, not which thing it is: steamed and unsteamed produce have one colour below the veil."""
_OVER_GROUND, _MOST_OVER = 1.15, 0.02
"""Most of the produce that may be brighter than the ground: above it the ground is not the white that a veil is measured by."""
_PRINTED_BLACK = 0.16
"""Light of printed black against its white from which it is veiled: ink returns 0.03 to 0.06 of it (from memory)."""


@dataclass(frozen=True)
class Haze:
    """What veils a shot; at most one of the two is above 0. `smeared`: share of the light that a smeared lens throws far from where it
    belongs, 0..1. `steam`: light that steam adds where it is thickest, as a share of the ground's, 0..1."""

    smeared: float
    steam: float


def find_haze(view: Coarse, black_over_white: float | None = None) -> Haze:
    """Haze in a shot; `black_over_white` is the light of a printed black against its white in the shot, where one was found."""
    printed = black_over_white if black_over_white is not None and black_over_white > _PRINTED_BLACK else 0.0
    veil = measure_veil(view)
    if len(veil.share) < _LEAST_WINDOWS:
        return Haze(printed, 0.0)
    light = np.minimum(view.light / np.maximum(view.level, 1e-4), 1.5)
    if float((light.max(axis=0)[view.produce] > _OVER_GROUND).mean()) > _MOST_OVER:
        return Haze(printed, 0.0)
    bound = _most_smear(view, light)
    halo = _halo(np.where(view.ground, light.mean(axis=0), 0), _FAR)[veil.rows, veil.cols].astype(float)
    slope, flat = _line(halo, veil.share)
    left = veil.share - min(max(slope, 0.0), bound) * halo
    steam = _patches(veil, left, max(light.shape))
    if steam > 0 and bound > _SOMEWHERE_DARK:
        return Haze(0.0, steam)
    if bound > _NOWHERE_DARKER and (slope > _LEAST_SMEAR or flat > _LEAST_FLAT):
        return Haze(float(min(bound, 1.0)), 0.0)
    return Haze(printed, 0.0)


def _patches(veil: Veil, share: NDArray[np.float64], longest: int) -> float:
    """The veil (n,) where it is thickest, if it lies in patches over one kind of thing; else 0."""
    cells = _by_cell(veil, share, longest)
    if len(cells) < 4:
        return 0.0
    low, tenth, twentieth = np.percentile(cells, [10, 90, 95])
    if not (tenth > _STEAM_TENTH or twentieth > _STEAM_TWENTIETH) or twentieth - low < _PATCHY:
        return 0.0
    thick, thin = share > max(_STEAM_TENTH, 0.6 * twentieth), share < max(_LEAST_FLAT, 0.25 * twentieth)
    if min(thick.sum(), thin.sum()) >= 5:
        hues = [np.median(veil.hue[part], axis=0) for part in (thick, thin)]
        cosine = float(hues[0] @ hues[1] / max(float(np.linalg.norm(hues[0]) * np.linalg.norm(hues[1])), 1e-9))
        if cosine < _SAME_HUE:
            return 0.0
    return float(min(twentieth, 1.0))


def _halo(plane: FloatArray, share: float) -> FloatArray:
    """A plane (h, w) blurred by a share of its width; computed on every fourth pixel, which no wide blur shows."""
    h, w = plane.shape
    small = cv2.resize(plane.astype(np.float32), (max(1, w // 4), max(1, h // 4)), interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(small, (0, 0), max(share * w / 4, 0.5), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.resize(blurred, (w, h), interpolation=cv2.INTER_LINEAR), np.float32).reshape(h, w)


def _most_smear(view: Coarse, light: FloatArray) -> float:
    """The largest share a smear could have thrown: nothing inside the produce may be darker than that share of the light round it."""
    inside = cv2.erode(view.produce.view(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    if not inside.any():
        return 0.0
    around = np.stack([_halo(plane, _NEAR)[inside] for plane in light])
    return float(np.percentile((light[:, inside] / np.maximum(around, 0.02)).min(axis=0), _DARKEST))


def _line(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Slope of a straight line through (x, y) on which outliers have little hold, and the median of y."""
    terms = np.stack([x, np.ones_like(x)], axis=1)
    weights, fit = np.ones_like(y), np.zeros(2)
    for _ in range(8):
        lhs = (terms * weights[:, None]).T @ terms + np.diag([1e-3, 1e-9]) * len(y)
        fit = np.linalg.solve(lhs, (terms * weights[:, None]).T @ y)
        error = np.abs(y - terms @ fit)
        weights = 1 / np.maximum(error / (1.48 * float(np.median(error)) + 1e-4), 1)
    return float(fit[0]), float(np.median(y))


def _by_cell(veil: Veil, share: NDArray[np.float64], longest: int) -> NDArray[np.float64]:
    """Medians of the windows' shares in cells that hold several."""
    side = max(_CELL * longest, 1.0)
    key = (veil.rows // side).astype(int) * 10_000 + (veil.cols // side).astype(int)
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    return np.array([np.median(part) for part in np.split(share[order], starts[1:]) if len(part) >= 6])
