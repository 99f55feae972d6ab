"""What answers add up to, sample by sample, for the page at the end. Counts of answers, never of what is in the produce."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cli.review.answers import COLONY, INSECT, LOOK_AGAIN, NOT_INSECT, Said

NO_ANIMAL = frozenset({"part", "skin", "egg", "trail"})
"""A head stands for one animal, so that one in pieces is not counted twice (common practice, no source); a skin, an egg or a trail is left
by one that may be counted elsewhere."""


@dataclass(frozen=True)
class Counts:
    """Answers on some flags."""

    flags: int = 0
    insect: int = 0
    not_insect: int = 0
    look_again: int = 0
    least: int = 0
    """Animals that the answers `insect` stand for: one each, a colony its range, none for what may be a piece of one counted already."""
    most: int = 0
    remains: int = 0
    """Answers `insect` for which no animal is counted: parts without a head, skins, eggs, trails."""
    not_looked: int = 0
    """Photographs that nobody has looked at as a whole."""

    @property
    def open(self) -> int:
        """What somebody still has to answer."""
        return self.flags - self.insect - self.not_insect

    def plus(self, word: Said | None) -> Counts:
        """One flag more, with its last word."""
        answer = word.answer.answer if word else ""
        least, most = _animals(word)
        return Counts(
            self.flags + 1,
            self.insect + (answer == INSECT),
            self.not_insect + (answer == NOT_INSECT),
            self.look_again + (answer == LOOK_AGAIN),
            self.least + least,
            self.most + most,
            self.remains + (answer == INSECT and most == 0),
            self.not_looked,
        )


def count(words: Iterable[Said | None]) -> Counts:
    """Counts of flags by their last words, None where there is none."""
    counts = Counts()
    for word in words:
        counts = counts.plus(word)
    return counts


def _animals(word: Said | None) -> tuple[int, int]:
    if word is None or word.answer.answer != INSECT:
        return 0, 0
    answer = word.answer
    if answer.body == COLONY:
        return answer.least or 1, answer.most or 1
    return (0, 0) if answer.body in NO_ANIMAL else (1, 1)
