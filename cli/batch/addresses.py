"""Photographs at addresses: what fsspec reaches (s3://, https://, zip:// and more, also chained), as places with bytes.

A folder is held in memory while it is gone through, and those above it: about 0.5 kB a picture or folder in it that is still to
come. What lies below is listed when its turn comes. Of an archive the whole list is held, as zipfile does.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote

from cli.batch.far.remote import NotListed, RemoteFile, Walk, apart, known, remote
from cli.words import printable
from vision.errors import CallError, UnreadableShot

if TYPE_CHECKING:
    from cli.batch.far.archive import Archive, Member
    from cli.batch.far.store import Store

__all__ = ["NotListed", "RemoteFile", "find_at", "is_address", "local_path", "shown"]

_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+(://|::.*://)", re.DOTALL)
"""Two letters at least before the mark: one is a disk of Windows."""
_LOCAL = re.compile(r"(?:file|local)://", re.IGNORECASE)
_WEB = re.compile(r"https?://", re.IGNORECASE)

_ONLY_NAMES = {"zip", "tar", "libarchive", "memory", "file", "local"}
"""What stands behind these is a name in an archive or in memory, or a path: no host, no secret."""
_NO_QUERIES = {"s3", "s3a", "gs", "gcs", "sftp", "ssh", "ftp", "smb"}
"""Names there may hold ? and #; only what reads like the query of a signed URL is taken away."""
_CONTAINERS = {"abfs", "abfss", "az"}
"""What stands before their @ says where, not who, unless it has a colon."""
_USER = re.compile(r"[^/?#]*@|(?!arn:)[^/?#@\[\]:]*:(?!\d*(?:[/?#]|$)).*@", re.DOTALL)
"""User info, also with a password in which signs stand that should have been encoded: else half of it would be shown."""


def is_address(text: str) -> bool:
    """Whether a PATH is an address and no path of this machine; file:// is one of those, see `local_path`."""
    return bool(_ADDRESS.match(text)) and not _LOCAL.match(text)


def local_path(text: str) -> Path:
    """What a PATH that is no address names on this machine; file://, which browsers give, may stand before it (RFC 8089).

    Raises CallError where it names another machine.
    """
    if not _LOCAL.match(text):
        return Path(text)
    host, slash, path = text.partition("://")[2].partition("/")
    if host.lower() not in ("", "localhost"):
        raise CallError(
            "A file:// address of another machine can't be read; give the path under which its disk is mounted here."
        )
    return Path(unquote(slash + path, errors="surrogateescape"))


def shown(address: str) -> str:
    """The address as it may be printed and kept: without user info, query and fragment, each part of a chain by itself."""
    return "::".join(_shown_part(part) for part in _parts(address))


def _parts(address: str) -> list[str]:
    """A chain, taken apart. In a web address, which is always the last, :: means nothing: it may be an IPv6 host, or in a query."""
    parts: list[str] = []
    while not _WEB.match(address):
        part, mark, address = address.partition("::")
        parts.append(part)
        if not mark:
            return parts
    return [*parts, address]


def _shown_part(part: str) -> str:
    scheme, mark, rest = part.partition("://")
    protocol = scheme.lower()
    if not mark or protocol in _ONLY_NAMES:
        return part
    user = _USER.match(rest)
    if user and (protocol not in _CONTAINERS or ":" in user[0]):
        rest = rest[user.end() :]
    query = r"\?.*=.*" if protocol in _NO_QUERIES else r"[?#].*"
    return scheme + mark + re.sub(query, "", rest, flags=re.DOTALL)


def find_at(address: str, endings: Sequence[str]) -> Iterator[tuple[RemoteFile, str]]:
    """The file at an address, under its last part as name, or every file with one of `endings` (small letters) below a folder.

    Those below come under their path relative to the address, with `/`, NFC, in the order of that path; a name that is taken
    gets ~2 behind it; what is hidden (a name that starts with a dot) is left out. `next` raises NotListed where a folder below
    can't be listed, and may then be called again: it goes on with the rest.

    `zip://` in front takes an archive: `zip://FOLDER::ARCHIVE` one folder or file of it, `zip://::ARCHIVE` all of it, where
    ARCHIVE is a path or another address. Without `::` all that follows is the path of an archive on this machine, and all of it
    is meant: `zip://photos.zip`. So `zip://photos.zip/FOLDER` is a path too, and is refused as not there.

    Raises CallError where the address is of an unknown kind, its package is missing, or it is not there, not allowed or not reached.
    """
    from cli.batch.far.trouble import Trouble, trouble_of

    parts = [_with_small_scheme(part) for part in _parts(address)]
    try:
        _need_packages(address, parts)
        return _found(parts, shown(address), tuple(endings))
    except (CallError, MemoryError):
        raise
    except UnreadableShot as error:  # an archive in an archive
        raise CallError(f"{printable(shown(address))} can't be used. {error}") from None
    except Exception as error:
        trouble = trouble_of(error)
    hint = ""
    if trouble is Trouble.AWAY and parts[0].startswith("zip://") and len(parts) == 1:
        hint = " One folder of an archive is written zip://FOLDER::ARCHIVE."
    raise CallError(f"{printable(shown(address))} can't be used: {trouble}.{hint}")


def _with_small_scheme(part: str) -> str:
    scheme, mark, rest = part.partition("://")
    return scheme.lower() + mark + rest


def _protocols(parts: Sequence[str]) -> list[str]:
    chained = [part.partition("://")[0] for part in parts[:-1]]
    return chained + ([parts[-1].partition("://")[0]] if "://" in parts[-1] else [])


def _need_packages(address: str, parts: Sequence[str]) -> None:
    from fsspec.registry import get_filesystem_class

    said = printable(shown(address))
    for protocol in _protocols(parts):
        try:
            get_filesystem_class(protocol)
        except ValueError:
            raise CallError(
                f"{said} can't be used: addresses that begin with {printable(protocol)}:// are not known."
            ) from None
        except ImportError as error:
            extra = {"s3": "s3", "s3a": "s3", "http": "https", "https": "https"}.get(protocol)
            missing = getattr(error.__cause__, "name", None) or protocol
            package = f"'speckwise[{extra}]'" if extra else missing.partition(".")[0]
            raise CallError(f"{said} needs a package that is not installed: pip install {package}") from None


def _found(parts: Sequence[str], said: str, endings: tuple[str, ...]) -> Iterator[tuple[RemoteFile, str]]:
    from cli.batch.far.trouble import tried

    if _is_zip(parts):
        return _found_in_archive(parts, endings)
    store, path = _store(parts)
    entry = tried(lambda: store.find(path))
    if not entry.is_folder:
        return iter([(remote(store, entry, said, "::".join(parts)), entry.text)])
    walk = Walk(store, said, "::".join(parts), endings)
    walk.enter(entry.path)
    return walk


def _is_zip(parts: Sequence[str]) -> bool:
    return parts[0] == "zip" or parts[0].startswith("zip://")


def _store(parts: Sequence[str]) -> tuple[Store, str]:
    from cli.batch.far.systems import open_system
    from cli.batch.far.web import Web

    protocols = _protocols(parts)
    if protocols[0] in ("http", "https"):
        # Not through fsspec, which would take the colons of an IPv6 host for a chain.
        return Web(protocols[0]), "::".join(parts)
    return open_system("::".join(parts), protocols)


def _found_in_archive(parts: Sequence[str], endings: tuple[str, ...]) -> Iterator[tuple[RemoteFile, str]]:
    at, archived = parts[0].partition("://")[2], parts[1:]
    if not archived:
        at, archived = "", [at.rstrip("/")]
    archive, where = _archive(archived)
    members, is_folder = archive.members(at)
    if is_folder:
        members = [each for each in members if _is_wanted_inside(each.path, endings)]
    # Of two members of one name none may push the other away, neither among the shots nor in the ledger.
    names = apart(each.info.filename for each in members)
    paths = apart(each.path for each in members)
    found = [(path, f"zip://{name}::{where}", each) for path, name, each in zip(paths, names, members, strict=True)]
    found.sort(key=lambda each: each[0])
    return ((_member(archive, each, name), path) for path, name, each in found)


def _archive(parts: Sequence[str]) -> tuple[Archive, str]:
    from cli.batch.far import store
    from cli.batch.far.archive import Archive

    address = "::".join(parts)
    if not address:
        raise FileNotFoundError
    if not is_address(address):
        path = os.path.abspath(local_path(address))
        return Archive(path), path
    if _is_zip(parts):
        # Not by fsspec, which does not mind how much comes out of it.
        outer, _ = _archive(parts[1:])
        members, is_folder = outer.members(parts[0].partition("://")[2])
        if is_folder:
            raise FileNotFoundError
        return Archive(io.BytesIO(outer.read(members[0].info, store.MOST_BYTES))), shown(address)
    place, path = _store(parts)
    return Archive(place.open(path)), shown(address)


def _member(archive: Archive, member: Member, name: str) -> RemoteFile:
    from cli.batch.far.store import writable

    return RemoteFile(writable(name), name, known(member.facts), partial(archive.read, member.info))


def _is_wanted_inside(path: str, endings: tuple[str, ...]) -> bool:
    hidden = any(part.startswith(".") and part != ".." for part in path.split("/"))
    return not hidden and path.lower().endswith(endings)
