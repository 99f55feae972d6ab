"""Pieces of produce that lie against each other, and the number each piece goes by.

Where two pieces touch, the produce is narrow between two parts that are wide: the distance from the outline has a peak in each part
and a low pass between them (watershed of the distance map, Vincent and Soille 1991). A stalk is as narrow as the pass to its crown, so
a branching piece stays one; a lobe on a thin branch is told by being small beside the rest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

from vision.pieces import PieceMap, tray_order
from vision.types import FloatArray, Ground, MaskArray, Piece, Surfaces

_LONGEST_PX = 320
"""Longest side of the picture that necks are looked for in: a piece is then 30 pixels and more across."""
_NECK = 0.5
"""Width of the pass, relative to the narrower part's own, from which two parts are one piece."""
_ROUND_NECK = 0.72
"""The same between two parts that are plain, without branches or lobes: two discs that lap over by a quarter of their diameter."""
_PLAIN = 0.96
"""Solidity (area over that of the convex hull) of such a part."""
_THIN, _THIN_NECK = 0.65, 0.35
"""A part that much thinner than its neighbour may be a stalk with branches: one piece with it from a narrower pass on."""
_SMALL_PART = 0.3
"""A part smaller than this share of the other belongs to it: a lobe, a stub, a loose leaf."""
_LEAST_SHARE = 0.002
"""Share of the picture from which something is a piece."""
_LEAST_WIDTH_MM = 4.0
"""Width from which it is one where there is a scale: wider than the fattest caterpillar (foreground.py)."""

Labels = NDArray[np.int32]


@dataclass(frozen=True)
class Contact:
    """Where two pieces touch, in shot pixels. `neck`: width there over the width of the narrower piece, 0..1."""

    first: int
    second: int
    x_px: float
    y_px: float
    neck: float


@dataclass(frozen=True)
class Touching:
    """All pieces of a shot and where they touch. `severity`: share of the pieces that touch another, 0..1."""

    where: PieceMap
    contacts: tuple[Contact, ...]
    severity: float

    @property
    def pieces(self) -> tuple[Piece, ...]:
        return self.where.pieces


def pieces(surfaces: Surfaces, step: int) -> tuple[Piece, ...]:
    """The pieces of produce in a shot; `step` is the number of shot pixels per working pixel."""
    return find_touching(surfaces, step).pieces


def find_touching(
    surfaces: Surfaces, step: int, ground: Ground | None = None, px_per_mm: float | None = None
) -> Touching:
    """Pieces and where they touch; `step` is the number of shot pixels per working pixel, `px_per_mm` the working picture's scale.

    None where `ground` is said to be water or cloth: no pieces are laid there. With a scale, what is a few millimetres wide is a
    piece however large the picture; only what takes its share of the picture is said to touch another.
    """
    h, w = surfaces.produce.shape
    if ground in (Ground.WATER, Ground.CLOTH) or not surfaces.produce.any():
        return Touching(PieceMap((), np.zeros((1, 1), np.int32), (float(w * step), float(h * step))), (), 0.0)
    shrink = max(1.0, max(h, w) / _LONGEST_PX)
    size = (max(1, round(w / shrink)), max(1, round(h / shrink)))
    share = cv2.resize(surfaces.produce.view(np.uint8) * np.uint8(255), size, interpolation=cv2.INTER_AREA)
    parts = _Parts(np.asarray(share).reshape(size[1], size[0]) > 127)
    parts.join()
    labels = parts.labels()
    least = _LEAST_SHARE * labels.size
    wide = np.inf if px_per_mm is None else _LEAST_WIDTH_MM * px_per_mm / shrink
    kept = [int(k) for k in np.unique(labels) if k > 0 and (parts.area[k] >= least or 2 * parts.peak[k] >= wide)]
    cell_px = w / size[0] * step, h / size[1] * step
    numbers, found = _numbered(labels, kept, cell_px)
    contacts = _contacts(labels, parts, {k: n for k, n in numbers.items() if parts.area[k] >= least}, cell_px)
    touched = {n for c in contacts for n in (c.first, c.second)}
    named = np.zeros(int(labels.max()) + 1, np.int32)
    named[list(numbers)] = list(numbers.values())
    return Touching(PieceMap(found, named[labels], cell_px), contacts, len(touched) / max(len(found), 1))


class _Parts:
    """The produce in parts, each the basin of one peak of the distance map; joined where no neck lies between them."""

    def __init__(self, produce: MaskArray) -> None:
        self.basins, self.depth = _basins(produce)
        count = int(self.basins.max())
        self.joined_to = np.arange(count + 1)
        self.area = {k: int(n) for k, n in enumerate(np.bincount(self.basins.ravel(), minlength=count + 1)) if k and n}
        top = np.zeros(count + 1, np.float32)
        np.maximum.at(top, self.basins.ravel(), self.depth.ravel())
        self.peak = {k: float(top[k]) for k in self.area}
        self.passes = _passes(self.basins, self.depth)

    def labels(self) -> Labels:
        return np.asarray(self.joined_to[self.basins], np.int32)

    def neck(self, a: int, b: int) -> float:
        return self.passes[a, b] / max(min(self.peak[a], self.peak[b]), 1e-6)

    def join(self) -> None:
        """Joins parts until a real neck lies between any two that meet, and neither is a mere lobe of the other."""
        while self.passes:
            a, b = max(self.passes, key=lambda pair: self.neck(*pair))
            if self.neck(a, b) < _ROUND_NECK:
                break
            self._merge(a, b)
        while self.passes:
            a, b = min(self.passes, key=lambda pair: self._evenness(*pair))
            if self._evenness(a, b) >= _SMALL_PART:
                break
            small = a if self.area[a] < self.area[b] else b
            self._merge(*max((p for p in self.passes if small in p), key=lambda pair: self.passes[pair]))
        for a, b in [pair for pair in self.passes if self._is_joint(*pair)]:
            # An earlier joint may have given either of them to another part.
            first, second = sorted((int(self.joined_to[a]), int(self.joined_to[b])))
            if first != second:
                self._merge(first, second)

    def _is_joint(self, a: int, b: int) -> bool:
        """Whether the neck between two parts is one within a piece."""
        thin = min(self.peak[a], self.peak[b]) < _THIN * max(self.peak[a], self.peak[b])
        if self.neck(a, b) < (_THIN_NECK if thin else _NECK):
            return False
        return thin or not (self._is_plain(a) and self._is_plain(b))

    def _evenness(self, a: int, b: int) -> float:
        return min(self.area[a], self.area[b]) / max(self.area[a], self.area[b])

    def _is_plain(self, part: int) -> bool:
        outlines, _ = cv2.findContours(
            (self.labels() == part).view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
        )
        hull = cv2.contourArea(cv2.convexHull(np.vstack(outlines)))
        return self.area[part] > _PLAIN * hull

    def _merge(self, a: int, b: int) -> None:
        self.joined_to[self.joined_to == b] = a
        self.area[a] += self.area.pop(b)
        self.peak[a] = max(self.peak[a], self.peak.pop(b))
        merged: dict[tuple[int, int], float] = {}
        for (first, second), width in self.passes.items():
            x, y = sorted(a if part == b else part for part in (first, second))
            if x != y:
                merged[x, y] = max(merged.get((x, y), 0.0), width)
        self.passes = merged


def _basins(produce: MaskArray) -> tuple[Labels, FloatArray]:
    """Basin of each produce pixel (h, w), 0 elsewhere, and its distance from the outline in pixels."""
    # A piece that the picture's edge cuts goes on beyond it.
    pad = 24
    padded = cv2.copyMakeBorder(produce.view(np.uint8), pad, pad, pad, pad, cv2.BORDER_REPLICATE)
    far = cv2.distanceTransform(cv2.copyMakeBorder(padded, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0), cv2.DIST_L2, 5)
    depth = cv2.GaussianBlur(far[1:-1, 1:-1], (0, 0), 1.0) * padded
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    peaks = (depth >= cv2.dilate(depth, around) - 1e-6) & (depth > 2)
    _, seeds = cv2.connectedComponents(peaks.view(np.uint8))
    basins = watershed(-depth, seeds, mask=padded > 0)  # type: ignore[no-untyped-call]
    inside = slice(pad, -pad)
    return np.asarray(basins[inside, inside], np.int32), np.asarray(depth[inside, inside], np.float32)


def _passes(basins: Labels, depth: FloatArray) -> dict[tuple[int, int], float]:
    """For each two basins that meet, the deepest point of the border between them."""
    n = int(basins.max()) + 1
    keys, depths = [], []
    for here, there in _NEIGHBOURS:
        a, b = basins[here], basins[there]
        meet = (a != b) & (a > 0) & (b > 0)
        keys.append(np.minimum(a[meet], b[meet]).astype(np.int64) * n + np.maximum(a[meet], b[meet]))
        depths.append(np.minimum(depth[here][meet], depth[there][meet]))
    pairs, which = np.unique(np.concatenate(keys), return_inverse=True)
    deepest = np.zeros(len(pairs), np.float32)
    np.maximum.at(deepest, which, np.concatenate(depths))
    return {(int(pair // n), int(pair % n)): float(width) for pair, width in zip(pairs, deepest, strict=True)}


_ALL, _LESS, _MORE = slice(None), slice(None, -1), slice(1, None)
_NEIGHBOURS = (
    ((_ALL, _LESS), (_ALL, _MORE)),
    ((_LESS, _ALL), (_MORE, _ALL)),
    ((_LESS, _LESS), (_MORE, _MORE)),
    ((_LESS, _MORE), (_MORE, _LESS)),
)


def _numbered(labels: Labels, kept: list[int], grow: tuple[float, float]) -> tuple[dict[int, int], tuple[Piece, ...]]:
    """Numbers of the labels in tray order, and the pieces; `grow`: shot pixels per coarse pixel, along x and y."""
    gx, gy = grow
    seen: dict[int, Piece] = {}
    for k in kept:
        mask = (labels == k).view(np.uint8)
        left, top, wide, high = cv2.boundingRect(mask)
        m = cv2.moments(mask, binaryImage=True)
        x, y = (m["m10"] / m["m00"] + 0.5) * gx - 0.5, (m["m01"] / m["m00"] + 0.5) * gy - 0.5
        box = round(left * gx), round(top * gy), round(wide * gx), round(high * gy)
        seen[k] = Piece(0, x, y, *box, _outline(mask, grow))
    order = tray_order([(seen[k].x_px, seen[k].top_px + seen[k].high_px / 2, float(seen[k].high_px)) for k in kept])
    numbers = {kept[at]: n for n, at in enumerate(order, start=1)}
    return numbers, tuple(replace(seen[k], number=n) for k, n in numbers.items())


def _outline(mask: NDArray[np.uint8], grow: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """The line round the largest part of a mask, in shot pixels, with as few corners as keep it within a coarse pixel or two."""
    lines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    corners = cv2.approxPolyDP(max(lines, key=cv2.contourArea), 1.5, True).reshape(-1, 2)
    return tuple(((float(x) + 0.5) * grow[0] - 0.5, (float(y) + 0.5) * grow[1] - 0.5) for x, y in corners)


def _contacts(labels: Labels, parts: _Parts, numbers: dict[int, int], grow: tuple[float, float]) -> tuple[Contact, ...]:
    """Where numbered pieces meet, in the order of their numbers."""
    found = []
    for a, b in parts.passes:
        if a not in numbers or b not in numbers:
            continue
        near = cv2.dilate((labels == a).view(np.uint8), np.ones((3, 3), np.uint8)) > 0
        rows, columns = np.nonzero(near & (labels == b))
        y, x = float(rows.mean()), float(columns.mean())
        first, second = sorted((numbers[a], numbers[b]))
        place = (x + 0.5) * grow[0] - 0.5, (y + 0.5) * grow[1] - 0.5
        found.append(Contact(first, second, *place, min(parts.neck(a, b), 1.0)))
    return tuple(sorted(found, key=lambda c: (c.first, c.second)))
