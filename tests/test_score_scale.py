"""What a score means: the line against scikit-learn's own, Bayes' rule by counting, the bins of the reliability table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judging import Judged
from reliability import bins_of
from sklearn.linear_model import LogisticRegression

from vision.counting import NEVER, ShotCount
from vision.lessons import mixed_shots
from vision.render.hands.by_hand import HandShot
from vision.score_scale import INSECTS_A_SHOT, ScoreScale, at_other_mix
from vision.train import learn_scale

SCALE = ScoreScale(1.1, -2.0, "test")


def flags(slope: float, offset: float, many: int = 40_000) -> np.ndarray:
    rng = np.random.default_rng(5)
    sums = rng.normal(-3, 2, many)
    insects = rng.random(many) < 1 / (1 + np.exp(-(slope * sums + offset)))
    return np.stack([sums, insects], axis=1)


def test_the_line_that_made_the_flags_is_found_again() -> None:
    found = learn_scale(flags(1.3, -1.0))
    assert found.slope == pytest.approx(1.3, abs=0.05)
    assert found.offset == pytest.approx(-1.0, abs=0.1)


def test_scores_are_scikit_learns_own() -> None:
    rows = flags(0.8, -2.0)
    theirs = LogisticRegression(C=np.inf).fit(rows[:, :1], rows[:, 1])
    assert learn_scale(rows).scores(rows[:, 0]) == pytest.approx(theirs.predict_proba(rows[:, :1])[:, 1], abs=1e-9)


@given(st.floats(1e-6, 1 - 1e-6))
def test_the_sum_of_a_score_has_that_score(score: float) -> None:
    assert SCALE.scores(np.array(SCALE.sum_of(score))) == pytest.approx(score, rel=1e-6)


def test_a_score_of_zero_asks_for_all() -> None:
    assert SCALE.sum_of(0.0) == -np.inf


@given(st.lists(st.floats(-40, 40), min_size=2, max_size=20))
def test_the_order_is_kept(sums: list[float]) -> None:
    assert np.all(np.diff(SCALE.scores(np.sort(np.array(sums)))) >= 0)


def test_rarer_insects_are_a_matter_of_counting() -> None:
    # 100 shots of the mix: 300 insects. Of flags of one score 80 are insects and 20 are not. At a tenth of an insect a shot the same
    # shots hold 10 insects, of which 80 in 300 get such a flag, and 20 other flags as before: 2.667 in 22.667 (Bayes' rule).
    assert INSECTS_A_SHOT == 3
    assert at_other_mix(0.8, 0.1) == pytest.approx(80 / 300 * 10 / (80 / 300 * 10 + 20))
    assert at_other_mix(0.8, INSECTS_A_SHOT) == pytest.approx(0.8)
    assert at_other_mix(1.0, 0.1) == 1.0


def test_shots_of_the_mix_are_of_the_mix() -> None:
    shots = [lesson.shot for lesson in mixed_shots(40, 11)]
    many = [shot.insects if isinstance(shot, HandShot) else sum(n for _, n in shot.insects or ()) for shot in shots]
    assert sorted(set(many)) == [0, 6]
    assert np.mean(many) == INSECTS_A_SHOT
    assert {shot.kind for shot in shots} == {"water", "cloth", "broccoli", "cauliflower", "scallion"}
    assert len({shot.seed for shot in shots}) == 40
    assert {(shot.width_px, shot.height_px) for shot in shots} == {(2000, 1500)}
    assert sum(isinstance(shot, HandShot) for shot in shots) == 20


def test_flags_go_to_the_bin_of_their_score() -> None:
    count = ShotCount((), (0.9, 0.85, 0.02, NEVER), (0, 1, 2, -1), (0.81, 0.02, 0.025, 0.0005))
    bins = {b.low: b for b in bins_of([Judged(count, {}, [])])}
    assert (bins[0.8].flags, bins[0.8].insects) == (3, 2)
    assert (bins[0.01].flags, bins[0.01].insects) == (3, 1)
    assert sum(b.flags for b in bins.values()) == 6
    assert bins[0.8].mean_score == pytest.approx((0.9 + 0.85 + 0.81) / 3)
