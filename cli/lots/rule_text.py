"""What the words of a house rule may hold, and how they stand inside a sentence of ours. They are never changed."""

from __future__ import annotations

import unicodedata
from datetime import date
from functools import lru_cache

from vision.errors import SpeckwiseError

_TURNS_TEXT = frozenset("\u202a\u202b\u202c\u202d\u202e")
"""What turns the direction of all that follows. Marks that a text in two scripts needs may stand, isolates closed in their line."""
_OPENS, _CLOSES = frozenset("\u2066\u2067\u2068"), "\u2069"
_UNSHOWN = frozenset({"Cc", "Cs", "Zl", "Zp"})
"""Control characters, halves of pairs, and separators of lines that only some programs see."""
_FIRST_STRONG = "\u2068"
_TO_LEFT = frozenset({"R", "AL"})
_LONGEST_SHOWN = 40


class RuleError(SpeckwiseError):
    """A house rule, or what it is to be read on, can't be meant; the message is a whole sentence and names what is wrong."""


def check_line(name: str, value: object, longest: int) -> None:
    """Raises RuleError where this is not one line with something to see in it."""
    _check(name, value, longest, "")
    if not folded(str(value)):
        raise RuleError(f"{name} is empty: write it in.")


def check_words(name: str, value: object, longest: int) -> None:
    """Raises RuleError where this is not a text of one line or more with something to see in it."""
    _check(name, value, longest, "\n\t")
    if not folded(str(value)):
        raise RuleError(f"{name} is empty: write it in.")


def _check(name: str, value: object, longest: int, may_stand: str) -> None:
    if not isinstance(value, str):
        raise RuleError(f"{name} must be a text, not {shown(value)}.")
    if len(value) > longest:
        raise RuleError(f"{name} has {len(value)} characters: write it in {longest} or less.")
    if any((unicodedata.category(c) in _UNSHOWN and c not in may_stand) or c in _TURNS_TEXT for c in value):
        raise RuleError(f"{name} holds a control character: write it without.")
    if not all(map(_isolates_close, value.split("\n"))):
        raise RuleError(f"{name} holds a mark of direction that is not closed in its line: write it without.")


def _isolates_close(line: str) -> bool:
    """Whether what a line sets apart ends in it, so that it can't take in words of ours."""
    deep = 0
    for c in line:
        deep += (c in _OPENS) - (c == _CLOSES)
        if deep < 0:
            return False
    return deep == 0


def check_day(name: str, value: object) -> None:
    """Raises RuleError for what is no date, and for a date with a time of day."""
    # A datetime is a date to Python; compared with one it would fail, and its day depends on where it is read.
    if type(value) is not date:
        raise RuleError(f"{name} must be a date such as 2026-03-31, without a time of day, not {shown(value)}.")


def check_whole(name: str, value: object, least: int, most: int) -> None:
    """Raises RuleError for what is no whole number from `least` to `most`."""
    if type(value) is not int or not least <= value <= most:
        raise RuleError(f"{name} must be a whole number from {least} to {most}, not {shown(value)}.")


def check_among(name: str, value: object, known: tuple[str, ...]) -> None:
    """Raises RuleError for a word that is none of those known."""
    if not isinstance(value, str) or value not in known:
        raise RuleError(f"{name} must be one of: {', '.join(word or 'empty' for word in known)}; not {shown(value)}.")


def shown(value: object) -> str:
    """A value as a message shows it: its first 40 characters."""
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "..."


@lru_cache(maxsize=4096)
def folded(text: str) -> str:
    """A text as it is compared: case, the coding of accents, spaces and what is not seen make no other text."""
    once = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return " ".join("".join(c for c in once if unicodedata.category(c) != "Cf").split())


def named(words: str) -> str:
    """Somebody's words inside a sentence of ours, as they are; those that run right to left keep to themselves (UAX 9, isolates)."""
    runs_left = any(unicodedata.bidirectional(c) in _TO_LEFT for c in words)
    return f"{_FIRST_STRONG}{words}{_CLOSES}" if runs_left else words


def quoted(words: str) -> str:
    """The same in quotation marks, so that it is seen whose words they are."""
    return f'"{named(words)}"'


def listed(names: tuple[str, ...] | list[str]) -> str:
    """Several as a person lists them: 'a', 'a and b', 'a, b and c'."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
