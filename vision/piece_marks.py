"""Numbers of the pieces on the annotated picture: white on a dark disc with a white rim, beside each piece, with a line that ends on it.

A flag's number is dark on white and has no disc, so that the two are told apart by form and light, not by colour. A disc stands on no
speck, no mark, no other number and over no edge of the picture; a piece for whose disc there is no such room goes without.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.labels import Label
from vision.marks import DARK, WHITE, Look, Mark, Picture
from vision.text import stamp
from vision.types import Piece

_CELL = 4
"""Room is kept account of in squares of so many pixels."""
_CAPS_ACROSS = 2.4
"""Diameter of a disc in heights of a capital; a wider number gets a wider one."""


@dataclass(frozen=True)
class Disc:
    """One piece's number on the picture, in its pixels: the middle and the radius with the rim."""

    number: int
    x: int
    y: int
    radius: int
    tip: tuple[int, int] | None = None
    """Where its line ends, on the piece; None where the disc stands on the piece itself or nothing is known of its outline."""


def place_discs(
    pieces: Sequence[Piece],
    marks: Sequence[Mark],
    labels: Sequence[Label],
    size: tuple[int, int],
    zoom: float,
    look: Look,
) -> list[Disc]:
    """Places for the numbers of `pieces` on a picture of `size` = (w, h), which shows the shot `zoom` times its size."""
    taken = _taken(marks, labels, size, look)
    boxes = [_box(piece, zoom) for piece in pieces]
    discs = []
    for k, piece in enumerate(pieces):
        radius = _radius(piece.number, look)
        others = boxes[:k] + boxes[k + 1 :]
        free = [at for at in _options(boxes[k], radius) if _fits(taken, *at, radius, size)]
        # Where it could be taken for another piece's only if there is nowhere else.
        best = next((at for at in free if not _is_on(others, *at, radius)), free[0] if free else None)
        if best is not None:
            _cells(taken, *best, radius)[:] = 1
            discs.append(Disc(piece.number, *best, radius, _tip(piece, zoom, *best, radius)))
    return discs


def draw_discs(picture: Picture, discs: Sequence[Disc], look: Look) -> None:
    """Draws them into `picture` (h, w, 3) uint8."""
    rim = max(2, look.core_px)
    for disc in discs:
        if disc.tip is not None:
            cv2.line(picture, (disc.x, disc.y), disc.tip, WHITE, 3 * rim, cv2.LINE_AA)
            cv2.line(picture, (disc.x, disc.y), disc.tip, DARK, rim, cv2.LINE_AA)
        # A smooth edge runs over by a pixel.
        cv2.circle(picture, (disc.x, disc.y), disc.radius - 1, WHITE, -1, cv2.LINE_AA)
        cv2.circle(picture, (disc.x, disc.y), disc.radius - 1 - rim, DARK, -1, cv2.LINE_AA)
        letters, _ = stamp(str(disc.number), look.cap_px, 0)
        high, wide = letters.shape
        window = picture[disc.y - high // 2 :, disc.x - wide // 2 :][:high, :wide]
        share = letters[..., None].astype(np.uint16)
        window[:] = ((window * (255 - share) + 255 * share + 127) // 255).astype(np.uint8)


def _radius(number: int, look: Look) -> int:
    letters, _ = stamp(str(number), look.cap_px, 0)
    inside = max(_CAPS_ACROSS * look.cap_px, float(np.hypot(*letters.shape)) + look.cap_px / 2) / 2
    return int(np.ceil(inside)) + max(2, look.core_px)


def _tip(piece: Piece, zoom: float, x: int, y: int, radius: int) -> tuple[int, int] | None:
    """The place on a piece's outline that is nearest to the middle of its disc, and a little inside."""
    if not piece.outline_px:
        return None
    outline = (np.array(piece.outline_px) * zoom).astype(np.float32)
    if cv2.pointPolygonTest(outline.reshape(-1, 1, 2), (float(x), float(y)), False) >= 0:
        return None
    start, middle = outline.astype(np.float64), np.array([x, y], np.float64)
    along = np.roll(start, -1, axis=0) - start
    share = ((middle - start) * along).sum(axis=1) / np.maximum((along * along).sum(axis=1), 1e-9)
    nearest = start + np.clip(share, 0, 1)[:, None] * along
    tip = nearest[int(np.argmin(((nearest - middle) ** 2).sum(axis=1)))]
    away = tip - middle
    tip = tip + away / max(float(np.hypot(*away)), 1e-9) * radius / 2
    return round(float(tip[0])), round(float(tip[1]))


def _box(piece: Piece, zoom: float) -> tuple[int, int, int, int]:
    """Left, top, right, bottom in the picture."""
    corners = (piece.left_px, piece.top_px, piece.left_px + piece.wide_px, piece.top_px + piece.high_px)
    left, top, right, bottom = (round(corner * zoom) for corner in corners)
    return left, top, right, bottom


def _options(box: tuple[int, int, int, int], radius: int) -> Iterator[tuple[int, int]]:
    """Middles of a disc: round the box from its top left corner on, then just inside it, then farther in."""
    left, top, right, bottom = box
    for reach in (radius + 1, 0, -radius):
        x0, x1, y0, y1 = left - reach, right + reach, top - reach, bottom + reach
        xm, ym = (left + right) // 2, (top + bottom) // 2
        corner = max(reach, 0) // 3
        # Nearer at the corners, where a round piece leaves room.
        yield from ((x0 + corner, y0 + corner), (xm, y0), (x1 - corner, y0 + corner), (x0, ym), (x1, ym))
        yield from ((x0 + corner, y1 - corner), (xm, y1), (x1 - corner, y1 - corner))
    yield xm, ym


def _taken(marks: Sequence[Mark], labels: Sequence[Label], size: tuple[int, int], look: Look) -> NDArray[np.uint8]:
    """Cells (h, w) uint8 that hold a mark with all inside it, a number or its leader."""
    wide, high = size
    taken = np.zeros((high // _CELL + 2, wide // _CELL + 2), np.uint8)
    thick = 2 * (look.halo_px // _CELL + 1) + 1
    for mark in marks:
        for points in (mark.line, mark.body):
            polygon = np.round(points / _CELL).astype(np.int32).reshape(-1, 1, 2)
            cv2.fillPoly(taken, [polygon], 1)
            cv2.polylines(taken, [polygon], True, 1, thick)
    for label in labels:
        low, high_ = (label.left // _CELL, label.top // _CELL), (label.left + label.wide, label.top + label.high)
        cv2.rectangle(taken, low, (high_[0] // _CELL + 1, high_[1] // _CELL + 1), 1, -1)
        ends = np.round(label.leader / _CELL).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(taken, [ends], False, 1, thick)
    return taken


def _cells(grid: NDArray[np.uint8], x: int, y: int, radius: int) -> NDArray[np.uint8]:
    rows = slice(max(0, (y - radius) // _CELL), (y + radius) // _CELL + 2)
    return grid[rows, max(0, (x - radius) // _CELL) : (x + radius) // _CELL + 2]


def _is_on(boxes: Sequence[tuple[int, int, int, int]], x: int, y: int, radius: int) -> bool:
    return any(
        left <= x + radius and x - radius <= right and top <= y + radius and y - radius <= bottom
        for left, top, right, bottom in boxes
    )


def _fits(taken: NDArray[np.uint8], x: int, y: int, radius: int, size: tuple[int, int]) -> bool:
    wide, high = size
    inside = radius <= x < wide - radius and radius <= y < high - radius
    return inside and not _cells(taken, x, y, radius).any()
