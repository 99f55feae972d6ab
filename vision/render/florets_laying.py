"""Where florets lie on the ground: spread over the picture, turned at random, next to each other rather than on each other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.render.florets_solids import FOOTPRINT_MM, Floret, placed
from vision.render.florets_tree import grow_floret

_COVERED = (0.36, 0.52)
"""Share of the picture that produce is to cover, where there is room for it."""
_LAPPED_MM2 = 1
"""How much of one piece, without its buds, lies over another that it is pushed against."""


@dataclass(frozen=True)
class _Lying:
    """A floret, turned by `turn` radians, with its middle at a place in the picture."""

    floret: Floret
    turn: float
    x_mm: float
    y_mm: float

    def placed(self) -> Floret:
        return placed(self.floret, self.turn, np.array([self.x_mm, self.y_mm, 0.0], dtype=np.float32))


def lay_out(
    rng: np.random.Generator,
    width_mm: float,
    height_mm: float,
    pieces: int | None,
    view: str,
    heated: bool,
    apart_mm: float | None = None,
    touching: int = 0,
) -> list[Floret]:
    """Florets where they lie: for each, of many random places the one that fills the picture without lying on another.

    `width_mm`, `height_mm`: the picture; `pieces`: how many, None for as many as cover a good share of it; `apart_mm`: at least so
    far from each other, None where they may touch; `touching`: how many are then pushed against their neighbour. Places are in mm
    from the picture's top left corner.
    """
    lying = _spread_out(rng, width_mm, height_mm, pieces, view, heated, apart_mm)
    return [one.placed() for one in _pushed_together(lying, (width_mm, height_mm), touching)]


def _spread_out(
    rng: np.random.Generator,
    width_mm: float,
    height_mm: float,
    pieces: int | None,
    view: str,
    heated: bool,
    apart_mm: float | None,
) -> list[_Lying]:
    # A frame round the picture, so that a footprint beyond the edge still falls on the grid.
    frame = FOOTPRINT_MM
    rows, columns = max(2, round(height_mm)), max(2, round(width_mm))
    taken = np.zeros((rows + 2 * frame, columns + 2 * frame), dtype=np.uint8)
    inside = np.zeros_like(taken)
    inside[frame:-frame, frame:-frame] = 1
    wanted = int(rng.uniform(*_COVERED) * rows * columns)
    missing, laid = wanted, list[_Lying]()
    wide = None if apart_mm is None else np.ones((2 * int(apart_mm) + 1,) * 2, np.uint8)
    while pieces is None or len(laid) < pieces:
        floret = grow_floret(rng, view=view, heated=heated)
        best, best_score, best_gain = (0.0, 0.0, 0.0), -np.inf, 0
        for turn in rng.uniform(0, 2 * np.pi, 5):
            mask = floret.footprint(turn)
            for x_mm, y_mm in rng.uniform((-8, -8), (width_mm + 8, height_mm + 8), (6, 2)):
                window = _window(x_mm, y_mm)
                seen = mask & inside[window]
                gain, overlap = cv2.countNonZero(seen), cv2.countNonZero(seen & taken[window])
                score = min(gain, missing) - 5.0 * overlap
                if wide is not None and cv2.countNonZero(mask & taken[window]):
                    continue
                if score > best_score:
                    best, best_score, best_gain = (turn, x_mm, y_mm), score, gain
        if pieces is None and laid and best_score < 0.02 * min(rows * columns, 5000):
            break
        if best_score == -np.inf:
            break
        laid.append(_Lying(floret, *best))
        own = floret.footprint(best[0])
        taken[_window(best[1], best[2])] |= own if wide is None else np.asarray(cv2.dilate(own, wide), np.uint8)
        missing -= best_gain
        if pieces is None and missing < 0.1 * wanted:
            break
    return laid


def _pushed_together(lying: list[_Lying], picture_mm: tuple[float, float], many: int) -> list[_Lying]:
    """The same florets, `many` of them moved straight towards their nearest neighbour until the two touch."""
    lying, moved = list(lying), set[int]()
    for _ in range(min(many, len(lying) - 1)):
        pairs = [
            (np.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm), i, j)
            for i, a in enumerate(lying)
            for j, b in enumerate(lying)
            if i != j and i not in moved and _in_sight(b, picture_mm)
        ]
        if not pairs:
            break
        far, i, j = min(pairs)
        lying[i] = _against(lying[i], lying[j], float(far))
        moved |= {i, j}
    return lying


def _in_sight(one: _Lying, picture_mm: tuple[float, float]) -> bool:
    return 0.1 < one.x_mm / picture_mm[0] < 0.9 and 0.1 < one.y_mm / picture_mm[1] < 0.9


def _against(one: _Lying, other: _Lying, far_mm: float) -> _Lying:
    """`one` moved straight towards `other`, as far as both cover the same few square millimetres."""
    frame = 2 * FOOTPRINT_MM
    still = np.zeros((2 * frame, 2 * frame), dtype=np.uint8)
    still[_window(frame - FOOTPRINT_MM, frame - FOOTPRINT_MM)] = other.floret.footprint(other.turn)
    own = one.floret.footprint(one.turn)
    ux, uy = (one.x_mm - other.x_mm) / far_mm, (one.y_mm - other.y_mm) / far_mm
    for distance in np.arange(float(FOOTPRINT_MM), 0.0, -0.5):
        window = _window(frame - FOOTPRINT_MM + ux * distance, frame - FOOTPRINT_MM + uy * distance)
        if cv2.countNonZero(still[window] & own) > _LAPPED_MM2:
            break
    return replace(one, x_mm=other.x_mm + ux * distance, y_mm=other.y_mm + uy * distance)


def _window(x_mm: float, y_mm: float) -> tuple[slice, slice]:
    """Where a footprint centred on `x_mm`, `y_mm` lies in the framed grid of `lay_out`."""
    left, top = (round(v) + FOOTPRINT_MM - FOOTPRINT_MM // 2 for v in (x_mm, y_mm))
    return slice(top, top + FOOTPRINT_MM), slice(left, left + FOOTPRINT_MM)
