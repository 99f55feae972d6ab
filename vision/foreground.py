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
from vision.weave import is_woven

_OFF_GROUND = 0.09
"""Density, either way, from which a pixel is no longer bare ground at the coarse resolution."""
_MUCH, _OFF_A_WEAVE = 0.3, 3.0
"""Share of a shot that is off the ground from which it is asked whether that is a coarse weave, and the density, in spreads, from which
something is off that. Where threads are far apart and dark, they themselves are off the mean of both."""
_FINE_PX_PER_MM = 6.0
_OPEN_MM = 1.6
"""Half the width up to which something is a speck on the ground: the fattest caterpillars are about 3 mm wide (from memory)."""
_SMALLEST_PIECE_MM2 = 60.0
_WIDEST_SPECK_PX = 90.0
"""Without a scale: specks are up to 160 px long, so hardly wider than this."""
_FINE_PX_PER_SPECK = 18.0
_SHADE_COLOUR = 0.05
"""Difference between the channels' densities up to which a shade still has the ground's colour."""
_SHADE_TEXTURE = 0.02
_TEXTURE_PX = 11
_DEEPEST_SHADE = 1.0
"""Density no shade of ours goes beyond: a tenth of the light comes round any piece."""
_BRIGHTEST_SHADE = -0.25
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
    """Surfaces of (3, h, w) density; `px_per_mm` is that of the working picture or None."""
    h, w = density.shape[1:]
    grain = _grain(h, w, px_per_mm)
    size = (max(1, round(w * grain.shrink)), max(1, round(h * grain.shrink)))
    small: FloatArray = np.stack(
        [cv2.resize(plane, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0]) for plane in density]
    )
    smooth: FloatArray = np.stack([cv2.GaussianBlur(plane, (0, 0), 1.0).reshape(plane.shape) for plane in small])
    large = _off_ground(small, smooth, grain, _OFF_GROUND)
    if large.mean() > _MUCH and is_woven(density.mean(axis=0), np.ones((h, w), bool)):
        large = _off_ground(small, smooth, grain, max(_OFF_GROUND, _OFF_A_WEAVE * _spread(smooth.mean(axis=0))))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(large, connectivity=8)
    produce = np.zeros_like(large)
    outside = np.zeros_like(large)
    for k in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[k])
        if area < grain.smallest_px:
            continue
        box = slice(top, top + high), slice(left, left + wide)
        here = labels[box] == k
        at_edge = left == 0 or top == 0 or left + wide == size[0] or top + high == size[1]
        if at_edge and _is_outside(small[:, *box][:, here], ground):
            outside[box][here] = 1
        else:
            produce[box][here] = 1
    produce_full = _enlarge(produce, h, w)
    outside_full = _enlarge(outside, h, w)
    if outside.any():
        outside_full &= ~produce_full
    return Surfaces(~(produce_full | outside_full), produce_full, outside_full)


def _off_ground(small: FloatArray, smooth: FloatArray, grain: _Grain, density: float) -> NDArray[np.uint8]:
    """What is off the ground by a density or more, no shade, and wider than a speck."""
    lit = np.maximum(smooth.max(axis=0), -smooth.min(axis=0)) > density
    return _large((lit & ~_is_shade(small, smooth, ~lit)).astype(np.uint8), grain)


def _spread(values: FloatArray) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _is_shade(small: FloatArray, smooth: FloatArray, bare: MaskArray) -> MaskArray:
    """Bare ground in the shade of a piece, or nearer the lamp: another light, but smooth and of the ground's own colour."""
    depth = smooth.mean(axis=0)
    colour = smooth.max(axis=0) - smooth.min(axis=0)
    grey = small.mean(axis=0)
    fine = np.abs(grey - cv2.GaussianBlur(grey, (0, 0), 2.0))
    # A median, so that a speck that lies there does not count as texture; it works on 8 bits, in steps of 0.001 of density.
    fine = cv2.medianBlur(np.minimum(fine * 1000, 255).astype(np.uint8), _TEXTURE_PX) / 1000.0
    # A noisy shot has noisy ground; what counts is texture beyond the bare ground's own.
    texture = max(_SHADE_TEXTURE, 2.5 * float(np.median(fine[bare]))) if bare.any() else _SHADE_TEXTURE
    neutral = colour < _SHADE_COLOUR * (1 + 2 * np.maximum(depth, 0))
    return np.asarray((depth > _BRIGHTEST_SHADE) & (depth < _DEEPEST_SHADE) & neutral & (fine < texture))


def _is_outside(values: FloatArray, ground: Ground | None) -> bool:
    if ground in (Ground.WATER, Ground.CLOTH):
        return True
    middle = np.median(values, axis=1)
    return bool(middle.mean() > _DARK and middle.max() - middle.min() < _COLOURLESS)


def _enlarge(mask: NDArray[np.uint8], height: int, width: int) -> MaskArray:
    if not mask.any():
        return np.zeros((height, width), bool)
    big = cv2.resize(mask * np.uint8(255), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(big > 127)
