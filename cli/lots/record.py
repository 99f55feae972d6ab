"""A lot's record: what was not looked at first, then what was, what was found, what that says, the rule, and who decided.

Made from values alone and from no clock, so that the same answers and entries give the same record, and it can be made again to be checked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from cli.lots import record_parts as parts
from cli.lots.blocks import Document, Grid, Section
from cli.lots.defect_levels import compared, handbook, levels_of
from cli.lots.gather import LotStands
from cli.lots.per import Per
from cli.lots.record_counts import Counts, Totals, counts_of
from cli.lots.record_counts_words import counted_lines, kind_grid, sample_grid, sample_tells
from cli.lots.record_gaps import Gaps, GuideOf, gaps_of
from cli.lots.record_rule import Ruled, decision_lines, ruled
from cli.lots.rule_text import named
from cli.lots.telling import NO_CLEARANCE, defect_level_line, defect_level_lines
from cli.review.answers import SpeckId
from vision.errors import CallError
from vision.words import WHO_DECIDES

Linked = Callable[[LotStands], Mapping[SpeckId, str]]
"""For each confirmed mark that somebody linked, a word for its animal."""

WHOLE = (
    "Complete in this sense alone: every flag has an answer, every photograph could be read and can show what it is meant to, and none "
    "is missing that a known guide asks for. That says nothing of what no photograph shows."
)
RESTS_ON = "The rule was read on what was looked at alone. What stands open at the top may change the step."
NOT_WHOLE = "Not complete: {n} things below stand open."
ONE_NOT_WHOLE = "Not complete: one thing below stands open."
_SUMMED_UP = 5
"""So many of the things that stand open are told in a summary; the record has all."""
CAUTIONS = (
    "This record is an assist, not a clearance. Photographs and people miss insects.",
    WHO_DECIDES,
    "Insect and mite protein can matter to people with shellfish or dust-mite allergy. This is no allergen statement.",
    "Local food law and the authority's own way of checking come before anything that stands here.",
    "An insect found in an oven or a pot: ask your authority.",
)


@dataclass(frozen=True)
class Wanted:
    """What a person asks of a record."""

    on_day: date
    """The local day on which the rule is read."""
    for_supplier: bool = False
    """A page without staff names, rates, rule or decision."""
    levels_of: str = ""
    """A product whose defect levels are to stand beside the count per 100 g; '' for none."""


@dataclass(frozen=True)
class Sources:
    """What a record needs beside the lot."""

    run: str
    version: str
    guide_of: GuideOf
    totals: Callable[[LotStands], Totals]
    linked: Linked
    hashes: Mapping[str, str]
    """What the record of answers and the run are known by, by what it is."""


def record_of(lot: LotStands, wanted: Wanted, sources: Sources) -> Document:
    """The record of one lot. Raises CallError for defect levels that can't be put beside its counts."""
    gaps = gaps_of(lot, sources.guide_of)
    counts = counts_of(lot, sources.totals(lot))
    animals = sources.linked(lot)
    said = ruled(lot, dict(animals), wanted.on_day)
    name = named(lot.name) or "without a name"
    if wanted.for_supplier:
        return _for_supplier(lot, name, gaps, counts, animals, sources)
    sections = [
        _gaps_section(gaps),
        parts.identity(lot, sources.run, sources.version),
        _tells_section(counts),
        parts.photographs(lot),
        parts.insects(lot, said.judged, animals),
        *_count_sections(counts),
        *([_levels_section(counts, wanted.levels_of)] if wanted.levels_of else []),
        _rule_section(said, gaps),
        Section("decision", "The decision", decision_lines(lot)),
        parts.entered(lot),
        _versions(sources),
        parts.signatures(),
    ]
    return Document(f"Record of lot {name}", (_whole(gaps),), tuple(filter(_has_something, sections)), CAUTIONS)


def summary_of(lot: LotStands, on_day: date, sources: Sources) -> tuple[str, ...]:
    """A lot in a few sentences as it stands on a day: what is open, what was counted, what the rule says."""
    gaps = gaps_of(lot, sources.guide_of)
    said = ruled(lot, dict(sources.linked(lot)), on_day)
    return (
        _whole(gaps),
        *gaps.blocking[:_SUMMED_UP],
        *(line for each in counts_of(lot, sources.totals(lot)) for line in counted_lines(each)[:1]),
        *_rests_on(said, gaps),
        said.outcome.sentence if said.outcome else said.why_not,
    )


def _for_supplier(
    lot: LotStands, name: str, gaps: Gaps, counts: Sequence[Counts], animals: Mapping[SpeckId, str], sources: Sources
) -> Document:
    """What the supplier is shown: the produce, the photographs and the finds; no names of staff, no rates, no rule."""
    grids = tuple(sample_grid(each) for each in counts)
    sections = [
        Section("gaps", "What stands open", gaps.blocking),
        replace(parts.identity(lot, sources.run, sources.version, staff=False), heading="The delivery"),
        parts.insects(lot, (), animals, staff=False),
        Section("counts", "What was confirmed, sample by sample", grids=grids),
        _versions(sources),
    ]
    return Document(f"Finds in lot {name}", (_whole(gaps),), tuple(filter(_has_something, sections)), CAUTIONS)


def _whole(gaps: Gaps) -> str:
    number = len(gaps.blocking)
    return WHOLE if not number else ONE_NOT_WHOLE if number == 1 else NOT_WHOLE.format(n=number)


def _has_something(section: Section) -> bool:
    return bool(section.lines or section.grids or section.cuts or section.blanks)


def _gaps_section(gaps: Gaps) -> Section:
    return Section("gaps", "What was not looked at", gaps.lines, (gaps.unsearched,) if gaps.unsearched else ())


def _tells_section(counts: Sequence[Counts]) -> Section:
    last = counts[-1] if counts else None
    return Section("tells", "What a sample of this size can tell", sample_tells(last) if last else ())


def _count_sections(counts: Sequence[Counts]) -> list[Section]:
    sections = []
    for each in counts:
        kinds = kind_grid(each)
        heading = (
            "What was confirmed, counted" if len(counts) == 1 else f"What was confirmed in check {each.check}, counted"
        )
        grids: tuple[Grid, ...] = (sample_grid(each), *([kinds] if kinds else []))
        sections.append(Section(f"counts-{each.check}", heading, counted_lines(each), grids))
    return sections


def _levels_section(counts: Sequence[Counts], product: str) -> Section:
    """FDA's levels for a product, beside the last check's count per 100 g."""
    levels = levels_of(product)
    rates = [rate for rate in (counts[-1].rates() if counts else ()) if rate.effort.per is Per.HUNDRED_GRAMS]
    if not rates:
        raise CallError("A defect level is per 100 g, and it is not known of every sample how much it weighed.")
    lines: list[str] = []
    for level in levels:
        if level.per_hundred_grams is None:
            lines.append(f"{defect_level_line(level)} It goes by lengths, so this count can't be put beside it.")
        else:
            lines += defect_level_lines(compared(rates[0], level))
    book = handbook()
    head = f"Defect levels for processed food ({book.source}, page of {book.dated})"
    return Section("levels", head, tuple(dict.fromkeys([*lines, NO_CLEARANCE])))


def _rests_on(said: Ruled, gaps: Gaps) -> tuple[str, ...]:
    """That what the rule says rests on less than was asked for, where that is so."""
    return (RESTS_ON,) if said.outcome and said.outcome.steps and gaps.blocking else ()


def _rule_section(said: Ruled, gaps: Gaps) -> Section:
    lines = [*_rests_on(said, gaps)]
    lines += [said.why_not] if said.why_not else []
    if said.outcome is not None:
        lines += [said.outcome.sentence, *(line.sentence for line in said.outcome.checks), said.outcome.whose]
        lines += [f"Read on {said.read_on.isoformat()}."] if said.read_on else []
    if said.rule is not None:
        lines.append(f"In the authority's own words: {said.rule.text.strip()}")
    return Section("rule", "The authority's rule, and the next step by it", tuple(lines))


def _versions(sources: Sources) -> Section:
    rows = [("speckwise", sources.version), ("run", sources.run), *sources.hashes.items()]
    return Section("versions", "What this was made from", grids=(Grid(("What", "Version or SHA-256"), tuple(rows)),))
