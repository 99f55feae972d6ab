"""The page for a screen beside the panel: what became of the photograph just taken, in letters readable from a metre away."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import jinja2
from markupsafe import Markup

from cli.pages import words
from vision.words import WHO_DECIDES

_NAME_CHARACTERS = 40
"""A longer name is cut in its middle: what tells shots apart stands at its end."""
_LONG_CHARACTERS = 90
"""From here on an instruction is set in smaller letters, so that all of it is on the screen."""


class Kind(StrEnum):
    """What becomes of a shot; each has a border of its own."""

    KEEP = "keep"
    AGAIN = "again"
    UNREAD = "unread"
    TWIN = "twin"


@dataclass(frozen=True)
class Shown:
    """One shot as it is told of; all texts are whole sentences, but for the verdict, which is a heading."""

    at: str
    name: str
    kind: Kind
    verdict: str
    change: str = ""
    """The one thing to change, or what is wrong."""
    flags: str = ""
    limits: str = ""


@dataclass(frozen=True)
class Counted:
    """Of all shots since watching began."""

    shots: int
    flags: int
    """Without those on blank panels."""
    kept: int
    """How many shots stood in the folder from before."""


def build_now(latest: tuple[Shown, ...], counted: Counted, busy: bool, ended: bool, at: datetime) -> str:
    """The page as HTML text; `latest` begins with the newest. Open in a browser, it keeps itself new.

    While another one is `busy` it says so: a verdict that still stands there must not be taken for that of the photograph just taken.
    """
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("cli.pages", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["short"] = short
    # Our own files, so that their quotes and angle brackets may stand in the page as they are.
    css, script = (Markup(environment.get_template(name).render()) for name in ("now.css", "now.js"))
    return environment.get_template("now.html.j2").render(
        newest=latest[0] if latest else None,
        before=latest[1:],
        counted=counted,
        busy=busy,
        ended=ended,
        clock=at.strftime("%H:%M:%S"),
        written_ms=int(at.timestamp() * 1000),
        long_characters=_LONG_CHARACTERS,
        w=words,
        css=css,
        script=script,
        decides=WHO_DECIDES,
    )


def short(name: str) -> str:
    """A name that is not too long for the screen, cut between whole signs."""
    if len(name) <= _NAME_CHARACTERS:
        return name
    start, end = _NAME_CHARACTERS // 3, len(name) - 2 * _NAME_CHARACTERS // 3
    while start > 1 and _leans_back(name[start]):
        start -= 1
    while end < len(name) - 1 and _leans_back(name[end]):
        end += 1
    return f"{name[:start]}…{name[end:]}"


def _leans_back(character: str) -> bool:
    return unicodedata.category(character).startswith("M") or character == "\u200d"
