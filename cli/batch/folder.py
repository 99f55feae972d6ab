"""Which pictures a call means: files and folders -> sources, each with the name its shot has in the tables."""

from __future__ import annotations

import errno
import os
import stat
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from cli.batch.standing import is_output_folder
from vision.errors import CallError
from vision.kinds import ENDINGS

PICTURE_ENDINGS = tuple(dict.fromkeys(ending for endings in ENDINGS.values() for ending in endings))
"""What is taken from a folder, in any case of letters; a file that is named itself is tried whatever its ending."""


@dataclass(frozen=True)
class Source:
    """One file to score, and what its shot is called."""

    path: Path
    shot: str
    """Path relative to the PATH that brought it, with `/`, NFC; after that PATH's number and a colon when several were given."""


def find_sources(paths: Sequence[Path], out: Path) -> tuple[Source, ...]:
    """Every picture in `paths`, each file once, sorted by shot; nothing that lies in the output folder `out` or in another one.

    Raises CallError when a PATH does not exist or can't be listed, and when there is no picture at all.
    """
    taken: dict[str, Source] = {}
    reached: set[str] = set()
    for number, root in enumerate(paths, start=1):
        prefix = f"{number}:" if len(paths) > 1 else ""
        for path, name in _pictures(root, out):
            real = os.path.realpath(path)
            if real not in reached:
                reached.add(real)
                shot = _free_name(prefix + name, taken)
                taken[shot] = Source(path, shot)
    if not taken:
        places = ", ".join(shot_text(os.fspath(path)) for path in paths)
        raise CallError(f"No picture was found in {places}. Looked for {', '.join(PICTURE_ENDINGS)}.")
    return tuple(taken[shot] for shot in sorted(taken))


def shot_text(name: str) -> str:
    """A file name as text: NFC, and bytes that are not UTF-8 written as \\xNN, since a table can't hold them."""
    readable = name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return unicodedata.normalize("NFC", readable)


def _free_name(name: str, taken: dict[str, Source]) -> str:
    # Two names on disk can be one in NFC, or one once bytes are written out; neither picture may push the other away.
    free, number = name, 1
    while free in taken:
        number += 1
        free = f"{name}~{number}"
    return free


def _pictures(root: Path, out: Path) -> Iterator[tuple[Path, str]]:
    try:
        mode = root.stat().st_mode
    except OSError as error:
        raise CallError(f"{shot_text(os.fspath(root))} can't be found: {error.strerror}.") from error
    if stat.S_ISREG(mode):
        return iter([(root, shot_text(root.name))])
    if not stat.S_ISDIR(mode):
        raise CallError(f"{shot_text(os.fspath(root))} is neither a file nor a folder.")
    if os.path.realpath(root) == os.path.realpath(out):
        raise CallError(f"The photographs are in {shot_text(os.fspath(root))} itself: give another folder for --out.")
    return _pictures_below(root, out)


def _pictures_below(root: Path, out: Path) -> Iterator[tuple[Path, str]]:
    entered = {os.path.realpath(root), os.path.realpath(out)}

    def is_new(folder: str) -> bool:
        # A link may lead back up; a folder is entered once, whichever way it is reached.
        real = os.path.realpath(folder)
        if real in entered or is_output_folder(Path(real)):
            return False
        entered.add(real)
        return True

    def refuse(error: OSError) -> None:
        raise CallError(f"The folder {shot_text(str(error.filename))} can't be listed: {error.strerror}.") from error

    for folder, below, names in os.walk(root, followlinks=True, onerror=refuse):
        below[:] = [name for name in sorted(below) if name[0] != "." and is_new(os.path.join(folder, name))]
        for name in sorted(names):
            path = Path(folder, name)
            if name[0] != "." and name.lower().endswith(PICTURE_ENDINGS) and _may_be_picture(path):
                yield path, shot_text(path.relative_to(root).as_posix())


def _may_be_picture(path: Path) -> bool:
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except OSError as error:
        # A link to a picture that is away is told of as a shot that can't be read; a link to itself leads nowhere.
        return error.errno != errno.ELOOP
