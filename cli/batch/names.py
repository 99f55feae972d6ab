"""The names of photographs in a folder and below it, listed again and again: has any come or gone?

That is quick, for it asks after no file. What they are to be called is another matter, in `folder.py`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from cli.batch.folder import PICTURE_ENDINGS
from cli.batch.standing import is_output_folder


class Changed(Enum):
    """What has changed since the last look."""

    NOTHING = "nothing"
    NAMES = "names"
    DISK = "disk"
    """The folder is on another disk or share: one has been taken away, or has come back."""


@dataclass(frozen=True)
class _Listed:
    """One folder: all names in it as the system lists them, those that count, and the folders among these."""

    all: tuple[str, ...]
    kept: frozenset[str]
    folders: tuple[str, ...]
    trouble: str = ""


class Names:
    """A folder and all below it, but for output folders."""

    def __init__(self, root: Path, out: Path) -> None:
        self._root, self._out = os.fspath(root), out
        self._disk: int | None = None
        self._listed: dict[str, _Listed] = {}

    def look(self) -> Changed:
        """Raises OSError where the folder itself can't be listed."""
        disk = _disk_of(self._root)
        listed = self._list()
        before, self._listed = self._listed, listed
        disk_before, self._disk = self._disk, disk
        if disk_before not in (None, disk):
            return Changed.DISK
        return Changed.NOTHING if _what_counts(listed) == _what_counts(before) else Changed.NAMES

    @property
    def troubles(self) -> int:
        """How many folders below it could not be listed."""
        return sum(bool(each.trouble) for each in self._listed.values())

    def _list(self) -> dict[str, _Listed]:
        listed: dict[str, _Listed] = {}
        entered = {os.path.realpath(self._out)}
        folders = [self._root]
        while folders:
            folder = folders.pop()
            real = os.path.realpath(folder)
            if real in entered or (folder != self._root and is_output_folder(Path(real))):
                continue
            entered.add(real)
            try:
                listed[folder] = _list(folder, self._listed.get(folder))
            except OSError as error:
                if folder == self._root:
                    raise
                listed[folder] = _Listed((), frozenset(), (), str(error.strerror))
            folders += listed[folder].folders
        return listed


def _disk_of(folder: str) -> int:
    return os.stat(folder).st_dev


def _what_counts(listed: dict[str, _Listed]) -> dict[str, tuple[frozenset[str], str]]:
    return {at: (each.kept, each.trouble) for at, each in listed.items()}


def _list(folder: str, before: _Listed | None) -> _Listed:
    with os.scandir(folder) as entries:
        found = list(entries)
    names = tuple(entry.name for entry in found)
    if before is not None and before.all == names:
        return before
    folders = tuple(entry.path for entry in found if entry.name[0] != "." and _is_folder(entry))
    pictures = (name for name in names if name[0] != "." and name.lower().endswith(PICTURE_ENDINGS))
    return _Listed(names, frozenset(pictures) | frozenset(folders), folders)


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
