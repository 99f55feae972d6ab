"""Table rows -> the results pages, as HTML text. Computes nothing: every number on a page is a cell of a table.

Pages are made from rows, never from an Inspection, so that a folder which is completed later shows the same as one that was
scored at once, and a page never differs from its table by a digit.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from cli.batch.belonging import BLANK
from cli.pages import words
from cli.pages.names import ShotFiles, link, shot_files
from vision.sheet import Box, Place, Sheet, lay_out, small_size
from vision.table import CANDIDATES, SHOTS, Column, unescape

SHOTS_ON_INDEX = 200
SHOTS_A_PAGE = 50
WINDOW_SHOWN_MM = 42
"""Width of the smallest crop window on the screen, in CSS mm: 6 mm of the tray, seven times as large."""
_BAR_MM = 2

Row = Mapping[str, str]


@dataclass(frozen=True)
class CropView:
    """One crop as the template draws it; lengths in CSS mm."""

    row: Row
    wide: int
    high: int
    shift_left: int
    shift_up: int
    whole: bool
    uncertainty: str


@dataclass(frozen=True)
class ShotView:
    """One shot as the template draws it."""

    place: int
    row: Row
    files: ShotFiles
    there: frozenset[str]
    count: int
    crops: tuple[CropView, ...]
    sheet: Sheet

    @property
    def anchor(self) -> str:
        return f"shot-{self.place}"

    @property
    def page(self) -> int:
        return (self.place - 1) // SHOTS_A_PAGE + 1

    @property
    def small_size(self) -> tuple[int, int]:
        return small_size(int(self.row["width_px"]), int(self.row["height_px"]))

    @property
    def blank(self) -> bool:
        return self.row["view"] == BLANK

    @property
    def first_sentence(self) -> str:
        """What to change first, of a shot that should be taken again."""
        return self.row["reasons"].split(". ")[0].removesuffix(".") + "."

    @property
    def take_again(self) -> bool:
        return self.row["usable"] == "no"


def _named(columns: Sequence[Column], row: Sequence[str]) -> Row:
    return {c.name: unescape(cell) if c.kind == "text" else cell for c, cell in zip(columns, row, strict=True)}


def _crop(row: Row, place: Place) -> CropView:
    uncertainty = row["size_uncertainty"]
    return CropView(
        row=row,
        wide=place.across * WINDOW_SHOWN_MM,
        high=place.down * WINDOW_SHOWN_MM,
        shift_left=place.x * WINDOW_SHOWN_MM,
        shift_up=place.y * WINDOW_SHOWN_MM,
        whole=place.whole,
        uncertainty=f"{100 * float(uncertainty):.0f}" if uncertainty else "",
    )


def _shot(place: int, row: Row, candidates: Sequence[Row], files: Collection[str]) -> ShotView:
    boxes = [
        Box(*(int(c[name]) for name in ("candidate", "left_px", "top_px", "wide_px", "high_px"))) for c in candidates
    ]
    sheet = lay_out(boxes, float(row["px_per_mm"]) if row["px_per_mm"] else None)
    by_number = {int(c["candidate"]): c for c in candidates}
    paths = shot_files(row["shot"], row["shot_sha256"])
    return ShotView(
        place=place,
        row=row,
        files=paths,
        there=frozenset({paths.annotated, paths.unmarked, paths.small, paths.crops}.intersection(files)),
        count=int(row["candidates"] or 0),
        crops=tuple(_crop(by_number[p.box.number], p) for p in sheet.places),
        sheet=sheet,
    )


def _views(
    shots: Sequence[Sequence[str]], candidates: Sequence[Sequence[str]], files: Collection[str]
) -> list[ShotView]:
    of_shot: dict[tuple[str, str], list[Row]] = {}
    for cells in candidates:
        row = _named(CANDIDATES, cells)
        # What a person added at the desk has no crop: the sheet was cut before.
        if row["found_by"] == "tool":
            of_shot.setdefault((row["shot"], row["shot_sha256"]), []).append(row)
    rows = [_named(SHOTS, cells) for cells in shots]
    known = frozenset(files)
    return [
        _shot(k, row, of_shot.get((row["shot"], row["shot_sha256"]), []), known) for k, row in enumerate(rows, start=1)
    ]


def _totals(views: Sequence[ShotView]) -> list[str]:
    flagged = sum(view.count for view in views if not view.blank)
    on_blanks = sum(view.count for view in views if view.blank)
    again = sum(view.take_again for view in views)
    not_read = sum(bool(view.row["error"]) for view in views)
    totals = [words.ONE_SHOT if len(views) == 1 else words.SHOTS.format(n=len(views))]
    totals.append(words.FLAGGED_IN_ALL.format(n=flagged) if flagged else words.NONE_IN_ALL)
    totals += [words.ON_BLANKS_IN_ALL.format(n=on_blanks)] if on_blanks else []
    totals += [words.AGAIN_IN_ALL.format(n=again)] if again else []
    totals += [words.NOT_READ_IN_ALL.format(n=not_read)] if not_read else []
    return totals


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("cli.pages", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    css = resources.files("cli.pages").joinpath("templates", "page.css").read_text(encoding="utf-8")
    # Our own file, so its quotes and angle brackets may stand in the page as they are.
    environment.globals.update(w=words, link=link, css=Markup(css), shown_mm=WINDOW_SHOWN_MM, bar_mm=_BAR_MM)
    return environment


def build_pages(
    shots: Sequence[Sequence[str]],
    candidates: Sequence[Sequence[str]],
    *,
    run: str,
    version: str,
    files: Collection[str],
) -> dict[str, str]:
    """The pages of a run: path relative to the results folder -> HTML text; the caller writes them.

    `shots` and `candidates` are rows of cells in the order of table.SHOTS and table.CANDIDATES, as `shot_row` and
    `candidate_rows` make them or `from_csv` reads them. `files` are the pictures that stand in the folder (paths as `shot_files`
    gives them); others are not linked. Up to 200 shots all stand on index.html; above that it lists them and links to pages of 50.
    """
    views = _views(shots, candidates, files)
    environment = _environment()
    many = len(views) > SHOTS_ON_INDEX
    common: dict[str, Any] = {
        "run": run,
        "version": version,
        "all": views,
        "many": many,
        "totals": _totals(views),
    }
    index = environment.get_template("index.html.j2")
    pages = {"index.html": index.render(common, up="./", shown=() if many else views)}
    if many:
        template = environment.get_template("shots.html.j2")
        last = views[-1].page
        for number in range(1, last + 1):
            shown = [v for v in views if v.page == number]
            pages[f"pages/{number:03d}.html"] = template.render(
                common, up="../", shown=shown, number=number, last_number=last
            )
    return pages
