"""The two photographs of one tray of water, before it was swirled and after, read together.

What hangs in the water moves; what sticks to the tray, or is a mark of it, stays. Nothing is answered by this: a body may stick, and a
bubble may drift. Every mark is named in one of the four parts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from cli.lots.laid_over import Pairs, laid_over, may_be_one, nearest, places_of
from cli.lots.likeness import unlikeness
from cli.lots.marks import Mark, in_order
from cli.review.answers import SpeckId

BEFORE, AFTER = "water", "swirl"
"""The two views."""


@dataclass(frozen=True)
class Swirled:
    """Marks of both photographs, each in one place."""

    stayed: tuple[tuple[Mark, Mark], ...]
    """At one place before and after, alike in size: stuck, or a mark on the tray."""
    moved: tuple[tuple[Mark, Mark], ...]
    """Elsewhere, with size, form and light kept: may be one body."""
    before_only: tuple[Mark, ...]
    """Without a partner: may be bubbles that burst, or bodies that went out of view."""
    after_only: tuple[Mark, ...]
    """Without a partner: may be new bubbles, or bodies that came into view."""


def swirled(before: Sequence[Mark], after: Sequence[Mark]) -> Swirled:
    """The marks of the photograph before the swirl and of the one after it, read together.

    Places are compared in millimetres on the plane of the slip, or in pixels where neither photograph has a scale. Where enough marks say
    that the camera has moved between the two, it is allowed for.
    """
    before, after = in_order(before), in_order(after)
    stayed = _stayed(before, after)
    gone = {speck for pair in stayed for speck in pair}
    loose = [mark for mark in before if mark.speck not in gone]
    moved = _moved(loose, [mark for mark in after if mark.speck not in gone])
    gone |= {speck for pair in moved for speck in pair}
    marks = {mark.speck: mark for mark in (*before, *after)}
    return Swirled(
        tuple((marks[one], marks[other]) for one, other in stayed),
        tuple((marks[one], marks[other]) for one, other in moved),
        tuple(mark for mark in before if mark.speck not in gone),
        tuple(mark for mark in after if mark.speck not in gone),
    )


def _stayed(before: Sequence[Mark], after: Sequence[Mark]) -> Pairs:
    unmoved = nearest(before, after, *places_of(before, after))
    return max(unmoved, laid_over(before, after), key=len)


def _moved(before: Sequence[Mark], after: Sequence[Mark]) -> list[tuple[SpeckId, SpeckId]]:
    """Those most alike first, each in one pair."""
    alike = sorted(
        (unlikeness(one, other) or 0.0, number, one.speck, other.speck)
        for number, (one, other) in enumerate(product(before, after))
        if may_be_one(one, other)
    )
    pairs: list[tuple[SpeckId, SpeckId]] = []
    taken: set[SpeckId] = set()
    for _, _, one_speck, other_speck in alike:
        if not {one_speck, other_speck} & taken:
            pairs.append((one_speck, other_speck))
            taken |= {one_speck, other_speck}
    return pairs
