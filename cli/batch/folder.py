"""Which pictures a call means: files, folders and addresses -> sources, each with the name its shot has in the tables.

Nothing is gathered first: a source is given as soon as it is found, in the order of the names.
"""

from __future__ import annotations

import errno
import hashlib
import itertools
import os
import stat
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path

from cli.batch.addresses import NotListed, RemoteFile, find_at, is_address, local_path, shown
from cli.batch.sources import LocalFile, Place, Source
from cli.batch.standing import is_output_folder
from cli.words import printable
from vision.errors import CallError
from vision.kinds import ENDINGS

PICTURE_ENDINGS = tuple(dict.fromkeys(ending for endings in ENDINGS.values() for ending in endings))
"""What is taken from a folder, in any case of letters; a file that is named itself is tried whatever its ending."""

Say = Callable[[str], None]


def find_sources(paths: Sequence[str | Path], out: Path, unlisted: Say) -> Iterator[Source]:
    """Every picture in `paths`, each file once; nothing that lies in the output folder `out` or in another one.

    Given as they are found, those of one PATH sorted by name. Raises CallError, before the first is given, when a PATH does not
    exist or can't be listed, and when there is no picture at all. `unlisted` is told, in a sentence, of every folder below that
    can't be looked into.
    """
    found = _find([os.fspath(path) for path in paths], out, unlisted)
    first = next(found, None)
    if first is None:
        places = ", ".join(shown_path(os.fspath(path)) for path in paths)
        raise CallError(f"No picture was found in {places}. Looked for {', '.join(PICTURE_ENDINGS)}.")
    return itertools.chain([first], found)


def _find(paths: Sequence[str], out: Path, unlisted: Say) -> Iterator[Source]:
    starts = [_start(path, out, unlisted) for path in paths]
    reached: set[bytes] = set()
    for number, found in enumerate(starts, start=1):
        prefix = f"{number}:" if len(paths) > 1 else ""
        for place, name in found:
            # Not the names themselves: a season's worth of them should fit in memory.
            key = hashlib.blake2b(_one_name(place).encode("utf-8", "surrogateescape"), digest_size=16).digest()
            if key not in reached:
                reached.add(key)
                yield Source(place, prefix + name)


def _start(path: str, out: Path, unlisted: Say) -> Iterator[tuple[Place, str]]:
    if not is_address(path):
        return _pictures(local_path(path), out, unlisted)
    found = _told(find_at(path, PICTURE_ENDINGS), unlisted)
    # Its first one is looked for at once, so that a wrong address is a wrong call.
    first = next(found, None)
    return iter(()) if first is None else itertools.chain([first], found)


def _told(found: Iterator[tuple[RemoteFile, str]], unlisted: Say) -> Iterator[tuple[Place, str]]:
    while True:
        try:
            yield next(found)
        except StopIteration:
            return
        except NotListed as error:
            unlisted(f"{error} What is in it was not scored.")


@lru_cache(maxsize=8)
def _real_folder(folder: str) -> str:
    return os.path.realpath(folder)


def count_pictures(paths: Sequence[str | Path], out: Path) -> int:
    """About as many as `find_sources` will give; no addresses. Raises CallError as that does."""
    starts = [_pictures(local_path(os.fspath(path)), out, lambda sentence: None) for path in paths]
    return sum(1 for found in starts for _ in found)


def shown_path(path: str) -> str:
    """A PATH as it may be printed and kept: a local one whole, an address without secrets."""
    return shown(path) if is_address(path) else shot_text(os.path.abspath(local_path(path)))


def _one_name(place: Place) -> str:
    if isinstance(place, LocalFile):
        folder, name = os.path.split(place.path)
        # Most are no links, and lie beside the one before.
        return os.path.realpath(place.path) if place.path.is_symlink() else os.path.join(_real_folder(folder), name)
    return place.whole if isinstance(place, RemoteFile) else place.name


def shot_text(name: str) -> str:
    """A file name as text: NFC, and bytes that are not UTF-8 written as \\xNN, since a table can't hold them."""
    readable = name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return unicodedata.normalize("NFC", readable)


def _pictures(root: Path, out: Path, unlisted: Say) -> Iterator[tuple[Place, str]]:
    try:
        mode = root.stat().st_mode
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "the system does not allow that name"
        raise CallError(f"{shot_text(os.fspath(root))} can't be found: {why}.") from error
    if stat.S_ISREG(mode):
        return iter([(LocalFile(root), shot_text(root.name))])
    if not stat.S_ISDIR(mode):
        raise CallError(f"{shot_text(os.fspath(root))} is neither a file nor a folder.")
    if os.path.realpath(root) == os.path.realpath(out):
        raise CallError(f"The photographs are in {shot_text(os.fspath(root))} itself: give another folder for --out.")
    try:
        os.scandir(root).close()
    except OSError as error:
        raise CallError(f"The folder {shot_text(os.fspath(root))} can't be listed: {error.strerror}.") from error
    return pictures_in(root, out, unlisted)


def pictures_in(root: Path, out: Path, unlisted: Say) -> Iterator[tuple[LocalFile, str]]:
    """Every picture in a folder and below it, in the order of the names; nothing of an output folder."""
    return _Walk(root, out, unlisted).below(root, "")


class _Walk:
    """One way through a folder and all below it, in the order of the names that shots get."""

    def __init__(self, root: Path, out: Path, unlisted: Say) -> None:
        self._entered = {os.path.realpath(root), os.path.realpath(out)}
        self._unlisted = unlisted

    def below(self, folder: Path, at: str) -> Iterator[tuple[LocalFile, str]]:
        """Pictures in `folder`, whose own name among shots is `at`."""
        for name, path, is_folder in self._listed(folder):
            if not is_folder:
                yield LocalFile(path), at + name
            elif self._is_new(path):
                yield from self.below(path, f"{at}{name}/")

    def _listed(self, folder: Path) -> list[tuple[str, Path, bool]]:
        try:
            with os.scandir(folder) as entries:
                found = [(e, _is_folder(e)) for e in entries if e.name[0] != "."]
                kept = [
                    (shot_text(e.name), Path(e.path), is_one) for e, is_one in found if is_one or _may_be_picture(e)
                ]
        except OSError as error:
            name = printable(shot_text(os.fspath(folder)))
            self._unlisted(
                f"The folder {name} could not be looked into ({error.strerror}): what is in it was not scored."
            )
            return []
        # A folder's name counts with its slash: so all names below come in the order of the tables.
        kept.sort(key=lambda each: (each[0] + "/" * each[2], each[1]))
        return _apart(kept)

    def _is_new(self, folder: Path) -> bool:
        # A link may lead back up; a folder is entered once, whichever way it is reached.
        real = os.path.realpath(folder)
        if real in self._entered or is_output_folder(Path(real)):
            return False
        self._entered.add(real)
        return True


def _apart(found: list[tuple[str, Path, bool]]) -> list[tuple[str, Path, bool]]:
    # Two names on disk can be one in NFC, or one once bytes are written out; neither picture may push the other away.
    taken: set[str] = set()
    result = []
    for name, path, is_folder in found:
        free, number = name, 1
        while free in taken:
            number += 1
            free = f"{name}~{number}"
        taken.add(free)
        result.append((free, path, is_folder))
    return result


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _may_be_picture(entry: os.DirEntry[str]) -> bool:
    if not entry.name.lower().endswith(PICTURE_ENDINGS):
        return False
    try:
        # A link that leads nowhere is no file either, and that is not said.
        return entry.is_file() or (entry.is_symlink() and stat.S_ISREG(os.stat(entry.path).st_mode))
    except OSError as error:
        # A link to a picture that is away is told of as a shot that can't be read; a link to itself leads nowhere.
        return error.errno != errno.ELOOP
