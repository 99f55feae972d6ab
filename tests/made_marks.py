"""Marks for tests of counting animals: plain ones, and any that a lot may hold. All invented: the kitchen of Quillmere House."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from cli.lots.entries import Link
from cli.lots.marks import Mark
from cli.review.answers import BODIES, COLONY, SpeckId

RUN = "r0123456789ab"
LOT = "Quillmere 7"


def sha256(shot: str) -> str:
    """A hash that stands for a shot's name."""
    return shot.encode().hex().rjust(64, "0")[-64:]


def mark(shot: str, number: int = 1, **more: Any) -> Mark:
    """A confirmed aphid of 1.2 by 0.7 mm on a shot of the one sample, its size known to a twentieth."""
    plain = {"lot": LOT, "sample": "1", "length_mm": 1.2, "width_mm": 0.7, "size_uncertainty": 0.05}
    return Mark(SpeckId(sha256(shot), RUN, number), shot, **plain | more)


def link(*marks: Mark, card: str = "") -> Link:
    return Link(tuple(each.speck for each in marks), card)


@st.composite
def lots(draw: Any) -> tuple[list[Mark], list[Link]]:
    """Marks of a small lot that often resemble each other, and links in the order in which they were entered."""
    shots = {name: draw(st.sampled_from(["underside", "water", "swirl", "card", ""])) for name in "abcd"}
    keys = draw(st.lists(st.tuples(st.sampled_from("abcd"), st.integers(1, 4)), unique=True, max_size=9))
    marks = [draw(_marks(shot, number, shots[shot])) for shot, number in keys]
    links = []
    for _ in range(draw(st.integers(0, 4)) if marks else 0):
        specks = draw(st.lists(st.sampled_from(marks), min_size=1, max_size=4, unique_by=lambda each: each.speck))
        links.append(link(*specks, card=draw(st.sampled_from(["", "1"]))))
    return marks, links


@st.composite
def _marks(draw: Any, shot: str, number: int, view: str) -> Mark:
    body = draw(st.sampled_from(["", "", "whole", "whole", *BODIES]))
    least = draw(st.integers(1, 9)) if body == COLONY else None
    return mark(
        shot,
        number,
        sample=draw(st.sampled_from(["1", "1", "2"])),
        piece=draw(st.sampled_from(["", "1", "2"])),
        view=view,
        card=draw(st.sampled_from(["", "1", "2"])) if view == "card" else "",
        kind=draw(st.sampled_from(["", "aphid", "thrips", "pale hopper"])),
        body=body,
        least=least,
        most=None if least is None else least + draw(st.integers(0, 9)),
        length_mm=draw(st.sampled_from([None, 1.0, 1.1, 2.5])),
        tone=draw(st.sampled_from(["", "darker", "lighter"])),
        x_mm=draw(st.sampled_from([10.0, 10.5, 40.0, 70.0])),
        y_mm=draw(st.sampled_from([10.0, 10.5, 40.0, 70.0])),
    )
