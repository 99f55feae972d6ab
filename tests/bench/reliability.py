"""What a score is worth: the share of insects among flags of about the same score, at the mix the scores stand for and at a rarer one.

The standard shots are of that mix. Second flags on a body and flags on bodies that do not count are left out, as everywhere.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from judging import Judged

from vision.score_scale import at_other_mix

EDGES = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 0.6, 0.8, 1.001)
RARE = 0.1
"""Insects a shot where they are rare: one in ten shots."""


@dataclass(frozen=True)
class Bin:
    """Flags of scores from `low` to below `high`: how many, how many on insects, and their mean score."""

    low: float
    high: float
    flags: int
    insects: int
    mean_score: float

    @property
    def share_when_rare(self) -> float:
        """The share of insects that the same flags would have at `RARE` insects a shot."""
        return at_other_mix(self.insects / self.flags, RARE) if self.flags else float("nan")


def bins_of(judged: Sequence[Judged]) -> list[Bin]:
    """Flags of the shots, by score."""
    hits = np.array([score for j in judged for score in j.ours.hits])
    false = np.array([score for j in judged for score in j.ours.false])
    out = []
    for low, high in itertools.pairwise(EDGES):
        on, off = (some[(some >= low) & (some < high)] for some in (hits, false))
        mean = float(np.concatenate([on, off]).mean()) if len(on) + len(off) else float("nan")
        out.append(Bin(low, high, len(on) + len(off), len(on), mean))
    return out
