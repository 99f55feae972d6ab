"""Entries on a lot for tests: one of each kind, invented, of the kitchen of Quillmere House; and any that could be meant."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import Any

from hypothesis import strategies as st
from made_answers import LINES, NOTES, ODD_TEXTS, OTHER_SHOT, RUN, SHOT

from cli.batch.belonging import BELONGS
from cli.lots.entries import (
    ENTRIES,
    Correction,
    Decided,
    DetectionGiven,
    Entered,
    FoundByHand,
    LateEntry,
    Link,
    LotOf,
    Removed,
    RuleGiven,
    Sampled,
    Value,
)
from cli.lots.rule_text import RuleError, check_words
from cli.review.answers import BODIES, COLONY, SpeckId

LOT = "QH-12 (invented)"
VALUES: tuple[Value, ...] = (
    Correction(SHOT, "sample", "2"),
    Sampled("1", pieces=12, grams=340.5, grams_are="drained", check=2, look="after_wash", on="2026-03-04"),
    LotOf(40),
    Removed("1", "3", "outer leaves peeled", whole=False),
    Link((SpeckId(SHOT, RUN, 1), SpeckId(OTHER_SHOT, RUN, 100_001)), card="7"),
    RuleGiven("format = 'no rule at all'\n"),
    DetectionGiven(seen=18, put_in=20),
    Decided("Back to the gardener", "Odile Farrow-Quill (invented)", "2026-03-04T15:00:00+01:00", late=True),
    LateEntry(
        "2",
        10,
        (FoundByHand("aphid", "whole", 2, 2, "4"), FoundByHand("", COLONY, 30, 50)),
        "2026-03-03T21:10:00+01:00",
        "Ida",
        note="By lamp.\nTwo bowls.",
    ),
)


def entered(value: Value, token: str = "t", lot: str = LOT, by: str = "Ida") -> Entered:
    """An entry of Ida's on the one lot."""
    return Entered(lot, by, value, token)


_NAMES = LINES.map(str.strip) | st.sampled_from([text.strip() for text in ODD_TEXTS if text.strip() == text])
_SAID = _NAMES.map(lambda text: f"I{text}"[:80].strip())
_WORDS = NOTES.map(lambda text: f"I{text}"[:2000].strip())


def _can_be_shown(text: str) -> bool:
    try:
        check_words("words", text, 2000)
    except RuleError:
        return False
    return True


_SPECKS = st.builds(SpeckId, st.sampled_from([SHOT, OTHER_SHOT]), st.just(RUN), st.integers(0, 2**31 - 1))
_COUNTS = st.integers(1, 1_000_000)
_MAYBE = st.none() | _COUNTS
_ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
_TIMES = st.datetimes(datetime(1900, 1, 2), datetime(2200, 1, 1), timezones=_ZONES).map(datetime.isoformat)
_DAYS = st.just("") | st.dates().map(lambda day: day.strftime("%Y-%m-%d").rjust(10, "0"))


@st.composite
def _sampled(draw: Any) -> Sampled:
    check = draw(st.integers(1, 50))
    grams = draw(st.none() | st.floats(0, 1e6, exclude_min=True))
    return Sampled(
        draw(_NAMES),
        draw(_MAYBE),
        grams,
        "" if grams is None else draw(st.sampled_from(["raw", "drained"])),
        check,
        "first" if check == 1 else draw(st.sampled_from(["after_wash", "again"])),
        draw(_DAYS),
    )


@st.composite
def _found(draw: Any) -> FoundByHand:
    body = draw(st.sampled_from(["", *BODIES]))
    least = draw(_COUNTS)
    return FoundByHand(
        draw(_NAMES), body, least, draw(st.integers(least, 1_000_000)) if body == COLONY else least, draw(_NAMES)
    )


@st.composite
def _detection(draw: Any) -> DetectionGiven:
    if draw(st.booleans()):
        return DetectionGiven(assumed=draw(st.floats(0, 1, exclude_min=True)))
    put_in = draw(_COUNTS)
    return DetectionGiven(seen=draw(st.integers(0, put_in)), put_in=put_in)


BY_KIND: dict[str, st.SearchStrategy[Any]] = {
    "correction": st.builds(Correction, st.sampled_from([SHOT, OTHER_SHOT]), st.sampled_from(list(BELONGS)), _NAMES),
    "sampled": _sampled(),
    "lot_of": st.builds(LotOf, _MAYBE),
    "removed": st.builds(Removed, _NAMES, _NAMES, _WORDS, st.booleans()),
    "link": st.builds(Link, st.lists(_SPECKS, min_size=1, max_size=4, unique=True).map(tuple), _NAMES),
    "rule": st.builds(RuleGiven, _WORDS),
    "detection": _detection(),
    "decision": st.builds(Decided, _WORDS.filter(_can_be_shown), _SAID.filter(_can_be_shown), _TIMES, st.booleans()),
    "late_entry": st.builds(
        LateEntry,
        _NAMES,
        _COUNTS,
        st.lists(_found(), max_size=3).map(tuple),
        _TIMES,
        _SAID,
        NOTES.map(str.strip),
        st.integers(1, 50),
    ),
}
assert set(BY_KIND) == set(ENTRIES)
ANY = st.one_of(list(BY_KIND.values()))
