"""A record's blocks as one HTML page that stands alone and prints in black and white. Text in, text out; words come with the blocks."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from cli.lots.blocks import Cut, Document
from vision.errors import CallError

PAPERS = {"a4": "A4", "letter": "letter"}
NO_SCALE = "The scale is not known."
NO_PICTURE = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' width='56' height='56'%3E"
    "%3Cpath d='M0 0L56 56M56 0L0 56' stroke='black'/%3E%3C/svg%3E"
)
"""Stands where a photograph's copy is not in the folder: crossed out."""
_BAR_MM = 2
_BASIS = re.compile(r'<script type="application/json" id="basis">(.*?)</script>', re.DOTALL)
_PICTURE = re.compile(r' src="data:[^"]*"')
_SECTION = re.compile(r'<section id="([a-z0-9-]+)".*?</section>', re.DOTALL)


def record_html(document: Document, picture_of: Callable[[Cut], bytes | None], paper: str = "a4") -> str:
    """The page. `picture_of` gives a cut as a JPEG, or None where its photograph is not there."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("cli.lots", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    css = resources.files("cli.lots").joinpath("templates", "record.css").read_text(encoding="utf-8")
    cuts = [cut for section in document.sections for cut in section.cuts]
    return environment.get_template("record.html.j2").render(
        document=document,
        pictures=[_source(picture_of(cut)) for cut in cuts],
        # Our own file, so its quotes and angle brackets may stand in the page as they are.
        css=Markup(css),
        paper=PAPERS[paper],
        bar_mm=_BAR_MM,
        no_scale=NO_SCALE,
    )


def _source(picture: bytes | None) -> str:
    return NO_PICTURE if picture is None else "data:image/jpeg;base64," + base64.b64encode(picture).decode("ascii")


def basis_of(page: str) -> dict[str, Any]:
    """From what a page says it was made. Raises CallError where it is none of ours."""
    found = _BASIS.search(page)
    try:
        basis = json.loads(found.group(1)) if found else None
    except (ValueError, RecursionError):
        basis = None
    if not isinstance(basis, dict):
        raise CallError("This is no record of a lot that `speckwise report` has written.")
    return basis


def what_differs(one: str, other: str) -> tuple[str, ...]:
    """Names of the sections that differ between two pages of a record, or 'pictures', or 'the rest of the page'; none where they agree."""
    if one == other:
        return ()
    bare = [_PICTURE.sub(' src=""', page) for page in (one, other)]
    if bare[0] == bare[1]:
        return ("pictures",)
    parts = [{found.group(1): found.group(0) for found in _SECTION.finditer(page)} for page in bare]
    names = list(dict.fromkeys([*parts[0], *parts[1]]))
    differing = tuple(name for name in names if parts[0].get(name) != parts[1].get(name))
    return differing or ("the rest of the page",)
