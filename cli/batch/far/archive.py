"""Zip archives, on this machine or behind an address: nothing in them is unpacked to a disk, names in them are only names."""

from __future__ import annotations

import os
import stat
import struct
import threading
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from cli.batch.far.store import text_of
from cli.batch.far.trouble import too_large
from cli.batch.sources import FileFacts
from vision.errors import UnreadableShot

_LOCKED = 0x1
"""General purpose bit of a member with a password (APPNOTE.TXT of the format, 4.4.4)."""
_METHODS = (ZIP_STORED, ZIP_DEFLATED)
"""Of the others zipfile lets out whatever a piece holds: with bzip2 gigabytes from 4 kB."""
_UNKNOWN = "The file is packed in its archive in a way that is not read; unpack it first."
_PIECE_BYTES = 8 << 20
_BROKEN = (BadZipFile, EOFError, struct.error, zlib.error, UnicodeDecodeError, OverflowError)


@dataclass(frozen=True)
class Member:
    """A file in an archive."""

    info: ZipInfo
    path: str
    """Relative to the folder that was asked for, with `/`, NFC."""

    @property
    def facts(self) -> FileFacts:
        year, month, day, hour, minute, second = self.info.date_time
        date = f"{year}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}"
        return FileFacts(self.info.file_size, f"CRC {self.info.CRC:08x} {date}")


class Archive:
    """An archive, read by one thread at a time: they share its one place in the file."""

    def __init__(self, file: str | IO[bytes]) -> None:
        """From a path or an open file. Raises OSError, BadZipFile, and what reading the file raises."""
        if isinstance(file, str) and not stat.S_ISREG(os.stat(file).st_mode):
            raise BadZipFile
        self._turn = threading.Lock()
        try:
            self._zip = ZipFile(file)
        except (*_BROKEN, NotImplementedError, ValueError) as error:
            # zipfile takes a disk or network that fails for a file that is no archive.
            raise error.__context__ if isinstance(error.__context__, OSError) else BadZipFile() from None

    def members(self, at: str) -> tuple[list[Member], bool]:
        """What is at the path `at`, in the archive's order, and whether that is a folder.

        One file, more where several have that very name; or all in and below a folder. Raises FileNotFoundError.
        """
        wanted = _parts(at)
        is_there = not wanted
        same: list[Member] = []
        below: list[Member] = []
        for info in self._zip.infolist():
            parts = _parts(info.filename)
            if parts[: len(wanted)] != wanted:
                continue
            is_there = True
            if not info.is_dir():
                inside = parts[len(wanted) :]
                (below if inside else same).append(Member(info, "/".join(inside or parts[-1:])))
        if not is_there:
            raise FileNotFoundError
        return (same, False) if same else (below, True)

    def read(self, info: ZipInfo, most_bytes: int) -> bytes:
        """A member's bytes. Raises UnreadableShot, BadZipFile, and what reading the archive raises."""
        if info.flag_bits & _LOCKED:
            raise UnreadableShot("The file is locked with a password in its archive; unpack it first.")
        if info.file_size > most_bytes:
            raise too_large(most_bytes)
        if info.compress_type not in _METHODS:
            raise UnreadableShot(_UNKNOWN)
        data = bytearray()
        try:
            with self._turn, self._zip.open(info) as member:
                # A member ends where its declared size does, whatever more is packed into it.
                while piece := member.read(_PIECE_BYTES):
                    data += piece
        except _BROKEN as error:
            raise BadZipFile from error
        except (NotImplementedError, RuntimeError) as error:
            raise UnreadableShot(_UNKNOWN) from error
        if len(data) != info.file_size:
            raise BadZipFile
        return bytes(data)


def _parts(path: str) -> Sequence[str]:
    return [part for part in text_of(path).split("/") if part not in ("", ".")]
