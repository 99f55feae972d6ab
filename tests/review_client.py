"""A client in front of a desk's application, as tests ask it: hosts, keys, raw paths, and what stands in a page."""

from __future__ import annotations

import asyncio
from html.parser import HTMLParser
from typing import Any

from httpx import Response
from starlette.testclient import TestClient

from cli.review.desk import Desk
from cli.review.server import make_app
from cli.review.words import catalogue

PORT = 8317
BASE = f"http://127.0.0.1:{PORT}"
HOSTS = (f"127.0.0.1:{PORT}", f"localhost:{PORT}")
KEY, SECRET = "k3y-of-the-supervisor", "s3cret-of-the-link"
JSON = {"content-type": "application/json"}


def client_of(desk: Desk, secret: str = "") -> TestClient:
    app = make_app(desk, catalogue(), HOSTS, KEY, secret)
    return TestClient(app, BASE, raise_server_exceptions=False, follow_redirects=False)


def raw(desk: Desk, path: str) -> tuple[int, bytes]:
    """Status and body for a path as a server hands it over, decoded but not put in order."""
    sent: list[Any] = []
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(b"host", HOSTS[0].encode())],
        "client": ("127.0.0.1", 5),
        "server": ("127.0.0.1", PORT),
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(make_app(desk, catalogue(), HOSTS, KEY)(scope, receive, send))  # type: ignore[arg-type]
    return int(sent[0]["status"]), b"".join(message.get("body", b"") for message in sent)


def sentence_of(answer: Response) -> str:
    """The one sentence that an answer consists of."""
    told = answer.json()["error"] if answer.headers["content-type"].startswith("application/json") else answer.text
    assert isinstance(told, str)
    assert told[0].isalpha() or told[0] == "'"
    assert told.endswith(".")
    assert "<" not in told
    return told


def raises(error: Exception) -> Any:
    def raise_it(*_: object) -> None:
        raise error

    return raise_it


class Page(HTMLParser):
    """Elements with their attributes, and the text."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.inside: list[str] = []
        self.texts: list[str] = []
        self.scripted = ""
        self.feed(source)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1] in ("script", "style"):
            self.scripted += data
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())
