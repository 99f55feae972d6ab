"""Boosted trees as plain numbers: read from a file's lists, evaluated for many rows at once. Nothing in them runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_LOOKS_ROUND = 4
"""Every so many levels, what has reached its leaf is left out."""


@dataclass(frozen=True)
class Trees:
    """Sums of regression trees, one sum an output. All nodes of all trees stand in one row; `root` (trees,) says where each starts.

    A feature at most `threshold` goes to the first of a node's two `children`, else to the second; NaN to the first where
    `missing_left`, else to the second. A leaf is its own child and has a `value`.
    """

    base: NDArray[np.float64]
    output_of_tree: NDArray[np.int64]
    root: NDArray[np.intp]
    feature: NDArray[np.intp]
    threshold: NDArray[np.float64]
    children: NDArray[np.intp]
    missing_left: NDArray[np.bool_]
    value: NDArray[np.float64]
    depth: int

    def raw(self, rows: NDArray[Any]) -> NDArray[np.float64]:
        """The sums (n, outputs) for rows (n, features)."""
        x = np.ascontiguousarray(rows, dtype=np.float64)
        out = np.tile(self.base, (len(x), 1))
        pick = np.zeros((len(self.output_of_tree), len(self.base)))
        pick[np.arange(len(self.output_of_tree)), self.output_of_tree] = 1
        # Bounded pieces stay in the cache; all rows and trees at once would take gigabytes.
        for start in range(0, len(x), 256):
            out[start : start + 256] += self._leaves(x[start : start + 256]) @ pick
        return out

    def _leaves(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Value of the leaf that each row of `x` ends in, (n, trees)."""
        flat, gaps = x.ravel(), bool(np.isnan(x).any())
        many = len(self.root)
        ends = np.tile(self.root, len(x))
        at = np.arange(len(ends))
        offset = at // many * x.shape[1]
        node = ends.copy()
        for level in range(1, self.depth + 1):
            seen = flat.take(offset + self.feature.take(node))
            second = ~(seen <= self.threshold.take(node))
            if gaps:
                second &= ~(np.isnan(seen) & self.missing_left.take(node))
            node = self.children.take(2 * node + second)
            if level % _LOOKS_ROUND == 0:
                # Trees that grow by their best leaf are deep in few places: most rows have long arrived.
                ends[at] = node
                going = np.flatnonzero(self.children.take(2 * node) != node)
                at, offset, node = at.take(going), offset.take(going), node.take(going)
        ends[at] = node
        return np.asarray(self.value.take(ends)).reshape(len(x), many)


def trees_of(document: Mapping[str, Any], features: int) -> Trees:
    """Trees from a parsed document; KeyError, TypeError or ValueError where its parts don't hold together."""
    trees: Sequence[Mapping[str, Any]] = document["trees"]
    sizes = [len(t["feature"]) for t in trees]
    root = np.cumsum([0, *sizes[:-1]])

    def joined(name: str) -> NDArray[np.float64]:
        parts = [np.asarray(t[name], dtype=np.float64) for t in trees]
        if [len(part) for part in parts] != sizes:
            raise ValueError("a tree's lists differ in length")
        return np.concatenate(parts)

    feature, value, base = joined("feature").astype(np.int64), joined("value"), np.asarray(document["base"], np.float64)
    size_of, start_of = np.repeat(sizes, sizes), np.repeat(root, sizes)
    left, right, leaf = joined("left").astype(np.int64), joined("right").astype(np.int64), feature < 0
    outputs = np.array([int(t["output"]) for t in trees])
    inside = all((child >= 0).all() and (child < size_of).all() for child in (left, right))
    fits = (outputs >= 0).all() and outputs.max() < len(base) and (feature < features).all()
    if not (inside and fits and np.isfinite(value).all() and np.isfinite(base).all()):
        raise ValueError("inconsistent trees")
    own = np.arange(len(feature))
    children = np.stack([np.where(leaf, own, left + start_of), np.where(leaf, own, right + start_of)], axis=1)
    return Trees(
        base, outputs, root.astype(np.intp), np.maximum(feature, 0).astype(np.intp), joined("threshold"),
        children.ravel().astype(np.intp), joined("missing_left").astype(bool), value, int(document["depth"]),
    )  # fmt: skip


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
                    "threshold": [float(v) for v in np.where(leaf, 0.0, nodes["num_threshold"])],
                    "left": [int(v) for v in np.where(leaf, 0, nodes["left"])],
                    "right": [int(v) for v in np.where(leaf, 0, nodes["right"])],
                    "missing_left": [int(v) for v in nodes["missing_go_to_left"]],
                    "value": [_short(v) for v in np.where(leaf, nodes["value"], 0.0)],
                }
            )
    base = [_short(v) for v in np.ravel(model._baseline_prediction)]
    return {"base": base, "depth": depth, "trees": trees}


def _short(value: float) -> float:
    """Seven digits. Thresholds keep them all: they may be the very number some speck has."""
    return float(f"{float(value):.7g}")
