"""What a guide's file may hold: one line in EXPECTED and MISTAKEN for each key, and how each is read.

A reader takes where it stands ("the guide 'leek', expect 2, length_mm") and a value, and raises GuideError in a sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from vision.errors import GuideError
from vision.names import INSECTS, NOT_INSECTS
from vision.shapes import BY_NAME

AFTER = ("raw", "heated", "rinsed")
"""The state of the produce, or of the water it was rinsed in, in which an insect looks as the guide says."""
_LONGEST_MM = 60.0


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

    @property
    def line(self) -> str:
        """One line for a person, without its source."""
        size = _span(self.length_mm) + (f" x {_span(self.width_mm)}" if self.width_mm else "") + " mm"
        return f"{self.name}, {self.after}: {self.colour}; {self.shape}, {size}"


@dataclass(frozen=True)
class Mistaken:
    """One thing that is easily taken for an insect; `kinds`: what a candidate that resembles it is called, some of NOT_INSECTS."""

    name: str
    kinds: tuple[str, ...] = ()


def _span(span: tuple[float, float]) -> str:
    return f"{span[0]:g}-{span[1]:g}"


def text(where: str, value: Any) -> str:
    """A text that says something."""
    if not isinstance(value, str) or not value.strip():
        raise GuideError(f"In {where} must be a text.")
    return value


def texts(where: str, value: Any) -> tuple[str, ...]:
    """One text or more."""
    if not isinstance(value, list) or not value:
        raise GuideError(f"In {where} must be a list of texts.")
    return tuple(text(where, each) for each in value)


def one_of(*known: str) -> Callable[[str, Any], str]:
    """A reader of one of the names."""

    def read(where: str, value: Any) -> str:
        if value not in known:
            raise GuideError(f"In {where} must be one of: {', '.join(known)}.")
        return str(value)

    return read


def some_of(*known: str) -> Callable[[str, Any], tuple[str, ...]]:
    """A reader of a list of the names, which may be empty."""

    def read(where: str, value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(each in known for each in value):
            raise GuideError(f"In {where} must be a list of some of: {', '.join(known)}.")
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


EXPECTED: Mapping[str, Callable[[str, Any], Any]] = {
    "kind": one_of(*INSECTS),
    "name": text,
    "after": one_of(*AFTER),
    "length_mm": span_mm,
    "colour": text,
    "shape": one_of(*BY_NAME),
    "source": text,
    "width_mm": span_mm,
}
MISTAKEN: Mapping[str, Callable[[str, Any], Any]] = {"name": text, "kinds": some_of(*NOT_INSECTS)}
OPTIONAL = frozenset({"width_mm", "kinds"})


def entries(where: str, value: Any, readers: Mapping[str, Callable[[str, Any], Any]]) -> list[dict[str, Any]]:
    """A list of tables with the keys of `readers`, as what `Expected` and `Mistaken` are made from."""
    if not isinstance(value, list) or not value:
        raise GuideError(f"In {where} must be one table or more.")
    out = []
    for count, entry in enumerate(value, start=1):
        here = f"{where} {count}"
        if not isinstance(entry, dict):
            raise GuideError(f"In {here} must be a table.")
        if wrong := sorted((set(readers) ^ set(entry)) - (OPTIONAL & set(readers))):
            raise GuideError(f"In {here}, these keys are missing or not known: {', '.join(wrong)}.")
        out.append({key: readers[key](f"{here}, {key}", entry[key]) for key in entry})
    return out
