"""The insects that the desk offers by name; any other is typed."""

from __future__ import annotations

from cli.review.shelf import Shelf
from vision.guides import guide_names, load_guide
from vision.names import ANIMALS, TRAIL

_NOT_KINDS = frozenset({"egg", "skin", TRAIL})
"""What the tool calls so is a kind of remains to a person: they say it under body."""


def kinds_offered(shelf: Shelf) -> list[str]:
    """Kinds in the order of their keys: those the tool knows, then what the guides of this run expect besides.

    Not in the order of what the tool took a speck for: the eyes come first.
    """
    used = {shot.cells["produce"] for shot in shelf.shots} & set(guide_names())
    expected = [each.kind for name in sorted(used) for each in load_guide(name).expect]
    return list(dict.fromkeys(kind for kind in [*ANIMALS, *expected] if kind not in _NOT_KINDS))
