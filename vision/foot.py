"""What stands under the annotated picture: what was searched, what could not be, how small a speck it could show, who decides.

Numbers are written as the tables write them, so that picture and table never differ by a digit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.table import SHOTS, format_cell
from vision.text import as_name
from vision.types import Ground, Inspection, LitFrom, ScaleFrom, Usable
from vision.words import NONE_FLAGGED, WHO_DECIDES

TAKE_AGAIN = "Take this shot again:"
NEXT_SHOT = "For the next shot:"

_SEARCHED = {
    Ground.PANEL: "the light panel and what lies on it",
    Ground.WATER: "the water and what lies in it",
    Ground.CLOTH: "the cloth and what lies on it",
}
_LIGHT = {
    LitFrom.BELOW: "light from below",
    LitFrom.ABOVE: "light from above",
    LitFrom.BOTH: "light from below and above",
}
_SCALE_FROM = {
    ScaleFrom.OPTION: "as given by hand",
    ScaleFrom.RULER: "from the ruler shown by hand",
    ScaleFrom.PROFILE: "from the panel profile",
    ScaleFrom.SLIP: "from the slip",
}
_COLUMNS = {column.name: column for column in SHOTS}


@dataclass(frozen=True)
class FootLine:
    """One paragraph of the foot, in reading order."""

    text: str
    weight: Literal["title", "alert", "plain"] = "plain"


def flagged(count: int) -> str:
    """The sentence of how many were flagged."""
    return NONE_FLAGGED if count == 0 else f"{count} flagged"


def _number(column: str, value: float) -> str:
    return format_cell(_COLUMNS[column], value)


def _limit(inspection: Inspection) -> str:
    start = "Smallest speck this shot could show: "
    if inspection.px_per_mm is None:
        return start + "unknown without a scale."
    parts = []
    if inspection.limit_round_mm is not None:
        parts.append(f"round {_number('limit_round_mm', inspection.limit_round_mm)} mm across")
    if inspection.limit_linear_mm is not None:
        parts.append(f"thin {_number('limit_linear_mm', inspection.limit_linear_mm)} mm wide")
    return start + (", ".join(parts) if parts else "not known for this shot") + "."


def _scale(inspection: Inspection) -> str:
    if inspection.px_per_mm is None:
        return "No scale: sizes in mm are not known."
    source = _SCALE_FROM.get(inspection.scale_from, "")
    return f"Scale: {_number('px_per_mm', inspection.px_per_mm)} px/mm {source}".rstrip() + "."


def _counts(inspection: Inspection, unnumbered: int) -> list[str]:
    lines = []
    if inspection.left_out:
        lines.append(f"Left out by the limit on flags: {inspection.left_out} more.")
    if inspection.fixed_marks:
        lines.append(f"Not counted, nothing changed there: {len(inspection.fixed_marks)} known marks of the panel.")
    if inspection.by_piece:
        lines.append(f"Numbers on dark discs: the {len(inspection.pieces)} pieces seen, row by row, from the left.")
    if unnumbered:
        lines.append(f"Marks without room for their number: {unnumbered}; the table holds them.")
    return lines


def foot_lines(inspection: Inspection, version: str, run: str, unnumbered: int = 0) -> list[FootLine]:
    """The foot's paragraphs, most important first; `unnumbered` marks carry no number on the picture."""
    i = inspection
    lines = [FootLine(f"{as_name(i.shot_name)} · {flagged(len(i.candidates))}", "title")]
    if i.usable is Usable.NO:
        lines.append(FootLine(f"{TAKE_AGAIN} {i.instruction}".rstrip(), "alert"))
    elif i.instruction:
        lines.append(FootLine(f"{NEXT_SHOT} {i.instruction}", "alert"))
    if i.reasons:
        lines.append(FootLine(f"What limits this shot: {' '.join(i.reasons)}"))
    produce = f"; produce: {as_name(i.produce_name)}" if i.produce_name else ""
    unsearched = _number("unsearched_pct", 100 * i.quality.unsearched)
    hatched = ", hatched" if i.unsearched.any() else ""
    lines += [
        FootLine(f"Searched: {_SEARCHED[i.ground]}{produce}; {_LIGHT[i.lit_from]}."),
        FootLine(f"Not searched: {unsearched}% of the picture{hatched}."),
        FootLine(_limit(i)),
        FootLine(_scale(i)),
        *(FootLine(text) for text in _counts(i, unnumbered)),
        FootLine(WHO_DECIDES),
        FootLine(f"Made by speckwise {version}" + (f", run {run}." if run else ".")),
    ]
    return lines
