"""Many lots over a month or a season: trend, suppliers, kinds, and what is due and not done. Counted on the first check of each lot,
which shows what was delivered; later checks show what washing left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from cli.lots.blocks import Document, Grid, Section
from cli.lots.decision import HELD
from cli.lots.gather import NO_LOT, LotStands
from cli.lots.intervals import share_limits
from cli.lots.rates import Effort, rate
from cli.lots.record import CAUTIONS, Sources
from cli.lots.record_counts import Counts, amounts_of, counts_of
from cli.lots.record_counts_words import rate_cells
from cli.lots.record_gaps import gaps_of
from cli.lots.record_rule import day_of, ruled, state_of
from cli.lots.rule_chain import State
from cli.lots.rule_steps import Then
from cli.lots.telling import SEEN_ALWAYS, percent
from cli.words import count

NOT_SAID = "not said"
FIRST_CHECK = (
    "Counted on the first check of each lot, as it was delivered. Lots are as they were taken, and no sample of all there are. "
    f"{SEEN_ALWAYS}"
)
NONE_DUE = "Nothing that was entered or answered asks for something that was not done. What nobody entered is not in this list."
NO_LOTS = "No lot has a check between these days."
_HEAD = ("Lots", "With insects", "95% limits of that share", "Animals", "Looked at", "As counted", "95% limits")


@dataclass(frozen=True)
class LotLine:
    """One lot as a season sees it."""

    name: str
    day: date | None
    """Of its first check; None where nothing says."""
    produce: str
    supplier: str
    first: Counts | None
    """Its first check; None where nothing was looked at."""
    state: str
    due: tuple[str, ...]
    """What is due and not done, in sentences."""


def joined(lots: Iterable[tuple[LotStands, Sources]]) -> list[tuple[LotStands, Sources]]:
    """Lots of several folders whose answers and entries are in one record: those of one name are one lot, each photograph once.

    Photographs that name no lot belong to nothing in common, so each folder's stay apart; what was entered on no lot stands with the first.
    """
    of_name: dict[str, tuple[LotStands, Sources]] = {}
    apart = []
    for lot, sources in lots:
        if lot.name == NO_LOT:
            apart.append((replace(lot, entries=() if apart else lot.entries), sources))
        elif lot.name in of_name:
            before, first = of_name[lot.name]
            of_name[lot.name] = _together(before, lot), first
        else:
            of_name[lot.name] = lot, sources
    return [*of_name.values(), *((lot, sources) for lot, sources in apart if lot.photos)]


def _together(lot: LotStands, other: LotStands) -> LotStands:
    """The first one, and what photographs only the other has."""
    known = {photo.shot.sha256 for photo in lot.photos}
    return replace(
        lot,
        photos=(*lot.photos, *(photo for photo in other.photos if photo.shot.sha256 not in known)),
        # Another run may have flagged other specks of the same photograph: none is lost, and one that both flagged may be counted twice.
        marks=tuple({mark.speck: mark for mark in (*lot.marks, *other.marks)}.values()),
        failed={**lot.failed, **other.failed},
        not_found=tuple(sorted({*lot.not_found, *other.not_found})),
        lotless=tuple({photo.shot.sha256: photo for photo in (*lot.lotless, *other.lotless)}.values()),
        lotless_marks=lot.lotless_marks + other.lotless_marks,
        finished=lot.finished and other.finished,
    )


def line_of(lot: LotStands, sources: Sources, on_day: date) -> LotLine:
    """What a season sees of a lot on a day."""
    counts = counts_of(lot, sources.totals(lot))
    # Later checks show what washing left, and so are no first one where that was not entered.
    first = next((each for each in counts if each.check == 1), None)
    samples = {amount.sample for amount in first.amounts} if first else set()
    return LotLine(
        lot.name or "no lot named",
        day_of(lot, samples),
        _said(lot, "produce"),
        _said(lot, "supplier"),
        first,
        state_of(lot),
        _due(lot, sources, on_day),
    )


def _said(lot: LotStands, name: str) -> str:
    return ", ".join(sorted({value for photo in lot.photos if (value := photo.get(name))})) or NOT_SAID


def _due(lot: LotStands, sources: Sources, on_day: date) -> tuple[str, ...]:
    due = list(gaps_of(lot, sources.guide_of).blocking)
    said = ruled(lot, dict(sources.linked(lot)), on_day)
    held = state_of(lot) == HELD
    goes_on = said.outcome is not None and {asked.step.then for asked in said.outcome.steps} == {Then.GO_ON}
    if said.outcome is not None and not goes_on and said.outcome.state is not State.COUNTS_ONLY:
        due.append(said.outcome.sentence)
    due += [said.why_not] if said.why_not and amounts_of(lot) else []
    due += ["The lot is held: no decision was entered."] if held else []
    return tuple(due)


def season_of(lines: Sequence[LotLine], first_day: date, last_day: date) -> Document:
    """The page over all lots whose first check lies between two days, both included."""
    within = sorted(
        (line for line in lines if line.day and first_day <= line.day <= last_day),
        key=lambda line: (line.day or date.max, line.name),
    )
    undated = sorted(line.name for line in lines if line.day is None)
    head = [f"{count(len(within), 'lot')}, first checked from {first_day} to {last_day}." if within else NO_LOTS]
    if undated:
        head.append(f"The day of their first check is not known, so they are not among these: {', '.join(undated)}.")
    sections = [_due_section(within)]
    if within:
        sections += [
            Section("months", "Month by month", (FIRST_CHECK,), (_grouped("Month", within, _month),)),
            Section("suppliers", "By supplier", grids=(_grouped("Supplier", within, lambda line: line.supplier),)),
            Section("produce", "By produce", grids=(_grouped("Produce", within, lambda line: line.produce),)),
            Section("kinds", "By kind of insect", grids=(_kinds(within),)),
            Section("lots", "All lots", grids=(_lots(within),)),
        ]
    return Document(f"Lots from {first_day} to {last_day}", tuple(head), tuple(sections), CAUTIONS)


def _due_section(lines: Iterable[LotLine]) -> Section:
    said = tuple(f"{line.name}: {sentence}" for line in lines for sentence in line.due)
    return Section("gaps", "Due and not done", said or (NONE_DUE,))


def _month(line: LotLine) -> str:
    return f"{line.day:%Y-%m}" if line.day else NOT_SAID


def _grouped(name: str, lines: Sequence[LotLine], key: Callable[[LotLine], str]) -> Grid:
    groups: dict[str, list[LotLine]] = defaultdict(list)
    for line in lines:
        groups[key(line)].append(line)
    return Grid((name, *_HEAD), tuple((group, *_cells(groups[group])) for group in sorted(groups)))


def _cells(lines: Sequence[LotLine]) -> tuple[str, ...]:
    """Under _HEAD. Animals are those of all lots, rates over the lots of which it is known how many pieces were looked at."""
    checked = [line.first for line in lines if line.first is not None]
    found = sum(first.all[1] > 0 for first in checked)
    share = share_limits(found, len(checked)) if checked else None
    limits = f"{percent(share.low)} to {percent(share.high)}" if share else "not known"
    known = [first for first in checked if first.pieces]
    pieces = sum(first.pieces or 0 for first in known)
    start = (str(len(lines)), str(found), limits, _animals(checked))
    if not pieces:
        return *start, "pieces not known", "", ""
    both = sum(first.all[0] for first in known), sum(first.all[1] for first in known)
    _, looked, *rates = rate_cells(rate(both, Effort(pieces)))
    of_some = f", of {len(known)} of {count(len(lines), 'lot')}" if len(known) < len(lines) else ""
    return *start, f"{looked}{of_some}", *rates


def _animals(checked: Sequence[Counts]) -> str:
    least, most = sum(each.all[0] for each in checked), sum(each.all[1] for each in checked)
    return str(most) if least == most else f"{least} to {most}"


def _kinds(lines: Sequence[LotLine]) -> Grid:
    least: dict[str, int] = defaultdict(int)
    most: dict[str, int] = defaultdict(int)
    lots: dict[str, set[str]] = defaultdict(set)
    for line in lines:
        for row in line.first.rows if line.first else ():
            least[row.kind] += row.least
            most[row.kind] += row.most
            if row.most:
                lots[row.kind].add(line.name)
    rows = tuple(
        (kind, str(most[kind]) if least[kind] == most[kind] else f"{least[kind]} to {most[kind]}", str(len(lots[kind])))
        for kind in sorted(most)
        if most[kind]
    )
    return Grid(("Kind", "Animals", "Lots"), rows)


def _lots(lines: Sequence[LotLine]) -> Grid:
    rows = tuple(
        (
            str(line.day),
            line.name,
            line.produce,
            line.supplier,
            _animals([line.first]) if line.first else "not looked at",
            line.state,
        )
        for line in lines
    )
    return Grid(("First check", "Lot", "Produce", "Supplier", "Animals", "State"), rows)
