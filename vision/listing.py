"""What was judged -> the list a person reads: what is in it, in which order, and what each is called.

What is listed depends on the scores alone. A guide moves what it expects up and what it warns of down, and lends them its names; it
never decides whether something is listed, by the cut or by the limit on flags, and what plainly resembles one insect keeps that name.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.guides import Guide
from vision.measure import Measured
from vision.outline import surface_name
from vision.overlap import without_repeats
from vision.rank import Ranker
from vision.reasons import say_why
from vision.score_scale import ScoreScale, log_odds, share_of_odds
from vision.shapes import ShapeNumbers, name_shape
from vision.sizes import size_uncertainty, sizes_mm
from vision.types import Candidate, Cut, Ground, Setup
from vision.wholes import COULD_BE, Body, parts_taken_in

_LIKENESS_DIGITS = 9
"""To which likenesses are rounded before they order anything."""
_GUIDE_ODDS = 2.0
"""Odds that a guide adds to what it expects, and takes from what it warns of: a nudge, and ours."""

_LEAST_SHARE = 5e-4
"""What a score that is written as 0 is counted as: half of its last digit; and one written as 1 likewise."""


def list_candidates(
    measured: Sequence[Measured], features: NDArray[np.float32], ranker: Ranker, guide: Guide | None, cut: Cut, ground: Ground,
    setup: Setup, step: int,
) -> tuple[tuple[Candidate, ...], int]:  # fmt: skip
    """Candidates above the cut, best first, and how many more the limit on flags left out.

    `features` (n, features) of the `measured`; `step`: shot pixels per working pixel. Ties go from top to bottom and left to right.
    """
    if not measured:
        return (), 0
    sums = ranker.sums(features)
    scores = np.round(ranker.scale.scores(sums), 3)
    bodies = _bodies(measured, scores, share_of_odds(sums), cut, ranker.scale)
    kept = bodies if cut.max_flags is None else bodies[: cut.max_flags]
    likest, wholes = [k for k, _ in kept], [whole for _, whole in kept]
    shares = ranker.shares(features[wholes])
    kinds = ranker.names(shares, sums[likest], _favour(ranker, guide))
    lean = _lean(shares, ranker, guide)
    odds = log_odds(np.clip(scores[likest], _LEAST_SHARE, 1 - _LEAST_SHARE)) + lean
    order = sorted(range(len(kept)), key=lambda n: (-odds[n], n))
    listed = tuple(
        _candidate(number, measured[wholes[n]], float(scores[likest[n]]), kinds[n], ground, setup, step)
        for number, n in enumerate(order, start=1)
    )
    return listed, len(bodies) - len(kept)


def _bodies(
    measured: Sequence[Measured],
    scores: NDArray[np.float64],
    likeness: NDArray[np.float64],
    cut: Cut,
    scale: ScoreScale,
) -> list[Body]:
    """Whose score and whose outline, best score first: each body once, and from the cut up.

    `likeness` (n,): the share of insects among what was learned, by which a part is compared with its whole.
    """
    # A whole may lie below the cut and have a part above it.
    least = COULD_BE * float(share_of_odds(np.array(scale.sum_of(cut.min_score))))
    measures = [m.measures for m in measured]
    # Far down the list thousands of outlines share one printed score, several of them one body: the likeliest of these speaks for it.
    order = sorted(
        (k for k in range(len(measured)) if likeness[k] >= least),
        key=lambda k: (-scores[k], -round(float(likeness[k]), _LIKENESS_DIGITS), measures[k].y_px, measures[k].x_px),
    )
    bodies = without_repeats(order, measures)
    if cut.min_score > 0:  # at 0 whatever stands out is asked for, parts too
        bodies = [body for body in parts_taken_in(bodies, measures, likeness) if scores[body[0]] >= cut.min_score]
    return sorted(bodies, key=lambda body: (-scores[body[0]], measures[body[0]].y_px, measures[body[0]].x_px))


def _weights(ranker: Ranker, guide: Guide) -> NDArray[np.float64]:
    """1 for each kind that the guide expects, -1 for each that it warns of, else 0: (kinds,)."""
    expected, mistaken = guide.expected_kinds, guide.mistaken_kinds
    return np.array([float(kind in expected) - float(kind in mistaken) for kind in ranker.kinds])


def _lean(shares: NDArray[np.float64], ranker: Ranker, guide: Guide | None) -> NDArray[np.float64]:
    """Log odds that the guide moves each of the specks by: (n, kinds) -> (n,)."""
    if guide is None:
        return np.zeros(len(shares))
    return np.asarray(np.log(_GUIDE_ODDS) * shares @ _weights(ranker, guide))


def _favour(ranker: Ranker, guide: Guide | None) -> NDArray[np.float64] | None:
    """Factors on the shares of kinds that the guide names, as insects or as look-alikes: (kinds,)."""
    return None if guide is None else np.where(_weights(ranker, guide) != 0, _GUIDE_ODDS, 1.0)


def _candidate(number: int, m: Measured, score: float, kind: str, ground: Ground, setup: Setup, step: int) -> Candidate:
    x = m.measures
    surface = surface_name(m.speck.on_produce, str(ground))
    sizes = sizes_mm(m, setup, step)
    form, long_over_wide = x.aspect_ratio, x.length_px / max(x.width_px, 1e-6)
    if sizes is not None:
        form, long_over_wide = sizes.aspect_ratio, sizes.length_mm / max(sizes.width_mm, 1e-6)
    shape = name_shape(ShapeNumbers(form, m.body.solidity, m.build.straightness, long_over_wide, m.build.winding_rad))
    why = say_why(m, shape, sizes, str(surface))
    uncertainty = None if sizes is None else size_uncertainty(m, setup)
    return Candidate(number, x, surface, m.speck.tone, shape, kind, why, score, sizes, uncertainty)
