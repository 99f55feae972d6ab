"""The only disk: bytes in, and files that are written whole or not at all.

A file is written under a passing name in its own folder, flushed to the disk, and then put in the place of the old one in one
step (POSIX rename), so that whoever looks sees the old file or the new one and never half of either.
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import math
import os
import secrets
import stat
import time
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.errors import DiskFull, OutputNotWritable, SpeckwiseError, UnreadableShot

PASSING = ".part"
"""Ends the name of a file that is not whole yet; one that is found later was left behind by a writer who was killed."""
_STEM_CHARACTERS = 60
_STEM_BYTES = 200
_FORBIDDEN = set('/\\:*?"<>|')  # on Windows, Linux and macOS together
_TURNS_TEXT = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # would show the name in another order
_UNSHOWN = {"Cc", "Cs", "Cn", "Zl", "Zp"}  # controls, halves of pairs, unassigned, line and paragraph separators
_RESERVED = {"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"} | {
    f"{d}{n}" for d in ("COM", "LPT") for n in "0123456789¹²³"
}
_DISK_FULL = (errno.ENOSPC, errno.EDQUOT)
_READER_WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)
_JPEG_MAX_PX = 65500  # libjpeg's own limit


def read_bytes(path: Path, *, max_bytes: int = 1 << 30) -> bytes:
    """The whole file. UnreadableShot, with our own sentence, where it is missing, empty, a folder, locked or over `max_bytes`."""
    try:
        about = os.stat(path)
        if stat.S_ISDIR(about.st_mode):
            raise UnreadableShot("This is a folder, not a file.")
        if not stat.S_ISREG(about.st_mode):  # a pipe would keep us waiting for ever
            raise UnreadableShot("This is not an ordinary file.")
        with open(path, "rb") as file:
            data = file.read(max_bytes + 1)
    except FileNotFoundError as error:
        raise UnreadableShot("The file is not there.") from error
    except PermissionError as error:
        raise UnreadableShot("The file may not be read: permission is denied.") from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise UnreadableShot(_reading_failed(error)) from error
    except MemoryError as error:
        raise UnreadableShot("There is not enough memory to open this file.") from error
    if not data:
        raise UnreadableShot("The file is empty.")
    if len(data) > max_bytes:
        raise UnreadableShot(f"The file is larger than {max_bytes / (1 << 20):,.0f} MiB, the most that is read.")
    return data


def _reading_failed(error: OSError | ValueError) -> str:
    number = error.errno if isinstance(error, OSError) else None
    if number in (errno.ENAMETOOLONG, None):
        return "The file's name is not one the system can open."
    if number == errno.ELOOP:
        return "The file is a link that leads in a circle."
    if number == errno.ENOTDIR:
        return "The file is not there."
    return "The file can't be read: the disk or the network reports an error."


def sha256_of(data: bytes) -> str:
    """SHA-256 in 64 small hexadecimal digits (FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


class Staged:
    """A file that is wholly on the disk, under a passing name. `put` gives it its own; `drop` takes it away."""

    def __init__(self, path: Path, pieces: Iterable[bytes]) -> None:
        """Raises OutputNotWritable where the place can't be written to, DiskFull where there is no room; nothing is left then."""
        self.path = path
        self._passing = path.parent / f".{secrets.token_hex(8)}{PASSING}"
        digest = hashlib.sha256()
        with _explained(path):
            # Not tempfile: its files are closed to everyone else, and these are to have the rights of any new file.
            handle = os.open(self._passing, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        try:
            # Without a buffer: closing one would try once more to write what the disk has refused.
            with open(handle, "wb", buffering=0) as file:
                for piece in pieces:  # what making them raises is none of the disk's
                    digest.update(piece)
                    with _explained(path):
                        _write_all(file, piece)
                with _explained(path):
                    os.fsync(file.fileno())
        except BaseException:
            self.drop()
            raise
        self.sha256 = digest.hexdigest()

    def put(self) -> None:
        """Takes the place of an older file of that name in one step. Raises OutputNotWritable; what stood there then stays."""
        with _explained(self.path):
            try:
                _replace(self._passing, self.path)
            except BaseException:
                self.drop()
                raise
            _flush_folder(self.path.parent)

    def drop(self) -> None:
        """It is not wanted."""
        self._passing.unlink(missing_ok=True)


def write_bytes(path: Path, data: bytes) -> None:
    """Writes the file whole or not at all; an older one of that name is replaced.

    Raises OutputNotWritable where the place can't be written to, DiskFull where there is no room; what stood there stays.
    """
    Staged(path, [data]).put()


def _write_all(file: io.FileIO, piece: bytes) -> None:
    rest = memoryview(piece)
    while rest:
        rest = rest[file.write(rest) :]


def _replace(passing: Path, path: Path) -> None:
    """Where a file that somebody is reading can't be replaced (Windows), a reader is given a moment to end."""
    for wait_s in _READER_WAITS_S if os.name == "nt" else ():
        try:
            os.replace(passing, path)
            return
        except PermissionError:
            time.sleep(wait_s)
    os.replace(passing, path)


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno in _DISK_FULL:
            raise DiskFull(f"The disk is full: {path.name} could not be written.") from error
        raise OutputNotWritable(f"{path} can't be written: {_writing_failed(error)}.") from error


def _flush_folder(folder: Path) -> None:
    """Makes the new name last through a power cut; some systems and network disks have no such thing for folders."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _writing_failed(error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return "its folder is not there"
    if isinstance(error, PermissionError):
        return "permission is denied"
    if isinstance(error, IsADirectoryError):
        return "a folder of that name stands there"
    if isinstance(error, NotADirectoryError):
        return "what should be its folder is a file"
    number = error.errno if isinstance(error, OSError) else None
    if number == errno.EROFS:
        return "the disk is read-only"
    if number in (errno.ENAMETOOLONG, None):
        return "the system does not allow that name"
    return "the disk or the network reports an error"


def write_text(path: Path, text: str) -> None:
    """Writes text as UTF-8, line ends as they are; half a surrogate pair (a file name that is no Unicode) as its escape."""
    write_bytes(path, text.encode("utf-8", "backslashreplace"))


def write_json(path: Path, value: Any) -> None:
    """Writes plain values as JSON (RFC 8259), keys in the order given.

    Raises TypeError, naming the place, for anything but str, int, float, bool, None, list, tuple and dict with text keys: numpy's
    own numbers are refused and not converted, because a forgotten one is a fault at its origin; NaN and infinity have no JSON.
    """
    _refuse_unplain(value, "value")
    write_text(path, json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n")


def _refuse_unplain(value: Any, place: str) -> None:
    if isinstance(value, dict):
        for key, inner in value.items():
            if type(key) is not str and not (isinstance(key, str) and isinstance(key, Enum)):
                raise TypeError(f"{place} has the key {key!r}, which is no plain text")
            _refuse_unplain(inner, f"{place}[{key!r}]")
    elif type(value) in (list, tuple):
        for at, inner in enumerate(value):
            _refuse_unplain(inner, f"{place}[{at}]")
    elif type(value) is float:
        if not math.isfinite(value):
            raise TypeError(f"{place} is {value}, which JSON can't hold")
    # By exact type, because numpy's float64 and str_ pass as float and str.
    elif not (value is None or type(value) in (str, int, bool) or (isinstance(value, str) and isinstance(value, Enum))):
        raise TypeError(f"{place} is of {type(value).__module__}.{type(value).__qualname__}, which is no plain value")


def encode_jpeg(rgb: NDArray[np.uint8], quality: int) -> bytes:
    """Upright sRGB pixels (h, w, 3) uint8 as a JPEG without any metadata, colours at full resolution.

    Full resolution (4:4:4), because thin coloured marks smear when colour is stored at half of it. `quality` 1 to 100. Raises
    SpeckwiseError where a side is longer than a JPEG can hold.
    """
    from PIL import Image  # here and not above: what only writes text and tables need not wait for it

    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError("a picture is an (h, w, 3) array of uint8")
    if max(rgb.shape) > _JPEG_MAX_PX:
        raise SpeckwiseError(f"A side of the picture is longer than {_JPEG_MAX_PX:,} pixels, the most a JPEG can hold.")
    buffer = io.BytesIO()
    Image.fromarray(rgb).save(buffer, "JPEG", quality=quality, subsampling=0)
    return buffer.getvalue()


def write_picture(path: Path, rgb: NDArray[np.uint8], quality: int = 90) -> None:
    """Writes upright sRGB pixels (h, w, 3) uint8 as a JPEG; errors as in encode_jpeg and write_bytes."""
    write_bytes(path, encode_jpeg(rgb, quality))


def safe_stem(name: str, sha256: str) -> str:
    """A file name without ending for what belongs to the shot `name`: its stem's first 60 characters, `-`, 8 of the SHA-256.

    Good on Linux, Windows and macOS: NFC, at most 200 bytes of UTF-8, nothing that is forbidden or reserved there, no dot or
    space at either end. Two shots of one name get two stems, as their content differs.
    """
    stem = _stem_of(unicodedata.normalize("NFC", name))
    stem = "".join("_" if _is_unsafe(c) else c for c in stem)
    # What stands before the first dot decides on Windows.
    if stem.strip(" .").split(".")[0].rstrip().upper() in _RESERVED:
        stem = "_" + stem.strip(" .")
    stem = _cut(stem.lstrip(" ."), _STEM_CHARACTERS, _STEM_BYTES - 9).strip().strip(" .")
    return f"{stem or 'shot'}-{sha256[:8]}"


def _stem_of(name: str) -> str:
    """The last part of a path without its ending; a name that is nothing but an ending keeps it."""
    last = name.rsplit("/", 1)[-1]
    before, dot, _ = last.rpartition(".")
    return before if dot and before.strip(" .") else last


def _is_unsafe(character: str) -> bool:
    return character in _FORBIDDEN or character in _TURNS_TEXT or unicodedata.category(character) in _UNSHOWN


def _cut(text: str, characters: int, octets: int) -> str:
    """The start of `text`, cut between whole signs: never inside a character with its accents or inside a joined emoji."""
    end = min(characters, len(text))
    while len(text[:end].encode()) > octets:
        end -= 1
    while 0 < end < len(text) and (_leans_back(text[end]) or text[end - 1] == "\u200d"):
        end -= 1
    return text[:end]


def _leans_back(character: str) -> bool:
    """Whether the sign belongs to the one before it: accents and points, variation selectors, joiners, skin tones."""
    return (
        unicodedata.category(character) in ("Mn", "Me", "Mc")
        or character == "\u200d"
        or "\U0001f3fb" <= character <= "\U0001f3ff"
    )
