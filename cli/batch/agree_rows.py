"""Rows of two tables side by side: how far their cells lie apart, and which candidates of a shot are the same one."""

from __future__ import annotations

import math
import re
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from operator import itemgetter

from vision.table import CANDIDATES, PERSON_COLUMNS, SHOTS, Column

FAR = Decimal("Infinity")
"""The distance of cells that are not one number each, and of texts that do not say the same."""
LEAST_REACH_PX = 1.5

CANDIDATE_AT = {column.name: k for k, column in enumerate(CANDIDATES)}
SHOT_AT = {column.name: k for k, column in enumerate(SHOTS)}

_SPOKEN = ("why", "reasons", "drift")
"""Texts that say numbers which were measured."""
_NUMERAL = re.compile(r"(\d+(?:\.\d+)?)")
_HALF_TURN_DEG = 180

# What says whose row it is, what depends on the rest of the list, and what a person fills is not compared cell by cell.
_APART = ("shot", "shot_sha256", "run", "candidate", "candidates", *PERSON_COLUMNS)
_CANDIDATE_CELLS = tuple(k for k, column in enumerate(CANDIDATES) if column.name not in _APART)
_SHOT_CELLS = tuple(k for k, column in enumerate(SHOTS) if column.name not in _APART)
_content = itemgetter(*_CANDIDATE_CELLS)

Row = Sequence[str]


@dataclass(frozen=True)
class Apart:
    """Two cells of one column that differ."""

    column: Column
    before: str
    after: str
    units: Decimal
    """How far they lie apart, in units of their last printed digit; FAR where that can't be said."""

    @property
    def within(self) -> bool:
        """Whether another machine may print the one for the other."""
        return self.units <= 1


@dataclass(frozen=True)
class Match:
    """One candidate in both tables."""

    before: Row
    after: Row
    apart: tuple[Apart, ...] = ()


@dataclass(frozen=True)
class Matched:
    """The candidates of a shot: those in both tables, and those in one."""

    both: tuple[Match, ...]
    only_before: tuple[Row, ...]
    only_after: tuple[Row, ...]


def number_of(cell: str) -> Decimal | None:
    """The number that a cell holds; None where it holds none."""
    try:
        number = Decimal(cell)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def units_apart(column: Column, before: str, after: str) -> Decimal:
    """How far two cells lie apart, in units of their last printed digit; FAR where that can't be said.

    Texts have to be the same, letter by letter; in those that say what was measured each number counts by its own last digit.
    """
    if before == after:
        return Decimal(0)
    if column.kind == "text":
        return _spoken_apart(before, after) if column.name in _SPOKEN else FAR
    one, other = number_of(before), number_of(after)
    if one is None or other is None:
        return FAR
    distance = abs(one - other)
    if column.name == "angle_deg":
        # A body has no head here: 179.9 and 0.0 are neighbours.
        distance %= _HALF_TURN_DEG
        distance = min(distance, _HALF_TURN_DEG - distance)
    return distance.scaleb(column.digits)


def _spoken_apart(before: str, after: str) -> Decimal:
    one, other = _NUMERAL.split(before), _NUMERAL.split(after)
    if one[::2] != other[::2]:
        return FAR
    units = Decimal(0)
    for a, b in zip(map(Decimal, one[1::2]), map(Decimal, other[1::2]), strict=True):
        if a.as_tuple().exponent != b.as_tuple().exponent:
            return FAR
        units = max(units, abs(a - b) / Decimal(1).scaleb(int(a.as_tuple().exponent)))
    return units


def shot_cells_apart(before: Row, after: Row) -> list[Apart]:
    """What differs between two rows of shots.csv, the number of candidates left out."""
    return _cells_apart(SHOTS, _SHOT_CELLS, before, after)


def _cells_apart(columns: Sequence[Column], places: Sequence[int], before: Row, after: Row) -> list[Apart]:
    return [
        Apart(columns[k], before[k], after[k], units_apart(columns[k], before[k], after[k]))
        for k in places
        if before[k] != after[k]
    ]


def match_candidates(before: Sequence[Row], after: Sequence[Row]) -> Matched:
    """The candidates of one shot in two tables, each with the one at its place, whatever their numbers.

    Rows that say the same are the same. Of the others those that agree best, then those that are nearest, as long as their middles lie
    within half the longer side of the smaller one's box, 1.5 px at least. A middle may move by 0.1 px between machines; the wider reach
    tells of one that moved further as moved, not as lost and found. Half a length is what the review desk takes for the same place, too;
    two specks so near to each other keep apart, because each of them agrees better with itself.
    """
    both: dict[int, tuple[int, tuple[Apart, ...]]] = {}
    waiting: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for j in reversed(range(len(after))):
        waiting[_content(after[j])].append(j)
    for i, row in enumerate(before):
        same = waiting.get(_content(row))
        if same:
            both[i] = same.pop(), ()
    left = [i for i in range(len(before)) if i not in both]
    right = sorted(j for places in waiting.values() for j in places)
    taken: set[int] = set()
    for _, _, i, j, apart in sorted(_near_pairs(before, after, left, right), key=itemgetter(0, 1, 2, 3)):
        if i not in both and j not in taken:
            both[i] = j, apart
            taken.add(j)
    return Matched(
        tuple(Match(before[i], after[j], apart) for i, (j, apart) in sorted(both.items())),
        tuple(before[i] for i in left if i not in both),
        tuple(after[j] for j in right if j not in taken),
    )


def _near_pairs(
    before: Sequence[Row], after: Sequence[Row], left: Sequence[int], right: Sequence[int]
) -> list[tuple[int, float, int, int, tuple[Apart, ...]]]:
    """Those that lie within each other's reach: how many cells disagree, distance in px, place in either list, differing cells."""
    spots = sorted((*spot, j) for j in right if (spot := _spot(after[j])) is not None)
    xs = [spot[0] for spot in spots]
    pairs = []
    for i in left:
        spot = _spot(before[i])
        if spot is None:
            continue
        x, y, reach = spot
        for other_x, other_y, other_reach, j in spots[bisect_left(xs, x - reach) : bisect_right(xs, x + reach)]:
            distance = math.hypot(x - other_x, y - other_y)
            if distance <= min(reach, other_reach):
                apart = tuple(_cells_apart(CANDIDATES, _CANDIDATE_CELLS, before[i], after[j]))
                pairs.append((sum(not each.within for each in apart), distance, i, j, apart))
    return pairs


def _spot(row: Row) -> tuple[float, float, float] | None:
    """Middle and reach in px; None where the row tells of no place."""
    x, y, wide, high = (number_of(row[CANDIDATE_AT[name]]) for name in ("x_px", "y_px", "wide_px", "high_px"))
    if x is None or y is None:
        return None
    return float(x), float(y), max(LEAST_REACH_PX, float(max(wide or 0, high or 0)) / 2)
