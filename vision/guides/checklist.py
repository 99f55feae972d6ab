"""What a guide asks for against what was shot: which faces of which piece nobody has seen, what the sample lacks, what was removed.

A shot counts for what its name says it shows. Where it shows something else, no list notices. Nothing here says what was found.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from vision.guides import Guide
from vision.guides.entries import REMOVED, Unit
from vision.guides.views import BLANK, OF_SAMPLES, VIEWS

NO_PIECE = ""
"""The piece of shots that name none."""
NO_VIEW = ""
"""The view of shots that name none."""
_UNIT = {
    Unit.EVERY_PIECE: "Every piece is to be looked at: one that neither shot nor log names is not in this list.",
    Unit.DRAWN_SAMPLE: "A drawn sample: nothing is known of the pieces that were not drawn.",
}
_NOTHING_MISSING = "Each view that the guide asks for has a shot. What a shot does not show, nobody has seen."


@dataclass(frozen=True)
class Face:
    """A view of a piece; `piece` may be NO_PIECE."""

    piece: str
    view: str


@dataclass(frozen=True)
class Checklist:
    """What became of the pieces of one sample, and what is still to be shot."""

    unseen: tuple[Face, ...]
    """Faces, and what came off, of which there is no shot; piece by piece, in the guide's order."""
    missing: tuple[str, ...]
    """Views of the sample as a whole of which there is no shot; the blank first."""
    removed: tuple[str, ...]
    """Pieces logged as removed, in part or whole: an outcome, and not a finding of none."""
    uncounted: tuple[Face, ...]
    """Shots that count for nothing under this guide, such as one of an untouched piece, or one that names no piece or view."""
    unit: Unit

    @property
    def has_gaps(self) -> bool:
        """Whether something is still to be shot."""
        return bool(self.unseen or self.missing)

    @property
    def gaps(self) -> tuple[str, ...]:
        """What is still to be shot, for a person."""
        return (
            *(_missing(view) for view in self.missing),
            *(f"{whose}: not seen yet: {views}." for whose, views in _grouped(self.unseen)),
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of it for a person, first what is to be done first."""
        return (*(self.gaps or (_NOTHING_MISSING,)), *self.notes)

    @property
    def notes(self) -> tuple[str, ...]:
        """What else is to be known, for a person: what was removed, what counts for nothing, which pieces there are."""
        return (
            *(
                [f"{_whose(self.removed)}: {REMOVED}. That is an outcome, not a finding of none."]
                if self.removed
                else []
            ),
            *(f"{whose}: counted for nothing: {views}." for whose, views in _grouped(self.uncounted)),
            _UNIT[self.unit],
        )


def checklist(
    guide: Guide,
    pieces_seen: Mapping[str, Collection[str]],
    *,
    removed: Collection[str] = (),
    thrown_out: Collection[str] = (),
) -> Checklist:
    """What is still to be shot of one sample.

    `pieces_seen`: for each piece, the views of which there is a shot that can show what it is meant to; pieces without any shot stand
    there with none. Shots that name no piece, and those of the sample as a whole, may stand under any piece or NO_PIECE; the blank of the
    lot is the blank of its samples. `removed`: pieces of which something was taken off instead of looked at. `thrown_out`: pieces that
    were removed whole.
    """
    pieces = _in_order({*pieces_seen, *removed, *thrown_out} - {NO_PIECE}) or [NO_PIECE]
    seen_of_any = {view for views in pieces_seen.values() for view in views}
    unseen = [
        Face(piece, view)
        for piece in pieces
        for view in _asked(guide, piece in removed, piece in thrown_out)
        if view not in pieces_seen.get(piece, ())
    ]
    missing = [view for view in guide.sample if view not in seen_of_any]
    return Checklist(
        unseen=tuple(unseen),
        missing=tuple(sorted(missing, key=lambda view: view != BLANK)),
        removed=tuple(_in_order({*removed, *thrown_out})),
        uncounted=tuple(_uncounted(guide, pieces_seen, pieces)),
        unit=guide.unit,
    )


def _asked(guide: Guide, in_part: bool, whole: bool) -> list[str]:
    """The views asked of a piece, of which something or all was removed, or nothing."""
    if whole:
        return [guide.removes.shot]
    if not in_part:
        return list(guide.faces)
    left = [face for face in guide.faces if face not in guide.removes.instead_of]
    return list(dict.fromkeys([*left, guide.removes.shot]))


def _uncounted(guide: Guide, pieces_seen: Mapping[str, Collection[str]], pieces: Collection[str]) -> Iterable[Face]:
    of_the_sample = {*OF_SAMPLES} & {*guide.sample, *(view for view in guide.views if view not in guide.faces)}
    of_a_piece = {*guide.views, guide.removes.shot}
    for piece in _in_order(pieces_seen):
        counted = {BLANK, "card"} | (of_a_piece if piece in pieces else of_the_sample)
        yield from (Face(piece, view) for view in _listed(pieces_seen[piece]) if view not in counted)


def _listed(views: Collection[str]) -> list[str]:
    """Views in the order of VIEWS, then any other."""
    order = list(VIEWS)
    return sorted(set(views), key=lambda view: (order.index(view) if view in VIEWS else len(order), view))


def _in_order(pieces: Iterable[str]) -> list[str]:
    """Piece 2 before piece 10."""

    def key(piece: str) -> list[tuple[int, int, str]]:
        parts = re.findall(r"[0-9]{1,18}|[^0-9]+", piece)
        return [(0, int(part), part) if part[0] in "0123456789" else (1, 0, part) for part in parts]

    return sorted(set(pieces), key=key)


def _grouped(faces: Iterable[Face]) -> list[tuple[str, str]]:
    """Pieces with the same views together, as words."""
    of: dict[str, list[str]] = {}
    for face in faces:
        of.setdefault(face.piece, []).append(face.view)
    alike: dict[tuple[str, ...], list[str]] = {}
    for piece, views in of.items():
        alike.setdefault(tuple(views), []).append(piece)
    return [(_whose(pieces), ", ".join(map(_said, views))) for views, pieces in alike.items()]


def _whose(pieces: Collection[str]) -> str:
    named = [piece for piece in pieces if piece != NO_PIECE]
    if not named:
        return "What names no piece"
    said = ("Pieces " if len(named) > 1 else "Piece ") + ", ".join(named)
    return f"{said} and what names no piece" if len(named) < len(pieces) else said


def _said(view: str) -> str:
    if view == NO_VIEW:
        return "a shot whose name says no view"
    return f"{view} ({VIEWS[view].shows})" if view in VIEWS else view


def _missing(view: str) -> str:
    first = " It comes before all others." if view == BLANK else ""
    return f"No shot yet of the sample: {_said(view)}.{first}"
