"""A guide with the least that it may hold, as values and as a file."""

from __future__ import annotations

import json
import tomllib
from typing import Any

LEAST = b"""
title = "Leek"
unit = "every piece"
lit_from = "below"
ground = "panel"
views = ["layers", "peelings"]
faces = ["layers"]
sample = []
before = ["Take thin ones."]
preparation = ["Slit it."]
look_at = ["Between the layers."]
source = "common practice, no source"
[removes]
what = []
shot = "peelings"
instead_of = []
[[expect]]
kind = "thrips"
name = "onion thrips"
after = "raw"
length_mm = [0.8, 1.2]
colour = "grey"
shape = "linear"
source = "from memory"
[[mistaken]]
name = "soil"
"""


def least(**other: Any) -> dict[str, Any]:
    """The values of LEAST with some others in their place."""
    return {**tomllib.loads(LEAST.decode()), **other}


def as_toml(values: dict[str, Any]) -> bytes:
    """Values as a guide's file."""
    return "".join(f"{key} = {_toml(value)}\n" for key, value in values.items()).encode()


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)  # texts, numbers and truth are written alike in JSON and TOML
