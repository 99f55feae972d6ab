"""A lot's decision: a person's, entered in their words. Until there is one the lot is held; no count and no rule makes one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cli.lots.rule_text import RuleError, check_line, check_words, named, quoted, shown

HELD, DECIDED = "held", "decided"
HELD_UNTIL = "The lot is held until a person enters the decision."
LONGEST_NAME, LONGEST_DECISION = 80, 2000


@dataclass(frozen=True)
class Decision:
    """What was decided on a lot, by whom and when. Raises RuleError."""

    text: str
    by: str
    at: datetime
    """When it was decided, with its offset from UTC."""
    late: bool = False
    """It was entered later than it was decided, as the person says who enters it."""

    def __post_init__(self) -> None:
        check_words("The decision", self.text, LONGEST_DECISION)
        check_line("The name of who decided", self.by, LONGEST_NAME)
        if not isinstance(self.at, datetime) or self.at.utcoffset() is None:
            raise RuleError(
                f"The time of a decision is a date and time with its offset from UTC, not {shown(self.at)}."
            )


def lot_state(decision: Decision | None) -> str:
    """`held` until there is a decision, then `decided`."""
    return HELD if decision is None else DECIDED


def decision_sentence(decision: Decision | None) -> str:
    """How the lot stands, in a sentence; a decision in the words of who made it."""
    if decision is None:
        return HELD_UNTIL
    late = " It was entered late." if decision.late else ""
    return f"Decided by {named(decision.by)}, {decision.at.isoformat(' ', 'minutes')}: {quoted(decision.text)}.{late}"
