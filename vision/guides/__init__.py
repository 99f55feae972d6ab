"""Guides: one .toml a kind of produce, and their loader.

To add one: put a file beside the others; `load_guide` checks every key. What they say is common practice without a source
unless it names one, and the supervising authority may ask for something else.
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
from vision.guides.views import VIEWS
from vision.types import Ground, LitFrom

PX_PER_MM: Mapping[str, float] = MappingProxyType({name: view.px_per_mm for name, view in VIEWS.items()})
"""What each view asks for where a guide asks for nothing else."""
_LISTS = ("insects", "look_alikes", "preparation", "look_at")


@dataclass(frozen=True)
class Guide:
    """How one kind of produce is checked."""

    name: str
    title: str
    lit_from: LitFrom
    ground: Ground
    insects: tuple[str, ...]
    look_alikes: tuple[str, ...]
    preparation: tuple[str, ...]
    look_at: tuple[str, ...]
    source: str
    digest: str
    px_per_mm: Mapping[str, float] = field(default_factory=lambda: PX_PER_MM)
    """How fine a picture each view asks for."""

    @property
    def text(self) -> tuple[str, ...]:
        """The guide as lines for a person."""
        lines = [self.title, "", f"Light from {self.lit_from}, on {self.ground}.", "", "Prepare"]
        lines += [f"  - {line}" for line in self.preparation]
        lines += ["", "Look at"] + [f"  - {line}" for line in self.look_at]
        finest = ", ".join(f"{view} {need:g}" for view, need in self.px_per_mm.items())
        lines += ["", f"Pixels in a millimetre, at least: {finest}."]
        lines += ["", f"Expect: {', '.join(self.insects)}.", f"Easily mistaken: {', '.join(self.look_alikes)}."]
        lines += ["", f"Source: {self.source}. Your supervising authority's rule goes before this page."]
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
    wanted = {"title", "lit_from", "ground", "source", *_LISTS}
    if wrong := sorted(wanted ^ set(values)):
        raise GuideError(f"The guide {name!r} lacks or does not know: {', '.join(wrong)}.")
    return Guide(
        name=name,
        title=_text(name, "title", values["title"]),
        lit_from=_one_of(name, "lit_from", LitFrom, values["lit_from"]),
        ground=_one_of(name, "ground", Ground, values["ground"]),
        source=_text(name, "source", values["source"]),
        digest=hashlib.sha256(data).hexdigest(),
        px_per_mm=_needs(name, asked),
        **{key: _texts(name, key, values[key]) for key in _LISTS},
    )


def _needs(name: str, asked: Any) -> Mapping[str, float]:
    """What every view asks for, with the guide's own figures where it has some."""
    if not isinstance(asked, dict):
        raise GuideError(f"In the guide {name!r}, px_per_mm must be a table of views.")
    for view, need in asked.items():
        number = isinstance(need, (int, float)) and not isinstance(need, bool)
        if view not in VIEWS or not number or not 1 <= need <= 400:
            known = ", ".join(VIEWS)
            raise GuideError(
                f"In the guide {name!r}, px_per_mm.{view} must be a view ({known}) with a number from 1 to 400."
            )
    return MappingProxyType({**PX_PER_MM, **{view: float(need) for view, need in asked.items()}})


def _text(name: str, key: str, value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise GuideError(f"In the guide {name!r}, {key} must be a text.")
    return value


def _texts(name: str, key: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise GuideError(f"In the guide {name!r}, {key} must be a list of texts.")
    return tuple(_text(name, key, v) for v in value)


def _one_of(name: str, key: str, kind: Any, value: Any) -> Any:
    try:
        return kind(value)
    except ValueError as error:
        allowed = ", ".join(str(k) for k in kind)
        raise GuideError(f"In the guide {name!r}, {key} must be one of: {allowed}.") from error
