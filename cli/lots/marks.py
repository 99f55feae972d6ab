"""One confirmed mark as it is compared with others, and the animals that people made of marks by linking them.

A person's word stands: marks of one link are one animal, whatever else is known of them. A mark's last link counts, so that a later one
takes it out of an earlier group. Marks that nobody has linked are animals until somebody says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cli.lots.entries import Link
from cli.review.answers import BODIES, COLONY, SpeckId
from cli.review.counts import NO_ANIMAL

CARD = "card"
"""The view of a find that was lifted to a numbered card."""
KEPT_APART = tuple(body for body in BODIES if body in NO_ANIMAL)
"""What is told beside the animals and not among them. A mummy is a whole body, if a dead one, and so is counted."""


@dataclass(frozen=True)
class Mark:
    """One mark that a person answered to be an insect. What is not known is '' or None."""

    speck: SpeckId
    shot: str = ""
    """The photograph's name."""
    lot: str = ""
    sample: str = ""
    piece: str = ""
    head: str = ""
    """The head that the piece came from."""
    view: str = ""
    card: str = ""
    """Number of the find's card."""
    x_px: float = 0.0
    y_px: float = 0.0
    x_mm: float | None = None
    """On the ground's plane, as is `y_mm`: between two photographs they compare where neither camera nor slip has moved."""
    y_mm: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    size_uncertainty: float | None = None
    """Relative standard uncertainty of both."""
    density: float | None = None
    """Optical density against what is round it."""
    delta_e: float | None = None
    tone: str = ""
    """darker or lighter than what is round it."""
    kind: str = ""
    body: str = ""
    least: int | None = None
    """Of a colony: how many at least and at most."""
    most: int | None = None


@dataclass(frozen=True, order=True)
class Range:
    """How many, at least and at most."""

    least: int = 0
    most: int = 0

    def __add__(self, other: Range) -> Range:
        return Range(self.least + other.least, self.most + other.most)


@dataclass(frozen=True)
class Animal:
    """Marks that are one animal, or one colony."""

    marks: tuple[Mark, ...]
    said: bool = False
    """Whether a person said so: by a link, or by telling it apart from another. Two such groups are two animals."""
    card: str = ""
    """Number of the card that the link named; ''."""

    @property
    def body(self) -> str:
        """What of KEPT_APART it is; '' for an animal that is counted among the others."""
        bodies = {mark.body for mark in self._deciding()}
        return "" if bodies - set(KEPT_APART) else next(body for body in KEPT_APART if body in bodies)

    @property
    def range(self) -> Range:
        """How many it stands for: the card's number where the find lies on one, else the largest of its marks."""
        kept_apart = bool(self.body)
        ranges = [range_of(mark) for mark in self._deciding() if kept_apart or mark.body not in KEPT_APART]
        return Range(max(each.least for each in ranges), max(each.most for each in ranges))

    def _deciding(self) -> Sequence[Mark]:
        """A find on its card is seen closer than anywhere else: what is said of it there decides."""
        return [mark for mark in self.marks if mark.view == CARD] or self.marks


def range_of(mark: Mark) -> Range:
    """How many a mark stands for alone."""
    if mark.body != COLONY or mark.least is None or mark.most is None:
        return Range(1, 1)
    return Range(mark.least, mark.most)


def in_order(marks: Iterable[Mark]) -> list[Mark]:
    """Marks as lists show them, each once: by lot, sample, photograph and number."""
    once = {mark.speck: mark for mark in marks}
    return sorted(once.values(), key=place_in_list)


def place_in_list(mark: Mark) -> tuple[str, ...]:
    """What lists are ordered by."""
    speck = mark.speck
    return mark.lot, mark.sample, mark.shot, speck.shot_sha256, speck.run, f"{speck.candidate:010d}"


def animals(marks: Iterable[Mark], links: Iterable[Link]) -> tuple[Animal, ...]:
    """Marks grouped by what people said, in the order of their first marks. `links` come in the order in which they were entered."""
    given = list(links)
    last = {speck: number for number, link in enumerate(given) for speck in link.specks}
    groups: dict[object, list[Mark]] = {}
    for mark in in_order(marks):
        groups.setdefault(last.get(mark.speck, mark.speck), []).append(mark)
    return tuple(
        Animal(tuple(group), True, given[key].card) if isinstance(key, int) else Animal(tuple(group))
        for key, group in groups.items()
    )
