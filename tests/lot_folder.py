"""Scored folders with lots, and what people said of them. All invented: the kitchen of Quillmere House, its lots, suppliers and people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from scored_folder import RUN, Made, entry_of

from cli.batch.ledger import Entry, Ledger
from cli.batch.standing import LEDGER, RECORD
from cli.lots.entries import Entered, Value
from cli.lots.gather import Heard, LotStands, lots_of
from cli.pages.names import shot_files_among
from cli.review.answers import FIRST_ADDED, Added, Answer, Said, SpeckId
from cli.review.shelf import DeskShot, Flag, Shelf, named, picture_order, store_beside
from cli.review.store import Look, SecondReading, Store, sqlite_url
from vision.files import write_bytes, write_json
from vision.table import CANDIDATES, SHOTS

LOT = "QH-12 (invented)"
KITCHEN = "Kitchen of Quillmere House (invented)"


@dataclass(frozen=True)
class Taken:
    """One invented photograph of a lot."""

    name: str
    flags: int = 2
    sample: str = "1"
    piece: str = ""
    view: str = "water"
    lot: str = LOT
    reasons: str = ""
    """Why it can't show what it is meant to; '' where it can."""
    unsearched_pct: str = "1.5"
    limit_round_mm: str = "0.30"
    taken_at: str = "2026-03-04T09:30:00"
    px_per_mm: float | None = 20.0
    size_px: tuple[int, int] = (240, 160)
    seed: int = 0

    def entry(self, run: str = RUN) -> tuple[Entry, dict[str, bytes]]:
        """What the ledger says of it, and its picture."""
        size, scale = self.size_px, self.px_per_mm
        made = Made(self.name, self.flags, self.lot, self.sample, self.piece, size, scale, self.seed)
        entry, files = entry_of(made, run)
        told = {
            "view": self.view,
            "usable": "no" if self.reasons else "yes",
            "reasons": self.reasons,
            "unsearched_pct": self.unsearched_pct,
            "limit_round_mm": self.limit_round_mm if scale else "",
            "taken_at": self.taken_at,
        }
        row = [told.get(column.name, cell) for column, cell in zip(SHOTS, entry.row, strict=True)]
        flags = [
            [self.view if column.name == "view" else cell for column, cell in zip(CANDIDATES, cells, strict=True)]
            for cells in entry.candidates
        ]
        return replace(entry, row=row, candidates=flags), files


def shelf_of(*shots: Taken, failed: Mapping[str, str] | None = None, folder: Path = Path("unused")) -> Shelf:
    """The photographs as a shelf, without a disk."""
    return Shelf(folder, RUN, "0.1.0", tuple(_desk_shot(shot.entry()[0]) for shot in shots), failed or {})


def _desk_shot(entry: Entry) -> DeskShot:
    cells = named(SHOTS, entry.row)
    rows = [named(CANDIDATES, row) for row in entry.candidates]
    flags = [Flag(SpeckId(entry.sha256, entry.run, int(row["candidate"])), row) for row in rows]
    picture = shot_files_among(entry.files).unmarked
    return DeskShot(cells, picture, entry.digests[picture], picture_order(flags, int(cells["height_px"])))


def write_lots(folder: Path, *shots: Taken, failed: Mapping[str, str] | None = None) -> Path:
    """Writes a scored folder of them and returns it."""
    folder.mkdir(parents=True, exist_ok=True)
    ledger = Ledger(folder / LEDGER, RUN)
    for shot in shots:
        entry, files = shot.entry()
        for name, data in files.items():
            (folder / name).parent.mkdir(exist_ok=True)
            write_bytes(folder / name, data)
        ledger.add(entry)
    for name, error in (failed or {}).items():
        ledger.add(Entry(RUN, name, "", 1, f"/shots/{name}", [""] * len(SHOTS), [], [], 0.1, error=error))
    ledger.close()
    write_json(folder / RECORD, {"app": "speckwise", "run": RUN, "version": "0.1.0", "tables": {}})
    return folder


@dataclass
class People:
    """What people said and entered, in the order they did, numbered as the record numbers it."""

    shelf: Shelf
    acts: list[Answer | Added | Look | SecondReading | Entered] = field(default_factory=list)

    def flags(self, name: str) -> list[SpeckId]:
        """The flags of a photograph, by number."""
        shot = self.shot(name)
        return sorted((flag.speck for flag in shot.flags), key=lambda speck: speck.candidate)

    def shot(self, name: str) -> DeskShot:
        return next(shot for shot in self.shelf.shots if shot.name == name)

    def answer(self, speck: SpeckId, answer: str = "not_insect", by: str = "Ida", **more: Any) -> None:
        self.acts.append(Answer(speck, answer, by, token=self._token(), **more))

    def insect(self, speck: SpeckId, by: str = "Ida", **more: Any) -> None:
        told = {"kind": "aphid", "body": "whole", "basis": "in_hand", "unaided": "yes"} | more
        self.answer(speck, "insect", by, **told)

    def answer_all(self, name: str = "", by: str = "Ida") -> None:
        """No insects, on all flags of a photograph or of every one."""
        for shot in self.shelf.shots:
            for flag in shot.flags if not name or shot.name == name else ():
                self.answer(flag.speck, by=by)

    def add(self, name: str, x_px: float = 50.0, y_px: float = 60.0, length_px: float = 20.0) -> SpeckId:
        """A speck that the tool missed; returns what the record will call it."""
        shot = self.shot(name)
        before = sum(isinstance(act, Added) and act.speck.shot_sha256 == shot.sha256 for act in self.acts)
        speck = SpeckId(shot.sha256, self.shelf.run, FIRST_ADDED + before)
        self.acts.append(Added(speck, "Ida", x_px, y_px, length_px, 0.0, self._token()))
        return speck

    def look(self, name: str, by: str = "Ida") -> None:
        self.acts.append(Look(self.shot(name).sha256, self.shelf.run, by, 1, 4.0, self._token()))

    def look_at_all(self, by: str = "Ida") -> None:
        for shot in self.shelf.shots:
            self.look(shot.name, by)

    def read_twice(self, share: float = 1.0) -> None:
        self.acts.append(SecondReading(self.shelf.run, 2, share, "seed", "Odile"))

    def enter(self, *values: Value, lot: str = LOT, by: str = "Ida") -> None:
        for value in values:
            self.acts.append(Entered(lot, by, value, self._token()))

    def _token(self) -> str:
        return f"act-{len(self.acts)}"

    @property
    def heard(self) -> Heard:
        """All of it as the record gives it back."""

        def of(kind: type[Any]) -> list[Any]:
            return [act for act in self.acts if isinstance(act, kind)]

        said = [Said(number, f"2026-03-04T10:00:{number % 60:02d}Z", "", a) for number, a in enumerate(of(Answer), 1)]
        entries = [
            replace(entry, number=number, at=f"2026-03-04T11:00:{number % 60:02d}Z")
            for number, entry in enumerate(of(Entered), 1)
        ]
        return Heard(said, of(Added), of(Look), of(SecondReading), entries)

    def lots(self) -> dict[str, LotStands]:
        return {lot.name: lot for lot in lots_of(self.shelf, self.heard)}

    def lot(self, name: str = LOT) -> LotStands:
        return self.lots()[name]

    def keep(self, folder: Path) -> Path:
        """Puts all of it into the record beside a folder's results."""
        return self.keep_in(Store(sqlite_url(store_beside(folder))), folder)

    def keep_in(self, store: Store, folder: Path) -> Path:
        ways: Sequence[tuple[type[Any], Any]] = (
            (Answer, store.add_answer),
            (Added, store.add_speck),
            (Look, store.add_look),
            (SecondReading, store.begin_reading),
            (Entered, store.add_entry),
        )
        for act in self.acts:
            next(way for kind, way in ways if isinstance(act, kind))(act)
        store.close()
        return folder


def people_on(*shots: Taken, **more: Any) -> People:
    """People in front of some photographs."""
    return People(shelf_of(*shots, **more))


def number_pieces(people: People, *names: str) -> None:
    """Has every flag of these photographs lie on the first of two pieces on the tray, as the tool numbers them."""
    shots = tuple(
        replace(
            shot,
            facts={**shot.facts, "pieces_seen": "2"},
            flags=tuple(replace(flag, cells={**flag.cells, "piece": "1"}) for flag in shot.flags),
        )
        if shot.name in names
        else shot
        for shot in people.shelf.shots
    )
    people.shelf = replace(people.shelf, shots=shots)
