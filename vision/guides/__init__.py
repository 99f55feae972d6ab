"""Guides: one .toml a kind of produce, and their loader.

To add one: put a file beside the others; `load_guide` checks every key. To add a key: add a line in entries.py. What they say is
common practice without a source unless it names one, and the supervising authority may ask for something else.

A guide says what to expect, and so moves the order of a list and the names in it. What is listed is decided without it. What it asks of
each piece and of the sample (`faces`, `sample`) is compared with the shots in checklist.py.

A user's own guides are read by cli/guides.py and come through `parse_guide`, too; here only those that ship are known.
"""

from __future__ import annotations

import hashlib
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources
from types import MappingProxyType
from typing import Any

from vision.errors import GuideError
from vision.guides.entries import HEATED, KEYS, OPTIONAL, Expected, Mistaken, Removes, Unit
from vision.guides.page import page
from vision.guides.views import VIEWS
from vision.types import Ground, LitFrom

PX_PER_MM: Mapping[str, float] = MappingProxyType({name: view.px_per_mm for name, view in VIEWS.items()})
"""What each view asks for where a guide asks for nothing else."""


@dataclass(frozen=True)
class Guide:
    """How one kind of produce is checked."""

    name: str
    title: str
    unit: Unit
    lit_from: LitFrom
    ground: Ground
    before: tuple[str, ...]
    expect: tuple[Expected, ...]
    mistaken: tuple[Mistaken, ...]
    removes: Removes
    preparation: tuple[str, ...]
    look_at: tuple[str, ...]
    views: tuple[str, ...]
    """Keys of VIEWS, in the order in which they are taken. Those in neither `faces` nor `sample` add to the look."""
    faces: tuple[str, ...]
    """The views that each piece needs before it counts as looked at."""
    sample: tuple[str, ...]
    """The views that are needed of the sample as a whole."""
    source: str
    digest: str
    px_per_mm: Mapping[str, float] = field(default_factory=lambda: dict(PX_PER_MM))
    """How fine a picture each view asks for. A plain dict: a guide is pickled for the processes that score."""

    @property
    def expected_kinds(self) -> frozenset[str]:
        """What the ranker calls the insects to expect."""
        return frozenset(each.kind for each in self.expect)

    @property
    def mistaken_kinds(self) -> frozenset[str]:
        """What the ranker calls the things that are easily taken for insects."""
        return frozenset(kind for each in self.mistaken for kind in each.kinds)

    @property
    def heats(self) -> bool:
        """Whether its produce is heated: it then says how an insect looks after that."""
        return any(each.after == HEATED for each in self.expect)

    @property
    def text(self) -> tuple[str, ...]:
        """The guide as the lines of one page for a person."""
        return page(self)


def guide_names() -> tuple[str, ...]:
    """Names of the guides that come with the program, sorted."""
    files = resources.files("vision.guides").iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml")))


def load_guide(name: str) -> Guide:
    """The guide of that name that comes with the program. Raises GuideError with the known names where there is none."""
    if name not in guide_names():
        raise GuideError(f"There is no guide called {name!r}. There are: {', '.join(guide_names())}.")
    return parse_guide(name, resources.files("vision.guides").joinpath(f"{name}.toml").read_bytes())


def guide_called(said: str, own: Mapping[str, Guide]) -> Guide | None:
    """The guide that a person means by `said`, such as 'Leafy greens' on a slip: one of ours, or else of their `own`, by name."""
    name = unicodedata.normalize("NFC", said).strip().lower().replace(" ", "_")
    return load_guide(name) if name in guide_names() else own.get(name)


def parse_guide(name: str, data: bytes) -> Guide:
    """A guide from its file's bytes. Raises GuideError with a sentence that names the key that is wrong."""
    try:
        values = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:  # not UTF-8, not TOML, a number too long to read, tables too deep
        raise GuideError(f"The guide {name!r} is not TOML: {error}.") from error
    if missing := [key for key in KEYS if key not in values and key not in OPTIONAL]:
        raise GuideError(f"The guide {name!r} lacks: {', '.join(missing)}.")
    if unknown := sorted(set(values) - set(KEYS)):
        raise GuideError(f"The guide {name!r} has keys that are not known: {', '.join(map(repr, unknown))}.")
    read: dict[str, Any] = {key: KEYS[key](f"the guide {name!r}, {key}", value) for key, value in values.items()}
    read["px_per_mm"] = {**PX_PER_MM, **read.get("px_per_mm", {})}
    guide = Guide(name=name, digest=hashlib.sha256(data).hexdigest(), **read)
    if wrong := _contradiction(guide):
        raise GuideError(f"In the guide {name!r}, {wrong}.")
    return guide


def _contradiction(guide: Guide) -> str:
    """What its keys say against each other; ''."""
    for key, asked in (("faces", guide.faces), ("sample", guide.sample)):
        if left_out := [view for view in asked if view not in guide.views]:
            return f"{key} asks for {left_out[0]!r}, which views does not name"
    if twice := [view for view in guide.faces if view in guide.sample]:
        return f"{twice[0]!r} is asked both of each piece (faces) and of the sample"
    if not guide.faces and not guide.sample:
        return "faces and sample are both empty: nothing would have to be looked at"
    if left_out := [view for view in guide.removes.instead_of if view not in guide.faces]:
        return f"removes.instead_of names {left_out[0]!r}, which is none of its faces"
    return ""
