"""Fields of an entry: plain values read as what a dataclass wants of them, and the checks that several entries share."""

from __future__ import annotations

import math
import typing
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from typing import Any

from cli.review.answers import AnswerError, SpeckId, check_line, one_spelling, speck_of

_MOST = 1_000_000


def made(kind: type[Any], given: Mapping[str, object]) -> Any:
    """A frozen dataclass from plain fields. Raises AnswerError where one is lacking, unknown or of another type."""
    known = {field.name: field for field in fields(kind)}
    unknown = sorted(set(given) - set(known))
    if unknown:
        raise AnswerError(f"This entry has no {unknown[0][:40]!r}.")
    lacking = [name for name, f in known.items() if f.default is MISSING and name not in given]
    if lacking:
        raise AnswerError(f"This entry needs {lacking[0]}.")
    hints = typing.get_type_hints(kind)
    values = {name: _read(name, hints[name], value) for name, value in given.items()}
    if "kind" in values and isinstance(values["kind"], str):
        values["kind"] = one_spelling(values["kind"])
    return kind(**values)


def _read(name: str, hint: Any, value: object) -> Any:
    """A plain value as a field of that type."""
    arguments = typing.get_args(hint)
    if typing.get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            raise AnswerError(f"{name} is a list.")
        return tuple(_read(name, arguments[0], each) for each in value)
    if type(None) in arguments:
        return None if value is None else _read(name, arguments[0], value)
    if is_dataclass(hint):
        if not isinstance(value, Mapping):
            raise AnswerError(f"{name} holds an object.")
        return speck_of(value) if hint is SpeckId else made(typing.cast(type[Any], hint), value)
    return _READ[hint](name, value)


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise AnswerError(f"{name} is a text.")
    # As it is: a rule is kept whole, and what is read from the record is what went in.
    return value


def _whole(name: str, value: object) -> int:
    if type(value) is not int:
        raise AnswerError(f"{name} is a whole number.")
    return value


def _number(name: str, value: object) -> float:
    if type(value) not in (int, float) or not abs(typing.cast(float, value)) < 1e12:
        raise AnswerError(f"{name} is a number.")
    return float(typing.cast(float, value))


def _flag(name: str, value: object) -> bool:
    if type(value) is not bool:
        raise AnswerError(f"{name} is yes or no.")
    return value


_READ: Mapping[Any, Callable[[str, object], Any]] = {str: _text, int: _whole, float: _number, bool: _flag}


def check_number(name: str, value: float | None, least: float, open_below: bool = False) -> None:
    """Raises AnswerError where a number that is given is too small, or no number."""
    if value is None:
        return
    if not (math.isfinite(value) and (value > least if open_below else value >= least) and value <= _MOST):
        raise AnswerError(
            f"{name} is a number {'above' if open_below else 'from'} {least:g}{' up' if not open_below else ''}."
        )


def check_among(name: str, value: str, known: tuple[str, ...]) -> None:
    """Raises AnswerError for a word that is not known."""
    if value not in known:
        raise AnswerError(f"{name} can't be {value[:40]!r}: it is {', '.join(word or 'or empty' for word in known)}.")


def check_words(name: str, value: str, longest: int) -> None:
    """Raises AnswerError where nothing is said, or too much."""
    check_long(name, value, longest)
    if not value.strip():
        raise AnswerError(f"The {name} is not said.")


def check_long(name: str, value: str, longest: int) -> None:
    """Raises AnswerError where a text of some lines is too long or can't be shown."""
    if len(value) > longest:
        raise AnswerError(f"The {name} is longer than {longest} characters.")
    # Of a text of many lines each has to be one that can be shown.
    for line in value.replace("\t", " ").replace("\r\n", "\n").split("\n"):
        check_line(name, line, longest)


def check_day(value: str) -> None:
    """Raises AnswerError where a text is neither a day nor empty."""
    if value:
        _parsed(value, "YYYY-MM-DD", lambda text: datetime.strptime(text, "%Y-%m-%d"))


def check_time(value: str) -> None:
    """Raises AnswerError where a text is no time with its offset."""
    at = _parsed(value, "2026-03-01T14:30:00+02:00, say", datetime.fromisoformat)
    if at.utcoffset() is None:
        raise AnswerError("A time needs its offset from UTC: 2026-03-01T14:30:00+02:00, say.")


def _parsed(value: str, form: str, parse: Callable[[str], datetime]) -> datetime:
    try:
        return parse(value)
    except ValueError:
        raise AnswerError(f"{value[:40]!r} is no day or time: write {form}.") from None
