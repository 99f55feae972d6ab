"""How much a speck looks like an insect, 0..1, and like which: boosted trees read from a plain file.

A ranker is a JSON file: the features it reads, the kinds it tells apart, which of them are insects, and trees as lists of
numbers. Nothing in it runs. The score is the sum of the insect kinds' shares at the mix of specks it was learned on: it orders
a list and is not the chance that a speck is an insect, which depends on the lot.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.errors import RankerError
from vision.features import FEATURES

FORMAT = "speckwise ranker"
VERSION = 1


@dataclass(frozen=True)
class Ranker:
    """Trees over FEATURES. Node arrays are (trees, nodes): a leaf has feature -1 and its value in `value`.

    Tree t adds to kind `kind_of_tree[t]`; a feature at most `threshold` goes to `left`, else to `right`, NaN to `left` where
    `missing_left`.
    """

    kinds: tuple[str, ...]
    insects: frozenset[str]
    base: NDArray[np.float64]
    kind_of_tree: NDArray[np.int64]
    feature: NDArray[np.int64]
    threshold: NDArray[np.float64]
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    missing_left: NDArray[np.bool_]
    value: NDArray[np.float64]
    depth: int
    digest: str
    learned: str

    def shares(self, features: NDArray[Any]) -> NDArray[np.float64]:
        """Share of each kind for each speck: (n, len(FEATURES)) -> (n, kinds) float64, rows summing to 1."""
        x = np.asarray(features, dtype=np.float64)
        trees = np.arange(len(self.kind_of_tree))
        raw = np.tile(self.base, (len(x), 1))
        node = np.zeros((len(x), len(trees)), np.int64)
        rows = np.arange(len(x))[:, None]
        for _ in range(self.depth):
            split = self.feature[trees, node]
            seen = x[rows, np.maximum(split, 0)]
            go_left = np.where(np.isnan(seen), self.missing_left[trees, node], seen <= self.threshold[trees, node])
            child = np.where(go_left, self.left[trees, node], self.right[trees, node])
            node = np.where(split < 0, node, child)
        leaves = self.value[trees, node]
        for k in range(len(self.kinds)):
            raw[:, k] += leaves[:, self.kind_of_tree == k].sum(axis=1)
        raw -= raw.max(axis=1, keepdims=True) if len(raw) else 0
        shares = np.exp(raw)
        return np.asarray(shares / shares.sum(axis=1, keepdims=True))

    def judge(self, features: NDArray[Any]) -> tuple[NDArray[np.float64], tuple[str, ...]]:
        """Scores (n,), and for each speck the kind it resembles most: an insect from a score of one half, else a look-alike."""
        shares = self.shares(features)
        insect = np.array([kind in self.insects for kind in self.kinds])
        scores = shares[:, insect].sum(axis=1)
        resembles = []
        for row, score in zip(shares, scores, strict=True):
            allowed = insect if score >= 0.5 else ~insect
            resembles.append(self.kinds[int(np.where(allowed, row, -1).argmax())])
        return scores, tuple(resembles)


def parse_ranker(data: bytes) -> Ranker:
    """A ranker from its file's bytes.

    Raises RankerError with a sentence when it is not one, is of a newer version, or reads features this version does not have.
    """
    try:
        d = json.loads(data)
    except (UnicodeDecodeError, ValueError) as error:
        raise RankerError("The ranker file is not JSON.") from error
    if not isinstance(d, dict) or d.get("format") != FORMAT:
        raise RankerError("The file is not a ranker of this program.")
    if d.get("version") != VERSION:
        raise RankerError(f"The ranker is of version {d.get('version')}; this program reads version {VERSION}.")
    if d.get("features") != list(FEATURES):
        raise RankerError("The ranker was learned on other features than this version measures; learn it again.")
    try:
        return _build(d, hashlib.sha256(data).hexdigest())
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise RankerError("The ranker file is damaged: its trees don't hold together.") from error


def _build(d: dict[str, Any], digest: str) -> Ranker:
    trees = d["trees"]
    size = max(len(t["feature"]) for t in trees)

    def pad(name: str, fill: float) -> NDArray[np.float64]:
        out = np.full((len(trees), size), fill, np.float64)
        for k, tree in enumerate(trees):
            out[k, : len(tree["feature"])] = tree[name]
        return out

    feature = pad("feature", -1).astype(np.int64)
    left, right = pad("left", 0).astype(np.int64), pad("right", 0).astype(np.int64)
    kinds = tuple(str(kind) for kind in d["kinds"])
    kind_of_tree = np.array([int(t["kind"]) for t in trees])
    base = np.asarray(d["base"], dtype=np.float64)
    value, threshold = pad("value", 0.0), pad("threshold", 0.0)
    inside = (left >= 0).all() and (left < size).all() and (right >= 0).all() and (right < size).all()
    fits = len(base) == len(kinds) and kind_of_tree.max() < len(kinds) and (feature < len(FEATURES)).all()
    if not (inside and fits and np.isfinite(value).all() and np.isfinite(base).all()):
        raise ValueError("inconsistent trees")
    return Ranker(
        kinds, frozenset(str(k) for k in d["insects"]), base, kind_of_tree, feature, threshold, left, right,
        pad("missing_left", 0).astype(bool), value, int(d["depth"]), digest, str(d.get("learned", "")),
    )  # fmt: skip


@lru_cache(maxsize=1)
def shipped_ranker() -> Ranker:
    """The ranker that comes with the program."""
    return parse_ranker(resources.files("vision.rankers").joinpath("drawn.json").read_bytes())
