"""The work of the accuracy bench on one shot each, for a pool of processes: draw, find, count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from peers import PEERS, choices, find, flattened
from sizing import Sized, sized

from vision.counting import ShotCount, count_places, count_shot, recall_at
from vision.lessons import Lesson
from vision.pipeline import inspect_seen, observe
from vision.rank import shipped_ranker
from vision.render import Recipe, draw
from vision.render.hands.by_hand import HandShot
from vision.types import Cut, Setup, Shot

Wishes = Mapping[str, dict[str, Any]]
"""A peer's name -> its parameters."""
FALSE = (1, 2, 4, 8, 12)
"""False flags a shot at which recall is told."""
AS_SHIPPED = Cut(min_score=0.001)
"""All that the default search lists: at 0 itself everything that stands out is looked at."""


@dataclass(frozen=True)
class Job:
    """One shot to judge, drawn by us or by another hand: by us, by our search before anything is ranked (`alone`), and by peers with
    their parameters. Its scale may be kept from us."""

    recipe: Recipe | HandShot
    alone: bool = False
    peers: Wishes | None = None
    told_scale: bool = True


@dataclass(frozen=True)
class Judged:
    """What one drawn shot gave: ours, others by name, and the sizes of what ours hit."""

    ours: ShotCount
    others: dict[str, ShotCount]
    sizes: list[Sized]


def one_thread() -> None:
    """For each process of a pool: together they use the processors already."""
    cv2.setNumThreads(1)


def judge(job: Job) -> Judged:
    """One shot, drawn, inspected as the program does, and counted."""
    drawn = Lesson(job.recipe, job.told_scale).drawn()
    shot, ranker = Shot(drawn.pixels, "0" * 64, "drawn"), shipped_ranker()
    setup = Setup(px_per_mm=drawn.px_per_mm if job.told_scale else None)
    look = observe(shot, setup, None, ranker)
    flags = inspect_seen(look, shot, setup, None, ranker, AS_SHIPPED).candidates
    places: dict[str, list[tuple[float, float, float]]] = {}
    if job.alone:
        seen = [(m.measures.x_px, m.measures.y_px, m.speck) for m in look.measured]
        places["our search alone"] = [(x, y, speck.likely) for x, y, speck in seen]
        places["its signal to noise alone"] = [(x, y, speck.snr) for x, y, speck in seen]
    if job.peers:
        flat = flattened(drawn.pixels)
        places |= {name: find(name, flat, **wish) for name, wish in job.peers.items()}
    ours = count_shot(flags, drawn.truth, drawn.px_per_mm)
    others = {name: count_places(some, drawn.truth, drawn.px_per_mm) for name, some in places.items()}
    return Judged(ours, others, sized(ours, flags, drawn.px_per_mm) if job.told_scale else [])


def try_peers(recipe: Recipe) -> dict[str, list[ShotCount]]:
    """One shot to choose by: each peer's counts, one for each of its `choices`."""
    drawn = draw(recipe)
    flat = flattened(drawn.pixels)
    return {
        name: [count_places(find(name, flat, **wish), drawn.truth, drawn.px_per_mm) for wish in choices(name)]
        for name in PEERS
    }


def choose(tried: Sequence[Mapping[str, list[ShotCount]]]) -> dict[str, dict[str, Any]]:
    """The parameters of each peer with the best recall, averaged over the numbers of false flags that are told.

    Where all fail there, the best at a hundred false flags a shot.
    """

    def merit(counts: list[ShotCount]) -> tuple[float, float]:
        return float(np.mean([recall_at(counts, false)[0] for false in FALSE])), recall_at(counts, 100)[0]

    return {
        name: max(enumerate(choices(name)), key=lambda c: merit([shot[name][c[0]] for shot in tried]))[1]
        for name in PEERS
    }
