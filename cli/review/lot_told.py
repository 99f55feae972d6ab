"""What the pages of lots say: the list of lots, one lot with all that was entered, its rule. Numbers and sentences; the forms apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlencode

from cli.lots.decision import decision_sentence
from cli.lots.entries import (
    Correction,
    Decided,
    DetectionGiven,
    Entered,
    FoundByHand,
    LateEntry,
    Link,
    LotOf,
    RuleGiven,
    Value,
)
from cli.lots.record import Sources, summary_of
from cli.lots.rule_file import read_rule
from cli.lots.rule_text import RuleError
from cli.lots.rule_words import whose
from cli.review.form_fields import CHOICE, Field
from cli.review.lot_book import LotBook, RuleStands
from cli.review.lot_forms import FORMS
from cli.review.supervisor import Line
from cli.review.words import say


@dataclass(frozen=True)
class LotLine:
    """One lot in the list."""

    name: str
    address: str
    facts: tuple[Line, ...]


@dataclass(frozen=True)
class EntryShown:
    """One entry as the page shows it."""

    number: int
    heading: str
    who: str
    times: tuple[str, ...]
    """What was done when, where that is another time than that of entering; and what is odd about the record's clock."""
    facts: tuple[Line, ...]
    text: str = ""
    """The whole text of a rule's file."""


@dataclass(frozen=True)
class LotTold:
    """One lot."""

    name: str
    facts: tuple[Line, ...]
    decision: str
    rule: tuple[str, ...]
    entries: tuple[EntryShown, ...]
    """Newest first."""
    summary: tuple[str, ...]
    """Sentences that sum the lot up, in their order: what stands open, what was counted, what the rule says."""


def lots_told(book: LotBook, words: Mapping[str, str], base: str) -> tuple[LotLine, ...]:
    """The lots of the run. `base`: what stands before /lots in the addresses of this visitor."""
    return tuple(
        LotLine(name_of(lot, words), address_of(base, lot), _facts_of_lot(book, lot, words)) for lot in book.lots
    )


def others_told(book: LotBook, words: Mapping[str, str], base: str) -> tuple[LotLine, ...]:
    """Lots of the record without a photograph in the run."""
    return tuple(
        LotLine(lot, address_of(base, lot), _facts_of_lot(book, lot, words)[-1:])
        for lot in book.lots_without_photographs
    )


def address_of(base: str, lot: str, page: str = "one", **more: object) -> str:
    """Where a lot's page is."""
    return f"{base}/lots/{page}?{urlencode({'lot': lot, **more})}"


def name_of(lot: str, words: Mapping[str, str]) -> str:
    """A lot's name as it is shown."""
    return lot or say(words, "lots.no_name")


def lot_told(book: LotBook, words: Mapping[str, str], lot: str, today: date, sources: Sources) -> LotTold:
    """One lot on a day."""
    names = {shot.sha256: shot.name for shot in book.shots}
    entries = [_entry(each, words, names) for each in reversed(book.entries_of(lot))]
    return LotTold(
        name_of(lot, words),
        _facts_of_lot(book, lot, words),
        decision_sentence(book.decision(lot)),
        rule_told(book.rule(lot, today)),
        tuple(entries),
        summary_of(book.lot(lot), today, sources),
    )


def rule_told(stands: RuleStands) -> tuple[str, ...]:
    """Whose rule it is, and why there are counts only where that is so."""
    own = (whose(stands.rule),) if stands.rule else ()
    return own + ((stands.sentence,) if stands.sentence else ())


def _facts_of_lot(book: LotBook, lot: str, words: Mapping[str, str]) -> tuple[Line, ...]:
    counts = book.counts(lot)
    return (
        Line(say(words, "lots.photographs"), str(counts.photographs)),
        Line(say(words, "lots.open"), str(counts.open)),
        Line(say(words, "lots.confirmed"), str(counts.confirmed)),
        Line(say(words, "lots.state"), words[f"state.{book.state(lot)}"]),
    )


def _entry(entered: Entered, words: Mapping[str, str], names: Mapping[str, str]) -> EntryShown:
    value = entered.value
    who = say(words, "lot.entered", n=entered.number, by=entered.by, at=_time(entered.at))
    text = value.text if isinstance(value, RuleGiven) else ""
    times = (*_own_time(value, words), *([entered.clock] if entered.clock else []))
    facts = tuple(_facts(entered.what, value, words, names))
    return EntryShown(entered.number, words[f"entry.{entered.what}"], who, times, facts, text)


def _own_time(value: Value, words: Mapping[str, str]) -> tuple[str, ...]:
    """When it was done, by whom, where the entry says so itself."""
    if isinstance(value, LateEntry):
        return (say(words, "lot.looked_at", by=value.checker, at=_time(value.at)),)
    if isinstance(value, Decided):
        when = say(words, "lot.decided_at", by=value.decided_by, at=_time(value.at))
        return (when, say(words, "lot.entered_late")) if value.late else (when,)
    return ()


def _time(text: str) -> str:
    return datetime.fromisoformat(text).isoformat(" ", "minutes")


def _facts(what: str, value: Value, words: Mapping[str, str], names: Mapping[str, str]) -> list[Line]:
    """What an entry says, under the labels of the form in which it was said."""
    if isinstance(value, RuleGiven):
        return [Line(say(words, "lot.rule_is"), _title(value.text, words))]
    if isinstance(value, Link):
        marks = ", ".join(
            f"{names.get(each.shot_sha256, each.shot_sha256[:8])}: {each.candidate}" for each in value.specks
        )
        return [
            Line(say(words, "lot.marks"), marks),
            *([Line(say(words, "lot.card"), value.card)] if value.card else []),
        ]
    fields = [each for each in FORMS[what] if each.row == 0 and hasattr(value, each.name)]
    told = [(each, _figure(each, value, words, names)) for each in fields]
    facts = [Line(say(words, f"field.{what}_{each.name}"), figure) for each, figure in told if figure]
    if isinstance(value, LateEntry):
        facts += [Line(say(words, "lot.line", n=n), _found(each, words)) for n, each in enumerate(value.found, start=1)]
        facts += [] if value.found else [Line(say(words, "lot.found"), say(words, "lot.found_none"))]
    return facts


def _figure(field: Field, value: Value, words: Mapping[str, str], names: Mapping[str, str]) -> str:
    """A field of an entry in words; '' where it was not said."""
    said = getattr(value, field.name)
    if isinstance(value, Correction):
        if field.name == "shot_sha256":
            return names.get(said, said)
        if field.name == "value" and not said:
            return say(words, "lot.taken_away")
    if isinstance(value, DetectionGiven) and field.name == "assumed" and said is not None:
        return f"{100 * said:.10g} %"
    if isinstance(value, LotOf) and said is None:
        return say(words, "lot.not_known")
    if said is None or said is False or said == "":
        return ""
    if said is True:
        return words["choice.yes"]
    if field.shape == CHOICE and field.choices:
        return words[f"{field.table}.{said}"]
    return f"{said:.12g}" if isinstance(said, float) else str(said)


def _found(found: FoundByHand, words: Mapping[str, str]) -> str:
    number = str(found.least) if found.least == found.most else f"{found.least}–{found.most}"
    kind = words.get(f"kind.{found.kind}", found.kind) if found.kind else say(words, "insect.kind_unsaid")
    body = [words[f"body.{found.body}"]] if found.body else []
    piece = [say(words, "lot.on_piece", piece=found.piece)] if found.piece else []
    return ", ".join([f"{number} × {kind}", *body, *piece])


def _title(text: str, words: Mapping[str, str]) -> str:
    """Which rule a text is, in a few words."""
    if not text:
        return say(words, "lot.rule_none")
    try:
        return read_rule(text.encode("utf-8")).title
    except RuleError as error:
        return str(error)


def photographs_offered(book: LotBook, lot: str) -> Sequence[tuple[str, str]]:
    """The photographs of a lot as choices."""
    return [(shot.sha256, shot.name) for shot in book.shots_of(lot)]


def lots_with_rules(book: LotBook, lot: str, words: Mapping[str, str]) -> Sequence[tuple[str, str]]:
    """Other lots whose rule could be taken over, newest first."""
    others = dict.fromkeys(
        each.lot for each in reversed(book.entries) if isinstance(each.value, RuleGiven) and each.lot != lot
    )
    given = [(other, book.last(other, RuleGiven)) for other in others]
    return [
        (other, f"{name_of(other, words)}: {_title(last.text, words)}") for other, last in given if last and last.text
    ]


def kept_sentence(book: LotBook, words: Mapping[str, str], lot: str, number: str) -> str:
    """That an entry was kept, where there is one of that number on the lot; ''."""
    kept = [each for each in book.entries_of(lot) if str(each.number) == number]
    return say(words, "lot.kept", n=kept[0].number) if kept else ""
