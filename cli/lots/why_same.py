"""Why marks are offered as possibly one animal: words for the catalogue, each with what its sentence is about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from cli.lots.likeness import lit_alike
from cli.lots.marks import CARD, Mark
from cli.lots.rule_text import folded
from cli.lots.same_place import LAID_OVER, MOVED, STAYED, Places

SAME_PIECE, SAME_HEAD, SAME_CARD, SAME_KIND = "same_piece", "same_head", "same_card", "same_kind"
LENGTHS, NO_LENGTH, DARKER, LIGHTER, DENSITIES, ON_CARD = (
    "lengths",
    "no_length",
    "darker",
    "lighter",
    "densities",
    "on_card",
)
REASONS = (
    *(LAID_OVER, STAYED, MOVED, ON_CARD, SAME_CARD, SAME_PIECE, SAME_HEAD),
    *(SAME_KIND, LENGTHS, NO_LENGTH, DARKER, LIGHTER, DENSITIES),
)
"""In the order in which they are told."""
_NAMED = {"piece": SAME_PIECE, "head": SAME_HEAD, "kind": SAME_KIND}
_TONES = {"darker": DARKER, "lighter": LIGHTER}


@dataclass(frozen=True)
class Reason:
    """One of REASONS, and the name or number of its sentence; ''."""

    what: str
    value: str = ""


def reasons_for(marks: Sequence[Mark], places: Places) -> tuple[Reason, ...]:
    """What speaks for one animal, or is not known, of two marks or more."""
    found = [*_of_places(marks, places), *_of_cards(marks), *_named(marks), *_of_looks(marks)]
    return tuple(sorted(found, key=lambda reason: REASONS.index(reason.what)))


def _of_places(marks: Sequence[Mark], places: Places) -> list[Reason]:
    pairs = (frozenset({one.speck, other.speck}) for one, other in combinations(marks, 2))
    return [Reason(what) for what in {places.of_pairs.get(pair, "") for pair in pairs} - {""}]


def _of_cards(marks: Sequence[Mark]) -> list[Reason]:
    on_cards = [mark for mark in marks if mark.view == CARD]
    found = [Reason(ON_CARD, on_cards[0].card)] if 0 < len(on_cards) < len(marks) else []
    if len(on_cards) > 1 and _shared(on_cards, "card"):
        found.append(Reason(SAME_CARD, on_cards[0].card))
    return found


def _named(marks: Sequence[Mark]) -> list[Reason]:
    return [Reason(what, getattr(marks[0], name)) for name, what in _NAMED.items() if _shared(marks, name)]


def _of_looks(marks: Sequence[Mark]) -> list[Reason]:
    lengths = [mark.length_mm for mark in marks if mark.length_mm is not None]
    known = len(lengths) == len(marks)
    found = [Reason(LENGTHS, f"{max(lengths) - min(lengths):.2f}") if known else Reason(NO_LENGTH)]
    if not all(lit_alike(one, other) for one, other in combinations(marks, 2)):
        return found
    if _shared(marks, "tone") and marks[0].tone in _TONES:
        found.append(Reason(_TONES[marks[0].tone]))
    densities = [mark.density for mark in marks if mark.density is not None]
    if len(densities) == len(marks):
        found.append(Reason(DENSITIES, f"{max(densities) - min(densities):.2f}"))
    return found


def _shared(marks: Sequence[Mark], name: str) -> bool:
    """Whether something was said of all of them, and the same."""
    values = {folded(getattr(mark, name)) for mark in marks}
    return len(values) == 1 and values != {""}
