"""A lot's record as a table for a spreadsheet: one row a matter, in the order of the page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from cli.lots.gather import LotStands, Mark
from cli.lots.intervals import Between
from cli.lots.record import Sources, Wanted
from cli.lots.record_counts import Counts, counts_of
from cli.lots.record_gaps import gaps_of
from cli.lots.record_parts import entry_line
from cli.lots.record_rule import decision_lines, mark_name, ruled
from cli.review.answers import SpeckId
from vision.table import Column, format_cell, to_csv

RECORD: tuple[Column, ...] = tuple(
    Column(name, "text", meaning)
    for name, meaning in (
        ("what", "gap, count, insect, rule, decision or entry"),
        ("lot", "the lot"),
        ("check", "which check of the lot; of counts"),
        ("sample", "the sample"),
        ("piece", "the piece; of insects, where known"),
        ("shot", "the photograph; of insects"),
        ("candidate", "the flag in its shot; of insects"),
        ("kind", "of insects and counts"),
        ("body", "whole, part, skin and so on; of insects"),
        ("length_mm", "of insects, where known"),
        ("basis", "how it was looked at; of insects"),
        ("unaided", "whether it was seen without a loupe; of insects"),
        ("animal", "the same word for marks that a person linked; of insects"),
        ("least", "animals, if what may be the same is the same; of counts and colonies"),
        ("most", "animals, if all that is not linked differs; of counts and colonies"),
        ("amount", "how much was looked at; of counts"),
        ("per", "piece, sample or 100 g; of counts"),
        ("low", "lower 95% limit per that; of counts"),
        ("high", "upper 95% limit per that, one-sided where none was counted; of counts"),
        ("by", "who answered or entered"),
        ("at", "when it was entered, UTC; of entries"),
        ("text", "in words"),
    )
)
"""ONE column list."""
Row = dict[str, str]


def record_table(lot: LotStands, wanted: Wanted, sources: Sources) -> bytes:
    """The whole table as CSV (UTF-8 with BOM, comma, CRLF)."""
    rows = ([format_cell(column, row.get(column.name, "")) for column in RECORD] for row in _rows(lot, wanted, sources))
    return to_csv(RECORD, rows)


def _rows(lot: LotStands, wanted: Wanted, sources: Sources) -> Iterator[Row]:
    base = {"lot": lot.name}
    gaps = gaps_of(lot, sources.guide_of)
    for line in gaps.blocking if wanted.for_supplier else gaps.lines:
        yield base | {"what": "gap", "text": line}
    animals = sources.linked(lot)
    for mark in lot.insects:
        yield base | _insect(mark, animals, wanted)
    for counts in counts_of(lot, sources.totals(lot)):
        yield from (base | row for row in _counts(counts, wanted))
    if wanted.for_supplier:
        return
    rule = ruled(lot, dict(animals), wanted.on_day)
    if rule.why_not or rule.outcome:
        yield base | {"what": "rule", "text": rule.why_not or (rule.outcome.sentence if rule.outcome else "")}
    for line in decision_lines(lot):
        yield base | {"what": "decision", "text": line}
    for each in lot.entries:
        sample = str(getattr(each.value, "sample", ""))
        said = {"sample": sample, "by": each.by, "at": each.at, "text": entry_line(each, lot)}
        yield base | {"what": "entry"} | said


def _insect(mark: Mark, animals: Mapping[SpeckId, str], wanted: Wanted) -> Row:
    answer = mark.answer
    assert answer is not None
    row = {
        "what": "insect",
        "sample": mark.photo.get("sample"),
        "piece": mark.place,
        "shot": mark.photo.shot.name,
        "candidate": str(mark.speck.candidate),
        "kind": answer.kind,
        "body": answer.body,
        "length_mm": "" if mark.length_mm is None else f"{mark.length_mm:.2f}",
        "basis": answer.basis,
        "unaided": answer.unaided,
        "animal": animals.get(mark.speck, ""),
        "least": str(answer.least or ""),
        "most": str(answer.most or ""),
        "text": mark_name(mark),
    }
    return row if wanted.for_supplier else row | {"by": ", ".join(mark.reviewers), "text": answer.note or row["text"]}


def _counts(counts: Counts, wanted: Wanted) -> Iterator[Row]:
    for each in counts.rows:
        least, most = str(each.least), str(each.most)
        yield {
            "what": "count",
            "check": str(each.check),
            "sample": each.sample,
            "kind": each.kind,
            "least": least,
            "most": most,
        }
    if wanted.for_supplier:
        return
    for kind, rates in [("", counts.rates()), *((kind, counts.rates_of(kind)) for kind in _kinds(counts))]:
        for rate in rates:
            yield {
                "what": "count",
                "check": str(counts.check),
                "kind": kind,
                "least": str(rate.least),
                "most": str(rate.most),
                "amount": f"{rate.effort.amount:g}",
                "per": str(rate.effort.per),
                "low": f"{rate.limits.low:.4g}" if isinstance(rate.limits, Between) else "0",
                "high": f"{rate.limits.high:.4g}",
            }


def _kinds(counts: Counts) -> Sequence[str]:
    return sorted({row.kind for row in counts.rows})
