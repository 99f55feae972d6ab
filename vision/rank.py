"""How much a speck looks like an insect, 0..1, and like which: small networks and boosted trees, read from a plain file.

A ranker is a JSON file: the features it reads, the kinds it tells apart, which of them are insects, networks' weights and trees as
lists of numbers. Nothing in it runs. One set of trees has learned one question, insect or not, and gives the score; another tells the kinds
apart and names them. Their sums become scores at one stated mix of shots (score_scale.py): a score orders a list and is not the chance
that a speck is an insect, which depends on the lot.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.errors import RankerError
from vision.features import FEATURES
from vision.glance import GLANCES
from vision.names import SOMETHING_ELSE
from vision.net import OF_BODIES, Net, net_of
from vision.rankers import shipped_bytes
from vision.score_scale import ScoreScale
from vision.trees import Trees, trees_of

FORMAT = "speckwise ranker"
VERSION = 5
_PLAIN, _LIKELIEST = 0.5, 0.4
"""Shares of all insects' from which one kind lends its name: whatever is expected, and with that taken into account."""


@dataclass(frozen=True)
class Ranker:
    """Networks that are shown pictures, `net` of places and `of_bodies` of what was outlined, and three sets of trees: `glance` orders
    places before they are looked at closer; of what was looked at, `insect` says how much like an insect it looks and `trees` like
    which kind."""

    kinds: tuple[str, ...]
    insects: frozenset[str]
    net: Net
    of_bodies: tuple[Net, ...]
    glance: Trees
    insect: Trees
    trees: Trees
    scale: ScoreScale
    digest: str
    learned: str

    def shares(self, features: NDArray[Any]) -> NDArray[np.float64]:
        """Share of each kind for each speck: (n, len(FEATURES)) -> (n, kinds) float64, rows summing to 1."""
        raw = self.trees.raw(features)
        if len(raw):
            raw -= raw.max(axis=1, keepdims=True)
        shares = np.exp(raw)
        return np.asarray(shares / shares.sum(axis=1, keepdims=True))

    def sums(self, features: NDArray[Any]) -> NDArray[np.float64]:
        """How much each speck looks like an insect, as log odds among what was learned: (n, len(FEATURES)) -> (n,) float64."""
        return self.insect.raw(features)[:, 0]

    def scores(self, features: NDArray[Any]) -> NDArray[np.float64]:
        """How much each speck looks like an insect, 0..1 at the mix of `scale`: (n, len(FEATURES)) -> (n,) float64."""
        return self.scale.scores(self.sums(features))

    def names(
        self, shares: NDArray[np.float64], sums: NDArray[np.float64], favour: NDArray[np.float64] | None = None
    ) -> tuple[str, ...]:
        """What each speck of these shares (n, kinds) and sums (n,) resembles most: an insect from a sum of 0, else a look-alike.

        `favour` (kinds,): factors on the shares, which decide in doubt only: what plainly resembles one insect keeps that name. What
        looks like an insect and like none of them plainly is something else.
        """
        insect = np.array([kind in self.insects for kind in self.kinds])
        factor = np.ones(len(self.kinds)) if favour is None else favour
        return tuple(
            self._insect_name(np.where(insect, row, 0.0), factor)
            if total >= 0
            else self.kinds[int(np.where(insect, -1, row * factor).argmax())]
            for row, total in zip(shares, sums, strict=True)
        )

    def _insect_name(self, shares: NDArray[np.float64], favour: NDArray[np.float64]) -> str:
        for some, least in ((shares, _PLAIN), (shares * favour, _LIKELIEST)):
            likest = int(some.argmax())
            if some[likest] > least * some.sum():
                return self.kinds[likest]
        return SOMETHING_ELSE


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
    if d.get("features") != list(FEATURES) or d.get("glances") != list(GLANCES):
        raise RankerError("The ranker was learned on other features than this version measures; learn it again.")
    try:
        net, of_bodies = net_of(d["net"]), tuple(net_of(each, OF_BODIES) for each in d["of_bodies"])
        glance, insect = trees_of(d["glance"], len(GLANCES)), trees_of(d["insect"], len(FEATURES))
        trees = trees_of(d["judge"], len(FEATURES))
        scale = ScoreScale(float(d["scale"]["slope"]), float(d["scale"]["offset"]), str(d["scale"]["mix"]))
        kinds, insects = tuple(str(k) for k in d["kinds"]), frozenset(str(k) for k in d["insects"])
        if len(glance.base) != 1 or len(insect.base) != 1 or len(trees.base) != len(kinds) or not insects < set(kinds):
            raise ValueError("kinds and trees differ")
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise RankerError("The ranker file is damaged: its trees don't hold together.") from error
    return Ranker(
        kinds, insects, net, of_bodies, glance, insect, trees, scale, hashlib.sha256(data).hexdigest(),
        str(d.get("learned", "")),
    )  # fmt: skip


@lru_cache(maxsize=1)
def shipped_ranker() -> Ranker:
    """The ranker that comes with the program."""
    return parse_ranker(shipped_bytes())
