"""The form of a house rule: what was typed becomes a rule, and a rule is shown as what would be typed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from cli.lots.per import Per
from cli.lots.rule import (
    FORMAT,
    FORMAT_VERSION,
    LONGEST_AUTHORITY,
    LONGEST_NAME,
    LONGEST_STOP,
    LONGEST_TEXT,
    MOST_NAMES,
    Colonies,
    HouseRule,
    Scan,
    Seen,
    signed,
)
from cli.lots.rule_file import read_rule, rule_of, rule_text
from cli.lots.rule_steps import LONGEST_ACTION, MOST_STEPS, Step, Then, plain
from cli.lots.rule_text import RuleError
from cli.review.answers import BASES, BODIES, AnswerError
from cli.review.form_fields import AREA, CHOICE, DAY, NUMBER, TICKS, Field, Reader, Typed
from cli.review.words import say

WRITTEN, FILE, SIGNED, TAKEN_OVER, NONE = "written", "file", "signed", "taken_over", "none"
"""The forms on the page of a lot's rule."""
_LONGEST_LIST = MOST_NAMES * (LONGEST_NAME + 1)


def _step(row: int) -> tuple[Field, ...]:
    return (
        Field("low", NUMBER, row=row),
        Field("high", NUMBER, row=row),
        Field("then", CHOICE, ("", *map(str, Then)), "then", row=row),
        Field("action", longest=LONGEST_ACTION, wide=True, row=row),
    )


_OWN_WORDS = (
    Field("authority", needed=True, longest=LONGEST_AUTHORITY, wide=True),
    Field("text", AREA, needed=True, longest=LONGEST_TEXT),
)
_WHEN = (
    Field("produce", AREA, longest=_LONGEST_LIST),
    Field("from_date", DAY, needed=True),
    Field("until_date", DAY, needed=True),
)
_COUNTS = (
    Field("bodies", TICKS, BODIES, "body"),
    Field("kinds", AREA, longest=_LONGEST_LIST),
    Field("from_length_mm", NUMBER),
    Field("basis", TICKS, BASES, "basis"),
    Field("seen", CHOICE, ("", *map(str, Seen)), needed=True),
    Field("colonies", CHOICE, ("", *map(str, Colonies)), needed=True),
    Field("per", CHOICE, ("", *(unit.name.lower() for unit in Per)), "per", needed=True),
)
_CHAIN = (Field("most_rechecks", NUMBER), Field("when_to_stop", longest=LONGEST_STOP, wide=True))
PARTS: tuple[tuple[str, tuple[Field, ...]], ...] = (
    ("own_words", _OWN_WORDS),
    ("when", _WHEN),
    ("counts", _COUNTS),
    *((f"step_{row}", _step(row)) for row in range(1, MOST_STEPS + 1)),
    ("chain", _CHAIN),
)
"""The form that writes a rule, part by part."""
FORMS: dict[str, tuple[Field, ...]] = {
    WRITTEN: tuple(each for _, fields in PARTS for each in fields),
    FILE: (Field("pasted", AREA, longest=60_000), Field("upload", "file")),
    SIGNED: (
        Field("name", needed=True, longest=LONGEST_NAME),
        Field("on", DAY, needed=True),
        Field("scan", needed=True),
        Field("scan_sha256", needed=True, longest=64, wide=True),
    ),
    TAKEN_OVER: (Field("lot_of_rule", CHOICE),),
    NONE: (),
}


def rule_text_of(read: Reader, rule: HouseRule | None) -> str:
    """The text of the rule's file that a form was filled in for; `rule`: the one that stands. Raises AnswerError in a sentence."""
    try:
        if read.form == WRITTEN:
            return rule_text(rule_of(_values(read)))
        if read.form == FILE:
            return _of_file(read)
        if read.form == SIGNED:
            return _signed(read, rule)
    except RuleError as error:
        raise AnswerError(str(error)) from None
    raise AnswerError(say(read.words, "lot.no_form"))


def _of_file(read: Reader) -> str:
    text = read.typed.whole("upload") if read.text("upload") else read.typed.whole("pasted")
    if not text.strip():
        raise AnswerError(say(read.words, "rule.no_file"))
    read_rule(text.encode("utf-8", "replace"))
    return text


def _signed(read: Reader, rule: HouseRule | None) -> str:
    if rule is None:
        raise AnswerError(say(read.words, "rule.none_to_sign"))
    scan = Scan(read.text("scan"), read.text("scan_sha256").lower())
    return rule_text(signed(rule, read.text("name"), _day(read), scan))


def _day(read: Reader) -> date:
    try:
        return date.fromisoformat(read.text("on"))
    except ValueError:
        raise AnswerError(say(read.words, "rule.no_day")) from None


def _values(read: Reader) -> dict[str, Any]:
    """The rule as the file's tables and keys, from what was typed."""
    per = {unit.name.lower(): unit for unit in Per}.get(read.text("per"), read.text("per"))
    counts: dict[str, Any] = {
        "bodies": list(read.typed.every("bodies")),
        "kinds": _lines(read.typed.whole("kinds")) or "all",
        "basis": list(read.typed.every("basis")),
        "seen": read.text("seen"),
        "colonies": read.text("colonies"),
        "per": str(per),
    }
    if (length := read.number("from_length_mm")) is not None:
        counts["from_length_mm"] = plain(length)
    chain: dict[str, Any] = {"most_rechecks": read.whole("most_rechecks") or 0}
    if when_to_stop := read.text("when_to_stop"):
        chain["when_to_stop"] = when_to_stop
    named = {name: read.text(name) for name in ("authority", "from_date", "until_date")}
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "rule": {
            **named,
            "produce": _lines(read.typed.whole("produce")) or "all",
            "text": read.typed.whole("text"),
        },
        "counts": counts,
        "chain": chain,
        "step": [step for row in range(1, MOST_STEPS + 1) if (step := _step_values(read, row, per))],
    }


def _step_values(read: Reader, row: int, per: object) -> dict[str, Any]:
    """One step; nothing where nothing stands in its line."""
    low, high, then, action = read.number("low", row), read.number("high", row), *_said(read, row)
    if low is None and high is None and not then and not action:
        return {}
    if low is None or not then:
        raise AnswerError(say(read.words, "rule.half_a_step", row=row))
    # Per 100 g numbers lie between the whole ones: there each later step begins above the end of the one before.
    begins = "above" if per == Per.HUNDRED_GRAMS and row > 1 else "from"
    ends = {} if high is None else {"to": plain(high)}
    return {begins: plain(low), **ends, "then": then, "action": action}


def _said(read: Reader, row: int) -> tuple[str, str]:
    return read.text("then", row), read.text("action", row)


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.split("\n") if line.strip()]


def typed_of_rule(rule: HouseRule) -> Typed:
    """What would have to be typed for a rule."""
    counting = rule.counting
    length = counting.from_length_mm
    values: dict[str, Iterable[str]] = {
        "authority": [rule.authority],
        "text": [rule.text],
        "produce": ["\n".join(rule.produce)],
        "from_date": [rule.from_date.isoformat()],
        "until_date": [rule.until_date.isoformat()],
        "bodies": counting.bodies,
        "kinds": ["\n".join(counting.kinds)],
        "from_length_mm": ["" if length is None else _written(length)],
        "basis": counting.basis,
        "seen": [str(counting.seen)],
        "colonies": [str(counting.colonies)],
        "per": [rule.per.name.lower()],
        "most_rechecks": [str(rule.most_rechecks) if rule.most_rechecks else ""],
        "when_to_stop": [rule.when_to_stop],
    }
    for row, step in enumerate(rule.steps, start=1):
        values |= _typed_of_step(step, row)
    return Typed({name: tuple(sorted(each)) for name, each in values.items()})


def _typed_of_step(step: Step, row: int) -> dict[str, Iterable[str]]:
    high = "" if step.high is None else _written(step.high)
    said = {"low": _written(step.low), "high": high, "then": str(step.then), "action": step.action}
    return {f"{name}_{row}": [value] for name, value in said.items()}


def _written(number: float) -> str:
    """A number in digits and a point, never with an exponent."""
    return f"{plain(number):.9f}".rstrip("0").rstrip(".")
