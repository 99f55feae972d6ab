"""Boosted trees as plain numbers: read from a file's lists, evaluated for many rows at once. Nothing in them runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Trees:
    """Sums of regression trees, one sum an output. Node arrays are (trees, nodes); a leaf has feature -1 and a `value`.

    A feature at most `threshold` goes to `left`, else to `right`; NaN goes to `left` where `missing_left`, else to `right`.
    """

    base: NDArray[np.float64]
    output_of_tree: NDArray[np.int64]
    feature: NDArray[np.int64]
    threshold: NDArray[np.float64]
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    missing_left: NDArray[np.bool_]
    value: NDArray[np.float64]
    depth: int

    def raw(self, rows: NDArray[Any]) -> NDArray[np.float64]:
        """The sums (n, outputs) for rows (n, features)."""
        x = np.asarray(rows, dtype=np.float64)
        out = np.tile(self.base, (len(x), 1))
        trees = np.arange(len(self.output_of_tree))
        # Bounded pieces: node arrays of all rows and trees at once would take gigabytes.
        for start in range(0, len(x), 512):
            part = x[start : start + 512]
            leaves = self._leaves(part, trees)
            for k in range(len(self.base)):
                out[start : start + 512, k] += leaves[:, self.output_of_tree == k].sum(axis=1)
        return out

    def _leaves(self, x: NDArray[np.float64], trees: NDArray[np.int64]) -> NDArray[np.float64]:
        node = np.zeros((len(x), len(trees)), np.int64)
        rows = np.arange(len(x))[:, None]
        for _ in range(self.depth):
            split = self.feature[trees, node]
            seen = x[rows, np.maximum(split, 0)]
            go_left = np.where(np.isnan(seen), self.missing_left[trees, node], seen <= self.threshold[trees, node])
            child = np.where(go_left, self.left[trees, node], self.right[trees, node])
            node = np.where(split < 0, node, child)
        return np.asarray(self.value[trees, node])


def trees_of(document: Mapping[str, Any], features: int) -> Trees:
    """Trees from a parsed document; KeyError, TypeError or ValueError where its parts don't hold together."""
    trees: Sequence[Mapping[str, Any]] = document["trees"]
    size = max(len(t["feature"]) for t in trees)

    def pad(name: str, fill: float) -> NDArray[np.float64]:
        out = np.full((len(trees), size), fill, np.float64)
        for k, tree in enumerate(trees):
            out[k, : len(tree["feature"])] = tree[name]
        return out

    feature, threshold, value = pad("feature", -1).astype(np.int64), pad("threshold", 0), pad("value", 0)
    left, right = pad("left", 0).astype(np.int64), pad("right", 0).astype(np.int64)
    base = np.asarray(document["base"], dtype=np.float64)
    outputs = np.array([int(t["output"]) for t in trees])
    inside = all((child >= 0).all() and (child < size).all() for child in (left, right))
    fits = (outputs >= 0).all() and outputs.max() < len(base) and (feature < features).all()
    if not (inside and fits and np.isfinite(value).all() and np.isfinite(base).all()):
        raise ValueError("inconsistent trees")
    missing = pad("missing_left", 0).astype(bool)
    return Trees(base, outputs, feature, threshold, left, right, missing, value, int(document["depth"]))


def document_of(model: Any) -> dict[str, Any]:
    """A fitted scikit-learn HistGradientBoostingClassifier as the document `trees_of` reads."""
    trees: list[dict[str, Any]] = []
    depth = 1
    for stage in model._predictors:
        for output, predictor in enumerate(stage):
            nodes = predictor.nodes
            leaf = nodes["is_leaf"].astype(bool)
            depth = max(depth, int(nodes["depth"].max()))
            trees.append(
                {
                    "output": output,
                    "feature": [int(v) for v in np.where(leaf, -1, nodes["feature_idx"])],
                    "threshold": [_short(v) for v in np.where(leaf, 0.0, nodes["num_threshold"])],
                    "left": [int(v) for v in np.where(leaf, 0, nodes["left"])],
                    "right": [int(v) for v in np.where(leaf, 0, nodes["right"])],
                    "missing_left": [int(v) for v in nodes["missing_go_to_left"]],
                    "value": [_short(v) for v in np.where(leaf, nodes["value"], 0.0)],
                }
            )
    base = [_short(v) for v in np.ravel(model._baseline_prediction)]
    return {"base": base, "depth": depth, "trees": trees}


def _short(value: float) -> float:
    """Seven digits: as exact as the features are."""
    return float(f"{float(value):.7g}")
