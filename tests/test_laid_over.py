"""Photographs laid over each other by their marks: any turn and shift is found, mirror images and mere chance are not."""

from __future__ import annotations

import cmath
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_marks import mark

from cli.lots.laid_over import laid_over
from cli.lots.marks import Mark
from cli.lots.same_place import LAID_OVER, places_in

PLACES = (1 + 71j, 3 + 36j, 46 + 20j, 53 + 7j, 73 + 14j)
"""Millimetres; the distances of any two pairs of them differ by 5 mm."""


def shot(name: str, places: list[complex], **more: object) -> list[Mark]:
    where = {"view": "layers"} | more
    return [mark(name, k, x_mm=at.real, y_mm=at.imag, **where) for k, at in enumerate(places, 1)]


def pairs(first: list[Mark], second: list[Mark]) -> list[tuple[int, int]]:
    return sorted((one.candidate, other.candidate) for one, other in laid_over(first, second))


@given(st.floats(-math.pi, math.pi), st.complex_numbers(max_magnitude=300), st.integers(3, 5))
def test_any_turn_and_shift_is_found(turn: float, shift: complex, many: int) -> None:
    moved = [cmath.rect(1, turn) * place + shift for place in PLACES[:many]]
    assert pairs(shot("a", list(PLACES[:many])), shot("b", moved)) == [(k, k) for k in range(1, many + 1)]


@given(st.lists(st.complex_numbers(max_magnitude=0.3), min_size=5, max_size=5))
def test_places_that_are_a_little_off_agree(off: list[complex]) -> None:
    # Each at most 0.3 mm off: two of them move the fit by no more than what is left of a millimetre.
    second = shot("b", [place + by + (30 - 20j) for place, by in zip(PLACES, off, strict=True)])
    assert pairs(shot("a", list(PLACES)), second) == [(k, k) for k in range(1, 6)]


@pytest.mark.parametrize(
    "change",
    [
        lambda place: place.conjugate(),
        lambda place: 1.2 * place,
        lambda place: complex(place.real, 0.8 * place.imag),
    ],
    ids=["mirrored", "larger", "squeezed"],
)
def test_what_is_no_turn_and_shift_is_not(change: object) -> None:
    assert pairs(shot("a", list(PLACES)), shot("b", [change(place) for place in PLACES])) == []  # type: ignore[operator]


def test_two_marks_are_too_few() -> None:
    assert pairs(shot("a", list(PLACES[:2])), shot("b", list(PLACES[:2]))) == []


def test_fewer_than_half_of_the_marks_are_too_few() -> None:
    some, others = [110 + 7j, 95 + 64j, 120 + 80j, 140 + 12j], [81 + 90j, 160 + 40j, 99 + 12j, 130 + 61j]
    first, second = shot("a", [*PLACES[:3], *some]), shot("b", [*PLACES[:3], *others])
    assert pairs(first, second) == []
    assert pairs(first, second[:5]) == [(1, 1), (2, 2), (3, 3)]


def test_marks_that_do_not_look_alike_do_not_agree() -> None:
    first, second = shot("a", list(PLACES[:3])), shot("b", list(PLACES[:3]))
    second[2] = mark("b", 3, x_mm=PLACES[2].real, y_mm=PLACES[2].imag, view="layers", length_mm=4.0)
    assert pairs(first, second) == []


def test_without_a_scale_pixels_are_compared() -> None:
    def pixels(name: str, by: complex) -> list[Mark]:
        at = [20 * place + by for place in PLACES]
        return [mark(name, k, x_px=p.real, y_px=p.imag, length_mm=None, width_mm=None) for k, p in enumerate(at, 1)]

    # All alike: a wrong fit would have fewer pairs.
    assert pairs(pixels("a", 0), pixels("b", 310 - 40j)) == [(k, k) for k in range(1, 6)]
    assert pairs(pixels("a", 0), shot("b", list(PLACES))) == []


@pytest.mark.parametrize("many", [4, 8])
def test_chance_seldom_lays_them_over(many: int) -> None:
    """Marks alike, strewn over trays of 100 by 75 mm: of 120 pairs of trays at most 6 seem to agree."""
    rng = random.Random(7)

    def strewn(name: str) -> list[Mark]:
        return shot(name, [complex(rng.uniform(0, 100), rng.uniform(0, 75)) for _ in range(many)])

    assert sum(bool(laid_over(strewn("a"), strewn("b"))) for _ in range(120)) <= 6


def test_only_photographs_of_one_view_are_laid_over() -> None:
    first, second = shot("a", list(PLACES)), shot("b", list(PLACES))
    assert set(places_in([*first, *second]).of_pairs.values()) == {LAID_OVER}
    for view in ("opened", "", "card"):
        other = shot("b", list(PLACES), view=view)
        assert places_in([*first, *other]).of_pairs == {}
    assert places_in([*shot("a", list(PLACES), view=""), *shot("b", list(PLACES), view="")]).of_pairs == {}
