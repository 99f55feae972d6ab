"""Two insects that touch are two: an outline with a neck is cut at the neck.

A neck is where the outline is narrow between two parts that are both wide: the outline is eroded until it falls apart, and what is
left of it says which pixel belongs to which part. Legs and antennae are no parts; a waist that is hardly narrower is no neck.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import depth_within
from vision.types import MaskArray, Speck

_LEAST_PX = 40
"""Pixels of a window below which an outline is too coarse to have a neck."""
_WHOLE = 0.97
"""Pixels over the area of the convex hull of their centres, from which an outline has neither neck nor stub."""
_NECK = 0.55
"""Width of a neck over that of the narrower part, at most."""
_NECK_OF_ROUND, _ROUND = 0.7, 1.35
"""The same between two parts that are both round: area of each, over that of the largest disc within it, at most."""
_PART = 0.5
"""Width of a part over that of the widest, at least."""
_AREA = 0.2
"""Share of the whole that each part has, at least."""
_STUB = 0.5
"""What is narrower than this share of the widest part may stick out of it."""
_STUB_AREA, _STUB_WIDTH, _STUB_LONG = 0.06, 0.15, 2.2
"""Share of the whole's area and width that it has at least, and its own length over its mean width."""
_LEAST_WIDTH_PX = 2.4
_DEPTHS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
"""Erosions, in half-widths of the whole, at which the outline may fall apart."""


def parted(speck: Speck) -> list[Speck]:
    """The speck, or its two parts where it has a neck; and what sticks out of it like a body of its own."""
    if np.count_nonzero(speck.mask) < _LEAST_PX or _solidity(speck.mask) > _WHOLE:
        return [speck]
    depth = depth_within(speck.mask)
    widest = float(depth.max())
    for share in _DEPTHS:
        labels = _two_parts(depth, share * widest)
        if labels is not None and _are_bodies(depth, labels, speck.mask):
            return [_part(speck, labels == k) for k in (1, 2)]
    return [speck, *(_part(speck, out) for out in _sticking_out(speck.mask, depth))]


def _solidity(mask: MaskArray) -> float:
    contours, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = cv2.contourArea(cv2.convexHull(np.concatenate(contours)))
    return np.count_nonzero(mask) / max(hull, 1.0)


def _sticking_out(mask: MaskArray, depth: NDArray[np.float32]) -> list[MaskArray]:
    """Slim parts far thinner than the widest one, yet no legs: a thrips that clings to a bud."""
    widest = float(depth.max())
    radius = round(_STUB * widest)
    if radius < 2:
        return []
    size = 2 * radius + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), size, size, size, size, cv2.BORDER_CONSTANT, value=0)
    trunk = cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)[size:-size, size:-size] > 0
    count, labels, stats, _ = cv2.connectedComponentsWithStats((mask & ~trunk).astype(np.uint8), connectivity=8)
    out = []
    for k in range(1, count):
        area = float(stats[k, cv2.CC_STAT_AREA])
        if area < _STUB_AREA * float(mask.sum()):
            continue
        here = labels == k
        width = 2 * float(depth[here].max())
        length = float(np.hypot(stats[k, cv2.CC_STAT_WIDTH], stats[k, cv2.CC_STAT_HEIGHT]))
        if width >= max(_LEAST_WIDTH_PX, _STUB_WIDTH * 2 * widest) and length >= _STUB_LONG * area / length:
            out.append(np.asarray(here))
    return out


def _two_parts(depth: NDArray[np.float32], neck: float) -> NDArray[np.int32] | None:
    """1 and 2 where the two largest cores of what is deeper than `neck` lie nearest, 0 outside; None where it stays whole."""
    core = (depth > neck).view(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=8)
    if count < 3:
        return None
    first, second = 1 + np.argsort(-stats[1:, cv2.CC_STAT_AREA], kind="stable")[:2]
    away = [cv2.distanceTransform((labels != k).view(np.uint8), cv2.DIST_L2, 3) for k in (first, second)]
    return np.where(depth > 0, np.where(away[0] <= away[1], 1, 2), 0).astype(np.int32)


def _are_bodies(depth: NDArray[np.float32], labels: NDArray[np.int32], whole: MaskArray) -> bool:
    one, two = (depth[labels == k] for k in (1, 2))
    if not len(one) or not len(two):
        return False
    border = (cv2.dilate((labels == 1).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & (labels == 2)
    neck = float(depth[border].max()) if border.any() else 0.0
    narrow, wide = sorted((float(one.max()), float(two.max())))
    least = min(len(one), len(two))
    return neck <= _widest_neck(one, two) * narrow and narrow >= _PART * wide and least >= _AREA * float(whole.sum())


def _widest_neck(*parts: NDArray[np.float32]) -> float:
    """Blur fills what lies between two round bodies that touch; two rounds still are hardly ever one body."""
    both_round = all(len(depth) <= _ROUND * np.pi * float(depth.max()) ** 2 for depth in parts)
    return _NECK_OF_ROUND if both_round else _NECK


def _part(speck: Speck, inside: MaskArray) -> Speck:
    mask = np.asarray(speck.mask & inside)
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    other = speck.mask & ~inside
    contrast = np.where(grown & ~other, speck.contrast, np.minimum(speck.contrast, np.float32(0.49)))
    return replace(speck, mask=mask, contrast=contrast.astype(np.float32))
