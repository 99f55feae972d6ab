"""What is scored: a place that holds a photograph's bytes, what its shot is called, and the bytes once they are read."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from vision.files import read_bytes


@dataclass(frozen=True)
class FileFacts:
    """What is known of a file without reading it; as long as none of it differs, its bytes are taken for the same."""

    size_bytes: int
    """-1 where the place does not say."""
    changed: str
    """When it was last written (nanoseconds), or what the place gives in its stead; '' where it says nothing."""

    @property
    def tells(self) -> bool:
        """Whether a later look at these facts can show that the bytes are the same."""
        return bool(self.changed) and self.size_bytes >= 0


class Place(Protocol):
    """Where the bytes of a photograph are: on this machine's disks, or at an address."""

    @property
    def name(self) -> str:
        """The whole path or address, as the ledger keeps it; without secrets."""

    def facts(self) -> FileFacts:
        """Raises OSError where the file is away."""

    def read(self) -> bytes:
        """The whole file. Raises UnreadableShot with a sentence."""


@dataclass(frozen=True)
class LocalFile:
    """A file of this machine, or of a disk that is mounted on it."""

    path: Path

    @property
    def name(self) -> str:
        # Bytes that are no UTF-8 written out: the ledger can't hold them.
        whole = os.path.abspath(self.path)
        return whole.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")

    def facts(self) -> FileFacts:
        """Raises OSError."""
        about = self.path.stat()
        return FileFacts(about.st_size, str(about.st_mtime_ns))

    def read(self) -> bytes:
        """Raises UnreadableShot."""
        return read_bytes(self.path)


@dataclass(frozen=True)
class Claims:
    """What is said of where a photograph belongs before it is opened, by field (BELONGS in belonging.py); no field without a text."""

    manifest: Mapping[str, str] = field(default_factory=dict)
    """What its row of manifest.csv says."""
    folders: Mapping[str, str] = field(default_factory=dict)
    """What the folders it lies in say."""

    @property
    def digest(self) -> str:
        """16 hex digits that are others whenever something else is said; '' where nothing is."""
        if not self.manifest and not self.folders:
            return ""
        said = json.dumps([dict(self.manifest), dict(self.folders)], sort_keys=True)
        return hashlib.sha256(said.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Source:
    """One photograph to score, what its shot is called, and what is said of where it belongs."""

    place: Place
    shot: str
    """Path relative to the PATH that brought it, with `/`, NFC; after that PATH's number and a colon when several were given."""
    claims: Claims = Claims()


@dataclass(frozen=True)
class Photograph:
    """A photograph on its way to be scored. All that a worker needs of it: it opens no file and no address."""

    shot: str
    sha256: str
    data: bytes
    claims: Claims = Claims()
