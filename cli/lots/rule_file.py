"""How a house rule is written: one TOML that a person can read, and the same values as a form sends them.

Pure: text in, a rule out, and back. Nothing is left out in silence: a key that is missing or not known is refused, by its name.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import date
from importlib import resources
from typing import Any, TypeVar

from cli.lots.per import Per
from cli.lots.rule import (
    FORMAT,
    FORMAT_VERSION,
    Colonies,
    Counting,
    HouseRule,
    Scan,
    Seen,
    Signature,
    signed_values,
)
from cli.lots.rule_steps import Step, Then
from cli.lots.rule_text import RuleError, check_among, shown

T = TypeVar("T")
Read = Callable[[str, Any], Any]
"""A reader takes a key's full name ("counts.bodies") and its value, and raises RuleError in a sentence that names the key."""

_HEAD = """\
# The supervising authority's house rule, in its own words and as steps. Speckwise counts and reads it word for word; it decides nothing.
#
# [signed] digest is that of all that stands above it as it was signed by hand. Whoever changes a word, a number or a day after that
# makes another rule: until it is printed and signed anew, Speckwise gives counts only.
#
"""
_TOLD = {
    "until_date": "both days included, as the calendar says where the check is made",
    "from_length_mm": "animals of that length count, and longer ones; left out: of any length",
    "basis": "one of these ways of looking is enough",
    "colonies": "the number a colony counts with: least, most, or both as a range",
    "per": "what the numbers of the steps are counted in",
    "scan_sha256": "of the scan's file",
}
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def read_rule(data: bytes) -> HouseRule:
    """The rule in a file's bytes. Raises RuleError with a sentence that names the key, or the steps, that are wrong."""
    try:
        values = tomllib.loads(data.decode("utf-8-sig"))
    except ValueError as error:  # not UTF-8, not TOML, or a number too long to be one
        raise RuleError(f"The rule's file is not TOML in UTF-8: {error}.") from error
    except RecursionError as error:
        raise RuleError("The rule's file is not TOML that can be read: it is nested too deeply.") from error
    return rule_of(values)


def rule_of(values: Mapping[str, Any]) -> HouseRule:
    """The rule in plain values: tables and keys as in the file, days as dates or as texts like 2026-03-31. Raises RuleError."""
    top = _table(
        "", values, {"format": _text, "format_version": _any} | dict.fromkeys(_TABLES, _any), {"chain", "signed"}
    )
    if top["format"] != FORMAT:
        raise RuleError(f"format is {shown(top['format'])}, not {FORMAT!r}: this is no house rule.")
    if type(top["format_version"]) is not int or top["format_version"] != FORMAT_VERSION:
        raise RuleError(f"format_version is {shown(top['format_version'])}; this Speckwise reads {FORMAT_VERSION}.")
    named = _table("rule", top["rule"], _RULE)
    counts = _table("counts", top["counts"], _COUNTS, {"from_length_mm"})
    chain = _table("chain", top.get("chain", {"most_rechecks": 0}), _CHAIN, {"when_to_stop"})
    per = counts.pop("per")
    return HouseRule(
        **named,
        **chain,
        per=per,
        counting=_made("counts", Counting, **counts),
        steps=_steps(top["step"]),
        signature=_signature(top["signed"]) if "signed" in top else None,
    )


def rule_text(rule: HouseRule) -> str:
    """The rule as TOML, so that it is read back the same."""
    values = signed_values(rule)
    parts = [_HEAD + _lines({key: value for key, value in values.items() if key not in _TABLES})]
    for name in ("rule", "counts", "chain"):
        table = values[name]
        parts.append(f"[{name}]\n{_lines(table)}" if isinstance(table, dict) else "")
    steps = values["step"]
    parts += [f"[[step]]\n{_lines(step)}" for step in (steps if isinstance(steps, list) else [])]
    if signature := rule.signature:
        scan = {"scan": signature.scan.name, "scan_sha256": signature.scan.sha256}
        parts.append(
            "[signed]\n" + _lines({"by": signature.by, "on": signature.on, **scan, "digest": signature.digest})
        )
    return "\n".join(parts)


def example_rule() -> HouseRule:
    """An invented rule of an invented authority, for the demo and the documents. Nobody asks for it."""
    return read_rule(resources.files("cli.lots").joinpath("example_rule.toml").read_bytes())


def _table(where: str, value: Any, readers: Mapping[str, Read], optional: set[str] | None = None) -> dict[str, Any]:
    """A table with these keys and no other, each read."""
    if not isinstance(value, Mapping):
        raise RuleError(f"{where or 'A rule'} must be a table of keys and values, not {shown(value)}.")
    inside = f" in {where}" if where else ""
    if unknown := sorted(str(key) for key in value if key not in readers):
        raise RuleError(f"There is no key {shown(unknown[0])}{inside}; there are: {', '.join(readers)}.")
    if missing := [key for key in readers if key not in value and key not in (optional or ())]:
        raise RuleError(f"The key {missing[0]!r} is missing{inside}: write it in.")
    before = f"{where}." if where else ""
    return {key: readers[key](before + key, value[key]) for key in readers if key in value}


def _any(where: str, value: Any) -> Any:
    return value


def _text(where: str, value: Any) -> str:
    if not isinstance(value, str):
        raise RuleError(f"{where} must be a text, not {shown(value)}.")
    # A form on some systems ends its lines so; the same words are to be the same rule.
    return value.replace("\r\n", "\n")


def _day(where: str, value: Any) -> date:
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise RuleError(f"{where}: there is no day {value} in the calendar.") from None
    if type(value) is not date:
        raise RuleError(f"{where} must be a date such as 2026-03-31, without a time of day, not {shown(value)}.")
    return value


def _number(where: str, value: Any) -> float:
    if type(value) not in (int, float):
        raise RuleError(f"{where} must be a number, not {shown(value)}.")
    return value  # type: ignore[no-any-return]


def _whole(where: str, value: Any) -> int:
    if type(value) is not int:
        raise RuleError(f"{where} must be a whole number, not {shown(value)}.")
    return value


def _texts(where: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise RuleError(f"{where} must be a list of texts, not {shown(value)}.")
    return tuple(_text(f"{where}, entry {count}", each) for count, each in enumerate(value, start=1))


def _all_or_some(where: str, value: Any) -> tuple[str, ...]:
    if value == "all":
        return ()
    if not isinstance(value, list) or not value:
        raise RuleError(f'{where} must be "all" or a list of one name or more, not {shown(value)}.')
    return _texts(where, value)


def _word_of(kind: type[Seen] | type[Colonies] | type[Per] | type[Then]) -> Read:
    def read(where: str, value: Any) -> Any:
        check_among(where, value, tuple(map(str, kind)))
        return kind(value)

    return read


def _set(where: str, value: Any) -> frozenset[str]:
    texts = _texts(where, value)
    if len(set(texts)) < len(texts):
        raise RuleError(f"{where} holds a word twice: leave one out.")
    return frozenset(texts)


def _steps(value: Any) -> tuple[Step, ...]:
    if not isinstance(value, list):
        raise RuleError(f"step must be a list of steps, each under [[step]], not {shown(value)}.")
    return tuple(_step(f"step {count}", each) for count, each in enumerate(value, start=1))


def _step(where: str, value: Any) -> Step:
    read = _table(where, value, _STEP, {"from", "above", "to"})
    if ("from" in read) == ("above" in read):
        raise RuleError(f"{where} begins with either from, its smallest number, or above, a number it leaves out.")
    above = "above" in read
    low = read["above" if above else "from"]
    return _made(where, Step, low=low, high=read.get("to"), action=read["action"], then=read["then"], above=above)


def _signature(value: Any) -> Signature:
    read = _table("signed", value, _SIGNED)
    scan = _made("signed", Scan, name=read["scan"], sha256=read["scan_sha256"])
    return _made("signed", Signature, by=read["by"], on=read["on"], scan=scan, digest=read["digest"])


def _made(where: str, kind: Callable[..., T], **values: Any) -> T:
    """A value made of what was read; where it can't be, the message says in which table."""
    try:
        return kind(**values)
    except RuleError as error:
        raise RuleError(f"In {where}: {error}") from error


_TABLES = ("rule", "counts", "chain", "step", "signed")
_RULE: Mapping[str, Read] = {
    "authority": _text,
    "produce": _all_or_some,
    "from_date": _day,
    "until_date": _day,
    "text": _text,
}
_COUNTS: Mapping[str, Read] = {
    "bodies": _set,
    "kinds": _all_or_some,
    "from_length_mm": _number,
    "seen": _word_of(Seen),
    "basis": _set,
    "colonies": _word_of(Colonies),
    "per": _word_of(Per),
}
_CHAIN: Mapping[str, Read] = {"most_rechecks": _whole, "when_to_stop": _text}
_STEP: Mapping[str, Read] = {"from": _number, "above": _number, "to": _number, "then": _word_of(Then), "action": _text}
_SIGNED: Mapping[str, Read] = {"by": _text, "on": _day, "scan": _text, "scan_sha256": _text, "digest": _text}


def _lines(values: Mapping[str, Any]) -> str:
    rows = []
    for key, value in values.items():
        told = _TOLD.get(key)
        rows.append(f"{key} = {_toml(key, value)}" + (f"  # {told}" if told else "") + "\n")
    return "".join(rows)


def _toml(key: str, value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_toml('', each) for each in value)}]"
    if isinstance(value, date):
        return value.isoformat()
    if not isinstance(value, str):
        return repr(value)
    # A JSON string is a TOML string. Long words stand as they were written, line by line, so that a person can compare them.
    return _written_out(value) if key == "text" else json.dumps(value, ensure_ascii=False)


def _written_out(text: str) -> str:
    """Several lines between three quotation marks; of two that stand together one is escaped, so that three never do."""
    within = text.replace("\\", "\\\\").replace('""', '"\\"')
    return f'"""\n{within}"""'
