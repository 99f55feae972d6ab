"""Any file system that fsspec knows; object stores that speak S3 are listed page by page."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import IO, Any

from cli.batch.far import store
from cli.batch.far.store import BLOCK_BYTES, Entry, facts_from
from cli.batch.far.trouble import too_large
from cli.batch.sources import FileFacts

_S3 = ("s3", "s3a")
_FRESH = {"skip_instance_cache": True}
"""A file system of our own each time: one from before may still have the folders as they were then."""


def open_system(address: str, protocols: Sequence[str]) -> tuple[Plain, str]:
    """The file system at an address that may be chained, and the path in it. Raises whatever fsspec raises."""
    from fsspec.core import url_to_fs

    system, path = url_to_fs(address, **{protocol: _settings(protocol) for protocol in protocols})
    if protocols[0] in _S3:
        # fsspec takes away the slash that tells the folder from an object of its name.
        return Buckets(system), path.rstrip("/") + "/" * address.endswith("/")
    return Plain(system), path


def _settings(protocol: str) -> dict[str, Any]:
    if protocol in ("http", "https"):
        from cli.batch.far.web import settings

        return settings()
    if protocol not in _S3:
        return dict(_FRESH)
    from fsspec.config import conf

    # What a person has set for fsspec stays: many stores need one option or another.
    theirs = {**conf.get("s3", {}), **conf.get("s3a", {})}.get("config_kwargs", {})
    ours = {
        "connect_timeout": store.CONNECT_S,
        "read_timeout": store.SILENT_S,
        "retries": {"mode": "standard", "total_max_attempts": 2},
    }
    return {**_FRESH, "use_listings_cache": False, "config_kwargs": {**ours, **theirs}}


class Plain:
    """A file system of fsspec as it is."""

    has_links = True

    def __init__(self, system: Any) -> None:
        self._system = system
        # Only those that run on an event loop of their own are made for several threads.
        asynchronous = getattr(system, "async_impl", False)
        self._turn: AbstractContextManager[Any] = nullcontext() if asynchronous else threading.RLock()

    def find(self, path: str) -> Entry:
        with self._turn:
            told = self._system.info(path)
        if told["type"] == "directory":
            return Entry(path, "/", True)
        return Entry(path[: -len(_last(path))], _last(path), False, facts_from(told))

    def entries(self, path: str) -> Iterable[Entry]:
        path = path.removesuffix("/")
        with self._turn:
            listed = self._system.ls(path, detail=True)
        for told in listed:
            name = told["name"].rstrip("/")
            raw = _last(name)
            if name == path.rstrip("/"):
                continue
            if told["type"] == "directory":
                yield Entry(name[: -len(raw)], raw + "/", True)
            elif told["type"] in ("file", "link"):
                yield Entry(name[: -len(raw)], raw, False, facts_from(told))

    def facts(self, path: str) -> FileFacts:
        with self._turn:
            return facts_from(self._system.info(path))

    def read(self, path: str, facts: FileFacts | None, most_bytes: int) -> bytes:
        if facts and facts.size_bytes > most_bytes:
            raise too_large(most_bytes)
        # Of an empty object no part can be asked for.
        part = {} if facts and facts.size_bytes == 0 else {"end": most_bytes + 1}
        with self._turn:
            return bytes(self._system.cat_file(path, **part))

    def open(self, path: str) -> IO[bytes]:
        opened: IO[bytes] = self._system.open(path, "rb", block_size=BLOCK_BYTES)
        return opened


class Buckets(Plain):
    """An object store that speaks S3."""

    has_links = False

    def __init__(self, system: Any) -> None:
        super().__init__(system)
        system.retries = 1  # one layer below tries again already

    def find(self, path: str) -> Entry:
        if path.endswith("/") and next(iter(self.entries(path)), None):
            return Entry(path, "", True)
        return super().find(path.rstrip("/"))

    def entries(self, path: str) -> Iterator[Entry]:
        """At a time one page is held, of 1000 names."""
        # Not by ls: that holds a whole folder, twice as much a name, and takes a//b for a/b.
        bucket, prefix, _ = self._system.split_path(path)
        folder = f"{bucket}/{prefix}"
        next_page: dict[str, str] = {}
        while True:
            page = self._system.call_s3("list_objects_v2", Bucket=bucket, Prefix=prefix, Delimiter="/", **next_page)
            for told in page.get("CommonPrefixes", ()):
                yield Entry(folder, told["Prefix"][len(prefix) :], True)
            for told in page.get("Contents", ()):
                # A folder that was made in a console is an object of its own name.
                if told["Key"] != prefix:
                    facts = FileFacts(told["Size"], f"ETag {told['ETag']}")
                    yield Entry(folder, told["Key"][len(prefix) :], False, facts)
            if not page.get("IsTruncated"):
                return
            next_page = {"ContinuationToken": page["NextContinuationToken"]}


def _last(path: str) -> str:
    return path.rstrip("/").rsplit("/", 1)[-1]
