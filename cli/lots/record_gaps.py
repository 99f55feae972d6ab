"""What of a lot was not looked at, which a record says before anything else. Sentences; the first ones stop the word "complete"."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from cli.lots.blocks import Grid
from cli.lots.entries import LateEntry, LotOf, Removed, Sampled
from cli.lots.gather import LotStands, Photo
from cli.lots.record_counts import amounts_of
from cli.lots.rule_text import named
from cli.words import count
from vision.guides import Guide
from vision.guides.checklist import NO_PIECE, checklist
from vision.guides.views import VIEWS, Of

GuideOf = Callable[[str], Guide | None]
"""The guide that a kind of produce is called by; None where there is none."""

NOT_FINISHED = (
    "The run was stopped, or is still at work: not all of its photographs were scored. Give the same call again."
)
MUCH_UNSEARCHED_PCT = 5.0
"""From here on a photograph is listed by name; below it is only counted. Common practice, no source."""
_NAMED = 12
NOTHING_TAKEN = "No photograph belongs to this lot, and nothing was entered by hand. Nothing was looked at."
NOTHING_FOUND_MISSING = (
    "Nothing that the guide asks for is missing from the photographs. What a photograph does not show, nobody has seen."
)


@dataclass(frozen=True)
class Gaps:
    """What was not looked at."""

    blocking: tuple[str, ...]
    """With one of these the record is not whole."""
    others: tuple[str, ...]
    unsearched: Grid | None
    """Photographs of which much could not be searched."""

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it, what is to be done first, first."""
        return (*self.blocking, *self.others)


def gaps_of(lot: LotStands, guide_of: GuideOf) -> Gaps:
    """What of a lot nobody has looked at, could not be looked at, or is not known."""
    kept = [photo for photo in lot.photos if photo.usable]
    blocking = [] if lot.finished else [NOT_FINISHED]
    blocking += [NOTHING_TAKEN] if not lot.photos and not lot.late else []
    blocking += _lotless(lot)
    blocking += _open(lot)
    blocking += _not_read(lot)
    if lot.not_found:
        named_there = count(len(lot.not_found), "photograph")
        blocking.append(f"{named_there} that the manifest names and that nobody has found: {some(lot.not_found)}.")
    blocking += _not_kept(lot.photos)
    unseen, others = _faces(lot, guide_of)
    blocking += unseen
    blocking += _checks(lot)
    others += _pieces_of_lot(lot)
    others += _not_looked(kept)
    others += _belonging(lot.photos)
    others += _limits(kept)
    if not blocking and not others:
        others.append(NOTHING_FOUND_MISSING)
    return Gaps(tuple(blocking), tuple(others), _unsearched(kept))


def _open(lot: LotStands) -> list[str]:
    states = Counter(mark.state for mark in lot.open)
    lines = []
    if states["open"]:
        lines.append(
            f"{count(states['open'], 'flag')} that nobody has answered, or that somebody wants looked at again."
        )
    if states["awaited"]:
        lines.append(f"{count(states['awaited'], 'flag')} still to be read by a second pair of eyes.")
    if states["disagreed"]:
        lines.append(f"{count(states['disagreed'], 'flag')} on which two readers differ, and no third has decided.")
    return lines


def _lotless(lot: LotStands) -> list[str]:
    if not lot.lotless:
        return []
    names = some([photo.shot.name for photo in lot.lotless])
    verb = "is" if lot.lotless_marks == 1 else "are"
    marks = f" {count(lot.lotless_marks, 'flag')} on them {verb} confirmed or still open." if lot.lotless_marks else ""
    return [
        f"{count(len(lot.lotless), 'photograph')} of this run whose lot is not known, and that may be of this one: {names}.{marks}"
    ]


def _not_read(lot: LotStands) -> list[str]:
    return [f"{name} could not be read: {why}" for name, why in sorted(lot.failed.items())[:_NAMED]] + _beyond(
        len(lot.failed), "photographs that could not be read"
    )


def _not_kept(photos: Sequence[Photo]) -> list[str]:
    lost = [photo for photo in photos if not photo.usable]
    lines = [
        f"{named(photo.shot.name)} can't show what it is meant to: {photo.shot.cells['reasons']}"
        for photo in lost[:_NAMED]
    ]
    return lines + _beyond(len(lost), "photographs that can't show what they are meant to")


def _beyond(number: int, what: str) -> list[str]:
    return [f"More {what}: {number - _NAMED}."] if number > _NAMED else []


def _faces(lot: LotStands, guide_of: GuideOf) -> tuple[list[str], list[str]]:
    """Sample by sample, what its guide asks for and no photograph shows; and what else is to be known of that."""
    unseen: list[str] = []
    lines: list[str] = []
    of_sample: dict[str, list[Photo]] = defaultdict(list)
    for photo in lot.photos:
        if photo.usable and not photo.is_blank:
            of_sample[photo.get("sample")].append(photo)
    blanks = [photo for photo in lot.photos if photo.usable and photo.is_blank]
    removed_of: dict[str, list[Removed]] = defaultdict(list)
    for one in lot.removed:
        removed_of[one.sample].append(one)
    said = {each.value.sample: each.value for each in lot.of(Sampled) if isinstance(each.value, Sampled)}
    by_hand: dict[str, int] = defaultdict(int)
    for each in lot.late:
        assert isinstance(each.value, LateEntry)
        by_hand[each.value.sample] += each.value.pieces
    for sample in lot.samples:
        own = of_sample[sample]
        produce = sorted({photo.get("produce") for photo in own} - {""})
        where = _called(sample)
        if not own:
            # What was looked at by hand alone has no photograph.
            (lines if by_hand[sample] else unseen).append(f"{where}: no photograph that can show what it is meant to.")
            continue
        seen = _seen(own, blanks)
        fewer, other = _not_as_entered(where, said.get(sample), seen, by_hand[sample])
        unseen += fewer
        lines += other
        if len(produce) != 1 or (guide := guide_of(produce[0])) is None:
            known = " and ".join(produce) if produce else "not known"
            lines.append(f"{where}: the produce is {known}, so no guide tells what it should have been shot from.")
            continue
        removed = removed_of[sample]
        listed = checklist(
            guide,
            seen,
            removed={each.piece or NO_PIECE for each in removed if not each.whole},
            thrown_out={each.piece or NO_PIECE for each in removed if each.whole},
        )
        unseen += [f"{where}: {sentence}" for sentence in (*listed.gaps, *_of_unnamed(guide, seen))]
        told = listed.has_gaps or removed or listed.uncounted
        lines += [f"{where}: {sentence}" for sentence in (listed.notes if told else ())]
    return unseen, lines


def _called(sample: str) -> str:
    return f"Sample {named(sample)}" if sample else "What names no sample"


def _seen(own: Sequence[Photo], blanks: Sequence[Photo]) -> dict[str, set[str]]:
    """For each piece the views that show it. Pieces numbered on one tray are not those of the next, so only named ones are told apart."""
    seen: dict[str, set[str]] = defaultdict(set)
    for photo in [*own, *blanks]:
        view = photo.get("view")
        of_piece = view not in VIEWS or VIEWS[view].of is Of.PIECE
        seen[photo.get("piece") if of_piece else NO_PIECE].add(view)
    return dict(seen)


def _of_unnamed(guide: Guide, seen: dict[str, set[str]]) -> tuple[str, ...]:
    """Faces that no photograph shows of pieces without a name, where other pieces of the sample have one."""
    faces = seen.get(NO_PIECE, set()) & set(guide.faces)
    return checklist(guide, {NO_PIECE: faces | set(guide.sample)}).gaps if faces and len(seen) > 1 else ()


def _not_as_entered(
    where: str, said: Sampled | None, seen: dict[str, set[str]], by_hand: int
) -> tuple[list[str], list[str]]:
    """Where other numbers of pieces were shot or written down by hand than somebody says were looked at: fewer, and more."""
    shown = len(set(seen) - {NO_PIECE})
    if said is None or said.pieces is None or not shown or shown + by_hand == said.pieces:
        return [], []
    late = f" and late entries of {by_hand}" if by_hand else ""
    line = f"{where}: {count(said.pieces, 'piece')} looked at as entered, and photographs of {shown}{late}."
    return ([line], []) if shown + by_hand < said.pieces else ([], [line])


def _checks(lot: LotStands) -> list[str]:
    """Where entries and photographs of one sample say several checks of the lot: a sample belongs to one, and has its name alone."""
    said: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for photo in lot.photos:
        if not photo.is_blank:
            said[photo.get("sample")]["its photographs say"].add(photo.get("check") or "1")
    for sample, ways in said.items():
        # Photographs that all say nothing leave it to what was entered.
        if ways["its photographs say"] == {"1"} and not any(
            photo.get("check") for photo in lot.photos if photo.get("sample") == sample
        ):
            ways["its photographs say"] = set()
    for each in (*lot.of(Sampled), *lot.late):
        if isinstance(each.value, Sampled):
            said[each.value.sample]["as entered it is of"].add(str(each.value.check))
        elif isinstance(each.value, LateEntry):
            said[each.value.sample]["its late entries say"].add(str(each.value.check))
    return [
        f"{_called(sample)}: "
        + "; ".join(f"{who} check {' and '.join(sorted(checks))}" for who, checks in sorted(ways.items()) if checks)
        + ". Each check has samples of its own, under other names."
        for sample, ways in sorted(said.items())
        if len(set().union(*ways.values())) > 1
    ]


def _pieces_of_lot(lot: LotStands) -> list[str]:
    """Where the lot is said to have fewer pieces than were looked at in one of its checks."""
    last = lot.last(LotOf)
    in_lot = last.value.pieces if last and isinstance(last.value, LotOf) else None
    if in_lot is None:
        return []
    looked: dict[int, int] = defaultdict(int)
    for amount in amounts_of(lot):
        looked[amount.check] += amount.pieces or 0
    return [
        f"The lot was entered as {count(in_lot, 'piece')}, and {number} were looked at in check {check}: "
        "it is taken as not known how many it has."
        for check, number in sorted(looked.items())
        if number > in_lot
    ]


def _not_looked(kept: Iterable[Photo]) -> list[str]:
    nobody = [photo.shot.name for photo in kept if not photo.looked_by]
    if not nobody:
        return []
    return [f"{count(len(nobody), 'photograph')} that nobody has looked at as a whole: {some(nobody)}."]


def _belonging(photos: Sequence[Photo]) -> list[str]:
    lines = [f"{named(photo.shot.name)}: {sentence}" for photo in photos for sentence in photo.said]
    lines = lines[:_NAMED] + _beyond(len(lines), "sentences like these")
    for name, noun in (("sample", "sample"), ("view", "view")):
        lacking = [photo.shot.name for photo in photos if not photo.get(name) and not photo.is_blank]
        if lacking:
            lines.append(f"{count(len(lacking), 'photograph')} whose {noun} is not known: {some(lacking)}.")
    return lines


def _limits(kept: Sequence[Photo]) -> list[str]:
    """How small a speck the photographs could have shown, at worst."""
    shown = [photo for photo in kept if not photo.is_blank]
    known = [float(limit) for photo in shown if (limit := photo.shot.cells["limit_round_mm"])]
    lines = []
    if known:
        on_none = f"; below {min(known):g} mm on none" if min(known) < max(known) else ""
        where = "on every photograph" if on_none else "on any photograph" if len(shown) > 1 else "on the photograph"
        where += " of which that is known" if len(known) < len(shown) else ""
        lines.append(f"Round specks below {max(known):g} mm across would not have shown {where}{on_none}.")
    if len(known) < len(shown):
        unknown = count(len(shown) - len(known), "photograph")
        lines.append(f"How small a speck they could have shown is not known of {unknown}.")
    return lines


def _unsearched(kept: Sequence[Photo]) -> Grid | None:
    much = [photo for photo in kept if float(photo.shot.cells["unsearched_pct"] or 0) >= MUCH_UNSEARCHED_PCT]
    if not much:
        return None
    much.sort(key=lambda photo: -float(photo.shot.cells["unsearched_pct"]))
    rows = tuple((photo.shot.name, f"{photo.shot.cells['unsearched_pct']}%") for photo in much[:_NAMED])
    more = f" The table shots.csv has {len(much) - _NAMED} more." if len(much) > _NAMED else ""
    return Grid(
        ("Photograph", "Not searched, of the picture"),
        rows,
        f"Photographs of which {MUCH_UNSEARCHED_PCT:g}% or more could not be searched.{more}",
    )


def some(names: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(map(named, names[:_NAMED])) + more
