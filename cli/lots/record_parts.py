"""Parts of a lot's record that show what stands: identity, photographs, confirmed insects, entries. They count nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from cli.lots.blocks import Blank, Cut, Grid, Section
from cli.lots.entries import (
    Correction,
    Decided,
    DetectionGiven,
    Entered,
    LateEntry,
    Link,
    LotOf,
    Removed,
    RuleGiven,
    Sampled,
)
from cli.lots.gather import LotStands, Mark, Photo
from cli.lots.record_gaps import some
from cli.lots.record_rule import mark_name
from cli.lots.rule_counts import Judged
from cli.lots.rule_text import named
from cli.lots.rule_words import BASES, BODIES
from cli.lots.telling import figure
from cli.review.answers import COLONY, SpeckId
from cli.words import count

CUT_MM = 6.0
"""What each cut shows across: several bodies' lengths, so that a body is seen with what is round it."""
_CUT_SHARE = 0.08
"""Of a photograph without a scale, a cut shows this share of its longer side across."""
MOST_CUTS = 120
_LISTED_PHOTOS = 200
UNAIDED = {"yes": "seen unaided", "no": "seen with a loupe only", "not_tried": "nobody tried to see it unaided"}
_IDENTITY = (
    ("produce", "Produce"),
    ("supplier", "Supplier"),
    ("head", "Heads"),
    ("preparation", "Preparation"),
    ("delivery_photo", "Photograph of the delivery"),
    ("checker", "Looked at by"),
)
STAFF = ("checker",)
"""What a page for the supplier leaves out."""


def identity(lot: LotStands, run: str, version: str, staff: bool = True) -> Section:
    """Which lot, whose, of what, how prepared, and how much was looked at."""
    rows = [("Lot", lot.name or "no lot named")]
    for name, label in _IDENTITY:
        values = sorted({value for photo in lot.photos if (value := photo.get(name))})
        if staff or name not in STAFF:
            rows.append((label, ", ".join(values) or "not said"))
    views = Counter(photo.get("view") or "view not known" for photo in lot.photos)
    shots = ", ".join(f"{view}: {number}" for view, number in sorted(views.items()))
    rows.append(("Photographs", f"{len(lot.photos)} ({shots})" if shots else "0"))
    rows.append(("Samples", ", ".join(sample or "no sample named" for sample in lot.samples) or "none"))
    rows.append(("Scored by", f"speckwise {version}, run {run}"))
    return Section("identity", "The lot", grids=(Grid(("What", "As said or seen"), tuple(rows)),))


def photographs(lot: LotStands) -> Section:
    """Each photograph and what it could have shown."""
    head = (
        "Photograph",
        "Sample",
        "Piece",
        "View",
        "px/mm",
        "Round speck from",
        "Thin speck from",
        "Flags",
        "Looked at by",
    )
    rows = tuple(_photo_row(photo, marks) for photo, marks in _with_flags(lot)[:_LISTED_PHOTOS])
    more = len(lot.photos) - len(rows)
    lines = (f"{count(more, 'more photograph')} in shots.csv.",) if more > 0 else ()
    return Section(
        "photographs", "Photographs, and how small a speck each could have shown", lines, (Grid(head, rows),)
    )


def _with_flags(lot: LotStands) -> list[tuple[Photo, int]]:
    flags = Counter(mark.speck.shot_sha256 for mark in lot.marks)
    return [(photo, flags[photo.shot.sha256]) for photo in lot.photos]


def _photo_row(photo: Photo, flags: int) -> tuple[str, ...]:
    cells = photo.shot.cells

    def or_unknown(name: str, unit: str) -> str:
        return f"{cells[name]} {unit}" if cells[name] else "not known"

    kept = "" if photo.usable else " (take again)"
    return (
        photo.shot.name + kept,
        photo.get("sample"),
        photo.get("piece"),
        photo.get("view") or "not known",
        cells["px_per_mm"] or "not known",
        or_unknown("limit_round_mm", "mm"),
        or_unknown("limit_linear_mm", "mm"),
        str(flags),
        ", ".join(photo.looked_by) or "nobody",
    )


def insects(lot: LotStands, judged: Sequence[Judged], animal_of: Mapping[SpeckId, str], staff: bool = True) -> Section:
    """Every confirmed insect with its place, and a cut of the photograph, all at one scale."""
    verdicts = {each.find.name: each.reason for each in judged}
    shown = lot.insects[:MOST_CUTS]
    names = _animal_names(lot.insects, animal_of)
    cuts = tuple(_cut(number, mark, verdicts, names, staff) for number, mark in enumerate(shown, start=1))
    lines = []
    if not lot.insects:
        lines.append("0 confirmed on photographs. That is not a finding of none.")
    if len(lot.insects) > len(shown):
        lines.append(
            f"{count(len(lot.insects) - len(shown), 'more insect')} in the table of this record (--out with .csv)."
        )
    on_blanks = [mark for mark in lot.marks if mark.is_insect and mark.photo.is_blank]
    if on_blanks:
        lines.append(
            f"{count(len(on_blanks), 'insect')} on blank shots, before any produce: not the lot's. Look where they come from."
        )
    return Section("insects", "Confirmed insects, each at the same scale", tuple(lines), cuts=cuts)


def _animal_names(marks: Iterable[Mark], animal_of: Mapping[SpeckId, str]) -> dict[SpeckId, str]:
    """Numbers for animals that have several marks."""
    several: dict[str, list[SpeckId]] = {}
    for mark in marks:
        if mark.speck in animal_of:
            several.setdefault(animal_of[mark.speck], []).append(mark.speck)
    linked = [specks for specks in several.values() if len(specks) > 1]
    return {
        speck: f"one animal with {count(len(specks) - 1, 'other mark')} (animal {chr(ord('A') + at % 26)}{at // 26 or ''})"
        for at, specks in enumerate(linked)
        for speck in specks
    }


def _cut(number: int, mark: Mark, verdicts: Mapping[str, str], names: Mapping[SpeckId, str], staff: bool) -> Cut:
    answer = mark.answer
    assert answer is not None
    shot = mark.photo.shot
    wide_px, high_px = shot.size_px
    side = round(CUT_MM * shot.px_per_mm) if shot.px_per_mm else round(_CUT_SHARE * max(wide_px, high_px))
    side = max(8, min(side, wide_px, high_px))
    x, y = mark.place_px
    left = min(max(0, round(x - side / 2)), wide_px - side)
    top = min(max(0, round(y - side / 2)), high_px - side)
    body = BODIES.get(answer.body, "body not said")
    if answer.body == COLONY:
        body = f"a colony of {answer.least} to {answer.most}"
    length = "length not known" if mark.length_mm is None else f"{figure(mark.length_mm)} mm"
    doubt = mark.flag.cells["size_uncertainty"] if mark.flag else ""
    if doubt and mark.length_mm is not None:
        length += f" ± {100 * float(doubt):.0f}%"
    looked = f"looked at {BASES[answer.basis]}" if answer.basis else "how it was looked at is not said"
    lines = [
        f"{body}, {length}",
        _place(mark),
        f"{looked}; {UNAIDED.get(answer.unaided, 'whether it was seen unaided is not said')}",
        names.get(mark.speck, ""),
        answer.note if staff else "",
        f"answered by {', '.join(map(named, mark.reviewers))}" if staff else "",
        verdicts.get(mark_name(mark), ""),
    ]
    return Cut(
        shot.sha256,
        left,
        top,
        side,
        side,
        side / shot.px_per_mm if shot.px_per_mm else None,
        f"{number}. {named(answer.kind) or 'kind not said'}",
        tuple(line for line in lines if line),
    )


def _place(mark: Mark) -> str:
    photo = mark.photo
    where = [
        f"sample {named(photo.get('sample'))}" if photo.get("sample") else "",
        f"piece {named(mark.piece)}" if mark.piece else f"piece {mark.on_tray} on the tray" if mark.on_tray else "",
    ]
    x, y = mark.place_px
    at = f"{x:.0f} px from the left, {y:.0f} px from the top"
    if mark.flag is not None and mark.flag.cells["x_mm"]:
        at = f"{mark.flag.cells['x_mm']} mm from the left, {mark.flag.cells['y_mm']} mm from the top"
    return ", ".join(part for part in (*where, mark_name(mark), at) if part)


def entered(lot: LotStands, staff: bool = True) -> Section:
    """Everything that people entered on the lot, in order; corrections of many photographs that say the same, together."""
    rows = tuple(
        (each.at.replace("T", " "), each.by if staff else "", line)
        for each in lot.entries
        if not isinstance(each.value, Correction) and (line := entry_line(each, lot, staff))
    )
    rows += tuple(_corrections(lot, staff))
    lines = () if rows else ("Nothing was entered beside the answers.",)
    head = ("Entered at", "By", "What")
    return Section("entries", "What was entered", lines, (Grid(head, rows),) if rows else ())


def _corrections(lot: LotStands, staff: bool) -> list[tuple[str, str, str]]:
    names = {photo.shot.sha256: photo.shot.name for photo in lot.photos}
    alike: dict[tuple[str, str, str], list[Entered]] = {}
    for each in lot.of(Correction):
        assert isinstance(each.value, Correction)
        alike.setdefault((each.by, each.value.field, each.value.value), []).append(each)
    rows = []
    for (by, field, value), those in alike.items():
        shots = [
            names.get(each.value.shot_sha256, "a photograph of another run")
            for each in those
            if isinstance(each.value, Correction)
        ]
        line = f"{field} put right: {named(value) or 'taken away'}. {count(len(shots), 'photograph')}: {some(shots)}."
        rows.append((those[-1].at.replace("T", " "), by if staff else "", line))
    return rows


def entry_line(each: Entered, lot: LotStands, staff: bool = True) -> str:
    """One entry in words."""
    value = each.value
    clock = f" {each.clock}" if each.clock else ""
    if isinstance(value, Correction):
        names = {photo.shot.sha256: photo.shot.name for photo in lot.photos}
        name = names.get(value.shot_sha256, "A photograph of another run")
        return f"{named(name)}: {value.field} put right: {named(value.value) or 'taken away'}.{clock}"
    if isinstance(value, Sampled):
        parts = [
            count(value.pieces, "piece") if value.pieces else "",
            f"{value.grams:g} g {value.grams_are}" if value.grams else "",
        ]
        said = ", ".join(part for part in parts if part) or "no amount"
        day = f", on {value.on}" if value.on else ""
        return f"Sample {named(value.sample) or 'without a name'}: {said}; check {value.check}{day}.{clock}"
    if isinstance(value, LotOf):
        return f"The lot has {'a number of pieces that is not known' if value.pieces is None else count(value.pieces, 'piece')}.{clock}"
    if isinstance(value, Removed):
        where = (
            f"piece {named(value.piece)} of sample {named(value.sample)}"
            if value.piece
            else f"all pieces of sample {named(value.sample)}"
        )
        if value.in_error:
            return f"Nothing was removed after all, {where}: {named(value.what)}.{clock}"
        return f"Removed, {where}{', whole' if value.whole else ''}: {named(value.what)}. That is an outcome, not a finding of none.{clock}"
    if isinstance(value, Link):
        card = f" The find lies on card {named(value.card)}." if value.card else ""
        n = len(value.specks)
        return (f"{n} marks are one animal." if n > 1 else "A mark is an animal of its own.") + card + clock
    if isinstance(value, RuleGiven):
        return (
            f"A house rule was entered.{clock}" if value.text else f"The house rule was taken away: counts only.{clock}"
        )
    if isinstance(value, DetectionGiven):
        if value.assumed is not None:
            return f"{100 * value.assumed:g}% of insects are assumed to be seen.{clock}"
        return f"{value.seen} of {value.put_in} insects put in were seen.{clock}"
    if isinstance(value, Decided):
        return f"A decision was entered{' late' if value.late else ''}, made at {value.at}.{clock}"
    assert isinstance(value, LateEntry)
    found = "; ".join(
        f"{named(found.kind) or 'kind not said'} {found.least if found.least == found.most else f'{found.least} to {found.most}'}"
        + (f" ({BODIES[found.body]})" if found.body else "")
        for found in value.found
    )
    who = f", by {named(value.checker)}" if staff else ""
    note = f" {named(value.note)}" if value.note and staff else ""
    return (
        f"Late entry: sample {named(value.sample) or 'without a name'}, {count(value.pieces, 'piece')} looked at on {value.at}{who}; "
        f"entered on {each.at}. Found: {found or 'none written down. That is not a finding of none'}.{note}{clock}"
    )


def signatures() -> Section:
    """Three lines to sign by hand."""
    labels = (
        "The method was followed: name, signature, day",
        "The record is whole: name, signature, day",
        "The decision: name, signature, day",
    )
    return Section("signatures", "To be signed by hand", blanks=tuple(map(Blank, labels)))
