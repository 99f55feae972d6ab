"""A table that a person filled in -> answers. What can't be meant is refused row by row, each with a sentence; nothing is dropped in
silence, and nothing is guessed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cli.review.answers import (
    ANSWERS,
    BASES,
    BODIES,
    FROM_TABLE,
    UNAIDED,
    Answer,
    AnswerError,
    Ring,
    SpeckId,
    one_spelling,
)
from cli.review.cells import hash_in, number_in, one_of, shown, text_in, whole_in, word_in
from cli.review.give import EXTRA
from cli.review.shelf import Shelf
from cli.review.spreadsheet import Asked, Row, Sheet, read_sheet
from cli.words import count, printable
from vision.errors import TableError
from vision.table import CANDIDATES, PERSON_COLUMNS

_SPECK = ("shot_sha256", "run", "candidate")
_PLACE = ("x_px", "y_px")
_RING = ("ring_x_px", "ring_y_px", "ring_radius_px")
_SAID = (*PERSON_COLUMNS, "unaided", "count_least", "count_most", *_RING)
"""What a person may fill in."""
_READ = (*_SPECK, *_PLACE, *_SAID)
ASKED = Asked(
    needed=(*_SPECK, "answer"),
    wanted=tuple(name for name in (*_PLACE, *_SAID) if name != "answer"),
    unread=tuple(column.name for column in (*CANDIDATES, *EXTRA) if column.name not in _READ),
)
_APART_PX = 1.0
"""By how much a place in the table may differ from the flag's own: more is another place."""


@dataclass(frozen=True)
class Refusal:
    """A row that was not taken, by the number a spreadsheet shows, and why, in a sentence."""

    row: int
    sentence: str


@dataclass(frozen=True)
class Taken:
    """What a table says."""

    answers: tuple[Answer, ...]
    """In the order of the rows, each once."""
    refused: tuple[Refusal, ...]
    """In the order of the rows."""
    notices: tuple[str, ...]
    unanswered: int
    """Specks whose rows say nothing yet."""


def sheet_of(data: bytes) -> Sheet:
    """The rows of a table's bytes. Raises TableError where it can't be read as a whole."""
    return read_sheet(data, ASKED)


def take(sheet: Sheet, shelf: Shelf, reviewer: str, added: Collection[SpeckId] = ()) -> Taken:
    """The answers in a table, of a first reading. `reviewer` counts where a row names none; '' where no name was given.

    `added` are the specks that persons have added. The same table always gives the same answers with the same tokens.
    """
    known = _Known(shelf, added)
    said: dict[SpeckId, list[tuple[int, Answer]]] = {}
    seen: set[SpeckId] = set()
    silent: set[SpeckId] = set()
    refused: list[Refusal] = []
    spoken: set[SpeckId] = set()
    for row in sheet.rows:
        try:
            speck = known.speck_of(row)
            seen.add(speck)
            if not any(row.cells[name].strip() for name in _SAID):
                silent.add(speck)
                continue
            spoken.add(speck)
            answer = _answer(row, speck, reviewer)
            said.setdefault(speck, []).append((row.number, answer))
        except (AnswerError, TableError) as error:
            refused.append(Refusal(row.number, str(error)))
    refused += _contradictions(said)
    return Taken(
        answers=tuple(rows[0][1] for rows in said.values() if len({answer for _, answer in rows}) == 1),
        refused=tuple(sorted(refused, key=lambda refusal: refusal.row)),
        notices=(*sheet.notices, *_missing(sheet), *_said_twice(said), *_without_row(shelf, seen)),
        unanswered=len(silent - spoken),
    )


class _Known:
    """Which specks a row may speak of."""

    def __init__(self, shelf: Shelf, added: Collection[SpeckId]) -> None:
        self._shelf = shelf
        self._specks = {*shelf.flags, *added}
        self._hashes = {*shelf.by_sha256, *(speck.shot_sha256 for speck in self._specks)}

    def speck_of(self, row: Row) -> SpeckId:
        """The speck a row is about. Raises TableError."""
        if row.fault:
            raise TableError(row.fault)
        empty = [name for name in _SPECK if not row.cells[name].strip()]
        if empty:
            raise TableError(
                f"This row does not say which speck it is about: {', '.join(empty)} must be filled in. "
                "Copy them from the table that was given out, or delete the row if it is a remark."
            )
        run = text_in(row.cells["run"]).lower()
        if run != self._shelf.run:
            raise TableError(
                f"This row is of another run, {shown(run)}, and this folder holds run {self._shelf.run}. "
                "Take it where that run's results stand."
            )
        sha256 = hash_in("shot_sha256", row.cells["shot_sha256"], self._hashes)
        speck = SpeckId(sha256, run, whole_in("candidate", row.cells["candidate"]))
        if speck not in self._specks:
            raise TableError(
                f"There is no candidate {speck.candidate} in {self._name(speck)}. "
                "Compare the number with the table that was given out."
            )
        self._refuse_another_place(row, speck)
        return speck

    def _name(self, speck: SpeckId) -> str:
        shot = self._shelf.by_sha256.get(speck.shot_sha256)
        return f"the shot {printable(shot.name)}" if shot else "this shot"

    def _refuse_another_place(self, row: Row, speck: SpeckId) -> None:
        flag = self._shelf.flags.get(speck)
        if flag is None:
            return
        for name, own_px in zip(_PLACE, (flag.x_px, flag.y_px), strict=True):
            if not row.cells[name].strip():
                continue
            # A little more than a pixel, so that one pixel's difference is not lost to how numbers are kept.
            if abs(number_in(name, row.cells[name]) - own_px) > _APART_PX + 1e-6:
                raise TableError(
                    f"{name} holds {shown(row.cells[name])}, but candidate {speck.candidate} of {self._name(speck)} lies at "
                    f"{own_px:.1f}: cells were shifted, or some columns were sorted without the others. "
                    "Undo that in the spreadsheet, or put the answer by hand into the row it belongs to."
                )


def _answer(row: Row, speck: SpeckId, reviewer: str) -> Answer:
    """What a row says. Raises AnswerError or TableError."""
    cells = row.cells
    answer = word_in("answer", cells["answer"], ANSWERS)
    if not answer:
        filled = ", ".join(name for name in _SAID if cells[name].strip())
        raise TableError(
            f"The answer is empty, but {filled} is filled in. Write {one_of(ANSWERS)} into answer, or empty the other cells."
        )
    by = text_in(cells["reviewer"]) or reviewer.strip()
    if not by:
        raise TableError(
            "Nobody is named for this answer. Fill in reviewer, or give your name when the table is taken."
        )
    return _with_token(
        Answer(
            speck=speck,
            answer=answer,
            reviewer=by,
            kind=one_spelling(text_in(cells["kind"])),
            body=word_in("body", cells["body"], BODIES),
            basis=word_in("basis", cells["basis"], BASES),
            unaided=word_in("unaided", cells["unaided"], UNAIDED),
            least=_count("count_least", cells),
            most=_count("count_most", cells),
            ring=_ring(cells),
            note=text_in(cells["note"]),
            source=FROM_TABLE,
        )
    )


def _count(column: str, cells: Mapping[str, str]) -> int | None:
    return whole_in(column, cells[column]) if cells[column].strip() else None


def _ring(cells: Mapping[str, str]) -> Ring | None:
    given = [name for name in _RING if cells[name].strip()]
    if not given:
        return None
    if len(given) < len(_RING):
        raise TableError(f"A ring needs {', '.join(_RING)}: fill in all three, or empty them.")
    x_px, y_px, radius_px = (number_in(name, cells[name]) for name in _RING)
    if radius_px <= 0:
        raise TableError("ring_radius_px must be above 0.")
    return Ring(x_px, y_px, radius_px)


def _with_token(answer: Answer) -> Answer:
    """Named by all it says, so that the same row taken twice is one act."""
    speck, ring = answer.speck, answer.ring
    said = [
        *(
            speck.shot_sha256,
            speck.run,
            speck.candidate,
            answer.reading,
            answer.answer,
            answer.kind,
            answer.body,
            answer.basis,
        ),
        *(answer.unaided, answer.least, answer.most, answer.note, answer.reviewer),
        [ring.x_px, ring.y_px, ring.radius_px] if ring else None,
    ]
    return replace(answer, token="table-" + hashlib.sha256(json.dumps(said).encode()).hexdigest())


_Said = Mapping[SpeckId, Sequence[tuple[int, Answer]]]


def _contradictions(said: _Said) -> Iterator[Refusal]:
    for rows in said.values():
        if len({answer for _, answer in rows}) > 1:
            numbers = _listed(number for number, _ in rows)
            for number, _ in rows:
                yield Refusal(
                    number,
                    f"Rows {numbers} are about the same speck and say different things. Keep one and delete the others.",
                )


def _said_twice(said: _Said) -> Iterator[str]:
    for rows in said.values():
        if len(rows) > 1 and len({answer for _, answer in rows}) == 1:
            yield f"Rows {_listed(number for number, _ in rows)} say the same about the same speck: taken once."


def _listed(numbers: Iterable[int]) -> str:
    *first, last = map(str, numbers)
    return f"{', '.join(first)} and {last}"


def _missing(sheet: Sheet) -> Iterator[str]:
    places = [name for name in sheet.missing if name in _PLACE]
    if places:
        yield f"Not in the table: {', '.join(places)}. So it could not be seen whether rows were shifted."
    # The others are in none of the tables that `score` writes.
    others = [name for name in sheet.missing if name in PERSON_COLUMNS]
    if others:
        yield f"Not in the table, so nothing was taken for it: {', '.join(others)}."


def _without_row(shelf: Shelf, seen: Collection[SpeckId]) -> Iterator[str]:
    left = len(shelf.flags.keys() - set(seen))
    if left:
        have = "has no row" if left == 1 else "have no row"
        yield f"{count(left, 'flag')} of this run {have} in this table that could be read: nothing changes for them."
