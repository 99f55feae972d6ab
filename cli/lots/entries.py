"""What people enter on a lot beside their answers on flags: plain values, only ever added, the last one of a matter counting.

To add a kind of entry: add a frozen dataclass and put it into ENTRIES. The record keeps its fields as JSON under that name.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from cli.batch.belonging import BELONGS
from cli.lots.decision import Decision
from cli.lots.entry_fields import check_among, check_day, check_long, check_number, check_time, check_words, made
from cli.lots.rule_text import RuleError
from cli.review.answers import (
    BASES,
    BODIES,
    COLONY,
    LONGEST_KIND,
    LONGEST_NOTE,
    LONGEST_RUN,
    AnswerError,
    SpeckId,
    check_line,
    check_name,
    speck_of,
)

LONGEST_NAME = 200
LONGEST_RULE = 60_000
"""A rule's file holds its own words, 20,000 characters at most, perhaps escaped, and all that stands round them."""
RAW, DRAINED = "raw", "drained"
FIRST_LOOK, AFTER_WASH, LOOKED_AGAIN = "first", "after_wash", "again"


@dataclass(frozen=True)
class Correction:
    """What a photograph belongs to, put right: by its content, so in every run."""

    shot_sha256: str
    field: str
    value: str
    """'' takes away what was said."""

    def __post_init__(self) -> None:
        check_among("field", self.field, tuple(BELONGS))
        check_line(self.field, self.value, LONGEST_NAME)
        speck_of({"shot_sha256": self.shot_sha256, "run": "-", "candidate": 0})


@dataclass(frozen=True)
class Sampled:
    """How much one sample was; what was not said is None. A later entry on the sample says all of it anew."""

    sample: str
    pieces: int | None = None
    """Looked at, whole or cut open."""
    grams: float | None = None
    grams_are: str = ""
    check: int = 1
    """Of the lot, to which this sample belongs: 1 is the first."""
    look: str = FIRST_LOOK
    """What kind of check that is."""
    on: str = ""
    """The local day of the check, YYYY-MM-DD; '' where the photographs say."""

    def __post_init__(self) -> None:
        check_line("sample", self.sample, LONGEST_NAME)
        check_number("pieces", self.pieces, 1)
        check_number("grams", self.grams, 0, open_below=True)
        check_number("check", self.check, 1)
        check_among("grams_are", self.grams_are, (RAW, DRAINED, ""))
        check_among("look", self.look, (FIRST_LOOK, AFTER_WASH, LOOKED_AGAIN))
        if (self.grams is None) != (self.grams_are == ""):
            raise AnswerError("Grams are given together with whether they are raw or drained.")
        if (self.check == 1) != (self.look == FIRST_LOOK):
            raise AnswerError("The first check of a lot is its first look, and no other is.")
        check_day(self.on)


@dataclass(frozen=True)
class LotOf:
    """How many pieces are in the whole lot, as far as anybody knows; None where nobody does."""

    pieces: int | None

    def __post_init__(self) -> None:
        check_number("pieces", self.pieces, 1)


@dataclass(frozen=True)
class Removed:
    """What was peeled, scraped or cut off instead of looked at: an outcome, and not a finding of none."""

    sample: str
    piece: str
    """'' for all pieces of the sample."""
    what: str
    """In words."""
    whole: bool = False
    """The piece itself was taken out."""
    in_error: bool = False
    """Nothing was removed there after all: what was entered before on that piece does not count."""

    def __post_init__(self) -> None:
        for name in ("sample", "piece"):
            check_line(name, getattr(self, name), LONGEST_NAME)
        check_words("what", self.what, LONGEST_NOTE)


@dataclass(frozen=True)
class Link:
    """Marks that one person says are one animal. A mark's last link counts; alone in its link it is an animal of its own."""

    specks: tuple[SpeckId, ...]
    card: str = ""
    """Number of the card on which the find lies, where it was lifted: the mark on the card is the count."""

    def __post_init__(self) -> None:
        if not self.specks or len(set(self.specks)) < len(self.specks):
            raise AnswerError("A link names one mark or more, each once.")
        check_line("card", self.card, LONGEST_NAME)


@dataclass(frozen=True)
class RuleGiven:
    """The house rule by which the lot is read, whole as its file is; '' for counts only from now on."""

    text: str

    def __post_init__(self) -> None:
        check_long("rule", self.text, LONGEST_RULE)


@dataclass(frozen=True)
class DetectionGiven:
    """How many of the insects that are there are seen by this way of looking: assumed, or measured with insects put into pieces."""

    assumed: float | None = None
    """0..1."""
    seen: int | None = None
    put_in: int | None = None

    def __post_init__(self) -> None:
        measured = self.seen is not None or self.put_in is not None
        if (self.assumed is None) == (not measured):
            raise AnswerError("Detection is a share that is assumed, or a number seen of a number put in.")
        if self.assumed is not None and not 0 < self.assumed <= 1:
            raise AnswerError("An assumed share of insects that are seen lies above 0 and up to 1.")
        if measured:
            check_number("put_in", self.put_in, 1)
            check_number("seen", self.seen, 0)
            if self.seen is None or self.put_in is None or self.seen > self.put_in:
                raise AnswerError("No more are seen than were put in, and both numbers are given.")


@dataclass(frozen=True)
class Decided:
    """What a person with the authority decided on the lot, in their words."""

    text: str
    decided_by: str
    at: str
    """RFC 3339 with an offset."""
    late: bool = False
    """Entered later than it was decided."""

    def __post_init__(self) -> None:
        check_words("decision", self.text, LONGEST_NOTE)
        check_name(self.decided_by, "A decision needs the name of who decided.")
        check_time(self.at)
        try:
            # What is kept here is shown as a decision later: it must be able to be one.
            self.as_decision()
        except RuleError as error:
            raise AnswerError(str(error)) from None

    def as_decision(self) -> Decision:
        """The same as the lot's state shows it."""
        return Decision(self.text, self.decided_by, datetime.fromisoformat(self.at), self.late)


@dataclass(frozen=True)
class FoundByHand:
    """Insects written down without a photograph."""

    kind: str
    body: str
    least: int
    most: int
    piece: str = ""

    def __post_init__(self) -> None:
        check_line("kind", self.kind, LONGEST_KIND)
        check_line("piece", self.piece, LONGEST_NAME)
        check_among("body", self.body, (*BODIES, ""))
        check_number("least", self.least, 1)
        check_number("most", self.most, self.least)
        if self.body == COLONY or self.least == self.most:
            return
        raise AnswerError("Only a colony is counted as a range.")


@dataclass(frozen=True)
class LateEntry:
    """What was written by hand while no device might be used, entered afterwards."""

    sample: str
    pieces: int
    """Looked at."""
    found: tuple[FoundByHand, ...]
    at: str
    """When it was looked at: RFC 3339 with an offset. The record's own time says when it was entered."""
    checker: str
    note: str = ""
    check: int = 1
    basis: str = ""
    """How it was looked at, one of BASES; '' where not said."""

    def __post_init__(self) -> None:
        check_among("basis", self.basis, (*BASES, ""))
        check_line("sample", self.sample, LONGEST_NAME)
        check_name(self.checker, "A late entry needs the name of who looked.")
        check_number("pieces", self.pieces, 1)
        check_number("check", self.check, 1)
        check_long("note", self.note, LONGEST_NOTE)
        check_time(self.at)


Value = Correction | Sampled | LotOf | Removed | Link | RuleGiven | DetectionGiven | Decided | LateEntry
ENTRIES: Mapping[str, type[Value]] = types.MappingProxyType(
    {
        "correction": Correction,
        "sampled": Sampled,
        "lot_of": LotOf,
        "removed": Removed,
        "link": Link,
        "rule": RuleGiven,
        "detection": DetectionGiven,
        "decision": Decided,
        "late_entry": LateEntry,
    }
)
_WORDS = {kind: word for word, kind in ENTRIES.items()}


@dataclass(frozen=True)
class Entered:
    """One entry, before (`number` 0) or after it has its place in the record."""

    lot: str
    """'' where the lot has no name, and for what belongs to no single lot."""
    by: str
    value: Value
    token: str = ""
    number: int = 0
    at: str = ""
    """RFC 3339, UTC, as the record's clock said."""
    clock: str = ""
    """A sentence where that clock can't be right; ''."""

    def __post_init__(self) -> None:
        check_line("lot", self.lot, LONGEST_NAME)
        check_name(self.by, "An entry needs the name of who makes it.")
        check_line("token", self.token, LONGEST_RUN)

    @property
    def what(self) -> str:
        """Its word in ENTRIES."""
        return _WORDS[type(self.value)]


def plain(value: Value) -> dict[str, Any]:
    """An entry's fields as what JSON can hold."""
    return asdict(value)


def value_of(what: str, given: Mapping[str, object]) -> Value:
    """An entry from plain fields, as a page or the record gives them. Raises AnswerError where one is lacking, unknown or wrong."""
    kind = ENTRIES.get(what)
    if kind is None:
        raise AnswerError(f"There is no entry called {what[:40]!r}.")
    return typing.cast(Value, made(kind, given))
