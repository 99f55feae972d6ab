"""The lots of a desk as they stand: which photographs belong to each, what people entered, how its flags stand, which rule was given."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import TypeVar

from cli.lots.decision import DECIDED, HELD, Decision
from cli.lots.entries import FIRST_LOOK, Correction, Decided, Entered, LateEntry, RuleGiven, Sampled, Value
from cli.lots.gather import LotStands, lots_of
from cli.lots.rule import HouseRule
from cli.lots.rule_chain import counts_only
from cli.lots.rule_file import read_rule
from cli.lots.rule_text import RuleError
from cli.lots.rule_words import unreadable
from cli.review.desk import Desk
from cli.review.shelf import DeskShot

_V = TypeVar("_V", bound=Value)


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
    stands: tuple[LotStands, ...]

    @cached_property
    def lots(self) -> list[str]:
        """Names of the lots with photographs in this run; '' for those without a name, last."""
        return [lot.name for lot in self.stands if lot.photos]

    @property
    def lots_without_photographs(self) -> list[str]:
        """Names of the lots on which something was entered and which have no photograph in this run."""
        return sorted({each.lot for each in self.entries} - {*self.lots, ""})

    def lot(self, name: str) -> LotStands:
        """A lot as it stands; one that nobody has heard of has nothing."""
        return next((lot for lot in self.stands if lot.name == name), LotStands(name, (), (), ()))

    def shots_of(self, lot: str) -> list[DeskShot]:
        """A lot's photographs."""
        return [photo.shot for photo in self.lot(lot).photos]

    def samples_of(self, lot: str) -> list[str]:
        """Names of samples that a lot is known to have."""
        named = {photo.get("sample") for photo in self.lot(lot).photos}
        named |= {getattr(each.value, "sample", "") for each in self.entries if each.lot == lot}
        return sorted(named - {""})

    def counts(self, lot: str) -> LotCounts:
        """What the answers on its photographs are so far."""
        stands = self.lot(lot)
        confirmed = sum(mark.is_insect and not mark.is_open for mark in stands.marks)
        return LotCounts(len(stands.photos), len(stands.open), confirmed)

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
        values = [each.value for each in self.entries if each.lot == lot and isinstance(each.value, kind)]
        return values[-1] if values else None

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
        said = {photo.get("produce") for photo in self.lot(lot).photos} - {""}
        return said.pop() if len(said) == 1 else ""

    def _first_day(self, lot: str, today: date) -> date:
        """The day of a lot's first check, as far as anybody said; else today."""
        said = [day for each in self.entries if each.lot == lot and (day := _day(_said_day(each.value)))]
        # A person's word goes before a camera's clock.
        taken = [_day(shot.cells["taken_at"][:10]) for shot in self.shots_of(lot)]
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
    heard = desk.heard()
    return LotBook(desk.shelf.shots, tuple(heard.entries), lots_of(desk.shelf, heard))
