"""Labelled rows -> ranker: drawn scenes, inspected by the straight line's own search, teach the trees what is an insect.

`python -m vision.train` draws, searches, learns and writes the shipped ranker again from seeds alone. Learning needs
scikit-learn (the extra `learn`); scoring does not.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.features import FEATURES
from vision.files import write_bytes
from vision.foreground import find_surfaces
from vision.glance import GLANCES
from vision.measure import Measured
from vision.pipeline import observe, see_light
from vision.rank import FORMAT, VERSION, Ranker, parse_ranker
from vision.render import Drawn, Recipe, TrueBody, draw, tidy, vary
from vision.render.recipe import INSECTS as DRAWN_INSECTS
from vision.render.recipe import TRAIL
from vision.specks import Search, search_places
from vision.trees import document_of
from vision.types import Setup, Shot

INSECTS = (*DRAWN_INSECTS, TRAIL)
LOOK_ALIKES = {
    "bubble": "bubble", "fibre": "fibre", "grit": "grit", "seed": "grit", "seed_coat": "grit", "pollen": "grit",
    "leaf_bit": "leaf bit", "bud": "bud", "drop": "drop", "scratch": "scratch", "dust": "dust",
}  # fmt: skip
"""Drawn things that are no insects -> the name a person reads."""
ON_PRODUCE, ON_GROUND = "plant part", "unevenness"
"""What a speck is called where nothing was drawn: the produce's own texture, or the ground's."""
KINDS = (*INSECTS, *dict.fromkeys(LOOK_ALIKES.values()), ON_PRODUCE, ON_GROUND)
_SMALLEST_MM = 0.3
_LEAST_IN_VIEW = 0.5
_LEAST_DELTA_E = 4.0
"""Bodies below these teach nothing either way: nobody could tell."""
_SCALE_OF_WIDTH = 0.38
"""The smoothing at which a body stands out most, in its widths."""
_OTHER_SIZE = 0.75
"""Log ratio of scales beyond which a place means something larger or smaller than the body."""
_SCENES = (
    "water", "broccoli", "cloth", "cauliflower", "scallion", "water", "broccoli", "tray", "layers", "cauliflower", "water", "broccoli",
    "cloth", "asparagus", "scallion", "gills", "blank", "tray",
)  # fmt: skip
_MOST_OF = {"aphid": 16, "thrips": 16, "caterpillar": 6, "larva": 14, "mite": 12, "gnat": 6, "egg": 6, "skin": 6}
"""How many of each insect a lesson may hold, and one less: far more than a shot of produce does, since what there is least of to learn
from is insects."""
_CROWDED, _CROWD = 0.3, (10, 41)
"""Share of lessons in which one kind comes in a crowd, as aphids and thrips do (common practice, no source), and how many: company
must not speak against an insect."""
_AS_SPARSE = 0.35
"""Weight of an insect in what is learned: a lesson that holds any holds 43 on average, and scores stand for 15 a shot of its size."""
_MOST_TRAILS, _MINED = 3, ("scallion", "layers")
"""Leaf mines, and one less, and what they lie in."""
_EVERY_NTH_WITHOUT_SCALE = 4
"""Every so many shots are shown without their scale, so that shots of unknown scale are ranked too."""


@dataclass(frozen=True)
class Labelled:
    """Rows for learning: `features` (n, features) float32; `kind` (n,): an index into KINDS, or 0 and 1."""

    features: NDArray[np.float32]
    kind: NDArray[np.int64]


def hit_radius_mm(body: TrueBody) -> float:
    """How far a flag may lie from a body's centre and still mean it: half its length, at least half a millimetre."""
    return max(0.5 * body.length_mm, 0.5)


def label_specks(measured: Sequence[Measured], drawn: Drawn) -> NDArray[np.int64]:
    """Kind of each speck as an index into KINDS; -1 for those that teach nothing (a leg, a second piece of one body)."""
    kinds = np.array([KINDS.index(ON_PRODUCE if m.speck.on_produce else ON_GROUND) for m in measured], dtype=np.int64)
    if not measured:
        return kinds
    places = np.array([(m.measures.x_px, m.measures.y_px) for m in measured])
    lengths = np.array([m.measures.length_px for m in measured])
    # Insects last, so that a speck that touches both an insect and debris is an insect.
    for body in sorted(drawn.truth, key=lambda b: (b.insect, -b.length_mm)):
        name = body.kind if body.insect else LOOK_ALIKES.get(body.kind)
        away = np.hypot(*(places - (body.x_px, body.y_px)).T)
        near = away <= hit_radius_mm(body) * drawn.px_per_mm
        if name is None or not near.any():
            continue
        # Of several specks on one body the one of its place and size is the body; the rest are its parts.
        misfit = away / (body.length_mm * drawn.px_per_mm) + np.abs(
            np.log(np.maximum(lengths, 1) / (body.length_mm * drawn.px_per_mm))
        )
        best = int(np.where(near, misfit, np.inf).argmin())
        if body.insect:
            kinds[near] = -1
            kinds[best] = KINDS.index(name) if _teaches(body) else -1
        else:
            kinds[near] = KINDS.index(name)
    return kinds


def lessons(count: int, seed: int) -> tuple[Lesson, ...]:
    """Shots to learn from: half wild, half tidy, over all kinds of scene and the range of scales."""
    rng = np.random.default_rng(seed)
    out = []
    for k in range(count):
        kind = _SCENES[k % len(_SCENES)]
        wild = (k // len(_SCENES)) % 2 == 0
        make = vary if wild else tidy
        recipe = make(kind, seed * 100_003 + k, width_px=1600, height_px=1200)
        if not wild:
            # Wild shots bring their own scale; tidy ones are spread over what a stand may have.
            recipe = replace(recipe, px_per_mm=float(rng.choice([12.0, 16.0, 20.0, 20.0, 25.0, 32.0])))
        some = tuple((insect, int(rng.integers(0, most))) for insect, most in _MOST_OF.items())
        if rng.random() < _CROWDED:
            crowd = int(rng.integers(len(some)))
            some = (*some[:crowd], (some[crowd][0], int(rng.integers(*_CROWD))), *some[crowd + 1 :])
        if kind in _MINED:
            some = (*some, (TRAIL, int(rng.integers(0, _MOST_TRAILS))))
        recipe = replace(recipe, insects=some if kind != "blank" else recipe.insects)
        # 7 shares no factor with the turn of kinds, so that every kind comes up without a scale.
        out.append(Lesson(recipe, told_scale=(k * 7) % 25 >= 25 // _EVERY_NTH_WITHOUT_SCALE))
    return tuple(out)


@dataclass(frozen=True)
class Lesson:
    """One shot to learn from, with or without its scale being told."""

    recipe: Recipe
    told_scale: bool


def label_scene(lesson: Lesson, ranker: Ranker | None) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """One drawn shot: without a ranker its places at a glance and whether an insect lies there; with one its specks and kinds.

    What teaches nothing is left out.
    """
    drawn = draw(lesson.recipe)
    shot = Shot(drawn.pixels, "0" * 64, "drawn")
    setup = Setup(px_per_mm=drawn.px_per_mm if lesson.told_scale else None)
    if ranker is None:
        light = see_light(shot, setup)
        scale = drawn.px_per_mm / light.step if lesson.told_scale else None
        search = search_places(light, find_surfaces(light.density, None, scale), scale, shot.pixels)
        if search is None:
            return np.zeros((0, len(GLANCES)), np.float32), np.zeros(0, np.int64)
        labels = _label_places(search, drawn, light.step)
        return search.glances[labels >= 0], labels[labels >= 0]
    seen = observe(shot, setup, None, ranker)
    kinds = label_specks(seen.measured, drawn)
    return seen.features[kinds >= 0], kinds[kinds >= 0]


def _label_places(search: Search, drawn: Drawn, step: int) -> NDArray[np.int64]:
    """1 where a place lies on an insect and at its size, 0 where on none, -1 where that teaches nothing.

    Places beside an insect are no insects, and the same body at another scale is neither the one nor the other: with those among
    the ones, most would be the texture round the body.
    """
    places = search.places
    labels = np.zeros(len(places.row), np.int64)
    x, y = places.column * step + (step - 1) / 2, places.row * step + (step - 1) / 2
    sigma = np.array([scale.sigma_px for scale in search.maps])[places.scale] * step
    for body in drawn.truth:
        if body.insect:
            on = _lies_on(body, x, y, drawn.px_per_mm)
            of_its_size = np.abs(np.log(sigma / (body.width_mm * drawn.px_per_mm * _SCALE_OF_WIDTH))) < _OTHER_SIZE
            labels[on] = -1
            labels[on & of_its_size & _teaches(body)] = 1
    return labels


def _lies_on(body: TrueBody, x: NDArray[Any], y: NDArray[Any], px_per_mm: float) -> NDArray[np.bool_]:
    """Whether pixels lie on a body, with a pixel to spare; for a bent one, within its reach."""
    dx, dy = x - body.x_px, y - body.y_px
    if body.curved:
        return np.asarray(np.hypot(dx, dy) <= body.length_mm * px_per_mm / 2)
    angle = np.deg2rad(body.angle_deg)
    along, across = dx * np.cos(angle) + dy * np.sin(angle), dy * np.cos(angle) - dx * np.sin(angle)
    half_length, half_width = body.length_mm * px_per_mm / 2 + 1, body.width_mm * px_per_mm / 2 + 1
    return np.asarray((np.abs(along) <= half_length) & (np.abs(across) <= half_width))


def _teaches(body: TrueBody) -> bool:
    return body.length_mm >= _SMALLEST_MM and body.visible >= _LEAST_IN_VIEW and body.delta_e >= _LEAST_DELTA_E


def gather(shots: Sequence[Lesson], workers: int, ranker: Ranker | None) -> Labelled:
    """Labelled rows of many drawn shots, in the order of the lessons whatever the number of workers."""
    rows, kinds = [], []
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_one_thread) as pool:
        for features, kind in pool.map(label_scene, shots, [ranker] * len(shots), chunksize=2):
            rows.append(features)
            kinds.append(kind)
    return Labelled(np.concatenate(rows), np.concatenate(kinds))


def _one_thread() -> None:
    import cv2

    cv2.setNumThreads(1)


def learn_glance(rows: Labelled, seed: int) -> dict[str, Any]:
    """Trees that order places before anyone looks closer: is an insect likely there?"""
    weight = np.where(rows.kind == 1, _AS_SPARSE, 1.0)
    return document_of(_boosted(rows.features, rows.kind, seed, stages=300, leaves=31, weight=weight))


def learn_insects(rows: Labelled, seed: int) -> dict[str, Any]:
    """Trees that say how much a speck looks like any insect: one question, so that they need not tell kinds apart as well."""
    insect = np.array([name in INSECTS for name in KINDS])[rows.kind].astype(np.int64)
    weight = np.where(insect == 1, _AS_SPARSE, 1.0)
    return document_of(_boosted(rows.features, insect, seed, stages=600, leaves=63, weight=weight))


def learn_kinds(rows: Labelled, seed: int) -> tuple[dict[str, Any], list[str]]:
    """Trees that tell kinds apart, and the kinds' names in their order."""
    model = _boosted(rows.features, rows.kind, seed, stages=60, leaves=15, rate=0.08)
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


def write_ranker(
    glance: dict[str, Any], insect: dict[str, Any], judge: dict[str, Any], kinds: Sequence[str], note: str
) -> bytes:
    """The ranker's file."""
    document = {
        "format": FORMAT, "version": VERSION, "learned": note, "glances": list(GLANCES), "features": list(FEATURES),
        "kinds": list(kinds), "insects": [name for name in kinds if name in INSECTS], "glance": glance, "insect": insect,
        "judge": judge,
    }  # fmt: skip
    return (json.dumps(document, separators=(",", ":")) + "\n").encode()


def main() -> None:
    """Learn the shipped ranker again."""
    parser = argparse.ArgumentParser(prog="python -m vision.train", description=main.__doc__)
    parser.add_argument("--scenes", type=int, default=750, help="how many shots to draw")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "rankers" / "drawn.json")
    asked = parser.parse_args()
    shots = lessons(asked.scenes, asked.seed)
    # Each stage learns on shots of its own: the second reads what the first says, which is too sure of the shots it has seen.
    first_shots, second_shots = shots[: asked.scenes // 3], shots[asked.scenes // 3 :]
    glance = learn_glance(gather(first_shots, asked.workers, None), asked.seed)
    # The second stage learns on what the first lets through, so the first is put to work with an empty judge behind it.
    first = parse_ranker(write_ranker(glance, _no_judge(1), _no_judge(len(KINDS)), KINDS, ""))
    rows = gather(second_shots, asked.workers, first)
    judge, kinds = learn_kinds(rows, asked.seed)
    note = f"{asked.scenes} drawn shots, seed {asked.seed}, {len(rows.kind)} specks"
    write_bytes(asked.out, write_ranker(glance, learn_insects(rows, asked.seed), judge, kinds, note))
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
