"""Table rows -> the results pages, as HTML text. Computes nothing: every number on a page is a cell of a table.

Pages are made from rows, never from an Inspection, so that a folder which is completed later shows the same as one that was
scored at once, and a page never differs from its table by a digit. Rows come shot by shot and are let go again, so that the memory
this takes does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from itertools import islice
from typing import Any

import jinja2
from markupsafe import Markup

from cli.batch.belonging import BLANK
from cli.pages import words
from cli.pages.glance import SHOTS_A_PAGE, Glance, ShotRows, look_over
from cli.pages.names import ShotFiles, from_page_to, link, shot_files_among, up_from
from vision.sheet import Box, Place, Sheet, lay_out, small_size
from vision.table import CANDIDATES, SHOTS, Column, unescape

SHOTS_ON_INDEX = 200
WINDOW_SHOWN_MM = 42
"""Width of the smallest crop window on the screen, in CSS mm: 6 mm of the tray, seven times as large."""
_BAR_MM = 2
_INDEX = "index.html"

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
    count: int
    crops: tuple[CropView, ...]
    sheet: Sheet

    @property
    def anchor(self) -> str:
        return f"shot-{self.place}"

    @property
    def small_size(self) -> tuple[int, int]:
        return small_size(int(self.row["width_px"]), int(self.row["height_px"]))

    @property
    def blank(self) -> bool:
        return self.row["view"] == BLANK

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


def _view(place: int, shot: ShotRows) -> ShotView:
    row = _named(SHOTS, shot.row)
    # What a person added at the desk has no crop: the sheet was cut before.
    candidates = [c for c in (_named(CANDIDATES, cells) for cells in shot.candidates) if c["found_by"] == "tool"]
    boxes = [
        Box(*(int(c[name]) for name in ("candidate", "left_px", "top_px", "wide_px", "high_px"))) for c in candidates
    ]
    sheet = lay_out(boxes, float(row["px_per_mm"]) if row["px_per_mm"] else None)
    by_number = {int(c["candidate"]): c for c in candidates}
    return ShotView(
        place=place,
        row=row,
        files=shot_files_among(shot.files),
        count=int(row["candidates"] or 0),
        crops=tuple(_crop(by_number[p.box.number], p) for p in sheet.places),
        sheet=sheet,
    )


def _totals(glance: Glance) -> list[str]:
    flagged = sum(page.flagged for page in glance.pages)
    on_blanks = sum(page.on_blanks for page in glance.pages)
    again = sum(page.again for page in glance.pages)
    not_read = sum(page.not_read for page in glance.pages)
    totals = [words.ONE_SHOT if glance.shots == 1 else words.SHOTS.format(n=glance.shots)]
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


def build_pages(shots: Callable[[], Iterable[ShotRows]], *, run: str, version: str) -> Iterator[tuple[str, str]]:
    """The pages of a run one by one: path relative to the results folder, HTML text; the caller writes them.

    `shots()` gives all shots in the order of the tables, the same each time: it is called twice. Up to 200 shots all stand on
    index.html; above that it lists them and links to pages of 50, and above 5,000 it lists the pages. It comes last, so that it
    never links to a page that was not written yet.
    """
    glance = look_over(shots())
    environment = _environment()
    many = glance.shots > SHOTS_ON_INDEX
    common: dict[str, Any] = {"run": run, "version": version, "glance": glance, "many": many}
    views = (_view(place, rows) for place, rows in enumerate(shots(), start=1))
    if many:
        yield from _inner_pages(environment, common, glance, views)
    index = environment.get_template("index.html.j2")
    yield (
        _INDEX,
        index.render(
            common, up=up_from(_INDEX), totals=_totals(glance), a_page=SHOTS_A_PAGE, shown=() if many else views
        ),
    )


def _inner_pages(
    environment: jinja2.Environment, common: Mapping[str, Any], glance: Glance, views: Iterator[ShotView]
) -> Iterator[tuple[str, str]]:
    template = environment.get_template("shots.html.j2")
    files = ["", *(page.file for page in glance.pages), ""]
    for page in glance.pages:
        before, after = files[page.number - 1], files[page.number + 1]
        text = template.render(
            common,
            up=up_from(page.file),
            page=page,
            earlier=before and from_page_to(page.file, before),
            later=after and from_page_to(page.file, after),
            shown=islice(views, SHOTS_A_PAGE),
        )
        yield page.file, text
