"""The next step by a house rule for the checks of one lot, read word for word and never guessed.

Checks of a lot are a chain and all of them stay: a lot can't be checked again until nothing is counted. One more check is read only where
the step before asks for a wash and a check, and it was made after a wash; what is checked beyond that never makes the outcome milder.

A count is a range, and what can't be judged by the rule may add to it. Where the steps differ within, both are said and none is taken.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from cli.lots import rule_words as words
from cli.lots.per import Per
from cli.lots.rule import HouseRule
from cli.lots.rule_counts import Counted
from cli.lots.rule_steps import Step, Then, exact, steps_between
from cli.lots.rule_text import RuleError, check_day, check_line, check_whole, folded, shown

_LONGEST_NAME = 200
_MOST = 100_000_000
_MOST_G = 1e9


class Look(StrEnum):
    """What kind of check it was: the first of its lot, one after a wash, or the same again without one."""

    FIRST = "first"
    AFTER_WASH = "after_wash"
    AGAIN = "again"


class State(StrEnum):
    """What a rule says of a chain."""

    NEXT_STEP = "next_step"
    STOPPED_AT_LIMIT = "stopped_at_limit"
    NOT_READ = "not_read"
    COUNTS_ONLY = "counts_only"


@dataclass(frozen=True)
class Part:
    """What was counted on one piece or sample, at least and at most, and how many more there may be that can't be judged."""

    name: str
    least: int
    most: int
    not_judged: int = 0

    def __post_init__(self) -> None:
        check_line("The name of a piece or sample", self.name, _LONGEST_NAME)
        for name, value in (("least", self.least), ("most", self.most), ("not_judged", self.not_judged)):
            check_whole(f"{name} of {self.name}", value, 0, _MOST)
        if self.most < self.least:
            raise RuleError(f"On {self.name} at most {self.most} are counted and at least {self.least}: exchange them.")


def part_of(name: str, counts: Counted) -> Part:
    """What was counted on one piece or sample by a rule."""
    return Part(name, counts.least, counts.most, counts.not_judged)


@dataclass(frozen=True)
class Check:
    """One check of a lot. Raises RuleError."""

    number: int
    """1, 2, … in the lot."""
    on: date
    """The local day where it was made."""
    look: Look
    parts: tuple[Part, ...]
    per: Per
    """What the parts are: pieces, samples, or all as one (`whole lot`)."""
    open_flags: int
    """Flags that nobody has answered yet, or that are to be looked at again. With one open there is no count to read a rule on."""
    mass_g: float | None = None
    """Of all that was looked at, where it was weighed."""
    digest: str = ""
    """Of the rule by which it was counted; '' where by none."""

    def __post_init__(self) -> None:
        check_whole("The number of a check", self.number, 1, _MOST)
        check_day(f"The day of check {self.number}", self.on)
        check_whole(f"open_flags of check {self.number}", self.open_flags, 0, _MOST)
        if self.per == Per.HUNDRED_GRAMS:
            raise RuleError("A check is counted by pieces, by samples or as a whole; its mass is said beside that.")
        if not self.parts or (self.per == Per.LOT and len(self.parts) > 1):
            raise RuleError(f"Check {self.number} has one part or more, and just one where all is counted as a whole.")
        if len({folded(part.name) for part in self.parts}) < len(self.parts):
            raise RuleError(f"Check {self.number} names a piece or sample twice: give each its own name.")
        if self.mass_g is not None and not 0 < self.mass_g <= _MOST_G:
            raise RuleError(
                f"mass_g of check {self.number} is above 0, not {shown(self.mass_g)}; None where not weighed."
            )

    @property
    def together(self) -> Part:
        """What was counted on all parts: marks on two of them are two animals."""
        parts = self.parts
        sums = (
            sum(part.least for part in parts),
            sum(part.most for part in parts),
            sum(part.not_judged for part in parts),
        )
        return Part("all together", *sums)

    @property
    def least(self) -> int:
        """Counted on all parts, at least."""
        return self.together.least

    @property
    def most(self) -> int:
        """Counted on all parts, at most."""
        return self.together.most

    @property
    def not_judged(self) -> int:
        """How many more there may be that the rule can't be read on."""
        return self.together.not_judged


@dataclass(frozen=True)
class Chain:
    """All checks of one lot, in order. Raises RuleError where one was left out."""

    produce: str
    """The lot's kind of produce; '' where not known."""
    checks: tuple[Check, ...]

    def __post_init__(self) -> None:
        numbers = [check.number for check in self.checks]
        if not numbers:
            raise RuleError("A chain has at least one check: there is nothing yet to read a rule on.")
        if numbers != list(range(1, len(numbers) + 1)):
            raise RuleError(
                f"The checks of a lot are numbered 1 to {len(numbers)} in their order, and these {', '.join(map(str, numbers))}: "
                "every check of a lot stays in its chain."
            )
        for before, check in itertools.pairwise(self.checks):
            if check.on < before.on:
                raise RuleError(f"Check {check.number} is of {check.on}, before check {before.number} of {before.on}.")
        if [check.look == Look.FIRST for check in self.checks] != [number == 1 for number in numbers]:
            raise RuleError("The first check of a lot is its first look, and no other is.")


@dataclass(frozen=True)
class CheckLine:
    """One check of the chain as it stands in the outcome."""

    check: Check
    sentence: str
    is_read: bool
    """Whether the outcome goes by it; earlier ones led to it, later ones do not change it."""


@dataclass(frozen=True)
class Asked:
    """A step of the rule, and the pieces or samples it is for; none named where it is for all."""

    step: Step
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """What the rule says, in one sentence; whose rule that is and who decides; and every check of the chain.

    No outcome decides: the lot is held until a person enters the decision.
    """

    state: State
    sentence: str
    whose: str
    checks: tuple[CheckLine, ...]
    steps: tuple[Asked, ...] = ()
    """What the rule asks for, where that is one thing (for each part)."""


def next_step(rule: HouseRule | None, chain: Chain, on_date: date) -> Outcome:
    """What the rule says of the chain on a local day: that of the last check, or a later one on which it is asked.

    Counts only where there is no rule, or it is not signed, no longer what was signed, for other produce, not yet in force at the first
    check or no longer on that day.

    Raises RuleError for a day before the last check, and for checks that were counted by another rule or version.
    """
    check_day("on_date", on_date)
    last = chain.checks[-1]
    if on_date < last.on:
        raise RuleError(f"on_date is {on_date}, before the last check, of {last.on}: ask on its day or later.")
    said = counts_only(rule, chain.produce, chain.checks[0].on, on_date)
    if rule is None or said:
        lines = tuple(CheckLine(check, words.check_sentence(check), False) for check in chain.checks)
        return Outcome(State.COUNTS_ONLY, said, words.whose(rule), lines)
    for check in chain.checks:
        if check.digest != rule.digest:
            raise RuleError(f"Check {check.number} was not counted by {rule.title}: count it again by this one.")
    found = _walk(rule, chain.checks)
    lines = tuple(
        CheckLine(check, words.check_sentence(check, beyond=check.number > found.number), check.number == found.number)
        for check in chain.checks
    )
    return Outcome(found.state, found.sentence, words.whose(rule), lines, found.steps)


def counts_only(rule: HouseRule | None, produce: str, first: date, on_date: date) -> str:
    """The sentence that a lot first checked on the day `first` has counts only on a day, and why; '' where the rule can be read on it."""
    reason = words.NO_RULE if rule is None else _why_counts_only(rule, produce, first, on_date)
    return f"Counts only: {reason}." if reason else ""


def _why_counts_only(rule: HouseRule, produce: str, first: date, on_date: date) -> str:
    signature = rule.signature
    if signature is None:
        return words.not_signed(rule)
    if signature.digest != rule.digest:
        return words.changed(rule, signature)
    # All checks of the chain are read by this rule, so it must have been in force at the first.
    if first < max(rule.from_date, signature.on):
        return words.not_yet(rule, signature, first)
    if on_date > rule.until_date:
        return words.expired(rule, on_date)
    return "" if rule.is_for(produce) else words.other_produce(rule, produce)


@dataclass(frozen=True)
class _Found:
    state: State
    number: int
    """Of the check by which it goes."""
    sentence: str
    steps: tuple[Asked, ...] = ()


def _walk(rule: HouseRule, checks: Sequence[Check], at: int = 0) -> _Found:
    """The outcome from check `at` on, the ones before having led to it."""
    check, after = checks[at], checks[at + 1 :]
    steps, why = _read(rule, check)
    if why:
        return _Found(State.NOT_READ, check.number, words.not_read(rule, why))
    thens = {asked.step.then for asked in steps}
    if thens & {Then.STOP, Then.HOLD}:
        return _Found(State.NEXT_STEP, check.number, words.next_steps(rule, steps), steps)
    if Then.WASH_AND_CHECK not in thens:
        return _ended(rule, check, steps, after)
    if at >= rule.most_rechecks:
        return _Found(State.STOPPED_AT_LIMIT, check.number, words.stopped(rule, check, steps))
    if not after:
        return _Found(State.NEXT_STEP, check.number, words.next_steps(rule, steps), steps)
    if after[0].look != Look.AFTER_WASH:
        return _Found(State.NOT_READ, after[0].number, words.not_read(rule, words.unwashed(check, steps)))
    return _walk(rule, checks, at + 1)


def _ended(rule: HouseRule, check: Check, steps: tuple[Asked, ...], after: Sequence[Check]) -> _Found:
    """The outcome where the rule asks for no more checks; others were made all the same if there are any."""
    for later in after:
        others, why = _read(rule, later)
        if why or _actions(others) != _actions(steps):
            why = why or words.beyond_differs(check, steps, later, others)
            return _Found(State.NOT_READ, later.number, words.not_read(rule, why))
    return _Found(State.NEXT_STEP, check.number, words.next_steps(rule, steps), steps)


def _actions(steps: tuple[Asked, ...]) -> set[tuple[Then, str]]:
    return {(asked.step.then, asked.step.action) for asked in steps}


def _read(rule: HouseRule, check: Check) -> tuple[tuple[Asked, ...], str]:
    """What the rule asks for after one check, by itself; or why it can't be read, in words."""
    if check.open_flags:
        return (), words.open_flags(check)
    read_on, one, why = _read_on(rule, check)
    found: dict[Step, list[str]] = {}
    for counts in read_on:
        steps = steps_between(rule.steps, counts.least / one, (counts.most + counts.not_judged) / one)
        if not all(step.same_as(steps[0]) for step in steps):
            return (), words.straddles(check, counts, one, steps)
        first = next((step for step in found if step.same_as(steps[0])), steps[0])
        found.setdefault(first, []).append(counts.name)
    asked = tuple(Asked(step, tuple(names) if len(found) > 1 else ()) for step, names in found.items())
    return asked, why


def _read_on(rule: HouseRule, check: Check) -> tuple[tuple[Part, ...], Fraction, str]:
    """The counts that the rule's numbers are compared with, what each is divided by before, and '' or why there are none."""
    # None on all together is none on each, in any unit.
    if rule.per == Per.LOT or check.most + check.not_judged == 0:
        return (check.together,), Fraction(1), ""
    if rule.per == Per.HUNDRED_GRAMS:
        if check.mass_g is None:
            return (), Fraction(1), words.no_mass(check)
        return (check.together,), exact(check.mass_g) / 100, ""
    if check.per != rule.per:
        return (), Fraction(1), words.other_unit(rule, check)
    return check.parts, Fraction(1), ""
