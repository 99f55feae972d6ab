"""Sharp in one depth and soft in another: the bottom of deep water against its surface, the near side of a tilted shot against the far.

Told from the blur each strong, compact speck shows (measure.py), against the slip's, which lies at the bottom, or against the
sharper specks of the same shot. Blurs add in squares, as variances do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.conditions.rings import Rings
from vision.measure import Measured
from vision.types import Ground, LitFrom, Sharpness

_STRONG_SNR, _STRONG_DENSITY, _COMPACT = 6.0, 0.08, 0.8
_LEAST_WIDTH_PX = 5.0
_SOFT_MM = 0.11
"""Blur (standard deviation) added by depth from which a thrips melts into its surroundings, as for a whole shot."""
_SOFT_PX, _SOFT_PX_UNSCALED = 2.2, 3.0
"""The least such blur, in working pixels, with a scale and without: bodies are soft by themselves up to about this."""
_SOFT_SHARE, _FEWEST_SOFT = 0.12, 4
"""So many of the specks have to be soft."""
_SOFT_RIM_PX, _FEWEST_RINGS = 2.8, 2
"""Blur of a bubble's rim, its own width included, from which the surface is soft; in focus it is about 1.6 pixels."""
_FEWEST = 10
_FEWEST_A_SIDE = 6
_SIDE_RATIO, _SIDE_ADDED = 1.6, 0.6
"""How many times softer the usual speck on one side has to be than on the other, and by what share of the limit above."""
_PLAIN, _PLAIN_RATIO, _PLAIN_ADDED = 0.65, 1.35, 0.45
"""From this rank correlation of blur and place on the change is beyond doubt, and less of it is enough."""
_STEADY, _STEADY_WET = 0.25, 0.5
"""Rank correlation of blur and place from which the change is steady; in water, where depth also blurs, it has to be plainer."""


@dataclass(frozen=True)
class Depth:
    """`deep`: 'bottom' or 'surface', whichever is soft, or ''. `soft_side`: 'at the top', … or ''; both blurs in shot pixels.

    `severity` 0: nothing to say; it grows with the share of specks that are soft.
    """

    deep: str = ""
    soft_side: str = ""
    sharp_px: float = 0.0
    soft_px: float = 0.0
    severity: float = 0.0


def find_depth(
    measured: Sequence[Measured],
    sharpness: Sharpness | None,
    rings: Rings,
    ground: Ground | None,
    lit_from: LitFrom,
    size_px: tuple[int, int],
    px_per_mm: float | None,
    step: int,
) -> Depth:
    """What is soft where; `px_per_mm` is that of the working picture or None, `size_px` the shot's (height, width).

    Too deep is said only of water, or of a ground that nobody named, with light from below.
    """
    strong = [m for m in measured if _is_strong(m, step)]
    in_water = [m for m in strong if not m.speck.on_produce]
    wet = ground in (None, Ground.WATER) and lit_from != LitFrom.ABOVE
    if len(strong) < _FEWEST:
        return _by_slip_alone(in_water, sharpness, px_per_mm, step) if wet else Depth()
    blur = np.array([m.measures.blur_px for m in strong]) / step
    sharp = float(np.percentile(blur, 25))
    limit = _limit_px(px_per_mm)
    side = _soft_side(strong, blur, limit, _STEADY_WET if wet else _STEADY, size_px)
    if side:
        return Depth("", side, sharp * step, float(np.percentile(blur, 75)) * step, 0.6)
    if not wet or len(in_water) < _FEWEST:
        return Depth(sharp_px=sharp * step, soft_px=sharp * step)
    blur = np.array([m.measures.blur_px for m in in_water]) / step
    return _deep(blur, sharpness, rings, limit, step)


def _limit_px(px_per_mm: float | None) -> float:
    """Blur, in working pixels, that depth has to add before anything is said of it."""
    return _SOFT_PX_UNSCALED if px_per_mm is None else max(_SOFT_PX, _SOFT_MM * px_per_mm)


def _is_strong(m: Measured, step: int) -> bool:
    x = m.measures
    wide = x.equivalent_diameter_px > _LEAST_WIDTH_PX * step
    return wide and x.snr > _STRONG_SNR and abs(x.density) > _STRONG_DENSITY and x.solidity > _COMPACT


def _deep(blur: NDArray[np.float64], sharpness: Sharpness | None, rings: Rings, limit: float, step: int) -> Depth:
    """Two depths in one shot: those of the sharp specks and of the soft ones, or of specks and slip."""
    sharp = float(np.percentile(blur, 25))
    slip = _slip_blur(sharpness, step)
    if slip is not None and _added(slip, sharp) > limit:
        return Depth("bottom", "", sharp * step, slip * step, 0.8)
    clear = sharp if slip is None else min(sharp, slip)
    soft = _added(blur, clear) > limit
    share = float(soft.mean())
    rim = float(np.median([r.blur_px for r in rings.rings])) if len(rings.rings) >= _FEWEST_RINGS else 0.0
    if rim > _SOFT_RIM_PX and rim > 2 * clear:
        return Depth("surface", "", clear * step, rim * step, 0.6)
    if share < _SOFT_SHARE or int(soft.sum()) < _FEWEST_SOFT:
        return Depth(sharp_px=sharp * step, soft_px=sharp * step)
    # What a sharp slip lies under is the surface; without a slip, bubbles that are sharp say that the bottom is soft.
    which = "surface" if slip is not None else "bottom"
    return Depth(which, "", clear * step, float(np.median(blur[soft])) * step, min(1.0, 0.4 + share))


def _by_slip_alone(strong: list[Measured], sharpness: Sharpness | None, px_per_mm: float | None, step: int) -> Depth:
    """Few specks still tell that the slip below them is soft."""
    slip = _slip_blur(sharpness, step)
    if slip is None or len(strong) < 3:
        return Depth()
    sharp = float(np.median([m.measures.blur_px for m in strong])) / step
    if _added(slip, sharp) > _limit_px(px_per_mm):
        return Depth("bottom", "", sharp * step, slip * step, 0.8)
    return Depth(sharp_px=sharp * step, soft_px=slip * step)


def _slip_blur(sharpness: Sharpness | None, step: int) -> float | None:
    return sharpness.blur_px / step if sharpness is not None and sharpness.from_slip else None


def _added(blur: NDArray[np.float64] | float, sharp: float) -> NDArray[np.float64]:
    """The blur that turns `sharp` into `blur`; 0 where there is none."""
    return np.asarray(np.sqrt(np.maximum(np.square(blur) - sharp * sharp, 0.0)))


def _ranked(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Rank correlation (Spearman), -1..1."""
    return float(np.corrcoef(first.argsort().argsort(), second.argsort().argsort())[0, 1])


def _soft_side(
    strong: list[Measured], blur: NDArray[np.float64], limit: float, least: float, size_px: tuple[int, int]
) -> str:
    """The side of the picture where things are soft, if those on the other are sharp; `least`: correlation of blur and place."""
    h, w = size_px
    y = np.array([m.measures.y_px for m in strong]) / h
    x = np.array([m.measures.x_px for m in strong]) / w
    for at, low, high in ((y, "at the top", "at the bottom"), (x, "on the left", "on the right")):
        parts = [blur[at < 1 / 3], blur[(at >= 1 / 3) & (at <= 2 / 3)], blur[at > 2 / 3]]
        if min(len(parts[0]), len(parts[2])) < _FEWEST_A_SIDE:
            continue
        first, last = float(np.median(parts[0])), float(np.median(parts[2]))
        sharp, soft = min(first, last), max(first, last)
        steady = abs(_ranked(blur, at))
        ratio, added = (_PLAIN_RATIO, _PLAIN_ADDED) if steady > _PLAIN else (_SIDE_RATIO, _SIDE_ADDED)
        if steady > least and soft > ratio * sharp and float(_added(soft, sharp)) > added * limit:
            return low if first > last else high
    return ""
