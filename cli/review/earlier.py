"""Answers on the same photograph in another run: where a speck is found again at the same place, they are offered, never taken over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from cli.review.answers import Key, Said, SpeckId
from cli.review.store import Shown

LEAST_REACH_PX = 4.0


def found_again(now: Iterable[Shown], before: Iterable[Shown], words: Mapping[Key, Said]) -> dict[SpeckId, Said]:
    """For each speck of this run the newest answer on a speck of another run at the same place of the same photograph.

    The same place: their middles lie within the smaller one's reach (half a length, 4 px at least), no other speck of this run is nearer
    to the one of the other run, and none of those of that run is nearer to this. So an answer on one of two neighbours is never offered
    on both, nor on the other one.
    """
    here = {key[1]: group for key, group in _by_run_and_shot(now).items()}
    found: dict[SpeckId, Said] = {}
    for (_, shot_sha256), there in _by_run_and_shot(before).items():
        for new, old in _pairs(here.get(shot_sha256, ()), there):
            word = words.get((old, 1))
            if word is not None and (new not in found or word.number > found[new].number):
                found[new] = word
    return found


def _pairs(here: Sequence[Shown], there: Sequence[Shown]) -> list[tuple[SpeckId, SpeckId]]:
    """Those that are nearest to each other and near enough, one of each; of several equally near the lowest number."""
    if not here or not there:
        return []
    x, y, reach = _columns(here)
    x_there, y_there, reach_there = _columns(there)
    apart = np.hypot(x[:, None] - x_there, y[:, None] - y_there)
    nearest_there, nearest_here = apart.argmin(axis=1), apart.argmin(axis=0)
    near = apart <= np.maximum(LEAST_REACH_PX, np.minimum(reach[:, None], reach_there))
    return [
        (here[j].speck, there[k].speck)
        for j, k in enumerate(nearest_there.tolist())
        if nearest_here[k] == j and near[j, k]
    ]


def _by_run_and_shot(shown: Iterable[Shown]) -> dict[tuple[str, str], list[Shown]]:
    def key(each: Shown) -> tuple[str, str]:
        return each.speck.run, each.speck.shot_sha256

    ordered = sorted(shown, key=lambda each: (*key(each), each.speck.candidate))
    return {of: list(group) for of, group in groupby(ordered, key)}


def _columns(shown: Sequence[Shown]) -> NDArray[np.float64]:
    """(3, n): x, y and reach in pixels."""
    return np.array([(each.x_px, each.y_px, each.reach_px) for each in shown], dtype=np.float64).T
