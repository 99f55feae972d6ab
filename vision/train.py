"""Labelled rows -> ranker: drawn scenes, inspected by the straight line's own search, teach networks and trees what is an insect.

`python -m vision.train` draws, searches, learns and writes the shipped ranker again from seeds alone. Learning needs JAX and
scikit-learn (the extra `learn`); scoring does not.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vision.counting import NEVER, count_shot
from vision.features import ALONG, FEATURES, bodies_of
from vision.files import write_bytes
from vision.foreground import find_surfaces
from vision.glance import GLANCES, PATCH
from vision.lessons import Lesson, label_places, label_specks, lessons, mixed_shots
from vision.looks import views_of
from vision.names import INSECTS, KINDS
from vision.net import OF_BODIES, Net, document_of_net
from vision.pipeline import inspect, observe, see_light
from vision.rank import FORMAT, VERSION, Ranker, parse_ranker
from vision.render import Drawn
from vision.score_scale import MIX, ScoreScale, log_odds
from vision.specks import search_places
from vision.trees import document_of
from vision.types import Cut, Setup, Shot

if TYPE_CHECKING:
    from vision.train_net import Examples

_AS_SPARSE = 0.35
"""Weight of an insect in what is learned: a lesson that holds any holds 43 on average, and scores stand for 15 a shot of its size."""
_MOST_ELSEWHERE = 700
"""Places of a lesson without an insect that are learned from; of thousands, chosen at random."""
_PARTS = (444, 112, 844)
"""Parts of the lessons that teach the network, the trees of the first glance, and the judge. Each learns on lessons of its own: the
next reads what the one before says, which is too sure of what it has seen."""
_ROUNDS, _ROUNDS_OF_BODIES = 14, 16
_FOLDS = 2
"""Networks that are shown bodies, each learned without a part of the lessons: of those it tells the trees."""
_LESSONS_A_MIXED_SHOT = 8
_LEAST_LIKENESS = 0.005
"""Likeness from which flags tell what a score means: far below any cut that is of use."""


@dataclass(frozen=True)
class SeenPlaces:
    """Places to learn from, rows of n. `glances` as search gives them, `insect` 0 or 1, `standing_for`: how many places of its lesson each
    stands for; the others as Net.raw takes them."""

    glances: NDArray[np.float32]
    patches: NDArray[np.uint8]
    level: NDArray[np.float32]
    sigma_px: NDArray[np.float32]
    sigma_mm: NDArray[np.float32]
    insect: NDArray[np.float32]
    standing_for: NDArray[np.float32]


@dataclass(frozen=True)
class Labelled:
    """Specks to learn from: `features` (n, features) float32; `kind` (n,): an index into KINDS; `named` (n,): whether that is known of
    what is no insect, too; `fold` (n,): which part of the lessons they are from; the others as Net.raw takes them."""

    features: NDArray[np.float32]
    kind: NDArray[np.int64]
    named: NDArray[np.bool_]
    fold: NDArray[np.int64]
    patches: NDArray[np.uint8]
    level: NDArray[np.float32]
    sigma_px: NDArray[np.float32]
    sigma_mm: NDArray[np.float32]


_Rows = TypeVar("_Rows", SeenPlaces, Labelled)


def places_of(lesson: Lesson) -> SeenPlaces | None:
    """One drawn shot's places at a glance, their pictures, and whether an insect lies there. What teaches nothing is left out."""
    drawn = lesson.drawn()
    shot, px_per_mm = Shot(drawn.pixels, "0" * 64, "drawn"), drawn.px_per_mm if lesson.told_scale else None
    light = see_light(shot, Setup(px_per_mm=px_per_mm))
    scale = None if px_per_mm is None else px_per_mm / light.step
    search = search_places(light, find_surfaces(light.density, None, scale), scale, shot.pixels)
    if search is None:
        return None
    labels = label_places(search, drawn, light.step)
    insects, elsewhere = np.flatnonzero(labels == 1), np.flatnonzero(labels == 0)
    rng = np.random.default_rng(lesson.shot.seed)
    some = rng.choice(elsewhere, min(len(elsewhere), _MOST_ELSEWHERE), replace=False)
    which = np.sort(np.concatenate([insects, some]))
    patches, level, sigma_px, sigma_mm = views_of(shot, light, px_per_mm).of(search.in_shot(which, light.step))
    insect = labels[which].astype(np.float32)
    standing_for = np.where(insect == 1, 1.0, len(elsewhere) / max(len(some), 1))
    single = [values.astype(np.float32) for values in (sigma_px, sigma_mm, insect, standing_for)]
    return SeenPlaces(search.glances[which], patches, level, *single)


def specks_of(lesson: Lesson, ranker: Ranker) -> Labelled | None:
    """One drawn shot's specks and their kinds. What teaches nothing is left out."""
    drawn = lesson.drawn()
    shot, px_per_mm = Shot(drawn.pixels, "0" * 64, "drawn"), drawn.px_per_mm if lesson.told_scale else None
    seen = observe(shot, Setup(px_per_mm=px_per_mm), None, ranker)
    kinds = label_specks(seen.measured, drawn)
    some = np.flatnonzero(kinds >= 0)
    named, fold = np.full(len(some), isinstance(drawn, Drawn)), np.full(len(some), lesson.shot.seed % _FOLDS)
    bodies = bodies_of([seen.measured[k] for k in some])
    patches, level, *sizes = views_of(shot, seen.light, px_per_mm).along(bodies)
    sigma_px, sigma_mm = (size.astype(np.float32) for size in sizes)
    return Labelled(seen.features[some], kinds[some], named, fold, patches, level, sigma_px, sigma_mm)


def gather(work: Callable[[Lesson], _Rows | None], shots: Sequence[Lesson], workers: int) -> _Rows:
    """Labelled rows of many drawn shots, in the order of the lessons whatever the number of workers."""
    with _pool(workers) as pool:
        parts = [rows for rows in pool.map(work, shots, chunksize=2) if rows is not None]
    return type(parts[0])(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(parts[0])))


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_one_thread)


def _one_thread() -> None:
    import cv2

    cv2.setNumThreads(1)


def examples_of(places: SeenPlaces) -> Examples:
    """What the network learns from; the root keeps crowded shots from being all it learns."""
    from vision.train_net import Examples

    weight = np.where(places.insect == 1, _AS_SPARSE, np.sqrt(places.standing_for)).astype(np.float32)
    return Examples(places.patches, places.level, places.sigma_px, places.sigma_mm, places.insect, weight)


def learn_bodies(rows: Labelled, seed: int) -> tuple[tuple[Net, ...], Labelled]:
    """Networks that are shown outlined bodies, and the specks with what the network that has not seen their lesson says of them."""
    from vision.train_net import Examples, learn_net

    insect = _insects(rows).astype(np.float32)
    weight = np.where(insect == 1, _AS_SPARSE, 1.0).astype(np.float32)
    every = Examples(rows.patches, rows.level, rows.sigma_px, rows.sigma_mm, insect, weight)
    features, nets = rows.features.copy(), []
    for fold in range(_FOLDS):
        unseen = rows.fold == fold
        net = learn_net(every.among(~unseen), _ROUNDS_OF_BODIES, seed + fold, design=OF_BODIES)
        features[unseen, ALONG] = every.among(unseen).seen(net)
        nets.append(net)
    return tuple(nets), replace(rows, features=features)


def learn_glance(places: SeenPlaces, net: Net, seed: int) -> dict[str, Any]:
    """Trees that order places before anyone looks closer: is an insect likely there?

    Each place comes twice, with what the network says of it and without: it is asked about the likelier ones only.
    """
    shown = places.glances.copy()
    shown[:, PATCH] = net.raw(places.patches, places.level, places.sigma_px, places.sigma_mm)
    weight = np.where(places.insect == 1, _AS_SPARSE, places.standing_for)
    rows, insect = np.concatenate([places.glances, shown]), np.tile(places.insect, 2).astype(np.int64)
    return document_of(_boosted(rows, insect, seed, stages=300, leaves=31, weight=np.tile(weight, 2)))


def learn_insects(rows: Labelled, seed: int) -> dict[str, Any]:
    """Trees that say how much a speck looks like any insect: one question, so that they need not tell kinds apart as well."""
    insect = _insects(rows).astype(np.int64)
    weight = np.where(insect == 1, _AS_SPARSE, 1.0)
    return document_of(_boosted(rows.features, insect, seed, stages=600, leaves=63, weight=weight))


def _insects(rows: Labelled) -> NDArray[np.bool_]:
    return np.asarray(np.array([name in INSECTS for name in KINDS])[rows.kind])


def learn_kinds(rows: Labelled, seed: int) -> tuple[dict[str, Any], list[str]]:
    """Trees that tell kinds apart, and the kinds' names in their order."""
    some = rows.named | _insects(rows)
    model = _boosted(rows.features[some], rows.kind[some], seed, stages=60, leaves=15, rate=0.08)
    return document_of(model), [KINDS[int(k)] for k in model.classes_]


def _boosted(
    features: NDArray[np.float32], kinds: NDArray[np.int64], seed: int, stages: int, leaves: int, rate: float = 0.05,
    weight: NDArray[np.float64] | None = None,
) -> Any:  # fmt: skip
    """Settings chosen on a quarter of the lessons' own specks that were left out: more leaves than these no longer helped."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    model = HistGradientBoostingClassifier(
        learning_rate=rate, max_iter=stages, max_leaf_nodes=leaves, min_samples_leaf=30, l2_regularization=10.0,
        max_features=0.2, early_stopping=False, random_state=seed,
    )  # fmt: skip
    return model.fit(features, kinds, weight)


@dataclass(frozen=True)
class Learned:
    """The parts of a ranker's file, as documents."""

    net: Mapping[str, Any]
    of_bodies: Sequence[Mapping[str, Any]]
    glance: Mapping[str, Any]
    insect: Mapping[str, Any]
    judge: Mapping[str, Any]


_AS_LEARNED = ScoreScale(1.0, 0.0, "as learned")


def flags_of(lesson: Lesson, ranker: Ranker) -> NDArray[np.float64]:
    """What a shot of the mix lists: sum and 1 or 0 for an insect or none, (n, 2)."""
    drawn = lesson.drawn()
    shot, setup = Shot(drawn.pixels, "0" * 64, "drawn"), Setup(px_per_mm=drawn.px_per_mm)
    flags = inspect(shot, setup, None, replace(ranker, scale=_AS_LEARNED), Cut(_LEAST_LIKENESS)).candidates
    count = count_shot(flags, drawn.truth, drawn.px_per_mm)
    hits = [score for score in count.hits if score != NEVER]
    share = np.clip(np.array([*hits, *count.false]), 1e-3, 1 - 1e-3)
    return np.stack([log_odds(share), np.arange(len(share)) < len(hits)], axis=1)


def learn_scale(flags: NDArray[np.float64]) -> ScoreScale:
    """The line from sums to log odds at the mix (Platt's scaling), from rows of `flags_of`."""
    from sklearn.linear_model import LogisticRegression

    fit = LogisticRegression(C=np.inf).fit(flags[:, :1], flags[:, 1])
    return ScoreScale(float(fit.coef_[0, 0]), float(fit.intercept_[0]), MIX)


def write_ranker(learned: Learned, kinds: Sequence[str], note: str, scale: ScoreScale = _AS_LEARNED) -> bytes:
    """The ranker's file."""
    document = {
        "format": FORMAT, "version": VERSION, "learned": note, "glances": list(GLANCES), "features": list(FEATURES),
        "kinds": list(kinds), "insects": [name for name in kinds if name in INSECTS], "net": learned.net,
        "of_bodies": list(learned.of_bodies), "glance": learned.glance,
        "insect": learned.insect, "judge": learned.judge, "scale": asdict(scale),
    }  # fmt: skip
    return (json.dumps(document, separators=(",", ":")) + "\n").encode()


def main() -> None:
    """Learn the shipped ranker again."""
    parser = argparse.ArgumentParser(prog="python -m vision.train", description=main.__doc__)
    parser.add_argument("--scenes", type=int, default=1400, help="how many shots to draw")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "rankers" / "drawn.json")
    asked = parser.parse_args()
    from vision.train_net import learn_net

    shots = lessons(asked.scenes, asked.seed)
    first, second = (round(asked.scenes * part / sum(_PARTS)) for part in np.cumsum(_PARTS)[:2])
    net = learn_net(examples_of(gather(places_of, shots[:first], asked.workers)), _ROUNDS, asked.seed)
    glance = learn_glance(gather(places_of, shots[first:second], asked.workers), net, asked.seed)
    # The judge learns on what the glance lets through, so the glance is put to work with an empty judge behind it.
    empty = Learned(document_of_net(net.weights), (), glance, _no_judge(1), _no_judge(len(KINDS)))
    looking = parse_ranker(write_ranker(empty, KINDS, ""))
    rows = gather(partial(specks_of, ranker=looking), shots[second:], asked.workers)
    nets, rows = learn_bodies(rows, asked.seed)
    judge, kinds = learn_kinds(rows, asked.seed)
    note = f"{asked.scenes} drawn shots, seed {asked.seed}, {len(rows.kind)} specks"
    of_bodies = [document_of_net(each.weights, OF_BODIES) for each in nets]
    learned = Learned(empty.net, of_bodies, glance, learn_insects(rows, asked.seed), judge)
    unscaled = parse_ranker(write_ranker(learned, kinds, note))
    mixed = mixed_shots(max(asked.scenes // _LESSONS_A_MIXED_SHOT, 20), asked.seed)
    with _pool(asked.workers) as pool:
        flags = np.concatenate(list(pool.map(partial(flags_of, ranker=unscaled), mixed)))
    write_bytes(asked.out, write_ranker(learned, kinds, note, learn_scale(flags)))
    print(f"Learned on {note}: {asked.out}")


def _no_judge(outputs: int) -> dict[str, Any]:
    leaf = {
        "output": 0,
        "feature": [-1],
        "threshold": [0.0],
        "left": [0],
        "right": [0],
        "missing_left": [0],
        "value": [0.0],
    }
    return {"base": [0.0] * outputs, "depth": 1, "trees": [leaf]}


if __name__ == "__main__":
    main()
