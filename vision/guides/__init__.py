"""Guides: one .toml a kind of produce, and their loader.

To add one: put a file beside the others; `load_guide` checks every key. What they say is common practice without a source
unless it names one, and the supervising authority may ask for something else.
"""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

from vision.errors import GuideError
from vision.types import Ground, LitFrom

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

    @property
    def text(self) -> tuple[str, ...]:
        """The guide as lines for a person."""
        lines = [self.title, "", f"Light from {self.lit_from}, on {self.ground}.", "", "Prepare"]
        lines += [f"  - {line}" for line in self.preparation]
        lines += ["", "Look at"] + [f"  - {line}" for line in self.look_at]
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
        **{key: _texts(name, key, values[key]) for key in _LISTS},
    )


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
