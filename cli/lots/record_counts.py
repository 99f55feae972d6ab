"""What was found in a lot, counted: animals and not marks, by kind, sample by sample, with exact limits.

Marks that nobody linked may be one animal or several. So every count has two ends: if what may be the same is the same, and if all that is
not linked differs. What is counted here is what people said; what counts by the authority's rule stands in `record_rule.py`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from cli.lots.detection import ALWAYS, Assumed, Detection, Measured
from cli.lots.entries import DRAINED, RAW, DetectionGiven, FoundByHand, LateEntry, LotOf, Sampled
from cli.lots.gather import LotStands, Mark, Photo
from cli.lots.marks import KEPT_APART
from cli.lots.per import Per
from cli.lots.rates import Effort, Rate, grams, rate
from cli.lots.rule_text import folded
from vision.guides.views import BLANK, VIEWS, Of

Totals = Callable[[Sequence[Mark]], tuple[int, int]]
"""Animals that marks of one sample stand for: if what may be the same is, and if all that is not linked differs."""

KIND_NOT_SAID = "kind not said"
_NO_SAMPLE = (BLANK, *(name for name, view in VIEWS.items() if view.of is Of.FIND))
"""Views that show no sample: the tray before it, and a find that was lifted from it."""
_MOST_G = 1e9


@dataclass(frozen=True)
class Amount:
    """How much one sample was. None where nobody said and no photograph tells."""

    sample: str
    check: int
    pieces: int | None
    grams: float | None
    grams_are: str


@dataclass(frozen=True)
class Row:
    """Animals of one kind in one sample; KIND_NOT_SAID is a kind of its own here."""

    sample: str
    check: int
    kind: str
    least: int
    most: int
    apart: tuple[tuple[str, int], ...]
    """Marks that are counted as no animal, by their body."""
    loupe_only: int
    """Marks among the animals that were not seen without a loupe."""


@dataclass(frozen=True)
class Counts:
    """What was counted in one check of a lot."""

    check: int
    amounts: tuple[Amount, ...]
    rows: tuple[Row, ...]
    """By kind within a sample; samples without any have none."""
    of_samples: tuple[tuple[str, int, int], ...]
    """Sample, and all its animals: least, most. Kinds that were not said may be any, so these may be fewer than its rows together."""
    detection: Detection
    in_lot: int | None
    per_piece: tuple[tuple[int, int], ...] | None
    """Animals on each piece, least and most, where every insect has its piece and all pieces are known; None otherwise."""

    @cached_property
    def all(self) -> tuple[int, int]:
        """Least and most of all samples."""
        return sum(least for _, least, _ in self.of_samples), sum(most for _, _, most in self.of_samples)

    @property
    def pieces(self) -> int | None:
        """Looked at in all samples; None where one sample does not say."""
        known = [amount.pieces for amount in self.amounts]
        return sum(known) if known and None not in known else None  # type: ignore[arg-type]

    @property
    def grams(self) -> float | None:
        """Of all samples; None where one does not say, or where some are raw and others drained."""
        return mass_of(self.amounts)

    def rates(self) -> tuple[Rate, ...]:
        """All animals, per each unit in which it is known how much was looked at."""
        return tuple(rate(self.all, effort, detection=self.detection) for effort in self._efforts())

    def rates_of(self, kind: str) -> tuple[Rate, ...]:
        """The same of one kind."""
        rows = [row for row in self.rows if row.kind == kind]
        both = sum(row.least for row in rows), sum(row.most for row in rows)
        return tuple(rate(both, effort, detection=self.detection) for effort in self._efforts())

    def _efforts(self) -> list[Effort]:
        efforts = [Effort(len(self.amounts), Per.SAMPLE)] if self.amounts else []
        efforts += [Effort(self.pieces, Per.PIECE)] if self.pieces else []
        return efforts + ([grams(self.grams)] if self.grams else [])


@dataclass(frozen=True)
class _Found:
    """What was found in a lot."""

    marks: Mapping[str, Sequence[Mark]]
    """By sample, as is `by_hand`."""
    by_hand: Mapping[str, Sequence[FoundByHand]]
    spelt: Mapping[str, str]
    """How each kind is written, by its folded name."""
    totals: Totals

    def of(self, sample: str) -> tuple[Sequence[Mark], Sequence[FoundByHand]]:
        """What was found in one sample."""
        return self.marks.get(sample, ()), self.by_hand.get(sample, ())


def counts_of(lot: LotStands, totals: Totals) -> tuple[Counts, ...]:
    """What was counted, check by check."""
    amounts = amounts_of(lot)
    by_hand: dict[str, list[FoundByHand]] = defaultdict(list)
    for each in lot.late:
        assert isinstance(each.value, LateEntry)
        by_hand[each.value.sample] += each.value.found
    found = _Found(_by_sample(lot.insects), by_hand, _spellings(lot, by_hand), totals)
    return tuple(
        _check(check, tuple(amount for amount in amounts if amount.check == check), found, lot)
        for check in sorted({amount.check for amount in amounts})
    )


def _check(check: int, amounts: tuple[Amount, ...], found: _Found, lot: LotStands) -> Counts:
    rows: list[Row] = []
    sums: list[tuple[str, int, int]] = []
    for amount in amounts:
        rows += _rows(amount, found)
        sums.append((amount.sample, *_animals(*found.of(amount.sample), found.totals)))
    last = lot.last(LotOf)
    in_lot = last.value.pieces if last and isinstance(last.value, LotOf) else None
    enough = None if in_lot is None or in_lot < sum(amount.pieces or 0 for amount in amounts) else in_lot
    on_pieces = None
    if not lot.numbered_twice & {amount.sample for amount in amounts}:
        on_pieces = _per_piece(amounts, found, _named_pieces(lot.photos))
    return Counts(check, amounts, tuple(rows), tuple(sums), detection_of(lot), enough, on_pieces)


def _rows(amount: Amount, found: _Found) -> list[Row]:
    (own, written), spelt = found.of(amount.sample), found.spelt
    kinds = {spelt[folded(said)] for said in [*map(kind_of, own), *(each.kind for each in written)]}
    rows = []
    for kind in sorted(kinds, key=lambda kind: (kind == KIND_NOT_SAID, kind)):
        marks = [mark for mark in own if spelt[folded(kind_of(mark))] == kind]
        hand = [each for each in written if spelt[folded(each.kind)] == kind]
        least, most = _animals(marks, hand, found.totals)
        apart = Counter(body for body in map(body_of, marks) if body in KEPT_APART)
        for each in hand:
            apart[each.body] += each.least if each.body in KEPT_APART else 0
        lens = sum(mark.answer.unaided == "no" for mark in marks if mark.answer and body_of(mark) not in KEPT_APART)
        rows.append(Row(amount.sample, amount.check, kind, least, most, tuple(sorted((+apart).items())), lens))
    return rows


def _animals(marks: Sequence[Mark], written: Sequence[FoundByHand], totals: Totals) -> tuple[int, int]:
    least, most = totals(marks)
    counted = [found for found in written if found.body not in KEPT_APART]
    return least + sum(found.least for found in counted), most + sum(found.most for found in counted)


def _per_piece(
    amounts: Sequence[Amount], found: _Found, named: Mapping[str, set[str]]
) -> tuple[tuple[int, int], ...] | None:
    counts: list[tuple[int, int]] = []
    for amount in amounts:
        own, written = found.of(amount.sample)
        if amount.pieces is None or not all(mark.place for mark in own) or not all(each.piece for each in written):
            return None
        pieces = sorted({mark.place for mark in own} | {each.piece for each in written})
        if len(named.get(amount.sample, set()) | set(pieces)) > amount.pieces:
            return None
        on_piece = (
            ([mark for mark in own if mark.place == piece], [each for each in written if each.piece == piece])
            for piece in pieces
        )
        counts += [_animals(seen, hand, found.totals) for seen, hand in on_piece]
        counts += [(0, 0)] * (amount.pieces - len(pieces))
    return tuple(counts)


def mass_of(amounts: Sequence[Amount]) -> float | None:
    """Grams of all; None where one does not say, or where they are not all raw or all drained."""
    masses = [amount.grams for amount in amounts if amount.grams is not None]
    ways = {amount.grams_are for amount in amounts}
    return sum(masses) if ways in ({RAW}, {DRAINED}) and len(masses) == len(amounts) else None


def amounts_of(lot: LotStands) -> tuple[Amount, ...]:
    """How much each sample was that was looked at: as entered, else as photographs say that can show it; late entries say their pieces."""
    said = {each.value.sample: each.value for each in lot.of(Sampled) if isinstance(each.value, Sampled)}
    late: dict[str, int] = defaultdict(int)
    late_check: dict[str, int] = {}
    for each in lot.late:
        assert isinstance(each.value, LateEntry)
        late[each.value.sample] += each.value.pieces
        late_check[each.value.sample] = each.value.check
    named = _named_pieces(lot.photos)
    of_sample: dict[str, list[Photo]] = defaultdict(list)
    for photo in lot.photos:
        if not photo.is_blank:
            of_sample[photo.get("sample")].append(photo)
    amounts = []
    for sample in sorted({*said, *late, *_shown(lot)}):
        entered = said.get(sample)
        pieces = entered.pieces if entered else None
        if pieces is None:
            # What was written by hand may be of the pieces that were photographed, so they are not added up.
            pieces = max(len(named.get(sample, ())), late[sample]) or None
        mass, how = (entered.grams, entered.grams_are) if entered and entered.grams else _grams(of_sample[sample])
        check = entered.check if entered else _check_of(of_sample[sample]) or late_check.get(sample, 1)
        amounts.append(Amount(sample, check, pieces, mass, how))
    return tuple(amounts)


def _shown(lot: LotStands) -> set[str]:
    """Samples that a photograph shows which can, or of which somebody answered or still has to. What was only removed was not looked at."""
    shown = {photo.get("sample") for photo in lot.photos if photo.usable and photo.get("view") not in _NO_SAMPLE}
    return shown | {
        mark.photo.get("sample") for mark in lot.marks if (mark.is_open or mark.is_insect) and not mark.photo.is_blank
    }


def _named_pieces(photos: Iterable[Photo]) -> dict[str, set[str]]:
    """Names of the pieces that photographs of pieces show which can, sample by sample."""
    named: dict[str, set[str]] = defaultdict(set)
    for photo in photos:
        view = photo.get("view")
        if photo.usable and photo.get("piece") and (view not in VIEWS or VIEWS[view].of is Of.PIECE):
            named[photo.get("sample")].add(photo.get("piece"))
    return named


def _grams(photos: Iterable[Photo]) -> tuple[float | None, str]:
    """What all photographs of a sample that say it say of its mass; nothing where they differ, or where it is none."""
    said = {(photo.get("grams"), photo.get("grams_are")) for photo in photos if photo.get("grams")}
    if len(said) != 1:
        return None, ""
    ((mass, how),) = said
    try:
        grams_looked_at = float(mass)
    except ValueError:
        return None, ""
    # A word that somebody put right may be any.
    return (grams_looked_at, how if how in (RAW, DRAINED) else "") if 0 < grams_looked_at < _MOST_G else (None, "")


def _check_of(photos: Iterable[Photo]) -> int | None:
    said = {photo.get("check") for photo in photos}
    if said <= {""}:
        return None
    # One that says nothing is of the first check; where they differ the whole sample is left there.
    numbers = {int(check) if check.isdecimal() else 1 for check in said}
    return numbers.pop() if len(numbers) == 1 else 1


def _by_sample(marks: Iterable[Mark]) -> dict[str, list[Mark]]:
    by: dict[str, list[Mark]] = defaultdict(list)
    for mark in marks:
        by[mark.photo.get("sample")].append(mark)
    return by


def detection_of(lot: LotStands) -> Detection:
    """How many insects that are there are seen: as was entered last, else all of them, which the record says."""
    last = lot.last(DetectionGiven)
    if last is None or not isinstance(last.value, DetectionGiven):
        return ALWAYS
    given = last.value
    if given.seen is not None and given.put_in is not None:
        return Measured(given.seen, given.put_in)
    return Assumed(given.assumed or 1.0)


def kind_of(mark: Mark) -> str:
    """What a person called it; '' where not said."""
    return mark.answer.kind if mark.answer else ""


def _spellings(lot: LotStands, by_hand: Mapping[str, Sequence[FoundByHand]]) -> dict[str, str]:
    """How each kind is written in the whole lot, by its folded name: as it comes first in the alphabet, whoever wrote it otherwise."""
    said = {*map(kind_of, lot.insects), *(found.kind for written in by_hand.values() for found in written)}
    return {folded(kind): kind if folded(kind) else KIND_NOT_SAID for kind in sorted(said, reverse=True)}


def body_of(mark: Mark) -> str:
    """Which body or part of one a person saw; '' where not said."""
    return mark.answer.body if mark.answer else ""
