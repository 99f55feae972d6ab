"""What the authority's rule says of a lot's checks, and what was decided: read from what people answered and entered, never guessed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from cli.lots.compared import totals_of
from cli.lots.decision import Decision, decision_sentence, lot_state
from cli.lots.entries import FIRST_LOOK, Decided, LateEntry, RuleGiven, Sampled
from cli.lots.gather import LotStands, Mark
from cli.lots.per import Per
from cli.lots.record_counts import Amount, amounts_of, counts_of, mass_of
from cli.lots.rule import HouseRule
from cli.lots.rule_chain import Chain, Check, Look, Outcome, Part, counts_only, next_step, part_of
from cli.lots.rule_counts import Counted, Find, Judged, counted
from cli.lots.rule_file import read_rule
from cli.lots.rule_text import RuleError, named
from cli.review.answers import COLONY, SpeckId

NOT_NAMED = (
    "The rule counts by pieces, and of sample {samples} nobody knows on which piece each insect was, or which pieces of several "
    "photographs are the same. Name them in the manifest, or put the photographs right."
)
LOTLESS = (
    "Photographs of this run whose lot is not known hold insects or open flags, and may be of this lot: put right what they belong to, "
    "before any rule is read."
)
_DRAWN_UNCERTAINTY = 0.1
"""Relative, of a length that a person drew (common practice, no source)."""
NO_DAY = "The day of check {check} is not known: enter it with a sample of that check."


@dataclass(frozen=True)
class Ruled:
    """What the rule says; `why_not` is a sentence where it could not be asked."""

    rule: HouseRule | None
    judged: tuple[Judged, ...] = ()
    """Find by find, in the order of the record; empty without a rule that is in force."""
    outcome: Outcome | None = None
    why_not: str = ""
    read_on: date | None = None
    """The day on which it was read: the one asked for, or a later one of the last check."""


def ruled(lot: LotStands, animal_of: dict[SpeckId, str], on_day: date) -> Ruled:
    """What the lot's rule says of its checks on a day. `animal_of`: marks that somebody linked as one animal have the same word."""
    given = lot.last(RuleGiven)
    rule: HouseRule | None = None
    if given is not None and isinstance(given.value, RuleGiven) and given.value.text:
        try:
            rule = read_rule(given.value.text.encode("utf-8"))
        except RuleError as error:
            return Ruled(None, why_not=f"The rule that was entered can't be read: {error}")
    if rule is not None and lot.lotless_marks:
        return Ruled(rule, why_not=LOTLESS)
    try:
        return _ruled(lot, rule, animal_of, on_day)
    except RuleError as error:
        return Ruled(rule, why_not=str(error))


def _ruled(lot: LotStands, rule: HouseRule | None, animal_of: dict[SpeckId, str], on_day: date) -> Ruled:
    amounts = amounts_of(lot)
    if not amounts:
        return Ruled(rule, why_not="Nothing of this lot was looked at yet, so there is nothing to read a rule on.")
    produce = {photo.get("produce") for photo in lot.photos} - {""}
    kind = produce.pop() if len(produce) == 1 else ""
    of_check: dict[int, list[Amount]] = defaultdict(list)
    for amount in amounts:
        of_check[amount.check].append(amount)
    days: dict[int, date] = {}
    for number, own in sorted(of_check.items()):
        day = day_of(lot, {amount.sample for amount in own}, first=number == 1)
        if day is None:
            return Ruled(rule, why_not=NO_DAY.format(check=number))
        days[number] = day
    read_on = max(on_day, *days.values())
    # A rule that is not in force counts nothing: what people confirmed is counted then, as the rest of the record counts it.
    in_force = None if rule is None or counts_only(rule, kind, days[min(days)], read_on) else rule
    finds = finds_of(lot, animal_of)
    still_open = Counter(mark.photo.get("sample") for mark in lot.open if not mark.photo.is_blank)
    per = in_force.per if in_force is not None and in_force.per in (Per.PIECE, Per.SAMPLE) else Per.LOT
    confirmed = {} if in_force else {counts.check: counts.all for counts in counts_of(lot, totals_of(lot))}
    checks: list[Check] = []
    judged: list[Judged] = []
    for number, own in sorted(of_check.items()):
        unnamed = _not_named(lot, {amount.sample for amount in own}) if per is Per.PIECE else []
        if unnamed:
            return Ruled(rule, tuple(judged), why_not=NOT_NAMED.format(samples=", ".join(map(named, unnamed))))
        if in_force is None:
            parts: tuple[Part, ...] = (Part("all together", *confirmed[number]),)
        else:
            parts, said = _parts(in_force, per, own, finds)
            judged += said
        checks.append(
            Check(
                number,
                days[number],
                _look_of(lot, own, number),
                parts,
                per,
                sum(still_open[amount.sample] for amount in own),
                mass_of(own),
                in_force.digest if in_force else "",
            )
        )
    outcome = next_step(rule, Chain(kind, tuple(checks)), read_on)
    return Ruled(rule, tuple(judged), outcome, read_on=read_on)


def _parts(
    rule: HouseRule, per: Per, amounts: Sequence[Amount], finds: dict[str, list[Find]]
) -> tuple[tuple[Part, ...], list[Judged]]:
    """What the rule's numbers are compared with."""
    if per is Per.LOT:
        wholes = [counted(rule, those) for those in _apart(amounts, finds)]
        sums = (sum(w.least for w in wholes), sum(w.most for w in wholes), sum(w.not_judged for w in wholes))
        return (Part("all together", *sums),), [each for whole in wholes for each in whole.finds]
    by_part: dict[str, Counted] = {}
    for amount in amounts:
        sample = f"sample {amount.sample}" if amount.sample else "no sample named"
        if per is Per.SAMPLE:
            by_part[sample] = counted(rule, finds[amount.sample])
            continue
        of_piece: dict[str, list[Find]] = defaultdict(list)
        for find in finds[amount.sample]:
            of_piece[find.place].append(find)
        lacking = (amount.pieces or 1) - len(of_piece)
        for place, those in sorted(of_piece.items()):
            by_part[f"{sample}, piece {place}"] = counted(rule, those)
        if lacking > 0:
            by_part[f"{sample}, each other piece"] = counted(rule, [])
    judged = [each for whole in by_part.values() for each in whole.finds]
    return tuple(part_of(name, whole) for name, whole in by_part.items()), judged


def _apart(amounts: Sequence[Amount], finds: dict[str, list[Find]]) -> list[list[Find]]:
    """Finds sample by sample, as insects of two samples are two; samples across which somebody linked one animal come together."""
    apart: list[tuple[set[str], list[Find]]] = []
    for amount in amounts:
        animals, own = {find.animal for find in finds[amount.sample]} - {""}, list(finds[amount.sample])
        others = []
        for linked, those in apart:
            if linked & animals:
                animals, own = linked | animals, [*those, *own]
            else:
                others.append((linked, those))
        apart = [*others, (animals, own)]
    return [those for _, those in apart]


def finds_of(lot: LotStands, animal_of: dict[SpeckId, str]) -> dict[str, list[Find]]:
    """Confirmed insects of each sample, and those written by hand, as the rule reads them."""
    finds: dict[str, list[Find]] = defaultdict(list)
    for mark in lot.insects:
        finds[mark.photo.get("sample")].append(_find(mark, animal_of))
    for entered in lot.late:
        late = entered.value
        assert isinstance(late, LateEntry)
        for number, found in enumerate(late.found, start=1):
            ends = (found.least, found.most) if found.body == COLONY else (None, None)
            # Each animal of a line is one.
            copies = 1 if found.body == COLONY else found.least
            finds[late.sample] += [
                Find(
                    f"late entry {entered.number}, line {number}" + (f", {copy + 1}" if copies > 1 else ""),
                    kind=found.kind,
                    body=found.body,
                    basis=late.basis,
                    least=ends[0],
                    most=ends[1],
                    animal=f"late {entered.number} {number} {copy}",
                    place=found.piece,
                )
                for copy in range(copies)
            ]
    return finds


def _find(mark: Mark, animal_of: dict[SpeckId, str]) -> Find:
    answer = mark.answer
    assert answer is not None
    doubt = mark.flag.cells["size_uncertainty"] if mark.flag else str(_DRAWN_UNCERTAINTY)
    return Find(
        mark_name(mark),
        kind=answer.kind,
        body=answer.body,
        length_mm=mark.length_mm,
        unaided=answer.unaided,
        basis=answer.basis,
        least=answer.least,
        most=answer.most,
        animal=animal_of.get(mark.speck, ""),
        shot=mark.speck.shot_sha256,
        place=mark.place,
        size_uncertainty=float(doubt) if doubt else None,
    )


def mark_name(mark: Mark) -> str:
    """A mark as it is called in a list."""
    return f"{named(mark.photo.shot.name)}, {'flag' if mark.flag else 'added'} {mark.speck.candidate}"


def _not_named(lot: LotStands, samples: set[str]) -> list[str]:
    """Samples of which it is not known on which piece each find was: without any piece, or by tray numbers that others may have."""
    lacking = samples & lot.numbered_twice
    for sample in samples:
        places = [(mark.piece, mark.on_tray) for mark in lot.insects if mark.photo.get("sample") == sample]
        for each in lot.late:
            if isinstance(each.value, LateEntry) and each.value.sample == sample:
                places += [(found.piece, "") for found in each.value.found]
        if ("", "") in places or len({bool(piece) for piece, _ in places}) > 1:
            lacking |= {sample}
    return sorted(lacking)


def day_of(lot: LotStands, samples: set[str], first: bool = False) -> date | None:
    """The last local day on which these samples were looked at, or the first: as entered, else by the camera or by hand."""
    chosen = min if first else max
    said = {each.value.sample: each.value.on for each in lot.entries if isinstance(each.value, Sampled)}
    days = [date.fromisoformat(day) for sample, day in said.items() if sample in samples and day]
    if days:
        return chosen(days)
    taken = [
        date.fromisoformat(day)
        for photo in lot.photos
        if photo.get("sample") in samples and (day := photo.shot.cells["taken_at"][:10])
    ]
    late = [
        datetime.fromisoformat(each.value.at).date()
        for each in lot.late
        if isinstance(each.value, LateEntry) and each.value.sample in samples
    ]
    return chosen(taken + late, default=None)


def _look_of(lot: LotStands, amounts: Sequence[Amount], number: int) -> Look:
    """What kind of check it is: nobody's word makes one after the first a check after a wash but a person's."""
    if number == 1:
        return Look.FIRST
    samples = {amount.sample for amount in amounts}
    said = {
        each.value.sample: each.value.look
        for each in lot.entries
        if isinstance(each.value, Sampled) and each.value.sample in samples
    }
    looks = set(said.values()) - {FIRST_LOOK}
    washed = looks == {str(Look.AFTER_WASH)} and len(said) == len(samples)
    return Look.AFTER_WASH if washed else Look.AGAIN


def decision_of(lot: LotStands) -> Decision | None:
    """What was decided last; None while the lot is held."""
    last = lot.last(Decided)
    if last is None or not isinstance(last.value, Decided):
        return None
    said = last.value
    return Decision(said.text, said.decided_by, datetime.fromisoformat(said.at), said.late)


def state_of(lot: LotStands) -> str:
    """`held` or `decided`."""
    return lot_state(decision_of(lot))


def decision_lines(lot: LotStands) -> tuple[str, ...]:
    """Every decision that was entered, the one that counts last; and how the lot stands."""
    earlier = [each for each in lot.of(Decided)[:-1] if isinstance(each.value, Decided)]
    before = tuple(
        f"Before that: {decision_sentence(Decision(v.text, v.decided_by, datetime.fromisoformat(v.at), v.late))}"
        for v in (each.value for each in reversed(earlier))
        if isinstance(v, Decided)
    )
    return (decision_sentence(decision_of(lot)), *before)
