"""The steps of a house rule: which action follows at which number, and that there is exactly one for each number."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from cli.lots.per import Per
from cli.lots.rule_text import RuleError, check_line, quoted, shown

MOST_STEPS, LONGEST_ACTION = 6, 160
"""So that all of them stand on the one page that is signed."""
MOST_ANIMALS = 1_000_000


class Then(StrEnum):
    """What an action means for the chain of checks. Only the first asks for one more."""

    WASH_AND_CHECK = "wash_and_check_again"
    DISCARD_PIECE = "discard_piece"
    STOP = "stop"
    HOLD = "hold"
    GO_ON = "go_on"


@dataclass(frozen=True)
class Step:
    """At these numbers of counted animals this is done: from `low` to `high`, both included. Raises RuleError."""

    low: float
    high: float | None
    """None where no number ends it."""
    action: str
    """In the authority's words, one line."""
    then: Then
    above: bool = False
    """`low` itself is left out: per 100 g, where numbers lie between the whole ones, so that each step begins where the last one ends."""

    def __post_init__(self) -> None:
        for value in (self.low, self.high):
            if value is not None and not _is_number(value):
                raise RuleError(f"A step's numbers lie from 0 to {MOST_ANIMALS}; {shown(value)} does not.")
        check_line("action", self.action, LONGEST_ACTION)
        if not isinstance(self.then, Then):
            raise RuleError(f"then is one of: {', '.join(Then)}; not {shown(self.then)}.")

    def same_as(self, other: Step) -> bool:
        """Whether both ask for the same, in the same words."""
        return (self.then, self.action) == (other.then, other.action)

    def holds(self, number: Fraction | int) -> bool:
        """Whether a number is one of this step's."""
        beyond_low = number > exact(self.low) if self.above else number >= exact(self.low)
        return beyond_low and (self.high is None or number <= exact(self.high))


def _is_number(value: object) -> bool:
    return type(value) in (int, float) and 0 <= value <= MOST_ANIMALS  # type: ignore[operator]


def exact(number: float) -> Fraction:
    """A number as it is written, 0.1 as one tenth."""
    return Fraction(repr(number))


def plain(number: float) -> float:
    """The same number as a whole one where it is, so that 2.0 and 2 are written alike."""
    return int(number) if number == int(number) else number


def numbers_of(step: Step) -> str:
    """The numbers of a step in words: '0', '1 to 2', '3 and more', 'more than 0, up to 2', 'more than 2'."""
    low = plain(step.low)
    if step.high is None:
        return f"more than {low}" if step.above else f"{low} and more"
    high = plain(step.high)
    if step.above:
        return f"more than {low}, up to {high}"
    return f"{low}" if low == high else f"{low} to {high}"


def asked(step: Step) -> str:
    """A step in words: its numbers and its action."""
    return f"{numbers_of(step)}: {quoted(step.action)}"


def steps_between(steps: Sequence[Step], low: Fraction | int, high: Fraction | int) -> list[Step]:
    """The steps of all numbers from `low` to `high`, smallest first. The steps are those of a rule, in order."""
    first = next(at for at, step in enumerate(steps) if step.holds(low))
    last = next(at for at, step in enumerate(steps) if step.holds(high))
    return list(steps[first : last + 1])


def check_steps(steps: Sequence[Step], per: Per) -> None:
    """Raises RuleError, naming the numbers, unless each number from 0 up has exactly one step and they are listed from 0 up."""
    if not 1 <= len(steps) <= MOST_STEPS:
        raise RuleError(f"A rule has 1 to {MOST_STEPS} steps, not {len(steps)}.")
    for count, step in enumerate(steps, start=1):
        _check_form(count, step, per)
    if steps[0].low > 0 or steps[0].above:
        raise RuleError(f"Step 1 begins at {numbers_of(steps[0])}: say what follows at 0, also where it is nothing.")
    for count, (step, after) in enumerate(itertools.pairwise(steps), start=1):
        _check_neighbours(count, step, after)
    if steps[-1].high is not None:
        end = plain(steps[-1].high)
        raise RuleError(f"The steps end at {end}: say what follows at more than {end}.")


def _check_form(count: int, step: Step, per: Per) -> None:
    if step.high is not None and (step.high < step.low or (step.above and step.high == step.low)):
        raise RuleError(
            f"Step {count} goes from {plain(step.low)} to {plain(step.high)}: put the smaller number first."
        )
    if per == Per.HUNDRED_GRAMS:
        if step.above != (count > 1):
            says = (
                "begins with 0 itself"
                if count == 1
                else "says above which number it begins, as 2.5 lies between 2 and 3"
            )
            raise RuleError(f"Per 100 g, step {count} {says}.")
    elif step.above or step.low != int(step.low) or (step.high is not None and step.high != int(step.high)):
        raise RuleError(f"Step {count} ({numbers_of(step)}): animals per {per} are whole numbers, from one to another.")


def _check_neighbours(count: int, step: Step, after: Step) -> None:
    """Of two steps that follow each other; both are in form."""
    both = f"Step {count} ({numbers_of(step)}) and step {count + 1} ({numbers_of(after)})"
    if after.low < step.low or (after.low == step.low and not after.above):
        raise RuleError(f"{both} stand in another order than their numbers: begin with the smallest.")
    if step.high is None:
        raise RuleError(f"{both} both hold for {_span(after.low, after.high, after.above)}: a number has one step.")
    begins = step.high if after.above else step.high + 1
    if after.low < begins:
        end = step.high if after.high is None else min(step.high, after.high)
        raise RuleError(f"{both} both hold for {_span(after.low, end, after.above)}: a number has one step.")
    if after.low > begins:
        left_out = _span(begins, after.low if after.above else after.low - 1, after.above)
        raise RuleError(f"{both} leave out {left_out}: say what follows there.")


def _span(low: float, high: float | None, above: bool) -> str:
    return numbers_of(Step(low, high, "-", Then.HOLD, above))
