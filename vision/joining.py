"""Lines that go on: pieces of one trail, fibre or long body that a gap has cut are one candidate.

Two long outlines are pieces of one line where the tip of each points at the other's over a short gap, and they are alike in width and
contrast. At least one must be much longer than wide: two thrips end to end are two. A piece that was cut out more than once, whole or
in part, counts as the longest of its outlines; and outlines that share a stretch of one line are pieces of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.measure import Measured, in_shot
from vision.overlap import share_within
from vision.types import Measures, Speck

_LONG, _VERY_LONG = 3.0, 6.0
"""Length over width of every piece, and of one of them."""
_GAP_WIDTHS, _GAP_LENGTHS = 4.0, 0.6
"""Longest gap in widths of the pieces, and in lengths of the shorter."""
_ASTRAY_DEG = 35.0
_CLOSE = 1.5
"""Gap in widths below which it does not matter which way the other tip lies: the round of a tip is as long."""
_WIDER = 2.0
_STRONGER = 2.5
_CLEARER = 4.0
"""Width, density and signal of one piece over the other's, at most: a body at the end of a line stands out far more than that."""
_AS_WIDE, _AS_STRONG = 1.4, 1.3
"""The same of pieces that lie along each other: what is wider has taken in what lies beside the line, what is darker is a body on it."""
_HELD = 0.7
"""Share of a piece's area within another outline from which it is a part of that."""
_SHARED = 0.25
"""The same from which both are parts of one line."""
_TIP, _TIP_WIDTHS = 8, 3.0
"""Points of a middle line, of 65, that tell which way its tip points, and their reach in widths at most: a long line bends on the way."""
_ACROSS_PX = 10
"""Pixels that a line need not be wider than."""
_BRIDGE = 0.8
"""Contrast given to the gap."""


@dataclass(frozen=True)
class _Tip:
    piece: int
    x_px: float
    y_px: float
    dx: float
    dy: float


def join_lines(measured: Sequence[Measured], step: int) -> tuple[list[Speck], set[int]]:
    """The specks made of several pieces, and the indices of those pieces; `step`: shot pixels per working pixel."""
    tips = [tip for k, m in enumerate(measured) for tip in _tips(k, m, step)]
    holder = _holders(sorted({tip.piece for tip in tips}), measured)
    tips = [tip for tip in tips if holder[tip.piece] == tip.piece]
    bridges = [
        (one, other)
        for one, other in _near(tips, measured)
        if one.piece != other.piece and _go_on(one, other, measured)
    ]
    links = _along_each_other(sorted({tip.piece for tip in tips}), measured)
    links += [(one.piece, other.piece) for one, other in bridges]
    group = list(range(len(measured)))
    for a, b in links:
        _unite(group, a, b)
    groups: dict[int, list[int]] = {}
    for k in {k for link in links for k in link}:
        groups.setdefault(_root(group, k), []).append(k)
    specks = [
        _joined([measured[k] for k in sorted(members)], [b for b in bridges if b[0].piece in members], step)
        for members in groups.values()
    ]
    joined = {k for members in groups.values() for k in members}
    return specks, {k for k, held_by in holder.items() if held_by in joined}


def _holders(pieces: Sequence[int], measured: Sequence[Measured]) -> dict[int, int]:
    """For each piece the longest that it is nearly all part of, which may be itself."""
    order = sorted(pieces, key=lambda k: (-measured[k].measures.length_px, k))
    holders: list[int] = []
    out = {}
    for k in order:
        out[k] = next((h for h in holders if _holds(measured[h], measured[k])), k)
        if out[k] == k:
            holders.append(k)
    return out


def _along_each_other(pieces: Sequence[int], measured: Sequence[Measured]) -> list[tuple[int, int]]:
    """Pairs of alike pieces that share a stretch of one line; two that cross share next to nothing."""
    out = []
    for n, k in enumerate(pieces):
        for other in pieces[n + 1 :]:
            a, b = measured[k].measures, measured[other].measures
            if not _touch(a, b) or not _alike(measured[k], measured[other], _AS_WIDE, _AS_STRONG):
                continue
            small, large = (a, b) if a.area_px < b.area_px else (b, a)
            if share_within(small, large) > _SHARED:
                out.append((k, other))
    return out


def _touch(a: Measures, b: Measures) -> bool:
    return (
        a.left_px < b.left_px + b.wide_px
        and b.left_px < a.left_px + a.wide_px
        and a.top_px < b.top_px + b.high_px
        and b.top_px < a.top_px + a.high_px
    )


def _holds(one: Measured, part: Measured) -> bool:
    """Whether `part` is a part of `one`: within it, and like it. A thrips in the outline of a fibre is darker than that."""
    return (
        _touch(one.measures, part.measures)
        and _alike(one, part, _AS_WIDE, _AS_STRONG)
        and share_within(part.measures, one.measures) > _HELD
    )


def _near(tips: Sequence[_Tip], measured: Sequence[Measured]) -> list[tuple[_Tip, _Tip]]:
    """Pairs of tips that a gap could lie between."""
    if len(tips) < 2:
        return []
    places = np.array([(tip.x_px, tip.y_px) for tip in tips])
    reach = np.array([_GAP_LENGTHS * measured[tip.piece].measures.length_px for tip in tips])
    close = cKDTree(places).query_ball_point(places, reach)
    return [(tips[n], tips[k]) for n, others in enumerate(close) for k in sorted(others) if k > n]


def _tips(k: int, m: Measured, step: int) -> list[_Tip]:
    line = m.build.line
    if line is None or m.build.length < _LONG * m.build.width:
        return []
    points = in_shot(m.speck, line, step)
    reach = min(_TIP, max(2, round(_TIP_WIDTHS * m.build.width / m.build.length * (len(points) - 1))))
    out = []
    for tip, inner in ((points[0], points[reach]), (points[-1], points[-1 - reach])):
        away = tip - inner
        away = away / max(float(np.hypot(*away)), 1e-9)
        out.append(_Tip(k, float(tip[0]), float(tip[1]), float(away[0]), float(away[1])))
    return out


def _go_on(one: _Tip, other: _Tip, measured: Sequence[Measured]) -> bool:
    a, b = measured[one.piece].measures, measured[other.piece].measures
    width = (a.width_px + b.width_px) / 2
    gap = float(np.hypot(other.x_px - one.x_px, other.y_px - one.y_px))
    if gap > min(_GAP_WIDTHS * width, _GAP_LENGTHS * min(a.length_px, b.length_px)):
        return False
    if max(a.length_px / a.width_px, b.length_px / b.width_px) < _VERY_LONG:
        return False
    if not _alike(measured[one.piece], measured[other.piece]):
        return False
    least = np.cos(np.deg2rad(_ASTRAY_DEG))
    facing = -(one.dx * other.dx + one.dy * other.dy)
    if gap < _CLOSE * width:
        return bool(facing > least)
    across = (other.x_px - one.x_px) / gap, (other.y_px - one.y_px) / gap
    ahead = one.dx * across[0] + one.dy * across[1], -(other.dx * across[0] + other.dy * across[1])
    return bool(min(facing, *ahead) > least)


def _alike(one: Measured, other: Measured, most_wider: float = _WIDER, most_stronger: float = _STRONGER) -> bool:
    """Whether two pieces could be of one line: in width, contrast and what they lie on."""
    a, b = one.measures, other.measures
    wider = max(a.width_px, b.width_px) / max(min(a.width_px, b.width_px), 1e-6)
    stronger = max(abs(a.density), abs(b.density)) / max(min(abs(a.density), abs(b.density)), 1e-6)
    if wider > most_wider or stronger > most_stronger or a.density * b.density < 0:
        return False
    if max(a.snr, b.snr) > _CLEARER * min(a.snr, b.snr):
        return False
    return one.speck.on_produce == other.speck.on_produce


def _root(group: list[int], k: int) -> int:
    while group[k] != k:
        k = group[k]
    return k


def _unite(group: list[int], a: int, b: int) -> None:
    first, second = sorted((_root(group, a), _root(group, b)))
    group[second] = first


def _joined(pieces: Sequence[Measured], bridges: Sequence[tuple[_Tip, _Tip]], step: int) -> Speck:
    """One speck of several, on the finest of their grids that it takes, with the gaps bridged."""
    specks = [m.speck for m in pieces]
    best = max(specks, key=lambda s: s.likely)
    width = float(np.mean([m.measures.width_px for m in pieces])) / step
    zoom = min(max(min(s.zoom for s in specks), width / _ACROSS_PX), max(s.zoom for s in specks))
    top, left = min(s.top for s in specks), min(s.left for s in specks)
    high = int(np.ceil(max((s.top + s.mask.shape[0] * s.zoom - top) / zoom for s in specks))) + 1
    wide = int(np.ceil(max((s.left + s.mask.shape[1] * s.zoom - left) / zoom for s in specks))) + 1

    def laid(values: NDArray[np.float32], s: Speck) -> NDArray[np.float32]:
        scale = s.zoom / zoom
        place = np.array([[scale, 0, (s.left - left) / zoom], [0, scale, (s.top - top) / zoom]], np.float64)
        return np.asarray(cv2.warpAffine(values, place, (wide, high), flags=cv2.INTER_LINEAR), dtype=np.float32)

    contrast, strength = np.zeros((high, wide), np.float32), np.zeros((high, wide), np.float32)
    mask, residual = np.zeros((high, wide), bool), np.zeros((high, wide, 3), np.float32)
    for s in specks:
        np.maximum(contrast, laid(s.contrast, s), out=contrast)
        np.maximum(strength, laid(s.strength, s), out=strength)
        mask |= laid(s.mask.astype(np.float32), s) > 0.5
        part = laid(s.residual, s)
        residual = np.where(
            np.abs(part).sum(axis=2, keepdims=True) > np.abs(residual).sum(axis=2, keepdims=True), part, residual
        )
    gap = np.zeros((high, wide), np.uint8)
    for one, other in bridges:
        ends = [
            (
                round(((t.x_px - (step - 1) / 2) / step - left) / zoom),
                round(((t.y_px - (step - 1) / 2) / step - top) / zoom),
            )
            for t in (one, other)
        ]
        cv2.line(gap, ends[0], ends[1], 1, max(1, round(width / zoom)))
    contrast[gap > 0] = np.maximum(contrast[gap > 0], np.float32(_BRIDGE))
    return replace(
        best,
        top=top,
        left=left,
        zoom=zoom,
        mask=mask | (gap > 0),
        contrast=contrast,
        strength=strength,
        residual=residual,
    )
