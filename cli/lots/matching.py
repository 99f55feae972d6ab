"""Pairs between two lists: as many as there can be, the cheapest found first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def matched(costs: Mapping[tuple[int, int], float]) -> dict[int, int]:
    """Rows with their columns, each in one pair at most, of the pairs that have a cost.

    The cheapest pairs are taken first; then pairs are changed where that makes room for one more (augmenting paths, Berge 1957), so that no
    other choice has more of them.
    """
    columns_of: dict[int, list[int]] = {}
    row_of: dict[int, int] = {}
    column_of: dict[int, int] = {}
    for row, column in sorted(costs, key=lambda pair: (costs[pair], pair)):
        columns_of.setdefault(row, []).append(column)
        if row not in column_of and column not in row_of:
            column_of[row], row_of[column] = column, row
    for row in sorted(columns_of):
        if row not in column_of:
            _make_room(row, columns_of, column_of, row_of)
    return column_of


def _make_room(
    start: int, columns_of: Mapping[int, Sequence[int]], column_of: dict[int, int], row_of: dict[int, int]
) -> None:
    """Gives a row a column where others can move on to another one; changes nothing where they can't."""
    come_from: dict[int, int] = {}
    rows = [start]
    for row in rows:
        for column in columns_of[row]:
            if column in come_from:
                continue
            come_from[column] = row
            if column not in row_of:
                _shift(column, come_from, column_of, row_of)
                return
            rows.append(row_of[column])


def _shift(free: int, come_from: Mapping[int, int], column_of: dict[int, int], row_of: dict[int, int]) -> None:
    """Moves each row on the way to the free column."""
    column: int | None = free
    while column is not None:
        row = come_from[column]
        before = column_of.get(row)
        column_of[row], row_of[column] = column, row
        column = before
