"""What places say of the marks of one sample: which lie at one place on two photographs, and which moved between them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from cli.lots.laid_over import laid_over
from cli.lots.marks import CARD, Mark, in_order
from cli.lots.swirl_pair import AFTER, BEFORE, swirled
from cli.review.answers import SpeckId

LAID_OVER, STAYED, MOVED = "laid_over", "stayed", "moved"
"""At one place of two photographs of one view; at one place before and after the swirl; at two."""

Pair = frozenset[SpeckId]


@dataclass(frozen=True)
class Places:
    """What was found."""

    of_pairs: Mapping[Pair, str]
    laid: frozenset[frozenset[str]]
    """Pairs of photographs (their hashes) that could be laid over each other: their marks are one only where they lie together."""

    def rule_out(self, one: Mark, other: Mark) -> bool:
        """Whether the places of two marks show that they are two."""
        shots = frozenset({one.speck.shot_sha256, other.speck.shot_sha256})
        return shots in self.laid and frozenset({one.speck, other.speck}) not in self.of_pairs

    def agree(self, one: Mark, other: Mark) -> bool:
        """Whether two marks lie at one place."""
        return self.of_pairs.get(frozenset({one.speck, other.speck})) in (LAID_OVER, STAYED)


def places_in(marks: Iterable[Mark]) -> Places:
    """What the places of one sample's marks say, for photographs of one view and for those round a swirl."""
    shots: dict[tuple[str, str], list[Mark]] = {}
    for mark in in_order(marks):
        shots.setdefault((mark.shot, mark.speck.shot_sha256), []).append(mark)
    pairs: dict[Pair, str] = {}
    laid = set()
    for one, other in combinations(shots.values(), 2):
        views = one[0].view, other[0].view
        if views[0] == views[1] and views[0] not in ("", CARD):
            found = dict.fromkeys(map(frozenset, laid_over(one, other)), LAID_OVER)
            if found:
                laid.add(frozenset({one[0].speck.shot_sha256, other[0].speck.shot_sha256}))
        elif set(views) == {BEFORE, AFTER}:
            found = _of_swirl(*((one, other) if views[0] == BEFORE else (other, one)))
        else:
            continue
        pairs |= found
    return Places(pairs, frozenset(laid))


def _of_swirl(before: Sequence[Mark], after: Sequence[Mark]) -> dict[Pair, str]:
    read = swirled(before, after)
    return {
        frozenset({one.speck, other.speck}): what
        for what, pairs in ((STAYED, read.stayed), (MOVED, read.moved))
        for one, other in pairs
    }
