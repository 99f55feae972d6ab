"""How well sizes and shapes are read: flags that hit, at the default cut, against the drawn bodies of ten pixels and more.

Bodies that are partly hidden (less than 0.95 in view) have no whole outline to measure and are left out. The true class: trails are
`trail`; else `round` where a body is less than 2.5 times as long as wide; else `curved` where the drawing says so (its ends lie nearer than
0.9 of its length), else `linear`. Gnats and cast skins have no one class of their own and are counted apart.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.counting import ShotCount
from vision.render import TrueBody
from vision.shapes import SHAPES
from vision.types import Candidate, Cut

_LEAST_PX, _LEAST_IN_VIEW = 10.0, 0.95
_LONG_OVER_WIDE = 2.5
APART = ("gnat", "skin")


@dataclass(frozen=True)
class Sized:
    """One body that was hit: its length, relative errors of length and width, and its classes."""

    kind: str
    curved: bool
    length_mm: float
    length_error: float
    width_error: float
    shape: str
    named: str


def true_shape(body: TrueBody) -> str:
    """The class a body was drawn in."""
    if body.kind == "trail":
        return "trail"
    if body.length_mm < _LONG_OVER_WIDE * body.width_mm:
        return "round"
    return "curved" if body.curved else "linear"


def sized(counted: ShotCount, flags: Sequence[Candidate], px_per_mm: float) -> list[Sized]:
    """Every body that a flag of the default cut hit; `flags` are those that were counted."""
    out = []
    for body, score, k in zip(counted.bodies, counted.hits, counted.flags, strict=True):
        told = body.length_mm * px_per_mm >= _LEAST_PX and body.visible >= _LEAST_IN_VIEW
        if not told or score < Cut().min_score:
            continue
        x = flags[k].measures
        errors = x.length_px / px_per_mm / body.length_mm - 1, x.width_px / px_per_mm / body.width_mm - 1
        out.append(Sized(body.kind, body.curved, body.length_mm, *errors, true_shape(body), flags[k].shape))
    return out


def sizing_rows(name: str, found: Sequence[Sized]) -> list[str]:
    """Table rows: straight, curved and all bodies."""
    rows = []
    for form, some in (
        ("straight", [s for s in found if not s.curved]),
        ("curved", [s for s in found if s.curved]),
        ("all", found),
    ):
        if some:
            length, width = np.array([s.length_error for s in some]), np.array([s.width_error for s in some])
            cells = [f"{np.median(np.abs(v)):.1%} | {np.median(v):+.1%}" for v in (length, width)]
            rows.append(f"| {name} | {form} | {len(some)} | {' | '.join(cells)} |")
    return rows


def shape_rows(found: Sequence[Sized]) -> list[str]:
    """Table rows of true against named class, and the share that is right."""
    names = [shape.name for shape in SHAPES]
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for s in found:
        table[f"({s.kind})" if s.kind in APART else s.shape][s.named] += 1
    drawn = [n for n in (*names, *(f"({kind})" for kind in APART)) if table[n]]
    rows = [f"| {n} | " + " | ".join(str(table[n][named]) for named in names) + " |" for n in drawn]
    right, of = sum(table[n][n] for n in names), sum(sum(table[n].values()) for n in names)
    return [*rows, f"\nNamed as drawn, gnats and skins aside: {right} of {of} = {right / max(of, 1):.2f}"]
