"""Fixed marks of the panel: what a blank shot already showed is no candidate, unless something changed there."""

from __future__ import annotations

import math
from collections.abc import Sequence

from vision.measure import Measured
from vision.types import FixedMark

_SLACK_PX = 3.0
"""How far a mark may seem to have moved: the stand gives a little, and outlines are not exact."""
_DARKER_BY = 1.4
_DARKER_DENSITY = 0.04
"""A speck darker than the mark by this factor and more has something on top of it."""
_LARGER_BY = 1.5


def without_marks(
    measured: Sequence[Measured], marks: Sequence[FixedMark]
) -> tuple[tuple[Measured, ...], tuple[FixedMark, ...]]:
    """Specks that are no fixed mark, and the marks that were left out because nothing changed there."""
    kept: list[Measured] = []
    unchanged: set[int] = set()
    for m in measured:
        same = [k for k, mark in enumerate(marks) if _is_unchanged(m, mark)]
        unchanged.update(same)
        if not same:
            kept.append(m)
    return tuple(kept), tuple(marks[k] for k in sorted(unchanged))


def _is_unchanged(m: Measured, mark: FixedMark) -> bool:
    x = m.measures
    turn = math.radians(mark.angle_deg)
    dx, dy = x.x_px - mark.x_px, x.y_px - mark.y_px
    along = abs(dx * math.cos(turn) + dy * math.sin(turn))
    across = abs(-dx * math.sin(turn) + dy * math.cos(turn))
    length = mark.length_px or 2 * mark.radius_px
    width = mark.width_px or 2 * mark.radius_px
    inside = along <= length / 2 + _SLACK_PX and across <= width / 2 + _SLACK_PX
    as_faint = abs(x.density) <= _DARKER_BY * abs(mark.density) + _DARKER_DENSITY
    as_small = x.length_px <= _LARGER_BY * length + 2 * _SLACK_PX and x.width_px <= _LARGER_BY * width + 2 * _SLACK_PX
    return inside and as_faint and as_small and (x.density > 0) == (mark.density > 0)
