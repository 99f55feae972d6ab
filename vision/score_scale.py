"""What a score means: the trees' sum -> log odds that a flag is an insect, at one stated mix of shots.

Trees learn on shots crowded with insects and are too sure on shots as they come. A straight line from their sum to log odds (Platt's
scaling) is fitted on flags of drawn shots of the stated mix. At another mix the same flag is worth more or less: `at_other_mix`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MIX = "half of the shots without insects, half with six"
INSECTS_A_SHOT = 3.0
"""Insects in a shot of the mix, on average."""


@dataclass(frozen=True)
class ScoreScale:
    """Log odds = `slope` x sum + `offset`; `mix` says for which shots. It keeps the order: raises ValueError where it would not."""

    slope: float
    offset: float
    mix: str

    def __post_init__(self) -> None:
        if not (0 < self.slope < np.inf and np.isfinite(self.offset)):
            raise ValueError("the slope must be above 0, and both numbers finite")

    def scores(self, sums: NDArray[np.float64]) -> NDArray[np.float64]:
        """Scores 0..1 of sums, of any shape."""
        return share_of_odds(self.slope * sums + self.offset)

    def sum_of(self, score: float) -> float:
        """The sum that a score 0..1 stands for; minus infinity for 0."""
        if score <= 0:
            return -np.inf
        return float((log_odds(min(score, 1 - 1e-9)) - self.offset) / self.slope)


def share_of_odds(log_odds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log odds -> share 0..1."""
    return np.asarray(1 / (1 + np.exp(-np.clip(log_odds, -30, 30))))


def log_odds(share: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Shares between 0 and 1, of any shape -> log odds."""
    return np.asarray(np.log(share) - np.log1p(-np.asarray(share)))


def at_other_mix(share: float, insects_a_shot: float) -> float:
    """What a share of insects among flags at the stated mix comes to where a shot holds another number of insects on average.

    False flags are taken to be as many as before: odds go with the insects (Bayes' rule).
    """
    odds = share / (1 - share) * insects_a_shot / INSECTS_A_SHOT if share < 1 else np.inf
    return float(odds / (1 + odds)) if np.isfinite(odds) else 1.0
