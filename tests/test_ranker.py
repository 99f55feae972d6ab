"""Trees and ranker: the evaluator against scikit-learn's own, the file's robustness, and what the shipped one is."""

from __future__ import annotations

import json
import pickle
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.ensemble import HistGradientBoostingClassifier

from vision.errors import RankerError
from vision.features import FEATURES
from vision.glance import GLANCES
from vision.names import INSECTS, KINDS, SOMETHING_ELSE
from vision.net import OF_BODIES, document_of_net, shapes
from vision.rank import parse_ranker, shipped_ranker
from vision.train import Learned, write_ranker
from vision.trees import document_of, trees_of


def fitted(kinds: int, features: int, seed: int) -> tuple[HistGradientBoostingClassifier, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(400, features))
    x[rng.random(x.shape) < 0.1] = np.nan
    y = rng.integers(0, kinds, 400)
    x[:, 0] = np.where(np.isnan(x[:, 0]), x[:, 0], x[:, 0] + y)
    return HistGradientBoostingClassifier(max_iter=12, max_leaf_nodes=9, random_state=seed).fit(x, y), x


@pytest.mark.parametrize("kinds", [2, 3, 5])
def test_our_sums_are_scikit_learns(kinds: int) -> None:
    model, x = fitted(kinds, 7, kinds)
    ours = trees_of(document_of(model), 7).raw(x)
    theirs = model.decision_function(x)
    assert ours.reshape(theirs.shape) == pytest.approx(theirs, abs=1e-5)


def test_no_rows_give_no_sums() -> None:
    model, _ = fitted(3, 7, 1)
    assert trees_of(document_of(model), 7).raw(np.zeros((0, 7))).shape == (0, 3)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), min_size=len(FEATURES), max_size=len(FEATURES)))
def test_any_features_give_shares_that_add_up(row: list[float]) -> None:
    ranker = shipped_ranker()
    shares = ranker.shares(np.array([row]))
    assert shares.sum() == pytest.approx(1.0)
    scores = ranker.scores(np.array([row]))
    sums = ranker.sums(np.array([row]))
    (name,) = ranker.names(shares, sums)
    assert 0 <= scores[0] <= 1
    assert (name in {*ranker.insects, SOMETHING_ELSE}) == (sums[0] >= 0)


def test_the_shipped_ranker_knows_insects_and_look_alikes() -> None:
    ranker = shipped_ranker()
    assert {"aphid", "thrips", "caterpillar"} <= ranker.insects <= set(INSECTS)
    assert set(ranker.kinds) <= set(KINDS)
    assert len(set(ranker.kinds) - ranker.insects) >= 6
    assert "seed" in ranker.learned


@cache
def _written() -> bytes:
    """A small ranker's file; fitted once for all the ways to damage it."""
    glance, insect, judge = (
        fitted(*size, 1)[0] for size in ((2, len(GLANCES)), (2, len(FEATURES)), (3, len(FEATURES)))
    )
    trees = (document_of(model) for model in (glance, insect, judge))
    net = document_of_net({name: np.zeros(shape) for name, shape in shapes().items()})
    body = document_of_net({name: np.zeros(shape) for name, shape in shapes(OF_BODIES).items()}, OF_BODIES)
    return write_ranker(Learned(net, [body], *trees), [*KINDS[:2], "grit"], "test")


def _damage(**changes: object) -> bytes:
    return json.dumps(json.loads(_written()) | changes).encode()


def test_a_written_ranker_is_read_back() -> None:
    ranker = parse_ranker(_damage())
    assert ranker.kinds == (*KINDS[:2], "grit")
    assert [net.design for net in ranker.of_bodies] == [OF_BODIES]


_STRAY = {"output": 0, "feature": [0], "threshold": [0], "left": [7], "right": [0], "missing_left": [0], "value": [0]}
"""A tree whose node leads out of the tree."""


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        (b"[]", "not a ranker"),
        (b'{"format": "other"}', "not a ranker"),
        (_damage(version=99), "version 99"),
        (_damage(features=["one"]), "other features"),
        (_damage(glances=[]), "other features"),
        (_damage(kinds=["aphid"]), "damaged"),
        (_damage(insects=["unicorn"]), "damaged"),
        (_damage(judge={}), "damaged"),
        (_damage(insect={}), "damaged"),
        (_damage(scale={}), "damaged"),
        (_damage(scale={"slope": 0, "offset": 0, "mix": "any"}), "damaged"),
        (_damage(scale={"slope": float("nan"), "offset": 0, "mix": "any"}), "damaged"),
        (_damage(judge={"base": [0, 0, 0], "depth": 1, "trees": []}), "damaged"),
        (_damage(net={}), "damaged"),
        (_damage(of_bodies=[{}]), "damaged"),
        (_damage(of_bodies=7), "damaged"),
        (_damage(net={"near_0": "AA"}), "damaged"),
        (_damage(glance=None), "damaged"),
        (_damage(glance={"base": [0], "depth": 1, "trees": [_STRAY]}), "damaged"),
    ],
)  # fmt: skip
def test_a_damaged_ranker_is_refused_with_a_sentence(data: bytes, says: str) -> None:
    with pytest.raises(RankerError, match=says):
        parse_ranker(data)


def test_a_ranker_goes_to_another_process_whole() -> None:
    ranker = parse_ranker(_damage())
    again = pickle.loads(pickle.dumps(ranker))
    row = np.zeros((1, len(FEATURES)))
    assert again.digest == ranker.digest
    assert again.scores(row) == ranker.scores(row)
