"""Two photographs laid over each other by the marks that both show: turned and moved, never mirrored or stretched.

Three marks that agree by chance are rare among few marks and common among many, so more than half of the marks of the photograph that has
fewer have to agree, and three at least.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, product

from cli.lots.likeness import contradict, unlikeness
from cli.lots.marks import Mark, in_order
from cli.review.answers import SpeckId

TOLERANCE_MM, TOLERANCE_PX = 1.0, 20.0
"""How far one place may seem from itself; the pixels are a millimetre where a shot is as fine as a tray asks for (common practice, no
source)."""
FEWEST = 3
_SPREAD = 5
"""Two marks give a direction only where they lie this many tolerances apart."""
_MOST = 12
"""Marks of a photograph that a fit is looked for with: the longest, as they are found again most surely."""

Places = dict[SpeckId, complex]
Pairs = dict[tuple[SpeckId, SpeckId], float]
"""Marks of a first and a second photograph at one place, and how far apart they lie once laid over: millimetres, or pixels."""


def places_of(before: Sequence[Mark], after: Sequence[Mark]) -> tuple[Places, Places, float]:
    """Places of both in millimetres where both have them, else in pixels where neither has; and the tolerance. Empty where they mix."""
    both = [*before, *after]
    if all(mark.x_mm is None or mark.y_mm is None for mark in both):
        first, second = ({mark.speck: complex(mark.x_px, mark.y_px) for mark in each} for each in (before, after))
        return first, second, TOLERANCE_PX
    first, second = (
        {m.speck: complex(m.x_mm, m.y_mm) for m in each if m.x_mm is not None and m.y_mm is not None}
        for each in (before, after)
    )
    return first, second, TOLERANCE_MM


def laid_over(before: Sequence[Mark], after: Sequence[Mark]) -> Pairs:
    """Marks of two photographs that lie at one place by a turn and a shift that enough of them share; empty where there is none."""
    if min(len(before), len(after)) < FEWEST:
        return {}
    first, second, tolerance = places_of(before, after)
    ones, others = _longest(before, first), _longest(after, second)
    needed = max(FEWEST, min(len(ones), len(others)) // 2 + 1)
    best: Pairs = {}
    for move in _moves(ones, others, first, second, tolerance):
        found = nearest(ones, others, first, second, tolerance, move)
        if (len(found), -sum(found.values())) > (len(best), -sum(best.values())):
            best = found
    if len(best) < needed:
        return {}
    return nearest(before, after, first, second, tolerance, _move([(first[one], second[other]) for one, other in best]))


def nearest(
    before: Sequence[Mark],
    after: Sequence[Mark],
    first: Places,
    second: Places,
    tolerance: float,
    move: Callable[[complex], complex] = lambda place: place,
) -> Pairs:
    """Marks that look alike and lie within the tolerance once the first are moved, each in one pair, the nearest first."""
    moved = {speck: move(place) for speck, place in first.items()}
    near = sorted(
        (abs(moved[one.speck] - second[other.speck]), number, one.speck, other.speck)
        for number, (one, other) in enumerate(product(before, after))
        if one.speck in moved and other.speck in second
        if abs(moved[one.speck] - second[other.speck]) <= tolerance and may_be_one(one, other)
    )
    pairs: Pairs = {}
    taken: set[SpeckId] = set()
    for apart, _, one_speck, other_speck in near:
        if not {one_speck, other_speck} & taken:
            pairs[one_speck, other_speck] = apart
            taken |= {one_speck, other_speck}
    return pairs


def may_be_one(one: Mark, other: Mark) -> bool:
    """Whether nothing that is known of two marks speaks against one animal, their places aside."""
    return not contradict(one, other) and unlikeness(one, other) is not None


def _longest(marks: Sequence[Mark], places: Places) -> list[Mark]:
    placed = [mark for mark in in_order(marks) if mark.speck in places]
    return sorted(placed, key=lambda mark: -(mark.length_mm or 0))[:_MOST]


def _moves(
    ones: Sequence[Mark], others: Sequence[Mark], first: Places, second: Places, tolerance: float
) -> Iterator[Callable[[complex], complex]]:
    """Every turn and shift that brings two marks of the first onto two of the second that look like them."""
    alike = {one.speck: [each.speck for each in others if may_be_one(one, each)] for one in ones}
    for a, b in combinations((one.speck for one in ones), 2):
        apart = abs(first[b] - first[a])
        if apart < _SPREAD * tolerance:
            continue
        for p, q in product(alike[a], alike[b]):
            if p != q and abs(abs(second[q] - second[p]) - apart) <= tolerance:
                yield _move([(first[a], second[p]), (first[b], second[q])])


def _move(pairs: Sequence[tuple[complex, complex]]) -> Callable[[complex], complex]:
    """The turn and shift nearest to all pairs in the sense of least squares (Procrustes in the plane, without stretching)."""
    from_middle = sum(one for one, _ in pairs) / len(pairs)
    to_middle = sum(other for _, other in pairs) / len(pairs)
    turned = sum((one - from_middle).conjugate() * (other - to_middle) for one, other in pairs)
    turn = turned / abs(turned) if turned else 1
    return lambda place: turn * (place - from_middle) + to_middle
