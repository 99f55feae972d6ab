"""Where pieces of cauliflower lie on the ground: spread over the picture, turned at random, beside each other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.render.cauliflower_growth import Piece, grow_piece, moved
from vision.types import FloatArray

_COVERED = (0.36, 0.55)
"""Share of the picture that pieces are to cover, where there is room for it."""
_PACKED = 0.8
"""A piece's knobs stand out over its circles by about as much as gaps between them take away."""
_FAR_MM = 12.0
"""From here on it does not matter how far two pieces lie from each other."""
_LAPPED_MM = 0.6
"""How far one piece's circles reach into the other's that it is pushed against."""


@dataclass(frozen=True)
class _Lying:
    piece: Piece
    turn: float
    place: NDArray[np.float64]
    circles: FloatArray
    """(n, 3) what it covers there: x, y, radius."""
    reach_mm: float
    """From its place to the farthest point it covers."""

    def placed(self) -> Piece:
        return moved(self.piece, self.turn, np.array([*self.place, 0.0], dtype=np.float32))


def _lying(piece: Piece, discs: FloatArray, turn: float, place: NDArray[np.float64]) -> _Lying:
    c, s = np.cos(turn), np.sin(turn)
    own = discs[:, :2] @ np.array([[c, s], [-s, c]])
    reach = float((np.hypot(own[:, 0], own[:, 1]) + discs[:, 2]).max())
    return _Lying(piece, turn, place, np.column_stack([own + place, discs[:, 2]]).astype(np.float32), reach)


def lay_pieces(
    rng: np.random.Generator,
    size_mm: tuple[float, float],
    view: str,
    pieces: int | None,
    apart_mm: float | None,
    touching: int,
) -> list[Piece]:
    """Pieces where they lie in a picture of `size_mm` (width, height); places in mm from its top left corner.

    `pieces`: how many, None for as many as cover a good share; `apart_mm`: at least so far from each other, None where they may
    touch; `touching`: how many are then pushed against their neighbour. Where there is no room, fewer are laid.
    """
    laid: list[_Lying] = []
    missing = rng.uniform(*_COVERED) * size_mm[0] * size_mm[1]
    while len(laid) < pieces if pieces is not None else missing > 0:
        one = _room_for(rng, grow_piece(rng, view=view), size_mm, laid, apart_mm)
        if one is None:
            break
        laid.append(one)
        missing -= _inside_mm2(one, size_mm)
    return [one.placed() for one in _pushed_together(laid, touching, size_mm)]


def _room_for(
    rng: np.random.Generator, piece: Piece, size_mm: tuple[float, float], laid: list[_Lying], apart_mm: float | None
) -> _Lying | None:
    """The piece at the roomiest of many random places; None where every place is taken."""
    best, best_score = None, -np.inf
    discs = piece.discs_mm()
    for _ in range(24):
        place = rng.uniform((-6, -6), (size_mm[0] + 6, size_mm[1] + 6))
        one = _lying(piece, discs, float(rng.uniform(0, 2 * np.pi)), place)
        gap = min((_gap_mm(one, other) for other in laid), default=_FAR_MM)
        if gap < (apart_mm if apart_mm is not None else -_LAPPED_MM):
            continue
        score = _inside_mm2(one, size_mm) / 60.0 + min(gap, _FAR_MM)
        if score > best_score:
            best, best_score = one, score
    return best


def _gap_mm(one: _Lying, other: _Lying) -> float:
    """Between the two pieces' circles, exactly where they are near each other; else at least that much."""
    at_least = float(np.hypot(*(one.place - other.place))) - one.reach_mm - other.reach_mm
    if at_least > _FAR_MM:
        return at_least
    a, b = one.circles, other.circles
    far = np.hypot(a[:, None, 0] - b[:, 0], a[:, None, 1] - b[:, 1])
    return float((far - a[:, None, 2] - b[:, 2]).min())


def _inside_mm2(one: _Lying, size_mm: tuple[float, float]) -> float:
    """About how much of the picture the piece covers."""
    circles = one.circles
    low, high = circles[:, :2] - circles[:, 2:], circles[:, :2] + circles[:, 2:]
    seen = np.clip(np.minimum(high, size_mm) - np.maximum(low, 0.0), 0.0, None).prod(axis=1)
    box = (high.max(axis=0) - low.min(axis=0)).prod()
    return float(seen.sum() / (high - low).prod(axis=1).sum() * box * _PACKED)


def _pushed_together(laid: list[_Lying], many: int, size_mm: tuple[float, float]) -> list[_Lying]:
    """The same pieces, `many` of them moved straight towards their nearest neighbour until the two touch."""
    laid, done = list(laid), set[int]()
    for _ in range(min(many, len(laid) - 1)):
        pairs = [
            (_gap_mm(a, b), i, j)
            for i, a in enumerate(laid)
            for j, b in enumerate(laid)
            if i != j and i not in done and bool(((b.place > 0) & (b.place < size_mm)).all())
        ]
        if not pairs:
            break
        _, i, j = min(pairs)
        way = (laid[j].place - laid[i].place) / 80.0
        for _ in range(80):
            moved_on = laid[i].circles + np.array([*way, 0.0], np.float32)
            nearer = replace(laid[i], place=laid[i].place + way, circles=moved_on)
            if _gap_mm(nearer, laid[j]) < -_LAPPED_MM:
                break
            laid[i] = nearer
        done |= {i, j}
    return laid
