"""The forms on the pages of lots as those show them: with labels, what was typed, why it was refused, and a token for one act each."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from cli.lots.rule import HouseRule
from cli.review import rule_form
from cli.review.form_fields import Field, Group, Offered, Typed, shown_fields
from cli.review.lot_forms import DECISION, FORMS
from cli.review.words import say


@dataclass(frozen=True)
class Refused:
    """A form that was not kept, and why."""

    form: str
    typed: Typed
    why: str


@dataclass(frozen=True)
class FormShown:
    """One form."""

    what: str
    heading: str
    about: str
    groups: tuple[Group, ...]
    token: str
    by: str
    """Who enters; as typed, or as told by the form before."""
    error: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)
    holds_file: bool = False


def lot_forms(
    words: Mapping[str, str], offered: Offered, by: str, refused: Refused | None, with_key: bool
) -> tuple[FormShown, ...]:
    """The short forms on a lot; the decision only for whoever holds the supervisor's key."""
    return tuple(
        _form(what, _grouped(what, fields, words), words, offered, by, refused)
        for what, fields in FORMS.items()
        if what != DECISION or with_key
    )


def rule_forms(
    words: Mapping[str, str], offered: Offered, by: str, refused: Refused | None, rule: HouseRule | None
) -> tuple[FormShown, ...]:
    """The forms on a lot's rule. `rule`: the one that stands, from which the long form begins."""
    begins = rule_form.typed_of_rule(rule) if rule else None
    parts = [(words[f"part.{name}"], fields) for name, fields in rule_form.PARTS]
    signing = {"digest": rule.digest} if rule else {}
    forms = [
        (rule_form.SIGNED, _grouped(rule_form.SIGNED, rule_form.FORMS[rule_form.SIGNED], words), None, signing),
        (rule_form.WRITTEN, parts, begins, {}),
        (rule_form.FILE, _grouped(rule_form.FILE, rule_form.FORMS[rule_form.FILE], words), None, {}),
        (rule_form.TAKEN_OVER, _grouped(rule_form.TAKEN_OVER, rule_form.FORMS[rule_form.TAKEN_OVER], words), None, {}),
        (rule_form.NONE, [], None, {}),
    ]
    lacking = {rule_form.SIGNED, rule_form.NONE} if rule is None else set()
    lacking |= set() if offered.get("lot_of_rule") else {rule_form.TAKEN_OVER}
    return tuple(
        _form(what, groups, words, offered, by, refused, typed, hidden)
        for what, groups, typed, hidden in forms
        if what not in lacking
    )


Grouped = Iterable[tuple[str, Sequence[Field]]]
"""Legends and the fields under them."""


def _grouped(what: str, fields: Sequence[Field], words: Mapping[str, str]) -> Grouped:
    """The fields that stand once, then each line of those that stand several times."""
    rows = sorted({each.row for each in fields})
    return [
        (say(words, "lot.line", n=row) if row else "", [each for each in fields if each.row == row]) for row in rows
    ]


def _form(
    what: str,
    grouped: Grouped,
    words: Mapping[str, str],
    offered: Offered,
    by: str,
    refused: Refused | None,
    begins: Typed | None = None,
    hidden: Mapping[str, str] | None = None,
) -> FormShown:
    own = refused if refused is not None and refused.form == what else None
    typed = own.typed if own else begins
    groups = tuple(Group(legend, shown_fields(what, fields, typed, words, offered)) for legend, fields in grouped)
    return FormShown(
        what,
        words[f"form.{what}"],
        words[f"about.{what}"],
        groups,
        secrets.token_urlsafe(18),
        own.typed.one("by") if own else by,
        own.why if own else "",
        hidden or {},
        any(shown.of.shape == "file" for group in groups for shown in group.fields),
    )
