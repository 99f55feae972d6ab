"""The catalogue: every sentence that a person reads at the desk, in one file a language."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from cli.lots.rule_text import named
from vision.words import NONE_FLAGGED, WHO_DECIDES

DEFAULT = "en"


@cache
def catalogue(language: str = DEFAULT) -> Mapping[str, str]:
    """Sentences by key, `language` and `direction` (ltr, rtl) among them. Raises FileNotFoundError where there is no such file."""
    return read_catalogue(
        resources.files("cli.review").joinpath("words", f"{language}.toml").read_text(encoding="utf-8")
    )


def read_catalogue(text: str) -> Mapping[str, str]:
    """Sentences by key from the text of a catalogue: tables within tables become keys with dots."""
    words = dict(_flat(tomllib.loads(text), ""))
    return {"who_decides": WHO_DECIDES, "whole.none_flagged": NONE_FLAGGED} | words


def _flat(table: Mapping[str, Any], before: str) -> list[tuple[str, str]]:
    pairs: list[tuple[str, str]] = []
    for key, value in table.items():
        pairs += _flat(value, f"{before}{key}.") if isinstance(value, dict) else [(before + key, str(value))]
    return pairs


def say(words: Mapping[str, str], key: str, **values: object) -> str:
    """One sentence with its values put in, each keeping the direction it is read in. Raises KeyError for a key that the catalogue lacks."""
    return words[key].format(**{name: named(each) if isinstance(each, str) else each for name, each in values.items()})


def say_many(words: Mapping[str, str], key: str, n: int, **values: object) -> str:
    """The form of a sentence that goes with a number: KEY.one for 1, else KEY.other."""
    return say(words, f"{key}.{'one' if n == 1 else 'other'}", n=n, **values)
