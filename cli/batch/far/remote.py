"""Files at addresses, and the way through a folder of them."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial

from cli.batch.far import store as stores
from cli.batch.far.store import Entry, Store, writable
from cli.batch.far.trouble import LeadsBack, Trouble, too_large, tried, trouble_of, unreadable
from cli.batch.sources import FileFacts
from cli.words import printable
from vision.errors import SpeckwiseError, UnreadableShot

_ALIKE = 5
"""No file system says where a link leads. A folder that holds the same pictures and folders as one above it is taken for that one;
one that holds only folders where so many above it hold the same."""


class NotListed(SpeckwiseError):
    """A folder at an address can't be looked into; the others go on."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(f"The folder {printable(name)} can't be listed: {why}.")
        self.name, self.why = name, why


@dataclass(frozen=True)
class RemoteFile:
    """A file at an address."""

    name: str
    """The address without user info, query and fragment."""
    whole: str = field(repr=False)
    """What tells it from every other file, secrets and all: to be compared, never to be kept or shown."""
    _ask: Callable[[], FileFacts] = field(repr=False, compare=False)
    _fetch: Callable[[int], bytes] = field(repr=False, compare=False)

    def facts(self) -> FileFacts:
        """As its folder listed them a moment ago, or asked for now where it did not. Raises OSError."""
        try:
            return self._ask()
        except Exception as error:
            trouble = trouble_of(error)
        raise OSError(errno.ENOENT if trouble is Trouble.AWAY else errno.EIO, str(trouble))

    def read(self) -> bytes:
        """The whole file, asked for once more where the network failed. Raises UnreadableShot."""
        try:
            data = tried(partial(self._fetch, stores.MOST_BYTES))
        except UnreadableShot:
            raise
        except Exception as error:
            raise unreadable(error) from None
        if not data:
            raise UnreadableShot("The file is empty.")
        if len(data) > stores.MOST_BYTES:
            raise too_large(stores.MOST_BYTES)
        return data


def remote(store: Store, entry: Entry, name: str, whole: str) -> RemoteFile:
    """The file of an entry."""
    facts = entry.facts
    ask = known(facts) if facts and facts.tells else partial(store.facts, entry.path)
    return RemoteFile(writable(name), whole, ask, partial(store.read, entry.path, entry.facts))


def known(facts: FileFacts) -> Callable[[], FileFacts]:
    """For a file that has been asked about already."""
    return lambda: facts


class Walk(Iterator[tuple[RemoteFile, str]]):
    """One way through a folder and all below it. Not a generator: that could not go on after NotListed."""

    def __init__(self, store: Store, said: str, whole: str, endings: tuple[str, ...]) -> None:
        self._store, self._endings = store, endings
        self._said, self._whole = (root + "/" * (not root.endswith("/")) for root in (said, whole))
        self._open: list[_Folder] = []

    def __next__(self) -> tuple[RemoteFile, str]:
        while self._open:
            folder = self._open[-1]
            if not folder.left:
                self._open.pop()
                continue
            name, entry = folder.left.pop()
            path, raw = folder.path + name, folder.raw + entry.raw
            if not entry.is_folder:
                return remote(self._store, entry, self._said + raw, self._whole + raw), path
            try:
                self.enter(entry.path, path, raw)
            except Exception as error:
                trouble = trouble_of(error)
            else:
                continue
            raise NotListed(self._said + raw, str(trouble))
        raise StopIteration

    def enter(self, folder: str, path: str = "", raw: str = "") -> None:
        """Lists a folder; what it holds comes next. Raises whatever its store raises."""
        # A folder's name counts with its slash: so all paths below come in their order.
        found = tried(lambda: [(each.text, each) for each in self._store.entries(folder) if self._is_wanted(each)])
        found.sort(key=_by_name)
        mark = hash(tuple((each.raw, each.facts) for _, each in found))
        alike = sum(above.mark == mark for above in self._open)
        if self._store.has_links and alike >= (_ALIKE if all(each.is_folder for _, each in found) else 1):
            raise LeadsBack
        for at, name in enumerate(apart(name for name, _ in found)):
            if name != found[at][0]:
                found[at] = (name, found[at][1])
        found.sort(key=_by_name, reverse=True)
        self._open.append(_Folder(path, raw, mark, found))

    def _is_wanted(self, entry: Entry) -> bool:
        return not entry.text.startswith(".") and (entry.is_folder or entry.text.lower().endswith(self._endings))


@dataclass(frozen=True)
class _Folder:
    """A folder that is being gone through."""

    path: str
    """Relative to the address, as text; with a slash at its end, or nothing."""
    raw: str
    """The same as it is written there."""
    mark: int
    """A hash of all that is in it."""
    left: list[tuple[str, Entry]]
    """What is still to come of it, the next one last."""


def _by_name(named: tuple[str, Entry]) -> tuple[str, str]:
    return named[0], named[1].raw


def apart(names: Iterable[str]) -> Iterator[str]:
    """The same names, each once: one that was there already gets ~2, ~3 … behind it, before a slash at its end."""
    taken: set[str] = set()
    for name in names:
        slash = "/" * name.endswith("/")
        free, number = name, 1
        while free in taken:
            number += 1
            free = f"{name.removesuffix('/')}~{number}{slash}"
        taken.add(free)
        yield free
