"""Where pictures and pages stand in the results folder.

A shot's pictures are named when they are made, from its name and its place among all that are taken on. Afterwards the ledger says
where they are: pages link what it recorded. No folder grows beyond what file managers and network disks bear.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath
from urllib.parse import quote

from vision.files import safe_stem

SHOTS_A_SHARD = 10_000
"""Have their pictures in one folder; those of shard 0 stand in pictures/ and pages/ themselves."""
PAGES_A_FOLDER = 200

_PATH_NUMBER = re.compile(r"^\d+:")


@dataclass(frozen=True)
class ShotFiles:
    """Paths of one shot's pictures, relative to the results folder, with `/`; '' where there is none."""

    annotated: str = ""
    unmarked: str = ""
    small: str = ""
    crops: str = ""


def shard_at(taken_on: int) -> int:
    """The shard of a shot before which `taken_on` others were taken on."""
    return taken_on // SHOTS_A_SHARD


def in_shard(path: str, shard: int) -> str:
    """Where a picture of that shard stands, from where it stood in shard 0."""
    folder, _, name = path.partition("/")
    return f"{folder}/{shard:05d}/{name}" if shard else path


def shot_files(shot: str, sha256: str) -> ShotFiles:
    """The paths in shard 0 for a shot named as in shots.csv (path with `/`, perhaps after a number and a colon) and its hash."""
    base = safe_stem(PurePosixPath(_PATH_NUMBER.sub("", shot)).name, sha256)
    return ShotFiles(
        annotated=f"pictures/{base}.jpg",
        unmarked=f"pictures/{base}-unmarked.jpg",
        small=f"pages/{base}-small.jpg",
        crops=f"pages/{base}-crops.jpg",
    )


def shot_files_among(files: Iterable[str]) -> ShotFiles:
    """Which of the paths that were recorded for one shot is which of its pictures; told by folder and ending alone."""
    found: dict[str, str] = {}
    for path in files:
        top, ending = path.partition("/")[0], path.removesuffix(".jpg").rpartition("-")[2]
        if not path.endswith(".jpg"):
            continue
        if top == "pictures":
            # An annotated picture never seems another: what stands before its .jpg is a part of the hash.
            found["unmarked" if ending == "unmarked" else "annotated"] = path
        elif top == "pages" and ending in ("small", "crops"):
            found[ending] = path
    return ShotFiles(**found)


def page_file(number: int) -> str:
    """Where the page of that number (1, 2, …) stands, whatever the number of pages.

    The first 200 stand in pages/ itself, the next in folders of 200. These are no bare numbers, as the folders of small pictures
    beside them are.
    """
    if number <= PAGES_A_FOLDER:
        return f"pages/{number:03d}.html"
    return f"pages/part-{(number - 1) // PAGES_A_FOLDER + 1:03d}/{number:05d}.html"


def up_from(page: str) -> str:
    """From a page to the results folder: './', '../' and so on."""
    return "../" * page.count("/") or "./"


def from_page_to(page: str, other: str) -> str:
    """The link from one page to another; both relative to the results folder."""
    return posixpath.relpath(other, posixpath.dirname(page) or ".")


def link(path: str, up: str = "") -> str:
    """A relative path as a link; `up` leads from the page to the results folder."""
    return up + quote(path, safe="/")
