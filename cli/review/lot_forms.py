"""The short forms on a lot: which fields each has, and the entry that is made of them.

To add one: fields under its entry's word in FORMS, what makes the entry in _MADE, and labels in the catalogue.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from types import MappingProxyType

from cli.batch.belonging import BELONGS
from cli.lots.entries import (
    AFTER_WASH,
    DRAINED,
    FIRST_LOOK,
    LOOKED_AGAIN,
    RAW,
    Correction,
    Decided,
    DetectionGiven,
    FoundByHand,
    LateEntry,
    LotOf,
    Removed,
    Sampled,
    Value,
)
from cli.lots.entry_fields import check_among
from cli.review.answers import BASES, BODIES, LONGEST_KIND, LONGEST_NAME, LONGEST_NOTE, AnswerError, one_spelling
from cli.review.form_fields import AREA, CHOICE, DAY, NUMBER, TICK, TICKED, TIME, Field, Reader
from cli.review.words import say
from vision.guides.views import VIEWS

DECISION = "decision"
"""The one of these forms that needs the supervisor's key."""
FOUND_ROWS = 12
_SAMPLE = Field("sample", listed="samples")
_WHEN = (Field("day", DAY), Field("time", TIME), Field("offset", longest=6))


def _found(row: int) -> tuple[Field, ...]:
    return (
        Field("kind", longest=LONGEST_KIND, listed="kinds", row=row),
        Field("body", CHOICE, ("", *BODIES), "body", row=row),
        Field("least", NUMBER, row=row),
        Field("most", NUMBER, row=row),
        Field("piece", row=row),
    )


_KNOWN: Mapping[str, tuple[str, ...]] = {"view": tuple(VIEWS), "grams_are": (RAW, DRAINED)}
"""What some of a photograph's belonging can be at all."""
FORMS: Mapping[str, tuple[Field, ...]] = MappingProxyType(
    {
        "sampled": (
            _SAMPLE,
            Field("pieces", NUMBER),
            Field("grams", NUMBER),
            Field("grams_are", CHOICE, ("", RAW, DRAINED)),
            Field("check", NUMBER, begins="1"),
            Field("look", CHOICE, (FIRST_LOOK, AFTER_WASH, LOOKED_AGAIN), begins=FIRST_LOOK),
            Field("on", DAY),
        ),
        "lot_of": (Field("pieces", NUMBER),),
        "removed": (
            _SAMPLE,
            Field("piece"),
            Field("what", AREA, needed=True, longest=LONGEST_NOTE),
            Field("whole", TICK),
            Field("in_error", TICK),
        ),
        "detection": (Field("assumed", NUMBER), Field("seen", NUMBER), Field("put_in", NUMBER)),
        "correction": (Field("shot_sha256", CHOICE), Field("field", CHOICE, tuple(BELONGS), "belongs"), Field("value")),
        "late_entry": (
            _SAMPLE,
            Field("pieces", NUMBER, needed=True),
            *_WHEN,
            Field("checker", needed=True),
            Field("check", NUMBER, begins="1"),
            Field("basis", CHOICE, ("", *BASES[:2]), "basis"),
            Field("note", AREA, longest=LONGEST_NOTE),
            *(each for row in range(1, FOUND_ROWS + 1) for each in _found(row)),
        ),
        DECISION: (
            Field("text", AREA, needed=True, longest=LONGEST_NOTE),
            Field("decided_by", needed=True, longest=LONGEST_NAME),
            Field("late", CHOICE, ("no", "yes"), begins="no"),
            *_WHEN,
        ),
    }
)


def entry_of(reader: Reader) -> Value:
    """The entry that a form was filled in with. Raises AnswerError in a sentence that names what is wrong."""
    make = _MADE.get(reader.form)
    if make is None:
        raise AnswerError(say(reader.words, "lot.no_form"))
    return make(reader)


def _sampled(read: Reader) -> Sampled:
    return Sampled(
        read.text("sample"),
        read.whole("pieces"),
        read.number("grams"),
        read.text("grams_are"),
        read.whole("check") or 1,
        read.text("look"),
        read.text("on"),
    )


def _lot_of(read: Reader) -> LotOf:
    return LotOf(read.whole("pieces"))


def _removed(read: Reader) -> Removed:
    ticked = [read.text(name) == TICKED for name in ("whole", "in_error")]
    return Removed(read.text("sample"), read.text("piece"), read.text("what"), *ticked)


def _detection(read: Reader) -> DetectionGiven:
    percent = read.number("assumed")
    return DetectionGiven(None if percent is None else percent / 100, read.whole("seen"), read.whole("put_in"))


def _correction(read: Reader) -> Correction:
    field, value = read.text("field"), read.text("value")
    if field == "grams" and (grams := read.number("value")) is not None:
        value = f"{grams:.12g}"
    elif field == "check" and (check := read.whole("value")) is not None:
        value = str(check)
    elif field in _KNOWN:
        check_among(read.words[f"belongs.{field}"], value, (*_KNOWN[field], ""))
    return Correction(read.text("shot_sha256"), field, value)


def _late_entry(read: Reader) -> LateEntry:
    pieces = read.whole("pieces")
    if pieces is None:
        raise AnswerError(say(read.words, "lot.no_pieces"))
    found = tuple(found for row in range(1, FOUND_ROWS + 1) if (found := _found_by_hand(read, row)))
    sample, note, checker = read.text("sample"), read.text("note"), read.text("checker")
    check = read.whole("check") or 1
    return LateEntry(sample, pieces, found, read.time(), checker, note, check, read.text("basis"))


def _found_by_hand(read: Reader, row: int) -> FoundByHand | None:
    """One line of what was written by hand; None where nothing stands in it."""
    kind, body, piece = (read.text(name, row) for name in ("kind", "body", "piece"))
    least, most = read.whole("least", row), read.whole("most", row)
    if least is None:
        if kind or body or piece or most is not None:
            raise AnswerError(say(read.words, "lot.no_count", row=row))
        return None
    known = {read.words[key].casefold(): key.removeprefix("kind.") for key in read.words if key.startswith("kind.")}
    kind = known.get(kind.casefold(), one_spelling(kind))
    return FoundByHand(kind, body, least, least if most is None else most, piece)


def _decided(read: Reader) -> Decided:
    late = read.text("late") == "yes"
    if late and not read.has_time():
        raise AnswerError(say(read.words, "lot.late_needs_time"))
    at = read.time() if read.has_time() else datetime.now().astimezone().isoformat(timespec="seconds")
    return Decided(read.text("text"), read.text("decided_by"), at, late)


_MADE: Mapping[str, Callable[[Reader], Value]] = {
    "sampled": _sampled,
    "lot_of": _lot_of,
    "removed": _removed,
    "detection": _detection,
    "correction": _correction,
    "late_entry": _late_entry,
    DECISION: _decided,
}
