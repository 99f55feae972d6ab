"""Answers -> the candidates table as a person would have filled it in, with more columns behind. `take` reads it back."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

from cli.review.answers import TAKEN_BACK, Added, Answer, Ring, Said, SpeckId
from cli.review.shelf import DeskShot, Flag, Shelf
from vision.table import CANDIDATES, PERSON_COLUMNS, Cell, Column, format_cell, to_csv


def _ring(pick: Callable[[Ring], float]) -> Callable[[Said], Cell]:
    return lambda said: None if said.answer.ring is None else pick(said.answer.ring)


EXTRA: tuple[Column, ...] = (
    Column("answered_at", "text", "when the answer was recorded (RFC 3339, UTC)", get=lambda s: s.at),
    Column("unaided", "text", "seen without a loupe: yes, no or not_tried", get=lambda s: s.answer.unaided),
    Column("count_least", "integer", "of a colony: how many at least", get=lambda s: s.answer.least),
    Column("count_most", "integer", "of a colony: how many at most", get=lambda s: s.answer.most),
    Column("ring_x_px", "number", "ring round a colony: centre, to the right", "px", 1, _ring(lambda r: r.x_px)),
    Column("ring_y_px", "number", "ring round a colony: centre, down", "px", 1, _ring(lambda r: r.y_px)),
    Column("ring_radius_px", "number", "ring round a colony: radius", "px", 1, _ring(lambda r: r.radius_px)),
)
"""Behind the columns of candidates.csv."""
ANSWERED = (*CANDIDATES, *EXTRA)
_FROM_SHOT = ("lot", "sample", "piece", "view", "shot", "shot_sha256", "run")


def answered_table(shelf: Shelf, words: Mapping[SpeckId, Said], added: Sequence[Added]) -> bytes:
    """Every flag and every added speck, in the order of candidates.csv, with what `words` says of it.

    Words and added specks of other runs or other shots have no row here.
    """
    return to_csv(ANSWERED, _rows(shelf, words, added))


def square_round(added: Added, size_px: tuple[int, int]) -> tuple[int, int, int, int]:
    """Left, top, width and height of the square round an added speck, cut off at the picture's edges; at least one pixel.

    Whatever way a body of that length lies, it lies within. Coordinates are those of pixels' centres.
    """
    half = max(added.length_px, 1.0) / 2
    (left, wide), (top, high) = (
        _span(centre, half, size) for centre, size in zip((added.x_px, added.y_px), size_px, strict=True)
    )
    return left, top, wide, high


def _span(centre: float, half: float, size: int) -> tuple[int, int]:
    first, last = math.floor(centre - half + 0.5), math.ceil(centre + half - 0.5)
    first, last = (min(max(edge, 0), size - 1) for edge in (first, last))
    return first, last - first + 1


def added_to(shot: DeskShot, run: str, added: Sequence[Added]) -> list[Added]:
    """What persons have added to a shot of a run, by number."""
    own = (a for a in added if (a.speck.shot_sha256, a.speck.run) == (shot.sha256, run))
    return sorted(own, key=lambda a: a.speck.candidate)


def best_first(shot: DeskShot) -> list[Flag]:
    """A shot's flags as candidates.csv lists them."""
    return sorted(shot.flags, key=lambda flag: flag.speck.candidate)


def word_on(speck: SpeckId, words: Mapping[SpeckId, Said]) -> Said | None:
    """What stands; None where nothing was said, or it was taken back."""
    said = words.get(speck)
    return None if said is None or said.answer.answer == TAKEN_BACK else said


def _rows(shelf: Shelf, words: Mapping[SpeckId, Said], added: Sequence[Added]) -> Iterator[list[str]]:
    for shot in shelf.shots:
        for flag in best_first(shot):
            yield _row(flag.cells, word_on(flag.speck, words))
        for each in added_to(shot, shelf.run, added):
            yield _row(_cells_of(each, shot), word_on(each.speck, words))


def _row(cells: Mapping[str, str], said: Said | None) -> list[str]:
    person = {name: "" if said is None else _text(said.answer, name) for name in PERSON_COLUMNS}
    # Numbers stand in `cells` as the table writes them already.
    row = [
        format_cell(column, value) if column.kind == "text" else value
        for column in CANDIDATES
        for value in [{**cells, **person}.get(column.name, "")]
    ]
    return row + ["" if said is None else format_cell(column, column.get(said)) for column in EXTRA]


def _text(answer: Answer, name: str) -> str:
    return str(getattr(answer, name))


def _cells_of(added: Added, shot: DeskShot) -> dict[str, str]:
    """What is known of an added speck. Its place in millimetres is not: the ground's plane is not kept with the shot."""
    left, top, wide, high = square_round(added, shot.size_px)
    known: dict[str, Cell] = {
        "candidate": added.speck.candidate,
        "x_px": added.x_px,
        "y_px": added.y_px,
        "left_px": left,
        "top_px": top,
        "wide_px": wide,
        "high_px": high,
    }
    if added.length_px > 0:
        known["angle_deg"] = added.angle_deg
        known["length_mm"] = None if shot.px_per_mm is None else added.length_px / shot.px_per_mm
    numbers = {c.name: format_cell(c, known[c.name]) for c in CANDIDATES if c.name in known}
    from_shot = {name: shot.cells.get(name, "") for name in _FROM_SHOT}
    return {**from_shot, **numbers, "run": added.speck.run, "found_by": "person"}
