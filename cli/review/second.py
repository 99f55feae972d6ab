"""Second eyes: which flags are read again, by whom, where two readings disagree, and which word then counts."""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from cli.review.answers import INSECT, LOOK_AGAIN, Answer, Key, Said, SpeckId, same_person
from cli.review.store import SecondReading

AGREED, ONE_READING, AWAITED, DISAGREED, DECIDED, OPEN = "agreed", "one", "awaited", "disagreed", "decided", "open"
"""How a speck stands: both readings say the same; one reading was all that was asked; a second is still to come; two differ and a third
is still to come; a third has decided; nobody has answered yet, or somebody wants to look again."""


@dataclass(frozen=True)
class Standing:
    """How one speck stands, and the answer that counts; None where none does yet."""

    state: str
    word: Said | None


def drawn(specks: Iterable[SpeckId], asked: SecondReading) -> frozenset[SpeckId]:
    """Those that a second reading takes in: each with the chance `share`, by a hash of the seed and the speck.

    So the draw does not depend on the order, and a flag that is added later is drawn or not without moving the others.
    """
    return frozenset(speck for speck in specks if _lot(speck, asked.seed) < asked.share)


def _lot(speck: SpeckId, seed: str) -> float:
    """A number in [0, 1) that nobody can steer without the seed."""
    text = f"{seed}\n{speck.shot_sha256}\n{speck.run}\n{speck.candidate}".encode()
    return int.from_bytes(hashlib.sha256(text).digest()[:8], "big") / 2**64


def standing(speck: SpeckId, words: Mapping[Key, Said], twice: frozenset[SpeckId]) -> Standing:
    """How a speck stands from its last word in each reading; `twice`: the specks that are to be read again."""
    first, second, third = (words.get((speck, reading)) for reading in (1, 2, 3))
    if third is not None:
        return Standing(OPEN, third) if _looks_again(third) else Standing(DECIDED, third)
    if first is None or _looks_again(first):
        return Standing(OPEN, first)
    if second is None:
        return Standing(AWAITED if speck in twice else ONE_READING, first)
    if _looks_again(second):
        return Standing(OPEN, second)
    return Standing(DISAGREED, None) if differ(first, second) else Standing(AGREED, first)


def differ(first: Said, second: Said) -> bool:
    """Whether two answers do not go together: insect or not, or two different kinds. A kind that one leaves out is no difference."""
    one, other = first.answer, second.answer
    kinds = {kind_of(one), kind_of(other)} - {""}
    return one.answer != other.answer or (one.answer == INSECT and len(kinds) > 1)


def kind_of(answer: Answer) -> str:
    """The kind as it is compared: case, the coding of accents and spaces make no other kind."""
    return " ".join(unicodedata.normalize("NFKC", answer.kind).casefold().split())


def of_reading(
    reading: int, specks: Iterable[SpeckId], words: Mapping[Key, Said], twice: frozenset[SpeckId]
) -> list[SpeckId]:
    """The specks that a reading is about, in the order given: all, those drawn, or those on which two readings disagree."""
    if reading == 1:
        return list(specks)
    if reading == 2:
        return [speck for speck in specks if speck in twice]
    return [speck for speck in specks if (speck, 3) in words or standing(speck, words, twice).state == DISAGREED]


def who_stands_in_the_way(speck: SpeckId, reading: int, reviewer: str, words: Mapping[Key, Said]) -> bool:
    """Whether this person has answered on the speck in another reading: nobody is a second pair of eyes to themselves."""
    others = (words.get((speck, other)) for other in (1, 2, 3) if other != reading)
    return any(word is not None and same_person(word.answer.reviewer, reviewer) for word in others)


def _looks_again(word: Said) -> bool:
    return word.answer.answer == LOOK_AGAIN
