"""A lot's decision is a person's; until there is one the lot is held."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from test_house import forbidden

from cli.lots.decision import Decision, decision_sentence, lot_state
from cli.lots.rule_text import RuleError

AT = datetime(2026, 3, 15, 14, 5, tzinfo=timezone(timedelta(hours=2)))


def test_held_until_a_person_enters_it() -> None:
    assert lot_state(None) == "held"
    assert decision_sentence(None) == "The lot is held until a person enters the decision."
    assert lot_state(Decision("back to the field", "R. Reed", AT)) == "decided"


def test_it_stands_in_the_person_s_words() -> None:
    assert decision_sentence(Decision("back to the field", "R. Reed", AT)) == (
        'Decided by R. Reed, 2026-03-15 14:05+02:00: "back to the field".'
    )
    late = decision_sentence(Decision("לשדה", "R. Reed", AT.astimezone(UTC), late=True))
    assert late == 'Decided by R. Reed, 2026-03-15 12:05+00:00: "\u2068לשדה\u2069". It was entered late.'
    assert forbidden(late) == []


@pytest.mark.parametrize(
    ("text", "by", "at", "says"),
    [
        ("", "R. Reed", AT, "The decision is empty"),
        ("x" * 2001, "R. Reed", AT, "The decision has 2001 characters"),
        ("x", " ", AT, "The name of who decided is empty"),
        ("x", "a\nb", AT, "The name of who decided holds a control character"),
        ("x", "R. Reed", datetime(2026, 3, 15, 14, 5), "with its offset from UTC"),
        ("x", "R. Reed", date(2026, 3, 15), "with its offset from UTC"),
        ("x", "R. Reed", "2026-03-15T14:05Z", "with its offset from UTC"),
    ],
)
def test_refused(text: str, by: str, at: Any, says: str) -> None:
    with pytest.raises(RuleError, match=says):
        Decision(text, by, at)
