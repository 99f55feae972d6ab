"""Whether two marks can be one animal by what is known of them, and how unlike they are.

Only what is known of both speaks: what one of them lacks is no obstacle. Light is compared only between shots that are lit alike, as a body
that is dark on a light panel is pale on black card.
"""

from __future__ import annotations

import math
from functools import lru_cache

from cli.lots.marks import KEPT_APART, Mark
from cli.lots.rule_text import folded
from cli.review.answers import COLONY
from vision.names import DISTINCT

_STANDARD_UNCERTAINTIES = 2
"""About 95 of 100 true sizes lie so near (GUM, 6.3.3)."""
_USUAL_UNCERTAINTY = 0.1
"""Relative, of a size that comes without one (common practice, no source)."""
_LAST_DIGIT_MM = 0.01
"""Tables hold sizes to that."""
_WIDTHS_APART = 2.0
"""A body that lies on its side is up to so much narrower or wider (common practice, no source)."""
_DENSITY_APART = 0.3
"""Of one body in two shots that are lit alike (common practice, no source)."""
_COLOUR_APART = 20.0
"""CIEDE2000, likewise."""
_WATER = frozenset({"water", "swirl"})
_ALONE = (*KEPT_APART, COLONY, "pupa")
"""Bodies that are never taken for another one."""


def contradict(one: Mark, other: Mark) -> bool:
    """Whether something that was said or shown of both makes them two animals."""
    return (
        one.speck.shot_sha256 == other.speck.shot_sha256
        or (one.lot, one.sample) != (other.lot, other.sample)
        or any(_differ(getattr(one, name), getattr(other, name)) for name in ("piece", "head", "card"))
        or _kinds_differ(one.kind, other.kind)
        or _differ(_sort_of(one.body), _sort_of(other.body))
    )


def unlikeness(one: Mark, other: Mark) -> float | None:
    """0 for two marks of the same size and light, more where they differ; None where they differ by more than one body would."""
    parts = [_length(one, other), _width(one, other)]
    if lit_alike(one, other):
        if _differ(one.tone, other.tone):
            return None
        parts += _light(one, other)
    known = [part for part in parts if part is not None]
    if any(part > 1 for part in known):
        return None
    # What nothing is known of is as likely as not.
    return sum(known) / len(known) if known else 0.5


def lit_alike(one: Mark, other: Mark) -> bool:
    """Whether two marks were photographed on the same ground in the same light, as far as their views say."""
    return bool(one.view) and (one.view == other.view or {one.view, other.view} <= _WATER)


def _length(one: Mark, other: Mark) -> float | None:
    if one.length_mm is None or other.length_mm is None:
        return None
    off = math.hypot(_off_mm(one, one.length_mm), _off_mm(other, other.length_mm))
    return abs(one.length_mm - other.length_mm) / (off + _LAST_DIGIT_MM)


def _width(one: Mark, other: Mark) -> float | None:
    if one.width_mm is None or other.width_mm is None:
        return None
    narrow, wide = sorted((max(one.width_mm, _LAST_DIGIT_MM), max(other.width_mm, _LAST_DIGIT_MM)))
    off = math.hypot(_off_mm(one, one.width_mm), _off_mm(other, other.width_mm))
    return (wide - narrow) / (off + (_WIDTHS_APART - 1) * narrow)


def _off_mm(mark: Mark, size_mm: float) -> float:
    relative = _USUAL_UNCERTAINTY if mark.size_uncertainty is None else mark.size_uncertainty
    return _STANDARD_UNCERTAINTIES * relative * size_mm


def _light(one: Mark, other: Mark) -> list[float | None]:
    pairs = ((one.density, other.density, _DENSITY_APART), (one.delta_e, other.delta_e, _COLOUR_APART))
    return [None if a is None or b is None else abs(a - b) / apart for a, b, apart in pairs]


_folded = lru_cache(maxsize=4096)(folded)
"""A few names are compared many times."""


def _differ(one: str, other: str) -> bool:
    if one == other:
        return False
    first, second = _folded(one), _folded(other)
    return bool(first and second) and first != second


def _kinds_differ(one: str, other: str) -> bool:
    # Two names of distinct animals are two animals. Any other name may be another word, or a narrower one, for the same.
    return _differ(one, other) and {_folded(one), _folded(other)} <= DISTINCT


def _sort_of(body: str) -> str:
    """Bodies that may be said of one animal from two sides have one name here."""
    return body if body in _ALONE or not body else "whole"
