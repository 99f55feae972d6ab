"""What a guide's file may hold: one line in KEYS, EXPECTED, MISTAKEN and REMOVES for each key, and how each is read.

A reader takes where it stands ("the guide 'leek', expect 2, length_mm") and a value, and raises GuideError in a sentence.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from vision.errors import GuideError
from vision.guides.views import FACES, OF_SAMPLES, VIEWS
from vision.names import INSECTS, NOT_INSECTS
from vision.shapes import BY_NAME
from vision.types import Ground, LitFrom

Reader = Callable[[str, Any], Any]

AFTER = ("raw", "heated", "rinsed")
"""The state of the produce, or of the water it was rinsed in, in which an insect looks as the guide says."""
HEATED = "heated"
REMOVED = "removed"
"""What is logged of a piece of which something was taken off instead of looked at: an outcome, and not a finding of none."""
_LONGEST_MM = 60.0
_UNSHOWN = {"Cc", "Cs", "Zl", "Zp"}
_TURNS_TEXT = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class Unit(StrEnum):
    """What of a lot is looked at."""

    EVERY_PIECE = "every piece"
    DRAWN_SAMPLE = "a drawn sample"


@dataclass(frozen=True)
class Expected:
    """One kind of insect to expect, as it looks after a preparation."""

    kind: str
    """One of vision.names.INSECTS."""
    name: str
    after: str
    length_mm: tuple[float, float]
    colour: str
    shape: str
    source: str
    width_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Mistaken:
    """One thing that is easily taken for an insect; `kinds`: what a candidate that resembles it is called, some of NOT_INSECTS."""

    name: str
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True)
class Removes:
    """What is peeled, scraped or cut off instead of looked at."""

    what: tuple[str, ...]
    shot: str
    """The view of what came off, one of FACES."""
    instead_of: tuple[str, ...]
    """The faces that nobody has to see once it is off."""


def text(where: str, value: Any) -> str:
    """A text that says something, on one line, and that can do nothing to a terminal."""
    if not isinstance(value, str) or not value.strip():
        raise GuideError(f"In {where} must be a text.")
    if any(unicodedata.category(letter) in _UNSHOWN or letter in _TURNS_TEXT for letter in value):
        raise GuideError(f"In {where} must be on one line, without control characters.")
    return value


def texts(where: str, value: Any) -> tuple[str, ...]:
    """One text or more."""
    if not isinstance(value, list) or not value:
        raise GuideError(f"In {where} must be a list of texts.")
    return tuple(text(where, each) for each in value)


def some_texts(where: str, value: Any) -> tuple[str, ...]:
    """A list of texts, which may be empty."""
    return () if value == [] else texts(where, value)


def one_of(*known: str) -> Callable[[str, Any], str]:
    """A reader of one of the names."""

    def read(where: str, value: Any) -> str:
        if value not in known:
            raise GuideError(f"In {where} must be one of: {', '.join(known)}.")
        return str(value)

    return read


def member_of(kind: type[StrEnum]) -> Reader:
    """A reader of one of an enumeration's values."""
    read = one_of(*kind)
    return lambda where, value: kind(read(where, value))


def some_of(*known: str) -> Callable[[str, Any], tuple[str, ...]]:
    """A reader of a list of the names, each at most once, which may be empty."""

    def read(where: str, value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(each in known for each in value):
            raise GuideError(f"In {where} must be a list of some of: {', '.join(known)}.")
        if len(set(value)) < len(value):
            raise GuideError(f"In {where} must name each once.")
        return tuple(map(str, value))

    return read


def number(where: str, value: Any, least: float, most: float) -> float:
    """A number within limits."""
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not least <= value <= most:
        raise GuideError(f"In {where} must be a number from {least:g} to {most:g}.")
    return float(value)


def span_mm(where: str, value: Any) -> tuple[float, float]:
    """The least and the most, in millimetres."""
    if not isinstance(value, list) or len(value) != 2:
        raise GuideError(f"In {where} must be two numbers: the least and the most.")
    least, most = (number(where, each, 0.05, _LONGEST_MM) for each in value)
    if least > most:
        raise GuideError(f"In {where}, the least is more than the most.")
    return least, most


def entry(where: str, value: Any, readers: Mapping[str, Reader]) -> dict[str, Any]:
    """A table with the keys of `readers`, read."""
    if not isinstance(value, dict):
        raise GuideError(f"In {where} must be a table.")
    if wrong := sorted((set(readers) ^ set(value)) - (OPTIONAL & set(readers))):
        raise GuideError(f"In {where}, these keys are missing or not known: {', '.join(wrong)}.")
    return {key: readers[key](f"{where}, {key}", value[key]) for key in value}


def entries(readers: Mapping[str, Reader], made: Callable[..., Any]) -> Reader:
    """A reader of one table or more, each with the keys of `readers`, of which `made` makes a value."""

    def read(where: str, value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or not value:
            raise GuideError(f"In {where} must be one table or more.")
        return tuple(made(**entry(f"{where} {count}", each, readers)) for count, each in enumerate(value, start=1))

    return read


def px_per_mm(where: str, value: Any) -> dict[str, float]:
    """A table of views and how fine a picture each asks for."""
    if not isinstance(value, dict):
        raise GuideError(f"In {where} must be a table of views.")
    if unknown := sorted(set(value) - set(VIEWS)):
        raise GuideError(f"In {where} does not know the view {unknown[0]!r}; there are: {', '.join(VIEWS)}.")
    return {view: number(f"{where}.{view}", need, 1, 400) for view, need in value.items()}


EXPECTED: Mapping[str, Reader] = {
    "kind": one_of(*INSECTS),
    "name": text,
    "after": one_of(*AFTER),
    "length_mm": span_mm,
    "colour": text,
    "shape": one_of(*BY_NAME),
    "source": text,
    "width_mm": span_mm,
}
MISTAKEN: Mapping[str, Reader] = {"name": text, "kinds": some_of(*NOT_INSECTS)}
REMOVES: Mapping[str, Reader] = {"what": some_texts, "shot": one_of(*FACES), "instead_of": some_of(*FACES)}
KEYS: Mapping[str, Reader] = {
    "title": text,
    "unit": member_of(Unit),
    "lit_from": member_of(LitFrom),
    "ground": member_of(Ground),
    "before": texts,
    "preparation": texts,
    "look_at": texts,
    "views": some_of(*VIEWS),
    "faces": some_of(*FACES),
    "sample": some_of(*OF_SAMPLES),
    "removes": lambda where, value: Removes(**entry(where, value, REMOVES)),
    "expect": entries(EXPECTED, Expected),
    "mistaken": entries(MISTAKEN, Mistaken),
    "source": text,
    "px_per_mm": px_per_mm,
}
OPTIONAL = frozenset({"width_mm", "kinds", "px_per_mm"})
