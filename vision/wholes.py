"""One animal, one flag: a part of a body, its head or its tail, that stands out by itself is listed with the whole.

A part may look more like an insect than the whole does. The whole then gets the part's score, if it could be an insect itself: a thrips
that clings to a seed keeps a flag of its own, and so do two that lie within one outline.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.overlap import share_within
from vision.types import Measures

_WITHIN = 0.8
"""Share of a part's area that lies within the whole."""
_LARGER = 8.0
"""Area of a whole over that of its part, at most: what is smaller lies on a body and is none of its parts."""
COULD_BE = 0.1
"""Score of a whole over that of its part, at least."""
_ANOTHER = 0.3
"""Score over that of the best part, from which a part that lies apart from it speaks for a second body."""

Body = tuple[int, int]
"""Whose score it has, and whose outline."""


def parts_taken_in(bodies: Sequence[Body], measures: Sequence[Measures], scores: NDArray[np.float64]) -> list[Body]:
    """The bodies (best first) without those that are parts of another, which has the best score of them; best first."""
    outlines = [measures[whole] for _, whole in bodies]
    place = list(range(len(bodies)))  # whose score each has, as a place in the list: the lower, the better
    gone: set[int] = set()
    for whole, held in _parts(outlines):
        parts = [n for n in held if n not in gone]
        better = sorted((n for n in parts if place[n] < place[whole]), key=lambda n: place[n])
        score = [float(scores[bodies[place[n]][0]]) for n in (whole, *better)]
        if better and (score[0] < COULD_BE * score[1] or _are_two([outlines[n] for n in better], score[1:])):
            continue
        gone |= set(parts)
        place[whole] = min([place[whole], *(place[n] for n in better)])
    kept = sorted((n for n in range(len(bodies)) if n not in gone), key=lambda n: place[n])
    return [(bodies[place[n]][0], bodies[n][1]) for n in kept]


def _parts(outlines: Sequence[Measures]) -> list[tuple[int, list[int]]]:
    """Every outline that holds others, small ones first, and those."""
    boxes = np.array([(m.left_px, m.top_px, m.left_px + m.wide_px, m.top_px + m.high_px) for m in outlines])
    boxes = boxes.reshape(-1, 4)
    areas = np.array([m.area_px for m in outlines])
    out = []
    for n in np.argsort(areas, kind="stable"):
        could = (areas < areas[n]) & (_LARGER * areas >= areas[n])
        could &= (boxes[:, :2] < boxes[n, 2:]).all(axis=1) & (boxes[n, :2] < boxes[:, 2:]).all(axis=1)
        whole = outlines[int(n)]
        parts = [k for k in np.flatnonzero(could).tolist() if _is_part(outlines[k], whole)]
        if parts:
            out.append((int(n), parts))
    return out


def _is_part(part: Measures, whole: Measures) -> bool:
    return part.density * whole.density > 0 and share_within(part, whole) >= _WITHIN


def _are_two(parts: Sequence[Measures], scores: Sequence[float]) -> bool:
    """Whether parts (best first) that look more like an insect than the whole does lie apart from each other."""
    return any(
        score > _ANOTHER * scores[0] and _apart(parts[0], part) for part, score in zip(parts, scores, strict=True)
    )


def _apart(a: Measures, b: Measures) -> bool:
    return bool(
        a.left_px + a.wide_px <= b.left_px or b.left_px + b.wide_px <= a.left_px
        or a.top_px + a.high_px <= b.top_px or b.top_px + b.high_px <= a.top_px
    )  # fmt: skip
