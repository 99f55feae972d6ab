"""A PostgreSQL of the tests' own: made in a folder for a while, on a socket there, with a password that needs care in a URL."""

from __future__ import annotations

import getpass
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest
from sqlalchemy.engine import URL

PASSWORD = "p@ss:w/ö r%d?#'\"\\&="
"""Nothing that a message says by chance."""
_START_S = 60
_DEBIAN = Path("/usr/lib/postgresql")
_NAMES = count(1)
_HELD: list[tuple[AbstractContextManager[Server], Server]] = []


class Server:
    """A running server with a superuser of that password."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def url(self, schema: str = "public", password: str = PASSWORD, database: str = "postgres") -> str:
        """How the record is told of a schema here."""
        query = {"host": str(self.folder), "options": f"-csearch_path={schema}"}
        return URL.create("postgresql", "keeper", password, database=database, query=query).render_as_string(
            hide_password=False
        )

    def connect(self, schema: str = "public", database: str = "postgres") -> psycopg.Connection[Any]:
        """A connection of its own, past the record's code."""
        who = {"user": "keeper", "password": PASSWORD, "options": f"-csearch_path={schema}"}
        return psycopg.connect(host=str(self.folder), dbname=database, autocommit=True, **who)

    def fresh(self) -> str:
        """The name of a new empty schema: as good as a database of its own, and made in no time."""
        with self.connect() as connection:
            connection.execute(f"CREATE SCHEMA {(name := f'record_{next(_NAMES)}')}")
        return name

    def fresh_database(self, encoding: str) -> str:
        """The name of a new empty database."""
        with self.connect() as connection:
            connection.execute(
                f"CREATE DATABASE {(name := f'record_{next(_NAMES)}')} TEMPLATE template0 ENCODING '{encoding}'"
            )
        return name


def binary(name: str) -> str | None:
    """Where one of PostgreSQL's programs is: on the path, or where Debian keeps them; None where it is missing."""
    found = shutil.which(name)
    return found or max((str(path) for path in _DEBIAN.glob(f"*/bin/{name}")), key=_version, default=None)


@contextmanager
def shared() -> Iterator[Server]:
    """The one server of this process: who asks first starts it, who leaves last ends it. Skips where PostgreSQL is not installed."""
    if not _HELD:
        if not (binary("initdb") and binary("postgres")):
            pytest.skip("PostgreSQL's programs initdb and postgres are not installed.")
        manager = running()
        _HELD.append((manager, manager.__enter__()))
    else:
        _HELD.append(_HELD[0])
    try:
        yield _HELD[0][1]
    finally:
        manager, _ = _HELD.pop()
        if not _HELD:
            manager.__exit__(None, None, None)


@contextmanager
def running() -> Iterator[Server]:
    """Makes a server and ends it. Only where `binary` finds `initdb` and `postgres`."""
    user = _user()
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    who: dict[str, Any] = {"cwd": folder, "stderr": subprocess.STDOUT}
    if os.geteuid() == 0:
        # The server refuses to be run by root.
        os.chown(folder, user.pw_uid, user.pw_gid)
        who |= {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    data = folder / "data"
    (folder / "password").write_text(PASSWORD, encoding="utf-8")
    made = subprocess.run(
        [
            *(binary("initdb") or "", "--pgdata", str(data), "--username", "keeper", "--no-sync"),
            *("--auth", "scram-sha-256", "--pwfile", str(folder / "password"), "--encoding", "UTF8", "--locale", "C"),
        ],
        stdout=subprocess.PIPE,
        check=False,
        **who,
    )
    assert made.returncode == 0, made.stdout.decode("utf-8", "replace")
    settings = {
        "listen_addresses": "",
        "unix_socket_directories": str(folder),
        "fsync": "off",
        "max_connections": "60",
        "shared_buffers": "16MB",
    }
    options = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen([binary("postgres") or "", "-D", str(data), *options], stdout=log, **who)
        try:
            server = Server(folder)
            _await(server, process)
            yield server
        finally:
            # SIGQUIT asks it to leave everything as it is.
            process.send_signal(signal.SIGQUIT)
            process.wait(_START_S)
            shutil.rmtree(folder, ignore_errors=True)


def _await(server: Server, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + _START_S
    while True:
        try:
            server.connect().close()
            return
        except psycopg.OperationalError:
            if process.poll() is not None or time.monotonic() > until:
                raise AssertionError((server.folder / "log").read_text(errors="replace")) from None
            time.sleep(0.05)


def _user() -> pwd.struct_passwd:
    if os.geteuid() != 0:
        return pwd.getpwnam(getpass.getuser())
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    return known.get("postgres") or known["nobody"]


def _version(path: str) -> tuple[int, ...]:
    return tuple(map(int, Path(path).parts[4].split(".")))
