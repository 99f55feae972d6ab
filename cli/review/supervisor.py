"""What the supervisor's page says: how the flags stand over all readings, and how far the first two agree. Readers never see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cli.lots.agreement import Agreement, category_kappas, cohen_kappa, observed_agreement, tables_of
from cli.review.answers import INSECT, NOT_INSECT, Answer
from cli.review.desk import Desk
from cli.review.second import AGREED, AWAITED, DECIDED, DISAGREED, ONE_READING, OPEN, kind_of
from cli.review.words import say, say_many

_FEWEST = 20
"""Answers that name a kind below which its own interval would be far too narrow: it is not told."""
_NONE = "\n"
"""Stands for what is no insect among kinds: no kind that a person types can be it."""
_STATES = (OPEN, ONE_READING, AWAITED, AGREED, DISAGREED, DECIDED)


@dataclass(frozen=True)
class Line:
    """One line of a list: what it is about, and the figure in words."""

    name: str
    figure: str


@dataclass(frozen=True)
class SupervisorTold:
    """The page's content."""

    opened: tuple[str, ...]
    states: tuple[Line, ...]
    pairs: str
    agreement: tuple[Line, ...]


def supervisor_told(desk: Desk, words: Mapping[str, str]) -> SupervisorTold:
    """The page for a desk as it stands."""
    readings = desk.second_readings()
    states, pairs = desk.standings(), desk.pairs()
    opened = tuple(
        say(words, "supervisor.opened", by=asked.by, share=f"{100 * asked.share:g}", at=asked.at) for asked in readings
    )
    lines = tuple(Line(say(words, f"supervisor.{state}"), str(states.get(state, 0))) for state in _STATES)
    return SupervisorTold(
        opened, lines, say_many(words, "supervisor.pairs", len(pairs)), _agreement(pairs, words) if pairs else ()
    )


def _agreement(pairs: list[tuple[Answer, Answer]], words: Mapping[str, str]) -> tuple[Line, ...]:
    answers = tables_of([(one.answer, two.answer) for one, two in pairs], (INSECT, NOT_INSECT))
    lines = [
        Line(say(words, "supervisor.observed"), _figure(observed_agreement(answers.whole), words)),
        Line(say(words, "supervisor.kappa"), _figure(cohen_kappa(answers.whole), words)),
    ]
    kinds = tables_of([(_kind(one), _kind(two)) for one, two in pairs])
    for kind, agreement in category_kappas(kinds).items():
        named = len(pairs) - int(kinds.against_rest(kind)[1, 1])
        if kind in (_NONE, ""):
            continue
        name = say(words, "supervisor.kind", kind=words.get(f"kind.{kind}", kind))
        figure = (
            _figure(agreement, words) if named >= _FEWEST else say(words, "supervisor.too_few", n=named, of=_FEWEST)
        )
        lines.append(Line(name, figure))
    return tuple(lines)


def _kind(answer: Answer) -> str:
    return kind_of(answer) if answer.answer == INSECT else _NONE


def _figure(agreement: Agreement, words: Mapping[str, str]) -> str:
    if agreement.value is None:
        return say(words, "supervisor.undefined")
    if agreement.low is None or agreement.high is None:
        return f"{agreement.value:.2f} ({say(words, 'supervisor.no_interval')})"
    interval = say(words, "supervisor.interval", low=f"{agreement.low:.2f}", high=f"{agreement.high:.2f}")
    return f"{agreement.value:.2f} ({interval})"
