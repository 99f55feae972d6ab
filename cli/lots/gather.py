"""What stands of each lot: photographs with what they belong to, what people answered and entered. Nothing is counted here.

Corrections come last and win: they were made by a person who saw what the sources said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from cli.batch.belonging import BELONGS
from cli.lots.entries import Correction, Entered, LateEntry, Link, Removed, Value
from cli.review.answers import (
    INSECT,
    NOT_INSECT,
    Added,
    Answer,
    Said,
    SpeckId,
    last_words,
    same_person,
    without_withdrawn,
)
from cli.review.second import DECIDED, OPEN, drawn, standing
from cli.review.shelf import DeskShot, Flag, Shelf
from cli.review.store import Look, SecondReading
from vision.guides.views import BLANK

NO_LOT = ""
"""The lot of photographs that name none."""


@dataclass(frozen=True)
class Heard:
    """All that people said of one run and its lots, as far as the record was read."""

    said: Sequence[Said] = ()
    added: Sequence[Added] = ()
    looks: Sequence[Look] = ()
    readings: Sequence[SecondReading] = ()
    entries: Sequence[Entered] = ()

    def first(self, rows: Mapping[str, int]) -> Heard:
        """What it was when so many rows of each sort were there. Rows are only added, so that can always be had again."""
        return Heard(**{name: tuple(kept)[: rows[name]] for name, kept in vars(self).items()})


@dataclass(frozen=True)
class Photo:
    """One photograph and what it belongs to, put right where somebody did."""

    shot: DeskShot
    belongs: Mapping[str, str]
    """Of BELONGS, those that are known."""
    said: tuple[str, ...] = ()
    """Where sources of its belonging do not agree, in sentences."""
    looked_by: tuple[str, ...] = ()
    """Who looked at the whole of it with all marks hidden."""

    def get(self, name: str) -> str:
        """One of BELONGS; '' where it is not known."""
        return self.belongs.get(name, "")

    @property
    def is_blank(self) -> bool:
        """Whether it is one of the wiped tray, before any produce."""
        return self.get("view") == BLANK

    @property
    def usable(self) -> bool:
        """Whether it can show what it is meant to."""
        return self.shot.cells["usable"] != "no"


@dataclass(frozen=True)
class Mark:
    """One flag or added speck, and the answer that counts on it."""

    speck: SpeckId
    photo: Photo
    flag: Flag | None
    added: Added | None
    state: str
    """As in cli.review.second: open, one, awaited, agreed, disagreed, decided."""
    answer: Answer | None
    """None where none counts yet."""
    reviewers: tuple[str, ...] = ()
    """Who answered, reading by reading."""

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to answer."""
        return self.answer is None or self.state in (OPEN, "awaited", "disagreed")

    @property
    def is_insect(self) -> bool:
        return self.answer is not None and self.answer.answer == INSECT

    @property
    def is_none(self) -> bool:
        """Whether it was answered to be no insect."""
        return self.answer is not None and self.answer.answer == NOT_INSECT

    @property
    def place_px(self) -> tuple[float, float]:
        """Its middle, in pixels of the upright picture."""
        if self.added is not None:
            return self.added.x_px, self.added.y_px
        assert self.flag is not None
        return self.flag.x_px, self.flag.y_px

    @property
    def piece(self) -> str:
        """The piece that the photograph names; '' where it names none."""
        return self.photo.get("piece")

    @property
    def on_tray(self) -> str:
        """Number of the piece on the tray that it lies on, of a photograph that names no piece. Of that photograph alone: pieces that
        were turned or moved get others."""
        number = self.flag.cells["piece"] if self.flag else ""
        # A flag's cell that only repeats its photograph's was put right together with that.
        return "" if self.piece or number == self.photo.shot.cells["piece"] else number

    @property
    def place(self) -> str:
        """The piece by a name that no other piece of its sample has; '' where not known."""
        return self.piece or (f"{self.on_tray} on {self.photo.shot.name}" if self.on_tray else "")

    @property
    def length_mm(self) -> float | None:
        """Along the body, where the tool measured it or a person drew it and the scale is known."""
        if self.flag is not None:
            return float(self.flag.cells["length_mm"]) if self.flag.cells["length_mm"] else None
        scale = self.photo.shot.px_per_mm
        drawn_px = self.added.length_px if self.added else 0
        return drawn_px / scale if scale and drawn_px else None


@dataclass(frozen=True)
class LotStands:
    """One lot as it stands."""

    name: str
    photos: tuple[Photo, ...]
    marks: tuple[Mark, ...]
    entries: tuple[Entered, ...]
    """Of this lot, in the order they were made."""
    failed: Mapping[str, str] = field(default_factory=dict)
    """Photographs that could not be read, and why. What they belong to is not known, so every lot of a run is told of them."""
    not_found: tuple[str, ...] = ()
    """Photographs that a manifest names and that were not there."""
    lotless: tuple[Photo, ...] = ()
    """Photographs of the run that name no lot, but blanks: nobody knows whether they are of this one. None for NO_LOT itself."""
    lotless_marks: int = 0
    """Marks on these that are confirmed, or that somebody still has to answer."""
    finished: bool = True
    """False where the run has not come to all of its photographs yet."""

    def of(self, kind: type[Value]) -> list[Entered]:
        """Entries of one kind, in the order they were made."""
        return [each for each in self.entries if isinstance(each.value, kind)]

    def last(self, kind: type[Value]) -> Entered | None:
        """The entry of a kind that counts."""
        return next(iter(reversed(self.of(kind))), None)

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """In the order they were made."""
        return tuple(each.value for each in self.entries if isinstance(each.value, Link))

    @cached_property
    def insects(self) -> tuple[Mark, ...]:
        """Marks on produce, or on what came off it, that a person confirmed; those on blanks are not the lot's."""
        return tuple(mark for mark in self.marks if mark.is_insect and not mark.is_open and not mark.photo.is_blank)

    @cached_property
    def open(self) -> tuple[Mark, ...]:
        """Marks that somebody still has to answer."""
        return tuple(mark for mark in self.marks if mark.is_open)

    @cached_property
    def late(self) -> tuple[Entered, ...]:
        """What was written by hand; of two entries on one sample with one time the later takes the earlier one's place."""
        last: dict[tuple[str, str], Entered] = {}
        for each in self.of(LateEntry):
            assert isinstance(each.value, LateEntry)
            last[each.value.sample, each.value.at] = each
        return tuple(sorted(last.values(), key=lambda each: each.number))

    @cached_property
    def removed(self) -> tuple[Removed, ...]:
        """What was removed, piece by piece as it was entered last, but for what was entered in error."""
        last: dict[tuple[str, str], Removed] = {}
        for each in self.of(Removed):
            assert isinstance(each.value, Removed)
            last[each.value.sample, each.value.piece] = each.value
        return tuple(value for value in last.values() if not value.in_error)

    @cached_property
    def numbered_twice(self) -> frozenset[str]:
        """Samples with several photographs on which pieces are numbered and not named: which of them show the same piece nobody knows."""
        trays: dict[str, set[str]] = defaultdict(set)
        for mark in self.marks:
            if mark.on_tray:
                trays[mark.photo.get("sample")].add(mark.speck.shot_sha256)
        for photo in self.photos:
            if not photo.get("piece") and int(photo.shot.facts.get("pieces_seen", "0")) > 1:
                trays[photo.get("sample")].add(photo.shot.sha256)
        return frozenset(sample for sample, shots in trays.items() if len(shots) > 1)

    @property
    def samples(self) -> tuple[str, ...]:
        """Of all photographs and entries, sorted; '' for what names none."""
        named = {photo.get("sample") for photo in self.photos if not photo.is_blank}
        named |= {sample for each in self.entries if (sample := getattr(each.value, "sample", None)) is not None}
        return tuple(sorted(named))


def lots_of(shelf: Shelf, heard: Heard) -> tuple[LotStands, ...]:
    """Every lot of a run, sorted by name; photographs that name none under NO_LOT, which comes last."""
    entries = sorted(heard.entries, key=lambda each: each.number)
    corrections = [each.value for each in entries if isinstance(each.value, Correction)]
    photos = _photos(shelf, heard.looks, corrections)
    marks = _marks(shelf, heard, photos)
    of_lot: dict[str, list[Photo]] = defaultdict(list)
    for photo in photos.values():
        of_lot[photo.get("lot")].append(photo)
    entered: dict[str, list[Entered]] = defaultdict(list)
    for each in entries:
        entered[_lot_of(each, photos)].append(each)
    lotless = tuple(photo for photo in of_lot[NO_LOT] if not photo.is_blank)
    waiting = sum(mark.is_open or mark.is_insect for photo in lotless for mark in marks.get(photo.shot.sha256, ()))
    return tuple(
        LotStands(
            name,
            tuple(of_lot[name]),
            tuple(mark for photo in of_lot[name] for mark in marks.get(photo.shot.sha256, ())),
            tuple(entered[name]),
            shelf.failed,
            # Of which nobody said the lot, every lot is told.
            tuple(sorted(shot for shot, lot in shelf.not_found.items() if lot in (name, NO_LOT))),
            *((lotless, waiting) if name != NO_LOT else ((), 0)),
            shelf.finished,
        )
        for name in sorted(
            {*(lot for lot, own in of_lot.items() if own), *entered, *filter(None, shelf.not_found.values())},
            key=lambda name: (name == NO_LOT, name),
        )
    )


def _lot_of(entered: Entered, photos: Mapping[str, Photo]) -> str:
    """A correction is told of in the lot to which it brought its photograph."""
    if isinstance(entered.value, Correction) and entered.value.shot_sha256 in photos:
        return photos[entered.value.shot_sha256].get("lot")
    return entered.lot


def _photos(shelf: Shelf, looks: Iterable[Look], corrections: Iterable[Correction]) -> dict[str, Photo]:
    """By the SHA-256 of their bytes, in the order of the tables."""
    looked: dict[str, list[str]] = defaultdict(list)
    for look in looks:
        if not any(same_person(look.reviewer, name) for name in looked[look.shot_sha256]):
            looked[look.shot_sha256].append(look.reviewer)
    right = put_right(corrections)
    return {
        shot.sha256: Photo(
            shot,
            belonging(shot) | dict(right.get(shot.sha256, {})),
            # What somebody put right since is told as a correction.
            tuple(said for said in shot.said if said.partition(":")[0] not in right.get(shot.sha256, {})),
            tuple(looked.get(shot.sha256, ())),
        )
        for shot in shelf.shots
    }


def put_right(corrections: Iterable[Correction]) -> Mapping[str, Mapping[str, str]]:
    """What people put right, field by field, by the SHA-256 of the photograph; of two corrections of a field the later one."""
    right: dict[str, dict[str, str]] = defaultdict(dict)
    for correction in corrections:
        right[correction.shot_sha256][correction.field] = correction.value
    return right


def belonging(shot: DeskShot) -> dict[str, str]:
    """What is known of a photograph's belonging as it was scored."""
    known = {name: shot.cells.get(name, "") or shot.facts.get(name, "") for name in BELONGS}
    return {name: value for name, value in known.items() if value}


def _marks(shelf: Shelf, heard: Heard, photos: Mapping[str, Photo]) -> dict[str, list[Mark]]:
    """Flags of each photograph in picture order, then what people added."""
    words = last_words(heard.said)
    added = {
        each.speck: each for each in without_withdrawn(heard.added, heard.said) if each.speck.shot_sha256 in photos
    }
    specks = [*shelf.flags, *added]
    twice = frozenset[SpeckId]().union(*(drawn(specks, asked) for asked in heard.readings))
    marks: dict[str, list[Mark]] = defaultdict(list)
    for speck in specks:
        stands = standing(speck, words, twice)
        readings = [3] if stands.state == DECIDED else [1, 2, 3]
        who = [words[speck, reading].answer.reviewer for reading in readings if (speck, reading) in words]
        marks[speck.shot_sha256].append(
            Mark(
                speck,
                photos[speck.shot_sha256],
                shelf.flags.get(speck),
                added.get(speck),
                stands.state,
                stands.word.answer if stands.word else None,
                tuple(who),
            )
        )
    return marks
