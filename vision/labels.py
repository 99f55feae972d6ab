"""Where the numbers stand: beside the marks, on no speck, on no mark and on no other number; the same on every run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks import Look, Mark
from vision.types import FloatArray

# Up and to the right first, as a reader expects a note; then the others, near ones before far ones.
_DIRECTIONS_DEG = (-45, -20, 20, 45, -70, 70, -135, 135, -160, 160, 180, -110, 110, -90, 90, 0)
_REACH_CAPS = (0.8, 1.6, 2.8, 4.5, 7.0, 11.0, 17.0, 26.0)
_NOBODY = -1


@dataclass(frozen=True)
class Label:
    """One number's place on the picture, in its pixels: upright box and leader line from the mark to the box."""

    number: int
    left: int
    top: int
    wide: int
    high: int
    leader: FloatArray
    """(2, 2) float32: x, y on the mark, x, y at the box."""


def nearest_on_line(line: FloatArray, point: FloatArray) -> FloatArray:
    """The point of a closed line (n, 2) nearest to `point` (2,)."""
    start, side = line, np.roll(line, -1, axis=0) - line
    length = np.maximum((side**2).sum(axis=1), 1e-9)
    t = np.clip(((point - start) * side).sum(axis=1) / length, 0, 1)
    on = start + t[:, None] * side
    return np.asarray(on[((on - point) ** 2).sum(axis=1).argmin()], dtype=np.float32)


class _Room:
    """What is taken already, on a coarse grid over the picture."""

    def __init__(
        self, width_px: int, height_px: int, marks: Sequence[Mark], on: Sequence[frozenset[int]], look: Look
    ) -> None:
        self.width_px, self.height_px = width_px, height_px
        self.cell = max(1, int(look.cap_px // 6))
        self.pad = look.halo_px + 1
        shape = (height_px // self.cell + 2, width_px // self.cell + 2)
        taken, inside, barred = (np.zeros(shape, dtype=np.uint8) for _ in range(3))
        self.owner, self.host = (np.full(shape, _NOBODY, dtype=np.int32) for _ in range(2))
        """Whose mark, and which host's body, a cell lies in."""
        thick = 2 * int(np.ceil(self.pad / self.cell)) + 1
        are_hosts = frozenset().union(*on)
        for k, mark in enumerate(marks):
            line, body = (
                np.round(points / self.cell).astype(np.int32).reshape(-1, 1, 2) for points in (mark.line, mark.body)
            )
            cv2.fillPoly(self.owner, [line], k)
            cv2.fillPoly(inside, [line], 1)
            for outline in (line, body):
                cv2.polylines(taken, [outline], True, 1, thick)
            cv2.fillPoly(taken, [body], 1)
            if k in are_hosts:
                cv2.fillPoly(self.host, [body], k)
            else:
                cv2.fillPoly(barred, [body], 1)
        self.taken, self.inside, self.barred = taken.astype(bool), inside.astype(bool), barred.astype(bool)
        """Where no label may stand; where one had better not stand; where no leader may run."""
        self.on = on

    def _slice(self, left: int, top: int, wide: int, high: int) -> tuple[slice, slice]:
        c, p = self.cell, self.pad
        return (
            slice(max(0, (top - p) // c), (top + high + p) // c + 2),
            slice(max(0, (left - p) // c), (left + wide + p) // c + 2),
        )

    def cost(self, left: int, top: int, wide: int, high: int) -> int | None:
        """0 for a box with nothing in it, 2 inside another mark's line; None on something or over the picture's edge."""
        if left < 0 or top < 0 or left + wide > self.width_px or top + high > self.height_px:
            return None
        box = self._slice(left, top, wide, high)
        return None if self.taken[box].any() else 2 * int(self.inside[box].any())

    def cells(self, leader: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        steps = int(np.ceil(np.hypot(*(leader[1] - leader[0])) / self.cell)) + 1
        at = leader[0] + np.linspace(0, 1, steps)[:, None] * (leader[1] - leader[0])
        x, y = np.round(at / self.cell).astype(np.intp).T
        return np.clip(y, 0, self.taken.shape[0] - 1), np.clip(x, 0, self.taken.shape[1] - 1)

    def crossing(self, leader: FloatArray, own: int) -> int:
        """0 for a leader that crosses nothing, 1 where it crosses another mark, 4 where a speck, number or leader: the last resort."""
        at = self.cells(leader)
        bodies = self.host[at]
        on_host = (bodies != _NOBODY) & ~np.isin(bodies, list(self.on[own]))
        if self.barred[at].any() or on_host.any():
            return 4
        owners = self.owner[at]
        return int(bool(((owners != _NOBODY) & (owners != own)).any()))

    def take(self, label: Label) -> None:
        box = self._slice(label.left, label.top, label.wide, label.high)
        along = self.cells(label.leader)
        for grid in (self.taken, self.barred):
            grid[box] = True
            grid[along] = True


def _options(mark: Mark, wide: int, high: int, look: Look) -> list[tuple[int, int]]:
    """Left and top of the boxes round a mark, best first."""
    centre = (mark.line.min(axis=0) + mark.line.max(axis=0)) / 2
    angles = np.deg2rad(_DIRECTIONS_DEG)
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    size = np.array([wide, high])
    # How far the mark and half of the box reach in each direction.
    apart = ((mark.line - centre) @ ways.T).max(axis=0) + np.abs(ways) @ (size / 2)
    away = apart + look.cap_px * np.array(_REACH_CAPS)[:, None]
    corners = np.round(centre + away[..., None] * ways - size / 2).astype(int).reshape(-1, 2)
    return [(int(left), int(top)) for left, top in corners]


def _best(room: _Room, own: int, mark: Mark, wide: int, high: int, look: Look) -> Label | None:
    """The nearest label that costs nothing, else the nearest of those that cost least."""
    best: Label | None = None
    least = np.inf
    for left, top in _options(mark, wide, high, look):
        at_box = room.cost(left, top, wide, high)
        if at_box is None or at_box >= least:
            continue
        label = Label(mark.number, left, top, wide, high, _leader(mark, left, top, wide, high))
        cost = at_box + room.crossing(label.leader, own)
        if cost < least:
            best, least = label, cost
            if cost == 0:
                break
    return best


def place_labels(
    marks: Sequence[Mark],
    on: Sequence[frozenset[int]],
    sizes: Sequence[tuple[int, int]],
    width_px: int,
    height_px: int,
    look: Look,
) -> list[Label]:
    """Places for the numbers of `marks`, in their order; one that finds no room within reach is left out.

    `on` are the marks' hosts, whose bodies their leaders may cross; `sizes` are the labels' widths and heights in pixels. Greedy:
    each takes the nearest place of a fixed list of directions and distances that is free and outside other marks and whose leader
    crosses nothing; else the place that comes nearest to that. A number never stands on a speck, a mark's line or another number.
    """
    room = _Room(width_px, height_px, marks, on, look)
    labels: list[Label] = []
    for own, (mark, (wide, high)) in enumerate(zip(marks, sizes, strict=True)):
        chosen = _best(room, own, mark, wide, high, look)
        if chosen is not None:
            room.take(chosen)
            labels.append(chosen)
    return labels


def _leader(mark: Mark, left: int, top: int, wide: int, high: int) -> FloatArray:
    box = np.array([[left, top], [left + wide, top], [left + wide, top + high], [left, top + high]], dtype=np.float32)
    start = nearest_on_line(mark.line, box.mean(axis=0))
    end = np.clip(start, box[0], box[2])
    return np.stack([nearest_on_line(mark.line, end), end]).astype(np.float32)
