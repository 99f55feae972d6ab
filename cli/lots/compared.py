"""Confirmed marks of a lot as they are compared with one another, and the animals that they make by what people linked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from cli.lots import marks as compare
from cli.lots.gather import LotStands, Mark
from cli.lots.record_counts import Totals
from cli.lots.same import totals
from cli.review.answers import SpeckId


def compared(mark: Mark) -> compare.Mark:
    """A confirmed mark with what tells it from others. Of one that a person added, only place and length are known."""
    cells: Mapping[str, str] = mark.flag.cells if mark.flag else {}
    photo, answer = mark.photo, mark.answer

    def number(name: str) -> float | None:
        return float(cells[name]) if cells.get(name) else None

    x_px, y_px = mark.place_px
    return compare.Mark(
        mark.speck,
        shot=photo.shot.name,
        lot=photo.get("lot"),
        sample=photo.get("sample"),
        piece=mark.piece,
        head=photo.get("head"),
        view=photo.get("view"),
        card=photo.get("card"),
        x_px=x_px,
        y_px=y_px,
        x_mm=number("x_mm"),
        y_mm=number("y_mm"),
        length_mm=mark.length_mm,
        width_mm=number("width_mm"),
        size_uncertainty=number("size_uncertainty"),
        density=number("density"),
        delta_e=number("delta_e"),
        tone=cells.get("tone", ""),
        kind=answer.kind if answer else "",
        body=answer.body if answer else "",
        least=answer.least if answer else None,
        most=answer.most if answer else None,
    )


def totals_of(lot: LotStands) -> Totals:
    """Counts the animals that marks of the lot stand for: if what may be the same is, and if all that nobody linked differs."""

    of_speck: dict[SpeckId, list[int]] = defaultdict(list)
    for number, link in enumerate(lot.links):
        for speck in link.specks:
            of_speck[speck].append(number)

    def animals_in(marks: Sequence[Mark]) -> tuple[int, int]:
        # A lot may have many links, and is counted piece by piece: only those of these marks are looked at.
        numbers = sorted({number for mark in marks for number in of_speck.get(mark.speck, ())})
        both = totals([compared(mark) for mark in marks], [lot.links[number] for number in numbers])
        return both.if_same.least, both.if_different.most

    return animals_in


def linked_of(lot: LotStands) -> dict[SpeckId, str]:
    """For each confirmed mark of which somebody said with which others it is one animal, a word for that animal."""
    said = compare.animals([compared(mark) for mark in lot.insects], lot.links)
    return {
        mark.speck: f"animal {number}"
        for number, animal in enumerate((each for each in said if each.said), start=1)
        for mark in animal.marks
    }
