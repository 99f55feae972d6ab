"""Do the tables of two runs agree: byte for byte, as far as two machines' may differ, or not?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import groupby, zip_longest

from cli.batch.agree_rows import (
    CANDIDATE_AT,
    FAR,
    SHOT_AT,
    Apart,
    Match,
    Row,
    match_candidates,
    number_of,
    shot_cells_apart,
    units_apart,
)
from cli.batch.agree_tables import ShotRows, Tables
from cli.batch.agree_words import NEAR, Agreement, Differing, Some
from cli.words import printable
from vision.errors import TableError
from vision.table import CANDIDATES, SHOTS, unescape

_NAMED = 5
_FLAGS = re.compile(r"\bflags?\b")


def compare(before: Tables, after: Tables, cut: float, max_flags: int | None = None) -> Agreement:
    """What the tables of a repeated run have in common with those of the run it repeats.

    `cut` is the least score of the lists, `max_flags` the most rows a shot may have: the lowest score of a list that is full cuts, too.
    Shots are gone through side by side, one name at a time, so tables of any length take little memory. Raises TableError where the
    shots of either do not come in order.
    """
    tally = _Tally(Decimal(str(cut)), max_flags)
    for then, now in _side_by_side(before.shots, after.shots):
        lone_then, lone_now = list(then), list(now)
        for one in then:
            other = next((each for each in lone_now if each.shot_sha256 == one.shot_sha256), None)
            if other is not None:
                lone_then.remove(one)
                lone_now.remove(other)
                tally.shot(one, other)
        for gone, come in zip_longest(lone_then, lone_now):
            tally.lone(gone, come)
    return tally.agreement(before, after)


def _side_by_side(
    before: Iterable[ShotRows], after: Iterable[ShotRows]
) -> Iterator[tuple[Sequence[ShotRows], Sequence[ShotRows]]]:
    """The shots of each name, from both; an empty list where one has none."""
    left, right = _by_name(before), _by_name(after)
    nothing: tuple[str, Sequence[ShotRows]] = "", ()
    then, now = next(left, nothing), next(right, nothing)
    while then[1] or now[1]:
        name = min(name for name, rows in (then, now) if rows)
        one = then[1] if then[0] == name else ()
        other = now[1] if now[0] == name else ()
        yield one, other
        then = next(left, nothing) if one else then
        now = next(right, nothing) if other else now


def _by_name(shots: Iterable[ShotRows]) -> Iterator[tuple[str, Sequence[ShotRows]]]:
    last = None
    for name, rows in groupby(shots, lambda each: each.shot):
        if last is not None and name < last:
            raise TableError(f"The shots are not in order: {printable(name)} comes after {printable(last)}.")
        last = name
        yield name, list(rows)


class _Tally:
    """What has been found so far."""

    def __init__(self, cut: Decimal, max_flags: int | None) -> None:
        self._cut, self._max_flags = cut, max_flags
        self._some: dict[str, Some] = {}
        self._counts: Counter[str] = Counter()
        self._within: Counter[str] = Counter()
        self._beyond: dict[str, Differing] = {}
        self._texts: dict[str, Differing] = {}

    def agreement(self, before: Tables, after: Tables) -> Agreement:
        return Agreement(
            same_bytes=before.sha256 == after.sha256,
            runs=(before.run, after.run),
            shots=self._counts["shots"],
            matched=self._counts["matched"],
            renumbered=self._counts["renumbered"],
            within=dict(self._within),
            beyond=self._beyond,
            texts=self._texts,
            **self._some,
        )

    def lone(self, gone: ShotRows | None, come: ShotRows | None) -> None:
        """A shot whose name and bytes are in one table only, or two of one name."""
        if gone is None or come is None:
            for what, one in (("missing_shots", gone), ("added_shots", come)):
                if one is not None:
                    self._name(what, printable(one.shot))
        elif gone.shot_sha256 and come.shot_sha256:
            self._name("other_bytes", printable(gone.shot))
        else:
            self._once(gone.shot, then=bool(gone.shot_sha256))

    def shot(self, then: ShotRows, now: ShotRows) -> None:
        """A shot that both have."""
        if then.scored != now.scored:
            self._once(then.shot, then=then.scored)
            return
        self._counts["shots"] += 1
        if then.candidates == now.candidates:
            self._counts["matched"] += len(then.candidates)
            self._shot_row(then, now, 0, 0)
            return
        matched = match_candidates(then.candidates, now.candidates)
        self._counts["matched"] += len(matched.both)
        self._numbers(then, now, matched.both)
        for match in matched.both:
            for apart in match.apart:
                self._cell("candidates", then.shot, match.before[CANDIDATE_AT["candidate"]], apart)
        for what, rows, others in (
            ("missing", matched.only_before, now.candidates),
            ("added", matched.only_after, then.candidates),
        ):
            for row in rows:
                self._name(f"{what}_{'near' if self._near(row, others) else 'elsewhere'}", _called(then.shot, row))
        self._shot_row(then, now, len(matched.only_before), len(matched.only_after))

    def _numbers(self, then: ShotRows, now: ShotRows, both: Sequence[Match]) -> None:
        """Numbers that run 1, 2, … in both follow from the rest of the list; others are compared as any cell."""
        place = CANDIDATE_AT["candidate"]
        orderly = _orderly(then.candidates) and _orderly(now.candidates)
        for match in both:
            before, after = match.before[place], match.after[place]
            if before != after and orderly:
                self._counts["renumbered"] += 1
            elif before != after:
                column = CANDIDATES[place]
                apart = Apart(column, before, after, units_apart(column, before, after))
                self._cell("candidates", then.shot, before, apart)

    def _shot_row(self, then: ShotRows, now: ShotRows, gone: int, come: int) -> None:
        one, other = list(then.row), list(now.row)
        if gone or come:
            place = SHOT_AT["reasons"]
            one[place], other[place] = _without_flags(one[place]), _without_flags(other[place])
        for apart in shot_cells_apart(one, other):
            self._cell("shots", then.shot, "", apart)
        place = SHOT_AT["candidates"]
        if not _counts_agree(one[place], other[place], gone, come):
            # A count is not rounded: nothing but the candidates that were told of above may move it.
            self._cell("shots", then.shot, "", Apart(SHOTS[place], one[place], other[place], FAR))

    def _near(self, row: Row, others: Sequence[Row]) -> bool:
        """Whether a candidate that the `others` of its shot are without lies next to a cut."""
        score = number_of(row[CANDIDATE_AT["score"]])
        if score is None:
            return False
        if abs(score - self._cut) <= NEAR:
            return True
        if self._max_flags is None or len(others) < self._max_flags:
            return False
        scores = (number_of(other[CANDIDATE_AT["score"]]) for other in others)
        lowest = min((each for each in scores if each is not None), default=None)
        return lowest is not None and score <= lowest + NEAR

    def _cell(self, table: str, shot: str, candidate: str, apart: Apart) -> None:
        name = f"{table}.{apart.column.name}"
        if apart.within:
            self._within[name] += 1
            return
        if apart.column.kind == "text":
            apart = replace(apart, before=unescape(apart.before), after=unescape(apart.after))
        columns = self._texts if apart.column.kind == "text" else self._beyond
        known = columns.get(name)
        if known is None or apart.units > known.apart.units:
            known = Differing(known.number if known else 0, shot, candidate, apart)
        columns[name] = replace(known, number=known.number + 1)

    def _once(self, shot: str, then: bool) -> None:
        self._name("scored_once", f"{printable(shot)} ({'then' if then else 'now'})")

    def _name(self, what: str, name: str) -> None:
        some = self._some.get(what, Some())
        first = (*some.first, name) if len(some.first) < _NAMED else some.first
        self._some[what] = Some(some.number + 1, first)


def _orderly(rows: Sequence[Row]) -> bool:
    numbers = sorted(number_of(row[CANDIDATE_AT["candidate"]]) or 0 for row in rows)
    return numbers == list(range(1, len(rows) + 1))


def _called(shot: str, row: Row) -> str:
    number, score = row[CANDIDATE_AT["candidate"]], row[CANDIDATE_AT["score"]]
    return f"{printable(shot)} candidate {number} (score {score or 'unknown'})"


def _without_flags(reasons: str) -> str:
    """The sentences that don't speak of how many flags there are."""
    return " ".join(said for said in re.split(r"(?<=\.) ", reasons) if not _FLAGS.search(said))


def _counts_agree(before: str, after: str, gone: int, come: int) -> bool:
    one, other = number_of(before), number_of(after)
    if one is None or other is None:
        return before == after
    return one - gone == other - come
