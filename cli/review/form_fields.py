"""Forms of a page as values: what a field is, what was typed into it, how it is read, and how it is shown again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from cli.review.answers import AnswerError
from cli.review.words import say

LINE, AREA, NUMBER, DAY, TIME, CHOICE, TICK, TICKS = (
    *("line", "area", "number", "day", "time"),
    *("choice", "tick", "ticks"),
)
"""Shapes of a field; TICKS are several of some."""
TICKED = "yes"
_DAY, _TIME, _OFFSET = re.compile(r"\d{4}-\d\d-\d\d"), re.compile(r"\d\d:\d\d(:\d\d)?"), re.compile(r"[+-]\d\d:\d\d")
_DECIMAL = re.compile(r"\d{1,9}([.,]\d{1,9})?")
_MOST_DIGITS, _MANY_LINES = 9, 2000


@dataclass(frozen=True)
class Field:
    """One field. `row` counts lines of a form that has several alike; 0: of the form itself."""

    name: str
    shape: str = LINE
    choices: tuple[str, ...] = ()
    """Values; their words stand under `table` in the catalogue. None of a CHOICE: whoever shows the form gives them."""
    table: str = "choice"
    needed: bool = False
    longest: int = 200
    begins: str = ""
    listed: str = ""
    """Which list of known names is offered beside it."""
    wide: bool = False
    """A LINE for long words."""
    row: int = 0

    @property
    def key(self) -> str:
        """Its name in the request: that of its row, too."""
        return f"{self.name}_{self.row}" if self.row else self.name

    @property
    def lines(self) -> int:
        """How many lines of an AREA are shown at once."""
        return 12 if self.longest > _MANY_LINES else 2


@dataclass(frozen=True)
class Typed:
    """What a request holds, by field; every value as often as it was sent."""

    values: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def whole(self, name: str) -> str:
        """A field as it was typed, its lines ended in one way; ''."""
        return (self.values.get(name) or ("",))[0].replace("\r\n", "\n")

    def one(self, name: str) -> str:
        """The same without outer spaces."""
        return self.whole(name).strip()

    def every(self, name: str) -> tuple[str, ...]:
        """All that was ticked."""
        return tuple(self.values.get(name, ()))


@dataclass(frozen=True)
class Reader:
    """Reads what was typed into one form. Methods raise AnswerError in a sentence with the field's own label."""

    form: str
    typed: Typed
    words: Mapping[str, str]

    def text(self, name: str, row: int = 0) -> str:
        """A text without outer spaces."""
        return self.typed.one(Field(name, row=row).key)

    def whole(self, name: str, row: int = 0) -> int | None:
        """A whole number; None where nothing stands."""
        text = self.text(name, row)
        if not text:
            return None
        if not (text.isdecimal() and len(text) <= _MOST_DIGITS):
            raise AnswerError(say(self.words, "lot.no_whole_number", field=self._label(name), typed=text[:40]))
        return int(text)

    def number(self, name: str, row: int = 0) -> float | None:
        """A number with a point or a comma before its decimals; None where nothing stands."""
        text = self.text(name, row)
        if not text:
            return None
        if not _DECIMAL.fullmatch(text):
            raise AnswerError(say(self.words, "lot.no_number", field=self._label(name), typed=text[:40]))
        return float(text.replace(",", "."))

    def has_time(self) -> bool:
        """Whether a day or a time was typed."""
        return bool(self.text("day") or self.text("time"))

    def time(self) -> str:
        """Day, time and offset as RFC 3339; without an offset as this machine's clock was set on that day."""
        day, clock, offset = (self.text(name) for name in ("day", "time", "offset"))
        if not (_DAY.fullmatch(day) and _TIME.fullmatch(clock) and (not offset or _OFFSET.fullmatch(offset))):
            raise AnswerError(say(self.words, "lot.no_time"))
        try:
            at = datetime.fromisoformat(f"{day}T{clock}{offset}")
            return (at if offset else at.astimezone()).isoformat(timespec="seconds")
        except (ValueError, OverflowError, OSError):
            raise AnswerError(say(self.words, "lot.no_time")) from None

    def _label(self, name: str) -> str:
        return say(self.words, f"field.{self.form}_{name}")


@dataclass(frozen=True)
class Option:
    """One of the values that may be chosen."""

    value: str
    label: str
    chosen: bool = False


@dataclass(frozen=True)
class Shown:
    """A field as the page shows it."""

    id: str
    key: str
    label: str
    of: Field
    value: str
    options: tuple[Option, ...] = ()


@dataclass(frozen=True)
class Group:
    """Fields that stand together, under a legend or, where that is '', without one."""

    legend: str
    fields: tuple[Shown, ...]


Offered = Mapping[str, Sequence[tuple[str, str]]]
"""Values and labels of the choices that the catalogue can't know, by field."""


def shown_fields(
    form: str, fields: Sequence[Field], typed: Typed | None, words: Mapping[str, str], offered: Offered | None = None
) -> tuple[Shown, ...]:
    """The fields of a form with what was typed, or as they begin."""
    return tuple(_shown(form, each, typed, words, (offered or {}).get(each.name)) for each in fields)


def _shown(
    form: str, of: Field, typed: Typed | None, words: Mapping[str, str], offered: Sequence[tuple[str, str]] | None
) -> Shown:
    known = (
        offered
        if offered is not None
        else [(each, words[f"{of.table}.{each}"] if each else words["choice.unsaid"]) for each in of.choices]
    )
    given = (of.begins,) if typed is None else typed.every(of.key)
    options = tuple(Option(value, label, value in given) for value, label in known)
    value = of.begins if typed is None else typed.whole(of.key)
    return Shown(f"{form}-{of.key}", of.key, say(words, f"field.{form}_{of.name}"), of, value, options)
