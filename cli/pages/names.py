"""Where a shot's pictures stand in the results folder; known from its table row alone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath
from urllib.parse import quote

from vision.files import safe_stem

_PATH_NUMBER = re.compile(r"^\d+:")


@dataclass(frozen=True)
class ShotFiles:
    """Paths of one shot's pictures, relative to the results folder, with `/`."""

    annotated: str
    unmarked: str
    small: str
    crops: str


def shot_files(shot: str, sha256: str) -> ShotFiles:
    """The paths for a shot named as in shots.csv (path with `/`, perhaps after a number and a colon) and its hash."""
    base = safe_stem(PurePosixPath(_PATH_NUMBER.sub("", shot)).name, sha256)
    return ShotFiles(
        annotated=f"pictures/{base}.jpg",
        unmarked=f"pictures/{base}-unmarked.jpg",
        small=f"pages/{base}-small.jpg",
        crops=f"pages/{base}-crops.jpg",
    )


def link(path: str, up: str = "") -> str:
    """A relative path as a link; `up` is './' or '../', from the page to the results folder."""
    return up + quote(path, safe="/")
