"""Whether a shot got too much light or too little, and whether a panel outshines the produce on it.

A camera's full scale is the one end of the scale that is known for certain: how far the brightest part of the ground or the
produce lies below it says how much more light the shot could take. Beyond full scale nothing is told any more; what is known there
is the share that burnt, and how uneven the light of one ground usually is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.conditions.coarse import Coarse
from vision.types import LitFrom, MaskArray

_TOP = 99.5
"""Percentile that stands for the brightest part: what is smaller may be a glint."""
_HIGHEST = 99.9
"""The same when more light is asked for: pale specks should not burn either."""
_WANTED = 0.8
"""Linear light the brightest part should have: a third of a stop below full scale (common practice, no source)."""
_MOST_BURNT = 0.05
"""Share of a surface that may burn out, as the edge of a white ground does under a lamp."""
_UNEVEN_STOPS = 0.7
"""How far the light of one ground usually spreads from its darkest to its brightest place: a fall of about 40%."""
_PAST_TELLING, _MOST_LESS = 0.95, 1.5
"""A surface of which hardly anything is left gives no hint of how far beyond full scale it lies."""
_LEAST_MORE = 1.5
"""Stops a shot must be able to take before it is worth asking for."""
_LIT_PART = 75.0
"""Percentile of the produce that stands for its lit side: the rest is turned away, in its own shade or dark between buds."""
_LEAST_SHARE = 0.02
"""Share of the picture from which ground or produce can speak."""


@dataclass(frozen=True)
class Exposure:
    """How much light the shot got.

    `too_bright_stops`, `too_dark_stops`: by how much less, or more, to expose, in half stops rounded so that neither is asked for
    in vain; 0 where it is well. `burnt`: share of what is judged at full scale, 0..1; `burnt_of`: 'ground' or 'produce', whichever
    loses the larger share of itself, '' where nothing burnt.
    """

    too_bright_stops: float
    too_dark_stops: float
    burnt: float
    burnt_of: str


def find_exposure(view: Coarse, glare: MaskArray | None = None) -> Exposure:
    """Exposure of a shot; `glare` (h, w) bool of the coarse picture is left out: a mirrored lamp burns at any exposure."""
    judged = view.judged if glare is None else view.judged & ~glare
    if judged.sum() < _LEAST_SHARE * judged.size:
        return Exposure(0.0, 0.0, 0.0, "")
    brightest = view.light.max(axis=0)
    over, burnt_of = 0.0, ""
    worst = 0.0
    for name, surface in (("ground", view.ground & judged), ("produce", view.produce & judged)):
        if surface.sum() < _LEAST_SHARE * judged.size:
            continue
        burnt = float(view.burnt[surface].mean())
        if burnt > max(worst, 1e-3):
            worst, burnt_of = burnt, name
        if burnt > _MOST_BURNT:
            over = max(over, _stops_less(burnt))
    share = float(view.burnt[judged].mean())
    if share <= _MOST_BURNT and worst <= 2 * _MOST_BURNT:
        over = 0.0
    room = np.log2(_WANTED / max(float(np.percentile(brightest[judged], _HIGHEST)), 1e-5))
    more = np.floor(2 * room) / 2 if over == 0 and room >= _LEAST_MORE else 0.0
    return Exposure(over, float(more), share, burnt_of)


def _stops_less(share: float) -> float:
    """Half stops less that bring a surface back of which `share` burnt out."""
    if share > _PAST_TELLING:
        return _MOST_LESS
    return float(np.ceil(2 * (_UNEVEN_STOPS * share - np.log2(_WANTED)))) / 2


def panel_over_produce(view: Coarse, lit_from: LitFrom) -> float:
    """How many times brighter the panel is than the lit side of the produce on it; 0 where the question does not arise.

    Compared in the channel the produce returns most, so that its own colour counts little.
    """
    least = _LEAST_SHARE * view.judged.size
    if lit_from is LitFrom.BELOW or view.ground.sum() < least or view.produce.sum() < least:
        return 0.0
    produce = np.percentile(view.light[:, view.produce], _LIT_PART, axis=1)
    ground = np.median(view.light[:, view.ground], axis=1)
    best = int(np.argmax(produce))
    return float(ground[best] / max(float(produce[best]), 1e-5))
