"""What the places behind addresses have in common: folders with entries, files with bytes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import IO, Any, Protocol

from cli.batch.sources import FileFacts

MOST_BYTES = 1 << 30
"""The largest file that is read, as on this machine's disks."""
CONNECT_S = 10.0
"""So long a server may take to be reached,"""
SILENT_S = 30.0
"""and so long it may send nothing."""
BLOCK_BYTES = 1 << 20
"""So much is asked for at once, where parts of an archive are read."""

# The first that is there tells two contents apart; without one, all that is known of times has to.
_VERSIONS = ("ETag", "etag", "md5Hash", "sha", "generation", "VersionId")
_TIMES = ("Last-Modified", "LastModified", "last_modified", "updated", "mtime", "modify", "modified", "created")


@dataclass(frozen=True, slots=True)
class Entry:
    """A file or folder behind an address. There may be a million in a folder, so it holds little of its own."""

    folder: str = field(repr=False)
    """The start of its path, which all in a folder share; may hold a secret."""
    raw: str
    """The rest of its path, as it is written there; of a folder with a slash at its end."""
    is_folder: bool
    facts: FileFacts | None = None
    """None where they have to be asked for."""
    name: str = ""
    """`raw` as people read it, where that is something else."""

    @property
    def path(self) -> str:
        """How its store is asked for it."""
        return self.folder + self.raw

    @property
    def text(self) -> str:
        """Its name, NFC, of a folder with a slash at its end. Never nothing, which S3 allows as a folder's name: a//b."""
        text = text_of(self.name or self.raw)
        return "_/" if text == "/" else text


class Store(Protocol):
    """One file system or web server, asked from several threads at once. All may raise whatever it raises."""

    has_links: bool
    """Whether a folder may be in itself."""

    def find(self, path: str) -> Entry:
        """What is at `path`."""

    def entries(self, path: str) -> Iterable[Entry]:
        """What is directly in the folder `path`, in any order; `path` has a slash at its end."""

    def facts(self, path: str) -> FileFacts: ...

    def read(self, path: str, facts: FileFacts | None, most_bytes: int) -> bytes:
        """The file, or its start where it has more than `most_bytes`: then at least one byte more. Also raises UnreadableShot."""

    def open(self, path: str) -> IO[bytes]:
        """The file to read parts of, in one thread at a time."""


def text_of(raw: str) -> str:
    """A name as text: NFC, and what no text can hold written out."""
    return raw if raw.isascii() else unicodedata.normalize("NFC", writable(raw))


def writable(raw: str) -> str:
    """A name with halves of pairs written out, which no file of ours can hold."""
    return raw.encode("utf-8", "backslashreplace").decode("utf-8")


def facts_from(told: Mapping[str, Any]) -> FileFacts:
    """Size and version from what fsspec tells of a file, or from the headers of a web server with `size` among them."""
    size = told.get("size")
    return FileFacts(size if isinstance(size, int) else -1, _changed(told))


def _changed(told: Mapping[str, Any]) -> str:
    for name in _VERSIONS:
        # A weak ETag may be one for two contents (RFC 9110, section 8.8.1).
        if (said := told.get(name)) and not str(said).startswith("W/"):
            return f"{name} {said}"
    return " ".join(f"{name} {told[name]}" for name in (*_VERSIONS, *_TIMES) if told.get(name))
