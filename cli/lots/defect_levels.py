"""FDA's defect levels for insects in processed produce, as dated data, and where a count lies beside one of them, only where somebody asks.

They are no measure of a fresh lot. Each is an average over a lot of frozen, canned or dried food, counted in a laboratory, at which the
authority of one country may act; below it the law still asks for as few defects as can be had. None is a number per piece, and none binds a
religious authority. Cauliflower, lettuce and cabbage have none.

What they are stands in `defect_levels.toml`, with source and date.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cache
from importlib import resources

from cli.lots.per import Per
from cli.lots.rates import Rate
from vision.errors import CallError


@dataclass(frozen=True)
class Handbook:
    """Where the levels stand."""

    source: str
    dated: date
    seen: str
    """How it was read, as it was not read at its source."""
    for_what: str
    without_entry: tuple[str, ...]
    """Products that were looked for and have none."""
    levels: tuple[DefectLevel, ...]


@dataclass(frozen=True)
class DefectLevel:
    """An average over a lot at which FDA may act."""

    product: str
    state: str
    """What was done to it: frozen, canned or dried; '' where that is not said."""
    animals: str
    per_g: float
    over: str
    """Whether the number reaches the level ("at or above") or only what is beyond it does ("more than")."""
    method: str
    count: int | None = None
    """Animals in `per_g`; None where the level goes by lengths alone."""
    from_mm: float | None = None
    """Length from which they count; None for any."""
    added_up_mm: float | None = None
    """What their lengths add up to; None where they are only counted."""

    @property
    def per_hundred_grams(self) -> float | None:
        """Animals in 100 g; None where the level goes by lengths and not by a count alone."""
        return None if self.count is None or self.added_up_mm is not None else self.count * 100 / self.per_g


class Beside(StrEnum):
    """Where the limits of a rate lie beside a level."""

    BELOW = "below"
    AROUND = "around"
    """One limit on each side, or no upper limit: the count can't tell."""
    REACHED = "reached"


@dataclass(frozen=True)
class Compared:
    """A rate in 100 g and a level in 100 g."""

    rate: Rate
    level: DefectLevel
    handbook: Handbook
    beside: Beside


@cache
def handbook() -> Handbook:
    """All levels that come with the program, in the order of the file."""
    text = resources.files("cli.lots").joinpath("defect_levels.toml").read_text(encoding="utf-8")
    values = tomllib.loads(text)
    levels = tuple(DefectLevel(**each) for each in values.pop("level"))
    return Handbook(levels=levels, without_entry=tuple(values.pop("without_entry")), **values)


def levels_of(product: str) -> tuple[DefectLevel, ...]:
    """All levels of a product, whatever the case of its letters. Raises CallError, with those there are, where it has none."""
    book = handbook()
    found = tuple(each for each in book.levels if each.product.casefold() == product.casefold())
    if not found:
        there = ", ".join(dict.fromkeys(each.product for each in book.levels))
        raise CallError(f"{book.source} has no level here for {product!r}. Ask for one of: {there}.")
    return found


def compared(rate: Rate, level: DefectLevel) -> Compared:
    """Where a rate per 100 g lies beside a level. Whoever asks answers for the animals counted being those of the level.

    Raises CallError for a rate per anything else, and for a level that goes by lengths.
    """
    if rate.effort.per is not Per.HUNDRED_GRAMS:
        raise CallError(f"A defect level is per 100 g and not per {rate.effort.per}: weigh what was looked at.")
    number = level.per_hundred_grams
    if number is None:
        raise CallError(
            f"The level of {level.animals} in {level.product} goes by their lengths: a count can't be put beside it."
        )
    low, high = getattr(rate.limits, "low", 0.0), rate.limits.high

    def reached(value: float) -> bool:
        return value > number if level.over == "more than" else value >= number

    beside = Beside.REACHED if reached(low) else Beside.AROUND if reached(high) else Beside.BELOW
    return Compared(rate, level, handbook(), beside)
