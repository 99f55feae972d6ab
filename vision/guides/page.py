"""A guide as one printed page, in the order in which a checker works.

What every page says beside the guide's own words is here; it is common practice without a source.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from vision.guides.entries import REMOVED, Expected, Unit
from vision.guides.views import BLANK, VIEWS
from vision.types import Ground
from vision.words import WHO_DECIDES

if TYPE_CHECKING:
    from vision.guides import Guide

COLUMNS = 100
"""Characters that a line holds at most."""
_MARGIN = 13
ASK = "An insect found in an oven or a pot: ask your authority."
CAUTIONS = (
    "Hot water, steam and freshly heated produce scald; let pieces cool until hand-warm.",
    "Insect and mite protein can matter to people with shellfish or dust-mite allergy. The results are no allergen statement.",
    "Use a sealed low-voltage panel near water, and no glass over food.",
)
_UNIT = {
    Unit.EVERY_PIECE: "Every piece is looked at.",
    Unit.DRAWN_SAMPLE: "A drawn sample is looked at: it says nothing of any one piece that was not drawn.",
}
_ON = {Ground.PANEL: "on the panel", Ground.WATER: "in water", Ground.CLOTH: "on a cloth"}
_FOUND = (
    f"Put the piece aside; lay the find on its card with a wet brush: shot `card`, {VIEWS['card'].px_per_mm:g} px/mm.",
    "Look through a loupe, then answer its flag: which insect, whole or in parts, how many.",
    "Whatever else may be alive, named here or not, is a find too.",
)
_RULE = "Your supervising authority may ask for something else: its rule goes before this page."


def page(guide: Guide) -> tuple[str, ...]:
    """The guide's page: lines of at most COLUMNS characters."""
    sources = list(dict.fromkeys(each.source for each in guide.expect))
    parts = (
        ("First", _first(guide)),
        ("Prepare", guide.preparation),
        ("Look at", [f"{count}. {line}" for count, line in enumerate(guide.look_at, start=1)]),
        ("Shots", _shots(guide)),
        ("Expect", _expected(guide.expect, sources)),
        ("Looks alike", ["; ".join(each.name for each in guide.mistaken) + "."]),
        ("Removed", _removed(guide)),
        ("On a find", [*_FOUND, *([ASK] if guide.heats else [])]),
        ("Figures", [" ".join(f"[{count}] {source}." for count, source in enumerate(sources, start=1))]),
        ("Cautions", CAUTIONS),
        ("Who decides", [WHO_DECIDES, _RULE, f"All but the figures: {guide.source}."]),
    )
    lines = textwrap.wrap(f"{guide.title}: how it is looked at", COLUMNS)
    for head, items in parts:
        lines += ["", *_part(head, items)]
    return tuple(lines)


def _part(head: str, items: Iterable[str]) -> list[str]:
    """The head in the margin, the items beside it, each from a new line on."""
    beside = [line for item in items for line in textwrap.wrap(item, COLUMNS - _MARGIN, subsequent_indent="  ")]
    return [f"{head if at == 0 else '':{_MARGIN}}{line}" for at, line in enumerate(beside)]


def _first(guide: Guide) -> list[str]:
    blank = "Wipe the tray, fill in fresh water, shoot the blank. " if BLANK in guide.sample else ""
    return [_UNIT[guide.unit], *guide.before, f"{blank}Lay the slip into every shot."]


def _shots(guide: Guide) -> list[str]:
    """A table of the views, and what a shot is taken for whose name says none."""
    views = dict.fromkeys([*guide.views, *([guide.removes.shot] if guide.removes.what else [])])
    rows = [("word", "for", "light", "px/mm", "what lies there"), *(_shot(guide, view) for view in views)]
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)][:-1]
    lines = ["  ".join([*(f"{cell:{w}}" for cell, w in zip(row, wide, strict=False)), row[-1]]) for row in rows]
    return [
        *lines,
        f"The word: in the name of file or folder. Without one: {_ON[guide.ground]}, lit from {guide.lit_from}.",
    ]


def _shot(guide: Guide, view: str) -> tuple[str, str, str, str, str]:
    return view, _counts_for(guide, view), VIEWS[view].lit_from or "", f"{guide.px_per_mm[view]:g}", VIEWS[view].shows


def _counts_for(guide: Guide, view: str) -> str:
    if view == BLANK:
        return "lot, first"
    if view in guide.faces:
        return "each piece"
    if view in guide.sample:
        return "sample"
    return "came off" if view == guide.removes.shot else "adds"


def _expected(expect: Iterable[Expected], sources: Sequence[str]) -> list[str]:
    """One item for each insect and size: its looks in each state, and the numbers of their sources."""
    looks: dict[str, dict[str, list[str]]] = {}
    for each in expect:
        size = _span(each.length_mm) + (f" x {_span(each.width_mm)}" if each.width_mm else "") + " mm"
        look = f"{each.colour} [{sources.index(each.source) + 1}]"
        looks.setdefault(f"{each.name}, {size}, {each.shape}", {}).setdefault(look, []).append(each.after)
    return [
        f"{what}; " + "; ".join(f"{' or '.join(after)}: {look}" for look, after in said.items())
        for what, said in looks.items()
    ]


def _span(span: tuple[float, float]) -> str:
    return f"{span[0]:g}-{span[1]:g}"


def _removed(guide: Guide) -> list[str]:
    if not guide.removes.what:
        return ["Nothing."]
    return [
        f"Not looked at any more: {'; '.join(guide.removes.what)}.",
        f"Log `{REMOVED}`: an outcome, not a finding of none. Shoot what came off: `{guide.removes.shot}`.",
    ]
