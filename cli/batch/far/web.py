"""Web servers: files, and the pages on which they list a folder. Asked through fsspec's session, so that its settings hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import IO, Any
from urllib.parse import quote, unquote, urljoin, urlsplit, urlunsplit

from cli.batch.far import store
from cli.batch.far.store import BLOCK_BYTES, Entry, facts_from
from cli.batch.far.trouble import NoParts, WrongAnswer, too_large
from cli.batch.reading import READING_LIMIT_S
from cli.batch.sources import FileFacts
from vision.errors import UnreadableShot

_MOST_LISTING_BYTES = 64 << 20
_UNWRITTEN = re.compile(r"[^A-Za-z0-9\-._~:/?#\[\]@!$&'()*+,;=%]+")
"""What a URL can't hold as it is (RFC 3986, section 2)."""


def settings() -> dict[str, Any]:
    """What fsspec's HTTPFileSystem is made with. Raises ImportError where aiohttp is missing."""
    from fsspec.implementations import http

    waits = {"total": READING_LIMIT_S, "sock_connect": store.CONNECT_S, "sock_read": store.SILENT_S}
    return {
        "skip_instance_cache": True,
        "use_listings_cache": False,
        # Byte for byte, as a signature may be part of it.
        "encoded": True,
        "timeout": http.aiohttp.ClientTimeout(**waits),
    }


@dataclass(frozen=True)
class _Answer:
    url: str
    """The last one, after all redirects; without user info."""
    is_page: bool
    facts: FileFacts
    data: bytes = b""


class Web:
    """One web server, or several that redirect to each other."""

    has_links = True

    def __init__(self, protocol: str) -> None:
        import fsspec

        self._system = fsspec.filesystem(protocol, **settings())

    def find(self, path: str) -> Entry:
        """A folder is what ends in a slash, or is redirected there, and is a page; anything else is one file."""
        url = _written(path)
        answer = self._headers(url)
        below = _folder_url(url, answer.url)
        if below and answer.is_page:
            return Entry(below, "", True)
        return Entry("", url, False, answer.facts, _decoded(_last_part(url)))

    def entries(self, path: str) -> Iterator[Entry]:
        """What the page links to directly below itself; nothing elsewhere."""
        try:
            answer = self._run(self._get, path, _MOST_LISTING_BYTES)
        except UnreadableShot as error:
            raise WrongAnswer(413) from error
        folder = _folder_url(path, answer.url)
        if not (folder and answer.is_page):
            raise WrongAnswer(404)
        links = _Links()
        links.feed(answer.data.decode("utf-8", "replace"))
        for raw in dict.fromkeys(_parts_below(folder, links.found)):
            name = _decoded(raw.rstrip("/"))
            if name not in ("", ".", "..") and not set(name) & {"/", "\\"}:
                yield Entry(folder, raw, raw.endswith("/"), None, name + "/" * raw.endswith("/"))

    def facts(self, path: str) -> FileFacts:
        return self._headers(path).facts

    def read(self, path: str, facts: FileFacts | None, most_bytes: int) -> bytes:
        data: bytes = self._run(self._get, path, most_bytes).data
        return data

    def open(self, path: str) -> IO[bytes]:
        url = _written(path)
        size = self._run(self._size, url)
        # The size keeps fsspec from asking once more, in a way that takes every trouble for a file that is not there.
        opened: IO[bytes] = self._system.open(url, "rb", block_size=BLOCK_BYTES, cache_type="readahead", size=size)
        return opened

    def _run(self, ask: Any, *arguments: Any) -> Any:
        from fsspec.asyn import sync

        return sync(self._system.loop, ask, *arguments)

    def _headers(self, url: str) -> _Answer:
        try:
            answer: _Answer = self._run(self._look, "HEAD", url)
        except WrongAnswer:
            # An address that is signed for reading is often not signed for asking about it.
            answer = self._run(self._look, "GET", url)
        return answer

    async def _look(self, method: str, url: str) -> _Answer:
        async with await self._ask(method, url) as response:
            return _answer_of(response)

    async def _get(self, url: str, most_bytes: int) -> _Answer:
        async with await self._ask("GET", url) as response:
            if (response.content_length or 0) > most_bytes:
                raise too_large(most_bytes)
            data = bytearray()
            async for piece in response.content.iter_chunked(1 << 20):
                data += piece
                if len(data) > most_bytes:
                    break
            return _answer_of(response, bytes(data))

    async def _size(self, url: str) -> int:
        async with await self._ask("GET", url, Range="bytes=0-0") as response:
            total = response.headers.get("Content-Range", "").rpartition("/")[2]
            if response.status != 206 or not total.isdecimal():
                raise NoParts
            return int(total)

    async def _ask(self, method: str, url: str, **headers: str) -> Any:
        session = await self._system.set_session()
        options = dict(self._system.kwargs)
        options["headers"] = {**options.get("headers", {}), "Accept-Encoding": "identity", **headers}
        response = await session.request(method, self._system.encode_url(url), allow_redirects=True, **options)
        if response.status >= 400:
            response.close()
            raise WrongAnswer(response.status)
        return response


class _Links(HTMLParser):
    """Where the page's links lead."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if (tag, name) == ("a", "href") and value]


def _answer_of(response: Any, data: bytes = b"") -> _Answer:
    told = {name: response.headers.get(name) for name in ("ETag", "Last-Modified")}
    if not response.headers.get("Content-Encoding"):
        told["size"] = response.content_length
    is_page = response.headers.get("Content-Type", "").partition(";")[0].strip().lower() == "text/html"
    return _Answer(str(response.url), is_page, facts_from(told), data)


def _written(url: str) -> str:
    """A URL as a person writes it -> as it is sent: what it can't hold is encoded, all else stays byte for byte."""
    url = url.partition("#")[0]
    scheme, mark, rest = url.partition("://")
    ends = re.search(r"[/?]|$", rest)
    authority, rest = rest[: ends.start()], rest[ends.start() :]  # type: ignore[union-attr]
    user, at, host = authority.rpartition("@")
    host = host if host.isascii() else host.encode("idna").decode("ascii")
    rest = rest if rest.startswith("/") else "/" + rest
    return scheme + mark + _encoded(user) + at + host + _encoded(rest)


def _encoded(text: str) -> str:
    return _UNWRITTEN.sub(lambda found: quote(found[0]), text)


def _decoded(part: str) -> str:
    return unquote(part, errors="backslashreplace")


def _last_part(url: str) -> str:
    where = urlsplit(url)
    return where.path.rstrip("/").rsplit("/", 1)[-1] or where.hostname or ""


def _folder_url(asked: str, answered: str) -> str:
    """Where `asked` is listed, if its answer came from there; with its user info, without its query. '' where it did not."""
    one, other = urlsplit(asked), urlsplit(answered)
    folder = one.path.rstrip("/") + "/"
    moved = (one.scheme, one.port) != (other.scheme, other.port) and (one.scheme, other.scheme) != ("http", "https")
    if one.hostname != other.hostname or moved or unquote(other.path) != unquote(folder):
        return ""
    user, at, _ = one.netloc.rpartition("@")
    return urlunsplit((other.scheme, user + at + other.netloc, folder, "", ""))


def _parts_below(folder: str, links: list[str]) -> Iterator[str]:
    """The last part of each link that leads one step down from `folder`, encoded; with its slash where it is a folder itself."""
    here = urlsplit(folder)
    own = here._replace(netloc=here.netloc.rpartition("@")[2])
    for link in links:
        try:
            there = urlsplit(urljoin(urlunsplit(own), link.strip()))
        except ValueError:
            continue
        # A query is how such pages sort themselves anew.
        if there[:2] == own[:2] and not there.query and there.path.startswith(own.path):
            part = there.path.removeprefix(own.path)
            if part and "/" not in part[:-1]:
                yield _encoded(part)
