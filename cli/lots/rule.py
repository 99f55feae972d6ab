"""The authority's house rule as plain values: its own words, what counts by it, and which action follows at which number.

Words and numbers are the authority's. Nothing here judges them or adds to them: they are checked only for having one meaning. What was
signed has a digest; a rule that is no longer what was signed is not read.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from functools import cached_property

from cli.lots.per import Per
from cli.lots.rule_steps import Step, Then, check_steps, plain
from cli.lots.rule_text import RuleError, check_day, check_line, check_whole, check_words, folded, named, shown
from cli.review.answers import BASES, BODIES

FORMAT, FORMAT_VERSION = "speckwise house rule", 1
LONGEST_AUTHORITY, LONGEST_NAME, LONGEST_STOP, LONGEST_FILE_NAME, LONGEST_TEXT = 120, 80, 160, 200, 20_000
MOST_NAMES = 12
"""Kinds of produce, or of animals, that one rule names."""
MOST_RECHECKS = 20
LONGEST_MM = 100.0
_VERSION_DIGITS = 6
_SHA256 = re.compile("[0-9a-f]{64}")


class Seen(StrEnum):
    """How an animal must have been seen to count: without a loupe, or in any way."""

    UNAIDED = "unaided"
    ANY = "any"


class Colonies(StrEnum):
    """Which number a colony counts with: the least or the most that was said of it, or both, as a range."""

    LEAST = "least"
    MOST = "most"
    BOTH = "both"


@dataclass(frozen=True)
class Counting:
    """What counts as an animal by the rule. Raises RuleError."""

    bodies: frozenset[str]
    """Some of BODIES of cli/review/answers.py."""
    basis: frozenset[str]
    """Some of its BASES: an animal counts that was looked at in one of these ways."""
    kinds: tuple[str, ...] = ()
    """Empty: all."""
    from_length_mm: float | None = None
    """Animals of that length count, and longer ones. None: of any."""
    seen: Seen = Seen.ANY
    colonies: Colonies = Colonies.BOTH

    def __post_init__(self) -> None:
        _check_some_of("bodies", self.bodies, BODIES)
        _check_some_of("basis", self.basis, BASES)
        _check_names("kinds", self.kinds)
        length = self.from_length_mm
        if length is not None and not (type(length) in (int, float) and 0 < length <= LONGEST_MM):
            raise RuleError(
                f"from_length_mm must be a number above 0, up to {LONGEST_MM:g}, not {shown(length)}; leave it out for any length."
            )
        if not isinstance(self.seen, Seen) or not isinstance(self.colonies, Colonies):
            raise RuleError(f"seen is one of: {', '.join(Seen)}; colonies one of: {', '.join(Colonies)}.")


@dataclass(frozen=True)
class Scan:
    """A picture of the signed page: its file's name, without folders, and its SHA-256 (64 hex digits). Raises RuleError."""

    name: str
    sha256: str

    def __post_init__(self) -> None:
        check_line("scan", self.name, LONGEST_FILE_NAME)
        if "/" in self.name or "\\" in self.name:
            raise RuleError(f"scan is the name of a file, without folders, not {shown(self.name)}.")
        if not _SHA256.fullmatch(self.sha256):
            raise RuleError("scan_sha256 has 64 hexadecimal digits, in small letters.")


@dataclass(frozen=True)
class Signature:
    """Who signed what: the digest is that of the rule as it was on that page. Raises RuleError."""

    by: str
    on: date
    scan: Scan
    digest: str

    def __post_init__(self) -> None:
        check_line("by", self.by, LONGEST_NAME)
        check_day("on", self.on)
        if not _SHA256.fullmatch(self.digest):
            raise RuleError("digest has 64 hexadecimal digits, in small letters.")


@dataclass(frozen=True)
class HouseRule:
    """One authority's rule. Raises RuleError where it has no meaning or more than one.

    `text` is what the authority wrote, `counting`, `steps` and what follows the same as it is read; both are on the page that is signed.
    """

    authority: str
    text: str
    counting: Counting
    steps: tuple[Step, ...]
    per: Per
    """What the numbers of all steps are counted in: with two of these, a number could have two steps."""
    from_date: date
    until_date: date
    """Both included. Local days, where the check is made."""
    produce: tuple[str, ...] = ()
    """Empty: all."""
    most_rechecks: int = 0
    when_to_stop: str = ""
    """In the authority's words, what happens when the re-checks are used up; '' where there are none."""
    signature: Signature | None = None

    def __post_init__(self) -> None:
        check_line("authority", self.authority, LONGEST_AUTHORITY)
        check_words("text", self.text, LONGEST_TEXT)
        _check_names("produce", self.produce)
        self._check_days()
        if not isinstance(self.per, Per):
            raise RuleError(f"per is one of: {', '.join(Per)}; not {shown(self.per)}.")
        check_steps(self.steps, self.per)
        self._check_rechecks()

    def _check_days(self) -> None:
        check_day("from_date", self.from_date)
        check_day("until_date", self.until_date)
        if self.until_date < self.from_date:
            raise RuleError(f"until_date, {self.until_date}, comes before from_date, {self.from_date}: exchange them.")
        if self.signature and self.signature.on > self.until_date:
            raise RuleError(
                f"It was signed on {self.signature.on}, after its last day, {self.until_date}: it was never in force."
            )

    def _check_rechecks(self) -> None:
        check_whole("most_rechecks", self.most_rechecks, 0, MOST_RECHECKS)
        again = [count for count, step in enumerate(self.steps, start=1) if step.then == Then.WASH_AND_CHECK]
        if again and self.most_rechecks == 0:
            raise RuleError(
                f"Step {again[0]} asks for another check, and most_rechecks is 0: say how many there may be."
            )
        if not again and (self.most_rechecks or self.when_to_stop):
            raise RuleError("No step asks for another check: most_rechecks is 0 then, and when_to_stop is left out.")
        if again:
            check_line("when_to_stop", self.when_to_stop, LONGEST_STOP)

    @cached_property
    def digest(self) -> str:
        """SHA-256 (64 hex digits) of all that is signed: the rule without its signature."""
        words = json.dumps(signed_values(self), ensure_ascii=False, sort_keys=True, default=date.isoformat)
        return hashlib.sha256(words.encode("utf-8")).hexdigest()

    @property
    def version(self) -> str:
        """The digest's first 6 digits, for people."""
        return self.digest[:_VERSION_DIGITS]

    @property
    def title(self) -> str:
        """Whose rule and which, inside a sentence: 'the rule of NAME (of 2026-01-15, version 1a2b3c)'; the day is that of signing."""
        day = f"of {self.signature.on}, " if self.signature else "not signed, "
        return f"the rule of {named(self.authority)} ({day}version {self.version})"

    def is_for(self, produce: str) -> bool:
        """Whether the rule is for this kind of produce, by its name."""
        return not self.produce or folded(produce) in map(folded, self.produce)


def signed(rule: HouseRule, by: str, on: date, scan: Scan) -> HouseRule:
    """The rule as it is now with the signature that its printed page bears. Raises RuleError."""
    return replace(rule, signature=Signature(by, on, scan, rule.digest))


def signed_values(rule: HouseRule) -> dict[str, object]:
    """All that is signed, as plain values with the keys of the file: what the digest is of."""
    c = rule.counting
    counts: dict[str, object] = {
        "bodies": _in_order(c.bodies, BODIES),
        "kinds": list(c.kinds) or "all",
        "basis": _in_order(c.basis, BASES),
        "seen": str(c.seen),
        "colonies": str(c.colonies),
        "per": str(rule.per),
    }
    if c.from_length_mm is not None:
        counts["from_length_mm"] = plain(c.from_length_mm)
    chain: dict[str, object] = {"most_rechecks": rule.most_rechecks}
    if rule.when_to_stop:
        chain["when_to_stop"] = rule.when_to_stop
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "rule": {
            "authority": rule.authority,
            "produce": list(rule.produce) or "all",
            "from_date": rule.from_date,
            "until_date": rule.until_date,
            "text": rule.text,
        },
        "counts": counts,
        "chain": chain,
        "step": [_step_values(step) for step in rule.steps],
    }


def _step_values(step: Step) -> dict[str, object]:
    values: dict[str, object] = {"above" if step.above else "from": plain(step.low)}
    if step.high is not None:
        values["to"] = plain(step.high)
    return values | {"then": str(step.then), "action": step.action}


def _in_order(some: Iterable[str], known: tuple[str, ...]) -> list[str]:
    return sorted(some, key=known.index)


def _check_some_of(name: str, value: frozenset[str], known: tuple[str, ...]) -> None:
    unknown = sorted(value - set(known))
    if unknown:
        raise RuleError(f"{name} does not know {shown(unknown[0])}; there are: {', '.join(known)}.")
    if not value:
        raise RuleError(f"{name} is empty, so that nothing would count: name one or more of {', '.join(known)}.")


def _check_names(name: str, value: tuple[str, ...]) -> None:
    if len(value) > MOST_NAMES:
        raise RuleError(f"{name} holds {len(value)} names: {MOST_NAMES} at most, or all.")
    for each in value:
        check_line(f"A name in {name}", each, LONGEST_NAME)
        if folded(each) == "all":
            raise RuleError(f'{name} holds the name all: for all of them write "all" in place of the list.')
    if len(set(map(folded, value))) < len(value):
        raise RuleError(f"{name} holds a name twice: leave one out.")
