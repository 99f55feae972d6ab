"""Servers on this machine that photographs are fetched from in tests: a web server with its faults, and an S3 that is moto's."""

from __future__ import annotations

import functools
import http.server
import re
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast
from urllib.parse import unquote

import pytest

from cli.batch.addresses import RemoteFile, find_at
from vision.errors import CallError, UnreadableShot

ENDINGS = (".jpg", ".png")

KEYS = {"AWS_ACCESS_KEY_ID": "key-that-opens", "AWS_SECRET_ACCESS_KEY": "secret-that-opens"}
_SETTINGS = {
    **KEYS,
    "AWS_DEFAULT_REGION": "us-east-1",
    "AWS_EC2_METADATA_DISABLED": "true",
    # None of whoever runs the tests.
    "AWS_CONFIG_FILE": "/dev/null",
    "AWS_SHARED_CREDENTIALS_FILE": "/dev/null",
}

Odd = Callable[["Handler"], None]


class Handler(http.server.SimpleHTTPRequestHandler):
    """The standard library's, without its log; with parts of files, and oddities by path."""

    server: Server

    def do_GET(self) -> None:
        self.server.asked.append((self.command, self.path, dict(self.headers)))
        odd = self.server.odd.get(unquote(self.path.partition("?")[0]))
        if odd:
            odd(self)
        elif self.server.gives_parts and "Range" in self.headers:
            self._part()
        elif self.command == "HEAD":
            super().do_HEAD()
        else:
            super().do_GET()

    do_HEAD = do_GET  # noqa: N815 - the name that http.server looks for

    def _part(self) -> None:
        data = Path(self.translate_path(self.path)).read_bytes()
        wanted = re.fullmatch(r"bytes=(\d+)-(\d+)", self.headers["Range"])
        assert wanted
        start, end = int(wanted[1]), min(int(wanted[2]) + 1, len(data))
        self.answer(206, data[start:end], {"Content-Range": f"bytes {start}-{end - 1}/{len(data)}"})

    def answer(self, status: int, data: bytes = b"", headers: dict[str, str] | None = None) -> None:
        """One whole answer."""
        self.send_response(status)
        for name, value in {"Content-Length": str(len(data)), **(headers or {})}.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(data)

    def log_message(self, *_: Any) -> None:
        pass


class Server(http.server.ThreadingHTTPServer):
    """Gives the files of a folder."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, folder: Path) -> None:
        super().__init__(("127.0.0.1", 0), functools.partial(Handler, directory=str(folder)))
        self.asked: list[tuple[str, str, dict[str, str]]] = []
        """Method, path and headers of all that was asked."""
        self.odd: dict[str, Odd] = {}
        """What is done for a path instead of giving a file."""
        self.gives_parts = False

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}"

    def handle_error(self, *_: Any) -> None:
        """Whoever goes away in the middle is no error."""


@contextmanager
def web(folder: Path, context: ssl.SSLContext | None = None) -> Iterator[Server]:
    """A web server on a folder, over TLS where there is a context."""
    folder.mkdir(exist_ok=True)
    server = Server(folder)
    if context:
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@contextmanager
def silent() -> Iterator[str]:
    """A server that takes every connection and never says a word: its host and port."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as listening:
        yield f"127.0.0.1:{listening.getsockname()[1]}"


def nobody() -> str:
    """A host and port where no one listens."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return f"127.0.0.1:{listening.getsockname()[1]}"


def speak_s3(patch: pytest.MonkeyPatch, endpoint: str) -> None:
    """Leads s3:// to an endpoint, with keys that are none."""
    for name, value in {**_SETTINGS, "AWS_ENDPOINT_URL": endpoint}.items():
        patch.setenv(name, value)
    for name in ("AWS_PROFILE", "AWS_SESSION_TOKEN", "HTTP_PROXY", "http_proxy", "AWS_ENDPOINT_URL_S3"):
        patch.delenv(name, raising=False)


class Bucket:
    """A bucket of moto's, reached by boto3 and not by what is tested."""

    def __init__(self, client: Any, name: str) -> None:
        self._client, self.name = client, name
        client.create_bucket(Bucket=name)

    def put(self, key: str, data: bytes) -> None:
        self._client.put_object(Bucket=self.name, Key=key, Body=data)

    def remove(self, key: str) -> None:
        self._client.delete_object(Bucket=self.name, Key=key)


@contextmanager
def s3(patch: pytest.MonkeyPatch) -> Iterator[Any]:
    """moto's server, and boto3's client for it."""
    import boto3
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    try:
        host, port = server.get_host_and_port()
        speak_s3(patch, f"http://{host}:{port}")
        yield cast(Any, boto3).client("s3")
    finally:
        server.stop()


def refusal(address: str) -> str:
    """The sentence that an address is refused with; nothing of what a package said is printed behind it."""
    with pytest.raises(CallError) as refused:
        list(find_at(address, ENDINGS))
    assert refused.value.__cause__ is None
    assert refused.value.__suppress_context__ or refused.value.__context__ is None
    return str(refused.value)


def unread(place: RemoteFile) -> str:
    """The sentence in place of a photograph."""
    with pytest.raises(UnreadableShot) as refused:
        place.read()
    assert refused.value.__suppress_context__ or refused.value.__context__ is None
    return str(refused.value)
