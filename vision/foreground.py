"""What each pixel shows: bare ground with what floats on it, produce, or what lies outside the panel.

Produce is what is off the ground over more than a few millimetres each way; anything smaller is a speck on the ground and is
left to the search. What is outside is large, touches the picture's edge and is either dark without colour (a frame, a bench)
or, in a water or cloth shot, anything large at the edge: there nothing large belongs in the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, Ground, MaskArray, Surfaces

_OFF_GROUND = 0.09
"""Density, either way, from which a pixel is no longer bare ground at the coarse resolution."""
_FINE_PX_PER_MM = 8.0
_OPEN_MM = 1.6
"""Half the width up to which something is a speck on the ground: the fattest caterpillars are about 3 mm wide (from memory)."""
_SMALLEST_PIECE_MM2 = 60.0
_WIDEST_SPECK_PX = 90.0
"""Without a scale: specks are up to 160 px long, so hardly wider than this."""
_FINE_PX_PER_SPECK = 18.0
_DARK = 0.6
_COLOURLESS = 0.12


@dataclass(frozen=True)
class _Grain:
    """The resolution surfaces are told apart at, and the sizes above in its pixels."""

    shrink: float
    open_px: int
    smallest_px: float


def _grain(height: int, width: int, px_per_mm: float | None) -> _Grain:
    if px_per_mm is None:
        shrink = min(1.0, _FINE_PX_PER_SPECK / _WIDEST_SPECK_PX)
        return _Grain(shrink, round(_FINE_PX_PER_SPECK / 2), (3 * _FINE_PX_PER_SPECK) ** 2)
    shrink = min(1.0, _FINE_PX_PER_MM / px_per_mm)
    grain = px_per_mm * shrink
    return _Grain(shrink, max(1, round(_OPEN_MM * grain)), _SMALLEST_PIECE_MM2 * grain**2)


def _disc(radius: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)), dtype=np.uint8)


def _large(off: NDArray[np.uint8], grain: _Grain) -> NDArray[np.uint8]:
    """The part of `off` that is wider than a speck, grown back to its own outline."""
    # Gaps between buds and stalks are part of the piece, so they are bridged first.
    closed = cv2.morphologyEx(off, cv2.MORPH_CLOSE, _disc(max(1, grain.open_px // 2)))
    cut = 2 * grain.open_px
    padded = cv2.copyMakeBorder(closed, cut, cut, cut, cut, cv2.BORDER_REPLICATE)
    core = cv2.erode(padded, _disc(grain.open_px))
    grown = cv2.dilate(core, _disc(grain.open_px + max(1, grain.open_px // 4)))
    return np.asarray(cv2.bitwise_and(grown[cut:-cut, cut:-cut], closed), dtype=np.uint8)


def find_surfaces(density: FloatArray, ground: Ground | None, px_per_mm: float | None) -> Surfaces:
    """Surfaces of (h, w, 3) density; `px_per_mm` is that of the working picture or None."""
    h, w = density.shape[:2]
    grain = _grain(h, w, px_per_mm)
    size = (max(1, round(w * grain.shrink)), max(1, round(h * grain.shrink)))
    small = cv2.resize(density, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], 3)
    smooth = cv2.GaussianBlur(small, (0, 0), 1.0).reshape(small.shape)
    off = (np.abs(smooth).max(axis=2) > _OFF_GROUND).astype(np.uint8)
    large = _large(off, grain)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(large, connectivity=8)
    produce = np.zeros_like(large)
    outside = np.zeros_like(large)
    for k in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[k])
        if area < grain.smallest_px:
            continue
        here = labels == k
        at_edge = left == 0 or top == 0 or left + wide == size[0] or top + high == size[1]
        if at_edge and _is_outside(small[here], ground):
            outside[here] = 1
        else:
            produce[here] = 1
    produce_full = _enlarge(produce, h, w)
    outside_full = _enlarge(outside, h, w) & ~produce_full
    return Surfaces(~(produce_full | outside_full), produce_full, outside_full)


def _is_outside(values: FloatArray, ground: Ground | None) -> bool:
    if ground in (Ground.WATER, Ground.CLOTH):
        return True
    middle = np.median(values, axis=0)
    return bool(middle.mean() > _DARK and middle.max() - middle.min() < _COLOURLESS)


def _enlarge(mask: NDArray[np.uint8], height: int, width: int) -> MaskArray:
    if not mask.any():
        return np.zeros((height, width), bool)
    big = cv2.resize(mask * np.uint8(255), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(big > 127)
