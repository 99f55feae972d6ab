"""The lots of a desk as they stand: which photographs belong to each, what people entered, how its flags stand, which rule was given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import TypeVar

from cli.lots.decision import DECIDED, HELD, Decision
from cli.lots.entries import FIRST_LOOK, Correction, Decided, Entered, LateEntry, RuleGiven, Sampled, Value
from cli.lots.gather import belonging
from cli.lots.rule import HouseRule
from cli.lots.rule_chain import counts_only
from cli.lots.rule_file import read_rule
from cli.lots.rule_text import RuleError
from cli.lots.rule_words import unreadable
from cli.review.answers import INSECT
from cli.review.desk import Desk
from cli.review.second import AGREED, ONE_READING, Standing
from cli.review.second import DECIDED as DECIDED_BY_THIRD
from cli.review.shelf import DeskShot

_V = TypeVar("_V", bound=Value)
SETTLED = frozenset({AGREED, ONE_READING, DECIDED_BY_THIRD})
"""How a flag stands whose answer waits for nobody."""


@dataclass(frozen=True)
class LotCounts:
    """What the answers on a lot's photographs are so far. Counts of answers, never of what is in the produce."""

    photographs: int
    open: int
    """Flags that still wait for somebody, in any reading."""
    confirmed: int
    """Flags answered as an insect."""


@dataclass(frozen=True)
class RuleStands:
    """The rule that was given last on a lot, None where none was or it can't be read, and the sentence why there are counts only; ''."""

    rule: HouseRule | None
    sentence: str


@dataclass(frozen=True)
class LotBook:
    """All lots of a run and its record, at one moment."""

    shots: tuple[DeskShot, ...]
    entries: tuple[Entered, ...]
    standings: Mapping[str, list[Standing]]

    @cached_property
    def belongs(self) -> dict[str, dict[str, str]]:
        """What each photograph belongs to, put right: cells by name, by SHA-256."""
        told = {shot.sha256: dict(shot.cells) | belonging(shot) for shot in self.shots}
        for each in self.entries:
            if isinstance(each.value, Correction) and each.value.shot_sha256 in told:
                told[each.value.shot_sha256][each.value.field] = each.value.value
        return told

    @cached_property
    def _by_lot(self) -> dict[str, list[DeskShot]]:
        lots: dict[str, list[DeskShot]] = {}
        for shot in self.shots:
            lots.setdefault(self.belongs[shot.sha256]["lot"], []).append(shot)
        return lots

    @cached_property
    def _values(self) -> dict[str, list[Value]]:
        values: dict[str, list[Value]] = {}
        for each in self.entries:
            values.setdefault(each.lot, []).append(each.value)
        return values

    @property
    def lots(self) -> list[str]:
        """Names of the lots with photographs in this run; '' for those without a name, last."""
        return sorted(self._by_lot, key=lambda lot: (lot == "", lot))

    @property
    def lots_without_photographs(self) -> list[str]:
        """Names of the lots on which something was entered and which have no photograph in this run."""
        return sorted(set(self._values) - {*self._by_lot, ""})

    def shots_of(self, lot: str) -> list[DeskShot]:
        """A lot's photographs."""
        return self._by_lot.get(lot, [])

    def samples_of(self, lot: str) -> list[str]:
        """Names of samples that a lot is known to have."""
        named = {self.belongs[shot.sha256]["sample"] for shot in self.shots_of(lot)}
        named |= {getattr(value, "sample", "") for value in self._values.get(lot, [])}
        return sorted(named - {""})

    def counts(self, lot: str) -> LotCounts:
        """What the answers on its photographs are so far."""
        shots = self.shots_of(lot)
        stand = [each for shot in shots for each in self.standings.get(shot.sha256, [])]
        settled = [each for each in stand if each.state in SETTLED and each.word]
        confirmed = sum(each.word is not None and each.word.answer.answer == INSECT for each in settled)
        return LotCounts(len(shots), len(stand) - len(settled), confirmed)

    def entries_of(self, lot: str) -> list[Entered]:
        """What was entered on a lot, in order; what puts the belonging of one of its photographs right, too, wherever that was entered."""
        own = {shot.sha256 for shot in self.shots_of(lot)}
        return [
            each
            for each in self.entries
            if each.lot == lot or (isinstance(each.value, Correction) and each.value.shot_sha256 in own)
        ]

    def last(self, lot: str, kind: type[_V]) -> _V | None:
        """The entry of a kind that counts on a lot: the last one."""
        return next((value for value in reversed(self._values.get(lot, [])) if isinstance(value, kind)), None)

    def decision(self, lot: str) -> Decision | None:
        """What was decided on a lot last."""
        decided = self.last(lot, Decided)
        return decided.as_decision() if decided else None

    def state(self, lot: str) -> str:
        """`held` until there is a decision, then `decided`."""
        return HELD if self.last(lot, Decided) is None else DECIDED

    def rule(self, lot: str, today: date) -> RuleStands:
        """The rule of a lot, and whether it can be read on it on a day."""
        given = self.last(lot, RuleGiven)
        rule = None
        if given is not None and given.text:
            try:
                rule = read_rule(given.text.encode("utf-8"))
            except RuleError as error:
                return RuleStands(None, unreadable(str(error)))
        return RuleStands(rule, counts_only(rule, self.produce(lot), self._first_day(lot, today), today))

    def produce(self, lot: str) -> str:
        """What kind of produce a lot is, where all its photographs say the same; ''."""
        said = {self.belongs[shot.sha256]["produce"] for shot in self.shots_of(lot)}
        return said.pop() if len(said) == 1 else ""

    def _first_day(self, lot: str, today: date) -> date:
        """The day of a lot's first check, as far as anybody said; else today."""
        said = [day for value in self._values.get(lot, []) if (day := _day(_said_day(value)))]
        # A person's word goes before a camera's clock.
        taken = [_day(self.belongs[shot.sha256]["taken_at"][:10]) for shot in self.shots_of(lot)]
        return min(said or [day for day in taken if day], default=today)


def _said_day(value: Value) -> str:
    """The day that an entry says of a first check; ''."""
    if isinstance(value, Sampled) and value.look == FIRST_LOOK:
        return value.on
    if isinstance(value, LateEntry) and value.check == 1:
        return datetime.fromisoformat(value.at).date().isoformat()
    return ""


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def book_of(desk: Desk) -> LotBook:
    """The lots of a desk now."""
    return LotBook(desk.shelf.shots, tuple(desk.store.entries()), desk.standings_by_shot())
