"""`speckwise review`: opens the desk on a scored folder, and takes and gives tables of answers."""

from __future__ import annotations

import json
import os
import secrets
import signal
import socket
import sys
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from cli.batch.record import now
from cli.exits import StoppedByUser
from cli.review.answers import AnswerError, check_name
from cli.review.shelf import Shelf, read_shelf, store_beside
from vision.errors import CallError, OutputNotWritable

DEFAULT_PORT = 8317
_PORTS = 10
_LOCK, _LISTENER = ".review.lock", ".review.json"
_HERE = "127.0.0.1"
_USUAL_PORT = 80


@dataclass(frozen=True)
class ReviewOptions:
    """What a person may say of a review."""

    take: Path | None = None
    give: Path | None = None
    store: str | None = None
    share: bool = False
    port: int | None = None
    name: str = ""

    def __post_init__(self) -> None:
        if self.store == "":
            raise CallError("--store is empty; leave it out to keep answers beside the results.")
        if self.name:
            try:
                check_name(self.name, "--name shows nothing.")
            except AnswerError as error:
                raise CallError(f"--name: {error}") from None
        if self.take is not None and self.give is not None:
            raise CallError("--take and --give are two calls: first take, then give.")
        if self.port is not None and not 1 <= self.port <= 65535:
            raise CallError(f"--port is a number from 1 to 65535, not {self.port}.")


def review_call(folder: Path, options: ReviewOptions) -> int:
    """Opens the desk and serves it until it is stopped; or takes or gives a table. Returns the exit code."""
    shelf = read_shelf(folder)
    if options.take is not None:
        from cli.review.tables import take_file

        return take_file(shelf, _url(shelf, options), options.take, options.name)
    if options.give is not None:
        from cli.review.tables import give_file

        return give_file(shelf, _url(shelf, options), options.give)
    return _serve(shelf, options)


def _url(shelf: Shelf, options: ReviewOptions) -> str:
    from cli.review.store import sqlite_url

    return options.store or sqlite_url(store_beside(shelf.folder))


def _serve(shelf: Shelf, options: ReviewOptions) -> int:
    import uvicorn

    from cli.review.desk import Desk
    from cli.review.guard import ENTER, SUPERVISOR
    from cli.review.server import make_app
    from cli.review.store import Store
    from cli.review.words import catalogue, say, say_many

    words = catalogue()
    with _alone(shelf.folder) as told, _listening(options) as bound:
        store = Store(_url(shelf, options))
        desk = Desk(shelf, store, options.name)
        port = bound.getsockname()[1]
        name = _own_address() if options.share else _HERE
        secret = secrets.token_urlsafe(24) if options.share else ""
        key = secrets.token_urlsafe(24)
        page = f"http://{name}:{port}/"
        address = page + (ENTER.lstrip("/") + secret if options.share else "")
        # Not the secret itself: whoever can read the folder need not be let in.
        told({"address": page, "shared": options.share})
        app = make_app(desk, words, _names(name, port, options.share), key, secret)
        print(say(words, "call.open", address=address), flush=True)
        if options.share:
            print(say(words, "call.shared"), flush=True)
        print(say(words, "call.supervisor", address=f"{page}{SUPERVISOR.lstrip('/')}{key}"), flush=True)
        print(say(words, "call.record", place=store.place), flush=True)
        print(say(words, "call.stop"), flush=True)
        if sys.stdout.isatty() and not options.share:
            webbrowser.open(address)
        server = uvicorn.Server(uvicorn.Config(app, log_level="critical", access_log=False, server_header=False))
        # Asked to end by the system, it ends as by Ctrl-C.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        with suppress(KeyboardInterrupt):
            server.run(sockets=[bound])
        left = desk.sums(1)["all"]["open"]
        store.close()
        raise StoppedByUser(say_many(words, "call.stopped", left))


@contextmanager
def _listening(options: ReviewOptions) -> Iterator[socket.socket]:
    """A socket: on the port that was asked for; else on the usual one, where it is taken on any other."""
    host = "0.0.0.0" if options.share else _HERE
    # A few that are always the same, because a browser keeps what waits there by address and port.
    wanted = [options.port] if options.port else [*range(DEFAULT_PORT, DEFAULT_PORT + _PORTS), 0]
    for port in wanted:
        bound = socket.socket()
        if os.name == "posix":
            # Else the port of a desk that was just killed is refused for a minute.
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind((host, port))
            bound.listen()
        except OSError as error:
            bound.close()
            if port == wanted[-1]:
                raise CallError(f"Port {port} can't be used: {error.strerror}. Give another --port.") from None
            continue
        with bound:
            yield bound
        return


@contextmanager
def _alone(folder: Path) -> Iterator[Any]:
    """One desk a folder: a second one is told where the first listens. Gives what writes down where this one does."""
    lock = FileLock(str(folder / _LOCK), timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise CallError(f"{folder} is under review already: {_listener(folder)}") from None
    except OSError as error:
        raise OutputNotWritable(f"{folder} can't be written to: {error.strerror or error}.") from error
    told = {"host": socket.gethostname(), "process": os.getpid(), "since": now()}

    def write(more: dict[str, Any]) -> None:
        (folder / _LISTENER).write_text(json.dumps(told | more), encoding="utf-8")

    try:
        yield write
    finally:
        with suppress(OSError):
            (folder / _LISTENER).unlink()
        lock.release()


def _listener(folder: Path) -> str:
    try:
        told = json.loads((folder / _LISTENER).read_bytes())
        more = " Others join by the secret link it printed." if told["shared"] else ""
        return f"{told['address']} (process {told['process']} on {told['host']} since {told['since']}).{more}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process is just opening it."


def _own_address() -> str:
    """This machine's address as its neighbours see it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Sends nothing: it only asks which way a packet would leave. An address for documentation (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return _HERE


def _names(name: str, port: int, shared: bool) -> list[str]:
    """What a browser may call this desk."""
    own = [_HERE, "localhost", name]
    if shared:
        # Not getfqdn(): that asks a name server.
        own += [socket.gethostname(), f"{socket.gethostname()}.local"]
    # A browser leaves the usual port out.
    return [f"{each}:{port}" for each in own] + (own if port == _USUAL_PORT else [])
