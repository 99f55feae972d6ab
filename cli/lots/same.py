"""Count animals, not marks: marks that may be one animal, offered for a person to say, and what marks come to either way.

Two views of one piece, the two photographs round a swirl, or two that overlap may show one animal twice. Nothing is linked here: an offer
is a question. The offers that stand are such that each mark is in one at most, and that all of them taken as one animal give the smaller
of the two totals.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby, product

from cli.lots.entries import Link
from cli.lots.likeness import contradict, unlikeness
from cli.lots.marks import CARD, KEPT_APART, Animal, Mark, Range, animals, in_order, place_in_list
from cli.lots.matching import matched
from cli.lots.rule_text import folded
from cli.lots.same_place import Places, places_in
from cli.lots.why_same import Reason, reasons_for

_AT_ONE_PLACE, _ON_ONE_CARD = -2.0, -1.0
"""Unlikeness of what is more than alike: it comes before all that is."""


@dataclass(frozen=True)
class Offer:
    """Marks that may be one animal, each on a photograph of its own unless a person linked two of one."""

    marks: tuple[Mark, ...]
    reasons: tuple[Reason, ...]
    unlikeness: float
    """Of the two that are least alike; below 0 where a place or a card speaks for one animal."""


@dataclass(frozen=True)
class Totals:
    """What marks come to where every offer that stands is one animal, and where only what a person linked is."""

    if_same: Range
    if_different: Range
    apart: Mapping[str, tuple[Range, Range]]
    """The same two of what is told beside the animals, by its word in KEPT_APART."""


def offers(marks: Iterable[Mark], links: Iterable[Link]) -> tuple[Offer, ...]:
    """Marks that may be one animal and of which nobody has said so or otherwise, the most alike first.

    Marks of one lot and sample only, and never two of one photograph. `links` come in the order in which they were entered.
    """
    offered = [
        Offer(tuple(group.marks), reasons_for(group.marks, places), max(group.costs))
        for groups, places in _by_sample(animals(marks, links))
        for group in groups
        if group.costs
    ]
    return tuple(sorted(offered, key=lambda offer: (offer.unlikeness, place_in_list(offer.marks[0]))))


def totals(marks: Iterable[Mark], links: Iterable[Link]) -> Totals:
    """How many animals the marks stand for, both ways."""
    said = animals(marks, links)
    same = [Animal(tuple(group.marks)) for groups, _ in _by_sample(said) for group in groups]
    apart = {body: (_sum(same, body), _sum(said, body)) for body in KEPT_APART}
    return Totals(_sum(same, ""), _sum(said, ""), {body: both for body, both in apart.items() if both[1].most})


def _sum(of: Iterable[Animal], body: str) -> Range:
    return sum((animal.range for animal in of if animal.body == body), Range())


@dataclass
class _Group:
    """Marks that may be one animal; at most one animal among them is a person's word."""

    marks: list[Mark]
    card: str = ""
    """On which somebody said that it lies."""
    costs: list[float] = field(default_factory=list)
    """How unlike each mark was that joined it."""


def _by_sample(said: Sequence[Animal]) -> Iterator[tuple[list[_Group], Places]]:
    for _, of_sample in groupby(said, lambda animal: (animal.marks[0].lot, animal.marks[0].sample)):
        own = list(of_sample)
        places = places_in(mark for animal in own for mark in animal.marks)
        yield _possible(own, places), places


def _possible(said: Sequence[Animal], places: Places) -> list[_Group]:
    """The animals of a sample in few groups that may be one each: photograph by photograph, the most alike found first."""
    groups = [_Group(list(animal.marks), animal.card) for animal in said if animal.said]
    loose = sorted((animal.marks[0] for animal in said if not animal.said), key=_turn)
    for _, of_shot in groupby(loose, lambda mark: mark.speck.shot_sha256):
        new = list(of_shot)
        costs = {
            (row, column): cost
            for (row, mark), (column, group) in product(enumerate(new), enumerate(groups))
            if (cost := _cost(mark, group, places)) is not None
        }
        pairs = matched(costs)
        for row, mark in enumerate(new):
            if row in pairs:
                group = groups[pairs[row]]
                group.marks = in_order([*group.marks, mark])
                group.costs.append(costs[row, pairs[row]])
            else:
                groups.append(_Group([mark]))
    return groups


def _turn(mark: Mark) -> tuple[str, ...]:
    """Finds on cards come last: by then what they may have been lifted from is there."""
    return ("1" if mark.view == CARD else "0", mark.shot, *place_in_list(mark))


def _cost(mark: Mark, group: _Group, places: Places) -> float | None:
    """How unlike a mark is to the one of a group that it resembles most; None where it can't be one animal with all of them."""
    if any(contradict(mark, other) or places.rule_out(mark, other) for other in group.marks):
        return None
    if group.card and mark.view == CARD and folded(mark.card):
        return _ON_ONE_CARD if folded(group.card) == folded(mark.card) else None
    costs = [_pair_cost(mark, other, places) for other in group.marks]
    return min((cost for cost in costs if cost is not None), default=None)


def _pair_cost(mark: Mark, other: Mark, places: Places) -> float | None:
    if places.agree(mark, other):
        return _AT_ONE_PLACE
    if mark.view == other.view == CARD and folded(mark.card) and folded(mark.card) == folded(other.card):
        return _ON_ONE_CARD
    return unlikeness(mark, other)
