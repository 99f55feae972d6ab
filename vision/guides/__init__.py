"""Guides: one .toml a kind of produce, and their loader.

To add one: put a file beside the others; `load_guide` checks every key. To add a key of an entry: add a line in entries.py. What they
say is common practice without a source unless it names one, and the supervising authority may ask for something else.

A guide says what to expect, and so moves the order of a list and the names in it. What is listed is decided without it.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources
from types import MappingProxyType
from typing import Any

from vision.errors import GuideError
from vision.guides.entries import EXPECTED, MISTAKEN, Expected, Mistaken, entries, number, one_of, some_of, text, texts
from vision.guides.views import VIEWS
from vision.types import Ground, LitFrom

PX_PER_MM: Mapping[str, float] = MappingProxyType({name: view.px_per_mm for name, view in VIEWS.items()})
"""What each view asks for where a guide asks for nothing else."""
_KEYS = {"title", "lit_from", "ground", "preparation", "look_at", "views", "expect", "mistaken", "source"}


@dataclass(frozen=True)
class Guide:
    """How one kind of produce is checked."""

    name: str
    title: str
    lit_from: LitFrom
    ground: Ground
    expect: tuple[Expected, ...]
    mistaken: tuple[Mistaken, ...]
    preparation: tuple[str, ...]
    look_at: tuple[str, ...]
    views: tuple[str, ...]
    """Keys of VIEWS, in the order in which they are taken."""
    source: str
    digest: str
    px_per_mm: Mapping[str, float] = field(default_factory=lambda: PX_PER_MM)
    """How fine a picture each view asks for."""

    @property
    def expected_kinds(self) -> frozenset[str]:
        """What the ranker calls the insects to expect."""
        return frozenset(each.kind for each in self.expect)

    @property
    def mistaken_kinds(self) -> frozenset[str]:
        """What the ranker calls the things that are easily taken for insects."""
        return frozenset(kind for each in self.mistaken for kind in each.kinds)

    @property
    def text(self) -> tuple[str, ...]:
        """The guide as lines for a person."""
        sources = list(dict.fromkeys(each.source for each in self.expect))
        finest = ", ".join(f"{view} {self.px_per_mm[view]:g}" for view in self.views)
        parts = (
            ("Prepare", self.preparation),
            ("Look at", self.look_at),
            ("Expect", [f"{each.line} [{sources.index(each.source) + 1}]" for each in self.expect]),
            ("Easily mistaken", [each.name for each in self.mistaken]),
        )
        lines = [self.title, "", f"Light from {self.lit_from}, on {self.ground}."]
        for head, items in parts:
            lines += ["", head, *(f"  - {item}" for item in items)]
        lines += ["", f"Shots, and pixels in a millimetre at least: {finest}."]
        lines += ["", "Figures"] + [f"  [{count}] {source}." for count, source in enumerate(sources, start=1)]
        lines += ["", f"All else: {self.source}. Whatever else may be alive, named here or not, is a find too."]
        lines += ["Your supervising authority's rule goes before this page."]
        return tuple(lines)


def guide_names() -> tuple[str, ...]:
    """Names of the guides that come with the program, sorted."""
    files = resources.files("vision.guides").iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml")))


def load_guide(name: str) -> Guide:
    """The guide of that name. Raises GuideError with the known names where there is none."""
    if name not in guide_names():
        raise GuideError(f"There is no guide called {name!r}. There are: {', '.join(guide_names())}.")
    return parse_guide(name, resources.files("vision.guides").joinpath(f"{name}.toml").read_bytes())


def parse_guide(name: str, data: bytes) -> Guide:
    """A guide from its file's bytes. Raises GuideError with a sentence that names the key that is wrong."""
    try:
        values = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise GuideError(f"The guide {name!r} is not TOML: {error}.") from error
    asked = values.pop("px_per_mm", {})
    if wrong := sorted(_KEYS ^ set(values)):
        raise GuideError(f"The guide {name!r} lacks or does not know: {', '.join(wrong)}.")

    def at(key: str) -> tuple[str, Any]:
        return f"the guide {name!r}, {key}", values[key]

    return Guide(
        name=name,
        title=text(*at("title")),
        lit_from=LitFrom(one_of(*LitFrom)(*at("lit_from"))),
        ground=Ground(one_of(*Ground)(*at("ground"))),
        expect=tuple(Expected(**entry) for entry in entries(*at("expect"), EXPECTED)),
        mistaken=tuple(Mistaken(**entry) for entry in entries(*at("mistaken"), MISTAKEN)),
        preparation=texts(*at("preparation")),
        look_at=texts(*at("look_at")),
        views=some_of(*VIEWS)(*at("views")),
        source=text(*at("source")),
        digest=hashlib.sha256(data).hexdigest(),
        px_per_mm=_needs(name, asked),
    )


def _needs(name: str, asked: Any) -> Mapping[str, float]:
    """What every view asks for, with the guide's own figures where it has some."""
    if not isinstance(asked, dict):
        raise GuideError(f"In the guide {name!r}, px_per_mm must be a table of views.")
    if unknown := sorted(set(asked) - set(VIEWS)):
        raise GuideError(
            f"In the guide {name!r}, px_per_mm does not know the view {unknown[0]!r}; there are: {', '.join(VIEWS)}."
        )
    own = {view: number(f"the guide {name!r}, px_per_mm.{view}", need, 1, 400) for view, need in asked.items()}
    return MappingProxyType({**PX_PER_MM, **own})
