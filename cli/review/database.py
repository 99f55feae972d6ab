"""The database under the record: what its URL says, how it is opened, one writer at a time, and what it complains of, in words without
a password."""

from __future__ import annotations

import os
import re
import sqlite3
import time
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import sqlalchemy as sa
from sqlalchemy import exc
from sqlalchemy.engine import URL, Connection, make_url

from cli.review.local_disk import journal_mode
from cli.words import printable
from vision.errors import CallError, OutputNotWritable

READS: dict[str, Any] = {"reads": True}
"""Options of a connection that only reads: it waits for no writer."""
_WAIT_S = 15
"""How long others may hold the record before it is said that it can't be used."""
_AGAIN_S = 0.02
_ONE_WRITER = 7325918
"""Names the lock that writers of a PostgreSQL database hold in turn."""
_NO_ROOM = "53100"
"""PostgreSQL's code for a full disk, whatever language it speaks."""
_SECRET = re.compile("passw|passf|pwd|secret|token", re.IGNORECASE)


def sqlite_url(path: Path) -> str:
    """The URL of a record in one file."""
    return f"sqlite:///{quote(os.fsencode(path.absolute()))}"


def parsed(url: str) -> URL:
    """What a person wrote. Raises CallError, without a word of what that was, where it is no URL."""
    kind, _, file = url.partition(":///")
    if kind in ("sqlite", "sqlite+pysqlite"):
        if "?" in file:
            raise CallError("--store: a record in a file takes no options. A ? in the file's name is written %3F.")
        # Read by ourselves: whether SQLAlchemy takes %20 for a space has changed between its versions.
        return URL.create("sqlite", database=unquote(file, errors="surrogateescape"))
    if url.count("@") > 1:
        raise CallError("--store: within a name or a password @ is written %40, : is %3A, / is %2F and % is %25.")
    try:
        parsed = make_url(url)
    except (exc.ArgumentError, ValueError):
        raise CallError(
            "--store takes a database URL such as postgresql://USER@HOST/NAME, or sqlite:////PATH."
        ) from None
    if parsed.drivername in ("postgresql", "postgres"):
        # The driver that our own extra installs.
        parsed = parsed.set(drivername="postgresql+psycopg")
    return parsed


def place_of(url: URL) -> str:
    """Where a record is: a file's path, or a URL without a password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return printable(url.database)
    hidden = {name: "***" for name in url.query if _SECRET.search(name)}
    return url.update_query_dict(hidden).render_as_string(hide_password=True)


def engine_of(url: URL) -> sa.Engine:
    """The database, not yet connected to. Raises CallError where none that lasts can be meant, and what SQLAlchemy does."""
    if url.get_backend_name() == "sqlite":
        engine = _file(url)
    else:
        engine = sa.create_engine(url, connect_args=_as_we_wish(url), pool_pre_ping=True, hide_parameters=True)

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer keeps others out from its first read on: the number it reads is still the last one when its row is written, and rows
        # come into sight in the order of their numbers.
        only_reads = connection.get_execution_options().get("reads", False)
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN" if only_reads else "BEGIN IMMEDIATE")
        elif connection.dialect.name == "postgresql" and not only_reads:
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_WAIT_S}s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ONE_WRITER})")

    return engine


def _as_we_wish(url: URL) -> dict[str, Any]:
    if url.drivername != "postgresql+psycopg":
        return {}
    # A database made without a language would give bytes for texts.
    wished = {"client_encoding": "utf8", "connect_timeout": _WAIT_S}
    return {name: value for name, value in wished.items() if name not in url.query}


def _file(url: URL) -> sa.Engine:
    if not url.database or url.database == ":memory:" or url.database.startswith("file:"):
        raise CallError("--store: a record needs a file, or a database that lasts.")
    path = Path(url.database)
    if not os.path.isdir(path.parent):
        raise OutputNotWritable(f"{printable(str(path))} can't be written: its folder is not there.")
    engine = sa.create_engine(url, connect_args={"timeout": _WAIT_S}, hide_parameters=True)
    mode = journal_mode(path)

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: object) -> None:
        # SQLAlchemy begins transactions itself, above.
        connection.isolation_level = None
        _keep_journal(connection, mode)
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")

    return engine


def _keep_journal(connection: sqlite3.Connection, mode: str) -> None:
    """Sets the journal's mode. Where another changes it just now, SQLite says so at once instead of waiting: so we wait."""
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            connection.execute(f"PRAGMA journal_mode={mode}")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(_AGAIN_S)


def lacking(error: Exception) -> str:
    """Why a URL can't be used at all: the end of a sentence."""
    if isinstance(error, ImportError):
        name = error.name or "psycopg"
        hint = " (python -m pip install 'speckwise[postgresql]')" if name == "psycopg" else ""
        return f"the package '{name}' is missing{hint}"
    return "it is no URL of a database"


def is_full(error: BaseException | None) -> bool:
    """Whether a driver's error says that there is no room."""
    # The low byte is the kind of error (SQLite, "Result and Error Codes").
    full = getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_FULL
    return full or getattr(error, "sqlstate", "") == _NO_ROOM


def why(text: str, url: URL) -> str:
    """The first line of what a database says; something more general where that would give a password away."""
    given = [value for name, value in url.query.items() if _SECRET.search(name)]
    secrets = [word for word in [url.password, *given] if isinstance(word, str) and word]
    if any(word in text or quote(word, safe="") in text for word in secrets):
        return "it can't be reached, or it does not take this name and password"
    return printable(text.strip().splitlines()[0].rstrip(".")) if text.strip() else "it does not answer"
