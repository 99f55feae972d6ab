"""What a shot belongs to: from the code on its slip, from manifest.csv, from the folders it lies in, and from how it is called.

Where two of the first three differ the field stays empty and a sentence says what each of them says: nothing is guessed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from cli.batch.sources import Claims
from vision.guides.views import VIEWS
from vision.table import Belonging

if TYPE_CHECKING:
    from calib.slip.view import SlipText

BLANK = "blank"
"""The view of the wiped tray before any produce."""
BELONGS: Mapping[str, str] = MappingProxyType(
    {
        "lot": "the lot",
        "sample": "the sample of the lot",
        "piece": "the piece of the sample",
        "view": "what of it lies before the camera, as the guides call it",
        "head": "the head or plant that the piece was taken from",
        "produce": "the kind of produce, as the guides call it",
        "preparation": "what was done to it before",
        "grams": "what the sample weighs, in grams",
        "grams_are": "raw or drained: how it was weighed",
        "supplier": "who delivered the lot",
        "delivery_photo": "the photograph of the delivery's papers",
        "checker": "who checks",
        "card": "the number of a find's card",
        "check": "the number of the check in the lot; 1 where not said",
    }
)
"""Every fact of where a shot belongs, and what it means."""
IN_TABLES = ("lot", "sample", "piece", "view")
"""Those with a column of their own in both tables."""
_ANY_CASE = ("view", "produce")
"""Compared without regard to case; the others are names, which are what they are."""


@dataclass(frozen=True)
class Belongs:
    """What a shot belongs to, as far as its sources agree."""

    belonging: Belonging
    """The fields that stand in the tables; '' where not known."""
    facts: Mapping[str, str] = field(default_factory=dict)
    """The others, as far as they are known."""
    said: tuple[str, ...] = ()
    """A sentence for each field of which two sources say different things."""

    def is_said(self, name: str) -> bool:
        """Whether any source says something of a field, be it that they contradict each other."""
        in_tables = name in IN_TABLES and getattr(self.belonging, name)
        return bool(in_tables or name in self.facts or any(said.startswith(f"{name}:") for said in self.said))


def belonging_of(shot: str, run: str, claims: Claims | None = None, code: Mapping[str, str] | None = None) -> Belongs:
    """What a shot belongs to, from its slip's `code` (as `code_says` has it), from what else is said, and from its name."""
    claims = claims or Claims()
    sources = (
        ("the code on the slip says", code or {}),
        ("manifest.csv says", claims.manifest),
        ("the folders say", claims.folders),
    )
    known: dict[str, str] = {}
    said: list[str] = []
    for name in BELONGS:
        found = [(who, _plain(texts[name])) for who, texts in sources if _plain(texts.get(name, ""))]
        if len({_compared(name, value) for _, value in found}) > 1:
            said.append(f"{name}: {', '.join(f'{who} {value}' for who, value in found)}.")
        elif found:
            known[name] = found[0][1]
        elif name == "view" and (view := view_of(shot)):
            known[name] = view
    in_tables = {name: known.pop(name, "") for name in IN_TABLES}
    return Belongs(Belonging(shot, run, **in_tables), known, tuple(said))


def code_says(text: SlipText | None) -> dict[str, str]:
    """What the code on a slip says, by field; empty where there is none."""
    if text is None:
        return {}
    said = {"lot": text.lot, "sample": text.sample, "piece": text.piece, "produce": text.produce}
    return {name: value for name, value in said.items() if value.strip()}


def folders_say(below: str) -> dict[str, str]:
    """What `lot/sample/view/` in a path relative to its PATH says; empty where the folder with the picture is named after no view."""
    folders = below.split("/")[:-1][-3:]
    view = view_named(folders[-1]) if len(folders) == 3 else ""
    return {"lot": folders[0], "sample": folders[1], "view": view} if view else {}


def view_named(word: str) -> str:
    """The view that a word is the name of, in any case and also in the plural; ''."""
    word = word.strip().lower()
    return next((view for view in VIEWS if word in (view, f"{view}s")), "")


def view_of(shot: str) -> str:
    """The view that the shot's name, or else a folder's, holds as a word of its own ('blank 2.jpg', 'lot7/water/IMG_1.jpg'); ''.

    A plural counts too ('blanks/1.jpg'). The name nearest to the picture decides.
    """
    for part in reversed(shot.split("/")):
        words = re.findall(r"[^\W\d_]+", part.lower())
        for view in VIEWS:
            if view in words or f"{view}s" in words:
                return view
    return ""


def _plain(value: str) -> str:
    return unicodedata.normalize("NFC", value).strip()


def _compared(name: str, value: str) -> str:
    return value.casefold() if name in _ANY_CASE else value
